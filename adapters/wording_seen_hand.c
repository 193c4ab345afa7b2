/* What was seen of the hand. */
#include "adapters/wording_work.h"

#include <math.h>

/* "After: access created on 2026-11-24." */
static void say_procedure(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    struct fill s = { 0 };
    bool any = seen_done(w, f, fill_at(&s, "done")) > 0;

    say_blank(out);
    fill_say(&s,
             any ? _("After: {done}.")
                 : _("When it began after a procedure is not known; that does "
                     "not exclude it."),
             out);
}

void seen_nerves(const struct wording *w, const struct finding *f,
                 struct buf *out)
{
    struct fill s = { 0 };

    seen_signs(w, f, true, fill_at(&s, "signs"));
    fill_say(&s, _("Hand: {signs}; suspected ischaemic monomelic neuropathy."),
             out);
    say_procedure(w, f, out);
    say_blank(out);
    fill_count(&s, "count", policy_count(w->policy, P_IS1_TERRITORIES));
    say_plain(fill_at(&s, "hours"), seen_limit(w, P_IS1_ONSET_H), 6);
    fill_rule(&s, f);
    fill_say(&s,
             _("Limit at this site: new weakness, or numbness in {count} or "
               "more nerve territories, that began within {hours} hours of "
               "the creation of the access or of a procedure that raises its "
               "flow ({rule})."),
             out);
}

void seen_nerves_brief(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    struct fill s = { 0 };

    seen_signs(w, f, false, fill_at(&s, "signs"));
    fill_rule(&s, f);
    fill_say(&s, _("{signs}, nerves of the hand at risk ({rule})"), out);
}

/* What the limit of the grade is, with what stands beside it. */
static void grade_limit(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    struct fill s = { 0 };

    fill_limit(&s, "limit", w, f->limit);
    fill_say(&s,
             f->rule == RULE_IS_2
                 ? _("{limit} or worse, or a pale, cold, pulseless hand")
                 : _("{limit} or worse"),
             out);
}

/* "2 times within 60 days" */
static void grade_times(const struct wording *w, struct buf *out)
{
    struct fill s = { 0 };

    fill_count(&s, "count", policy_count(w->policy, P_IS4_READINGS_MILD));
    fill_count(&s, "days", policy_count(w->policy, P_IS4_WINDOW_D));
    fill_say(&s, _("{count} times within {days} days"), out);
}

void seen_grade(const struct wording *w, const struct finding *f,
                struct buf *out)
{
    struct buf limit, times;
    struct fill s = { 0 };

    seen_signs(w, f, true, fill_at(&s, "signs"));
    say_grade(fill_at(&s, "grade"), f->grade);
    fill_say(&s, _("Hand: {signs}; {grade}."), out);
    buf_init(&limit, WORDING_SIZE_MAX);
    buf_init(&times, WORDING_SIZE_MAX);
    grade_limit(w, f, &limit);
    if (f->rule == RULE_IS_4 && !f->severe)
        grade_times(w, &times);
    seen_limit_is(f, &limit, &times, out);
}

void seen_grade_brief(const struct wording *w, const struct finding *f,
                      struct buf *out)
{
    struct fill s = { 0 };
    bool any = seen_signs(w, f, false, fill_at(&s, "signs")) > 0;

    fill_text(&s, "grade", grade_word(f->grade));
    fill_rule(&s, f);
    fill_say(&s,
             any ? _("{signs}, grade {grade} ({rule})")
                 : _("hand grade {grade} ({rule})"),
             out);
}

/* One of the two finger measurements, if the finding rests on it. */
static void finger_part(const struct wording *w, const struct finding *f,
                        enum quantity q, enum param limit, struct buf *out)
{
    struct buf bound, once;
    struct point points[SEEN_MAX];
    struct fill s = { 0 };
    size_t total;

    if (seen_points(w, f, q, points, &total) == 0)
        return;
    fill_text(&s, "name", wording_name(quantity_info(q)->display));
    seen_say_points(w, f, q, seen_limit(w, limit), false, fill_at(&s, "list"));
    say_blank(out);
    fill_say(&s, _("{name} {list}."), out);
    buf_init(&bound, WORDING_SIZE_MAX);
    buf_init(&once, WORDING_SIZE_MAX);
    say_beyond(w, limit, BELOW, &bound);
    seen_limit_is(NULL, &bound, &once, out);
}

void seen_finger(const struct wording *w, const struct finding *f,
                 struct buf *out)
{
    bool pressure = f->limit == P_IS5_PRESSURE_SEVERE;
    bool index = f->limit == P_IS5_INDEX_SEVERE;
    struct fill s = { 0 };
    bool any;

    finger_part(w, f, Q_DIGITAL_PRESSURE,
                pressure ? P_IS5_PRESSURE_SEVERE : P_IS5_PRESSURE, out);
    finger_part(w, f, Q_DIGITAL_BRACHIAL_INDEX,
                index ? P_IS5_INDEX_SEVERE : P_IS5_INDEX, out);
    say_blank(out);
    any = seen_signs(w, f, true, fill_at(&s, "signs")) > 0;
    fill_rule(&s, f);
    fill_say(&s,
             any ? _("With symptoms: {signs} ({rule}).")
                 : _("No symptom of the hand is recorded near in time "
                     "({rule})."),
             out);
}

void seen_finger_brief(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    enum quantity q = say_limit_quantity(f->limit);
    struct fill s = { 0 };

    seen_brief_points(w, f, q, seen_limit(w, f->limit), fill_at(&s, "list"));
    fill_say(&s,
             q == Q_DIGITAL_PRESSURE ? _("finger pressure {list}")
                                     : _("digital-brachial index {list}"),
             out);
    seen_brief_limit(w, f, out);
    seen_signs_too(w, f, out);
}
