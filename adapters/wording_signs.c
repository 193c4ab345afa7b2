/* The signs that a finding rests on; each is said once, with how often. */
#include "adapters/wording_work.h"

#include "adapters/civil.h"

static bool is_seen_sign(const struct reading *r)
{
    switch (quantity_info(r->quantity)->kind) {
    case VALUE_CODE:
        return r->present && r->sign != SIGN_NO_COMPLAINT &&
               r->sign != SIGN_GRADE_0;
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
    if (r->quantity == Q_HAND_ISCHAEMIA_GRADE)
        buf_printf(out, "graded %s", grade_word(sign_info(r->sign)->grade));
    else
        say_lower(out, sign_words(r));
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
            !is_seen_sign(o))
            continue;
        same.first = o;
        same.count++;
        same.later = same.later || i > at;
    }
    return same;
}

/* " on 2026-11-23 (2 times since 2026-11-18)" */
static void say_times(const struct wording *w, const struct reading *r,
                      const struct repeated *same, bool with_dates,
                      struct buf *out)
{
    if (with_dates) {
        buf_puts(out, " ");
        say_when(r, w->zone, out);
    }
    if (same->count > 1) {
        buf_printf(out, " (%zu times", same->count);
        if (with_dates && civil_day_of_s(same->first->start_s) !=
                              civil_day_of_s(r->start_s)) {
            buf_puts(out, " since ");
            say_date(w, same->first->start_s, out);
        }
        buf_puts(out, ")");
    }
    if (with_dates && r->status == READING_PRELIMINARY)
        buf_puts(out, " (preliminary)");
}

size_t seen_signs(const struct wording *w, const struct finding *f,
                  bool with_dates, const char *before, struct buf *out)
{
    enum { SIGNS_MAX = 6 };
    size_t said = 0;

    /* the newest are worth most when there are many */
    for (size_t i = f->evidence_count; i-- > 0 && said < SIGNS_MAX;) {
        const struct reading *r = &w->history->readings[f->evidence[i]];
        struct repeated same;

        if (!is_seen_sign(r) ||
            (!with_dates && r->quantity == Q_HAND_ISCHAEMIA_GRADE))
            continue;
        same = repeated_of(w, f, i);
        if (same.later)
            continue;
        buf_puts(out, said++ == 0 ? before : ", ");
        say_sign(r, out);
        say_times(w, r, &same, with_dates, out);
    }
    return said;
}
