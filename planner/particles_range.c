/* Weighted quantiles without sorting everything: one pass fills buckets with
 * weight, a second collects the few values around each quantile, and only
 * these are sorted. */
#include "planner/particles.h"

#include <math.h>
#include <stdbool.h>

enum { BUCKETS = 1024, OUTSIDE = BUCKETS, NEAR_MAX = 1024, PASSES = 6 };

struct near {
    double value, weight;
};

struct histogram {
    double low, high, scale; /* values between low and high */
    double below;            /* weight of what lies below */
    double weight[BUCKETS];
    uint16_t bucket[PARTICLES_MAX]; /* of each value; OUTSIDE */
};

static unsigned bucket_of(const struct histogram *h, double x)
{
    double at = (x - h->low) * h->scale;

    return at >= BUCKETS - 1 ? BUCKETS - 1 : at > 0.0 ? (unsigned)at : 0;
}

static void fill(struct histogram *h, const double *value, const double *weight,
                 size_t n)
{
    h->scale = h->high > h->low ? BUCKETS / (h->high - h->low) : 0.0;
    h->below = 0.0;
    for (unsigned b = 0; b < BUCKETS; b++)
        h->weight[b] = 0.0;
    for (size_t i = 0; i < n; i++) {
        double x = value[i];

        h->bucket[i] = OUTSIDE;
        if (x >= h->low && x <= h->high) {
            h->bucket[i] = (uint16_t)bucket_of(h, x);
            h->weight[h->bucket[i]] += weight[i];
        } else {
            h->below += x < h->low ? weight[i] : 0.0;
        }
    }
}

static void set_limits(struct histogram *h, const double *value,
                       const double *weight, size_t n)
{
    h->low = INFINITY;
    h->high = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        if (!(weight[i] > 0.0))
            continue;
        h->low = value[i] < h->low ? value[i] : h->low;
        h->high = value[i] > h->high ? value[i] : h->high;
    }
}

static void sort(struct near *a, size_t n)
{
    for (size_t i = 1; i < n; i++) {
        struct near x = a[i];
        size_t k = i;

        for (; k > 0 && a[k - 1].value > x.value; k--)
            a[k] = a[k - 1];
        a[k] = x;
    }
}

/* Is one of these LANES in buckets from..to?  Most are not. */
static bool any(const uint16_t *bucket, unsigned from, unsigned to)
{
    uint16_t span = (uint16_t)(to - from), hit = 0;

    for (size_t k = 0; k < LANES; k++)
        hit |= (uint16_t)(bucket[k] - from) <= span;
    return hit != 0;
}

/* Those of buckets from..to, sorted; how many there are, which may be more
 * than have room. */
static size_t collect(const struct histogram *h, const double *value,
                      const double *weight, size_t n, unsigned from,
                      unsigned to, struct near *out)
{
    size_t count = 0;

    for (size_t i = 0; i < n; i++) {
        if (i % LANES == 0 && i + LANES <= n && !any(h->bucket + i, from, to)) {
            i += LANES - 1;
            continue;
        }
        if (h->bucket[i] < from || h->bucket[i] > to || !(weight[i] > 0.0))
            continue;
        if (count < NEAR_MAX)
            out[count] = (struct near){ value[i], weight[i] };
        count++;
    }
    if (count <= NEAR_MAX)
        sort(out, count);
    return count;
}

/* In sorted values, before which lies that much weight. */
static double interpolate(const struct near *a, size_t count, double before,
                          double level)
{
    double sum = before, last_c = 0.0;

    for (size_t i = 0; i < count; i++) {
        double c = sum + 0.5 * a[i].weight;

        if (c >= level) {
            double share;

            if (i == 0)
                return a[0].value;
            share = (level - last_c) / (c - last_c);
            return a[i - 1].value + share * (a[i].value - a[i - 1].value);
        }
        last_c = c;
        sum += a[i].weight;
    }
    return count > 0 ? a[count - 1].value : NAN;
}

/* The buckets that hold the level and its neighbours, which may lie in the next
 * bucket that holds anything; returns the weight before them. */
static double buckets_of(const struct histogram *h, double level,
                         unsigned *from, unsigned *to)
{
    double sum = h->below;
    unsigned at = 0;

    while (at < BUCKETS - 1 && sum + h->weight[at] < level)
        sum += h->weight[at++];
    *from = *to = at;
    do {
        if (*from > 0)
            sum -= h->weight[--*from];
    } while (*from > 0 && !(h->weight[*from] > 0.0));
    do {
        if (*to < BUCKETS - 1)
            ++*to;
    } while (*to < BUCKETS - 1 && !(h->weight[*to] > 0.0));
    return sum;
}

/* The value of a level, if those around it have room. */
static bool find(const struct histogram *h, const double *value,
                 const double *weight, size_t n, double level, double *found,
                 unsigned *from, unsigned *to)
{
    struct near near[NEAR_MAX];
    double before = buckets_of(h, level, from, to);
    size_t count = collect(h, value, weight, n, *from, *to, near);

    if (count <= NEAR_MAX)
        *found = interpolate(near, count, before, level);
    return count <= NEAR_MAX;
}

/* Where a few guesses of next to no weight lie far out, all the others share a
 * bucket or two: these are looked into again. */
static double quantile(const struct histogram *all, const double *value,
                       const double *weight, size_t n, double level)
{
    struct histogram h;
    unsigned from, to;
    double found;

    if (find(all, value, weight, n, level, &found, &from, &to))
        return found;
    h = *all;
    for (int pass = 0; pass < PASSES; pass++) {
        double width = (h.high - h.low) / BUCKETS;

        h.high = h.low + (to + 1.0) * width;
        h.low += from * width;
        fill(&h, value, weight, n);
        if (find(&h, value, weight, n, level, &found, &from, &to))
            return found;
    }
    return 0.5 * (h.low + h.high); /* all of one value */
}

struct plan_range particles_range(const double *value, const double *weight,
                                  size_t n)
{
    struct histogram h;

    set_limits(&h, value, weight, n);
    fill(&h, value, weight, n);
    return (struct plan_range){ quantile(&h, value, weight, n, 0.05),
                                quantile(&h, value, weight, n, 0.50),
                                quantile(&h, value, weight, n, 0.95) };
}
