/*
 * fhir_merge - two resources of a type into one, member by member; private to
 * the fhir files
 *
 * One of the two is the base: its members stay where they are, byte for byte.
 * A rule says for each member what becomes of it when the other has something
 * to say as well; members that only the other has follow at the end.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_MERGE_H
#define HEADGATE_ADAPTERS_FHIR_MERGE_H

#include "adapters/fhir_task.h"

/* What the result holds of a member. */
enum fhir_take {
    TAKE_BASE,   /* what the base has, or nothing */
    TAKE_OTHER,  /* what the other has, or nothing */
    TAKE_PREFER, /* what the other has, else the base */
    TAKE_ASSIGN, /* what the base has, else the other */
    TAKE_UNITE,  /* the notes of the base, then those that only the other has */
    TAKE_APPEND, /* the notes of both */
    TAKE_SPECIAL, /* what put() writes */
    TAKE_NONE
};

struct fhir_merge {
    const struct fhir_task_text *base, *other;
    /* name as it is spelt without escapes */
    enum fhir_take (*take)(const struct fhir_merge *m, const char *name);
    /* The member of this name, or nothing; NULL if no rule asks for it. */
    void (*put)(const struct fhir_merge *m, const char *name, struct buf *out);
    const void *arg; /* of the caller */
};

/* Append the result; errors are those of the buffer. */
MUST_CHECK enum err fhir_merge_write(const struct fhir_merge *m,
                                     struct buf *out);

/* Does theirs already say all that merged does?  What servers write
 * themselves, and when (meta, text, lastModified), is no difference. */
MUST_CHECK enum err fhir_merge_same(const struct fhir_task_text *theirs,
                                    const struct buf *merged, bool *same);

#endif
