/* What was seen of the hand. */
#include "adapters/wording_work.h"

#include <math.h>

/* "after: access created on 2026-11-24" */
static void say_procedure(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    if (seen_done(w, f, " After: ", out) > 0)
        buf_puts(out, ".");
    else
        buf_puts(out, " When it began after a procedure is not known; that "
                      "does not exclude it.");
}

void seen_nerves(const struct wording *w, const struct finding *f,
                 struct buf *out)
{
    buf_puts(out, "Hand: ");
    seen_signs(w, f, true, "", out);
    buf_puts(out, "; suspected ischaemic monomelic neuropathy.");
    say_procedure(w, f, out);
    buf_printf(out,
               " Limit at this site: new weakness, or numbness in %d or "
               "more nerve territories, that began within %.6g hours of "
               "the creation of the access or of a procedure that raises its "
               "flow",
               policy_count(w->policy, P_IS1_TERRITORIES),
               seen_limit(w, P_IS1_ONSET_H));
    seen_rule(f, out);
}

void seen_nerves_brief(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    seen_signs(w, f, false, "", out);
    buf_printf(out, ", nerves of the hand at risk (%s)",
               rule_info(f->rule)->id);
}

void seen_grade(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    buf_puts(out, "Hand: ");
    seen_signs(w, f, true, "", out);
    buf_puts(out, "; ");
    say_grade(out, f->grade);
    buf_puts(out, ".");
    seen_site_limit(w, f->limit, true, out);
    if (f->rule == RULE_IS_2)
        buf_puts(out, ", or a pale, cold, pulseless hand");
    if (f->rule == RULE_IS_4 && !f->severe)
        buf_printf(out, ", %d times within %d days",
                   policy_count(w->policy, P_IS4_READINGS_MILD),
                   policy_count(w->policy, P_IS4_WINDOW_D));
    seen_rule(f, out);
}

void seen_grade_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    buf_puts(out, seen_signs(w, f, false, "", out) > 0 ? ", " : "hand ");
    buf_printf(out, "grade %s (%s)", grade_word(f->grade),
               rule_info(f->rule)->id);
}

/* One of the two finger measurements, if the finding rests on it. */
static void finger_part(const struct wording *w, const struct finding *f,
                        enum quantity q, enum param limit, struct buf *out)
{
    struct point points[SEEN_MAX];
    size_t total;

    if (seen_points(w, f, q, points, &total) == 0)
        return;
    buf_printf(out, "%s ", quantity_info(q)->display);
    seen_say_points(w, f, q, seen_limit(w, limit), false, out);
    buf_puts(out, ".");
    seen_site_limit(w, limit, false, out);
    buf_puts(out, ". ");
}

void seen_finger(const struct wording *w, const struct finding *f,
                 struct buf *out)
{
    bool pressure = f->limit == P_IS5_PRESSURE_SEVERE;
    bool index = f->limit == P_IS5_INDEX_SEVERE;

    finger_part(w, f, Q_DIGITAL_PRESSURE,
                pressure ? P_IS5_PRESSURE_SEVERE : P_IS5_PRESSURE, out);
    finger_part(w, f, Q_DIGITAL_BRACHIAL_INDEX,
                index ? P_IS5_INDEX_SEVERE : P_IS5_INDEX, out);
    if (seen_signs(w, f, true, "With symptoms: ", out) == 0)
        buf_puts(out, "No symptom of the hand is recorded near in time");
    seen_rule(f, out);
}

void seen_finger_brief(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    enum quantity q = say_limit_quantity(f->limit);

    buf_puts(out, q == Q_DIGITAL_PRESSURE ? "finger pressure "
                                          : "digital-brachial index ");
    seen_brief_points(w, f, q, seen_limit(w, f->limit), out);
    seen_brief_limit(w, f, out);
    seen_signs(w, f, false, "; ", out);
}
