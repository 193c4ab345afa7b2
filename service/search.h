/*
 * search - a page of what a query finds, and how many there are
 *
 * Store thread only.  The SQL is put together from words of this program; what
 * was sent is bound to it.  Pages are cut by the sort keys and the number of
 * the last resource shown, so that they neither repeat nor lose one when
 * others come in between.
 */
#ifndef HEADGATE_SERVICE_SEARCH_H
#define HEADGATE_SERVICE_SEARCH_H

#include "adapters/buf.h"
#include "service/resources.h"
#include "service/search_query.h"

/* What a resource is sorted by: a number, or a text. */
struct search_key {
    int64_t number;
    char text[FID_SIZE];
};

struct search_hit {
    struct resource row;
    struct search_key keys[SEARCH_SORTS_MAX];
};

/*
 * search_find - the next page: hits has room for q->count + 1, and *count is
 * how many were found, one more than the page if there is another one
 *
 * ERR_FORM  the handle of the page before is none of ours
 */
MUST_CHECK enum err search_find(struct db *db, const struct search_query *q,
                                struct search_hit *hits, size_t *count);

MUST_CHECK enum err search_total(struct db *db, const struct search_query *q,
                                 long long *total);

/* The handle of the page that follows this hit: letters and digits. */
void search_handle(const struct search_query *q, const struct search_hit *hit,
                   struct buf *out);

#endif
