#include "planner/sample.h"

#include <math.h>

#define GOLDEN UINT64_C(0x9E3779B97F4A7C15)

uint64_t sample_next(uint64_t *state)
{
    uint64_t z = *state += GOLDEN;

    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    return z ^ (z >> 31);
}

void sample_order(unsigned dimension, uint32_t *order, size_t n)
{
    uint64_t state = GOLDEN * ((uint64_t)dimension + 1);

    for (size_t i = 0; i < n; i++)
        order[i] = (uint32_t)i;
    for (size_t left = n; left > 1; left--) {
        size_t k = (size_t)(sample_next(&state) % left);
        uint32_t kept = order[left - 1];

        order[left - 1] = order[k];
        order[k] = kept;
    }
}

/* A polynomial, the highest power first. */
static double poly(const double *c, int n, double x)
{
    double sum = c[0];

    for (int i = 1; i < n; i++)
        sum = sum * x + c[i];
    return sum;
}

double sample_normal(double u)
{
    static const double a[] = { 2509.0809287301226727, 33430.575583588128105,
                                67265.770927008700853, 45921.953931549871457,
                                13731.693765509461125, 1971.5909503065514427,
                                133.14166789178437745, 3.387132872796366608 };
    static const double b[] = { 5226.495278852545925,  28729.085735721942674,
                                39307.89580009271061,  21213.794301586595867,
                                5394.1960214247511077, 687.1870074920579083,
                                42.313330701600911252, 1.0 };
    static const double c[] = {
        7.7454501427834140764e-4, 0.0227238449892691845833,
        0.24178072517745061177,   1.27045825245236838258,
        3.64784832476320460504,   5.7694972214606914055,
        4.6303378461565452959,    1.42343711074968357734
    };
    static const double d[] = {
        1.05075007164441684324e-9, 5.475938084995344946e-4,
        0.0151986665636164571966,  0.14810397642748007459,
        0.68976733498510000455,    1.6763848301838038494,
        2.05319162663775882187,    1.0
    };
    static const double e[] = {
        2.01033439929228813265e-7, 2.71155556874348757815e-5,
        0.0012426609473880784386,  0.026532189526576123093,
        0.29656057182850489123,    1.7848265399172913358,
        5.4637849111641143699,     6.6579046435011037772
    };
    static const double f[] = {
        2.04426310338993978564e-15, 1.4215117583164458887e-7,
        1.8463183175100546818e-5,   7.868691311456132591e-4,
        0.0148753612908506148525,   0.13692988092273580531,
        0.59983220655588793769,     1.0
    };
    double q = u - 0.5, r;

    if (fabs(q) <= 0.425) {
        r = 0.180625 - q * q;
        return q * poly(a, 8, r) / poly(b, 8, r);
    }
    r = sqrt(-log(q < 0.0 ? u : 1.0 - u));
    r = r <= 5.0 ? poly(c, 8, r - 1.6) / poly(d, 8, r - 1.6)
                 : poly(e, 8, r - 5.0) / poly(f, 8, r - 5.0);
    return q < 0.0 ? -r : r;
}
