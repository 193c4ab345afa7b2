/*
 * cohort - patients whose true access flow is known, as they are measured
 *
 * Invents any number of patients of the demo's network over any number of
 * days: what is true of each (flow, dose, hand, emergencies), what a unit
 * measured of it with its errors, omissions and delays, as FHIR R4
 * resources, and the truth as JSON lines for whoever wants to know what a
 * rule should have found.  Nothing is drawn again until it fits: noise near
 * a limit is as large as anywhere else.
 *
 * Same patients, days, end and seed: same bytes.  A patient of a number is
 * the same, however many there are.
 *
 * The model, its sources and what it leaves out stand in README.md.
 */
#ifndef HEADGATE_TESTS_COHORT_COHORT_H
#define HEADGATE_TESTS_COHORT_COHORT_H

#include "adapters/buf.h"

#include <stdint.h>
#include <stdio.h>

#define COHORT_SEED UINT64_C(20250711)

enum {
    COHORT_PATIENTS = 300,
    COHORT_PATIENTS_MAX = 20000,
    COHORT_DAYS = 730,
    COHORT_DAYS_MIN = 365, /* a fall needs something to fall from */
    COHORT_DAYS_MAX = 3650
};

struct cohort_options {
    uint64_t seed;
    int patients;    /* 1..COHORT_PATIENTS_MAX */
    int days;        /* COHORT_DAYS_MIN..COHORT_DAYS_MAX */
    int64_t end_day; /* days since 1970-01-01; nothing happens after 00:00 */
};

struct cohort;

/*
 * cohort_new - invent them
 *
 * ERR_RANGE   an option is outside its range
 * ERR_MEMORY
 */
MUST_CHECK enum err cohort_new(const struct cohort_options *options,
                               struct cohort **cohort);
void cohort_free(struct cohort *cohort);

/* Write the resources, one a line, in the order in which they arrive; a line
 * is built in work, which has been initialised by the caller. */
MUST_CHECK enum err cohort_feed(const struct cohort *cohort, struct buf *work,
                                FILE *out);

/* Write the truth, one JSON object a line; the kinds are in README.md. */
MUST_CHECK enum err cohort_truth(const struct cohort *cohort, struct buf *work,
                                 FILE *out);

#endif
