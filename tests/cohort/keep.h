/*
 * keep - what a unit writes down of a patient, and when it arrives
 *
 * Inside tests/cohort only.
 */
#ifndef HEADGATE_TESTS_COHORT_KEEP_H
#define HEADGATE_TESTS_COHORT_KEEP_H

#include "tests/cohort/model.h"

enum { ITEMS_MAX = 6 };
#define MINUTE_S INT64_C(60)

struct item {
    enum quantity quantity;
    enum sign sign; /* coded quantities */
    double number;  /* in the unit of quantity_info(); flags: 0 or 1 */
};

/* One version of one Observation. */
struct note {
    size_t person;   /* index */
    unsigned number; /* of the unit's identifier; kept by a later version */
    const char *status;
    int64_t at_s, arrives_s;
    int64_t issued_s; /* earlier than it arrives if it was sent again */
    bool day_only;    /* only the date was written down */
    bool panel;       /* values stand in components */
    bool wrong_unit;  /* litres are printed and millilitres are said */
    bool bare;        /* a withdrawal that says which it was and no more */
    enum method method;
    int count;
    struct item items[ITEMS_MAX];
};

/* What a session gave of a quantity, for whoever counts readings. */
struct taking {
    size_t person;
    const char *quantity;
    int64_t at_s, arrives_s; /* when what is right of it had arrived */
    const char *why;         /* it is not valid; NULL: it is */
    enum method method;
    const struct event *event; /* what happened; NULL: a measurement */
};

struct cohort {
    struct cohort_options o;
    struct person *people;
    struct note *notes;
    size_t note_count, note_size;
    struct taking *takings;
    size_t taking_count, taking_size;
};

/* One patient while the readings are made. */
struct maker {
    struct cohort *cohort;
    const struct person *person;
    const struct demo_unit *unit;
    size_t index;
    struct rng rng;
    unsigned number; /* of the note last opened */
    enum err err;
};

bool chance(struct maker *m, double share);

/* Seconds of a day, and the dialysis day at or after a day. */
int64_t keep_time(const struct maker *m, double day);
int keep_session_day(const struct maker *m, double day);
int64_t keep_session_start(const struct maker *m, int day);

/* A note with its delay; NULL once memory has run out.  The pointer holds
 * until the next is opened.  soon: it is told the same day. */
struct note *keep_open(struct maker *m, int64_t at_s, bool soon);

/* Another version of a note, so much later; NULL as above. */
struct note *keep_again(struct maker *m, size_t of, const char *status,
                        double days_later);

void keep_put(struct note *n, enum quantity q, double number);
void keep_sign(struct note *n, enum quantity q, enum sign s);

/* The blood pressures of a panel. */
void keep_pressure(struct note *n, double systolic_mmhg);

void keep_event(struct maker *m, const struct event *e, int64_t arrives_s);
void keep_taking(struct maker *m, const char *quantity, int64_t at_s,
                 int64_t arrives_s, enum method method, const char *why);

/* sessions.c: flow, dose, pressures.  checks.c: hand, thrill, events. */
void sessions_make(struct maker *m);
void checks_make(struct maker *m);

/* write.c, truth.c: append one line without its end. */
void write_person(const struct cohort *c, size_t i, struct buf *out);
void write_shunt(const struct cohort *c, size_t i, struct buf *out);
void write_note(const struct cohort *c, const struct note *n, struct buf *out);
void write_instant(int64_t at_s, struct buf *out);
MUST_CHECK enum err truth_person(const struct cohort *c, size_t i,
                                 struct buf *work, FILE *out);
MUST_CHECK enum err line_out(struct buf *work, FILE *out);

#endif
