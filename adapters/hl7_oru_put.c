#include "adapters/codes.h"
#include "adapters/fhir_out.h"
#include "adapters/hl7_oru_work.h"
#include "adapters/units.h"

#include <stdio.h>
#include <string.h>

/* ---- texts ------------------------------------------------------------- */

/*
 * A control character beyond ASCII, or a blank of Unicode other than the usual
 * one: its length, else 0.  To some readers of FHIR these are no characters of a
 * string (the regular expression of R4's string is understood in two ways).
 */
static size_t odd_blank(const unsigned char *at)
{
    if (at[0] == 0xc2 && at[1] >= 0x80 && at[1] <= 0xa0)
        return 2;
    if (at[0] == 0xe1 && at[1] == 0x9a && at[2] == 0x80)
        return 3;
    if (at[0] == 0xe2 && at[1] == 0x80 &&
        ((at[2] >= 0x80 && at[2] <= 0x8a) || at[2] == 0xa8 || at[2] == 0xa9 ||
         at[2] == 0xaf))
        return 3;
    if (at[0] == 0xe2 && at[1] == 0x81 && at[2] == 0x9f)
        return 3;
    if (at[0] == 0xe3 && at[1] == 0x80 && at[2] == 0x80)
        return 3;
    return at[0] == 0xef && at[1] == 0xbb && at[2] == 0xbf ? 3 : 0;
}

bool oru_says(const char *text)
{
    const unsigned char *at = (const unsigned char *)text;

    while (*at != '\0') {
        size_t blank = odd_blank(at);

        if (blank == 0 && *at > ' ' && *at != 0x7f)
            return true;
        at += blank > 0 ? blank : 1;
    }
    return false;
}

void oru_add_plain(struct buf *out, const char *text)
{
    const unsigned char *from = (const unsigned char *)text, *at = from;

    while (*at != '\0') {
        size_t blank = odd_blank(at);

        if (blank > 0) {
            buf_add(out, from, (size_t)(at - from));
            buf_puts(out, " ");
            from = at + blank;
        }
        at += blank > 0 ? blank : 1;
    }
    buf_add(out, from, (size_t)(at - from));
}

bool oru_is_code(const char *text)
{
    const unsigned char *at = (const unsigned char *)text;
    size_t len = strlen(text);

    if (len == 0 || len > ORU_CODE_MAX)
        return false;
    for (size_t i = 0; i < len; i++) {
        bool inner = i > 0 && i + 1 < len && at[i - 1] != ' ';

        if (at[i] < ' ' || at[i] == 0x7f || odd_blank(at + i) > 0 ||
            (at[i] == ' ' && !inner))
            return false;
    }
    return true;
}

/* ---- pieces ------------------------------------------------------------ */

struct oru_mark oru_open(struct buf *b, const char *key, char bracket)
{
    struct oru_mark mark = { .before = b->len };

    fhir_out_open(b, key, bracket);
    mark.inside = b->len;
    return mark;
}

void oru_close(struct buf *b, struct oru_mark mark, char bracket)
{
    if (b->len > mark.inside) {
        fhir_out_close(b, bracket);
        return;
    }
    /* Nothing went into it: FHIR knows no empty objects and lists. */
    if (b->len == mark.inside && b->len > mark.before) {
        b->len = mark.before;
        b->data[b->len] = '\0';
    }
}

void oru_put_display(struct buf *b, const char *key, const char *text)
{
    char cut[ORU_DISPLAY_MAX + 1];
    struct buf plain;

    if (!oru_says(text))
        return;
    /* a character that is cut in two is dropped by the writer */
    snprintf(cut, sizeof(cut), "%s", text);
    buf_init(&plain, sizeof(cut));
    oru_add_plain(&plain, cut);
    if (buf_ok(&plain) != ERR_OK)
        b->err = plain.err;
    else if (oru_says(plain.data))
        fhir_out_text(b, key, plain.data);
    buf_clear(&plain);
}

void oru_put_begin(struct oru *o, const char *type)
{
    struct buf *b = &o->out->bundle;

    fhir_out_open(b, NULL, '{');
    fhir_out_open(b, "resource", '{');
    fhir_out_text(b, "resourceType", type);
    fhir_out_open(b, "meta", '{');
    fhir_out_text(b, "source", o->source.data);
    fhir_out_close(b, '}');
}

void oru_put_end(struct oru *o, const char *type, const char *system,
                 const char *number)
{
    struct buf *b = &o->out->bundle;

    fhir_out_close(b, '}');
    fhir_out_open(b, "request", '{');
    fhir_out_text(b, "method", "POST");
    fhir_out_text(b, "url", type);
    if (system != NULL) {
        buf_empty(&o->text);
        buf_puts(&o->text, "identifier=");
        hl7_url_part(system, &o->text);
        buf_puts(&o->text, "%7C");
        hl7_url_part(number, &o->text);
        fhir_out_text(b, "ifNoneExist", o->text.data);
        o->err = o->err == ERR_OK ? buf_ok(&o->text) : o->err;
    }
    fhir_out_close(b, '}');
    fhir_out_close(b, '}');
}

void oru_put_logical(struct buf *b, const char *key, const char *type,
                     const char *system, const char *value)
{
    fhir_out_open(b, key, '{');
    fhir_out_text(b, "type", type);
    fhir_out_identifier(b, "identifier", "", system, value);
    fhir_out_close(b, '}');
}

/* ---- concepts ---------------------------------------------------------- */

static void put_coding(struct oru *o, const char *code, const char *display,
                       const char *system)
{
    struct buf *b = &o->out->bundle;

    if (!oru_is_code(code) || strlen(system) > ORU_CODE_MAX)
        return;
    buf_empty(&o->id);
    hl7_system_uri(o->profile, system, &o->id);
    fhir_out_open(b, NULL, '{');
    fhir_out_text(b, "system", o->id.data);
    fhir_out_text(b, "code", code);
    oru_put_display(b, "display", display);
    fhir_out_close(b, '}');
    o->err = o->err == ERR_OK ? buf_ok(&o->id) : o->err;
}

/* The first of several texts that says something. */
static const char *first_of(const char *const *texts, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (oru_says(texts[i]))
            return texts[i];
    }
    return "";
}

void oru_put_concept(struct oru *o, const char *key, size_t segment, int field,
                     int repetition)
{
    struct buf *b = &o->out->bundle;
    const char *c[10] = { NULL };
    struct oru_mark concept, list;

    for (int i = 1; i <= 9; i++)
        c[i] = oru_text(o, segment, field, repetition, i);
    concept = oru_open(b, key, '{');
    list = oru_open(b, "coding", '[');
    put_coding(o, c[1], c[2], c[3]);
    put_coding(o, c[4], c[5], c[6]);
    oru_close(b, list, ']');
    oru_put_display(
        b, "text",
        first_of((const char *const[]){ c[9], c[2], c[5], c[1], c[4] }, 5));
    oru_close(b, concept, '}');
}

void oru_put_concept_in(struct oru *o, const char *key, size_t segment,
                        int field, int component)
{
    struct buf *b = &o->out->bundle;
    struct oru_mark concept, list;
    const char *s[4] = { NULL };

    for (int i = 1; i <= 3; i++)
        s[i] = hl7_text(o->message, segment, field, 1, component, i);
    concept = oru_open(b, key, '{');
    list = oru_open(b, "coding", '[');
    put_coding(o, s[1], s[2], s[3]);
    oru_close(b, list, ']');
    oru_put_display(b, "text",
                    first_of((const char *const[]){ s[2], s[1] }, 2));
    oru_close(b, concept, '}');
}

/* ID and IS name no system; alone, these two letters are those of table 0136,
 * yes and no. */
static bool is_yes_no(const char *code)
{
    return strcmp(code, "Y") == 0 || strcmp(code, "N") == 0;
}

void oru_put_code(struct oru *o, const char *key, const char *code)
{
    struct buf *b = &o->out->bundle;
    struct oru_mark concept = oru_open(b, key, '{');
    struct oru_mark list = oru_open(b, "coding", '[');

    put_coding(o, code, "", is_yes_no(code) ? "HL70136" : "");
    oru_close(b, list, ']');
    oru_put_display(b, "text", code);
    oru_close(b, concept, '}');
}

/* ---- quantities -------------------------------------------------------- */

/* Is it itself a code of UCUM that is known here? */
static bool is_ucum(const char *text)
{
    const char *code;

    return units_of_text(text, strlen(text), &code) == ERR_OK &&
           strcmp(code, text) == 0;
}

/* Are these two codes of one unit, "mL" and "ml" say?  They are if something
 * that is measured in it has the same value in both. */
static bool is_same_unit(const char *a, const char *b)
{
    double x, y;

    if (strcmp(a, b) == 0)
        return true;
    for (int q = 0; q < QUANTITY_COUNT; q++) {
        if (units_convert((enum quantity)q, a, strlen(a), 1, &x) == ERR_OK &&
            units_convert((enum quantity)q, b, strlen(b), 1, &y) == ERR_OK)
            return !(x < y) && !(y < x);
    }
    return false;
}

/* Do code and text of OBX-6, from this component on, name different units? */
static bool is_torn(const struct oru *o, size_t segment, int first)
{
    const char *id = oru_text(o, segment, 6, 1, first);
    const char *text = oru_text(o, segment, 6, 1, first + 1);
    const char *of_id, *of_text;

    return units_of_text(id, strlen(id), &of_id) == ERR_OK &&
           units_of_text(text, strlen(text), &of_text) == ERR_OK &&
           !is_same_unit(of_id, of_text);
}

bool oru_units_differ(const struct oru *o, size_t segment)
{
    static const int parts[] = { 1, 2, 4, 5 };
    const char *units[COUNT(parts)] = { NULL };

    for (size_t i = 0; i < COUNT(parts); i++) {
        const char *text = oru_text(o, segment, 6, 1, parts[i]);
        const char *unit;

        if (units_of_text(text, strlen(text), &unit) == ERR_OK)
            units[i] = unit;
    }
    for (size_t i = 0; i < 2; i++) {
        for (size_t j = 2; j < COUNT(parts); j++) {
            if (units[i] != NULL && units[j] != NULL &&
                !is_same_unit(units[i], units[j]))
                return true;
        }
    }
    return false;
}

/*
 * The UCUM code of OBX-6; NULL: it names none.  A triplet whose system says so
 * is believed, whatever code it holds; one without a system, if the text is
 * exactly a code.
 */
static const char *unit_code(const struct oru *o, size_t segment)
{
    for (int first = 1; first <= 4; first += 3) {
        const char *code = oru_text(o, segment, 6, 1, first);
        const char *system = oru_text(o, segment, 6, 1, first + 2);

        if (oru_is_code(code) && strchr(code, ' ') == NULL &&
            !is_torn(o, segment, first) &&
            (strcmp(system, "UCUM") == 0 ||
             (first == 1 && system[0] == '\0' && is_ucum(code))))
            return code;
    }
    return NULL;
}

/*
 * The unit for people, from which a reader may conclude what is meant.  Where
 * code and text name different units both are shown, and nobody concludes
 * anything.
 */
static void unit_text(struct oru *o, size_t segment)
{
    const char *id = oru_text(o, segment, 6, 1, 1);
    const char *text = oru_text(o, segment, 6, 1, 2);
    const char *code;

    buf_empty(&o->id);
    if (is_torn(o, segment, 1))
        buf_printf(&o->id, "%s / %s", id, text);
    else if (units_of_text(id, strlen(id), &code) == ERR_OK || !oru_says(text))
        buf_puts(&o->id, id);
    else
        buf_puts(&o->id, text);
}

void oru_put_quantity(struct oru *o, const char *key, size_t segment,
                      const char *comparator, const char *number,
                      const char *unit)
{
    struct buf *b = &o->out->bundle;
    const char *code = unit != NULL ? unit : unit_code(o, segment);

    fhir_out_open(b, key, '{');
    fhir_out_raw(b, "value", number, strlen(number));
    fhir_out_text(b, "comparator", comparator);
    if (code != NULL) {
        fhir_out_text(b, "unit", code);
        fhir_out_text(b, "system", CODES_UCUM);
        fhir_out_text(b, "code", code);
    } else {
        unit_text(o, segment);
        oru_put_display(b, "unit", o->id.data);
        o->err = o->err == ERR_OK ? buf_ok(&o->id) : o->err;
    }
    fhir_out_close(b, '}');
}
