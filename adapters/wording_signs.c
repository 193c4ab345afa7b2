/* The signs that a finding rests on; each is said once, with how often. */
#include "adapters/wording_work.h"

#include "adapters/civil.h"

/* Something done to the access, not something seen. */
static bool is_done(const struct reading *r)
{
    return (r->quantity == Q_ACCESS_INTERVENTION && r->present) ||
           (r->quantity == Q_BAND_RELEASED && r->value > 0.5) ||
           r->quantity == Q_BAND_STRETCHED || r->quantity == Q_DOWEL_DIAMETER;
}

/* Beside HF-4, which tells of the heart, HF-1 tells of the hand. */
static bool is_told_by_heart(const struct wording *w, const struct finding *f,
                             const struct reading *r)
{
    return f->rule == RULE_HF_1 && r->quantity == Q_HEART_FAILURE_SIGN &&
           rules_find(w->findings, RULE_HF_4) != NULL;
}

/* Treatments count as signs where they are what is counted. */
static bool is_seen_sign(const struct wording *w, const struct finding *f,
                         const struct reading *r)
{
    if (is_told_by_heart(w, f, r))
        return false;
    if (is_done(r))
        return f->rule == RULE_HF_5 && r->sign == SIGN_ANGIOPLASTY_OUTFLOW;
    switch (quantity_info(r->quantity)->kind) {
    case VALUE_CODE:
        return r->present && r->sign != SIGN_NO_COMPLAINT &&
               r->sign != SIGN_GRADE_0 && r->sign != SIGN_THRILL_PRESENT &&
               r->quantity != Q_BAND_FORM && r->quantity != Q_ACCESS_TYPE;
    case VALUE_FLAG:
        return r->value > 0.5;
    case VALUE_NUMBER:
        break;
    }
    return false;
}

static const char *sign_words(const struct reading *r)
{
    return quantity_info(r->quantity)->kind == VALUE_CODE
               ? sign_info(r->sign)->display
               : quantity_info(r->quantity)->display;
}

/* "graded 3": what the grade means is said beside it. */
static void say_sign(const struct reading *r, struct buf *out)
{
    struct fill s = { 0 };

    if (r->quantity != Q_HAND_ISCHAEMIA_GRADE) {
        say_lower(out, sign_words(r));
        return;
    }
    fill_text(&s, "grade", grade_word(sign_info(r->sign)->grade));
    fill_say(&s, _("graded {grade}"), out);
}

/* The same sign of the same finding, told at several times. */
struct repeated {
    const struct reading *first;
    size_t count;
    bool later; /* the one asked about is not the newest */
};

static struct repeated repeated_of(const struct wording *w,
                                   const struct finding *f, size_t at)
{
    const struct reading *r = &w->history->readings[f->evidence[at]];
    struct repeated same = { .first = r };

    for (size_t i = f->evidence_count; i-- > 0;) {
        const struct reading *o = &w->history->readings[f->evidence[i]];

        if (o->quantity != r->quantity || o->sign != r->sign ||
            !is_seen_sign(w, f, o))
            continue;
        same.first = o;
        same.count++;
        same.later = same.later || i > at;
    }
    return same;
}

/* "numb hand on 2026-11-23 (2 times since 2026-11-18)" */
static void say_sign_times(const struct wording *w, const struct reading *r,
                           const struct repeated *same, bool with_dates,
                           struct buf *out)
{
    bool since = with_dates && civil_day_of_s(same->first->start_s) !=
                                   civil_day_of_s(r->start_s);
    struct fill s = { 0 };

    say_sign(r, fill_at(&s, "what"));
    say_when(r, w->zone, fill_at(&s, "when"));
    fill_say(&s, with_dates ? _("{what} {when}") : "{what}", out);
    if (same->count > 1) {
        fill_count(&s, "count", (long long)same->count);
        say_date(w, same->first->start_s, fill_at(&s, "date"));
        fill_say(&s,
                 since ? _(" ({count} times since {date})")
                       : _(" ({count} times)"),
                 out);
    }
    if (with_dates && r->status == READING_PRELIMINARY)
        buf_printf(out, " (%s)", _("preliminary"));
}

size_t seen_signs(const struct wording *w, const struct finding *f,
                  bool with_dates, struct buf *out)
{
    enum { SIGNS_MAX = 6 };
    size_t said = 0;

    /* the newest are worth most when there are many */
    for (size_t i = f->evidence_count; i-- > 0 && said < SIGNS_MAX;) {
        const struct reading *r = &w->history->readings[f->evidence[i]];
        struct repeated same;

        if (!is_seen_sign(w, f, r) ||
            (!with_dates && r->quantity == Q_HAND_ISCHAEMIA_GRADE))
            continue;
        same = repeated_of(w, f, i);
        if (same.later)
            continue;
        buf_puts(out, said++ == 0 ? "" : list_comma());
        say_sign_times(w, r, &same, with_dates, out);
    }
    return said;
}

size_t seen_done(const struct wording *w, const struct finding *f,
                 struct buf *out)
{
    size_t said = 0;

    for (size_t i = 0; i < f->evidence_count; i++) {
        const struct reading *r = &w->history->readings[f->evidence[i]];
        struct fill s = { 0 };

        if (!is_done(r))
            continue;
        buf_puts(out, said++ == 0 ? "" : list_comma());
        say_sign(r, fill_at(&s, "what"));
        say_when(r, w->zone, fill_at(&s, "when"));
        fill_say(&s, _("{what} {when}"), out);
    }
    return said;
}
