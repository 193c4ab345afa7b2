/* What the service answers to GET metadata, as tables. */
#include "adapters/fhir_write.h"

#include "adapters/fhir_out.h"

static const char *const kept_interactions[] = {
    "create", "read", "vread", "update", "history-instance", NULL
};
static const char *const task_interactions[] = {
    "read", "vread", "update", "history-instance", "search-type", NULL
};

struct search {
    const char *name, *type;
};

static const struct search task_searches[] = {
    { "_id", "token" },         { "_lastUpdated", "date" },
    { "_count", "number" },     { "identifier", "token" },
    { "patient", "reference" }, { "subject", "reference" },
    { "status", "token" },      { "priority", "token" },
    { "code", "token" },        { NULL, NULL },
};

static const struct served {
    const char *type, *documentation;
    const char *const *interactions;
    const struct search *searches; /* NULL: none */
    bool comes_in; /* conditional create, and update as create */
} served[] = {
    { "Observation",
      "Measurements, hand signs and events of a dialysis access. The bytes "
      "that were received are served back, apart from id and meta.",
      kept_interactions, NULL, true },
    { "BodyStructure", "One for each access; Observation.focus names it.",
      kept_interactions, NULL, true },
    { "Patient", "Only what is needed to name a person in the queue.",
      kept_interactions, NULL, true },
    { "Task",
      "Suggested reviews and reminders. A person changes status, owner, note "
      "and output with an update; what a Task is about stays as it is.",
      task_interactions, task_searches, false },
};

static void write_searches(const struct search *s, struct buf *out)
{
    if (s == NULL)
        return;
    fhir_out_open(out, "searchParam", '[');
    for (; s->name != NULL; s++) {
        fhir_out_open(out, NULL, '{');
        fhir_out_text(out, "name", s->name);
        fhir_out_text(out, "type", s->type);
        fhir_out_close(out, '}');
    }
    fhir_out_close(out, ']');
}

static void write_codes(const char *key, const char *const *codes,
                        struct buf *out)
{
    fhir_out_open(out, key, '[');
    for (; *codes != NULL; codes++) {
        fhir_out_open(out, NULL, '{');
        fhir_out_text(out, "code", *codes);
        fhir_out_close(out, '}');
    }
    fhir_out_close(out, ']');
}

static void write_resource(const struct served *s, struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "type", s->type);
    fhir_out_text(out, "documentation", s->documentation);
    write_codes("interaction", s->interactions, out);
    fhir_out_text(out, "versioning", "versioned");
    fhir_out_bool(out, "readHistory", true);
    fhir_out_bool(out, "updateCreate", s->comes_in);
    fhir_out_bool(out, "conditionalCreate", s->comes_in);
    fhir_out_bool(out, "conditionalUpdate", false);
    fhir_out_text(out, "conditionalDelete", "not-supported");
    if (s->comes_in) {
        fhir_out_open(out, "referencePolicy", '[');
        fhir_out_text(out, NULL, "literal");
        fhir_out_text(out, NULL, "logical");
        fhir_out_text(out, NULL, "local");
        fhir_out_close(out, ']');
    }
    write_searches(s->searches, out);
    fhir_out_close(out, '}');
}

static void write_rest(const struct fhir_capability *c, struct buf *out)
{
    static const char *const interactions[] = { "batch", "transaction", NULL };

    fhir_out_open(out, "rest", '[');
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "mode", "server");
    fhir_out_open(out, "security", '{');
    fhir_out_text(out, "description",
                  c->needs_token
                      ? "A bearer token in the Authorization header; "
                        "metadata is open"
                      : "No token is asked for on this address");
    fhir_out_close(out, '}');
    fhir_out_open(out, "resource", '[');
    for (size_t i = 0; i < COUNT(served); i++)
        write_resource(&served[i], out);
    fhir_out_close(out, ']');
    write_codes("interaction", interactions, out);
    fhir_out_close(out, '}');
    fhir_out_close(out, ']');
}

static void write_who(const struct fhir_capability *c, struct buf *out)
{
    fhir_out_open(out, "software", '{');
    fhir_out_text(out, "name", "headgate");
    fhir_out_text(out, "version", c->version);
    fhir_out_close(out, '}');
    fhir_out_open(out, "implementation", '{');
    fhir_out_text(out, "description",
                  "Surveillance of dialysis access: suggestions for review");
    fhir_out_text(out, "url", c->url);
    fhir_out_close(out, '}');
}

void fhir_write_capability(const struct fhir_capability *c, struct buf *out)
{
    char date[FHIR_TIME_SIZE];

    fhir_time_write(c->date_s, date);
    buf_puts(out, "{\"resourceType\":\"CapabilityStatement\"");
    fhir_out_join(out, "url", c->base, "/CapabilityStatement/headgate");
    fhir_out_text(out, "version", c->version);
    fhir_out_text(out, "name", "Headgate");
    fhir_out_text(out, "title", "headgate");
    fhir_out_text(out, "status", "active");
    fhir_out_text(out, "date", date);
    fhir_out_text(out, "kind", "instance");
    fhir_out_text(out, "description",
                  "Takes Observations of dialysis access in, serves Tasks that "
                  "suggest a review. Decision support, not a diagnosis.");
    write_who(c, out);
    fhir_out_text(out, "fhirVersion", "4.0.1");
    fhir_out_open(out, "format", '[');
    fhir_out_text(out, NULL, "application/fhir+json");
    fhir_out_text(out, NULL, "json");
    fhir_out_close(out, ']');
    write_rest(c, out);
    fhir_out_close(out, '}');
}
