/* An emergency that is told late: it may have been dealt with long ago. */
#include "adapters/wording_work.h"

/* IS-6 and IS-7 go with an ischaemia; their flow is no sign of emergency. */
static bool is_emergency(const struct wording *w, const struct finding *f)
{
    return seen_is_ours(w, f) && f->confirmed &&
           f->urgency == URGENCY_IMMEDIATE && f->rule != RULE_IS_6 &&
           f->rule != RULE_IS_7;
}

/* What was measured or done beside the sign does not make it newer. */
static bool is_sign(const struct reading *r, bool thrill)
{
    if (thrill)
        return r->sign == SIGN_THRILL_ABSENT && r->present;
    switch (quantity_info(r->quantity)->kind) {
    case VALUE_CODE:
        return r->present && !reading_is_intervention(r);
    case VALUE_FLAG:
        return r->value > 0.5 && !reading_is_intervention(r);
    case VALUE_NUMBER:
        break;
    }
    return false;
}

/* The latest that it can have been seen. */
static int64_t last_s(const struct reading *r)
{
    return r->precision == AT_SECOND || r->precision == AT_DAY ? r->start_s
                                                               : r->end_s;
}

/* The newest sign of any emergency of the group; NULL if there is none. */
static const struct reading *newest_sign(const struct wording *w)
{
    const struct reading *newest = NULL;

    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];
        bool thrill = seen_thrill_lost(w, f);

        for (size_t k = 0; is_emergency(w, f) && k < f->evidence_count; k++) {
            const struct reading *r = &w->history->readings[f->evidence[k]];

            if (is_sign(r, thrill) &&
                (newest == NULL || last_s(r) > last_s(newest)))
                newest = r;
        }
    }
    return newest;
}

/* Was it put to people before?  They were asked to see it on the day on which
 * they were told. */
static bool is_told_now(const struct wording *w)
{
    return w->due_s >= w->history->now_s;
}

/* How it is told: by the days that have passed, or in which month it was seen;
 * reported now, or known before; as a sentence, and for a queue. */
static const char *late_text(bool by_month, bool now, bool brief)
{
    static const char *const texts[2][2][2] = {
        { { N_("Seen {days} days ago (as of {date}): ask the unit at once "
               "whether it was dealt with."),
            N_("; seen {days} days ago (as of {date}): ask the unit at once "
               "whether it was dealt with") },
          { N_("Seen {days} days ago and reported now ({date}): ask the unit "
               "at once whether it was dealt with."),
            N_("; seen {days} days ago and reported now ({date}): ask the unit "
               "at once whether it was dealt with") } },
        { { N_("Seen {when} (as of {date}): ask the unit at once whether it "
               "was dealt with."),
            N_("; seen {when} (as of {date}): ask the unit at once whether it "
               "was dealt with") },
          { N_("Seen {when} and reported now ({date}): ask the unit at once "
               "whether it was dealt with."),
            N_("; seen {when} and reported now ({date}): ask the unit at once "
               "whether it was dealt with") } },
    };

    return gettext(texts[by_month][now][brief]);
}

bool seen_late(const struct wording *w, bool brief, struct buf *out)
{
    const struct reading *r = newest_sign(w);
    struct fill s = { 0 };
    int64_t days;

    if (r == NULL)
        return false;
    days = (w->history->now_s - last_s(r)) / DAY_S;
    if (days <= policy_count(w->policy, P_DUE_ASAP_D))
        return false;
    if (!brief && out->len > 0)
        buf_puts(out, "\n");
    fill_count(&s, "days", days);
    say_when(r, w->zone, fill_at(&s, "when"));
    /* the date keeps it true on the days after */
    say_date(w, w->history->now_s, fill_at(&s, "date"));
    fill_say(&s,
             late_text(r->precision == AT_MONTH || r->precision == AT_YEAR,
                       is_told_now(w), brief),
             out);
    return true;
}
