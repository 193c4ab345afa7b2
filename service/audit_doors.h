/*
 * audit_doors - who was not let in, for the audit trail: added up, and bounded
 *
 * Loop thread.  Ten seconds after the first of them what was turned away is
 * written, one row for each client and reason with how often; of more than 64
 * kinds in that time the rest is one row.  So a flood of false tokens makes a
 * few rows, not a flood of writes.
 *
 * A row has the address that they came from (of IPv6 the first 64 bits, see
 * http_address_host_bytes): it is of a machine, and whoever looks into it needs
 * it.  It stands in the audit trail alone, never in the log.
 */
#ifndef HEADGATE_SERVICE_AUDIT_DOORS_H
#define HEADGATE_SERVICE_AUDIT_DOORS_H

#include "planner/err.h"

#include <stdint.h>
#include <uv.h>

struct audit_doors;
struct http_address;
struct store;

enum audit_shut {
    AUDIT_SHUT_FALSE, /* a false token */
    AUDIT_SHUT_RIGHT, /* one that may not do this */
    AUDIT_SHUT_OFTEN  /* too many requests, or too many false tokens before */
};

MUST_CHECK enum err audit_doors_open(uv_loop_t *loop, struct store *store,
                                     int64_t (*now_ms)(void),
                                     struct audit_doors **doors);

/*
 * from   NULL, or not known: not told
 * actor  name of the client that is known and may not do this; NULL: nobody
 *        who is known
 * why    a word of the program, or the scope that is missing
 *
 * doors may be NULL: nothing is kept then.
 */
void audit_doors_from(struct audit_doors *doors, enum audit_shut shut,
                      const struct http_address *from, const char *actor,
                      const char *why);
/* The same without an address: one that may not, or who is not known. */
void audit_doors_note(struct audit_doors *doors, const char *actor,
                      const char *why);

/* What is left is handed to the store; on_closed is called from the loop. */
void audit_doors_close(struct audit_doors *doors, void (*on_closed)(void *arg),
                       void *arg);

#endif
