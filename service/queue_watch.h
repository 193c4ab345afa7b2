/*
 * queue_watch - the queue on a terminal, drawn anew when something has changed
 *
 * It asks every few seconds whether there is anything new, which costs the
 * service a row of a table.  It ends on q or on SIGINT, SIGTERM, SIGHUP, and
 * leaves the terminal as it found it.
 */
#ifndef HEADGATE_SERVICE_QUEUE_WATCH_H
#define HEADGATE_SERVICE_QUEUE_WATCH_H

#include "service/command.h"

/*
 * queue_watch - until a person ends it
 *
 * path  appends the path of the queue for a terminal of this width
 * Returns the exit status: 0; 1 the service refuses what was asked for; 2 this
 * is no terminal.
 */
int queue_watch(const struct args *args, const struct config *config,
                void (*path)(const struct args *args, int columns,
                             struct buf *out));

#endif
