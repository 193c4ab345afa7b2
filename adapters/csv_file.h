/*
 * csv_file - comma-separated values by libcsv; the only file that knows it
 *
 * Fields are separated by commas and may stand in double quotes, a quote in
 * them is doubled; lines end in CRLF or LF; blank lines are passed over.
 * Blanks belong to a field.  The text is UTF-8, a byte order mark at its start
 * is skipped; a NUL is refused.
 *
 * Source: RFC 4180; libcsv 3.0.3 in its strict mode.
 */
#ifndef HEADGATE_ADAPTERS_CSV_FILE_H
#define HEADGATE_ADAPTERS_CSV_FILE_H

#include "planner/err.h"

#include <stddef.h>

enum {
    CSV_FIELDS_MAX = 64,    /* of a row */
    CSV_FIELD_SIZE = 4096,  /* bytes of a field with its NUL */
    CSV_TEXT_MAX = 16777216 /* bytes of a file */
};

struct csv_row {
    size_t line; /* where it begins, from 1 */
    size_t count;
    const char *fields[CSV_FIELDS_MAX]; /* borrowed until on_row returns */
};

/* Called for each row in order.  Returns ERR_OK to go on; anything else stops
 * the reading and is returned. */
typedef enum err (*csv_row_fn)(void *arg, const struct csv_row *row);

/* Where the text stops being CSV. */
struct csv_fault {
    size_t line, field; /* both from 1; field 0: no matter which */
    const char *text;   /* for a person; static */
};

/*
 * csv_file_read - the rows of a text
 *
 * fault  out, on ERR_FORM and ERR_LIMIT of the text itself; its text is NULL
 *        where on_row has stopped
 *
 * ERR_FORM   not UTF-8, a NUL, a quote within a field that does not begin
 *            with one, text behind a closing quote, a quote that never closes
 * ERR_LIMIT  more fields, or longer ones, than there is room for
 * ERR_MEMORY
 * or what on_row returned
 */
MUST_CHECK enum err csv_file_read(const char *text, size_t len,
                                  csv_row_fn on_row, void *arg,
                                  struct csv_fault *fault);

#endif
