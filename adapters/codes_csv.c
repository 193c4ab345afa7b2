/* A site's code map as CSV: columns by name, rows into the map. */
#include "adapters/civil.h"
#include "adapters/codes_rows.h"
#include "adapters/csv_file.h"
#include "adapters/fhir_time.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum column {
    COLUMN_SYSTEM,
    COLUMN_CODE,
    COLUMN_TARGET,
    COLUMN_UNIT,
    COLUMN_ARM,
    COLUMN_FROM,
    COLUMN_NOTE,
    COLUMN_COUNT
};

static const struct {
    const char *name;
    bool needed;
} columns[COLUMN_COUNT] = {
    [COLUMN_SYSTEM] = { "source_system", true },
    [COLUMN_CODE] = { "source_code", true },
    [COLUMN_TARGET] = { "target", true },
    [COLUMN_UNIT] = { "unit_default", false },
    [COLUMN_ARM] = { "arm_rule", false },
    [COLUMN_FROM] = { "valid_from", false },
    [COLUMN_NOTE] = { "note", false },
};

/* One row that was read, with its texts behind it. */
struct kept_line {
    struct codes_line line;
    size_t at; /* line of the file */
    char *strings;
};

/* One file being read. */
struct table {
    const struct codes *codes;
    struct buf *why;
    bool headed;
    size_t width;            /* fields of the header */
    int place[COLUMN_COUNT]; /* which field; -1: not there */
    struct kept_line *lines;
    size_t count, size;
};

static enum err refuse(struct table *t, enum err e, size_t line,
                       const char *column, const char *text)
{
    buf_printf(t->why, "line %zu", line);
    if (column[0] != '\0')
        buf_printf(t->why, ", %s", column);
    buf_printf(t->why, ": %s", text);
    return e;
}

/* ---- header -------------------------------------------------------------- */

static enum err read_name(struct table *t, size_t line, const char *name,
                          int field)
{
    char text[200];

    for (int c = 0; c < COLUMN_COUNT; c++) {
        if (strcmp(columns[c].name, name) != 0)
            continue;
        if (t->place[c] >= 0)
            return refuse(t, ERR_CONFLICT, line, name, "a column twice");
        t->place[c] = field;
        return ERR_OK;
    }
    snprintf(text, sizeof(text),
             "column %d, '%.60s', is not one of source_system, source_code, "
             "target, unit_default, arm_rule, valid_from, note",
             field + 1, name);
    return refuse(t, ERR_FORM, line, "", text);
}

static enum err read_header(struct table *t, const struct csv_row *row)
{
    enum err e = ERR_OK;

    t->headed = true;
    t->width = row->count;
    for (size_t i = 0; e == ERR_OK && i < row->count; i++)
        e = read_name(t, row->line, row->fields[i], (int)i);
    for (int c = 0; e == ERR_OK && c < COLUMN_COUNT; c++) {
        if (columns[c].needed && t->place[c] < 0)
            e = refuse(t, ERR_FORM, row->line, columns[c].name,
                       "this column is missing from the header");
    }
    return e;
}

/* ---- rows ------------------------------------------------------------------ */

static const char *field_of(const struct table *t, const struct csv_row *row,
                            enum column c)
{
    return t->place[c] < 0 ? "" : row->fields[t->place[c]];
}

/* "2026-03-01": that day begins in the zone of the site. */
static bool read_date(const struct codes *codes, const char *text,
                      int64_t *from_s)
{
    struct fhir_time time;
    struct zone *utc = NULL;
    enum err e;

    *from_s = INT64_MIN;
    if (text[0] == '\0')
        return true;
    if (strlen(text) != strlen("2026-03-01"))
        return false;
    if (codes->zone == NULL && zone_load("UTC", &utc) != ERR_OK)
        return false;
    e = fhir_time_read(text, strlen(text),
                       codes->zone != NULL ? codes->zone : utc, &time);
    zone_free(utc);
    *from_s = time.start_s;
    return e == ERR_OK && time.precision == AT_DAY;
}

static bool grow(struct table *t)
{
    size_t size = t->size > 0 ? t->size * 2 : 64;
    struct kept_line *lines = realloc(t->lines, size * sizeof(*lines));

    if (lines == NULL)
        return false;
    t->lines = lines;
    t->size = size;
    return true;
}

static enum err keep(struct table *t, const struct csv_row *row, int64_t from_s)
{
    struct kept_line *kept;
    const char *texts[COLUMN_FROM];
    size_t size = 0;
    char *at;

    for (int c = 0; c < COLUMN_FROM; c++)
        size += strlen(field_of(t, row, (enum column)c)) + 1;
    if (t->count == t->size && !grow(t))
        return ERR_MEMORY;
    kept = &t->lines[t->count];
    kept->strings = at = malloc(size);
    if (at == NULL)
        return ERR_MEMORY;
    for (int c = 0; c < COLUMN_FROM; c++) {
        const char *text = field_of(t, row, (enum column)c);

        texts[c] = memcpy(at, text, strlen(text) + 1);
        at += strlen(text) + 1;
    }
    kept->line = (struct codes_line){ .system = texts[COLUMN_SYSTEM],
                                      .code = texts[COLUMN_CODE],
                                      .target = texts[COLUMN_TARGET],
                                      .unit = texts[COLUMN_UNIT],
                                      .arm = texts[COLUMN_ARM],
                                      .from_s = from_s };
    kept->at = row->line;
    t->count++;
    return ERR_OK;
}

static enum err on_row(void *arg, const struct csv_row *row)
{
    struct table *t = arg;
    char text[96];
    int64_t from_s;

    if (!t->headed)
        return read_header(t, row);
    if (row->count != t->width) {
        snprintf(text, sizeof(text), "%zu fields, and the header has %zu",
                 row->count, t->width);
        return refuse(t, ERR_FORM, row->line, "", text);
    }
    if (t->count == CODES_ROWS_MAX)
        return refuse(t, ERR_LIMIT, row->line, "", "too many rows");
    if (!read_date(t->codes, field_of(t, row, COLUMN_FROM), &from_s))
        return refuse(t, ERR_FORM, row->line, columns[COLUMN_FROM].name,
                      "is not a date that there is: write it as 2026-03-01");
    return keep(t, row, from_s);
}

/* ---- into the map ------------------------------------------------------------ */

static enum err add_all(struct codes *codes, struct table *t)
{
    struct codes_row *rows = calloc(t->count + 1, sizeof(*rows));
    struct codes_fault fault = { .row = t->count, .column = "" };
    enum err e = rows != NULL ? ERR_OK : ERR_MEMORY;

    for (size_t i = 0; e == ERR_OK && i < t->count; i++) {
        fault.row = i;
        e = codes_row_of_line(&t->lines[i].line, &rows[i], &fault);
    }
    if (e == ERR_OK)
        e = codes_add_rows(codes, rows, t->count, CODES_OF_FILE, &fault);
    free(rows);
    if (e == ERR_OK || e == ERR_MEMORY)
        return e;
    if (fault.row < t->count)
        return refuse(t, e, t->lines[fault.row].at, fault.column, fault.text);
    buf_puts(t->why, fault.text);
    return e;
}

static enum err read_table(struct table *t, const char *text, size_t len)
{
    struct csv_fault fault;
    enum err e = csv_file_read(text, len, on_row, t, &fault);

    if (e != ERR_OK && fault.text != NULL) {
        char where[32] = "";

        if (fault.field > 0)
            snprintf(where, sizeof(where), "field %zu", fault.field);
        return refuse(t, e, fault.line, where, fault.text);
    }
    if (e == ERR_OK && !t->headed)
        return refuse(t, ERR_FORM, 1, "",
                      "a header is needed: source_system,source_code,target");
    return e;
}

enum err codes_add_csv(struct codes *codes, const char *text, size_t len,
                       struct buf *why)
{
    struct table t = { .codes = codes, .why = why };
    enum err e;

    for (int c = 0; c < COLUMN_COUNT; c++)
        t.place[c] = -1;
    e = read_table(&t, text, len);
    if (e == ERR_OK)
        e = add_all(codes, &t);
    for (size_t i = 0; i < t.count; i++)
        free(t.lines[i].strings);
    free(t.lines);
    return e;
}
