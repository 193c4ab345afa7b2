/* What was seen of the dose of dialysis. */
#include "adapters/wording_work.h"

#include <math.h>

enum quantity seen_dose_quantity(const struct finding *f)
{
    enum quantity q = say_limit_quantity(f->limit);

    if (f->quantity != Q_NONE)
        return f->quantity;
    return q == Q_STDKTV || q == Q_URR ? q : Q_SPKTV;
}

/* "Single-pool Kt/V 1.12 on 2026-10-01, then 1.10 on 2026-11-01 (as sent)" */
static void say_doses(const struct wording *w, enum quantity q,
                      const struct point *points, size_t count, double limit,
                      struct buf *out)
{
    buf_printf(out, "%s ", quantity_info(q)->display);
    seen_say_list(w, q, points, count, limit, false, out);
    if (count > 0 && !points[count - 1].computed)
        buf_puts(out, " (as sent)");
}

void seen_dose(const struct wording *w, const struct finding *f,
               struct buf *out)
{
    enum quantity q = seen_dose_quantity(f);
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, q, points);

    say_doses(w, q, points, count, seen_limit(w, f->limit), out);
    buf_puts(out, ".");
    seen_site_limit(w, f->limit, false, out);
    if (q == Q_STDKTV)
        buf_puts(out, " a week");
    if (!f->severe && policy_count(w->policy, P_AD1_READINGS) > 1)
        buf_printf(out, ", %d samples in a row at least %d days apart",
                   policy_count(w->policy, P_AD1_READINGS),
                   policy_count(w->policy, P_AD1_APART_D));
    seen_rule(f, out);
}

/* "Kt/V", "standard Kt/V", "urea reduction" */
static const char *short_name(enum quantity q)
{
    switch ((int)q) {
    case Q_STDKTV:
        return "standard Kt/V ";
    case Q_URR:
        return "urea reduction ";
    default:
        return "Kt/V ";
    }
}

void seen_dose_brief(const struct wording *w, const struct finding *f,
                     struct buf *out)
{
    enum quantity q = seen_dose_quantity(f);

    buf_puts(out, short_name(q));
    seen_brief_points(w, f, q, seen_limit(w, f->limit), out);
    seen_brief_limit(w, f, out);
}

/* ---- falling ----------------------------------------------------------------- */

size_t seen_dose_fallen(const struct wording *w, const struct finding *f,
                        double fall, struct point points[EVIDENCE_MAX],
                        size_t *before)
{
    size_t count = seen_all(w, f, seen_dose_quantity(f), points);
    size_t fallen = 0;

    /* the newest are the fallen ones, those before what they fell from */
    while (fallen < count &&
           points[count - 1 - fallen].value < f->baseline - fall)
        fallen++;
    if (fallen == 0)
        fallen = count;
    *before = count - fallen;
    return fallen;
}

void seen_dose_fall(const struct wording *w, const struct finding *f,
                    struct buf *out)
{
    enum quantity q = seen_dose_quantity(f);
    struct point points[EVIDENCE_MAX];
    size_t before, fallen = seen_dose_fallen(w, f, seen_limit(w, P_AD2_FALL),
                                             points, &before);

    say_doses(w, q, points + before, fallen, NAN, out);
    if (fallen > 0)
        buf_printf(out, ": %.2f below %.2f, the mean of ",
                   f->baseline - points[before + fallen - 1].value,
                   f->baseline);
    if (before > 0)
        buf_printf(out, "%zu before, ", before);
    else
        buf_puts(out, "those before, ");
    buf_puts(out, "on the same prescription. Limit at this site: a fall of "
                  "more than ");
    say_limit(w, P_AD2_FALL, out);
    seen_times(policy_count(w->policy, P_AD2_READINGS), "samples", out);
    seen_rule(f, out);
}

void seen_dose_fall_brief(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    enum quantity q = seen_dose_quantity(f);
    struct point points[SEEN_MAX];
    size_t total, count = seen_points(w, f, q, points, &total);

    buf_puts(out, short_name(q));
    if (count > 0) {
        say_number(out, q, points[count - 1].value, NAN);
        buf_printf(out, ", %.2f below %.2f",
                   f->baseline - points[count - 1].value, f->baseline);
    }
    buf_printf(out, " (limit %.3g, %s)", seen_limit(w, P_AD2_FALL),
               rule_info(f->rule)->id);
}
