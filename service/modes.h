/*
 * modes - who else could read or change what the service trusts
 *
 *     secrets    http.tokens, the keys of TLS, tokens and keys for the record:
 *                nobody but their owner, and a group that reads them
 *     store      the database and its -wal: its owner alone
 *     rules      the configuration, the policy, code maps, certificates and
 *                authorities, the key set of JWTs: nobody else may change them
 *     folders    of the store and of files that are taken (drop.folder): nobody
 *                else may put anything there
 *
 * What others (all users of the machine) could do is an error: a service does
 * not start.  What a group could do beyond that, and running as root, is a
 * warning.  A file that is not there is passed over; whoever needs it says so.
 * In a folder that others may not enter, the modes of what lies there do not
 * count for them; of a link the folder counts in which the file itself is.
 */
#ifndef HEADGATE_SERVICE_MODES_H
#define HEADGATE_SERVICE_MODES_H

#include "service/config.h"

/*
 * modes_check - look at all files that the settings name
 *
 * starting  true: root is told to the log, as a start does; else in words
 * found     a line for each error and warning, with the setting before it
 *
 * Returns the number of errors.
 */
unsigned modes_check(const struct config *config, bool starting,
                     struct buf *found);

#endif
