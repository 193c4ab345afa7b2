#include "adapters/fhir_json.h"

#include <stdio.h>
#include <string.h>

enum { DEATH_SLACK_S = 3600 /* as much as clocks may differ */ };

/* ---- BodyStructure ---------------------------------------------------- */

static void read_type(struct fhir_ctx *c, struct fhir_access *a)
{
    json_t *morphology = json_object_get(c->resource, "morphology");
    enum sign type = SIGN_NONE;
    bool conflict = false, said_unknown = false;
    json_t *coding;
    size_t i;

    json_array_foreach(json_object_get(morphology, "coding"), i, coding)
    {
        enum sign s = codes_sign(c->reader->codes, Q_ACCESS_TYPE,
                                 fhir_string(coding, "system"),
                                 fhir_string(coding, "code"), fhir_lookup_s(c));

        said_unknown = said_unknown || s == SIGN_TYPE_UNKNOWN;
        if (s == SIGN_NONE || s == SIGN_TYPE_UNKNOWN)
            continue;
        conflict = conflict || (type != SIGN_NONE && type != s);
        type = type == SIGN_NONE ? s : type;
    }
    a->type = type != SIGN_NONE ? type : SIGN_TYPE_UNKNOWN;
    if (morphology != NULL && type == SIGN_NONE && !said_unknown)
        fhir_say_at(c, "morphology", SEV_WARNING, "code-unknown",
                    "This type of access is not known here: of the limits "
                    "that depend on it only those that all types share are "
                    "applied");
    if (conflict)
        fhir_say_at(c, "morphology", SEV_ERROR, "code-conflict",
                    "Codings name different types of access");
}

static void read_location(struct fhir_ctx *c, struct fhir_access *a)
{
    json_t *location = json_object_get(c->resource, "location");
    json_t *qualifiers = json_object_get(c->resource, "locationQualifier");
    struct body_site site = { SIDE_UNKNOWN, "" };
    bool clash = false;
    json_t *concept;
    size_t i, back;

    back = fhir_place_push(&c->place, "location");
    fhir_read_site(c, location, &site, &clash);
    fhir_site_unmapped(c, location);
    fhir_place_pop(&c->place, back);
    back = fhir_place_push(&c->place, "locationQualifier");
    json_array_foreach(qualifiers, i, concept)
    {
        fhir_read_site(c, concept, &site, &clash);
        fhir_site_unmapped(c, concept);
    }
    fhir_place_pop(&c->place, back);
    a->side = site.side;
    a->region = site.region;
    a->text = fhir_string(location, "text");
    if (a->text == NULL)
        a->text = fhir_string(c->resource, "description");
}

void fhir_read_body_structure(struct fhir_ctx *c)
{
    struct fhir_access *a = &c->item->u.access;

    a->active = !json_is_false(json_object_get(c->resource, "active"));
    if (json_object_get(c->resource, "patient") == NULL)
        fhir_say_at(c, "patient", SEV_ERROR, "missing-element",
                    "BodyStructure.patient is required");
    else
        fhir_ref_patient(c, c->resource, "patient", &a->patient);
    read_type(c, a);
    read_location(c, a);
}

/* ---- Patient ---------------------------------------------------------- */

/* Whether somebody is still a child is asked of this date: a year or a month
 * alone must not make him one day too old. */
static int64_t read_born(struct fhir_ctx *c)
{
    const char *text = fhir_string(c->resource, "birthDate");
    struct fhir_time born;

    if (text == NULL ||
        fhir_time_read(text, strlen(text), c->reader->zone, &born) != ERR_OK)
        return INT64_MIN;
    return born.precision == AT_MONTH || born.precision == AT_YEAR
               ? born.end_s - DAY_S
               : born.start_s;
}

/* Of a time no more than was said: "2026-11" stays a month. */
static void write_died(const struct fhir_ctx *c, const char *text,
                       const struct fhir_time *died, char out[FHIR_TIME_SIZE])
{
    if (died->precision == AT_YEAR || died->precision == AT_MONTH)
        snprintf(out, FHIR_TIME_SIZE, "%s", text);
    else
        fhir_date_write(died->start_s, c->reader->zone, out);
}

/*
 * Whoever is dead is not spoken of any more, so a death that cannot be as it is
 * said is not believed: one that is still to come, or was before the birth.
 */
static enum fhir_death read_died(struct fhir_ctx *c, struct fhir_patient *p)
{
    const char *text = fhir_string(c->resource, "deceasedDateTime");
    int64_t until_s = c->reader->now_s + DEATH_SLACK_S;
    struct fhir_time died;

    if (text == NULL ||
        fhir_time_read(text, strlen(text), c->reader->zone, &died) != ERR_OK)
        return DEATH_DOUBTFUL; /* its form is complained of elsewhere */
    if (died.start_s > until_s ||
        (p->born_s != INT64_MIN && died.end_s <= p->born_s)) {
        fhir_say_at(c, "deceasedDateTime", SEV_WARNING, "death-doubtful",
                    died.start_s > until_s
                        ? "The death lies in the future: not acted upon"
                        : "The death is before the birth: not acted upon");
        return DEATH_DOUBTFUL;
    }
    write_died(c, text, &died, p->died);
    p->died_start_s = died.start_s;
    p->died_end_s = died.end_s;
    return DEATH_YES;
}

/* Source: HL7 FHIR R4 (4.0.1), Patient.deceased[x]. */
static enum fhir_death read_death(struct fhir_ctx *c, struct fhir_patient *p)
{
    json_t *is_dead = json_object_get(c->resource, "deceasedBoolean");

    if (json_object_get(c->resource, "deceasedDateTime") != NULL)
        return read_died(c, p);
    if (json_is_boolean(is_dead))
        return json_is_true(is_dead) ? DEATH_YES : DEATH_NO;
    /* only why there is no value, such as data-absent-reason */
    return json_object_get(c->resource, "_deceasedBoolean") != NULL ||
                   json_object_get(c->resource, "_deceasedDateTime") != NULL
               ? DEATH_DOUBTFUL
               : DEATH_UNSAID;
}

/* Two records of one person were merged: which one is to be used now. */
static void read_replaced(struct fhir_ctx *c, struct fhir_patient *p)
{
    json_t *link;
    size_t i;

    json_array_foreach(json_object_get(c->resource, "link"), i, link)
    {
        json_t *other = json_object_get(link, "other");
        json_t *number = json_object_get(other, "identifier");

        if (!fhir_is(link, "type", "replaced-by") ||
            p->replaced_by.literal != NULL || p->replaced_by.value != NULL)
            continue;
        p->replaced_by = (struct fhir_ref){
            .literal = fhir_ref_plain(c, fhir_string(other, "reference")),
            .system = fhir_string(number, "system"),
            .value = fhir_string(number, "value"),
        };
    }
}

void fhir_read_patient(struct fhir_ctx *c)
{
    struct fhir_patient *p = &c->item->u.patient;
    json_t *name = json_array_get(json_object_get(c->resource, "name"), 0);
    json_t *unit = json_object_get(c->resource, "managingOrganization");

    p->active = !json_is_false(json_object_get(c->resource, "active"));
    p->born_s = read_born(c);
    p->told_s = c->reader->now_s;
    p->died_start_s = INT64_MIN;
    p->died_end_s = INT64_MAX;
    p->death = read_death(c, p);
    read_replaced(c, p);
    p->family = fhir_string(name, "family");
    p->given =
        json_string_value(json_array_get(json_object_get(name, "given"), 0));
    p->name_text = fhir_string(name, "text");
    p->unit = fhir_string(unit, "display");
    if (p->unit == NULL)
        p->unit = fhir_string(json_object_get(unit, "identifier"), "value");
    if (p->unit == NULL)
        p->unit = fhir_string(unit, "reference");
}

/* ---- Task ------------------------------------------------------------- */

static bool listed(const char *const *words, size_t count, const char *word)
{
    for (size_t i = 0; i < count; i++) {
        if (strcmp(words[i], word) == 0)
            return true;
    }
    return false;
}

static void check_word(struct fhir_ctx *c, const char *key, bool required,
                       const char *const *words, size_t count)
{
    json_t *value = json_object_get(c->resource, key);
    const char *word = json_string_value(value);

    if (value == NULL && required)
        fhir_say_at(c, key, SEV_ERROR, "missing-element", "Task.%s is required",
                    key);
    else if (value != NULL && (word == NULL || !listed(words, count, word)))
        fhir_say_at(c, key, SEV_ERROR, "bad-value", "Not a %s of a Task", key);
}

static bool read_time(struct fhir_ctx *c, const char *key,
                      struct fhir_time *time)
{
    json_t *value = json_object_get(c->resource, key);
    const char *text = json_string_value(value);

    if (value == NULL)
        return false;
    if (text != NULL &&
        fhir_time_read(text, strlen(text), c->reader->zone, time) == ERR_OK)
        return true;
    fhir_say_at(c, key, SEV_ERROR, "bad-datetime", "Not a dateTime");
    return false;
}

void fhir_check_task(struct fhir_ctx *c)
{
    static const char *const statuses[] = {
        "draft",    "requested", "received",  "accepted",
        "rejected", "ready",     "cancelled", "in-progress",
        "on-hold",  "failed",    "completed", "entered-in-error"
    };
    static const char *const intents[] = { "unknown",        "proposal",
                                           "plan",           "order",
                                           "original-order", "reflex-order",
                                           "filler-order",   "instance-order",
                                           "option" };
    static const char *const priorities[] = { "routine", "urgent", "asap",
                                              "stat" };
    struct fhir_time authored, modified;

    check_word(c, "status", true, statuses, COUNT(statuses));
    check_word(c, "intent", true, intents, COUNT(intents));
    check_word(c, "priority", false, priorities, COUNT(priorities));
    if (read_time(c, "authoredOn", &authored) &&
        read_time(c, "lastModified", &modified) &&
        modified.end_s <= authored.start_s)
        fhir_say_at(c, "lastModified", SEV_ERROR, "invariant",
                    "inv-1: modified before it was authored");
}
