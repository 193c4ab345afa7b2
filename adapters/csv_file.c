#include "adapters/csv_file.h"

#include <csv.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* One reading.  The library is fed a byte at a time, so that line is that of
 * the byte which ends a field or a row. */
struct reader {
    csv_row_fn on_row;
    void *arg;
    struct csv_fault *fault;
    struct csv_row row;
    size_t starts[CSV_FIELDS_MAX]; /* in bytes */
    size_t used;
    char *bytes;  /* CSV_FIELDS_MAX * CSV_FIELD_SIZE */
    bool in_row;  /* a byte of the row was seen */
    size_t line;  /* being read, from 1 */
    enum err err; /* why the reading stops */
};

static void stop(struct reader *r, enum err e, size_t line, size_t field,
                 const char *text)
{
    if (r->err != ERR_OK)
        return;
    r->err = e;
    *r->fault = (struct csv_fault){ line, field, text };
}

/* ---- characters ---------------------------------------------------------- */

/*
 * Bytes of the character that begins here; 0: it is none (RFC 3629: no
 * overlong form, no surrogate, nothing above U+10FFFF).
 */
static size_t character(const unsigned char *s, size_t len)
{
    static const struct {
        unsigned char first, last, low, high; /* of the second byte */
        size_t size;
    } forms[] = {
        { 0x01, 0x7f, 0, 0, 1 },       { 0xc2, 0xdf, 0x80, 0xbf, 2 },
        { 0xe0, 0xe0, 0xa0, 0xbf, 3 }, { 0xe1, 0xec, 0x80, 0xbf, 3 },
        { 0xed, 0xed, 0x80, 0x9f, 3 }, { 0xee, 0xef, 0x80, 0xbf, 3 },
        { 0xf0, 0xf0, 0x90, 0xbf, 4 }, { 0xf1, 0xf3, 0x80, 0xbf, 4 },
        { 0xf4, 0xf4, 0x80, 0x8f, 4 },
    };

    for (size_t i = 0; i < COUNT(forms); i++) {
        size_t size = forms[i].size;

        if (s[0] < forms[i].first || s[0] > forms[i].last)
            continue;
        if (size > len ||
            (size > 1 && (s[1] < forms[i].low || s[1] > forms[i].high)))
            return 0;
        for (size_t k = 2; k < size; k++) {
            if (s[k] < 0x80 || s[k] > 0xbf)
                return 0;
        }
        return size;
    }
    return 0;
}

static void check_characters(struct reader *r, const char *text, size_t len)
{
    size_t line = 1;

    for (size_t at = 0; at < len;) {
        size_t size = character((const unsigned char *)text + at, len - at);

        if (size == 0) {
            stop(r, ERR_FORM, line, 0,
                 text[at] == '\0' ? "a NUL byte" : "bytes that are not UTF-8");
            return;
        }
        line += text[at] == '\n';
        at += size;
    }
}

/* ---- what the library calls ------------------------------------------------ */

/* Blanks around a field belong to it. */
static int no_blank(unsigned char c)
{
    (void)c;
    return 0;
}

static void on_field(void *data, size_t len, void *arg)
{
    struct reader *r = arg;
    size_t count = r->row.count;

    if (r->err != ERR_OK)
        return;
    if (count == CSV_FIELDS_MAX) {
        stop(r, ERR_LIMIT, r->line, count + 1, "too many fields in a row");
        return;
    }
    if (len >= CSV_FIELD_SIZE) {
        stop(r, ERR_LIMIT, r->line, count + 1, "a field is too long");
        return;
    }
    r->starts[count] = r->used;
    if (len > 0)
        memcpy(r->bytes + r->used, data, len);
    r->bytes[r->used + len] = '\0';
    r->used += len + 1;
    r->row.count++;
}

static void on_end(int c, void *arg)
{
    struct reader *r = arg;

    (void)c;
    if (r->err == ERR_OK) {
        for (size_t i = 0; i < r->row.count; i++)
            r->row.fields[i] = r->bytes + r->starts[i];
        r->err = r->on_row(r->arg, &r->row);
    }
    r->row.count = 0;
    r->used = 0;
    r->in_row = false;
}

static void on_library_error(struct reader *r, struct csv_parser *parser)
{
    size_t line = r->in_row ? r->line : r->row.line;

    if (csv_error(parser) == CSV_ENOMEM)
        stop(r, ERR_MEMORY, line, 0, NULL);
    else
        stop(r, ERR_FORM, line, r->row.count + 1,
             "a quote within a field, or text behind a closing quote");
}

/* ---- the way in -------------------------------------------------------------- */

static void feed(struct reader *r, struct csv_parser *parser, const char *text,
                 size_t len)
{
    for (size_t at = 0; at < len && r->err == ERR_OK; at++) {
        if (!r->in_row && text[at] != '\r' && text[at] != '\n') {
            r->in_row = true;
            r->row.line = r->line;
        }
        if (csv_parse(parser, text + at, 1, on_field, on_end, r) != 1) {
            on_library_error(r, parser);
            return;
        }
        r->line += text[at] == '\n';
    }
    if (r->err == ERR_OK && csv_fini(parser, on_field, on_end, r) != 0)
        stop(r, ERR_FORM, r->row.line, r->row.count + 1,
             "a quote that is never closed; the row that it stands in begins "
             "here");
}

enum err csv_file_read(const char *text, size_t len, csv_row_fn on_row,
                       void *arg, struct csv_fault *fault)
{
    struct reader r = {
        .on_row = on_row, .arg = arg, .fault = fault, .line = 1, .err = ERR_OK
    };
    struct csv_parser parser;

    *fault = (struct csv_fault){ 0, 0, NULL };
    if (len > CSV_TEXT_MAX) {
        stop(&r, ERR_LIMIT, 1, 0, "the file is too long");
        return r.err;
    }
    if (len >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0) {
        text += 3;
        len -= 3;
    }
    check_characters(&r, text, len);
    if (r.err != ERR_OK)
        return r.err;
    r.bytes = malloc((size_t)CSV_FIELDS_MAX * CSV_FIELD_SIZE);
    if (r.bytes == NULL)
        return ERR_MEMORY;
    if (csv_init(&parser, CSV_STRICT | CSV_STRICT_FINI) != 0) {
        free(r.bytes);
        return ERR_MEMORY;
    }
    csv_set_space_func(&parser, no_blank);
    feed(&r, &parser, text, len);
    csv_free(&parser);
    free(r.bytes);
    return r.err;
}
