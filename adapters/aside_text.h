/*
 * aside_text - what could not be delivered to the record, for people and
 * programs
 */
#ifndef HEADGATE_ADAPTERS_ASIDE_TEXT_H
#define HEADGATE_ADAPTERS_ASIDE_TEXT_H

#include "adapters/buf.h"
#include "adapters/zone.h"

#include <stdbool.h>
#include <stdint.h>

/* One resource that was put aside.  Strings are borrowed; NULL: none. */
struct aside_line {
    int64_t row;        /* by which it is named here */
    const char *type;   /* "Task" */
    const char *fid;    /* its id here */
    const char *remote; /* its id in the record */
    long status;        /* of the last answer; 0: none came */
    int tries;
    int64_t aside_ms;
    const char *answer; /* what the record said */
    const char *code;   /* of the Task it goes with: "refer-flow-review" */
    const char *access, *patient;
    bool given_up; /* by a person */
    const char *who, *why;
};

/* Three lines or so: which, of whom, since when, and what the record said. */
void aside_text_write(const struct aside_line *line, const struct zone *zone,
                      struct buf *out);

/* One JSON object and a line feed.  The record's answer is given as it came
 * if it is JSON ("answer"), else as text ("answer_text"). */
void aside_json_write(const struct aside_line *line, struct buf *out);

#endif
