/*
 * triage - what to put to people, given what holds and what was said before
 *
 * One open suggestion per access and problem group: an episode.  It opens
 * with confirmed findings that are not historic, gathers later evidence,
 * and ends when its findings no longer hold or a person closes it.  After a
 * person has closed one, the group stays quiet until it worsens, until new
 * evidence comes after a quiet time, or until an immediate rule holds anew.
 * One that a person has in hand is added to; but if it becomes a matter of
 * hours or days, a new one opens, since the priority of theirs is theirs.
 * One that nobody answers is put again, once in a long while; one that is to be
 * seen at once, or within days, is escalated once nobody took it in time.  What
 * a person has put off waits until that day, unless it worsens.  What somebody
 * had in hand and has handed over is in nobody's hands until it is taken again:
 * it waits for an answer, and is escalated, like one that nobody took.  Its
 * time runs from when it was put to people, not from the hand-over: that is how
 * long the patient has waited, and handing round gives no new time.
 */
#ifndef HEADGATE_PLANNER_TRIAGE_H
#define HEADGATE_PLANNER_TRIAGE_H

#include "planner/rules.h"

enum episode_state {
    EPISODE_NONE,     /* never was one */
    EPISODE_OPEN,     /* put to people, untouched */
    EPISODE_TAKEN,    /* a person has it in hand */
    EPISODE_DECLINED, /* a person said no */
    EPISODE_DONE,     /* a person completed it */
    EPISODE_ENDED,    /* ended by us: its ground has gone */
    EPISODE_VOID      /* deleted, failed or entered in error */
};

enum { EPISODE_EVIDENCE_MAX = 64 };

/* A reading as it was when a suggestion rested on it. */
struct evidence {
    int64_t id;
    int version, slot;
    int64_t at_s;
};

/* The newest episode of an access and group, as last put to people. */
struct episode {
    int number; /* 1, 2, ...; 0 for EPISODE_NONE */
    enum episode_state state;
    enum urgency urgency;
    unsigned rules; /* bit 1 << enum rule; 0 once its end has been said */
    enum grade grade;
    double flow_ml_min;  /* most extreme flow; NAN if none */
    int64_t occasion;    /* greatest of its findings; 0 if they have none */
    int64_t announced_s; /* when it was last put to people as new or urgent */
    int64_t closed_s;    /* closed states only */
    int64_t put_off_s;   /* a person put it off until then; 0: nobody did */
    bool escalated;      /* that nobody took it in time was said */
    bool handed;         /* taken, then handed over, and not taken since */
    size_t evidence_count;
    struct evidence evidence[EPISODE_EVIDENCE_MAX];
};

/* The newest reminder, of an access and group: to measure again, or that a
 * follow-up is due. */
struct repeat_state {
    int number; /* 0: never was one */
    bool open;
    bool taken;         /* a person has it in hand; it is still open */
    bool overdue;       /* that its day has passed was said */
    int64_t trigger_id; /* newest reading it rested on */
    int64_t occasion;   /* of its finding */
    int64_t due_s;      /* the day by which to measure again */
};

/* The row of the policy that says by when a group and urgency ask to be
 * seen; an immediate one asks for today, and has none. */
enum param due_row(enum group group, enum urgency urgency);

enum act { ACT_NOTHING, ACT_OPEN, ACT_UPDATE, ACT_END };

enum end_reason {
    END_CLEARED,    /* later readings are back inside the limits */
    END_WITHDRAWN,  /* a reading it rested on was corrected or withdrawn */
    END_SUPERSEDED, /* the opposite flow problem has been confirmed since */
    END_STAGE,      /* an intervention began a new stage */
    END_INACTIVE,   /* the access is no longer in use; only the caller knows */
    END_MERGED,     /* the access is another one that has its own suggestion;
                       only the caller knows */
    END_ELSEWHERE,  /* the suggestion of another group says it now */
    END_DECEASED    /* the patient is dead; only the caller knows */
};

struct verdict {
    enum act act;
    enum end_reason reason; /* ACT_END */
    bool corrected;         /* evidence of before was corrected or withdrawn */
    bool raised;            /* urgency above what was said before, or a new
                               kind of emergency */
    bool again;             /* the same emergency was seen again, later */
    bool unanswered;        /* put again, because nobody has answered for
                               general.unanswered_d */
    bool escalated;         /* to be seen at once, or within days, and nobody
                               has taken it for general.escalate_*_h */
    struct episode episode; /* as it will stand; for ACT_END the caller sets
                               the state: ended, or still taken */
    size_t new_evidence;    /* how many of the newest were not there before */

    enum act repeat;       /* of the reminder; UPDATE: it is overdue */
    bool repeat_done;      /* ACT_END: what it asked for has come */
    size_t repeat_finding; /* ACT_OPEN: index into findings */
    struct repeat_state repeat_state; /* as it will stand */
};

/*
 * triage - decide for one group
 *
 * episode, repeat  what was said before
 *
 * Where a reminder ends, the caller asks again: another may be due.
 */
void triage(const struct history *h, const struct policy *policy,
            const struct findings *findings, enum group group,
            const struct episode *episode, const struct repeat_state *repeat,
            struct verdict *out);

/* Does it wait for somebody to take it: untouched, or handed over? */
bool triage_waits(const struct episode *episode);

/* When one that waits is put again, and when it is escalated; INT64_MAX:
 * never. */
int64_t triage_unanswered_s(const struct policy *policy,
                            const struct episode *episode);
int64_t triage_escalation_s(const struct policy *policy,
                            const struct episode *episode);

#endif
