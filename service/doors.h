/*
 * doors - who may come in, and what for
 *
 * Loop thread.  A bearer token is either one of the tokens file, known by its
 * hash (service/tokens.h), or a signed access token (JWT) of the site's
 * authorisation server, known by that server's key set.  What either may do
 * is said by scopes (adapters/rights.h):
 *
 *     POST Type, PUT, PATCH, DELETE      system/Type.c, .u, .u, .d
 *     GET Type/id, versions, history     system/Type.r
 *     GET Type?..., POST _search         system/Type.s, and .r of what
 *                                        _include and _revinclude bring along
 *     a Bundle                           each entry by its own need
 *     /queue /held /decisions /review /plan /technique    system/Task.rs
 *     /metrics, /audit                   headgate/metrics.r, headgate/audit.r
 *     POST /hl7                          system/Observation.c
 *     POST /technique, POST /x           headgate/technique.u, headgate/x.u
 *
 * A right within limits ("?category=...") could not be kept to and counts as
 * none; so do scopes of a person (user/, patient/).
 */
#ifndef HEADGATE_SERVICE_DOORS_H
#define HEADGATE_SERVICE_DOORS_H

#include "adapters/outcome.h"
#include "adapters/rights.h"
#include "service/config.h"

#include <stdint.h>

struct doors;
struct fhir_doc;

/*
 * doors_open - read tokens and keys, of the settings http.tokens and http.jwt_*
 *
 * ERR_IO, ERR_CONFIG, ERR_MEMORY: see why
 */
MUST_CHECK enum err doors_open(const struct config *config,
                               struct doors **doors, struct buf *why);
void doors_close(struct doors *doors);

/* Who stands there. */
struct door_grant {
    const char *scopes; /* NULL: everything; borrowed until the next call of
                           doors_who */
    int client;         /* for the log, which has no names: the line in the
                           tokens file; 1001 and up in the order of their first
                           coming for clients with a JWT; 0: not told */
    const char *name;   /* for the weekly report to the sender; borrowed as
                           scopes is; NULL: not told */
    bool is_signed;     /* by a JWT, not one of the tokens file */
};

/*
 * doors_who - by the value of the Authorization header
 *
 * now_ms  wall clock
 * why     out: a word of the program for the log and for people: "expired";
 *         written on an error
 *
 * ERR_ABSENT  no bearer token
 * ERR_DENIED  an unknown, false or expired one
 */
MUST_CHECK enum err doors_who(struct doors *doors, const char *authorization,
                              int64_t now_ms, struct door_grant *grant,
                              const char **why);

/* What a request asks for.  permits 0: nothing that is guarded. */
struct door_need {
    struct right right;
};

/* Of a method and a path taken apart: "fhir", "Task", "7".  A Bundle needs
 * nothing here; see doors_check_bundle. */
void doors_need(const char *method, const char *const *parts, size_t count,
                struct door_need *need);

/* Of a parameter of a search: _include and _revinclude bring other types
 * along, of which reading is needed; permits 0: the parameter does not. */
void doors_need_included(const char *name, const char *value,
                         struct door_need *need);

/* May that be done?  If not, scope gets what is missing, "system/Task.u". */
bool doors_let(const struct door_grant *grant, const struct door_need *need,
               char *scope, size_t size);

/* The scope that it needs, "system/Task.u"; "" none. */
void doors_need_scope(const struct door_need *need, char *scope, size_t size);

/* Say of each entry that is not allowed that it is forbidden; returns how
 * many.  The entry is refused then, and so is a whole transaction. */
size_t doors_check_bundle(const struct door_grant *grant, struct fhir_doc *doc);

#endif
