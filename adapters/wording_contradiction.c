/* What is kept and not used, because it contradicts itself. */
#include "adapters/wording_work.h"

#include <math.h>

/* "1.45, 1.62", what was sent in the session */
static void say_sent(const struct history *h, const struct contradiction *c,
                     struct buf *out)
{
    bool any = false;

    for (size_t i = 0; i < c->sent.reading_count; i++) {
        const struct reading *r = &h->readings[c->sent.readings[i]];

        if (r->quantity != c->quantity)
            continue;
        buf_puts(out, any ? ", " : " ");
        say_value(out, r->quantity, r->value, r->bound, NAN);
        any = true;
    }
}

void wording_contradiction(const struct history *h, const struct zone *zone,
                           const struct contradiction *c, struct buf *out)
{
    const struct quantity_info *info = quantity_info(c->quantity);

    buf_puts(out, info->display);
    say_sent(h, c, out);
    buf_puts(out, " ");
    say_when(&h->readings[c->sent.readings[0]], zone, out);
    if (c->impossible) {
        const struct reading *pre = &h->readings[c->raw[0]];

        buf_puts(out, " is not below the ");
        say_value(out, pre->quantity, pre->value, pre->bound, NAN);
        buf_puts(out, " before: no dose is computed. Are the samples mixed "
                      "up?");
        return;
    }
    if (isnan(c->computed)) {
        buf_puts(out, ": the measurements of one session differ too much; "
                      "they confirm nothing.");
        return;
    }
    buf_puts(out, " was sent; from ");
    for (size_t i = 0; i < c->raw_count; i++) {
        const struct reading *r = &h->readings[c->raw[i]];

        buf_puts(out, i > 0 ? ", " : "");
        say_lower(out, quantity_info(r->quantity)->display);
        buf_puts(out, " ");
        say_value(out, r->quantity, r->value, r->bound, NAN);
    }
    buf_puts(out, " it would be ");
    say_value(out, c->quantity, c->computed, BOUND_NONE, NAN);
    buf_puts(out, ". They contradict each other, so neither is used.");
}
