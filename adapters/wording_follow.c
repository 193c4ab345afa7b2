/* What is said after a suggestion: later evidence, its end. */
#include "adapters/wording_work.h"

#include <math.h>

static const struct reading *find(const struct history *h,
                                  const struct evidence *e)
{
    for (size_t i = 0; i < h->count; i++) {
        if (h->readings[i].id == e->id && h->readings[i].slot == e->slot)
            return &h->readings[i];
    }
    return NULL;
}

/* ---- later evidence ------------------------------------------------------ */

/* The newest readings that it now rests on. */
static void say_newest(const struct wording *w, const struct episode *e,
                       size_t wanted, struct buf *out)
{
    size_t from = e->evidence_count > wanted ? e->evidence_count - wanted : 0;
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");

    for (size_t i = from; i < e->evidence_count; i++) {
        const struct reading *r = find(w->history, &e->evidence[i]);

        if (r == NULL)
            continue;
        buf_puts(list, list->len > 0 ? list_semicolon() : "");
        wording_reading(r, w->zone, list);
    }
    if (list->len > 0)
        say_blank(out);
    fill_say(&s, list->len > 0 ? _("Newest: {list}.") : "", out);
}

static void say_added(const struct wording *w, const struct verdict *verdict,
                      struct buf *out)
{
    enum { LISTED_MAX = 4 };
    size_t count = verdict->new_evidence;
    struct fill s = { 0 };

    if (count == 0)
        return;
    /* A reading that arrives late is new without being the newest, so the
     * list does not claim to be of the new ones. */
    say_blank(out);
    fill_count(&s, "count", (long long)count);
    fill_say(&s,
             ngettext("{count} reading was added.",
                      "{count} readings were added.", count),
             out);
    say_newest(w, &verdict->episode, count < LISTED_MAX ? count : LISTED_MAX,
               out);
}

/* The same emergency in a later session: it was to be seen by now. */
static void say_again(const struct wording *w, struct buf *out)
{
    say_next(out, _("The same sign of emergency was seen again in a later "
                    "session: ask at once what was done about it."));
    say_blank(out);
    if (w->due_s < w->history->now_s)
        say_due(w, _("This was to be seen today, {date}."),
                _("This was to be seen by {date}."), out);
    else
        say_due(w, _("This is to be seen today, {date}."),
                _("This is to be seen by {date}."), out);
}

/* It was in hand, and is not any more: the patient has waited since the first
 * moment. */
static void say_handed_late(struct fill *s, bool now, struct buf *out)
{
    fill_say(s,
             now ? _("This was handed over, and not taken since; it was "
                     "suggested more than {hours} hours ago: see now that "
                     "somebody has it in hand, and phone.")
                 : _("This was handed over, and not taken since; it was "
                     "suggested more than {hours} hours ago: see now that "
                     "somebody has it in hand."),
             out);
}

/* Who sees the Task may not be who has to act. */
static void say_escalated(const struct wording *w, bool handed, bool now,
                          struct buf *out)
{
    struct fill s = { 0 };

    fill_count(&s, "hours",
               policy_count(w->policy,
                            now ? P_ESCALATE_IMMEDIATE_H : P_ESCALATE_ASAP_H));
    say_blank(out);
    if (handed) {
        say_handed_late(&s, now, out);
        return;
    }
    fill_say(&s,
             now ? _("Nobody has taken this Task in hand within {hours} hours: "
                     "see now that somebody does, and phone.")
                 : _("Nobody has taken this Task in hand within {hours} hours: "
                     "see now that somebody does."),
             out);
}

static void say_unanswered(const struct wording *w, struct buf *out)
{
    struct fill s = { 0 };

    say_blank(out);
    fill_count(&s, "days", policy_count(w->policy, P_UNANSWERED_D));
    fill_say(&s, _("Put again: nobody has answered for {days} days."), out);
}

/* How it stands now, in the words of a queue. */
static void say_now(const struct wording *w, struct buf *out)
{
    struct fill s = { 0 };

    if (seen_leading(w) == NULL)
        return;
    say_blank(out);
    wording_headline(w, fill_at(&s, "headline"));
    fill_say(&s, _("Now: {headline}."), out);
}

static void say_raised(const struct wording *w, struct buf *out)
{
    struct fill s = { 0 };

    say_blank(out);
    say_due(w, _("This is more urgent than before, to be seen today, {date}."),
            _("This is more urgent than before, to be seen by {date}."), out);
    say_blank(out);
    say_suggested(w, fill_at(&s, "advice"));
    fill_say(&s, _("Suggested: {advice}"), out);
}

void wording_update(const struct wording *w, const struct verdict *verdict,
                    struct buf *out)
{
    bool now = verdict->episode.urgency == URGENCY_IMMEDIATE;
    struct fill s = { 0 };

    if ((verdict->raised || verdict->again) && now)
        buf_printf(out, "%s ", words_phone());
    say_date(w, w->history->now_s, fill_at(&s, "date"));
    fill_say(&s, _("Update of {date}."), out);
    if (verdict->unanswered)
        say_unanswered(w, out);
    if (verdict->escalated)
        say_escalated(w, verdict->episode.handed, now, out);
    say_added(w, verdict, out);
    if (verdict->corrected)
        say_next(out, _("One or more readings used earlier were corrected or "
                        "withdrawn; the suggestion still holds with the "
                        "readings as they now stand."));
    say_now(w, out);
    if (verdict->again)
        say_again(w, out);
    if (verdict->raised)
        say_raised(w, out);
    say_next(out, words_support());
}

/* ---- the end ------------------------------------------------------------- */

/* A visit that was overdue ends in one of three ways. */
static const char *visit_words(const struct findings *findings)
{
    if (findings->why[RULE_PB_1] == WHY_DONE)
        return _("What the visit asked for has been recorded");
    if (rules_find(findings, RULE_PB_1) != NULL)
        return _("What the visit asked for was not recorded; the next visit is "
                 "due");
    return _("No visit after the band is due any more");
}

/* Does it rest on what was measured alone, as a prediction does? */
static bool is_measured_alone(const struct wording *w, const struct episode *e)
{
    for (size_t i = 0; i < e->evidence_count; i++) {
        const struct reading *r = find(w->history, &e->evidence[i]);

        if (r == NULL || quantity_info(r->quantity)->kind != VALUE_NUMBER)
            return false;
    }
    return e->evidence_count > 0;
}

static const char *cleared_words(const struct wording *w,
                                 const struct episode *e)
{
    switch (w->group) {
    case GROUP_HAND:
        if (is_measured_alone(w, e))
            return _("Later readings no longer show it");
        return _("Later examinations no longer show it");
    case GROUP_BLEEDING:
    case GROUP_INFECTION:
        return _("Later examinations no longer show it");
    case GROUP_FOLLOW_UP:
        return visit_words(w->findings);
    case GROUP_FLOW:
    case GROUP_LOW_FLOW:
    case GROUP_DOSE:
    case GROUP_AFTER_BAND:
    case GROUP_COUNT:
        break;
    }
    return _("Later readings are back inside the limits");
}

static const char *reason_words(const struct wording *w,
                                const struct verdict *verdict)
{
    switch (verdict->reason) {
    case END_CLEARED:
        return cleared_words(w, &verdict->episode);
    case END_WITHDRAWN:
        return _("A reading it rested on was corrected or withdrawn");
    case END_SUPERSEDED:
        return w->group == GROUP_FLOW
                   ? _("A low flow has been confirmed since")
                   : _("A high flow has been confirmed since");
    case END_STAGE:
        return _("An intervention on the access began a new stage");
    case END_INACTIVE:
        return _("The access is recorded as no longer in use");
    case END_MERGED:
        return _("The access is the same as another one of this patient, for "
                 "which there is a suggestion of its own");
    case END_ELSEWHERE:
        return _("Another suggestion for this access tells of it now");
    case END_DECEASED:
        return _("The patient is recorded as deceased");
    }
    return _("It no longer holds");
}

/* Readings of the ground that are not as they were. */
static void say_changed(const struct wording *w, const struct episode *e,
                        struct buf *out)
{
    enum { LISTED_MAX = 4 };
    size_t said = 0, gone = 0;
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");

    for (size_t i = 0; i < e->evidence_count; i++) {
        const struct reading *r = find(w->history, &e->evidence[i]);

        if (r == NULL) {
            gone++;
            continue;
        }
        if (said == LISTED_MAX || (r->version == e->evidence[i].version &&
                                   r->status != READING_WITHDRAWN))
            continue;
        buf_puts(list, said++ == 0 ? "" : list_semicolon());
        wording_reading(r, w->zone, list);
    }
    if (said > 0)
        say_blank(out);
    fill_say(&s, said > 0 ? _("Now recorded as: {list}.") : "", out);
    if (gone == 0)
        return;
    say_blank(out);
    fill_count(&s, "count", (long long)gone);
    fill_say(&s,
             ngettext("{count} earlier reading is no longer there.",
                      "{count} earlier readings are no longer there.", gone),
             out);
}

static bool is_of_hand(enum quantity q)
{
    return q == Q_HAND_SYMPTOM || q == Q_HAND_ISCHAEMIA_GRADE ||
           q == Q_DIGITAL_PRESSURE || q == Q_DIGITAL_BRACHIAL_INDEX;
}

static bool is_of_dysfunction(enum quantity q)
{
    return q == Q_THRILL || q == Q_ACCESS_SIGN || q == Q_RECIRCULATION ||
           q == Q_STATIC_PRESSURE_RATIO || q == Q_BLEEDING_PROLONGED;
}

static bool tells_of_group(const struct wording *w, const struct reading *r)
{
    enum quantity q = r->quantity;

    if (!reading_counts(r))
        return false;
    switch (w->group) {
    case GROUP_HAND:
        return is_of_hand(q);
    case GROUP_DOSE:
        return q == Q_SPKTV || q == Q_STDKTV || q == Q_URR || q == Q_UREA_PRE ||
               q == Q_UREA_POST || q == Q_BUN_PRE || q == Q_BUN_POST;
    case GROUP_BLEEDING:
        return q == Q_BLEEDING_ACTIVE || q == Q_RUPTURE_THREAT;
    case GROUP_INFECTION:
        return q == Q_INFECTION_SIGN;
    case GROUP_LOW_FLOW:
        return q == Q_ACCESS_FLOW || is_of_dysfunction(q) ||
               reading_is_intervention(r);
    case GROUP_AFTER_BAND:
    case GROUP_FOLLOW_UP:
        return q == Q_ACCESS_FLOW || q == Q_THRILL || is_of_hand(q) ||
               q == Q_BAND_RELEASED || reading_is_intervention(r);
    case GROUP_FLOW:
    case GROUP_COUNT:
        break;
    }
    return q == Q_ACCESS_FLOW || reading_is_intervention(r);
}

/* The last readings that bear on it, oldest of them first. */
static void say_last(const struct wording *w, struct buf *out)
{
    enum { LISTED = 2 };
    const struct reading *last[LISTED];
    struct fill s = { 0 };
    struct buf *list;
    size_t count = 0;

    for (size_t i = w->history->count; i-- > 0 && count < LISTED;) {
        if (tells_of_group(w, &w->history->readings[i]))
            last[count++] = &w->history->readings[i];
    }
    if (count == 0)
        return;
    list = fill_at(&s, "list");
    while (count-- > 0) {
        wording_reading(last[count], w->zone, list);
        buf_puts(list, count > 0 ? list_semicolon() : "");
    }
    say_blank(out);
    fill_say(&s, _("Last readings: {list}."), out);
}

/* TRANSLATORS: reason is one of the sentences of why a suggestion ends,
 * without its full stop. */
static const char *end_text(enum end_reason reason)
{
    if (reason == END_MERGED)
        return _("On {date} two suggestions were found to be about one access. "
                 "{reason}.");
    if (reason == END_ELSEWHERE)
        return _("On {date} this suggestion was joined to another. {reason}.");
    if (reason == END_DECEASED)
        return _("On {date} this suggestion was withdrawn. {reason}. If that "
                 "is wrong, have it put right in the record: what holds is "
                 "then suggested again.");
    return _("On {date} the grounds for this suggestion no longer hold. "
             "{reason}.");
}

void wording_end(const struct wording *w, const struct verdict *verdict,
                 struct buf *reason, struct buf *note)
{
    const char *words = reason_words(w, verdict);
    struct fill s = { 0 };

    buf_puts(reason, words);
    say_date(w, w->history->now_s, fill_at(&s, "date"));
    fill_text(&s, "reason", words);
    fill_say(&s, end_text(verdict->reason), note);
    if (verdict->reason == END_WITHDRAWN)
        say_changed(w, &verdict->episode, note);
    else if (verdict->reason != END_DECEASED)
        say_last(w, note);
    if (verdict->episode.state == EPISODE_TAKEN)
        say_next(note, _("A person has this in hand, so only this note is "
                         "added."));
    if (verdict->reason != END_DECEASED)
        say_next(note, words_absence());
    say_next(note, words_support());
}
