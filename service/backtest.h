/*
 * backtest - what the rules would have said, on past data
 *
 * The same engine as in the service (reader, intake, review, triage), on a
 * store of its own in memory, with a clock that is set to the arrival of each
 * message:
 *
 *     messages in order of arrival
 *         |  clock to that second; all of that second go in; review
 *         |  clock to each time before the next arrival at which an access
 *         |  is to be looked at again (table news); review
 *         v
 *     episodes and decisions --> struct backtest_report
 *
 * Nothing goes to a record or to a disk.  One thread; one run at a time, since
 * the clock of a review has no argument.
 */
#ifndef HEADGATE_SERVICE_BACKTEST_H
#define HEADGATE_SERVICE_BACKTEST_H

#include "adapters/backtest_text.h"
#include "service/backtest_feed.h"

struct backtest_options {
    const struct policy *policy;
    struct fhir_reader reader;         /* codes, base, zone, entries_max */
    bool strict_access, merge_implied; /* as configured */
    int64_t until_s;     /* 0: the end of the day of the last arrival */
    bool evidence;       /* fill in the evidence of suggestions */
    backtest_say_fn say; /* what is refused; NULL: nobody listens */
    /* How many bytes of messages have been taken; NULL: nobody looks. */
    void (*progress)(void *arg, uint64_t done_bytes);
    void *arg; /* of both */
};

/*
 * backtest_run
 *
 * feed    sorted
 * data    out: what the data were; delay_d is of the feed
 * report  out; see backtest_clear
 *
 * ERR_ABSENT  no message says when it arrived, or all did after until_s
 * ERR_MEMORY, ERR_STORE
 */
MUST_CHECK enum err backtest_run(struct backtest_feed *feed,
                                 const struct backtest_options *options,
                                 struct backtest_data *data,
                                 struct backtest_report *report);
void backtest_clear(struct backtest_report *report);

#endif
