/*
 * search_values - the values of a search parameter, taken apart
 *
 * Private to search_query.c.
 */
#ifndef HEADGATE_SERVICE_SEARCH_VALUES_H
#define HEADGATE_SERVICE_SEARCH_VALUES_H

#include "service/search_query.h"

/*
 * Add the values of a condition, which are separated by commas; a comma, a
 * bar, a dollar sign or a backslash after a backslash is one of the value
 * (search.html, 3.1.1.4.0.1).  type: of "subject:Patient", NULL for none.
 */
MUST_CHECK enum taken search_values_take(struct search_query *q,
                                         struct search_condition *c,
                                         const char *type, size_t type_len,
                                         const char *text);

#endif
