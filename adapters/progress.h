/*
 * progress - how far a load has come, on a terminal
 *
 *     feed.ndjson   43 % [======......] 12.3 of 28.4 MB, 2.0 MB/s, 8 s left
 *
 * One line that is rewritten in place and cleared in the end.  Nothing is
 * written where the output is not a terminal.  There is no clock inside: the
 * caller passes the time of a monotonic one.
 */
#ifndef HEADGATE_ADAPTERS_PROGRESS_H
#define HEADGATE_ADAPTERS_PROGRESS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

enum {
    PROGRESS_COLUMNS_LEAST = 40,
    PROGRESS_COLUMNS_MOST = 100,
    PROGRESS_COLUMNS_DEFAULT = 80,
    PROGRESS_STEP_MS = 100, /* between two updates on the terminal */
    PROGRESS_TEXT_SIZE = PROGRESS_COLUMNS_MOST * 4 + 1
};

struct progress {
    FILE *out; /* borrowed; NULL: nothing is shown */
    const char *name;
    uint64_t total_bytes;
    uint64_t from_bytes; /* done before it was started; set after that */
    int columns;
    int64_t start_ms, next_ms;
    size_t shown; /* columns of the line that stands there now */
};

/*
 * progress_start - shows nothing yet
 *
 * out          standard error
 * name         of the file, ASCII or UTF-8, borrowed; a long one is cut
 * total_bytes  0: not known (a pipe); then only the amount is shown
 * columns      of the terminal; 0: the default; else brought into LEAST..MOST
 * now_ms       monotonic
 */
void progress_start(struct progress *p, FILE *out, const char *name,
                    uint64_t total_bytes, int columns, int64_t now_ms);

/* Writes at most once in PROGRESS_STEP_MS, however often it is called. */
void progress_update(struct progress *p, uint64_t done_bytes, int64_t now_ms);

/* Clear the line, so that what is written next stands alone.  May be called
 * twice, and before any other line is written to the terminal. */
void progress_clear(struct progress *p);

/*
 * progress_text - the line as text, without a line end
 *
 * It has less than columns columns, so that no terminal wraps it.  Returns
 * how many.
 */
size_t progress_text(const struct progress *p, uint64_t done_bytes,
                     int64_t now_ms, char text[PROGRESS_TEXT_SIZE]);

#endif
