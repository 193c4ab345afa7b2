/*
 * technique_write - what was learnt of a site's technique, for programs and
 * for people
 *
 * The proposed numbers beside the default and those in use, and the finished
 * cases behind them: by the label of the access and the day, nothing of the
 * patient.  Decision support: both forms say so.
 */
#ifndef HEADGATE_ADAPTERS_TECHNIQUE_WRITE_H
#define HEADGATE_ADAPTERS_TECHNIQUE_WRITE_H

#include "adapters/buf.h"
#include "adapters/zone.h"
#include "planner/technique.h"

/* One finished case. */
struct technique_row {
    const char *access; /* label */
    int64_t case_s;     /* of its first step */
    struct technique_evidence evidence;
};

struct technique_document {
    const struct technique *technique;
    const struct prior *base;         /* the default */
    const struct technique_row *rows; /* the newest first */
    size_t row_count;
    size_t beyond; /* accesses that were not looked at: there was no room */
    /* what is in use */
    bool on;                    /* the site's own prior */
    const struct prior *in_use; /* that, or the default */
    int64_t switched_ms;        /* when a person last switched; 0: never */
    const char *who;            /* switched it */
    const char *model;          /* it was learnt with */
    int64_t cases;              /* that it was learnt from */
    const struct zone *zone;
};

/* Append; errors are those of the buf, see buf_ok(). */
void technique_json(const struct technique_document *d, struct buf *out);
void technique_text(const struct technique_document *d, struct buf *out);

/* Why a case is left out, for people: "no flow was measured after the band". */
const char *technique_use_phrase(enum technique_use use);

/* The cautions of both forms; NULL beyond the last. */
const char *technique_caution(size_t i);
/* A number that a guard rail holds; NULL beyond the last. */
const char *technique_held_phrase(size_t i, unsigned *bit);

/* The five numbers of a technique, in the order in which they are shown. */
enum { TECHNIQUE_NUMBERS = 5 };
struct technique_line {
    const char *word;  /* of the JSON */
    const char *title; /* for people */
    double base, in_use;
    struct technique_number proposed;
};
struct technique_line technique_line(const struct technique_document *d,
                                     size_t i);

#endif
