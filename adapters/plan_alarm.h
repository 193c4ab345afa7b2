/*
 * plan_alarm - what a plan says of a hand that is worse after a tie, and of a
 * mean pressure that is not that of the baseline; for text, page and Task
 *
 * Whole sentences, in the language of the catalogue, a line for each; nothing
 * where there is nothing to say.  With a plan or without one.
 */
#ifndef HEADGATE_ADAPTERS_PLAN_ALARM_H
#define HEADGATE_ADAPTERS_PLAN_ALARM_H

#include "adapters/plan_write.h"

void plan_alarm_say(const struct plan_document *d, struct buf *out);

#endif
