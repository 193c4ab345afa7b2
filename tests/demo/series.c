#include "tests/demo/series.h"

#include <math.h>

enum { DRAWS_MAX = 10000, BASELINE_DAYS = 190 };

/*
 * Of two sessions 14.2 %, of two readings in one session 7.7 %; the session
 * itself varies by the root of the difference of their squares.
 */
#define CV_BETWEEN 0.142
#define CV_WITHIN  0.077
#define CV_SESSION 0.1193

/* Replicates further apart than a fifth would be said to disagree. */
#define SPREAD_MAX 0.18

double noisy(struct rng *r, double mean, double cv, double low, double high)
{
    for (int i = 0; i < DRAWS_MAX; i++) {
        double value = mean * (1.0 + cv * rng_normal(r));

        if (value >= low && value <= high)
            return value;
    }
    return mean < low ? low : mean > high ? high : mean;
}

static double mean_of(const struct series *s, int i)
{
    return s->twice[i] ? (s->first[i] + s->second[i]) / 2.0 : s->first[i];
}

/* The mean of the three highest sessions of the months before the i-th: no
 * baseline that a rule may take is above it. */
static double highest_baseline(const struct series *s, int i)
{
    double top[3] = { 0.0, 0.0, 0.0 };
    int seen = 0;

    for (int j = 0; j < i; j++) {
        double flow = mean_of(s, j);

        if (s->ago[j] - s->ago[i] > BASELINE_DAYS)
            continue;
        seen++;
        for (int k = 0; k < 3; k++) {
            double held = top[k];

            if (flow > held) {
                top[k] = flow;
                flow = held;
            }
        }
    }
    if (seen < 2)
        return NAN; /* no rule takes a baseline of one */
    return (top[0] + top[1] + top[2]) / (seen < 3 ? 2.0 : 3.0);
}

/* Two sessions running that a rule might call a fall of a quarter, by the
 * baseline before the first or before the second.  0.78 leaves room for
 * rounding; fmax passes over one NaN, and a comparison with NAN is false. */
static bool seems_to_fall(const struct series *s)
{
    for (int i = 1; i < s->count; i++) {
        double limit =
            0.78 * fmax(highest_baseline(s, i - 1), highest_baseline(s, i));

        if (fmax(mean_of(s, i - 1), mean_of(s, i)) < limit)
            return true;
    }
    return false;
}

/* Some readings reach 1500, and never two of three that follow each other.
 * The limit here is lower by what rounding may add. */
static bool looks_noisy(const struct series *s)
{
    int last = -3, seen = 0;

    for (int i = 0; i < s->count; i++) {
        if (s->first[i] < 1490.0)
            continue;
        if (i - last < 3)
            return false;
        last = i;
        seen += s->first[i] >= 1510.0;
    }
    return seen > 0;
}

/* Two readings of one session, both in the range and not far apart. */
static void draw_twice(struct rng *r, double flow_ml_min, double low,
                       double high, struct series *s, int i)
{
    double session = noisy(r, flow_ml_min, CV_SESSION, low, high);

    do {
        s->first[i] = noisy(r, session, CV_WITHIN, low, high);
        s->second[i] = noisy(r, session, CV_WITHIN, low, high);
    } while (fabs(s->first[i] - s->second[i]) > SPREAD_MAX * mean_of(s, i));
}

static void draw_all(struct rng *r, const struct demo_patient *p,
                     struct series *s)
{
    const struct demo_story *story = demo_story(p->story);
    double low = story->low_ml_min, high = story->high_ml_min;

    for (int i = 0; i < s->count; i++) {
        double passed = 1.0 - (double)s->ago[i] / YEAR_DAYS;
        double change = p->end_ml_min - p->start_ml_min;
        double flow = p->start_ml_min + change * passed;

        s->second[i] = NAN;
        if (s->twice[i])
            draw_twice(r, flow, low, high, s, i);
        else
            s->first[i] = noisy(r, flow, CV_BETWEEN, low, high);
    }
}

enum err series_draw(struct rng *r, const struct demo_patient *p,
                     struct series *s)
{
    bool must_be_noisy = demo_story(p->story)->noisy;

    for (int i = 0; i < DRAWS_MAX; i++) {
        draw_all(r, p, s);
        if (!seems_to_fall(s) && (!must_be_noisy || looks_noisy(s)))
            return ERR_OK;
    }
    return ERR_RANGE;
}
