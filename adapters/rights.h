/*
 * rights - what a token lets its bearer do, as SMART App Launch writes it
 *
 *     system/Observation.rs       read and search (version 2)
 *     system/Observation.rs?category=laboratory     the same, of these only
 *     system/Task.cruds           all with Tasks; "*" for "Task": of all types
 *     system/Task.write           create, update, delete (version 1)
 *     headgate/metrics.r          ours: what is outside FHIR
 *
 * Source: SMART App Launch 2.2, "Scopes for requesting FHIR resources"; the
 * version 1 words stand for .rs, .cud and .cruds there.
 */
#ifndef HEADGATE_ADAPTERS_RIGHTS_H
#define HEADGATE_ADAPTERS_RIGHTS_H

#include "adapters/buf.h"

enum right_level { RIGHT_SYSTEM, RIGHT_LOCAL, RIGHT_USER, RIGHT_PATIENT };

enum {
    RIGHT_CREATE = 1,
    RIGHT_READ = 2,   /* also of a version, and the history */
    RIGHT_UPDATE = 4, /* also a patch */
    RIGHT_DELETE = 8,
    RIGHT_SEARCH = 16,
    RIGHT_ALL = 31,
    RIGHT_TYPE_SIZE = 40,
    RIGHT_WORDS_MAX = 64 /* of one list that are looked at */
};

struct right {
    enum right_level level;
    char type[RIGHT_TYPE_SIZE]; /* "Observation"; "*" for all */
    unsigned permits;           /* of RIGHT_CREATE ... */
    const char *query;          /* borrowed, behind the "?"; NULL: no limit */
    size_t query_len;
};

/* ERR_FORM: a word that is not of this form, such as "openid" */
MUST_CHECK enum err right_read(const char *text, size_t len,
                               struct right *scope);

/* The next word of a list; *at is moved behind it.  false: there is none. */
bool rights_next(const char **at, const char **word, size_t *len);

/* "create or update" */
void rights_say(unsigned permits, struct buf *out);
/* "cu" */
void rights_letters(unsigned permits, struct buf *out);

/* What of the wanted the granted scopes do not let do; 0: nothing. */
unsigned rights_left(const struct right *wanted, const char *granted);

/*
 * rights_missing - what of the wanted was not granted, in words
 *
 * "may not create or update Task (system/Task.cu); ...", nothing if all was
 * granted.  A right within limits counts only where just these are wanted.
 */
void rights_missing(const char *wanted, const char *granted, struct buf *out);

#endif
