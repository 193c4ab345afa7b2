/* What each type is searched by: one parameter, one row. */
#include "adapters/fhir_search.h"

#include <string.h>

#define PEOPLE "Patient"
#define WORKERS                                                                \
    "Practitioner PractitionerRole Organization CareTeam HealthcareService "   \
    "Patient Device RelatedPerson"
#define TASK_STATUS "http://hl7.org/fhir/task-status"
#define TASK_INTENT "http://hl7.org/fhir/task-intent"
#define PRIORITY    "http://hl7.org/fhir/request-priority"
#define OBS_STATUS  "http://hl7.org/fhir/observation-status"
#define LIST_STATUS "http://hl7.org/fhir/list-status"

#define ID(t)                                                                  \
    {                                                                          \
        .type = (t), .name = "_id", .form = SEARCH_ID, .narrows = true,        \
        .sorts = true                                                          \
    }
#define UPDATED(t)                                                             \
    {                                                                          \
        .type = (t), .name = "_lastUpdated", .form = SEARCH_UPDATED,           \
        .sorts = true                                                          \
    }
#define IDENT(t, n, nm, p)                                                     \
    {                                                                          \
        .type = (t), .number = (n), .name = (nm), .form = SEARCH_TOKEN,        \
        .what = WHAT_IDENTIFIER, .path = (p), .narrows = true                  \
    }
#define CODE(t, n, nm, p, sys)                                                 \
    {                                                                          \
        .type = (t), .number = (n), .name = (nm), .form = SEARCH_TOKEN,        \
        .what = WHAT_CODE, .path = (p), .system = (sys)                        \
    }
#define SORTED(t, n, nm, p, sys)                                               \
    {                                                                          \
        .type = (t), .number = (n), .name = (nm), .form = SEARCH_TOKEN,        \
        .what = WHAT_CODE, .path = (p), .system = (sys), .sorts = true         \
    }
#define CONCEPT(t, n, nm, p)                                                   \
    {                                                                          \
        .type = (t), .number = (n), .name = (nm), .form = SEARCH_TOKEN,        \
        .what = WHAT_CONCEPT, .path = (p)                                      \
    }
#define PERSON(t, n, nm, p)                                                    \
    {                                                                          \
        .type = (t), .number = (n), .name = (nm), .form = SEARCH_REFERENCE,    \
        .what = WHAT_REFERENCE, .path = (p), .targets = PEOPLE,                \
        .of_patient = true, .narrows = true, .includes = true                  \
    }
#define REF(t, n, nm, p, to, inc)                                              \
    {                                                                          \
        .type = (t), .number = (n), .name = (nm), .form = SEARCH_REFERENCE,    \
        .what = WHAT_REFERENCE, .path = (p), .targets = (to), .narrows = true, \
        .includes = (inc)                                                      \
    }
#define TIME(t, n, nm, p, sort)                                                \
    {                                                                          \
        .type = (t), .number = (n), .name = (nm), .form = SEARCH_DATE,         \
        .what = WHAT_TIME, .path = (p), .sorts = (sort)                        \
    }

/* clang-format off: one row, one fact */
static const struct search_param rows[] = {
    ID(FHIR_TASK),
    UPDATED(FHIR_TASK),
    IDENT(FHIR_TASK, 1, "identifier", "identifier"),
    PERSON(FHIR_TASK, 2, "patient", "for"),
    PERSON(FHIR_TASK, 2, "subject", "for"),
    REF(FHIR_TASK, 3, "focus", "focus", "BodyStructure Observation", true),
    CONCEPT(FHIR_TASK, 4, "code", "code"),
    SORTED(FHIR_TASK, 5, "status", "status", TASK_STATUS),
    CONCEPT(FHIR_TASK, 6, "business-status", "businessStatus"),
    CODE(FHIR_TASK, 7, "intent", "intent", TASK_INTENT),
    SORTED(FHIR_TASK, 8, "priority", "priority", PRIORITY),
    REF(FHIR_TASK, 9, "owner", "owner", WORKERS, false),
    TIME(FHIR_TASK, 10, "authored-on", "authoredOn", true),
    TIME(FHIR_TASK, 11, "modified", "lastModified", true),
    REF(FHIR_TASK, 12, "part-of", "partOf", "Task", true),
    IDENT(FHIR_TASK, 13, "group-identifier", "groupIdentifier"),
    TIME(FHIR_TASK, 14, "period", "executionPeriod", false),
    /* ours: see search_due() */
    TIME(FHIR_TASK, 15, "due", "restriction.period.end", true),

    ID(FHIR_OBSERVATION),
    UPDATED(FHIR_OBSERVATION),
    IDENT(FHIR_OBSERVATION, 33, "identifier", "identifier"),
    PERSON(FHIR_OBSERVATION, 34, "patient", "subject"),
    PERSON(FHIR_OBSERVATION, 34, "subject", "subject"),
    REF(FHIR_OBSERVATION, 35, "focus", "focus", "BodyStructure", true),
    CONCEPT(FHIR_OBSERVATION, 36, "code", "code"),
    CODE(FHIR_OBSERVATION, 37, "status", "status", OBS_STATUS),
    TIME(FHIR_OBSERVATION, 38, "date",
         "effectiveDateTime effectivePeriod effectiveInstant", true),

    ID(FHIR_BODY_STRUCTURE),
    UPDATED(FHIR_BODY_STRUCTURE),
    IDENT(FHIR_BODY_STRUCTURE, 49, "identifier", "identifier"),
    PERSON(FHIR_BODY_STRUCTURE, 50, "patient", "patient"),

    ID(FHIR_PATIENT),
    UPDATED(FHIR_PATIENT),
    IDENT(FHIR_PATIENT, 57, "identifier", "identifier"),

    ID(FHIR_PROVENANCE),
    UPDATED(FHIR_PROVENANCE),
    REF(FHIR_PROVENANCE, 65, "target", "target",
        "Task DocumentReference ServiceRequest Flag", true),

    ID(FHIR_DOCUMENT_REFERENCE),
    UPDATED(FHIR_DOCUMENT_REFERENCE),
    IDENT(FHIR_DOCUMENT_REFERENCE, 73, "identifier",
          "masterIdentifier identifier"),
    PERSON(FHIR_DOCUMENT_REFERENCE, 74, "patient", "subject"),
    PERSON(FHIR_DOCUMENT_REFERENCE, 74, "subject", "subject"),

    ID(FHIR_SERVICE_REQUEST),
    UPDATED(FHIR_SERVICE_REQUEST),
    IDENT(FHIR_SERVICE_REQUEST, 81, "identifier", "identifier"),
    PERSON(FHIR_SERVICE_REQUEST, 82, "patient", "subject"),
    PERSON(FHIR_SERVICE_REQUEST, 82, "subject", "subject"),

    ID(FHIR_FLAG),
    UPDATED(FHIR_FLAG),
    IDENT(FHIR_FLAG, 89, "identifier", "identifier"),
    PERSON(FHIR_FLAG, 90, "patient", "subject"),
    PERSON(FHIR_FLAG, 90, "subject", "subject"),

    ID(FHIR_LIST),
    UPDATED(FHIR_LIST),
    IDENT(FHIR_LIST, 97, "identifier", "identifier"),
    CODE(FHIR_LIST, 98, "status", "status", LIST_STATUS),
};
/* clang-format on */

static const struct {
    enum fhir_type type;
    const char *word;
} types[] = {
    { FHIR_OBSERVATION, "Observation" },
    { FHIR_BODY_STRUCTURE, "BodyStructure" },
    { FHIR_PATIENT, "Patient" },
    { FHIR_TASK, "Task" },
    { FHIR_DOCUMENT_REFERENCE, "DocumentReference" },
    { FHIR_SERVICE_REQUEST, "ServiceRequest" },
    { FHIR_FLAG, "Flag" },
    { FHIR_PROVENANCE, "Provenance" },
    { FHIR_LIST, "List" },
};

const char *search_type_word(enum fhir_type type)
{
    for (size_t i = 0; i < COUNT(types); i++) {
        if (types[i].type == type)
            return types[i].word;
    }
    return "";
}

const struct search_param *search_param(enum fhir_type type, size_t i)
{
    for (size_t k = 0; k < COUNT(rows); k++) {
        if (rows[k].type == type && i-- == 0)
            return &rows[k];
    }
    return NULL;
}

const struct search_param *search_param_named(enum fhir_type type,
                                              const char *name, size_t len)
{
    for (size_t k = 0; k < COUNT(rows); k++) {
        if (rows[k].type == type && strlen(rows[k].name) == len &&
            memcmp(rows[k].name, name, len) == 0)
            return &rows[k];
    }
    return NULL;
}

bool search_has_target(const struct search_param *p, const char *type,
                       size_t len)
{
    const char *at = p->targets;

    while (at != NULL && len > 0) {
        size_t n = strcspn(at, " ");

        if (n == len && memcmp(at, type, len) == 0)
            return true;
        at = at[n] == ' ' ? at + n + 1 : NULL;
    }
    return false;
}

const struct search_param *search_revinclude(enum fhir_type type, size_t i)
{
    const char *word = search_type_word(type);

    for (size_t k = 0; k < COUNT(rows); k++) {
        if (rows[k].type == FHIR_PROVENANCE && rows[k].includes &&
            search_has_target(&rows[k], word, strlen(word)) && i-- == 0)
            return &rows[k];
    }
    return NULL;
}

const char *search_control(size_t i, const char **type)
{
    static const struct {
        const char *name, *type;
    } controls[] = { { "_count", "number" },
                     { "_sort", "string" },
                     { "_summary", "token" },
                     { "_total", "token" } };

    if (i >= COUNT(controls))
        return NULL;
    *type = controls[i].type;
    return controls[i].name;
}
