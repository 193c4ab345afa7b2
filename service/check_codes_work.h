/*
 * check_codes_work - what the files of check_codes share; private to them
 *
 *     check_codes.c        the files of a sample
 *     check_codes_hl7.c    messages of HL7 v2 among them
 *     check_codes_csv.c    lists of codes among them
 *     check_codes_table.c  uses, counted
 *     check_codes_say.c    the table for people
 *     check_codes_json.c   the same as JSON
 *     check_codes_rows.c   the rows that are missing
 */
#ifndef HEADGATE_SERVICE_CHECK_CODES_WORK_H
#define HEADGATE_SERVICE_CHECK_CODES_WORK_H

#include "adapters/feed.h"
#include "adapters/fhir_sample.h"
#include "service/check_codes.h"

#include <stdio.h>

enum {
    CHECK_ROWS_MAX = 5000, /* different codes of a sample */
    CHECK_UNITS_MAX = 12,  /* different units of one code */
    CHECK_WORDS_MAX = 12,
    CHECK_REFUSALS_MAX = 64,
    CHECK_BUCKETS = 4096,
    CHECK_TEXT_SIZE = 80,
    CHECK_UNIT_SIZE = 48
};

struct check_unit {
    enum sample_unit kind;
    char text[CHECK_UNIT_SIZE];    /* as sent */
    char read_as[CHECK_UNIT_SIZE]; /* "" for none */
    bool fits;
    size_t count;
};

struct check_count {
    const char *word; /* static */
    size_t count;
};

/* A code of a system, and all its uses. */
struct check_row {
    struct check_row *next; /* of the same bucket */
    enum sample_kind kind;
    char *system, *code; /* behind the row */
    char display[CHECK_TEXT_SIZE];
    char target[CHECK_TEXT_SIZE]; /* "" none */
    bool changes; /* with the date of the measurement: target is the newest */
    size_t count, missing; /* uses; those that nothing else explains */
    struct check_unit units[CHECK_UNITS_MAX];
    size_t unit_count, units_dropped;
    size_t holds[HOLD_COUNT];
    struct check_count words[CHECK_WORDS_MAX];
    size_t word_count;
};

struct check_refusal {
    const char *word; /* static */
    char place[CHECK_TEXT_SIZE];
    size_t count;
};

struct check {
    const struct config *config;
    const struct codes *codes;
    const struct zone *zone;
    struct sample_reader sample;
    struct check_row *rows[CHECK_ROWS_MAX];
    size_t row_count, rows_dropped;
    struct check_row *buckets[CHECK_BUCKETS];
    struct check_refusal refusals[CHECK_REFUSALS_MAX];
    size_t refusal_count;
    size_t files, messages, lists; /* of HL7 v2; uses in CSV lists */
    size_t unreadable;             /* lines or messages */
    size_t strangers;              /* messages of no known sender */
    enum err err;                  /* ERR_MEMORY */
};

/* ---- the table ------------------------------------------------------------ */

/* As on_use and on_refused of a sample_reader, with the check as arg. */
void check_on_use(void *arg, const struct sample_use *use);
void check_on_refused(void *arg, const char *word, const char *place);
void check_clear(struct check *check);

/* By kind, system and code. */
void check_sort(struct check *check);

/* Does the unit need something to be done, where the code is used at all? */
bool check_unit_is_bad(const struct check_row *row,
                       const struct check_unit *unit);
bool check_row_is_number(const struct check_row *row);

/* How many uses of a sign's code have a value that nobody can read. */
size_t check_unread(const struct check_row *row);

/* Is there anything to be done? */
bool check_is_missing(const struct check *check);

/* ---- files ------------------------------------------------------------------ */

/* The rest of a file as messages, or as a list.  Says on standard error what
 * cannot be used of it; name is for that. */
MUST_CHECK enum err check_read_hl7(struct check *check, const char *name,
                                   feed_read_fn read, void *arg);
MUST_CHECK enum err check_read_csv(struct check *check, const char *name,
                                   const char *text, size_t len);

/* ---- what comes out ----------------------------------------------------------- */

void check_say(const struct check *check, struct buf *out);
void check_write_json(const struct check *check, struct buf *out);

/* The missing rows as CSV, to be filled in; counts them. */
size_t check_missing_rows(const struct check *check, struct buf *out);

/*
 * The maps that come with the program, are off, and are about a system of
 * which rows are missing: one sentence each, with its last byte a newline.
 * "" where there are none.
 */
void check_say_maps(const struct check *check, struct buf *out);

/* "code", "value", "method", "body site". */
const char *check_kind_word(enum sample_kind kind);

#endif
