/* The bodies that the tests of the service layer send, see service_world.h. */
#include "adapters/fhir_time.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <stdarg.h>

enum { TEXTS = 12, TEXT_SIZE = 16 * 1024 };

struct text {
    char data[TEXT_SIZE];
    size_t len;
};

static struct text *new_text(void)
{
    static struct text texts[TEXTS];
    static size_t next;
    struct text *t = &texts[next++ % TEXTS];

    t->data[0] = '\0';
    t->len = 0;
    return t;
}

__attribute__((format(printf, 2, 3))) static void add(struct text *t,
                                                      const char *format, ...)
{
    va_list args;
    int n;

    va_start(args, format);
    n = vsnprintf(t->data + t->len, TEXT_SIZE - t->len, format, args);
    va_end(args);
    assert_true(n >= 0 && (size_t)n < TEXT_SIZE - t->len);
    t->len += (size_t)n;
}

static const char * or (const char *text, const char *instead)
{
    return text != NULL ? text : instead;
}

static void add_id(struct text *t, const char *id, const char *kind,
                   const char *identifier)
{
    if (id != NULL)
        add(t, ",\"id\":\"%s\"", id);
    if (identifier != NULL)
        add(t, ",\"identifier\":[{\"system\":\"" IDS "%s\",\"value\":\"%s\"}]",
            kind, identifier);
}

static void add_value(struct text *t, const struct obs *o)
{
    if (o->sign != NULL)
        add(t,
            ",\"valueCodeableConcept\":{\"coding\":[{\"system\":\"" OBS_CODES
            "\",\"code\":\"%s\"}]}",
            o->sign);
    else if (o->value != NULL)
        add(t,
            ",\"valueQuantity\":{\"value\":%s,\"system\":"
            "\"http://unitsofmeasure.org\",\"code\":\"%s\"}",
            o->value, or (o->unit, "mL/min"));
}

static void add_subject(struct text *t, const struct obs *o)
{
    if (o->person != NULL)
        add(t,
            ",\"subject\":{\"identifier\":{\"system\":\"" IDS
            "patient\",\"value\":\"%s\"}}",
            o->person);
    else
        add(t, ",\"subject\":{\"reference\":\"%s\"}",
            or (o->patient, "Patient/p-1"));
}

const char *obs_json(const struct obs *o)
{
    struct text *t = new_text();
    char when[FHIR_TIME_SIZE];

    fhir_time_write(world_now_s - (int64_t)(o->ago_h * 3600.0), when);
    add(t, "{\"resourceType\":\"Observation\"");
    add_id(t, o->id, "obs", o->identifier);
    add(t, ",\"status\":\"%s\"", or (o->status, "final"));
    add(t,
        ",\"code\":{\"coding\":[{\"system\":\"" OBS_CODES
        "\",\"code\":\"%s\"}]}",
        or (o->code, "access-flow"));
    add_subject(t, o);
    if (o->access != NULL)
        add(t, ",\"focus\":[{\"reference\":\"%s\"}]", o->access);
    if (o->site != NULL)
        add(t, ",\"bodySite\":{\"text\":\"%s\"}", o->site);
    if (!o->bare) {
        add(t, ",\"effectiveDateTime\":\"%s\"", when);
        add_value(t, o);
    }
    add(t, "%s}", or (o->more, ""));
    return t->data;
}

const char *acc_json(const struct acc *a)
{
    struct text *t = new_text();

    add(t, "{\"resourceType\":\"BodyStructure\"");
    add_id(t, a->id, "access", a->identifier);
    add(t, ",\"active\":%s", a->inactive ? "false" : "true");
    add(t,
        ",\"morphology\":{\"coding\":[{\"system\":\"" BASE
        "/CodeSystem/av-access-type\",\"code\":\"%s\"}]}",
        or (a->type, "avf"));
    add(t, ",\"location\":{\"text\":\"%s\"}", or (a->site, "Left upper arm"));
    add(t, ",\"patient\":{\"reference\":\"%s\"}}",
        or (a->patient, "Patient/p-1"));
    return t->data;
}

const char *pat_json(const char *id, const char *identifier)
{
    struct text *t = new_text();

    add(t, "{\"resourceType\":\"Patient\"");
    add_id(t, id, "patient", identifier);
    add(t, ",\"name\":[{\"family\":\"Fictional\",\"given\":[\"Wren\"]}]"
           ",\"managingOrganization\":{\"display\":\"Unit North\"}}");
    return t->data;
}

const char *entry_json(const char *method, const char *url, const char *json)
{
    struct text *t = new_text();

    add(t, "{\"resource\":%s", json);
    if (method != NULL)
        add(t, ",\"request\":{\"method\":\"%s\",\"url\":\"%s\"}", method, url);
    add(t, "}");
    return t->data;
}

const char *bundle_json(const char *type, ...)
{
    struct text *t = new_text();
    const char *entry, *comma = "";
    va_list args;

    add(t, "{\"resourceType\":\"Bundle\",\"type\":\"%s\",\"entry\":[", type);
    va_start(args, type);
    while ((entry = va_arg(args, const char *)) != NULL) {
        add(t, "%s%s", comma, entry);
        comma = ",";
    }
    va_end(args);
    add(t, "]}");
    return t->data;
}
