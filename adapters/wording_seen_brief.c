/* What was seen, in the fewest words: values, limit and rule. */
#include "adapters/wording_work.h"

#include <string.h>

void seen_brief_row(const struct wording *w, const struct finding *f,
                    enum quantity q, double limit, size_t most, struct buf *out)
{
    struct point points[SEEN_MAX];
    size_t total, count = seen_points(w, f, q, points, &total);

    for (size_t i = count > most ? count - most : 0; i + 1 < count; i++) {
        if (points[i].bound != BOUND_NONE)
            continue;
        say_number(out, q, points[i].value, limit);
        /* TRANSLATORS: between two numbers, in the order of time */
        buf_puts(out, _(" then "));
    }
    if (count > 0)
        say_value(out, q, points[count - 1].value, points[count - 1].bound,
                  limit);
}

void seen_brief_points(const struct wording *w, const struct finding *f,
                       enum quantity q, double limit, struct buf *out)
{
    seen_brief_row(w, f, q, limit, 2, out);
}

/* Why the rule that a line is about does not hold yet; NULL if it does. */
static const char *unconfirmed(const struct finding *f)
{
    if (f->confirmed)
        return NULL;
    if (f->disagree)
        return _("contradictory");
    if (f->low_pressure)
        return _("at low blood pressure");
    return f->rule == RULE_PB_3 ? _("not confirmed") : _("one measurement");
}

/* "HF-1", "HF-1, one measurement" */
static void say_rule_state(const struct finding *f, struct buf *out)
{
    const char *state = unconfirmed(f);

    buf_puts(out, rule_info(f->rule)->id);
    if (state != NULL)
        buf_printf(out, "%s%s", list_comma(), state);
}

void seen_brief_rule(const struct finding *f, struct buf *out)
{
    buf_puts(out, " (");
    say_rule_state(f, out);
    buf_puts(out, ")");
}

void seen_brief_limit(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    enum quantity q = say_limit_quantity(f->limit);
    struct fill s = { 0 };

    if (param_info(f->limit)->kind != PARAM_NUMBER) {
        seen_brief_rule(f, out);
        return;
    }
    if (q == Q_NONE || strcmp(quantity_info(q)->unit, "%") == 0)
        fill_limit(&s, "limit", w, f->limit);
    else
        say_plain(fill_at(&s, "limit"), seen_limit(w, f->limit), 6);
    say_rule_state(f, fill_at(&s, "rule"));
    fill_say(&s, _(" (limit {limit}, {rule})"), out);
}
