/*
 * reviewed - which quantities the rules or the band plan look at
 *
 * Only a reading of one of these is news, and only these are loaded for a
 * review.  The answer stands in each row of readings: when it changes, the
 * schema must become a version newer, so that the rows are marked anew.
 */
#ifndef HEADGATE_SERVICE_REVIEWED_H
#define HEADGATE_SERVICE_REVIEWED_H

#include "planner/quantity.h"

/* Does a rule, the list of what stands before a band plan, or the plan itself
 * look at it? */
bool quantity_is_reviewed(enum quantity q);

#endif
