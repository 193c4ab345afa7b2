/* plan_words - the words of a plan, in one place for text and JSON; private
 * to plan_*.c and wording_*.c */
#ifndef HEADGATE_ADAPTERS_PLAN_WORDS_H
#define HEADGATE_ADAPTERS_PLAN_WORDS_H

#include "adapters/plan_write.h"

struct plan_phrase {
    unsigned key;     /* a bit of a set, or a number of an enumeration */
    const char *word; /* stable, for programs */
    const char *text; /* for people */
};

struct plan_phrases {
    const struct plan_phrase *rows;
    size_t count;
};

enum plan_phrase_set {
    PLAN_PHRASES_MISSING,   /* bits of enum plan_missing; things */
    PLAN_PHRASES_WARNING,   /* bits of enum plan_warning; sentences */
    PLAN_PHRASES_CONDITION, /* enum condition; things */
    PLAN_PHRASES_EXCLUSION, /* bits of enum exclusion; clauses */
    PLAN_PHRASES_CAUTION,   /* bits of enum caution; sentences */
    PLAN_PHRASES_ALWAYS,    /* with every plan; sentences */
    PLAN_PHRASES_OFFER,     /* enum plan_offer; clauses */
    PLAN_PHRASES_COUNT
};

const struct plan_phrases *plan_phrases(enum plan_phrase_set set);
const struct plan_phrase *plan_offer_phrase(enum plan_offer o);

/* What a plan is incomplete without; the rest of enum plan_missing widens it
 * only. */
#define PLAN_MISSING_NEEDED                                                    \
    ((unsigned)(PLAN_NO_TABLE | PLAN_NO_MAP | PLAN_NO_REPEAT | PLAN_NO_METHOD))

/* Has the plan all that it needs, but for the operator's part? */
static inline bool plan_is_complete(const struct plan_document *d)
{
    return d->plan != NULL && d->from->readiness.complete &&
           (d->plan->missing & PLAN_MISSING_NEEDED) == 0;
}

/* Does a size keep to the limits of chance that bind now: those of the first
 * tie, or the one of every later tie? */
static inline bool plan_rung_keeps(const struct plan_document *d,
                                   const struct plan_rung *r)
{
    const struct plan_limits *l = &d->from->in.limits;

    if (d->from->in.stage_count > 0)
        return r->p_below_floor <= l->floor_most;
    return r->p_below_floor <= l->floor_first_most &&
           r->p_too_tight <= l->tight_most;
}

/* What to do after the last stage: what the engine says, but that a weak
 * thrill stands above every flow.  What stands above a flow is known also where
 * the flow gives no advice. */
struct plan_what_now {
    bool known; /* a case goes on, and advice is given */
    enum plan_action action;
    double dowel_mm;
    enum plan_reason reason;
};
struct plan_what_now plan_what_now(const struct plan_document *d);

/* The dowel of the band that is in place; NAN: no band. */
double plan_standing_mm(const struct plan_input *in);

#endif
