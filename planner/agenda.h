/*
 * agenda - when passing time alone may change what is to be said
 *
 * An access becomes eight weeks old, a follow-up falls due or overdue, a
 * repeat has not come, nobody has answered for long: none of these brings a
 * reading.  So each review says when the next one is due.
 */
#ifndef HEADGATE_PLANNER_AGENDA_H
#define HEADGATE_PLANNER_AGENDA_H

#include "planner/triage.h"

/* Never, by time alone. */
#define AGENDA_NEVER INT64_MAX

/*
 * agenda_next - the first moment after h->now_s at which time alone may change
 * findings of this access, UTC seconds; AGENDA_NEVER
 */
int64_t agenda_next(const struct history *h, const struct policy *policy,
                    const struct findings *findings);

/* The same for what was said of one group: the repeat that is due, the
 * suggestion that nobody answers.  Both as they stand after triage. */
int64_t agenda_of_group(const struct policy *policy,
                        const struct episode *episode,
                        const struct repeat_state *repeat, int64_t now_s);

#endif
