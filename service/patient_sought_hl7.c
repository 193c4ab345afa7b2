/* Is a patient named in a message of HL7 v2? */
#include "adapters/hl7_oru.h"
#include "service/patient_sought.h"

#include <string.h>

enum { SPACE_MAX = 4096 };

/* One PID, as its numbers are read one after the other. */
struct person {
    unsigned ours;   /* that count, and are the patient's */
    unsigned theirs; /* that count, and are not */
    bool equal;      /* a number that is written as one of the patient's */
    bool known;      /* a number that counts is the name of somebody else */
};

struct look {
    const struct seeking *s;
    struct hl7_message *message;
    const struct hl7_profile *profile; /* NULL: nobody known sent it */
    struct buf system, number;
};

/* Without the blanks around it. */
static bool is_equal(struct look *l, const char *text)
{
    size_t len;
    bool equal;

    text += strspn(text, " \t");
    len = strlen(text);
    while (len > 0 && (text[len - 1] == ' ' || text[len - 1] == '\t'))
        len--;
    buf_empty(&l->number);
    buf_add(&l->number, text, len);
    equal =
        l->number.len > 0 && patient_names_number(l->s->names, l->number.data);
    return equal;
}

/* What counts for this sender is judged by system and number. */
static enum err judge(struct look *l, struct person *p)
{
    bool owned = false;
    enum sought how;
    enum err e = buf_ok(&l->system);

    if (e == ERR_OK)
        e = buf_ok(&l->number);
    if (e == ERR_OK)
        e = patient_sought_number(l->s, l->system.data, l->number.data, &how);
    if (e != ERR_OK)
        return e;
    if (how == SOUGHT_SURE) {
        p->ours++;
        return ERR_OK;
    }
    p->theirs++;
    e = patient_sought_owned(l->s, l->system.data, l->number.data, &owned);
    p->known = p->known || owned;
    return e;
}

/* PID-3 as the intake reads it; what older messages have beside it (PID-2,
 * PID-4, PID-18: HL7 v2.5.1, 3.4.2) has no system. */
static enum err read_person(struct look *l, size_t segment, struct person *p)
{
    static const int beside[] = { 2, 4, 18 };
    int count = (int)hl7_repetitions(l->message, segment, 3);
    enum err e = ERR_OK;

    *p = (struct person){ .ours = 0 };
    for (int k = 1; e == ERR_OK && k <= count; k++) {
        if (is_equal(l, hl7_text(l->message, segment, 3, k, 1, 1)))
            p->equal = true;
        if (l->profile != NULL &&
            hl7_oru_number(l->message, l->profile, segment, k, &l->system,
                           &l->number))
            e = judge(l, p);
    }
    for (size_t i = 0; e == ERR_OK && i < COUNT(beside); i++) {
        int repeats = (int)hl7_repetitions(l->message, segment, beside[i]);

        for (int k = 1; k <= repeats; k++) {
            if (is_equal(l, hl7_text(l->message, segment, beside[i], k, 1, 1)))
                p->equal = true;
        }
    }
    return e;
}

static enum sought how_sure(const struct person *p)
{
    if (p->ours > 0 && p->theirs == 0)
        return SOUGHT_SURE;
    if (p->ours > 0) /* two numbers that contradict each other */
        return SOUGHT_PERHAPS;
    return p->equal && !p->known ? SOUGHT_PERHAPS : SOUGHT_NOT;
}

/* The next PID at or after *segment, and how surely it is the patient's.
 * ERR_ABSENT: there is none. */
static enum err next_person(struct look *l, size_t *segment, enum sought *how)
{
    struct person person;
    enum err e;

    *segment = hl7_find(l->message, "PID", *segment);
    if (*segment >= hl7_segments(l->message))
        return ERR_ABSENT;
    e = read_person(l, (*segment)++, &person);
    *how = how_sure(&person);
    return e;
}

static enum err look_at_persons(struct look *l, struct found *found)
{
    size_t segment = 0;
    bool doubtful = false;
    enum sought how;
    enum err e;

    while ((e = next_person(l, &segment, &how)) == ERR_OK) {
        found->others = found->others || how == SOUGHT_NOT;
        doubtful = doubtful || how == SOUGHT_PERHAPS;
        if (how > found->how)
            found->how = how;
    }
    found->apart = found->how == SOUGHT_SURE && found->others && !doubtful;
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- the message as a whole ------------------------------------------------------ */

static enum err open_message(struct look *l, const struct seeking *s,
                             const char *source, const char *bytes, size_t len)
{
    struct hl7_message *message = NULL;
    struct hl7_fault fault;
    enum err e;

    *l = (struct look){ .s = s };
    if (s->senders != NULL && source != NULL)
        l->profile = hl7_senders_named(s->senders, source);
    e = hl7_read(bytes, len, l->profile != NULL ? l->profile->charset : NULL,
                 &message, &fault);
    if (e != ERR_OK)
        return e == ERR_MEMORY ? e : ERR_FORM;
    l->message = message;
    buf_init(&l->system, SPACE_MAX);
    buf_init(&l->number, HL7_MESSAGE_MAX);
    return ERR_OK;
}

static void close_message(struct look *l)
{
    buf_clear(&l->number);
    buf_clear(&l->system);
    hl7_free(l->message);
}

enum err patient_sought_hl7(const struct seeking *s, const char *source,
                            const char *bytes, size_t len, struct found *found)
{
    struct look l;
    enum err e = open_message(&l, s, source, bytes, len);

    if (e != ERR_OK)
        return e;
    e = look_at_persons(&l, found);
    close_message(&l);
    return e;
}

/* ---- without the patient ----------------------------------------------------------- */

static bool ends_line(char c)
{
    return c == '\r' || c == '\n';
}

/* A line and what ends it, which may be CR and LF. */
static size_t line_at(const char *bytes, size_t len)
{
    size_t at = 0;

    while (at < len && !ends_line(bytes[at]))
        at++;
    while (at < len && ends_line(bytes[at]))
        at++;
    return at;
}

static enum err copy_lines(struct look *l, const char *bytes, size_t len,
                           struct buf *out)
{
    size_t segment = 0;
    enum sought how = SOUGHT_NOT;
    enum err e = ERR_OK;

    while (e == ERR_OK && len > 0) {
        size_t line = line_at(bytes, len);

        /* what follows a PID is that patient's, up to the next */
        if (line >= 3 && memcmp(bytes, "PID", 3) == 0)
            e = next_person(l, &segment, &how);
        if (e == ERR_OK && how == SOUGHT_NOT)
            buf_add(out, bytes, line);
        bytes += line;
        len -= line;
    }
    /* a line that was read as a PID and is none, or the reverse */
    if (e == ERR_OK)
        e = next_person(l, &segment, &how) == ERR_ABSENT ? buf_ok(out)
                                                         : ERR_CONFLICT;
    return e == ERR_ABSENT ? ERR_CONFLICT : e;
}

enum err patient_sought_without(const struct seeking *s, const char *source,
                                const char *bytes, size_t len, struct buf *out)
{
    struct found found = { .how = SOUGHT_NOT };
    struct look l;
    enum err e = open_message(&l, s, source, bytes, len);

    if (e != ERR_OK)
        return e == ERR_FORM ? ERR_CONFLICT : e;
    e = look_at_persons(&l, &found);
    if (e == ERR_OK)
        e = found.apart ? copy_lines(&l, bytes, len, out) : ERR_CONFLICT;
    close_message(&l);
    return e;
}
