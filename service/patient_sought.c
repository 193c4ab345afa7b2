#include "service/patient_sought.h"

#include "service/patients.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

/* ---- bytes and parts ---------------------------------------------------------- */

const char *patient_sought_bytes(const char *text, size_t len, const char *word,
                                 size_t size)
{
    const char *at = text, *end = text + len;

    while (size > 0 && (size_t)(end - at) >= size) {
        at = memchr(at, word[0], (size_t)(end - at) - size + 1);
        if (at == NULL || memcmp(at, word, size) == 0)
            return at;
        at++;
    }
    return NULL;
}

char *patient_sought_part(char **rest, char mark)
{
    char *part = *rest, *end;

    if (part == NULL)
        return NULL;
    end = strchr(part, mark);
    *rest = end != NULL ? end + 1 : NULL;
    if (end != NULL)
        *end = '\0';
    return part;
}

/* ---- system and number -------------------------------------------------------- */

enum err patient_sought_owned(const struct seeking *s, const char *system,
                              const char *value, bool *owned)
{
    const enum query q = Q_PATIENT_BY_ALIAS;
    char alias[ALIAS_SIZE];
    enum err e;

    *owned = false;
    if (!alias_of_identifier(system, value, alias) ||
        patient_names_have(s->names, alias))
        return ERR_OK;
    e = db_first(s->db, q, "s", alias);
    *owned = e == ERR_OK;
    db_done(s->db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err patient_sought_number(const struct seeking *s, const char *system,
                               const char *value, enum sought *how)
{
    char alias[ALIAS_SIZE];
    bool owned = false;
    enum err e = ERR_OK;

    *how = SOUGHT_NOT;
    if (!patient_names_number(s->names, value))
        return ERR_OK;
    if (alias_of_identifier(system, value, alias) &&
        patient_names_have(s->names, alias)) {
        *how = SOUGHT_SURE;
        return ERR_OK;
    }
    e = patient_sought_owned(s, system, value, &owned);
    *how = owned ? SOUGHT_NOT : SOUGHT_PERHAPS;
    return e;
}

/* ---- what has no form --------------------------------------------------------------------- */

static int hex_of(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    c = (char)tolower((unsigned char)c);
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

static int byte_at(const char *at)
{
    int high = hex_of(at[0]), low = high >= 0 ? hex_of(at[1]) : -1;

    return low >= 0 ? 16 * high + low : -1;
}

/* An escape that stands here: how long it is, and its byte; 0: none.  Those of
 * JSON (\u0031), of a URL (%31), and of HL7 v2 (\X31\), one byte of it. */
static size_t escape_at(const char *at, size_t left, char *out)
{
    int byte = -1;
    size_t len = 0;

    if (left >= 6 && memcmp(at, "\\u00", 4) == 0)
        len = 6;
    else if (left >= 3 && at[0] == '%')
        len = 3;
    if (len > 0)
        byte = byte_at(at + len - 2);
    if (byte < 0)
        return 0;
    *out = (char)byte;
    return len;
}

/* The run of \X3132\ that stands here, in bytes that it becomes. */
static size_t run_at(const char *at, size_t left, char escape, char *out,
                     size_t *made)
{
    size_t i = 2;

    *made = 0;
    if (escape == '\0' || left < 5 || at[0] != escape || at[1] != 'X')
        return 0;
    for (; i + 2 < left && at[i] != escape; i += 2) {
        int byte = byte_at(at + i);

        if (byte < 0)
            return 0;
        out[(*made)++] = (char)byte;
    }
    return i < left && at[i] == escape ? i + 1 : 0;
}

/* Without escapes, as far as that can be known of what has no form. */
static size_t plain(const char *bytes, size_t len, char *out)
{
    bool is_v2 = len > 8 && memcmp(bytes, "MSH", 3) == 0;
    char escape = '\0';
    size_t at = 0, to = 0;

    if (is_v2)
        escape = bytes[6];
    while (at < len) {
        size_t made = 0;
        size_t step = run_at(bytes + at, len - at, escape, out + to, &made);

        if (step == 0 && (step = escape_at(bytes + at, len - at, out + to)) > 0)
            made = 1;
        if (step == 0) {
            out[to] = bytes[at];
            step = made = 1;
        }
        at += step;
        to += made;
    }
    return to;
}

static bool joins(char c)
{
    return isalnum((unsigned char)c) != 0;
}

/* As a whole word? */
static bool stands_in(const char *text, size_t len, const char *word)
{
    size_t size = strlen(word);
    const char *at = text, *end = text + len;

    while (size > 0 && (at = patient_sought_bytes(at, (size_t)(end - at), word,
                                                  size)) != NULL) {
        if ((at == text || !joins(at[-1])) &&
            (at + size == end || !joins(at[size])))
            return true;
        at++;
    }
    return false;
}

static enum err look_at_bytes(const struct seeking *s, const char *bytes,
                              size_t len, struct found *found)
{
    char *text = malloc(len + 1);
    size_t plain_len;

    if (text == NULL)
        return ERR_MEMORY;
    plain_len = plain(bytes, len, text);
    for (size_t i = 0; found->how == SOUGHT_NOT && i < s->names->count; i++) {
        if (stands_in(text, plain_len, s->names->list[i].value))
            found->how = SOUGHT_PERHAPS;
    }
    free(text);
    return ERR_OK;
}

/* Text without an escape names nobody whose value does not stand in it. */
static bool may_name(const struct seeking *s, const char *bytes, size_t len)
{
    if (memchr(bytes, '\\', len) != NULL || memchr(bytes, '%', len) != NULL)
        return true;
    for (size_t i = 0; i < s->names->count; i++) {
        const char *value = s->names->list[i].value;

        if (patient_sought_bytes(bytes, len, value, strlen(value)) != NULL)
            return true;
    }
    return false;
}

/* ---- all ----------------------------------------------------------------------- */

enum err patient_sought(const struct seeking *s, const char *source,
                        const char *bytes, size_t len, struct found *found)
{
    size_t mark = len >= 3 && memcmp(bytes, "\xef\xbb\xbf", 3) == 0 ? 3 : 0;
    enum err e = ERR_OK;

    *found = (struct found){ .how = SOUGHT_NOT };
    if (len - mark >= 3 && memcmp(bytes + mark, "MSH", 3) == 0)
        e = patient_sought_hl7(s, source, bytes, len, found);
    else if (may_name(s, bytes, len))
        e = patient_sought_json(s, bytes, len, found);
    return e == ERR_FORM ? look_at_bytes(s, bytes + mark, len - mark, found)
                         : e;
}
