/*
 * series - a year of access flows with the noise of measuring
 *
 * Inside tests/demo only.
 */
#ifndef HEADGATE_TESTS_DEMO_SERIES_H
#define HEADGATE_TESTS_DEMO_SERIES_H

#include "tests/demo/random.h"
#include "tests/demo/scenario.h"

enum { SERIES_MAX = 16, YEAR_DAYS = 365 };

struct series {
    int count;
    int ago[SERIES_MAX];       /* days before the end, oldest first */
    bool twice[SERIES_MAX];    /* two readings in this session */
    double first[SERIES_MAX];  /* mL/min, out */
    double second[SERIES_MAX]; /* out; NAN unless twice */
};

/*
 * noisy - a normal draw around a mean, within low..high
 *
 * cv  coefficient of variation as a fraction
 */
double noisy(struct rng *r, double mean, double cv, double low, double high);

/*
 * series_draw - the readings of the days in s
 *
 * Drawn again as a whole until nothing in it looks like a fall of a quarter
 * twice running, whatever baseline a rule may take, and until a noisy story
 * reaches 1500 now and then but never twice within three readings.
 *
 * ERR_RANGE  the story asks for what the noise does not give
 */
MUST_CHECK enum err series_draw(struct rng *r, const struct demo_patient *p,
                                struct series *s);

#endif
