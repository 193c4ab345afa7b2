/* What was seen of the access itself: pressure inside it, recirculation,
 * signs of dysfunction, bleeding, infection. */
#include "adapters/wording_work.h"

#include "planner/series.h"

#include <math.h>

void seen_ratio(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    struct fill s = { 0 };

    seen_say_points(w, f, Q_STATIC_PRESSURE_RATIO, seen_limit(w, f->limit),
                    false, fill_at(&s, "list"));
    fill_say(
        &s,
        _("Static venous pressure ratio (pressure inside the access, share "
          "of the mean arterial pressure) {list}."),
        out);
    seen_site_limit_times(w, f, f->limit, MORE_THAN,
                          policy_count(w->policy, P_LF4_READINGS), READINGS,
                          out);
}

void seen_ratio_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    struct fill s = { 0 };

    /* it takes three of them */
    seen_brief_row(w, f, Q_STATIC_PRESSURE_RATIO, seen_limit(w, f->limit), 3,
                   fill_at(&s, "list"));
    fill_say(&s, _("static venous pressure ratio {list}"), out);
    seen_brief_limit(w, f, out);
}

/* A low dose beside it makes it matter more. */
static void low_dose_part(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    static const enum quantity doses[] = { Q_SPKTV, Q_STDKTV, Q_URR };
    struct point points[EVIDENCE_MAX];
    struct fill s = { 0 };

    for (size_t i = 0; i < COUNT(doses); i++) {
        size_t count = seen_all(w, f, doses[i], points);

        if (count == 0)
            continue;
        say_lower(fill_at(&s, "name"), quantity_info(doses[i])->display);
        seen_say_list(w, doses[i], points, count, NAN, false,
                      fill_at(&s, "list"));
        say_blank(out);
        fill_say(&s, _("The dose of dialysis is low as well: {name} {list}."),
                 out);
        return;
    }
}

void seen_recirculation(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    struct buf limit, confirmed;
    struct fill s = { 0 };

    seen_say_points(w, f, Q_RECIRCULATION, seen_limit(w, f->limit), true,
                    fill_at(&s, "list"));
    fill_say(&s, _("Access recirculation {list}."), out);
    buf_init(&limit, WORDING_SIZE_MAX);
    buf_init(&confirmed, WORDING_SIZE_MAX);
    fill_limit(&s, "limit", w, f->limit);
    fill_say(&s,
             f->limit == P_LF5_DILUTION_PCT
                 ? _("more than {limit} by dilution")
                 : _("more than {limit} by urea or an unstated method"),
             &limit);
    say_in_a_row(policy_count(w->policy, P_LF5_READINGS), READINGS, &confirmed);
    seen_limit_is(f, &limit, &confirmed, out);
    low_dose_part(w, f, out);
}

void seen_recirculation_brief(const struct wording *w, const struct finding *f,
                              struct buf *out)
{
    struct fill s = { 0 };

    seen_brief_points(w, f, Q_RECIRCULATION, seen_limit(w, f->limit),
                      fill_at(&s, "list"));
    fill_say(&s, _("recirculation {list}"), out);
    seen_brief_limit(w, f, out);
}

/* ---- signs of dysfunction ------------------------------------------------ */

double seen_prescribed(const struct wording *w, int64_t at_s)
{
    return series_newest(w->history, Q_PRESCRIBED_PUMP_FLOW, at_s,
                         policy_count(w->policy, P_LOOKBACK_D), NULL);
}

/* What the signs take to count: whole sentences, with the rule or, where more
 * follows, without. */
static const char *signs_text(const struct wording *w, const struct finding *f,
                              bool last, struct fill *s)
{
    if (seen_has_flag(w, f, Q_BLEEDING_PROLONGED)) {
        fill_count(s, "count",
                   policy_count(w->policy, P_LF6_BLEEDING_SESSIONS));
        return last ? _("Clinical signs of the access: {signs}. Limit at this "
                        "site: bleeding longer than usual in {count} sessions "
                        "in a row ({rule}).")
                    : _("Clinical signs of the access: {signs}. Limit at this "
                        "site: bleeding longer than usual in {count} sessions "
                        "in a row.");
    }
    if (!seen_thrill_lost(w, f) && !seen_has_sign(w, f, SIGN_ARM_SWELLING)) {
        fill_count(s, "count", policy_count(w->policy, P_LF6_SIGN_SESSIONS));
        return last ? _("Clinical signs of the access: {signs}. Limit at this "
                        "site: the same sign in {count} sessions ({rule}).")
                    : _("Clinical signs of the access: {signs}. Limit at this "
                        "site: the same sign in {count} sessions.");
    }
    return last ? _("Clinical signs of the access: {signs} ({rule}).")
                : _("Clinical signs of the access: {signs}.");
}

static void signs_part(const struct wording *w, const struct finding *f,
                       bool last, struct buf *out)
{
    struct fill s = { 0 };

    seen_signs(w, f, true, fill_at(&s, "signs"));
    fill_rule(&s, f);
    fill_say(&s, signs_text(w, f, last, &s), out);
}

static void pump_part(const struct wording *w, const struct finding *f,
                      bool last, struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, Q_PUMP_FLOW, points);
    double prescribed_ml_min = seen_prescribed(w, points[count - 1].at_s);
    struct buf limit, confirmed;
    struct fill s = { 0 };

    seen_say_list(w, Q_PUMP_FLOW, points, count, NAN, false,
                  fill_at(&s, "list"));
    fill_number(&s, "prescribed", prescribed_ml_min, 0);
    say_blank(out);
    fill_say(&s,
             isnan(prescribed_ml_min)
                 ? _("Pump flow {list}.")
                 : _("Pump flow {list}, prescribed {prescribed} mL/min."),
             out);
    buf_init(&limit, WORDING_SIZE_MAX);
    buf_init(&confirmed, WORDING_SIZE_MAX);
    fill_limit(&s, "limit", w, P_LF6_PUMP_PCT);
    fill_say(&s, _("below {limit} of the prescribed one"), &limit);
    say_in_a_row(policy_count(w->policy, P_LF6_SESSIONS), SESSIONS, &confirmed);
    seen_limit_is(last ? f : NULL, &limit, &confirmed, out);
}

static void suction_part(const struct wording *w, const struct finding *f,
                         bool last, struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, Q_ARTERIAL_LINE_PRESSURE, points);
    struct fill s = { 0 };

    seen_say_list(w, Q_ARTERIAL_LINE_PRESSURE, points, count,
                  seen_limit(w, P_LF6_PRESSURE), false, fill_at(&s, "list"));
    say_blank(out);
    fill_say(&s, _("Pressure before the pump {list}."), out);
    seen_site_limit_times(w, last ? f : NULL, P_LF6_PRESSURE, BELOW,
                          policy_count(w->policy, P_LF6_SESSIONS), SESSIONS,
                          out);
}

void seen_dysfunction(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    struct point points[EVIDENCE_MAX];
    struct buf signs;
    bool has_signs, has_pump = seen_all(w, f, Q_PUMP_FLOW, points) > 0;
    bool has_suction = seen_all(w, f, Q_ARTERIAL_LINE_PRESSURE, points) > 0;

    buf_init(&signs, WORDING_SIZE_MAX);
    has_signs = seen_signs(w, f, true, &signs) > 0;
    buf_clear(&signs);
    if (has_signs)
        signs_part(w, f, !has_pump && !has_suction, out);
    if (has_pump)
        pump_part(w, f, !has_suction, out);
    if (has_suction)
        suction_part(w, f, true, out);
}

void seen_dysfunction_brief(const struct wording *w, const struct finding *f,
                            struct buf *out)
{
    size_t said = seen_signs(w, f, false, out);
    struct point points[EVIDENCE_MAX];
    struct fill s = { 0 };

    if (seen_all(w, f, Q_PUMP_FLOW, points) > 0) {
        buf_puts(out, said++ > 0 ? list_comma() : "");
        seen_brief_points(w, f, Q_PUMP_FLOW, NAN, fill_at(&s, "list"));
        fill_say(&s, _("pump flow {list}"), out);
    }
    if (seen_all(w, f, Q_ARTERIAL_LINE_PRESSURE, points) > 0) {
        buf_puts(out, said > 0 ? list_comma() : "");
        seen_brief_points(w, f, Q_ARTERIAL_LINE_PRESSURE,
                          seen_limit(w, P_LF6_PRESSURE), fill_at(&s, "list"));
        fill_say(&s, _("pressure before the pump {list}"), out);
    }
    seen_brief_rule(f, out);
}

/* ---- bleeding, infection ------------------------------------------------- */

void seen_bleeding(const struct wording *w, const struct finding *f,
                   struct buf *out)
{
    struct fill s = { 0 };

    seen_signs(w, f, true, fill_at(&s, "signs"));
    fill_rule(&s, f);
    fill_say(&s, _("Seen: {signs} ({rule})."), out);
}

void seen_infection(const struct wording *w, const struct finding *f,
                    struct buf *out)
{
    struct fill s = { 0 };

    seen_signs(w, f, true, fill_at(&s, "signs"));
    fill_rule(&s, f);
    fill_say(&s, _("Signs of infection of the access: {signs} ({rule})."), out);
}

void seen_signs_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    seen_signs(w, f, false, out);
    seen_brief_rule(f, out);
}
