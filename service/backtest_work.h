/* backtest_work - what the parts of the back test share after a run; private
 * to backtest_*.c */
#ifndef HEADGATE_SERVICE_BACKTEST_WORK_H
#define HEADGATE_SERVICE_BACKTEST_WORK_H

#include "service/backtest.h"
#include "service/db.h"

/* A reading of the evidence, as a decision names it. */
struct backtest_ref {
    int64_t resource;
    int version, slot;
    bool later;
};

/* A suggestion, with what leads from it into the store. */
struct backtest_raised {
    struct backtest_suggestion s;
    int64_t task, access, patient;
    struct backtest_ref *refs;
    size_t ref_count, ref_size;
};

struct backtest_list {
    struct backtest_raised *items;
    size_t count, size;
};

/* ---- backtest_sum.c ------------------------------------------------------- */

/* What a store says after a run, with what is in data so far. */
MUST_CHECK enum err backtest_sum(struct db *db,
                                 const struct backtest_options *options,
                                 struct backtest_data *data,
                                 struct backtest_report *report);

/* ---- backtest_evidence.c -------------------------------------------------- */

/* Note what a decision rested on: "resource/version/slot ..."; one that is
 * noted already stays as it is.  ERR_FORM, ERR_LIMIT, ERR_MEMORY. */
MUST_CHECK enum err backtest_refs_add(struct backtest_raised *r,
                                      const char *text, bool later);

/* What each of them said at the time, into r->s.evidence, oldest first. */
MUST_CHECK enum err backtest_evidence(struct db *db,
                                      const struct fhir_reader *reader,
                                      struct backtest_raised *r);

/* ---- backtest_events.c ---------------------------------------------------- */

/*
 * What was recorded that a suggestion might have foreseen: interventions
 * (but for the creation), a thrill lost, an admission for heart failure (an
 * event of each access of the patient).  Sets lead_d of the suggestions, and
 * counts data->events and *unforeseen.
 */
MUST_CHECK enum err backtest_events(struct db *db,
                                    const struct backtest_list *list,
                                    struct backtest_data *data,
                                    unsigned long *unforeseen);

/* ---- backtest_count.c ----------------------------------------------------- */

/* The lines of the table, but for the reminders, from the list. */
MUST_CHECK enum err backtest_count(struct backtest_report *report);

#endif
