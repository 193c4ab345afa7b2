/*
 * backtest_feed - past data as messages in the order in which they arrived
 *
 *     files --> lines, Bundles --> resources with a time --> sorted
 *
 * When a resource arrived: see fhir_arrival.h; one without any time comes
 * with the one before it in its file.  Patients and BodyStructures without a
 * time come before everything else, and so does the first description of
 * each: a copy of a clinical record has its newest state alone, with the time
 * of the last change, and the people and accesses in it were known long
 * before.  (The first description of an access that says that it is no longer
 * in use keeps its time: it must not hide what went before.)
 *
 * A Bundle of kind collection is taken apart, unless its entries refer to
 * each other by "urn:"; that one, a batch and a transaction are one message,
 * which arrives with the Bundle, else with the last of its entries.
 *
 * Everything is kept in memory.
 */
#ifndef HEADGATE_SERVICE_BACKTEST_FEED_H
#define HEADGATE_SERVICE_BACKTEST_FEED_H

#include "adapters/fhir_read.h"

#include <stdio.h>

enum {
    BACKTEST_MESSAGES_MAX = 16 * 1024 * 1024,
    BACKTEST_DOCUMENT_MAX = 64 * 1024 * 1024 /* one JSON document in a file */
};

#define BACKTEST_EARLIEST INT64_MIN /* before everything else */

enum backtest_kind {
    BACKTEST_RESOURCE, /* text: a resource */
    BACKTEST_ENTRY,    /* text: an entry of a collection, with its fullUrl */
    BACKTEST_BUNDLE    /* text: a Bundle, to be taken as it is */
};

struct backtest_message {
    int64_t at_s; /* UTC; BACKTEST_EARLIEST */
    size_t order; /* as it was read */
    enum backtest_kind kind;
    char *text;
    size_t len;
    const char *file; /* borrowed */
    uint64_t line;
    char *name; /* of a description, see fhir_arrival; NULL */
    bool in_use;
};

/*
 * Called for what cannot be read or is refused, with where it stands; text is
 * for a person, word of outcome.h, place a FHIRPath or "".
 */
typedef void (*backtest_say_fn)(void *arg, const char *file, uint64_t line,
                                const char *word, const char *text,
                                const char *place);

/* From the first to the last of what has a time. */
struct backtest_span {
    bool known;
    int64_t first_s, last_s;
};

struct backtest_feed {
    const struct fhir_reader *reader; /* borrowed */
    bool effective; /* set before files are added: an Observation arrives at
                       the end of its effective time, whatever else it says */
    backtest_say_fn say; /* NULL: nobody listens */
    void *arg;
    /* filled in */
    struct backtest_message *messages;
    size_t count, size;
    uint64_t bytes;   /* of all texts */
    double *delays_d; /* days from measurement to arrival, where both known */
    size_t delay_count, delay_size;
    unsigned long unreadable;               /* lines */
    struct backtest_span arrived, measured; /* of those that say both */
};

void backtest_feed_init(struct backtest_feed *feed,
                        const struct fhir_reader *reader, backtest_say_fn say,
                        void *arg);
void backtest_feed_clear(struct backtest_feed *feed);

/*
 * backtest_feed_add - read a file of NDJSON, or of one resource or Bundle
 *
 * name  of the file, as it is named to a person; borrowed
 *
 * ERR_IO      reading failed
 * ERR_LIMIT   more messages than BACKTEST_MESSAGES_MAX
 * ERR_MEMORY
 */
MUST_CHECK enum err backtest_feed_add(struct backtest_feed *feed, FILE *file,
                                      const char *name);

/* After the last file: bring the messages into their order. */
void backtest_feed_sort(struct backtest_feed *feed);

/* Do the arrival times look like the day of an export: all within one day,
 * of what was measured over more than a month? */
bool backtest_feed_is_export(const struct backtest_feed *feed);

/* Median of the days from measurement to arrival; NAN: none is known, or
 * effective is set. */
double backtest_feed_delay_d(struct backtest_feed *feed);

#endif
