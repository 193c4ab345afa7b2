/*
 * poll_walk - through the pages of one search at the clinical record
 *
 * Loop thread, with a job of the store for each page.
 *
 *     ASKING --(a page)--> TAKING --(next link)--> ASKING ...
 *        |                    +--(none)--> ended: WALK_DONE
 *        +--(no answer, 429, 5xx)--> WAITING --> ASKING, a few times
 *        +--(anything else)--> ended, with what was wrong
 *
 * A next link is followed as it stands, but for nothing else than the same
 * scheme, host and port.  A page is taken in one transaction of the store,
 * and only then the next is asked for.
 */
#ifndef HEADGATE_SERVICE_POLL_WALK_H
#define HEADGATE_SERVICE_POLL_WALK_H

#include "service/record.h"
#include "service/store.h"

/* How it ended. */
enum walk_end {
    WALK_DONE,
    WALK_LATER,   /* the record does not answer, or asks to come later */
    WALK_STRICT,  /* 400 or 422 to the first request: it does not understand
                     some parameter */
    WALK_REFUSED, /* another 4xx, 501 or a redirect: it will not */
    WALK_EXPIRED, /* a page is not there any more: begin anew */
    WALK_LARGE,   /* a page is larger than is taken */
    WALK_AGAIN,   /* the taker wants to begin anew */
    WALK_FOREIGN, /* the next link leads to another host: not followed */
    WALK_LOOP,    /* a next link that has been there before */
    WALK_ENDLESS, /* more pages than WALK_PAGES_MAX */
    WALK_NO_PAGE, /* what came is not what was asked for */
    WALK_LENIENT, /* it returns what was not asked for */
    WALK_STORE,   /* our store failed */
    WALK_END_COUNT
};
/* For logs and metrics: "foreign-link". */
const char *walk_word(enum walk_end end);
/* For a person: what it means and what to do. */
const char *walk_text(enum walk_end end);

enum {
    WALK_PAGES_MAX = 10000,
    WALK_TRIES_MAX = 4, /* of one page, after which it is left for later */
    WALK_PAGE_MAX = 8 * 1024 * 1024 - 4096 /* bytes, see BODY_MAX */
};

struct walk_page {
    const char *body;
    size_t len;
    unsigned number;   /* 0 is the first */
    int64_t server_ms; /* the record's clock, to the second; INT64_MIN: it did
                          not say */
    /* out; WALK_DONE: go on */
    enum walk_end verdict;
    char *next; /* the link as it stands there, malloc'd; NULL: the last page */
};

struct walk;

struct walk_options {
    uv_loop_t *loop;
    struct record *record;
    struct store *store;
    int retry_first_ms, retry_last_ms;
    /* Store thread, in a transaction that an error undoes: take a page. */
    enum err (*take)(struct db *db, void *arg, struct walk_page *page);
    /* Loop thread: a page has been committed.  May be NULL. */
    void (*on_page)(void *arg);
    /* Loop thread; another walk may be begun from inside. */
    void (*on_end)(void *arg, enum walk_end end, long status);
    void *arg;
};

MUST_CHECK enum err walk_open(const struct walk_options *options,
                              struct walk **walk);
/* on_closed from the loop; no on_end any more. */
void walk_close(struct walk *walk, void (*on_closed)(void *arg), void *arg);

/*
 * walk_begin - target as in record_request; strict: unknown parameters are to
 * be refused
 *
 * Only if none is under way.  It ends with on_end, from the loop.
 */
void walk_begin(struct walk *walk, const char *target, bool strict);

/* Pages since it began. */
unsigned walk_pages(const struct walk *walk);

/*
 * walk_resolve - what a next link means: a whole URL as it is, else by the
 * base of the record (R4, http.html) or its host; appended to out
 */
void walk_resolve(const char *base, const char *link, struct buf *out);

#endif
