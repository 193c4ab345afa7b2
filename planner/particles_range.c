/* Weighted quantiles without sorting everything: one pass fills buckets with
 * weight, a second collects the few values around each quantile, and only
 * these are sorted. */
#include "planner/particles.h"

#include <math.h>
#include <stdbool.h>

enum { BUCKETS = 1024, NEAR_MAX = 1024 };

struct near {
    double value, weight;
};

struct histogram {
    double low, high, scale; /* values between low and high */
    double weight[BUCKETS];
    uint16_t bucket[PARTICLES_MAX]; /* of each value */
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
    for (unsigned b = 0; b < BUCKETS; b++)
        h->weight[b] = 0.0;
    for (size_t i = 0; i < n; i++) {
        h->bucket[i] = (uint16_t)bucket_of(h, value[i]);
        h->weight[h->bucket[i]] += weight[i];
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
    double sum = 0.0;
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
                 const double *weight, size_t n, double level, double *found)
{
    struct near near[NEAR_MAX];
    unsigned from, to;
    double before = buckets_of(h, level, &from, &to);
    size_t count = collect(h, value, weight, n, from, to, near);

    if (count <= NEAR_MAX)
        *found = interpolate(near, count, before, level);
    return count <= NEAR_MAX;
}

/* Places in the order of their values: a heap, for want of room for more. */
static void sift(uint32_t *order, const double *value, size_t at, size_t n)
{
    uint32_t x = order[at];

    for (size_t k = 2 * at + 1; k < n; k = 2 * at + 1) {
        k += k + 1 < n && value[order[k + 1]] > value[order[k]];
        if (value[order[k]] <= value[x])
            break;
        order[at] = order[k];
        at = k;
    }
    order[at] = x;
}

static void sort_all(uint32_t *order, const double *value, size_t n)
{
    for (size_t i = 0; i < n; i++)
        order[i] = (uint32_t)i;
    for (size_t i = n / 2; i-- > 0;)
        sift(order, value, i, n);
    while (n-- > 1) {
        uint32_t most = order[0];

        order[0] = order[n];
        order[n] = most;
        sift(order, value, 0, n);
    }
}

/* Where a few guesses lie far out all the others share a bucket or two: then
 * everything is sorted. */
static double quantile(const struct histogram *h, const double *value,
                       const double *weight, size_t n, double level)
{
    uint32_t order[PARTICLES_MAX];
    double found, sum = 0.0, last_c = 0.0, last = NAN;

    if (find(h, value, weight, n, level, &found))
        return found;
    sort_all(order, value, n);
    for (size_t k = 0; k < n; k++) {
        double x = value[order[k]], w = weight[order[k]], c = sum + 0.5 * w;

        if (!(w > 0.0))
            continue;
        if (c >= level)
            return isnan(last)
                       ? x
                       : last + (level - last_c) / (c - last_c) * (x - last);
        last = x;
        last_c = c;
        sum += w;
    }
    return last;
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
