/* What is kept and not used, because it contradicts itself. */
#include "adapters/wording_work.h"

#include <math.h>

/* "1.45, 1.62", what was sent in the session */
static void say_sent(const struct history *h, const struct contradiction *c,
                     struct buf *out)
{
    for (size_t i = 0; i < c->sent.reading_count; i++) {
        const struct reading *r = &h->readings[c->sent.readings[i]];

        if (r->quantity != c->quantity)
            continue;
        buf_puts(out, out->len > 0 ? list_comma() : "");
        say_value(out, r->quantity, r->value, r->bound, NAN);
    }
}

/* What it would be, and from what it is computed. */
static void say_computed(const struct history *h, const struct contradiction *c,
                         struct fill *s)
{
    struct buf *raw = fill_at(s, "raw");

    for (size_t i = 0; i < c->raw_count; i++) {
        const struct reading *r = &h->readings[c->raw[i]];

        buf_puts(raw, i > 0 ? list_comma() : "");
        say_lower(raw, quantity_info(r->quantity)->display);
        buf_puts(raw, " ");
        say_value(raw, r->quantity, r->value, r->bound, NAN);
    }
    say_value(fill_at(s, "computed"), c->quantity, c->computed, BOUND_NONE,
              NAN);
}

void wording_contradiction(const struct history *h, const struct zone *zone,
                           const struct contradiction *c, struct buf *out)
{
    struct fill s = { 0 };

    fill_text(&s, "name", wording_name(quantity_info(c->quantity)->display));
    say_sent(h, c, fill_at(&s, "sent"));
    say_when(&h->readings[c->sent.readings[0]], zone, fill_at(&s, "when"));
    if (c->impossible) {
        const struct reading *pre = &h->readings[c->raw[0]];

        say_value(fill_at(&s, "before"), pre->quantity, pre->value, pre->bound,
                  NAN);
        fill_say(&s,
                 _("{name} {sent} {when} is not below the {before} before: no "
                   "dose is computed. Are the samples mixed up?"),
                 out);
        return;
    }
    if (isnan(c->computed)) {
        fill_say(&s,
                 _("{name} {sent} {when}: the measurements of one session "
                   "differ too much; they confirm nothing."),
                 out);
        return;
    }
    say_computed(h, c, &s);
    fill_say(&s,
             _("{name} {sent} {when} was sent; from {raw} it would be "
               "{computed}. They contradict each other, so neither is used."),
             out);
}
