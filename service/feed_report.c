#include "service/feed_report.h"

#include "service/held.h"
#include "service/quarantine_list.h"
#include "service/tally.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS_MAX = 20000, TEXTS_A_ROW = 6 };

void feed_report_clear(struct feed_report *r)
{
    for (size_t i = 0; i < r->text_count; i++)
        free(r->texts[i]);
    free(r->texts);
    free(r->rows);
    *r = (struct feed_report){ .rows = NULL };
}

static const char *keep(struct feed_report *r, const char *text, enum err *e)
{
    size_t len = text != NULL ? strlen(text) + 1 : 0;
    char *copy;

    if (len <= 1 || *e != ERR_OK)
        return "";
    copy = malloc(len);
    if (copy == NULL) {
        *e = ERR_MEMORY;
        return "";
    }
    memcpy(copy, text, len);
    r->texts[r->text_count++] = copy;
    return copy;
}

static enum report_class class_of(int64_t class)
{
    switch ((enum tally_class) class) {
    case TALLY_TAKEN:
        return REPORT_TAKEN;
    case TALLY_REFUSED:
        return REPORT_REFUSED;
    case TALLY_QUARANTINED:
        return REPORT_QUARANTINED;
    case TALLY_HELD:
        return REPORT_HELD;
    case TALLY_UNKNOWN:
        return REPORT_UNKNOWN;
    case TALLY_TOLERATED:
        break;
    }
    return REPORT_TOLERATED;
}

/* What a word means in a class where its usual meaning is not it. */
static const struct {
    enum report_class class;
    const char *reason, *why;
} whys[] = {
    { REPORT_HELD, "code-unknown",
      "what was measured is said as a text alone, without a code" },
    { REPORT_HELD, "not-supported", "a value of a data type that is not kept" },
    { REPORT_HELD, "out-of-order",
      "it came after its own correction or withdrawal, or after a newer "
      "report" },
    { REPORT_TOLERATED, "code-unknown",
      "the method is not known here, and counts as not stated" },
    { REPORT_TOLERATED, "future-time",
      "a sign of emergency in the future, which counts as seen now" },
    { REPORT_TOLERATED, "access-side",
      "left and right are both named, and neither is used" },
    { REPORT_TOLERATED, "access-ambiguous",
      "a path within a machine, where an access is named" },
    { REPORT_TOLERATED, "not-found",
      "it corrects or withdraws a result that had not come" },
    { REPORT_TOLERATED, "duplicate",
      "the number of an earlier message, with other content" },
    { REPORT_TOLERATED, "bad-value",
      "a byte that is not of the character set, in what is only shown" },
    { REPORT_TOLERATED, "bad-datetime",
      "a time that does not exist or is not clear, left out or taken as is "
      "most likely" },
    { REPORT_TOLERATED, "too-many", "more comments than are kept" },
    { REPORT_TOLERATED, "too-long", "a comment that is longer than is kept" },
    { REPORT_REFUSED, "error",
      "further faults of messages that have more than are told one by one" },
    { REPORT_QUARANTINED, "error",
      "further faults of messages that have more than are told one by one" },
};

static const char *why_of(enum report_class class, const char *reason)
{
    const char *held = held_reason_words(Q_NONE, reason);

    for (size_t i = 0; i < COUNT(whys); i++) {
        if (whys[i].class == class && strcmp(whys[i].reason, reason) == 0)
            return whys[i].why;
    }
    return class == REPORT_HELD && held != reason
               ? held
               : quarantine_reason_words(reason);
}

/* Column 9: the sender has readings of more than one unit. */
static const char *unit_of(struct db *db, enum query q)
{
    const char *source = db_text(db, q, 0), *unit = db_text(db, q, 5);
    bool of_many = strcmp(source, "record") == 0 || source[0] == '\0' ||
                   db_int(db, q, 9) > 1;

    if (of_many && unit[0] != '\0')
        return unit;
    return source[0] != '\0' ? source : "(sender not told apart)";
}

static void take_row(struct db *db, struct feed_report *r, enum err *e)
{
    const enum query q = Q_TALLY_REPORT;
    struct report_row *row = &r->rows[r->count++];

    *row = (struct report_row){
        .class = class_of(db_int(db, q, 1)),
        .unit = keep(r, unit_of(db, q), e),
        .reason = keep(r, db_text(db, q, 2), e),
        .what = keep(r, db_text(db, q, 3), e),
        .place = keep(r, db_text(db, q, 4), e),
        .way = quarantine_way_word((enum quarantine_way)db_int(db, q, 6)),
        .sample = keep(r, db_text(db, q, 7), e),
        .count = db_int(db, q, 8),
        .before = db_int(db, q, 10),
    };
    row->why = why_of(row->class, row->reason);
}

static int compare(const void *a, const void *b)
{
    const struct report_row *x = a, *y = b;
    int order = strcmp(x->unit, y->unit);

    if (order != 0)
        return order;
    if (x->class != y->class)
        return (int)x->class - (int)y->class;
    if (x->count != y->count)
        return x->count > y->count ? -1 : 1;
    order = strcmp(x->reason, y->reason);
    return order != 0 ? order : strcmp(x->what, y->what);
}

enum err feed_report_read(struct db *db, int64_t week, struct feed_report *r)
{
    const enum query q = Q_TALLY_REPORT;
    enum err e, kept = ERR_OK;

    *r = (struct feed_report){ .week = week };
    r->rows = calloc(ROWS_MAX, sizeof(*r->rows));
    r->texts = calloc((size_t)ROWS_MAX * TEXTS_A_ROW, sizeof(*r->texts));
    if (r->rows == NULL || r->texts == NULL)
        return ERR_MEMORY;
    e = db_query(db, q, "ii", week, INT64(ROWS_MAX + 1));
    while (e == ERR_OK && kept == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        r->cut = r->count == ROWS_MAX;
        if (!r->cut)
            take_row(db, r, &kept);
    }
    db_done(db, q);
    if (kept != ERR_OK || e != ERR_ABSENT)
        return kept != ERR_OK ? kept : e;
    if (r->count > 0)
        qsort(r->rows, r->count, sizeof(*r->rows), compare);
    return ERR_OK;
}

size_t feed_report_unit(const struct feed_report *r, size_t from)
{
    size_t n = 0;

    while (from + n < r->count &&
           strcmp(r->rows[from + n].unit, r->rows[from].unit) == 0)
        n++;
    return n;
}

enum err feed_report_write(const struct feed_report *r, const char *unit,
                           bool json, struct buf *out)
{
    const char *between = "";

    for (size_t at = 0, n; at < r->count; at += n) {
        n = feed_report_unit(r, at);
        if (unit != NULL && strcmp(unit, r->rows[at].unit) != 0)
            continue;
        for (size_t i = 0; json && i < n; i++)
            report_write_json(&r->rows[at + i], r->week, out);
        if (json)
            continue;
        buf_puts(out, between);
        report_write_page(&r->rows[at], n, r->week, out);
        between = "\n----------------------------------------\n\n";
    }
    if (!json && out->len == 0) {
        char week[REPORT_WEEK_SIZE];

        report_week_write(r->week, week);
        buf_printf(out, "Nothing was counted in week %s%s.\n", week,
                   unit != NULL ? " for this unit" : "");
    }
    if (!json && r->cut)
        buf_puts(out, "\nThere are more kinds than fit here.\n");
    return buf_ok(out);
}
