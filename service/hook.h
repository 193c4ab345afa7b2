/*
 * hook - the record calls: there is something new
 *
 * Forms that are taken under /hook:
 *
 *     POST /hook, nothing in it              ask now
 *     PUT  /hook/Observation/7, the resource (R4 rest-hook with a payload)
 *     POST /hook, a resource or a Bundle of them
 *     POST /hook, a notification             (fhir_notification.h)
 *
 * What comes with a call is taken as what a poll brings, and a call always
 * makes the poll begin at once: calls get lost, and the poll is what is relied
 * on.  A call is answered 200 when what it brought is stored.
 */
#ifndef HEADGATE_SERVICE_HOOK_H
#define HEADGATE_SERVICE_HOOK_H

#include <stdint.h>

struct service;
struct http_request;

/* type and id: of the path; NULL: not there. */
void route_hook(struct service *s, struct http_request *r, const char *type,
                const char *id);

struct hook_counters {
    uint64_t calls;         /* that were taken */
    uint64_t notifications; /* among them */
    uint64_t gaps;          /* events that the record told of, and that have
                               not come */
    uint64_t unreadable;
};

#endif
