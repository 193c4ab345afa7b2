/* The limit of a finding as a sentence, what it takes, and the signs. */
#include "adapters/wording_work.h"

double seen_limit(const struct wording *w, enum param p)
{
    return policy_get(w->policy, p);
}

void say_beyond(const struct wording *w, enum param p, enum beyond beyond,
                struct buf *out)
{
    struct fill s = { 0 };

    fill_limit(&s, "limit", w, p);
    switch (beyond) {
    case BELOW:
        fill_say(&s, _("below {limit}"), out);
        break;
    case MORE_THAN:
        fill_say(&s, _("more than {limit}"), out);
        break;
    case OR_MORE:
        /* TRANSLATORS: or worse: of a grade */
        fill_say(&s,
                 param_info(p)->kind == PARAM_GRADE ? _("{limit} or worse")
                                                    : _("{limit} or more"),
                 out);
        break;
    }
}

void say_in_a_row(int needed, enum counted what, struct buf *out)
{
    struct fill s = { 0 };

    if (needed <= 1)
        return;
    fill_count(&s, "count", needed);
    switch (what) {
    case READINGS:
        fill_say(&s, _("{count} readings in a row"), out);
        break;
    case SAMPLES:
        fill_say(&s, _("{count} samples in a row"), out);
        break;
    case SESSIONS:
        fill_say(&s, _("{count} sessions in a row"), out);
        break;
    }
}

void seen_limit_is(const struct finding *f, struct buf *limit,
                   struct buf *confirmed, struct buf *out)
{
    struct fill s = { 0 };

    fill_text(&s, "limit", limit->data);
    fill_text(&s, "confirmed", confirmed->data);
    say_blank(out);
    if (f != NULL)
        fill_rule(&s, f);
    if (f == NULL)
        fill_say(&s,
                 confirmed->len > 0
                     ? _("Limit at this site: {limit}, {confirmed}.")
                     : _("Limit at this site: {limit}."),
                 out);
    else
        fill_say(&s,
                 confirmed->len > 0
                     ? _("Limit at this site: {limit}, {confirmed} ({rule}).")
                     : _("Limit at this site: {limit} ({rule})."),
                 out);
    buf_clear(limit);
    buf_clear(confirmed);
}

void seen_site_limit_times(const struct wording *w, const struct finding *f,
                           enum param p, enum beyond beyond, int needed,
                           enum counted what, struct buf *out)
{
    struct buf limit, confirmed;

    buf_init(&limit, WORDING_SIZE_MAX);
    buf_init(&confirmed, WORDING_SIZE_MAX);
    say_beyond(w, p, beyond, &limit);
    say_in_a_row(needed, what, &confirmed);
    seen_limit_is(f, &limit, &confirmed, out);
}

void seen_site_limit(const struct wording *w, const struct finding *f,
                     enum param p, enum beyond beyond, struct buf *out)
{
    seen_site_limit_times(w, f, p, beyond, 1, READINGS, out);
}

void seen_signs_sentence(const struct wording *w, const struct finding *f,
                         const char *text, struct buf *out)
{
    struct fill s = { 0 };
    size_t count = seen_signs(w, f, true, fill_at(&s, "signs"));

    if (count > 0)
        say_blank(out);
    fill_say(&s, count > 0 ? text : "", out);
}

void seen_signs_too(const struct wording *w, const struct finding *f,
                    struct buf *out)
{
    struct buf list;

    buf_init(&list, WORDING_SIZE_MAX);
    if (seen_signs(w, f, false, &list) > 0)
        buf_printf(out, "%s%s", list_semicolon(), list.data);
    buf_clear(&list);
}

void seen_say_changes(const struct finding *f, const struct point *points,
                      size_t count, bool up, struct buf *out)
{
    size_t from = count > SEEN_MAX ? count - SEEN_MAX : 0;

    for (size_t i = from; i < count; i++) {
        double change = (points[i].value - f->baseline) / f->baseline * 100.0;

        if (i > from)
            buf_puts(out, i + 1 == count ? list_and() : list_comma());
        say_per_cent(out, up ? change : -change, 1);
    }
}
