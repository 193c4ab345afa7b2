/*
 * What the service answers to GET metadata.  It is written from the tables
 * that the routes and the search go by: fhir_served.h, fhir_search.h.
 */
#include "adapters/fhir_write.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_search.h"
#include "adapters/fhir_served.h"

#include <stdio.h>
#include <string.h>

static void write_code(const char *code, struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "code", code);
    fhir_out_close(out, '}');
}

/* "Task:patient", "Provenance:target" */
static void write_include(const struct search_param *p, struct buf *out)
{
    char text[64];

    snprintf(text, sizeof(text), "%s:%s", search_type_word(p->type), p->name);
    fhir_out_text(out, NULL, text);
}

static void write_includes(enum fhir_type type, struct buf *out)
{
    const struct search_param *p;
    bool any = false;

    for (size_t i = 0; (p = search_param(type, i)) != NULL; i++)
        any = any || p->includes;
    if (any) {
        fhir_out_open(out, "searchInclude", '[');
        for (size_t i = 0; (p = search_param(type, i)) != NULL; i++) {
            if (p->includes)
                write_include(p, out);
        }
        fhir_out_close(out, ']');
    }
    if (search_revinclude(type, 0) == NULL)
        return;
    fhir_out_open(out, "searchRevInclude", '[');
    for (size_t i = 0; (p = search_revinclude(type, i)) != NULL; i++)
        write_include(p, out);
    fhir_out_close(out, ']');
}

static const char *form_word(enum search_form form)
{
    switch (form) {
    case SEARCH_ID:
    case SEARCH_TOKEN:
        return "token";
    case SEARCH_REFERENCE:
        return "reference";
    case SEARCH_UPDATED:
    case SEARCH_DATE:
        break;
    }
    return "date";
}

/* Which modifiers and chains a parameter takes; NULL for none. */
static const char *modifiers_of(const struct search_param *p)
{
    if (p->form == SEARCH_TOKEN)
        return "Modifiers: not, missing.";
    if (p->of_patient)
        return "Modifiers: identifier, missing, Patient. Chain: identifier.";
    if (p->form == SEARCH_REFERENCE)
        return "Modifiers: identifier, missing, and the type of the target.";
    return p->number != 0 ? "Modifier: missing." : NULL;
}

static void write_search(const struct search_param *p, const char *base,
                         struct buf *out)
{
    const char *modifiers = modifiers_of(p);

    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "name", p->name);
    if (strcmp(p->name, "due") == 0)
        fhir_out_join(out, "definition", base, "/SearchParameter/" FHIR_DUE_ID);
    fhir_out_text(out, "type", form_word(p->form));
    if (modifiers != NULL || p->sorts) {
        char text[128];

        snprintf(text, sizeof(text), "%s%s%s",
                 modifiers != NULL ? modifiers : "",
                 modifiers != NULL && p->sorts ? " " : "",
                 p->sorts ? "May be sorted by." : "");
        fhir_out_text(out, "documentation", text);
    }
    fhir_out_close(out, '}');
}

static void write_searches(enum fhir_type type, const char *base,
                           struct buf *out)
{
    const struct search_param *p;

    write_includes(type, out);
    fhir_out_open(out, "searchParam", '[');
    for (size_t i = 0; (p = search_param(type, i)) != NULL; i++)
        write_search(p, base, out);
    fhir_out_close(out, ']');
}

static void write_interactions(unsigned bits, struct buf *out)
{
    const char *word;
    unsigned bit;

    fhir_out_open(out, "interaction", '[');
    for (size_t i = 0; (word = fhir_interaction(i, &bit)) != NULL; i++) {
        if ((bits & bit) != 0)
            write_code(word, out);
    }
    fhir_out_close(out, ']');
}

static void write_resource(const struct fhir_served *s, const char *base,
                           struct buf *out)
{
    bool comes_in = (s->interactions & SERVE_CONDITIONAL) != 0;

    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "type", search_type_word(s->type));
    fhir_out_text(out, "documentation", s->documentation);
    write_interactions(s->interactions, out);
    fhir_out_text(out, "versioning", "versioned");
    fhir_out_bool(out, "readHistory", true);
    fhir_out_bool(out, "updateCreate", comes_in);
    fhir_out_bool(out, "conditionalCreate", comes_in);
    fhir_out_text(out, "conditionalRead", "full-support");
    fhir_out_bool(out, "conditionalUpdate", comes_in);
    fhir_out_text(out, "conditionalDelete", "not-supported");
    if (comes_in) {
        fhir_out_open(out, "referencePolicy", '[');
        fhir_out_text(out, NULL, "literal");
        fhir_out_text(out, NULL, "logical");
        fhir_out_text(out, NULL, "local");
        fhir_out_close(out, ']');
    }
    write_searches(s->type, base, out);
    fhir_out_close(out, '}');
}

/* The definition of our own search parameter can be read here. */
static void write_definitions(struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "type", "SearchParameter");
    fhir_out_text(out, "documentation",
                  "The one that is not of FHIR R4: " FHIR_DUE_ID);
    write_interactions(SERVE_READ, out);
    fhir_out_close(out, '}');
}

/* Parameters that say how to answer, of every type. */
static void write_controls(struct buf *out)
{
    const char *name, *type;

    fhir_out_open(out, "searchParam", '[');
    for (size_t i = 0; (name = search_control(i, &type)) != NULL; i++) {
        if (type == NULL)
            continue;
        fhir_out_open(out, NULL, '{');
        fhir_out_text(out, "name", name);
        fhir_out_text(out, "type", type);
        fhir_out_close(out, '}');
    }
    fhir_out_close(out, ']');
}

static void write_rest(const struct fhir_capability *c, struct buf *out)
{
    const struct fhir_served *s;

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
    for (size_t i = 0; (s = fhir_served(i)) != NULL; i++)
        write_resource(s, c->base, out);
    write_definitions(out);
    fhir_out_close(out, ']');
    fhir_out_open(out, "interaction", '[');
    write_code("batch", out);
    write_code("transaction", out);
    fhir_out_close(out, ']');
    write_controls(out);
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
    fhir_out_open(out, "patchFormat", '[');
    fhir_out_text(out, NULL, FHIR_JSON_PATCH);
    fhir_out_close(out, ']');
    write_rest(c, out);
    fhir_out_close(out, '}');
}

/*
 * The date by which a Task is to be done: R4 keeps it as the end of
 * restriction.period (Task.restriction.period: "period.high is the due date")
 * and has no search parameter for it.
 */
void fhir_write_search_param(const char *base, const char *version,
                             int64_t date_s, struct buf *out)
{
    static const char *const prefixes[] = { "eq", "ne", "gt", "ge", "lt",
                                            "le", "sa", "eb", "ap" };
    char date[FHIR_TIME_SIZE];

    fhir_time_write(date_s, date);
    buf_puts(out, "{\"resourceType\":\"SearchParameter\"");
    fhir_out_text(out, "id", FHIR_DUE_ID);
    fhir_out_join(out, "url", base, "/SearchParameter/" FHIR_DUE_ID);
    fhir_out_text(out, "version", version);
    fhir_out_text(out, "name", "TaskDue");
    fhir_out_text(out, "status", "active");
    fhir_out_text(out, "date", date);
    fhir_out_text(out, "description",
                  "When a Task is due: the end of its restriction.period");
    fhir_out_text(out, "code", "due");
    fhir_out_open(out, "base", '[');
    fhir_out_text(out, NULL, "Task");
    fhir_out_close(out, ']');
    fhir_out_text(out, "type", "date");
    fhir_out_text(out, "expression", "Task.restriction.period.end");
    fhir_out_text(out, "xpath", "f:Task/f:restriction/f:period/f:end");
    fhir_out_text(out, "xpathUsage", "normal");
    fhir_out_bool(out, "multipleOr", true);
    fhir_out_bool(out, "multipleAnd", true);
    fhir_out_open(out, "comparator", '[');
    for (size_t i = 0; i < COUNT(prefixes); i++)
        fhir_out_text(out, NULL, prefixes[i]);
    fhir_out_close(out, ']');
    fhir_out_open(out, "modifier", '[');
    fhir_out_text(out, NULL, "missing");
    fhir_out_close(out, ']');
    fhir_out_close(out, '}');
}
