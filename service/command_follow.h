/*
 * command_follow - long work of a service, begun and waited for by a command
 *
 * What is told of it is a flat JSON object of texts: number, state, text.
 */
#ifndef HEADGATE_SERVICE_COMMAND_FOLLOW_H
#define HEADGATE_SERVICE_COMMAND_FOLLOW_H

#include "service/command.h"

/*
 * POST begin, then GET look until its state is "done" or "failed".  What it
 * says in the end is printed, or why not.  Returns the exit status.
 */
int command_follow(struct session *s, const char *begin, const char *look);

#endif
