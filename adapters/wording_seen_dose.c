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

/* "1.12 on 2026-10-01, then 1.10 on 2026-11-01 (as sent)" */
static void say_doses(const struct wording *w, enum quantity q,
                      const struct point *points, size_t count, double limit,
                      struct buf *out)
{
    seen_say_list(w, q, points, count, limit, false, out);
    if (count > 0 && !points[count - 1].computed)
        buf_printf(out, " (%s)", _("as sent"));
}

/* "3 samples in a row at least 20 days apart" */
static void say_apart(const struct wording *w, struct buf *out)
{
    struct fill s = { 0 };

    fill_count(&s, "count", policy_count(w->policy, P_AD1_READINGS));
    fill_count(&s, "days", policy_count(w->policy, P_AD1_APART_D));
    fill_say(&s, _("{count} samples in a row at least {days} days apart"), out);
}

void seen_dose(const struct wording *w, const struct finding *f,
               struct buf *out)
{
    enum quantity q = seen_dose_quantity(f);
    struct point points[EVIDENCE_MAX];
    size_t count = seen_all(w, f, q, points);
    struct buf limit, confirmed;
    struct fill s = { 0 };

    fill_text(&s, "name", wording_name(quantity_info(q)->display));
    say_doses(w, q, points, count, seen_limit(w, f->limit),
              fill_at(&s, "list"));
    /* TRANSLATORS: "Single-pool Kt/V", "1.12 on 2026-10-01" */
    fill_say(&s, _("{name} {list}."), out);
    buf_init(&limit, WORDING_SIZE_MAX);
    buf_init(&confirmed, WORDING_SIZE_MAX);
    fill_limit(&s, "limit", w, f->limit);
    fill_say(&s, q == Q_STDKTV ? _("below {limit} a week") : _("below {limit}"),
             &limit);
    if (!f->severe && policy_count(w->policy, P_AD1_READINGS) > 1)
        say_apart(w, &confirmed);
    seen_limit_is(f, &limit, &confirmed, out);
}

/* The same in the fewest words. */
static const char *brief_text(enum quantity q)
{
    switch ((int)q) {
    case Q_STDKTV:
        return _("standard Kt/V {list}");
    case Q_URR:
        return _("urea reduction {list}");
    default:
        return _("Kt/V {list}");
    }
}

void seen_dose_brief(const struct wording *w, const struct finding *f,
                     struct buf *out)
{
    enum quantity q = seen_dose_quantity(f);
    struct fill s = { 0 };

    seen_brief_points(w, f, q, seen_limit(w, f->limit), fill_at(&s, "list"));
    fill_say(&s, brief_text(q), out);
    seen_brief_limit(w, f, out);
}

/* ---- falling ------------------------------------------------------------- */

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
    struct buf limit, confirmed;
    struct fill s = { 0 };

    fill_text(&s, "name", wording_name(quantity_info(q)->display));
    say_doses(w, q, points + before, fallen, NAN, fill_at(&s, "list"));
    if (fallen > 0)
        fill_number(&s, "fall", f->baseline - points[before + fallen - 1].value,
                    2);
    fill_number(&s, "mean", f->baseline, 2);
    fill_count(&s, "count", (long long)before);
    fill_say(&s,
             before > 0 ? _("{name} {list}: {fall} below {mean}, the mean of "
                            "{count} before, on the same prescription.")
                        : _("{name} {list}: {fall} below {mean}, the mean of "
                            "those before, on the same prescription."),
             out);
    buf_init(&limit, WORDING_SIZE_MAX);
    buf_init(&confirmed, WORDING_SIZE_MAX);
    fill_limit(&s, "fall", w, P_AD2_FALL);
    fill_say(&s, _("a fall of more than {fall}"), &limit);
    say_in_a_row(policy_count(w->policy, P_AD2_READINGS), SAMPLES, &confirmed);
    seen_limit_is(f, &limit, &confirmed, out);
}

/* "1.05, 0.25 below 1.30" */
static void brief_fall(const struct finding *f, enum quantity q,
                       const struct point *newest, struct buf *out)
{
    struct fill s = { 0 };

    say_number(fill_at(&s, "value"), q, newest->value, NAN);
    fill_number(&s, "fall", f->baseline - newest->value, 2);
    fill_number(&s, "mean", f->baseline, 2);
    fill_say(&s, _("{value}, {fall} below {mean}"), out);
}

void seen_dose_fall_brief(const struct wording *w, const struct finding *f,
                          struct buf *out)
{
    enum quantity q = seen_dose_quantity(f);
    struct point points[SEEN_MAX];
    size_t total, count = seen_points(w, f, q, points, &total);
    struct fill s = { 0 };

    if (count > 0)
        brief_fall(f, q, &points[count - 1], fill_at(&s, "list"));
    fill_say(&s, brief_text(q), out);
    say_plain(fill_at(&s, "limit"), seen_limit(w, P_AD2_FALL), 3);
    fill_rule(&s, f);
    fill_say(&s, _(" (limit {limit}, {rule})"), out);
}
