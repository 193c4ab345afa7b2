/*
 * audit_request - the row of the audit trail for one HTTP request
 *
 * Filled on the loop when the request is routed (who, with which right, what
 * is asked for), written on the store thread in the transaction of the request
 * and durable before it is answered.  A route may say more in between: its
 * run function knows what it found, and how many.
 *
 * Of whom it is: the patients of what was returned or stored, and those whom it
 * names.
 *
 * What never reaches the store (refused for its form, or by the doors, see
 * audit_doors.h) shows and changes nothing, and has no row here.
 */
#ifndef HEADGATE_SERVICE_AUDIT_REQUEST_H
#define HEADGATE_SERVICE_AUDIT_REQUEST_H

#include "service/audit.h"

struct http_request;
struct service;

enum { AUDIT_SUBJECT_SIZE = 1024 };
enum audit_named { AUDIT_NOBODY, AUDIT_ACCESS, AUDIT_PATIENT };

struct audit_request {
    bool skip; /* no row: nothing of a patient, or a row was written already */
    const char *kind; /* static */
    char actor[128], scope[64], who[AUDIT_TEXT_MAX], action[48], type[40],
        key[160];
    char detail[AUDIT_TEXT_MAX];
    int64_t patient;
    bool refused;  /* set by a run that is done and says no */
    bool key_seen; /* what key names was stored, and so seen, by the request */
    bool sees;     /* what it shows and stores is seen, see audit_whom.h */
    /* Whom the request names, a line each; looked up when the row is written,
     * and not kept.  The row is of them too: that there is nothing of somebody
     * is an answer about them. */
    enum audit_named named;
    char subject[AUDIT_SUBJECT_SIZE];
};

/* What the head of a request says. */
void audit_request_open(struct audit_request *a, const struct service *s,
                        const struct http_request *r);

/* What is done with it, "task" and "take" to "task-take", and which one. */
void audit_request_act(struct audit_request *a, const char *what,
                       const char *verb);

/* For people and programs: what came of several. */
void audit_request_count(struct audit_request *a, size_t stored,
                         size_t refused);

/* store_job keep function of an exchange (arg is a struct exchange). */
enum err audit_request_keep(struct db *db, void *arg, enum err came_to);

#endif
