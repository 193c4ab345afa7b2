#include "adapters/fhir_out.h"
#include "adapters/hl7_oru_work.h"

#include <string.h>

/* Bytes of a blank that begins here: a plain one, a tab, a no-break one. */
static size_t blank_at(const char *text)
{
    if (*text == ' ' || *text == '\t')
        return 1;
    return strncmp(text, "\xc2\xa0", 2) == 0 ? 2 : 0;
}

/* A number without the blanks around it: a number that is padded in one message
 * and not in the next is that of one person. */
static const char *number_of(const struct oru *o, size_t segment,
                             int repetition, size_t *len)
{
    const char *text = oru_text(o, segment, 3, repetition, 1);

    while (blank_at(text) > 0)
        text += blank_at(text);
    *len = strlen(text);
    for (;;) {
        if (*len >= 1 && blank_at(text + *len - 1) == 1)
            *len -= 1;
        else if (*len >= 2 && blank_at(text + *len - 2) == 2)
            *len -= 2;
        else
            return text;
    }
}

/* A name without or with its identifier (HD): the first says it, else the
 * second. component 0: the field is the name; else that component of it. */
static const char *name_in(const struct oru *o, size_t segment, int field,
                           int repetition, int component)
{
    const struct hl7_message *m = o->message;

    for (int part = 1; part <= 2; part++) {
        const char *text =
            component == 0
                ? hl7_text(m, segment, field, repetition, part, 1)
                : hl7_text(m, segment, field, repetition, component, part);

        if (oru_says(text) && strcmp(text, "\"\"") != 0)
            return text;
    }
    return "";
}

static const char *authority_of(const struct oru *o, size_t segment,
                                int repetition)
{
    return name_in(o, segment, 3, repetition, 4);
}

/* Equal numbers of two authorities are those of two people, where nothing says
 * that all count alike. */
static bool is_same_number(const struct oru *o, size_t segment, int a, int b)
{
    bool alike = o->profile->patient_system[0] != '\0' ||
                 o->profile->patient_authority[0] != '\0';
    const char *of_a = authority_of(o, segment, a);
    const char *of_b = authority_of(o, segment, b);
    size_t len_a, len_b;
    const char *text_a = number_of(o, segment, a, &len_a);
    const char *text_b = number_of(o, segment, b, &len_b);

    return len_a == len_b && memcmp(text_a, text_b, len_a) == 0 &&
           (alike || of_a[0] == '\0' || of_b[0] == '\0' ||
            strcmp(of_a, of_b) == 0);
}

/* Is it one of the numbers that count, by whose and what kind it is? */
static bool counts(const struct oru *o, size_t segment, int repetition)
{
    const char *authority = o->profile->patient_authority;
    const char *type = o->profile->patient_type;

    if (!oru_says(oru_text(o, segment, 3, repetition, 1)))
        return false;
    if (type[0] != '\0' &&
        strcmp(oru_text(o, segment, 3, repetition, 5), type) != 0)
        return false;
    return authority[0] == '\0' ||
           strcmp(oru_text(o, segment, 3, repetition, 4), authority) == 0;
}

/*
 * The repetition of PID-3 that counts.  The same number twice is one, and the
 * one that says whose it is; two that differ are two, and nobody but the
 * settings can say which is meant.
 */
static int find_number(const struct oru *o, size_t segment, bool *several)
{
    int count = (int)hl7_repetitions(o->message, segment, 3), found = 0;

    *several = false;
    for (int i = 1; i <= count; i++) {
        if (!counts(o, segment, i))
            continue;
        if (found != 0 && !is_same_number(o, segment, found, i))
            *several = true;
        if (found == 0 || (authority_of(o, segment, found)[0] == '\0' &&
                           authority_of(o, segment, i)[0] != '\0'))
            found = i;
    }
    return found;
}

/* False: a name is longer than can be kept apart. */
static bool put_system(struct oru *o, size_t segment, int repetition)
{
    const struct hl7_profile *p = o->profile;
    struct hl7_number_space space = { "", "", "" };

    if (p->patient_system[0] == '\0' && p->patient_authority[0] == '\0')
        space.authority = authority_of(o, segment, repetition);
    if (space.authority[0] == '\0' && p->facility[0] == '\0') {
        space.application = name_in(o, 0, 3, 1, 0);
        space.facility = name_in(o, 0, 4, 1, 0);
    }
    if (p->patient_system[0] == '\0' && p->patient_authority[0] == '\0' &&
        (strlen(space.authority) > ORU_SPACE_MAX ||
         strlen(space.application) > ORU_SPACE_MAX ||
         strlen(space.facility) > ORU_SPACE_MAX))
        return false;
    hl7_patient_system(p, &space, &o->system);
    return true;
}

bool hl7_oru_number(const struct hl7_message *message,
                    const struct hl7_profile *profile, size_t segment,
                    int repetition, struct buf *system, struct buf *number)
{
    struct oru o = { .message = message, .profile = profile };
    const char *text;
    size_t len;
    bool known;

    buf_empty(system);
    buf_empty(number);
    if (!counts(&o, segment, repetition))
        return false;
    text = number_of(&o, segment, repetition, &len);
    buf_init(&o.system, ORU_URI_MAX);
    known = len <= ORU_NUMBER_MAX && put_system(&o, segment, repetition) &&
            buf_ok(&o.system) == ERR_OK;
    if (known) {
        buf_add(system, o.system.data, o.system.len);
        buf_add(number, text, len);
    }
    buf_clear(&o.system);
    return known;
}

void oru_patient(struct oru *o, size_t segment)
{
    struct hl7_place place = oru_place(o, segment, 3, 0, 0);
    bool several;
    int found = find_number(o, segment, &several);
    size_t len;
    const char *number = number_of(o, segment, found, &len);

    o->pid = segment;
    o->pid_there = true;
    o->has_number = o->patient_is_put = false;
    o->obr = SIZE_MAX;
    buf_empty(&o->system);
    buf_empty(&o->number);
    if (oru_is_patient_damaged(o, segment))
        return;
    if (several) {
        oru_error(o, &place, HL7_UNKNOWN_KEY, "no-subject",
                  "Several numbers may be meant: set the authority or the type "
                  "of the one that counts for this sender");
    } else if (found == 0 && hl7_repetitions(o->message, segment, 3) == 0) {
        oru_error(o, &place, HL7_MISSING, "no-subject",
                  "There is no patient number");
    } else if (found == 0) {
        oru_error(o, &place, HL7_UNKNOWN_KEY, "no-subject",
                  "No number is of the authority and the type that count for "
                  "this sender");
    } else if (len > ORU_NUMBER_MAX) {
        oru_error(o, &place, HL7_TOO_LONG, "too-long",
                  "A patient number has 200 bytes at most");
    } else if (!put_system(o, segment, found)) {
        oru_error(o, &place, HL7_TOO_LONG, "too-long",
                  "The names of authority (PID-3.4), application (MSH-3) and "
                  "facility (MSH-4) have 64 bytes at most");
    } else {
        buf_add(&o->number, number, len);
        o->err = o->err == ERR_OK ? buf_ok(&o->system) : o->err;
        o->err = o->err == ERR_OK ? buf_ok(&o->number) : o->err;
        o->has_number = o->err == ERR_OK;
    }
}

/* ---- Patient ----------------------------------------------------------- */

/* The legal name, if one is marked as that; else the first. */
static int find_name(const struct oru *o)
{
    int count = (int)hl7_repetitions(o->message, o->pid, 5);

    for (int i = 1; i <= count; i++) {
        const char *type = oru_text(o, o->pid, 5, i, 7);

        if (strcmp(type, "L") == 0)
            return i;
    }
    return 1;
}

/* The surname as a whole stands first; some give its parts alone: prefix, own
 * name, prefix and name of the partner. */
static void put_family(struct oru *o, int repetition)
{
    struct buf *b = &o->out->bundle;
    const char *whole = oru_text(o, o->pid, 5, repetition, 1);

    if (oru_says(whole)) {
        oru_put_display(b, "family", whole);
        return;
    }
    buf_empty(&o->text);
    for (int part = 2; part <= 5; part++) {
        const char *text = hl7_text(o->message, o->pid, 5, repetition, 1, part);

        if (!oru_says(text) || strcmp(text, "\"\"") == 0)
            continue;
        if (o->text.len > 0)
            buf_puts(&o->text, " ");
        buf_puts(&o->text, text);
    }
    oru_put_display(b, "family", o->text.data);
}

static void put_name(struct oru *o)
{
    static const struct {
        const char *key;
        int first, last;
    } parts[] = { { "given", 2, 3 }, { "prefix", 5, 5 }, { "suffix", 4, 4 } };
    struct buf *b = &o->out->bundle;
    int repetition = find_name(o);
    struct oru_mark list = oru_open(b, "name", '[');
    struct oru_mark name = oru_open(b, NULL, '{');

    put_family(o, repetition);
    for (size_t i = 0; i < COUNT(parts); i++) {
        struct oru_mark mark = oru_open(b, parts[i].key, '[');

        for (int c = parts[i].first; c <= parts[i].last; c++)
            oru_put_display(b, NULL, oru_text(o, o->pid, 5, repetition, c));
        oru_close(b, mark, ']');
    }
    oru_close(b, name, '}');
    oru_close(b, list, ']');
}

static void put_born(struct oru *o)
{
    struct hl7_place place = oru_place(o, o->pid, 7, 0, 0);
    const char *text = oru_field(o, o->pid, 7);
    struct hl7_time born;
    enum err e;

    if (text[0] == '\0')
        return;
    /* the time of day is of no use here */
    e = hl7_time_read(text, strlen(text) > 8 ? "D" : "", &o->here, &born);
    if (e == ERR_OK)
        fhir_out_text(&o->out->bundle, "birthDate", born.text);
    else
        oru_warn(o, &place, HL7_DATA_TYPE, "bad-datetime",
                 "Not a date of birth that can be; left out");
}

/* There is something that nothing may rest on: R4 says so in place of a value
 * (extension data-absent-reason). */
static void put_doubt(struct oru *o, int field, const char *text)
{
    struct hl7_place place = oru_place(o, o->pid, field, 0, 0);
    struct buf *b = &o->out->bundle;

    oru_warn(o, &place, HL7_DATA_TYPE, "death-doubtful", text);
    fhir_out_open(b, "_deceasedDateTime", '{');
    fhir_out_open(b, "extension", '[');
    fhir_out_open(b, NULL, '{');
    fhir_out_text(b, "url",
                  "http://hl7.org/fhir/StructureDefinition/data-absent-reason");
    fhir_out_text(b, "valueCode", "error");
    fhir_out_close(b, '}');
    fhir_out_close(b, ']');
    fhir_out_close(b, '}');
}

/* Does the sender say that this is to be empty (HL7 v2.5.1, 2.5.3)? */
static bool is_taken_back(const struct oru *o, int field)
{
    return strcmp(hl7_text(o->message, o->pid, field, 1, 1, 1), "\"\"") == 0;
}

/* PID-29 and PID-30 by HL7's map of PID to Patient: the time goes before the
 * indicator, of table 0136.  Both empty: nothing is said. */
static void put_death(struct oru *o)
{
    const char *text = oru_field(o, o->pid, 29);
    const char *is_dead = oru_field(o, o->pid, 30);
    bool no = strcmp(is_dead, "N") == 0, yes = strcmp(is_dead, "Y") == 0;
    struct buf *b = &o->out->bundle;
    struct hl7_time died;

    if (is_dead[0] != '\0' && !no && !yes) {
        put_doubt(o, 30, "Neither Y nor N: not acted upon");
    } else if (text[0] != '\0' && no) {
        put_doubt(o, 30, "A time of death, and not dead: not acted upon");
    } else if (text[0] != '\0') {
        if (hl7_time_read(text, oru_text(o, o->pid, 29, 1, 2), &o->here,
                          &died) == ERR_OK)
            fhir_out_text(b, "deceasedDateTime", died.text);
        else
            put_doubt(o, 29, "Not a time of death that can be: not acted upon");
    } else if (yes || no) {
        fhir_out_raw(b, "deceasedBoolean", yes ? "true" : "false", yes ? 4 : 5);
    } else if (is_taken_back(o, 29) || is_taken_back(o, 30)) {
        fhir_out_raw(b, "deceasedBoolean", "false", 5);
    }
}

/* Table 0001, by HL7's map table-hl70001-to-administrative-gender. */
static const char *gender_of(const char *code)
{
    if (strcmp(code, "F") == 0)
        return "female";
    if (strcmp(code, "M") == 0)
        return "male";
    if (strcmp(code, "U") == 0)
        return "unknown";
    if (strcmp(code, "O") == 0 || strcmp(code, "A") == 0 ||
        strcmp(code, "N") == 0)
        return "other";
    return NULL;
}

void oru_put_patient(struct oru *o)
{
    const char *unit =
        o->profile->unit[0] != '\0' ? o->profile->unit : o->profile->name;
    struct buf *b = &o->out->bundle;

    if (o->patient_is_put ||
        oru_entry(o, oru_place(o, o->pid, 0, 0, 0)) == NULL)
        return;
    o->patient_is_put = true;
    o->out->has_patient = true;
    o->out->entries[o->out->entry_count - 1].damaged = oru_is_person_damaged(o);
    oru_put_begin(o, "Patient");
    fhir_out_open(b, "identifier", '[');
    fhir_out_identifier(b, NULL, "", o->system.data, o->number.data);
    fhir_out_close(b, ']');
    put_name(o);
    fhir_out_text(b, "gender", gender_of(oru_field(o, o->pid, 8)));
    put_born(o);
    put_death(o);
    fhir_out_open(b, "managingOrganization", '{');
    fhir_out_text(b, "display", unit);
    fhir_out_close(b, '}');
    oru_put_end(o, "Patient", o->system.data, o->number.data);
}
