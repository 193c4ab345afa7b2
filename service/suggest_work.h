/*
 * suggest_work - what the files of suggest share; private to them
 *
 *     suggest.c            referrals, and what both need
 *     suggest_repeat.c     reminders: to measure again, or that a visit is due
 *     suggest_silent.c     the end of silent mode
 *     suggest_put_off.c    the end of what a person put off
 *     suggest_plan.c       the band plan that a referral carries
 *     suggest_companion.c  what goes beside a Task to a record
 *     suggest_document.c   of that, the document of the plan
 */
#ifndef HEADGATE_SERVICE_SUGGEST_WORK_H
#define HEADGATE_SERVICE_SUGGEST_WORK_H

#include "service/decisions.h"
#include "service/draft.h"

/* The draft as a new Task; row is its resource. */
MUST_CHECK enum err suggest_new_task(struct suggest *s, struct draft *d,
                                     struct resource *row);

/*
 * The draft as a new version of a Task.
 *
 * touched  a person has it in hand: it is only added to
 * silent   out: nothing was posted, for it never was, or for nothing is
 */
MUST_CHECK enum err suggest_amend_task(struct suggest *s, struct draft *d,
                                       int64_t task, bool touched,
                                       struct resource *row, bool *silent);

/* The draft's code and key, as the Task was made. */
MUST_CHECK enum err suggest_known_task(struct suggest *s, struct draft *d,
                                       int64_t task);

/* Why, for whoever asks later: readings with the version they had. */
MUST_CHECK enum err suggest_note(struct suggest *s, enum group group,
                                 const struct episode *episode, enum act act,
                                 enum end_reason reason, enum decision_how how,
                                 const struct resource *task, bool silent);

typedef enum err (*suggest_step_fn)(struct suggest *s, struct draft *d,
                                    enum group group, const struct verdict *v,
                                    int64_t task);

/* By act: open, update (it is overdue), end. */
MUST_CHECK enum err suggest_open_repeat(struct suggest *s, struct draft *d,
                                        enum group group,
                                        const struct verdict *v, int64_t task);
MUST_CHECK enum err suggest_update_repeat(struct suggest *s, struct draft *d,
                                          enum group group,
                                          const struct verdict *v,
                                          int64_t task);
MUST_CHECK enum err suggest_end_repeat(struct suggest *s, struct draft *d,
                                       enum group group,
                                       const struct verdict *v, int64_t task);

#endif
