/*
 * decisions - what a review did, kept for whoever asks later
 *
 * Store thread only.  Each decision names the policy it was made under, with
 * the date and the approver of that policy, and the readings it rests on with
 * the version they had.
 */
#ifndef HEADGATE_SERVICE_DECISIONS_H
#define HEADGATE_SERVICE_DECISIONS_H

#include "adapters/buf.h"
#include "planner/triage.h"
#include "service/db.h"

struct zone;

/* What more there is to say of an act.  The numbers stand in stores: new ones
 * come last. */
enum decision_how {
    HOW_PLAIN,
    HOW_RAISED,     /* of an update: the urgency, or a new kind of emergency */
    HOW_CORRECTED,  /* of an update: a reading was corrected or withdrawn */
    HOW_UNANSWERED, /* of an update: put again, nobody has answered */
    HOW_OVERDUE,    /* of an update of a reminder: its day has passed */
    HOW_DONE,       /* of the end of a reminder: what it asked for has come */
    HOW_WENT_LIVE,  /* of an end: it was never posted; what still holds is
                       opened anew, and posted */
    HOW_PLANNED,    /* of an update: the band plan of its Task was renewed, or
                       taken out */
    HOW_ESCALATED   /* of an update: nobody has taken it in time */
};

struct decision {
    int64_t access;
    enum group group;
    int number; /* of the episode, or of the reminder */
    bool reminder;
    enum act act;
    enum end_reason reason; /* ACT_END of an episode */
    enum decision_how how;
    enum urgency urgency;
    unsigned rules;
    bool silent; /* nothing was posted */
    int64_t task;
    int task_version;
    const struct evidence *evidence; /* NULL: only the ids are known */
    size_t evidence_count;
    int64_t trigger_id; /* of a reminder: the reading it rests on */
};

/* "4 (2026-11-02, Clinical lead for access)" */
enum { POLICY_TEXT_SIZE = 160 };
void policy_text(const struct policy *policy, char out[POLICY_TEXT_SIZE]);

/* "opened", "raised" ...; why it ended: static words. */
const char *decision_act_words(enum act act, enum decision_how how);
const char *decision_end_words(bool reminder, enum decision_how how,
                               enum end_reason reason);

MUST_CHECK enum err decision_add(struct db *db, const struct decision *d,
                                 const struct policy *policy, int64_t now_ms);

/*
 * decisions_read - what was decided since then, the oldest first: a line for
 * a person each, or, with json, an object each
 */
MUST_CHECK enum err decisions_read(struct db *db, int64_t from_ms, bool json,
                                   const struct zone *zone, struct buf *out);

#endif
