/*
 * limits - does the system give as many descriptors as the settings may need?
 *
 * Where there are none left nobody is accepted any more, and the store cannot
 * open what it needs: connections_max is to be reached first.  At most
 *
 *     HTTP   3 for each connection by TLS (the network, and the two ends
 *            between TLS and HTTP), 1 without; and 1 for each that was refused
 *            and is waited for, of which there are no more than connections
 *     HL7    1 for each connection
 *     128    for the store, the socket of commands, the record, files, the loop
 */
#ifndef HEADGATE_SERVICE_LIMITS_H
#define HEADGATE_SERVICE_LIMITS_H

#include "service/config.h"

/* So many, at most. */
long limits_needed(const struct config *config);

/*
 * limits_raise - as many as the settings need, as far as the process may
 *
 * The soft limit is put up, no further than the hard one, and never down.
 */
void limits_raise(const struct config *config);

/*
 * limits_check - compare; a line for each warning to the end of found
 *
 * hard  true: with what the process may raise it to, since a start does that;
 *       false: with what it has
 *
 * Also, where one client may have more than half of all connections.
 */
void limits_check(const struct config *config, bool hard, struct buf *found);

#endif
