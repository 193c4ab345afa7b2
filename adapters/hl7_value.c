#include "adapters/hl7_value.h"

#include "adapters/units.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Blanks around a text. */
static void trim(const char **text, size_t *len)
{
    while (*len > 0 && (*text)[0] == ' ') {
        (*text)++;
        (*len)--;
    }
    while (*len > 0 && (*text)[*len - 1] == ' ')
        (*len)--;
}

/* The sign of zero says nothing. */
static bool is_zero(const char *digits)
{
    return digits[strspn(digits, "0.")] == '\0';
}

static enum err read_number(const char *text, size_t len,
                            char out[HL7_NUMBER_SIZE])
{
    bool minus = len > 0 && text[0] == '-';
    size_t at = minus || (len > 0 && text[0] == '+') ? 1 : 0;
    size_t whole = at, point, end;
    char digits[HL7_NUMBER_SIZE];

    while (whole < len && is_digit(text[whole]))
        whole++;
    point = end = whole;
    if (point < len && text[point] == '.') {
        for (end = point + 1; end < len && is_digit(text[end]); end++)
            ;
    }
    if (end != len || (whole == at && end <= point + 1))
        return ERR_FORM;
    while (at < whole && text[at] == '0')
        at++;
    if (end - at > HL7_NUMBER_DIGITS + 1)
        return ERR_LIMIT;
    if (whole - at + (end > point ? end - point - 1 : 0) > HL7_NUMBER_DIGITS)
        return ERR_LIMIT;
    if (end == point + 1)
        end = point; /* "5." */
    snprintf(digits, sizeof(digits), "%s%.*s", at == whole ? "0" : "",
             (int)(end - at), text + at);
    snprintf(out, HL7_NUMBER_SIZE, "%s%.*s",
             minus && !is_zero(digits) ? "-" : "", HL7_NUMBER_SIZE - 2, digits);
    return ERR_OK;
}

enum err hl7_number_read(const char *text, char out[HL7_NUMBER_SIZE])
{
    size_t len = strlen(text);

    trim(&text, &len);
    return read_number(text, len, out);
}

enum err hl7_number_in_text(const char *text, char number[HL7_NUMBER_SIZE],
                            const char **unit)
{
    size_t len = strlen(text), digits;

    trim(&text, &len);
    for (digits = 0; digits < len && text[digits] != ' '; digits++)
        ;
    *unit = NULL;
    if (digits < len) {
        const char *rest = text + digits;
        size_t rest_len = len - digits;

        trim(&rest, &rest_len);
        if (units_of_text(rest, rest_len, unit) != ERR_OK)
            return ERR_FORM;
    }
    return read_number(text, digits, number);
}

/* ---- structured numerics ---------------------------------------------- */

static bool read_comparator(const char *text, const char **out)
{
    static const char *const known[] = { "<", "<=", ">=", ">" };

    *out = NULL;
    if (text[0] == '\0' || strcmp(text, "=") == 0)
        return true;
    for (size_t i = 0; i < COUNT(known); i++) {
        if (strcmp(known[i], text) == 0)
            *out = known[i];
    }
    return *out != NULL;
}

static enum err read_part(const char *const parts[HL7_SN_PARTS], int which,
                          char out[HL7_NUMBER_SIZE], int *at)
{
    *at = which;
    return hl7_number_read(parts[which - 1], out);
}

/* What a separator makes of two numbers. */
static enum err read_pair(const char *const parts[HL7_SN_PARTS],
                          struct hl7_sn *sn, int *at)
{
    bool range = strcmp(parts[2], "-") == 0;
    enum err e = read_part(parts, 2, sn->low, at);

    if (e == ERR_OK)
        e = read_part(parts, 4, sn->high, at);
    if (e != ERR_OK)
        return e;
    *at = 1;
    if (sn->comparator != NULL)
        return ERR_FORM; /* at least what, of a range? */
    *at = 4;
    if (range && strtod(sn->low, NULL) > strtod(sn->high, NULL))
        return ERR_FORM;
    sn->kind = range ? HL7_SN_RANGE : HL7_SN_RATIO;
    return ERR_OK;
}

/* "2+", of a test that is graded so. */
static enum err read_grade(const char *const parts[HL7_SN_PARTS],
                           struct hl7_sn *sn, int *at)
{
    enum err e = read_part(parts, 2, sn->low, at);

    if (e != ERR_OK)
        return e;
    *at = parts[3][0] != '\0' ? 4 : 1;
    if (parts[3][0] != '\0' || sn->comparator != NULL)
        return ERR_FORM;
    snprintf(sn->text, sizeof(sn->text), "%s+", sn->low);
    sn->kind = HL7_SN_TEXT;
    return ERR_OK;
}

enum err hl7_sn_read(const char *const parts[HL7_SN_PARTS], struct hl7_sn *out,
                     int *at)
{
    struct hl7_sn sn = { .kind = HL7_SN_EMPTY };
    enum err e = ERR_OK;

    *at = 1;
    if (!read_comparator(parts[0], &sn.comparator))
        return ERR_FORM;
    if (parts[0][0] == '\0' && parts[1][0] == '\0' && parts[2][0] == '\0' &&
        parts[3][0] == '\0') {
        *out = sn;
        return ERR_OK;
    }
    *at = 3;
    if (parts[2][0] == '\0') {
        sn.kind = HL7_SN_QUANTITY;
        e = parts[3][0] != '\0' ? ERR_FORM : read_part(parts, 2, sn.low, at);
    } else if (strcmp(parts[2], "-") == 0 || strcmp(parts[2], ":") == 0 ||
               strcmp(parts[2], "/") == 0) {
        e = read_pair(parts, &sn, at);
    } else if (strcmp(parts[2], "+") == 0) {
        e = read_grade(parts, &sn, at);
    } else {
        e = ERR_FORM;
    }
    if (e == ERR_OK)
        *out = sn;
    return e;
}
