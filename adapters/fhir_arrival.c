#include "adapters/fhir_arrival.h"

#include "adapters/fhir_json.h"

#include <stdio.h>
#include <string.h>

static enum fhir_type type_of(json_t *root)
{
    static const struct {
        const char *word;
        enum fhir_type type;
    } types[] = { { "Observation", FHIR_OBSERVATION },
                  { "BodyStructure", FHIR_BODY_STRUCTURE },
                  { "Patient", FHIR_PATIENT },
                  { "Task", FHIR_TASK },
                  { "Bundle", FHIR_BUNDLE } };

    for (size_t i = 0; i < COUNT(types); i++) {
        if (fhir_is(root, "resourceType", types[i].word))
            return types[i].type;
    }
    return FHIR_OTHER;
}

static bool read_time(const char *text, const struct zone *zone, int64_t *end_s)
{
    struct fhir_time time;

    if (text == NULL ||
        fhir_time_read(text, strlen(text), zone, &time) != ERR_OK)
        return false;
    *end_s = time.end_s - 1; /* the last second of what is meant */
    return true;
}

static void read_measured(json_t *root, const struct zone *zone,
                          struct fhir_arrival *a)
{
    json_t *period = json_object_get(root, "effectivePeriod");

    a->measured = read_time(fhir_string(root, "effectiveDateTime"), zone,
                            &a->measured_s) ||
                  read_time(fhir_string(root, "effectiveInstant"), zone,
                            &a->measured_s) ||
                  read_time(fhir_string(period, "end"), zone, &a->measured_s) ||
                  read_time(fhir_string(period, "start"), zone, &a->measured_s);
}

/* A Bundle's own time counts before that of the server it lay on. */
static void read_arrival(json_t *root, const struct zone *zone,
                         struct fhir_arrival *a)
{
    json_t *meta = json_object_get(root, "meta");

    if (a->type == FHIR_BUNDLE)
        a->timed = read_time(fhir_string(root, "timestamp"), zone, &a->at_s);
    if (!a->timed)
        a->timed = read_time(fhir_string(meta, "lastUpdated"), zone, &a->at_s);
    if (a->type != FHIR_OBSERVATION)
        return;
    read_measured(root, zone, a);
    if (!a->timed)
        a->timed = read_time(fhir_string(root, "issued"), zone, &a->at_s);
    if (!a->timed && a->measured) {
        a->timed = true;
        a->at_s = a->measured_s;
    }
}

static void read_name(json_t *root, struct fhir_arrival *a)
{
    json_t *first = json_array_get(json_object_get(root, "identifier"), 0);
    const char *system = fhir_string(first, "system");
    const char *value = fhir_string(first, "value");
    const char *id = fhir_string(root, "id");
    const char *what = a->type == FHIR_PATIENT ? "p" : "a";
    int n = 0;

    if (a->type != FHIR_PATIENT && a->type != FHIR_BODY_STRUCTURE)
        return;
    if (value != NULL)
        n = snprintf(a->name, sizeof(a->name), "%s:i:%s|%s", what,
                     system != NULL ? system : "", value);
    else if (id != NULL)
        n = snprintf(a->name, sizeof(a->name), "%s:r:%s", what, id);
    if (n >= (int)sizeof(a->name))
        a->name[0] = '\0';
}

enum err fhir_arrival_read(const char *json, size_t len,
                           const struct zone *zone, struct fhir_arrival *out)
{
    struct outcome outcome;
    json_t *root = NULL;
    enum err e;

    outcome_init(&outcome);
    e = fhir_load(json, len, &outcome, &root);
    if (e == ERR_OK && !json_is_object(root))
        e = ERR_FORM;
    if (e == ERR_OK) {
        *out = (struct fhir_arrival){ .type = type_of(root) };
        out->in_use = !json_is_false(json_object_get(root, "active"));
        out->splits =
            out->type == FHIR_BUNDLE && fhir_is(root, "type", "collection");
        read_arrival(root, zone, out);
        read_name(root, out);
    }
    if (root != NULL)
        json_decref(root);
    return e == ERR_LIMIT ? ERR_FORM : e;
}
