/* Weighted quantiles without sorting everything: one pass fills buckets with
 * weight, a second collects the few values around each quantile, and only
 * these are sorted. */
#include "planner/particles.h"

#include <math.h>
#include <stdbool.h>

enum { BUCKETS = 1024, NEAR_MAX = 1024, PASSES = 6 };

struct near {
    double value, weight;
};

struct histogram {
    double low, high, scale; /* values between low and high */
    double below;            /* weight of what lies below */
    double weight[BUCKETS];
};

static unsigned bucket_of(const struct histogram *h, double x)
{
    double at = (x - h->low) * h->scale;

    return at >= BUCKETS - 1 ? BUCKETS - 1 : at > 0.0 ? (unsigned)at : 0;
}

static bool is_inside(const struct histogram *h, double x)
{
    return x >= h->low && x <= h->high;
}

static void fill(struct histogram *h, const double *value, const double *weight,
                 size_t n)
{
    h->scale = h->high > h->low ? BUCKETS / (h->high - h->low) : 0.0;
    h->below = 0.0;
    for (unsigned b = 0; b < BUCKETS; b++)
        h->weight[b] = 0.0;
    for (size_t i = 0; i < n; i++) {
        if (is_inside(h, value[i]))
            h->weight[bucket_of(h, value[i])] += weight[i];
        else
            h->below += value[i] < h->low ? weight[i] : 0.0;
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

/* Those of buckets from..to, sorted; how many there are, which may be more
 * than have room. */
static size_t collect(const struct histogram *h, const double *value,
                      const double *weight, size_t n, unsigned from,
                      unsigned to, struct near *out)
{
    size_t count = 0;

    for (size_t i = 0; i < n; i++) {
        unsigned b = bucket_of(h, value[i]);

        if (!is_inside(h, value[i]) || b < from || b > to || !(weight[i] > 0.0))
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

/* Where a few guesses of next to no weight lie far out, all the others share a
 * bucket or two: these are looked into again. */
static double quantile(const struct histogram *all, const double *value,
                       const double *weight, size_t n, double level)
{
    struct near near[NEAR_MAX];
    struct histogram h = *all;

    for (int pass = 0; pass < PASSES; pass++) {
        unsigned from, to;
        double before = buckets_of(&h, level, &from, &to), width;
        size_t count = collect(&h, value, weight, n, from, to, near);

        if (count <= NEAR_MAX)
            return interpolate(near, count, before, level);
        width = (h.high - h.low) / BUCKETS;
        h.high = h.low + (to + 1.0) * width;
        h.low += from * width;
        fill(&h, value, weight, n);
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
