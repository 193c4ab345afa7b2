/*
 * err - the one list of errors of the program
 *
 * Every function that can fail returns one of these and is MUST_CHECK.
 * Results leave through pointers and are written only on ERR_OK.
 */
#ifndef HEADGATE_PLANNER_ERR_H
#define HEADGATE_PLANNER_ERR_H

#define MUST_CHECK __attribute__((warn_unused_result))
#define COUNT(a)   (sizeof(a) / sizeof((a)[0]))

/* X(name, word): the word is stable and safe to log */
#define ERR_LIST(X)                                                            \
    X(ERR_OK, "ok")                                                            \
    X(ERR_RANGE, "range")         /* a number is outside its range or NaN */   \
    X(ERR_FORM, "form")           /* bytes are not of the format */            \
    X(ERR_LIMIT, "limit")         /* a ceiling was reached */                  \
    X(ERR_UNKNOWN, "unknown")     /* name, code or unit is not known */        \
    X(ERR_AMBIGUOUS, "ambiguous") /* more than one thing matches */            \
    X(ERR_CONFLICT, "conflict")   /* versions or contents disagree */          \
    X(ERR_ABSENT, "absent")       /* what was asked for is not there */        \
    X(ERR_MEMORY, "memory")       /* allocation failed */                      \
    X(ERR_IO, "io")               /* file, socket or peer failed */            \
    X(ERR_TIMEOUT, "timeout")     /* a wait reached its limit */               \
    X(ERR_STORE, "store")         /* the database refused */                   \
    X(ERR_FULL, "full")           /* disk full or read-only */                 \
    X(ERR_STOPPED, "stopped")     /* shutting down */                          \
    X(ERR_DENIED, "denied")       /* not permitted */                          \
    X(ERR_CONFIG, "config")       /* the configuration is not usable */

enum err {
#define ERR_ENUM(name, word) name,
    ERR_LIST(ERR_ENUM)
#undef ERR_ENUM
};

/* The stable word of an error; "error" for a number outside the list. */
const char *err_word(enum err e);

#endif
