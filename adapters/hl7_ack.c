/*
 * The answer is written from the first segment of the message in the bytes in
 * which it came: what is echoed is echoed byte for byte, in whatever character
 * set, and the same code serves a message that could not be taken apart.  All
 * that is our own is ASCII.
 */
#include "adapters/hl7_ack.h"

#include "adapters/civil.h"
#include "adapters/hl7_ack_work.h"
#include "adapters/hl7_work.h"

#include <stdio.h>
#include <string.h>

enum {
    NAME_MAX = 250,     /* MSH-3 to MSH-6; longest in the standard: 227 */
    CONTROL_MAX = 1000, /* MSH-10; longest in the standard: 199 */
    SHORT_MAX = 250     /* other fields */
};

struct answer {
    struct hl7_ack_head head; /* of what is answered */
    struct hl7_delimiters d;
    struct buf *out;
};

/* ---- what can be given back ------------------------------------------------ */

/* How much of it may stand within a segment: nothing that ends one, or a
 * frame. */
static size_t clean(const struct answer *a, struct hl7_ack_span value)
{
    for (size_t i = 0; i < value.len; i++) {
        unsigned char c = (unsigned char)value.at[i];

        /* ESC begins another set in ISO 2022. */
        if (c < ' ' && c != 0x1b && c != '\t')
            return i;
        /* Only where the delimiters of the message could not be kept. */
        if (a->head.separator != a->d.field && value.at[i] == a->d.field)
            return i;
    }
    return value.len;
}

/* ---- text ----------------------------------------------------------------- */

/* 0: it is no delimiter. */
static char letter_of(const struct hl7_delimiters *d, char c)
{
    if (c == d->field)
        return 'F';
    if (c == d->component)
        return 'S';
    if (c == d->repetition)
        return 'R';
    if (c == d->escape)
        return 'E';
    if (c == d->subcomponent)
        return 'T';
    return c == d->truncation ? 'P' : '\0';
}

/* ASCII without delimiters; what is not ASCII becomes one sign a character. */
static void text(const struct answer *a, const char *from)
{
    for (; *from != '\0'; from++) {
        unsigned char c = (unsigned char)*from;
        char letter = letter_of(&a->d, *from);

        if (c >= 0x80 && c < 0xc0)
            continue;
        if (letter != '\0' && a->d.escape != '\0')
            buf_printf(a->out, "%c%c%c", a->d.escape, letter, a->d.escape);
        else if (letter != '\0' || c < ' ' || c == 0x7f)
            buf_add(a->out, " ", 1);
        else
            buf_add(a->out, c < 0x80 ? from : "?", 1);
    }
}

static void sign(const struct answer *a, char c)
{
    if (c != '\0')
        buf_add(a->out, &c, 1);
}

static void fields(const struct answer *a, int count)
{
    while (count-- > 0)
        sign(a, a->d.field);
}

static void number(const struct answer *a, int value)
{
    buf_printf(a->out, "%d", value);
}

/* Is there a field that can be given back as it came? */
static bool can_echo(const struct answer *a, int field, size_t most)
{
    struct hl7_ack_span value = hl7_ack_field(&a->head, field);

    return value.len > 0 && value.len <= most && clean(a, value) == value.len;
}

/* The field as it came, or else the text given. */
static void echo(const struct answer *a, int field, size_t most,
                 const char *other)
{
    struct hl7_ack_span value = hl7_ack_field(&a->head, field);

    if (can_echo(a, field, most))
        buf_add(a->out, value.at, value.len);
    else
        text(a, other);
}

/* ---- segments ------------------------------------------------------------- */

/* The version as 10 * 5 + 1 for 2.5.1; 0 if it is none of the second. */
static int version_of(const struct answer *a)
{
    struct hl7_ack_span v = hl7_ack_field(&a->head, 12);
    int version;

    if (v.len < 3 || memcmp(v.at, "2.", 2) != 0 || v.at[2] < '0' ||
        v.at[2] > '9')
        return 0;
    version = 10 * (v.at[2] - '0');
    if (v.len >= 5 && v.at[3] == '.' && v.at[4] >= '0' && v.at[4] <= '9')
        version += v.at[4] - '0';
    return version;
}

static void write_time(const struct answer *a, int64_t at_s)
{
    int64_t day = civil_day_of_s(at_s), s = at_s - day * DAY_S;
    struct civil date = civil_of_day(day);
    char stamp[64];

    snprintf(stamp, sizeof(stamp), "%04d%02d%02d%02d%02d%02d+0000", date.year,
             date.month, date.day, (int)(s / 3600), (int)(s / 60 % 60),
             (int)(s % 60));
    text(a, stamp);
}

/* ACK^R01^ACK; before 2.3.1 there is no name of a structure. */
static void write_type(const struct answer *a, int version)
{
    struct hl7_ack_span type = hl7_ack_field(&a->head, 9);
    const char *end = type.at + type.len;
    const char *event = hl7_part_end(type.at, end, a->d.component), *stop;

    buf_puts(a->out, "ACK");
    if (event == end)
        return;
    event++;
    stop = hl7_part_end(event, end, a->d.component);
    if (stop - event != 3 || hl7_name_number(event, 3, a->d.field) < 0)
        return;
    sign(a, a->d.component);
    buf_add(a->out, event, 3);
    if (version > 0 && version < 31)
        return;
    sign(a, a->d.component);
    buf_puts(a->out, "ACK");
}

static void write_msh(const struct answer *a, const char *control, int64_t at_s,
                      int version)
{
    static const int from[] = { 5, 6, 3, 4 };

    buf_puts(a->out, "MSH");
    sign(a, a->d.field);
    sign(a, a->d.component);
    sign(a, a->d.repetition);
    sign(a, a->d.escape);
    sign(a, a->d.subcomponent);
    sign(a, a->d.truncation);
    for (size_t i = 0; i < COUNT(from); i++) {
        fields(a, 1);
        echo(a, from[i], NAME_MAX, "");
    }
    fields(a, 1);
    write_time(a, at_s);
    fields(a, 2);
    write_type(a, version);
    fields(a, 1);
    text(a, control);
    fields(a, 1);
    echo(a, 11, SHORT_MAX, "P");
    fields(a, 1);
    echo(a, 12, SHORT_MAX, "2.5.1");
    if (can_echo(a, 18, SHORT_MAX)) {
        fields(a, 6);
        echo(a, 18, SHORT_MAX, "");
    }
    buf_add(a->out, "\r", 1);
}

/* The first of the errors; NULL: there is none. */
static const struct hl7_issue *first_error(const struct hl7_issues *issues)
{
    for (size_t i = 0; issues != NULL && i < issues->count; i++) {
        if (issues->list[i].severity == HL7_ERROR)
            return &issues->list[i];
    }
    return NULL;
}

static void write_msa(const struct answer *a, enum hl7_answer answer,
                      const struct hl7_issue *said)
{
    struct hl7_ack_span control = hl7_ack_field(&a->head, 10);

    control.len = control.len < CONTROL_MAX ? control.len : CONTROL_MAX;
    buf_puts(a->out, "MSA");
    fields(a, 1);
    buf_puts(a->out, hl7_answer_word(answer));
    fields(a, 1);
    buf_add(a->out, control.at, clean(a, control));
    if (said != NULL) {
        fields(a, 1);
        text(a, said->text);
    }
    buf_add(a->out, "\r", 1);
}

/* code^text^HL70357, between signs of the level. */
static void write_code(const struct answer *a, enum hl7_error code,
                       char between)
{
    number(a, (int)code);
    if (between == '\0')
        return;
    sign(a, between);
    text(a, hl7_error_text(code));
    sign(a, between);
    buf_puts(a->out, "HL70357");
}

/* ERR-2, as deep as it is known: OBX^3^5^1^1. */
static void write_place(const struct answer *a, const struct hl7_place *place)
{
    /* What stands in a repetition that is not named is in the first. */
    int repetition =
        place->repetition < 1 && place->component > 0 ? 1 : place->repetition;
    const int at[] = { place->sequence, place->field, repetition,
                       place->component, place->subcomponent };

    text(a, place->segment);
    for (size_t i = 0; i < COUNT(at) && at[i] > 0; i++) {
        sign(a, a->d.component);
        number(a, at[i]);
    }
}

/* ERR-1 as before 2.5: OBX^3^5^102&Data type error&HL70357. */
static void write_old_error(const struct answer *a,
                            const struct hl7_issue *issue)
{
    text(a, issue->place.segment);
    sign(a, a->d.component);
    if (issue->place.sequence > 0)
        number(a, issue->place.sequence);
    sign(a, a->d.component);
    if (issue->place.field > 0)
        number(a, issue->place.field);
    sign(a, a->d.component);
    write_code(a, issue->code, a->d.subcomponent);
}

/* 2.5 and later: a segment for each. */
static void write_errors(const struct answer *a,
                         const struct hl7_issues *issues)
{
    static const char *const severities[] = {
        [HL7_INFORMATION] = "I", [HL7_WARNING] = "W", [HL7_ERROR] = "E"
    };

    for (size_t i = 0; i < issues->count; i++) {
        const struct hl7_issue *issue = &issues->list[i];

        buf_puts(a->out, "ERR");
        fields(a, 2);
        write_place(a, &issue->place);
        fields(a, 1);
        write_code(a, issue->code, a->d.component);
        fields(a, 1);
        buf_puts(a->out, severities[issue->severity]);
        fields(a, 4);
        text(a, issue->text);
        if (i + 1 == issues->count && issues->dropped > 0) {
            text(a, " and more: ");
            buf_printf(a->out, "%zu", issues->dropped);
        }
        buf_add(a->out, "\r", 1);
    }
}

/* Before 2.5: one segment, its only field repeated for each error. */
static void write_old_errors(const struct answer *a,
                             const struct hl7_issues *issues)
{
    bool first = true;

    for (size_t i = 0; i < issues->count; i++) {
        if (issues->list[i].severity != HL7_ERROR)
            continue;
        if (first) {
            buf_puts(a->out, "ERR");
            sign(a, a->d.field);
        } else {
            sign(a, a->d.repetition);
        }
        first = false;
        write_old_error(a, &issues->list[i]);
    }
    if (!first)
        buf_add(a->out, "\r", 1);
}

void hl7_ack_write(const struct hl7_message *message, const char *head,
                   size_t head_len, enum hl7_answer answer, const char *control,
                   int64_t at_s, const struct hl7_issues *issues,
                   struct buf *out)
{
    struct answer a = { .head = hl7_ack_look(message, head, head_len),
                        .out = out };
    int version;
    bool old;

    a.d = a.head.d;
    version = version_of(&a);
    old = version > 0 && version < 50;
    write_msh(&a, control, at_s, version);
    write_msa(&a, answer, old ? first_error(issues) : NULL);
    if (issues == NULL)
        return;
    if (old)
        write_old_errors(&a, issues);
    else
        write_errors(&a, issues);
}
