/* What was seen of the access itself: pressure inside it, recirculation,
 * signs of dysfunction, bleeding, infection. */
#include "adapters/wording_work.h"

#include "planner/series.h"

#include <math.h>

/* " Limit at this site: more than 0.35" */
static void say_more_than(const struct wording *w, enum param p,
                          struct buf *out)
{
    buf_puts(out, " Limit at this site: more than ");
    say_limit(w, p, out);
}

void seen_ratio(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    buf_puts(out, "Static venous pressure ratio (pressure inside the access, "
                  "share of the mean arterial pressure) ");
    seen_say_points(w, f, Q_STATIC_PRESSURE_RATIO, seen_limit(w, f->limit),
                    false, out);
    buf_puts(out, ".");
    say_more_than(w, f->limit, out);
    seen_times(policy_count(w->policy, P_LF4_READINGS), "readings", out);
    seen_rule(f, out);
}

void seen_ratio_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    /* it takes three of them */
    buf_puts(out, "static venous pressure ratio ");
    seen_brief_row(w, f, Q_STATIC_PRESSURE_RATIO, seen_limit(w, f->limit), 3,
                   out);
    seen_brief_limit(w, f, out);
}

/* A low dose beside it makes it matter more. */
static void low_dose_part(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    static const enum quantity doses[] = { Q_SPKTV, Q_STDKTV, Q_URR };
    struct point points[EVIDENCE_MAX];

    for (size_t i = 0; i < COUNT(doses); i++) {
        size_t count = seen_all(w, f, doses[i], points);

        if (count == 0)
            continue;
        buf_puts(out, " The dose of dialysis is low as well: ");
        say_lower(out, quantity_info(doses[i])->display);
        buf_puts(out, " ");
        seen_say_list(w, doses[i], points, count, NAN, false, out);
        buf_puts(out, ".");
        return;
    }
}

void seen_recirculation(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    buf_puts(out, "Access recirculation ");
    seen_say_points(w, f, Q_RECIRCULATION, seen_limit(w, f->limit), true, out);
    buf_puts(out, ".");
    say_more_than(w, f->limit, out);
    buf_puts(out, f->limit == P_LF5_DILUTION_PCT
                      ? " by dilution"
                      : " by urea or an unstated method");
    seen_times(policy_count(w->policy, P_LF5_READINGS), "readings", out);
    seen_rule(f, out);
    low_dose_part(w, f, out);
}

void seen_recirculation_brief(const struct wording *w, const struct finding *f,
                              struct buf *out)
{
    buf_puts(out, "recirculation ");
    seen_brief_points(w, f, Q_RECIRCULATION, seen_limit(w, f->limit), out);
    seen_brief_limit(w, f, out);
}

/* ---- signs of dysfunction ------------------------------------------------------- */

double seen_prescribed(const struct wording *w, int64_t at_s)
{
    return series_newest(w->history, Q_PRESCRIBED_PUMP_FLOW, at_s,
                         policy_count(w->policy, P_LOOKBACK_D), NULL);
}

/* Each part is a sentence without its full stop, if the finding rests on what
 * it tells of. */
static bool signs_part(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    if (seen_signs(w, f, true, "Clinical signs of the access: ", out) == 0)
        return false;
    if (seen_has_flag(w, f, Q_BLEEDING_PROLONGED))
        buf_printf(out,
                   ". Limit at this site: bleeding longer than usual in %d "
                   "sessions in a row",
                   policy_count(w->policy, P_LF6_BLEEDING_SESSIONS));
    else if (!seen_thrill_lost(w, f) && !seen_has_sign(w, f, SIGN_ARM_SWELLING))
        buf_printf(out, ". Limit at this site: the same sign in %d sessions",
                   policy_count(w->policy, P_LF6_SIGN_SESSIONS));
    return true;
}

static bool pump_part(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, Q_PUMP_FLOW, points);
    double prescribed_ml_min;

    if (count == 0)
        return false;
    prescribed_ml_min = seen_prescribed(w, points[count - 1].at_s);
    buf_puts(out, "Pump flow ");
    seen_say_list(w, Q_PUMP_FLOW, points, count, NAN, false, out);
    if (!isnan(prescribed_ml_min))
        buf_printf(out, ", prescribed %.0f mL/min", prescribed_ml_min);
    buf_puts(out, ".");
    seen_site_limit(w, P_LF6_PUMP_PCT, false, out);
    buf_puts(out, " of the prescribed one");
    seen_times(policy_count(w->policy, P_LF6_SESSIONS), "sessions", out);
    return true;
}

static bool suction_part(const struct wording *w, const struct finding *f,
                         struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, Q_ARTERIAL_LINE_PRESSURE, points);

    if (count == 0)
        return false;
    buf_puts(out, "Pressure before the pump ");
    seen_say_list(w, Q_ARTERIAL_LINE_PRESSURE, points, count,
                  seen_limit(w, P_LF6_PRESSURE), false, out);
    buf_puts(out, ".");
    seen_site_limit(w, P_LF6_PRESSURE, false, out);
    seen_times(policy_count(w->policy, P_LF6_SESSIONS), "sessions", out);
    return true;
}

void seen_dysfunction(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    static bool (*const parts[])(const struct wording *, const struct finding *,
                                 struct buf *) = { signs_part, pump_part,
                                                   suction_part };
    struct buf part;
    bool any = false;

    buf_init(&part, WORDING_SIZE_MAX);
    for (size_t i = 0; i < COUNT(parts); i++) {
        buf_empty(&part);
        if (!parts[i](w, f, &part))
            continue;
        buf_puts(out, any ? ". " : "");
        buf_add(out, part.data, part.len);
        any = true;
    }
    buf_clear(&part);
    seen_rule(f, out);
}

void seen_dysfunction_brief(const struct wording *w, const struct finding *f,
                            struct buf *out)
{
    size_t said = seen_signs(w, f, false, "", out);
    struct point points[EVIDENCE_MAX];

    if (seen_all(w, f, Q_PUMP_FLOW, points) > 0) {
        buf_puts(out, said++ > 0 ? ", pump flow " : "pump flow ");
        seen_brief_points(w, f, Q_PUMP_FLOW, NAN, out);
    }
    if (seen_all(w, f, Q_ARTERIAL_LINE_PRESSURE, points) > 0) {
        buf_puts(out, said > 0 ? ", pressure before the pump "
                               : "pressure before the pump ");
        seen_brief_points(w, f, Q_ARTERIAL_LINE_PRESSURE,
                          seen_limit(w, P_LF6_PRESSURE), out);
    }
    seen_brief_rule(f, out);
}

/* ---- bleeding, infection ----------------------------------------------------------- */

void seen_bleeding(const struct wording *w, const struct finding *f,
                   struct buf *out)
{
    buf_puts(out, "Seen: ");
    seen_signs(w, f, true, "", out);
    seen_rule(f, out);
}

void seen_infection(const struct wording *w, const struct finding *f,
                    struct buf *out)
{
    buf_puts(out, "Signs of infection of the access: ");
    seen_signs(w, f, true, "", out);
    seen_rule(f, out);
}

void seen_signs_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    seen_signs(w, f, false, "", out);
    seen_brief_rule(f, out);
}
