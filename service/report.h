/*
 * report - answers that are put together in the store's thread as text; private
 * to the routes
 */
#ifndef HEADGATE_SERVICE_REPORT_H
#define HEADGATE_SERVICE_REPORT_H

#include "adapters/queue_write.h"
#include "service/app.h"
#include "service/upkeep.h"

#define TEXT_TYPE   "text/plain; charset=utf-8"
#define NDJSON_TYPE "application/x-ndjson"

struct report {
    struct exchange x; /* first */
    bool table;        /* for people */
    struct queue_options options;
    int64_t from_ms;                /* what is older is left out */
    char subject[256];              /* what was asked for, by name */
    struct plan_wish wish;          /* of a plan */
    bool brief;                     /* of a plan: what a case needs */
    bool whole;                     /* a list, however long it is */
    bool drawn;                     /* of a plan: as a page ... */
    enum canvas_form form;          /* ... of this form */
    struct counters counters;       /* as they stood when it was asked for */
    struct poll_side_view incoming; /* likewise */
    struct hook_counters hooks;
    struct hl7_door_view hl7;
    struct gate_view gate; /* likewise */
    struct http_server_view http;
    struct drop_view drop; /* likewise */
    struct record_view record;
    struct upkeep upkeep;
    const char *token_error; /* static word; NULL or "": none */
    const char *content_type;
    int status; /* 200 unless run says otherwise */
    enum err (*run)(struct db *db, struct report *r);
};

/* NULL: out of memory, and the request has been answered 503. */
struct report *report_new(struct service *s, struct http_request *r,
                          const char *content_type,
                          enum err (*run)(struct db *db, struct report *r));
void report_submit(struct report *report);

/* Loop thread: what it knows of the record, for the thread that writes. */
void report_look_at_record(const struct service *s, struct report *report);

#endif
