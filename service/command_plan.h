/* command_plan - what the two ways of headgate plan share; private to
 * command_plan*.c */
#ifndef HEADGATE_SERVICE_COMMAND_PLAN_H
#define HEADGATE_SERVICE_COMMAND_PLAN_H

#include "service/command.h"
#include "service/planning.h"

enum { PLAN_PAGE_MAX = 4 * 1024 * 1024, PLAN_WHY_MAX = 256 * 1024 };

/* Where the page goes; NULL: no page is asked for. */
const char *command_plan_page(const struct args *args);
/* To that file, or to standard output; the status of the command. */
int command_plan_print(const struct args *args, const struct buf *out);
/* Says what went wrong, if something did, and clears why; true: nothing. */
bool command_plan_report(enum err e, struct buf *why);

/* As of the newest reading of a Bundle; the status of the command. */
int command_plan_from_file(const struct args *args,
                           const struct plan_wish *wish);

#endif
