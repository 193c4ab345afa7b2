#include "adapters/fhir_out.h"

#include <math.h>
#include <string.h>

/* Length of the valid UTF-8 character at text, 0 if there is none. */
static size_t utf8_len(const unsigned char *text)
{
    unsigned c = text[0], second_low = 0x80, second_high = 0xbf;
    size_t len = c < 0x80 ? 1 : c < 0xe0 ? 2 : c < 0xf0 ? 3 : 4;

    if (len == 1)
        return 1;
    if (c < 0xc2 || c > 0xf4)
        return 0;
    /* Neither longer than needed, nor a surrogate, nor beyond U+10FFFF. */
    if (c == 0xe0)
        second_low = 0xa0;
    else if (c == 0xed)
        second_high = 0x9f;
    else if (c == 0xf0)
        second_low = 0x90;
    else if (c == 0xf4)
        second_high = 0x8f;
    if (text[1] < second_low || text[1] > second_high)
        return 0;
    for (size_t i = 2; i < len; i++) {
        if (text[i] < 0x80 || text[i] > 0xbf) /* also the end of the text */
            return 0;
    }
    return len;
}

/* U+0080 to U+009F are control characters too. */
static bool is_control(const unsigned char *c, size_t len)
{
    return (len == 1 && (c[0] < 0x20 || c[0] == 0x7f) && c[0] != '\n') ||
           (len == 2 && c[0] == 0xc2 && c[1] < 0xa0);
}

static bool has_ink(const char *text)
{
    const unsigned char *at = (const unsigned char *)text;

    while (*at != '\0') {
        size_t len = utf8_len(at);

        if (len > 0 && *at != ' ' && *at != '\n' && !is_control(at, len))
            return true;
        at += len > 0 ? len : 1;
    }
    return false;
}

/* How many characters of ASCII stand for themselves. */
static size_t plain_len(const unsigned char *text)
{
    size_t len = 0;

    while (text[len] >= 0x20 && text[len] < 0x7f && text[len] != '"' &&
           text[len] != '\\')
        len++;
    return len;
}

/* The characters of a string, as JSON spells them. */
static void put_characters(struct buf *b, const char *text)
{
    const unsigned char *at = (const unsigned char *)text;

    while (*at != '\0') {
        size_t plain = plain_len(at), len;

        buf_add(b, at, plain);
        at += plain;
        len = utf8_len(at);
        if (*at == '\0')
            return;
        if (len == 0) {
            at++;
            continue;
        }
        if (is_control(at, len))
            buf_puts(b, " ");
        else if (*at == '\n')
            buf_puts(b, "\\n");
        else if (*at == '"' || *at == '\\')
            buf_printf(b, "\\%c", *at);
        else
            buf_add(b, at, len);
        at += len;
    }
}

/* The comma, if something stands before, and the key. */
static void begin(struct buf *b, const char *key)
{
    char last = '{';

    if (b->len > 0)
        last = b->data[b->len - 1];
    if (last != '{' && last != '[' && last != ':')
        buf_puts(b, ",");
    if (key == NULL)
        return;
    buf_puts(b, "\"");
    put_characters(b, key);
    buf_puts(b, "\":");
}

void fhir_out_open(struct buf *b, const char *key, char bracket)
{
    begin(b, key);
    buf_add(b, &bracket, 1);
}

void fhir_out_close(struct buf *b, char bracket)
{
    buf_add(b, &bracket, 1);
}

void fhir_out_text(struct buf *b, const char *key, const char *text)
{
    fhir_out_join(b, key, text, "");
}

void fhir_out_join(struct buf *b, const char *key, const char *base,
                   const char *rest)
{
    if (base == NULL || rest == NULL || (!has_ink(base) && !has_ink(rest)))
        return;
    begin(b, key);
    buf_puts(b, "\"");
    put_characters(b, base);
    put_characters(b, rest);
    buf_puts(b, "\"");
}

void fhir_out_int(struct buf *b, const char *key, long long value)
{
    begin(b, key);
    buf_printf(b, "%lld", value);
}

void fhir_out_decimal(struct buf *b, const char *key, double value)
{
    if (!isfinite(value))
        return;
    begin(b, key);
    /* Fifteen digits give back what a person typed into a file; JSON has no
     * use for an exponent here, and whole numbers stay whole. */
    if (fabs(value) < 1e15 && value == floor(value))
        buf_printf(b, "%.0f", value);
    else
        buf_printf(b, "%.15g", value);
}

void fhir_out_bool(struct buf *b, const char *key, bool value)
{
    begin(b, key);
    buf_puts(b, value ? "true" : "false");
}

void fhir_out_raw(struct buf *b, const char *key, const char *json, size_t len)
{
    size_t from = 0;
    bool in_string = false;

    begin(b, key);
    for (size_t i = 0; i < len; i++) {
        if (in_string && json[i] == '\\') {
            i++;
        } else if (json[i] == '"') {
            in_string = !in_string;
        } else if (!in_string && strchr(" \t\r\n", json[i]) != NULL) {
            buf_add(b, json + from, i - from);
            from = i + 1;
        }
    }
    if (from < len)
        buf_add(b, json + from, len - from);
}

void fhir_out_concept(struct buf *b, const char *key, const char *base,
                      const char *system, const char *code, const char *display,
                      const char *text)
{
    if (code == NULL && text == NULL)
        return;
    fhir_out_open(b, key, '{');
    if (code != NULL) {
        fhir_out_open(b, "coding", '[');
        fhir_out_open(b, NULL, '{');
        fhir_out_join(b, "system", base, system);
        fhir_out_text(b, "code", code);
        fhir_out_text(b, "display", display);
        fhir_out_close(b, '}');
        fhir_out_close(b, ']');
    }
    fhir_out_text(b, "text", text);
    fhir_out_close(b, '}');
}

void fhir_out_identifier(struct buf *b, const char *key, const char *base,
                         const char *system, const char *value)
{
    fhir_out_open(b, key, '{');
    if (system != NULL)
        fhir_out_join(b, "system", base, system);
    fhir_out_text(b, "value", value);
    fhir_out_close(b, '}');
}

void fhir_out_literal(struct buf *b, const char *key,
                      const struct fhir_out_ref *ref)
{
    if (ref->literal == NULL)
        return;
    begin(b, key);
    buf_puts(b, "\"");
    put_characters(b, ref->literal);
    if (ref->version != NULL) {
        buf_puts(b, "/_history/");
        put_characters(b, ref->version);
    }
    buf_puts(b, "\"");
}

void fhir_out_ref(struct buf *b, const char *key,
                  const struct fhir_out_ref *ref)
{
    if (ref->literal == NULL && ref->value == NULL && ref->display == NULL)
        return;
    fhir_out_open(b, key, '{');
    fhir_out_literal(b, "reference", ref);
    fhir_out_text(b, "type", ref->type);
    if (ref->literal == NULL && ref->value != NULL)
        fhir_out_identifier(b, "identifier", "", ref->system, ref->value);
    fhir_out_text(b, "display", ref->display);
    fhir_out_close(b, '}');
}
