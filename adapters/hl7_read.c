/*
 * The head of a message of HL7 v2: delimiters and character set, from the bytes
 * as they came; then all of it in UTF-8.  hl7_split.c goes on from there.
 */
#include "adapters/hl7_work.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char bom[] = "\xef\xbb\xbf";

/* Most bytes of UTF-8 for one byte of a message, a NUL counted. */
static const size_t growth = 4;

enum err hl7_fail(struct hl7_reader *r, enum err e, const char *format, ...)
{
    va_list args;

    r->fault->place = r->at;
    va_start(args, format);
    vsnprintf(r->fault->text, sizeof(r->fault->text), format, args);
    va_end(args);
    return e;
}

/* Where a byte of the message is: segment and field. */
static struct hl7_place place_of_byte(const struct hl7_reader *r,
                                      const char *bytes, size_t len,
                                      size_t offset)
{
    char field = r->m->delimiters.field;
    struct hl7_place place = { .sequence = 0 };
    size_t line = 0, at = 0;

    while ((at = hl7_line_pass(bytes, len, hl7_line_end(bytes, len, at))) <=
               offset &&
           at < len)
        line = at;
    if (hl7_name_number(bytes + line, hl7_line_end(bytes, len, line) - line,
                        field) < 0)
        return place;
    memcpy(place.segment, bytes + line, 3);
    for (at = 0; at <= line && at < len;
         at = hl7_line_pass(bytes, len, hl7_line_end(bytes, len, at))) {
        if (len - at >= 3 && memcmp(bytes + at, bytes + line, 3) == 0)
            place.sequence++;
    }
    place.field = memcmp(place.segment, "MSH", 3) == 0 ? 1 : 0;
    for (at = line; at < offset; at++)
        place.field += bytes[at] == field ? 1 : 0;
    return place;
}

/* ---- the head ------------------------------------------------------------- */

static bool is_delimiter(char c)
{
    return c > ' ' && c < 0x7f && hl7_name_digit(c) < 0 &&
           !(c >= 'a' && c <= 'z');
}

/* Those of MSH-2, in their order, into the delimiters. */
static void spread(const char *two, size_t count, struct hl7_delimiters *d)
{
    d->component = two[0];
    d->repetition = two[1];
    if (count > 2)
        d->escape = two[2];
    if (count > 3)
        d->subcomponent = two[3];
    if (count > 4)
        d->truncation = two[4];
    /* "^~&": nobody escapes with the usual sign of a subcomponent. */
    if (count == 3 && d->escape == '&') {
        d->escape = '\0';
        d->subcomponent = '&';
    }
}

enum err hl7_delimiters_read(const char *bytes, size_t len,
                             struct hl7_delimiters *delimiters)
{
    size_t end = hl7_line_end(bytes, len, 0), count;
    struct hl7_delimiters d = { .field = '\0' };

    if (end < 6 || memcmp(bytes, "MSH", 3) != 0)
        return ERR_FORM;
    d.field = bytes[3];
    count = (size_t)(hl7_part_end(bytes + 4, bytes + end, d.field) - bytes) - 4;
    if (count < 2 || count > 5 || !is_delimiter(d.field))
        return ERR_FORM;
    for (size_t i = 0; i < count; i++) {
        const char *c = bytes + 4 + i;

        if (!is_delimiter(*c) || memchr(bytes + 3, *c, i + 1) != NULL)
            return ERR_FORM;
    }
    spread(bytes + 4, count, &d);
    *delimiters = d;
    return ERR_OK;
}

/* The first repetition of MSH-18, within the head. */
static const char *charset_field(const struct hl7_message *m, size_t *len)
{
    const char *at = m->head.data, *end = at + m->head.len, *stop;

    for (int field = 1; field < 18; field++) {
        at = hl7_part_end(at, end, m->delimiters.field);
        if (at == end) {
            *len = 0;
            return "";
        }
        at++;
    }
    stop = hl7_part_end(at, end, m->delimiters.field);
    stop = hl7_part_end(at, stop, m->delimiters.repetition);
    stop = hl7_part_end(at, stop, m->delimiters.component);
    *len = hl7_is_blank(at, (size_t)(stop - at)) ? 0 : (size_t)(stop - at);
    return at;
}

static enum err open_charset(struct hl7_reader *r, const char *charset)
{
    size_t len;
    const char *name = charset_field(r->m, &len);
    bool stated = len > 0;
    enum err e;

    if (!stated) {
        name = charset != NULL ? charset : "";
        len = strlen(name);
    }
    e = hl7_charset_open(name, len, &r->charset);
    if (e == ERR_OK || e == ERR_MEMORY)
        return e;
    memcpy(r->at.segment, "MSH", 3);
    r->at.sequence = 1;
    r->at.field = 18;
    return hl7_fail(r, e,
                    stated
                        ? "the character set is not one that is known here"
                        : "the character set that is set for an empty field is "
                          "not one that is known here");
}

static enum err read_head(struct hl7_reader *r, const char *bytes, size_t len,
                          const char *charset)
{
    const char *nul = memchr(bytes, '\0', len);

    if (len < 3 || memcmp(bytes, "MSH", 3) != 0)
        return hl7_fail(r, ERR_FORM, "does not begin with MSH");
    memcpy(r->at.segment, "MSH", 3);
    r->at.sequence = 1;
    if (hl7_delimiters_read(bytes, len, &r->m->delimiters) != ERR_OK) {
        r->at.field = 2;
        return hl7_fail(r, ERR_FORM,
                        "the delimiters are not different printable characters "
                        "other than letters and digits");
    }
    if (nul != NULL) {
        r->at = place_of_byte(r, bytes, len, (size_t)(nul - bytes));
        return hl7_fail(r, ERR_FORM, "a NUL byte");
    }
    buf_add(&r->m->head, bytes, hl7_line_end(bytes, len, 0));
    if (buf_ok(&r->m->head) != ERR_OK)
        return buf_ok(&r->m->head);
    r->at = (struct hl7_place){ .sequence = 0 };
    return open_charset(r, charset);
}

/* What is in MSH is too much of the message to go on without it. */
static enum err check_head(struct hl7_reader *r, const char *bytes, size_t len,
                           const struct hl7_mended *line)
{
    size_t head;

    if (line->first < r->m->head.len || line->torn) {
        r->at = place_of_byte(r, bytes, len, line->first);
        return hl7_fail(r, ERR_FORM,
                        "a byte that is not of the character set %s",
                        r->charset.name);
    }
    /* A set in which these bytes mean something else would split elsewhere. */
    head =
        4 + (size_t)(hl7_part_end(bytes + 4, bytes + r->m->head.len, bytes[3]) -
                     bytes - 4);
    if (r->m->raw.len < head || memcmp(r->m->raw.data, bytes, head) != 0)
        return hl7_fail(r, ERR_FORM,
                        "the delimiters are other characters in the set %s",
                        r->charset.name);
    return ERR_OK;
}

/* All of it in UTF-8, line by line: no character of any of the sets has a byte
 * that ends a line. */
static enum err decode(struct hl7_reader *r, const char *bytes, size_t len)
{
    struct hl7_mended line;
    enum err e = ERR_OK;

    for (size_t at = 0, next; e == ERR_OK && at < len; at = next) {
        size_t end = hl7_line_end(bytes, len, at);

        next = hl7_line_pass(bytes, len, end);
        e = hl7_charset_mend(&r->charset, bytes + at, end - at, &r->m->raw,
                             &r->bad, &line);
        if (e == ERR_OK && at == 0)
            e = check_head(r, bytes, len, &line);
        buf_add(&r->m->raw, bytes + end, next - end);
    }
    if (e != ERR_OK)
        return e;
    r->len = r->m->raw.len;
    return hl7_charset_mask(&r->charset, bytes, r->m->head.len, &r->m->mask);
}

/* ---- the whole ------------------------------------------------------------ */

static enum err read_all(struct hl7_reader *r, const char *bytes, size_t len,
                         const char *charset)
{
    enum err e = read_head(r, bytes, len, charset);

    if (e == ERR_OK)
        e = decode(r, bytes, len);
    if (e == ERR_OK)
        e = hl7_split(r);
    hl7_charset_close(&r->charset);
    buf_clear(&r->bad);
    return e;
}

enum err hl7_read(const char *bytes, size_t len, const char *charset,
                  struct hl7_message **message, struct hl7_fault *fault)
{
    struct hl7_reader r = { .fault = fault };
    enum err e;

    if (len > HL7_MESSAGE_MAX)
        return hl7_fail(&r, ERR_LIMIT, "longer than %d bytes", HL7_MESSAGE_MAX);
    if (len >= 3 && memcmp(bytes, bom, 3) == 0) {
        bytes += 3;
        len -= 3;
        charset = "UNICODE UTF-8";
    }
    r.m = calloc(1, sizeof(*r.m));
    if (r.m == NULL)
        return ERR_MEMORY;
    buf_init(&r.m->raw, growth * HL7_MESSAGE_MAX);
    buf_init(&r.m->text, growth * HL7_MESSAGE_MAX);
    buf_init(&r.m->head, HL7_MESSAGE_MAX);
    buf_init(&r.m->mask, HL7_MESSAGE_MAX);
    buf_init(&r.m->damage, HL7_DAMAGE_MAX * sizeof(struct hl7_spot));
    buf_init(&r.bad, HL7_MESSAGE_MAX * sizeof(struct hl7_bad));
    e = read_all(&r, bytes, len, charset);
    if (e == ERR_OK)
        *message = r.m;
    else
        hl7_free(r.m);
    return e;
}
