/*
 * search_page - a Bundle of what a search found, with what was asked to come
 * with it
 *
 * Store thread only.
 */
#ifndef HEADGATE_SERVICE_SEARCH_PAGE_H
#define HEADGATE_SERVICE_SEARCH_PAGE_H

#include "adapters/outcome.h"
#include "service/search.h"

enum {
    SEARCH_COMPANY_MAX = 1000, /* that come with those found, on one page */
    SEARCH_BYTES_MAX = 16 * 1024 * 1024 /* a page with more ends there */
};

struct search_page {
    const struct search_query *query;
    const char *base;  /* canonical */
    const char *self;  /* "http://host/fhir" */
    const char *links; /* "status=requested", without the handle of a page */
    struct outcome *outcome; /* what else is to be said of the search */
};

/* ERR_FORM: the handle of the page before is none of ours */
MUST_CHECK enum err search_page_write(struct db *db,
                                      const struct search_page *page,
                                      struct buf *out);

#endif
