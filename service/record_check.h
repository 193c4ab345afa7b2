/*
 * record_check - what will and what will not work at a record, in plain words
 *
 * Rests on what the record says of itself and on what headgate is set up to
 * do there; nothing is sent from here.
 */
#ifndef HEADGATE_SERVICE_RECORD_CHECK_H
#define HEADGATE_SERVICE_RECORD_CHECK_H

#include "adapters/buf.h"
#include "adapters/fhir_record.h"

/* What is set up; what is not is not mentioned. */
struct record_wants {
    bool documents, proposal, flag, provenance; /* beside a Task */
    bool poll;                                  /* readings are fetched there */
    bool follow;    /* changes of Tasks are looked for */
    bool subscribe; /* the record is asked to call */
    bool bulk;      /* all of it is exported from time to time */
};

/*
 * record_check_write - one line for each thing, most important first
 *
 *     "  yes  ..."   it says that it can
 *     "  no   ..."   it cannot; what happens instead, or that it does not work
 *     "  ?    ..."   it does not say; what is done until it has shown
 *
 * works  out: nothing that headgate cannot do without is denied
 */
void record_check_write(const struct fhir_record_says *says,
                        const struct record_wants *wants, struct buf *out,
                        bool *works);

#endif
