#include "service/backtest_sort.h"

#include <math.h>
#include <stdlib.h>

enum { FIRST_SIZE = 64 };

enum err backtest_grow(void *list, size_t *size, size_t each, size_t most,
                       void **more)
{
    size_t bigger = *size > 0 ? *size * 2 : FIRST_SIZE;
    void *moved;

    if (*size >= most)
        return ERR_LIMIT;
    bigger = bigger < most ? bigger : most;
    moved = realloc(list, bigger * each);
    if (moved == NULL)
        return ERR_MEMORY;
    *more = moved;
    *size = bigger;
    return ERR_OK;
}

static int by_number(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return x < y ? -1 : x > y;
}

double backtest_median(double *list, size_t count)
{
    if (count == 0)
        return NAN;
    qsort(list, count, sizeof(*list), by_number);
    return count % 2 == 1 ? list[count / 2]
                          : (list[count / 2 - 1] + list[count / 2]) / 2.0;
}
