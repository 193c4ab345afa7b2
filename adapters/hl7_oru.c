#include "adapters/fhir_out.h"
#include "adapters/hl7_oru_work.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- issues ------------------------------------------------------------ */

/* Where the next issue goes; NULL if it is dropped.  In a full list an error
 * takes the place of the last that is none: who is refused must be told why. */
static struct hl7_issue *room_for(struct hl7_issues *issues,
                                  enum hl7_severity severity)
{
    if (issues->count < HL7_ISSUES_MAX)
        return &issues->list[issues->count++];
    issues->dropped++;
    if (severity != HL7_ERROR)
        return NULL;
    for (size_t i = issues->count; i > 0; i--) {
        if (issues->list[i - 1].severity != HL7_ERROR)
            return &issues->list[i - 1];
    }
    return NULL;
}

void hl7_issue_add(struct hl7_issues *issues, enum hl7_severity severity,
                   enum hl7_error code, const char *word,
                   const struct hl7_place *place, const char *format, ...)
{
    struct hl7_issue *issue = room_for(issues, severity);
    va_list args;

    if (severity == HL7_ERROR)
        issues->errors++;
    if (issue == NULL)
        return;
    *issue = (struct hl7_issue){
        .severity = severity, .code = code, .word = word, .place = *place
    };
    va_start(args, format);
    vsnprintf(issue->text, sizeof(issue->text), format, args);
    va_end(args);
}

struct hl7_place oru_place(const struct oru *o, size_t segment, int field,
                           int repetition, int component)
{
    struct hl7_place place = hl7_place_of(o->message, segment);

    place.field = field;
    place.repetition = repetition;
    place.component = component;
    return place;
}

void oru_error(struct oru *o, const struct hl7_place *place,
               enum hl7_error code, const char *word, const char *text)
{
    hl7_issue_add(&o->out->issues, HL7_ERROR, code, word, place, "%s", text);
}

void oru_warn(struct oru *o, const struct hl7_place *place, enum hl7_error code,
              const char *word, const char *text)
{
    hl7_issue_add(&o->out->issues, HL7_WARNING, code, word, place, "%s", text);
}

/* ---- texts ------------------------------------------------------------- */

const char *oru_text(const struct oru *o, size_t segment, int field,
                     int repetition, int component)
{
    const char *text =
        hl7_text(o->message, segment, field, repetition, component, 1);

    return strcmp(text, "\"\"") == 0 ? "" : text;
}

const char *oru_field(const struct oru *o, size_t segment, int field)
{
    return oru_text(o, segment, field, 1, 1);
}

bool oru_is_simple(const struct oru *o, size_t segment, int field,
                   int repetition)
{
    return hl7_components(o->message, segment, field, repetition) <= 1 &&
           hl7_subcomponents(o->message, segment, field, repetition, 1) <= 1;
}

void oru_whole(const struct oru *o, size_t segment, int field, int repetition,
               struct buf *out)
{
    const struct hl7_delimiters *d = hl7_delimiters(o->message);
    int components =
        (int)hl7_components(o->message, segment, field, repetition);

    for (int c = 1; c <= components; c++) {
        int count =
            (int)hl7_subcomponents(o->message, segment, field, repetition, c);

        if (c > 1)
            buf_add(out, &d->component, 1);
        for (int s = 1; s <= count; s++) {
            if (s > 1)
                buf_add(out, &d->subcomponent, 1);
            oru_add_plain(
                out, hl7_text(o->message, segment, field, repetition, c, s));
        }
    }
}

bool oru_read_time(struct oru *o, size_t segment, int field, int repetition,
                   struct hl7_time *out)
{
    const char *text = oru_text(o, segment, field, repetition, 1);
    const char *degree = oru_text(o, segment, field, repetition, 2);
    struct hl7_place place = oru_place(o, segment, field, 0, 0);
    enum err e = hl7_time_read(text, degree, &o->here, out);

    if (repetition > 1)
        place.repetition = repetition;
    if (e != ERR_OK) {
        oru_error(o, &place, HL7_DATA_TYPE, "bad-datetime",
                  e == ERR_RANGE ? "The year is out of range"
                                 : "Not a date and time that exists, of the "
                                   "form YYYYMMDDHHMMSS+ZZZZ");
        return false;
    }
    if (out->twice)
        oru_warn(o, &place, HL7_DATA_TYPE, "bad-datetime",
                 "The clocks show this time twice; the first is taken. An "
                 "offset would tell");
    if (out->skipped)
        oru_warn(o, &place, HL7_DATA_TYPE, "bad-datetime",
                 "The clocks leave this time out; the moment they change is "
                 "taken");
    return true;
}

/* ---- the message ------------------------------------------------------- */

struct hl7_entry *oru_entry(struct oru *o, struct hl7_place place)
{
    struct hl7_oru *out = o->out;

    if (out->entry_count == HL7_ENTRIES_MAX) {
        o->err = ERR_LIMIT;
        return NULL;
    }
    if (out->entry_count == o->entry_size) {
        size_t size = o->entry_size > 0 ? 2 * o->entry_size : 32;
        struct hl7_entry *more =
            realloc(out->entries, size * sizeof(*out->entries));

        if (more == NULL) {
            o->err = ERR_MEMORY;
            return NULL;
        }
        out->entries = more;
        o->entry_size = size;
    }
    out->entries[out->entry_count] = (struct hl7_entry){ .place = place };
    return &out->entries[out->entry_count++];
}

/* MSH-7, for results of which nothing says when they were issued, and for the
 * offset of times without one. */
static void read_header(struct oru *o)
{
    struct hl7_time time;

    snprintf(o->out->control, sizeof(o->out->control), "%s",
             oru_field(o, 0, 10));
    if (hl7_time_read(oru_field(o, 0, 7), oru_text(o, 0, 7, 1, 2), &o->here,
                      &time) != ERR_OK)
        return;
    o->here = hl7_here_of(o->profile->zone, &time);
    if (time.precision >= HL7_MINUTE)
        snprintf(o->sent, sizeof(o->sent), "%s", time.text);
}

static void read_segments(struct oru *o)
{
    size_t count = hl7_segments(o->message);
    struct hl7_place none = { .segment = "PID", .sequence = 1 };

    for (size_t i = 1; i < count && o->err == ERR_OK; i++) {
        const char *name = hl7_name(o->message, i);

        if (strcmp(name, "PID") == 0) {
            oru_patient(o, i);
        } else if (strcmp(name, "OBR") == 0) {
            o->obr = i;
            o->order_damaged = o->has_number && oru_is_order_damaged(o, i);
        } else if (strcmp(name, "OBX") == 0) {
            oru_result(o, i);
        }
    }
    if (o->err == ERR_OK)
        oru_warn_damage(o);
    if (o->err == ERR_OK && !o->pid_there)
        oru_error(o, &none, HL7_SEQUENCE, "no-subject",
                  "There is no PID: nobody is named");
}

static enum err read_message(struct oru *o)
{
    struct buf *b = &o->out->bundle;

    fhir_out_open(b, NULL, '{');
    fhir_out_text(b, "resourceType", "Bundle");
    fhir_out_text(b, "type", "batch");
    fhir_out_open(b, "entry", '[');
    read_header(o);
    hl7_profile_source(o->profile, o->base, &o->source);
    read_segments(o);
    fhir_out_close(b, ']');
    fhir_out_close(b, '}');
    if (o->err == ERR_OK)
        o->err = buf_ok(b);
    if (o->err == ERR_OK)
        o->err = buf_ok(&o->source);
    if (o->out->entry_count == 0)
        buf_empty(b);
    return o->err;
}

enum err hl7_oru_read(const struct hl7_message *message,
                      const struct hl7_profile *profile, const char *base,
                      struct hl7_oru *out)
{
    struct oru o = { .message = message,
                     .profile = profile,
                     .base = base,
                     .out = out,
                     .here = { .zone = profile->zone },
                     .obr = SIZE_MAX };
    enum err e;

    *out = (struct hl7_oru){ .entries = NULL };
    buf_init(&out->bundle, ORU_BUNDLE_MAX);
    buf_init(&o.source, ORU_URI_MAX);
    buf_init(&o.system, ORU_URI_MAX);
    buf_init(&o.number, ORU_URI_MAX);
    buf_init(&o.value, ORU_SCRATCH_MAX);
    buf_init(&o.text, ORU_SCRATCH_MAX);
    buf_init(&o.id, ORU_SCRATCH_MAX);
    e = read_message(&o);
    free(o.keys);
    buf_clear(&o.source);
    buf_clear(&o.system);
    buf_clear(&o.number);
    buf_clear(&o.value);
    buf_clear(&o.text);
    buf_clear(&o.id);
    if (e != ERR_OK)
        hl7_oru_clear(out);
    return e;
}

void hl7_oru_clear(struct hl7_oru *oru)
{
    buf_clear(&oru->bundle);
    free(oru->entries);
    oru->entries = NULL;
    oru->entry_count = 0;
    oru->has_patient = false;
}
