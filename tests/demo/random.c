#include "tests/demo/random.h"

#include <math.h>

#define TWO_PI 6.283185307179586

void rng_init(struct rng *r, uint64_t seed, uint64_t stream)
{
    r->state = 0;
    r->increment = (stream << 1) | 1;
    r->spare = NAN;
    rng_u32(r);
    r->state += seed;
    rng_u32(r);
}

uint32_t rng_u32(struct rng *r)
{
    uint64_t old = r->state;
    uint32_t shifted = (uint32_t)(((old >> 18) ^ old) >> 27);
    unsigned turn = (unsigned)(old >> 59);

    r->state = old * UINT64_C(6364136223846793005) + r->increment;
    return (shifted >> turn) | (shifted << ((32 - turn) & 31));
}

double rng_unit(struct rng *r)
{
    return rng_u32(r) / 4294967296.0;
}

double rng_between(struct rng *r, double low, double high)
{
    return low + (high - low) * rng_unit(r);
}

int rng_int(struct rng *r, int low, int high)
{
    return low + (int)(rng_unit(r) * (high - low + 1));
}

double rng_normal(struct rng *r)
{
    double radius, angle, result = r->spare;

    if (!isnan(result)) {
        r->spare = NAN;
        return result;
    }
    /* 1 - u lies in (0, 1], so the logarithm is finite. */
    radius = sqrt(-2.0 * log(1.0 - rng_unit(r)));
    angle = TWO_PI * rng_unit(r);
    r->spare = radius * sin(angle);
    return radius * cos(angle);
}
