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

/* ---- later evidence ----------------------------------------------------------- */

/* The newest readings that it now rests on. */
static void say_newest(const struct wording *w, const struct episode *e,
                       size_t wanted, struct buf *out)
{
    size_t from = e->evidence_count > wanted ? e->evidence_count - wanted : 0;
    bool any = false;

    for (size_t i = from; i < e->evidence_count; i++) {
        const struct reading *r = find(w->history, &e->evidence[i]);

        if (r == NULL)
            continue;
        buf_puts(out, any ? "; " : " Newest: ");
        any = true;
        wording_reading(r, w->zone, out);
    }
    if (any)
        buf_puts(out, ".");
}

static void say_added(const struct wording *w, const struct verdict *verdict,
                      struct buf *out)
{
    enum { LISTED_MAX = 4 };
    size_t count = verdict->new_evidence;

    if (count == 0)
        return;
    /* A reading that arrives late is new without being the newest, so the
     * list does not claim to be of the new ones. */
    buf_printf(out, " %zu %s added.", count,
               count == 1 ? "reading was" : "readings were");
    say_newest(w, &verdict->episode, count < LISTED_MAX ? count : LISTED_MAX,
               out);
}

/* The same emergency in a later session: it was to be seen by now. */
static void say_again(const struct wording *w, struct buf *out)
{
    buf_puts(out, " The same sign of emergency was seen again in a later "
                  "session: ask at once what was done about it. This ");
    buf_puts(out, w->due_s < w->history->now_s ? "was " : "is ");
    say_by(w, out);
    buf_puts(out, ".");
}

void wording_update(const struct wording *w, const struct verdict *verdict,
                    struct buf *out)
{
    bool now = verdict->episode.urgency == URGENCY_IMMEDIATE;

    if ((verdict->raised || verdict->again) && now)
        buf_puts(out, "Phone now: this Task does not replace a call. ");
    buf_puts(out, "Update of ");
    say_date(w, w->history->now_s, out);
    buf_puts(out, ".");
    if (verdict->unanswered)
        buf_printf(out, " Put again: nobody has answered for %d days.",
                   policy_count(w->policy, P_UNANSWERED_D));
    say_added(w, verdict, out);
    if (verdict->corrected)
        buf_puts(out, " One or more readings used earlier were corrected or "
                      "withdrawn; the suggestion still holds with the "
                      "readings as they now stand.");
    if (seen_leading(w) != NULL) {
        buf_puts(out, " Now: ");
        wording_headline(w, out);
        buf_puts(out, ".");
    }
    if (verdict->again)
        say_again(w, out);
    if (verdict->raised) {
        buf_puts(out, " This is more urgent than before, ");
        say_by(w, out);
        buf_puts(out, ". Suggested: ");
        say_suggested(w, out);
    }
    buf_puts(out, " " WORDING_SUPPORT);
}

/* ---- the end ---------------------------------------------------------------------- */

/* A visit that was overdue ends in one of three ways. */
static const char *visit_words(const struct findings *findings)
{
    if (findings->why[RULE_PB_1] == WHY_DONE)
        return "What the visit asked for has been recorded";
    if (rules_find(findings, RULE_PB_1) != NULL)
        return "What the visit asked for was not recorded; the next visit is "
               "due";
    return "No visit after the band is due any more";
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
            return "Later readings no longer show it";
        return "Later examinations no longer show it";
    case GROUP_BLEEDING:
    case GROUP_INFECTION:
        return "Later examinations no longer show it";
    case GROUP_FOLLOW_UP:
        return visit_words(w->findings);
    case GROUP_FLOW:
    case GROUP_LOW_FLOW:
    case GROUP_DOSE:
    case GROUP_AFTER_BAND:
    case GROUP_COUNT:
        break;
    }
    return "Later readings are back inside the limits";
}

static const char *reason_words(const struct wording *w,
                                const struct verdict *verdict)
{
    switch (verdict->reason) {
    case END_CLEARED:
        return cleared_words(w, &verdict->episode);
    case END_WITHDRAWN:
        return "A reading it rested on was corrected or withdrawn";
    case END_SUPERSEDED:
        return w->group == GROUP_FLOW ? "A low flow has been confirmed since"
                                      : "A high flow has been confirmed since";
    case END_STAGE:
        return "An intervention on the access began a new stage";
    case END_INACTIVE:
        return "The access is recorded as no longer in use";
    case END_MERGED:
        return "The access is the same as another one of this patient, for "
               "which there is a suggestion of its own";
    case END_ELSEWHERE:
        return "Another suggestion for this access tells of it now";
    }
    return "It no longer holds";
}

/* Readings of the ground that are not as they were. */
static void say_changed(const struct wording *w, const struct episode *e,
                        struct buf *out)
{
    enum { LISTED_MAX = 4 };
    size_t said = 0, gone = 0;

    for (size_t i = 0; i < e->evidence_count; i++) {
        const struct reading *r = find(w->history, &e->evidence[i]);

        if (r == NULL) {
            gone++;
            continue;
        }
        if (said == LISTED_MAX || (r->version == e->evidence[i].version &&
                                   r->status != READING_WITHDRAWN))
            continue;
        buf_puts(out, said++ == 0 ? " Now recorded as: " : "; ");
        wording_reading(r, w->zone, out);
    }
    if (said > 0)
        buf_puts(out, ".");
    if (gone > 0)
        buf_printf(out, " %zu earlier %s no longer there.", gone,
                   gone == 1 ? "reading is" : "readings are");
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
    size_t count = 0;

    for (size_t i = w->history->count; i-- > 0 && count < LISTED;) {
        if (tells_of_group(w, &w->history->readings[i]))
            last[count++] = &w->history->readings[i];
    }
    if (count == 0)
        return;
    buf_puts(out, " Last readings: ");
    while (count-- > 0) {
        wording_reading(last[count], w->zone, out);
        buf_puts(out, count > 0 ? "; " : ".");
    }
}

void wording_end(const struct wording *w, const struct verdict *verdict,
                 struct buf *reason, struct buf *note)
{
    const char *words = reason_words(w, verdict);

    buf_puts(reason, words);
    buf_puts(note, "On ");
    say_date(w, w->history->now_s, note);
    buf_puts(note, verdict->reason == END_MERGED
                       ? " two suggestions were found to be about one access. "
                   : verdict->reason == END_ELSEWHERE
                       ? " this suggestion was joined to another. "
                       : " the grounds for this suggestion no longer hold. ");
    buf_printf(note, "%s.", words);
    if (verdict->reason == END_WITHDRAWN)
        say_changed(w, &verdict->episode, note);
    else
        say_last(w, note);
    if (verdict->episode.state == EPISODE_TAKEN)
        buf_puts(note, " A person has this in hand, so only this note is "
                       "added.");
    buf_puts(note, " Absence of a flag does not mean the access or the hand is "
                   "safe. " WORDING_SUPPORT);
}
