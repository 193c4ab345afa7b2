/*
 * task_change - a person changes a Task that is kept here, by what it is to be
 * (PUT) or by what is to change in it (PATCH)
 *
 * Store thread only.
 */
#ifndef HEADGATE_SERVICE_TASK_CHANGE_H
#define HEADGATE_SERVICE_TASK_CHANGE_H

#include "adapters/fhir_read.h"
#include "service/resources.h"

struct task_change {
    /* in; all borrowed */
    const char *id;
    const char *if_match;      /* NULL: not said */
    const char *if_none_match; /* "*": there must be none; NULL */
    bool patch;
    const char *body; /* the Task, or the patch */
    size_t len;
    bool is_read; /* body has been read, and is a Task with this id */
    const struct fhir_reader *reader;
    bool must_match; /* fhir.task_if_match: refused without If-Match */
    bool deliver;    /* there is a record that has to hear of it */
    int64_t now_ms;
    struct outcome *outcome;
    /* out */
    struct resource row;
};

/* ERR_CONFLICT: refused, see the outcome; the caller undoes what was done. */
MUST_CHECK enum err task_change(struct db *db, struct task_change *c);

/* Is it one of the versions that an If-Match or If-None-Match names (W/"2",
 * "2", *), in a list (RFC 9110, 8.8.3)?  version 0: there is none. */
bool etag_matches(const char *list, int version);

#endif
