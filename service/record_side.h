/*
 * record_side - what a service, or a check, needs to talk to the record:
 * the HTTP client, the tokens, the record as a target
 */
#ifndef HEADGATE_SERVICE_RECORD_SIDE_H
#define HEADGATE_SERVICE_RECORD_SIDE_H

#include "service/config.h"
#include "service/record.h"
#include "service/record_check.h"
#include "service/smart.h"

struct record_side {
    struct http_client *client;
    struct smart *smart; /* NULL: a token from a file, or none */
    struct record *record;
    void (*on_closed)(void *arg);
    void *closed_arg;
};

/*
 * record_side_open - by the configuration, which names a record
 *
 * why  out: what is wrong, for a person.  On an error what is open stays so
 *      until record_side_close.
 */
MUST_CHECK enum err record_side_open(uv_loop_t *loop,
                                     const struct config *config,
                                     struct record_side *side, struct buf *why);

/* No record_call may be under way.  on_closed is called from the loop, or
 * from inside if there is nothing to close. */
void record_side_close(struct record_side *side, void (*on_closed)(void *arg),
                       void *arg);

/* What is set up to be done at the record. */
struct record_wants record_side_wants(const struct config *config);

#endif
