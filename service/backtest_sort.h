/* backtest_sort - what the files of the back test share: lists that grow, and
 * the middle of a list of numbers */
#ifndef HEADGATE_SERVICE_BACKTEST_SORT_H
#define HEADGATE_SERVICE_BACKTEST_SORT_H

#include "planner/err.h"

#include <stddef.h>

/*
 * backtest_grow - double the room of a list of *size items of each bytes
 *
 * more  out: the list, moved; written only on ERR_OK
 *
 * ERR_LIMIT   it would pass most items
 * ERR_MEMORY
 */
MUST_CHECK enum err backtest_grow(void *list, size_t *size, size_t each,
                                  size_t most, void **more);

/* The median; the list is sorted by it.  NAN for an empty list. */
double backtest_median(double *list, size_t count);

#endif
