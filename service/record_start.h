/*
 * record_start - ask the record once what it can, and tell the outbox
 *
 * Loop thread.  Nothing waits for the answer: where there is none, or none
 * that can be read, what the record can is learnt from what it does.
 */
#ifndef HEADGATE_SERVICE_RECORD_START_H
#define HEADGATE_SERVICE_RECORD_START_H

#include "adapters/fhir_record.h"
#include "service/record.h"

enum { RECORD_STATEMENT_MAX = 16 * 1024 * 1024 };

typedef void (*record_says_fn)(void *arg, const struct fhir_record_says *says);

struct record_start {
    struct record_call *call; /* NULL: none is under way */
    bool known;               /* it has answered */
    record_says_fn on_says;
    void *arg;
};

/* GET metadata; on_says is called if it is a CapabilityStatement.  start must
 * live until on_says, or record_start_end. */
void record_start_begin(struct record_start *start, struct record *record,
                        record_says_fn on_says, void *arg);
void record_start_end(struct record_start *start);

#endif
