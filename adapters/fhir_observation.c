#include "adapters/fhir_json.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* A clock that runs ahead a little is no reason to doubt a measurement. */
enum { FUTURE_SLACK_S = 3600 };

/* Value set observation-status. */
static const struct {
    const char *word;
    enum reading_status status;
} statuses[] = {
    { "registered", READING_PRELIMINARY },
    { "preliminary", READING_PRELIMINARY },
    { "final", READING_FINAL },
    { "amended", READING_CORRECTED },
    { "corrected", READING_CORRECTED },
    { "cancelled", READING_WITHDRAWN },
    { "entered-in-error", READING_WITHDRAWN },
    { "unknown", READING_PRELIMINARY },
};

static void read_status(struct fhir_ctx *c, struct fhir_observation *o)
{
    o->status = fhir_string(c->resource, "status");
    if (o->status == NULL) {
        fhir_say_at(c, "status", SEV_ERROR, "missing-element",
                    "Observation.status is required");
        return;
    }
    for (size_t i = 0; i < COUNT(statuses); i++) {
        if (strcmp(statuses[i].word, o->status) != 0)
            continue;
        o->reading_status = statuses[i].status;
        if (o->reading_status == READING_PRELIMINARY)
            fhir_say_at(c, "status", SEV_INFORMATION, "preliminary",
                        "Kept; a preliminary result confirms nothing");
        return;
    }
    fhir_say_at(c, "status", SEV_ERROR, "bad-value",
                "Not a status of an Observation");
}

/* ---- code ------------------------------------------------------------- */

static void read_code(struct fhir_ctx *c, struct fhir_observation *o)
{
    json_t *code = json_object_get(c->resource, "code");
    json_t *coding = json_array_get(json_object_get(code, "coding"), 0);
    const char *system = fhir_string(coding, "system");
    const char *text = fhir_string(coding, "code");
    size_t size;
    char *key;

    /* What was entered in error may be stripped to the bone. */
    if (code == NULL && o->reading_status != READING_WITHDRAWN)
        fhir_say_at(c, "code", SEV_ERROR, "missing-element",
                    "Observation.code is required");
    o->root_system = system;
    if (text == NULL)
        return;
    system = system != NULL ? system : "";
    size = strlen(system) + strlen(text) + 2;
    key = fhir_keep(c, size);
    if (key == NULL)
        return;
    snprintf(key, size, "%s|%s", system, text);
    o->root_code = key;
}

/* ---- time ------------------------------------------------------------- */

static bool read_date_time(struct fhir_ctx *c, const char *text,
                           struct fhir_time *time)
{
    if (fhir_time_read(text, strlen(text), c->reader->zone, time) == ERR_OK)
        return true;
    fhir_say(c, SEV_ERROR, "bad-datetime", "The year is out of range");
    return false;
}

/*
 * The measurement took from start to end; without an end it is still open,
 * and what counts is when it began.  A start that is only a month or a year
 * is as coarse as that.
 */
static void read_period(struct fhir_ctx *c, json_t *period,
                        struct fhir_time *time)
{
    const char *start_text = fhir_string(period, "start");
    const char *end_text = fhir_string(period, "end");
    struct fhir_time start, end;
    int64_t end_s;

    if (start_text == NULL) {
        fhir_say_at(c, "start", SEV_ERROR, "no-time",
                    "A Period without a start does not say when");
        return;
    }
    if (!read_date_time(c, start_text, &start))
        return;
    end_s = start.start_s + 1;
    if (end_text != NULL) {
        if (!read_date_time(c, end_text, &end))
            return;
        /* FHIR's end is part of the period; the day or month it names is
         * whole, a second is where the half-open interval stops. */
        if (end.end_s <= start.start_s) {
            fhir_say(c, SEV_ERROR, "invariant",
                     "per-1: a Period ends after it starts");
            return;
        }
        if (end.precision == AT_SECOND)
            end.end_s = end.start_s;
        end_s = end.end_s > end_s ? end.end_s : end_s;
    } else if (start.precision != AT_SECOND) {
        end_s = start.end_s;
    }
    *time = (struct fhir_time){ start.start_s, end_s, AT_PERIOD };
    if (start.precision == AT_MONTH || start.precision == AT_YEAR)
        time->precision = start.precision;
}

static void read_instant(struct fhir_ctx *c, const char *text,
                         struct fhir_time *time)
{
    if (fhir_instant_read(text, strlen(text), time) != ERR_OK)
        fhir_say(c, SEV_ERROR, "bad-datetime", "The year is out of range");
}

/* The key of effective[x]; NULL if there is none. */
static const char *effective_key(json_t *resource)
{
    static const char *const keys[] = { "effectiveDateTime", "effectivePeriod",
                                        "effectiveInstant", "effectiveTiming" };

    for (size_t i = 0; i < COUNT(keys); i++) {
        if (json_object_get(resource, keys[i]) != NULL)
            return keys[i];
    }
    return NULL;
}

static void say_of_time(struct fhir_ctx *c, struct fhir_observation *o,
                        bool *future)
{
    const struct fhir_time *time = &o->effective;

    if (time->start_s == 0 && time->end_s == 0)
        return;
    if (time->precision == AT_MONTH || time->precision == AT_YEAR)
        fhir_say(c, SEV_INFORMATION, "month-only",
                 "Not used where days count: only the month or year is known");
    *future = time->start_s > c->reader->now_s + FUTURE_SLACK_S &&
              o->reading_status != READING_WITHDRAWN;
    if (*future)
        fhir_say(c, SEV_WARNING, "future-time",
                 "The time is in the future. Held for a person");
}

static void read_effective(struct fhir_ctx *c, struct fhir_observation *o,
                           bool *future)
{
    const char *key = effective_key(c->resource);
    json_t *value = key != NULL ? json_object_get(c->resource, key) : NULL;
    bool withdrawn = o->reading_status == READING_WITHDRAWN;
    size_t back;

    *future = false;
    if (key == NULL) {
        if (!withdrawn)
            fhir_say_at(c, "effective", SEV_ERROR, "no-time",
                        "When it was measured is needed");
        return;
    }
    back = fhir_place_push(&c->place, key);
    if (strcmp(key, "effectivePeriod") == 0)
        read_period(c, value, &o->effective);
    else if (strcmp(key, "effectiveInstant") == 0)
        read_instant(c, json_string_value(value), &o->effective);
    else if (strcmp(key, "effectiveDateTime") == 0)
        read_date_time(c, json_string_value(value), &o->effective);
    else if (!withdrawn)
        fhir_say(c, SEV_ERROR, "timing",
                 "A Timing is a plan, not when it was measured");
    say_of_time(c, o, future);
    fhir_place_pop(&c->place, back);
}

/* ---- what is told on -------------------------------------------------- */

static void read_rest(struct fhir_ctx *c, struct fhir_observation *o)
{
    json_t *performer =
        json_array_get(json_object_get(c->resource, "performer"), 0);
    const char *issued = fhir_string(c->resource, "issued");
    struct fhir_time time;
    json_t *value;
    size_t i;

    if (issued != NULL &&
        fhir_instant_read(issued, strlen(issued), &time) == ERR_OK)
        o->issued_s = time.start_s;
    o->performer = fhir_string(performer, "display");
    if (o->performer == NULL)
        o->performer = fhir_string(performer, "reference");
    json_array_foreach(json_object_get(c->resource, "derivedFrom"), i, value)
    {
        const char *literal = fhir_string(value, "reference");

        if (literal != NULL && literal[0] != '#' &&
            o->derived_count < COUNT(o->derived_from))
            o->derived_from[o->derived_count++] = fhir_ref_plain(c, literal);
    }
}

/* ---- values ----------------------------------------------------------- */

static bool same_coding(json_t *a, json_t *b)
{
    const char *system = fhir_string(a, "system");
    const char *code = fhir_string(a, "code");

    if (code == NULL || !fhir_is(b, "code", code))
        return false;
    return system != NULL ? fhir_is(b, "system", system)
                          : fhir_string(b, "system") == NULL;
}

/* obs-7: the code of the Observation's own value is no component's code. */
static bool has_same_code(struct fhir_ctx *c, json_t *component)
{
    json_t *root = json_object_get(c->resource, "code");
    json_t *ours = json_object_get(root, "coding");
    json_t *theirs =
        json_object_get(json_object_get(component, "code"), "coding");
    json_t *a, *b;
    size_t i, k;

    json_array_foreach(ours, i, a)
    {
        json_array_foreach(theirs, k, b)
        {
            if (!same_coding(a, b))
                continue;
            fhir_say_at(c, "code", SEV_ERROR, "invariant",
                        "obs-7: a value and a component with the same code");
            return true;
        }
    }
    return false;
}

/*
 * A component that measures what the value measures: the same reading sent
 * twice if they are equal, a contradiction if not.
 */
static void check_twice(struct fhir_ctx *c, struct fhir_observation *o)
{
    const struct reading *a = &o->readings[0].reading;
    const struct reading *b = &o->readings[o->reading_count - 1].reading;

    if (a->slot != 0 || b->slot == 0 || a->quantity != b->quantity ||
        a->side != b->side || quantity_info(a->quantity)->kind == VALUE_CODE ||
        isnan(a->value) || isnan(b->value))
        return;
    if (a->value < b->value || a->value > b->value || a->bound != b->bound) {
        fhir_say(c, SEV_ERROR, "value-conflict",
                 "The value and a component disagree");
        return;
    }
    fhir_say(c, SEV_INFORMATION, "duplicate",
             "Equal to the value of the Observation; taken once");
    o->reading_count--;
}

static bool has_value(json_t *resource)
{
    const char *key;
    json_t *value;

    json_object_foreach(resource, key, value)
    {
        if (strncmp(key, "value", 5) == 0)
            return true;
    }
    return false;
}

static void read_component(struct fhir_ctx *c, json_t *component, size_t i,
                           const struct fhir_circumstances *at)
{
    struct fhir_observation *o = &c->item->u.observation;
    size_t before = o->reading_count;

    if (json_object_get(component, "code") == NULL) {
        fhir_say_at(c, "code", SEV_ERROR, "missing-element",
                    "A component needs a code");
        return;
    }
    if (has_value(c->resource) && has_same_code(c, component))
        return;
    fhir_read_value(c, component, (int)i + 1, at);
    if (before > 0 && o->reading_count > before)
        check_twice(c, o);
}

static void read_values(struct fhir_ctx *c, struct fhir_observation *o,
                        const struct fhir_circumstances *at)
{
    json_t *components = json_object_get(c->resource, "component");
    size_t count = json_array_size(components);
    size_t i, back;
    json_t *component;

    if (count + 1 > FHIR_READINGS_MAX) {
        fhir_say_at(c, "component", SEV_ERROR, "too-many",
                    "At most %d components are taken", FHIR_READINGS_MAX - 1);
        return;
    }
    o->readings = fhir_keep(c, (count + 1) * sizeof(*o->readings));
    if (o->readings == NULL)
        return;
    fhir_read_value(c, c->resource, 0, at);
    back = fhir_place_push(&c->place, "component");
    json_array_foreach(components, i, component)
    {
        size_t in = fhir_place_index(&c->place, i);

        read_component(c, component, i, at);
        fhir_place_pop(&c->place, in);
    }
    fhir_place_pop(&c->place, back);
}

/* A clock or a zone that is wrong must not hold back an emergency: a sign of
 * one that is dated in the future counts as seen now. */
static void trust_emergencies(struct fhir_ctx *c, struct fhir_observation *o)
{
    bool any = false;

    for (size_t i = 0; i < o->reading_count; i++) {
        struct fhir_reading *r = &o->readings[i];

        if (r->hold != HOLD_TIME || !reading_is_emergency(&r->reading))
            continue;
        r->hold = HOLD_NONE;
        r->reading.start_s = c->reader->now_s;
        r->reading.end_s = c->reader->now_s + 1;
        r->reading.precision = AT_SECOND;
        any = true;
    }
    if (any)
        fhir_say_at(c, effective_key(c->resource), SEV_WARNING, "future-time",
                    "A sign of emergency counts as seen now, whatever its "
                    "time");
}

void fhir_read_observation(struct fhir_ctx *c)
{
    struct fhir_observation *o = &c->item->u.observation;
    struct fhir_circumstances at = { .status = READING_FINAL };
    size_t back;

    o->site = (struct body_site){ SIDE_UNKNOWN, "" };
    read_status(c, o);
    read_code(c, o);
    /* a withdrawal of what is known need not say again whose it was */
    if (o->reading_status != READING_WITHDRAWN ||
        json_object_get(c->resource, "subject") != NULL)
        fhir_ref_patient(c, c->resource, "subject", &o->subject);
    read_effective(c, o, &at.future);
    back = fhir_place_push(&c->place, "bodySite");
    fhir_read_site(c, json_object_get(c->resource, "bodySite"), &o->site,
                   &at.side_clash);
    at.site_unmapped =
        fhir_site_unmapped(c, json_object_get(c->resource, "bodySite"));
    fhir_place_pop(&c->place, back);
    fhir_read_names(c);
    read_rest(c, o);
    at.status = o->reading_status;
    at.registered = o->status != NULL && strcmp(o->status, "registered") == 0;
    at.time = o->effective;
    at.site = o->site;
    at.method = fhir_read_method(c, json_object_get(c->resource, "method"));
    read_values(c, o, &at);
    trust_emergencies(c, o);
}
