/*
 * What a person may make of a Task.  A Task that was put to people keeps what
 * it is about; a person moves its status, assigns it, remarks on it.
 */
#include "adapters/fhir_task.h"

#include <stdio.h>
#include <string.h>

/* ---- status --------------------------------------------------------------- */

enum status {
    DRAFT,
    REQUESTED,
    RECEIVED,
    ACCEPTED,
    REJECTED,
    READY,
    CANCELLED,
    IN_PROGRESS,
    ON_HOLD,
    FAILED,
    COMPLETED,
    IN_ERROR,
    STATUS_COUNT
};

/* Source: HL7 FHIR R4 (4.0.1), value set task-status, and the state machine
 * of Task. */
static const char *const status_codes[STATUS_COUNT] = {
    [DRAFT] = "draft",         [REQUESTED] = "requested",
    [RECEIVED] = "received",   [ACCEPTED] = "accepted",
    [REJECTED] = "rejected",   [READY] = "ready",
    [CANCELLED] = "cancelled", [IN_PROGRESS] = "in-progress",
    [ON_HOLD] = "on-hold",     [FAILED] = "failed",
    [COMPLETED] = "completed", [IN_ERROR] = "entered-in-error",
};

#define TO(s) (1u << (s))
/* Whoever has taken it may go back and forth, or end it. */
#define WORK                                                                   \
    (TO(READY) | TO(IN_PROGRESS) | TO(ON_HOLD) | TO(COMPLETED) | TO(FAILED) |  \
     TO(CANCELLED) | TO(IN_ERROR))

/* From each status, those it may change to; to stay is always allowed. */
static const unsigned changes[STATUS_COUNT] = {
    [DRAFT] = TO(REQUESTED) | TO(CANCELLED) | TO(IN_ERROR),
    [REQUESTED] = TO(RECEIVED) | TO(ACCEPTED) | TO(REJECTED) | TO(CANCELLED) |
                  TO(IN_ERROR),
    [RECEIVED] = TO(ACCEPTED) | TO(REJECTED) | WORK,
    [ACCEPTED] = TO(REJECTED) | WORK,
    [READY] = WORK,
    [IN_PROGRESS] = WORK,
    [ON_HOLD] = WORK,
    [REJECTED] = TO(IN_ERROR),
    [CANCELLED] = TO(IN_ERROR),
    [FAILED] = TO(IN_ERROR),
    [COMPLETED] = TO(IN_ERROR),
    [IN_ERROR] = 0,
};

static const char *const intents[] = {
    "unknown",      "proposal",       "plan",
    "order",        "original-order", "reflex-order",
    "filler-order", "instance-order", "option",
};
static const char *const priorities[] = { "routine", "urgent", "asap", "stat" };

/* The place of a code in a list; count if it is not in it. */
static size_t find(const char *const *codes, size_t count, const char *code)
{
    size_t i = 0;

    while (i < count && strcmp(codes[i], code) != 0)
        i++;
    return i;
}

/* ---- form ------------------------------------------------------------------ */

/* The elements of Task that are objects or lists; all others of its elements
 * are strings. */
static const struct {
    const char *name;
    json_type type;
} forms[] = {
    { "meta", JSON_OBJECT },
    { "text", JSON_OBJECT },
    { "contained", JSON_ARRAY },
    { "extension", JSON_ARRAY },
    { "modifierExtension", JSON_ARRAY },
    { "identifier", JSON_ARRAY },
    { "basedOn", JSON_ARRAY },
    { "groupIdentifier", JSON_OBJECT },
    { "partOf", JSON_ARRAY },
    { "statusReason", JSON_OBJECT },
    { "businessStatus", JSON_OBJECT },
    { "code", JSON_OBJECT },
    { "focus", JSON_OBJECT },
    { "for", JSON_OBJECT },
    { "encounter", JSON_OBJECT },
    { "executionPeriod", JSON_OBJECT },
    { "requester", JSON_OBJECT },
    { "performerType", JSON_ARRAY },
    { "owner", JSON_OBJECT },
    { "location", JSON_OBJECT },
    { "reasonCode", JSON_OBJECT },
    { "reasonReference", JSON_OBJECT },
    { "insurance", JSON_ARRAY },
    { "note", JSON_ARRAY },
    { "relevantHistory", JSON_ARRAY },
    { "restriction", JSON_OBJECT },
    { "input", JSON_ARRAY },
    { "output", JSON_ARRAY },
    { "resourceType", JSON_STRING },
    { "id", JSON_STRING },
    { "implicitRules", JSON_STRING },
    { "language", JSON_STRING },
    { "instantiatesCanonical", JSON_STRING },
    { "instantiatesUri", JSON_STRING },
    { "status", JSON_STRING },
    { "intent", JSON_STRING },
    { "priority", JSON_STRING },
    { "description", JSON_STRING },
    { "authoredOn", JSON_STRING },
    { "lastModified", JSON_STRING },
};

static void check_value(json_t *value, struct fhir_place *p, struct outcome *o);

static void check_items(json_t *value, struct fhir_place *p, struct outcome *o)
{
    const char *key;
    json_t *item;
    size_t i;

    json_array_foreach(value, i, item)
    {
        size_t back = fhir_place_index(p, i);

        /* null holds a place in a list of primitives, beside "_name" */
        if (!json_is_null(item))
            check_value(item, p, o);
        fhir_place_pop(p, back);
    }
    json_object_foreach(value, key, item)
    {
        size_t back = fhir_place_push(p, key);

        check_value(item, p, o);
        fhir_place_pop(p, back);
    }
}

/* Nothing is null or empty in FHIR's JSON. */
static void check_value(json_t *value, struct fhir_place *p, struct outcome *o)
{
    const char *what = NULL;

    if (json_is_null(value))
        what = "null is not a value";
    else if (json_is_string(value) && json_string_length(value) == 0)
        what = "An empty string is not a value";
    else if (json_is_array(value) && json_array_size(value) == 0)
        what = "An empty list is not a value";
    else if (json_is_object(value) && json_object_size(value) == 0)
        what = "An empty object is not a value";
    if (what != NULL)
        outcome_add(o, SEV_ERROR, "bad-element", p->text, "%s", what);
    else
        check_items(value, p, o);
}

static void check_member(const char *key, json_t *value, struct fhir_place *p,
                         struct outcome *o)
{
    /* "_status" carries the extensions of status */
    const char *name = key[0] == '_' ? key + 1 : key;
    size_t i = 0;

    while (i < COUNT(forms) && strcmp(forms[i].name, name) != 0)
        i++;
    if (i == COUNT(forms) || (key != name && forms[i].type != JSON_STRING)) {
        outcome_add(o, SEV_ERROR, "bad-element", "Task",
                    "Task holds an element that R4 does not define");
        return;
    }
    if (json_typeof(value) != (key != name ? JSON_OBJECT : forms[i].type))
        outcome_add(o, SEV_ERROR, "bad-element", p->text,
                    "%s has the wrong kind of JSON value", forms[i].name);
    else
        check_value(value, p, o);
}

static void check_form(json_t *task, struct outcome *o)
{
    struct fhir_place p;
    const char *key;
    json_t *value;

    fhir_place_start(&p, "Task");
    json_object_foreach(task, key, value)
    {
        size_t back = fhir_place_push(&p, key);

        check_member(key, value, &p, o);
        fhir_place_pop(&p, back);
    }
}

/* ---- rules of R4 ------------------------------------------------------------ */

/* A code of a required value set; its place in the list, or count. */
static size_t check_code(json_t *task, const char *key, const char *place,
                         const char *const *codes, size_t count, bool required,
                         struct outcome *o)
{
    const char *code = fhir_string(task, key);
    size_t i;

    if (code == NULL) {
        if (required && json_object_get(task, key) == NULL)
            outcome_add(o, SEV_ERROR, "missing-element", place,
                        "%s is required", place);
        return count;
    }
    i = find(codes, count, code);
    if (i == count)
        outcome_add(o, SEV_ERROR, "bad-value", place,
                    "Not a code of the value set that R4 binds to %s", place);
    return i;
}

/* A dateTime, when there is one; false if it cannot be compared. */
static bool check_time(json_t *task, const char *key, const char *place,
                       struct fhir_time *time, struct outcome *o)
{
    const char *text = fhir_string(task, key);
    struct zone *utc;
    enum err e;

    if (text == NULL || zone_load("UTC", &utc) != ERR_OK)
        return false;
    e = fhir_time_read(text, strlen(text), utc, time);
    zone_free(utc);
    if (e == ERR_OK)
        return true;
    outcome_add(o, SEV_ERROR, "bad-datetime", place,
                "%s is not a dateTime of FHIR", place);
    return false;
}

static void check_times(json_t *task, struct outcome *o)
{
    struct fhir_time authored, modified;
    bool both = check_time(task, "authoredOn", "Task.authoredOn", &authored, o);

    both =
        check_time(task, "lastModified", "Task.lastModified", &modified, o) &&
        both;
    /* dates leave open which second is meant: only what is certain counts */
    if (both && modified.end_s <= authored.start_s)
        outcome_add(o, SEV_ERROR, "invariant", "Task.lastModified",
                    "inv-1: lastModified is before authoredOn");
}

/* Each input and output has a type and one value. */
static void check_pairs(json_t *task, const char *name, struct outcome *o)
{
    json_t *list = json_object_get(task, name), *item, *value;
    const char *key;
    size_t i;

    json_array_foreach(list, i, item)
    {
        char place[48];
        int values = 0;

        snprintf(place, sizeof(place), "Task.%s[%zu]", name, i);
        json_object_foreach(item, key, value) values +=
            strncmp(key, "value", 5) == 0 ? 1 : 0;
        if (!json_is_object(json_object_get(item, "type")) || values == 0)
            outcome_add(o, SEV_ERROR, "missing-element", place,
                        "A type and a value are required");
        else if (values > 1)
            outcome_add(o, SEV_ERROR, "bad-element", place,
                        "Only one value is allowed");
    }
}

/* ---- what is not for a person to change -------------------------------------- */

static void check_unchanged(json_t *before, json_t *after, struct outcome *o)
{
    static const char *const frozen[] = {
        "identifier", "intent", "for", "focus", "code", "authoredOn"
    };

    for (size_t i = 0; i < COUNT(frozen); i++) {
        json_t *a = json_object_get(before, frozen[i]);
        json_t *b = json_object_get(after, frozen[i]);
        char place[32];

        if (a == b || (a != NULL && b != NULL && json_equal(a, b)))
            continue;
        snprintf(place, sizeof(place), "Task.%s", frozen[i]);
        outcome_add(o, SEV_ERROR, "identity", place,
                    "%s must stay as it is in the Task that is replaced",
                    place);
    }
}

/* "received, accepted or rejected"; "nothing else" */
static void write_next(size_t from, char *text, size_t size)
{
    size_t count = 0, said = 0, len = 0;

    for (size_t s = 0; s < STATUS_COUNT; s++)
        count += (changes[from] & TO(s)) != 0;
    snprintf(text, size, "nothing else");
    for (size_t s = 0; s < STATUS_COUNT && len < size; s++) {
        if ((changes[from] & TO(s)) == 0)
            continue;
        len += (size_t)snprintf(text + len, size - len, "%s%s",
                                said == 0           ? ""
                                : said + 1 == count ? " or "
                                                    : ", ",
                                status_codes[s]);
        said++;
    }
}

static void check_change(json_t *before, size_t to, struct outcome *o)
{
    char next[160];
    const char *old = fhir_string(before, "status");
    size_t from = find(status_codes, STATUS_COUNT, old != NULL ? old : "");

    /* a Task of ours has a known status; if not, nothing is held against it */
    if (from == to || from == STATUS_COUNT || to == STATUS_COUNT ||
        (changes[from] & TO(to)) != 0)
        return;
    write_next(from, next, sizeof(next));
    outcome_add(o, SEV_ERROR, "value-conflict", "Task.status",
                "A Task may not go from %s to %s; from there it may become %s",
                status_codes[from], status_codes[to], next);
}

static void check_task(json_t *before, json_t *after, struct outcome *o)
{
    size_t status;

    check_form(after, o);
    status = check_code(after, "status", "Task.status", status_codes,
                        STATUS_COUNT, true, o);
    check_code(after, "intent", "Task.intent", intents, COUNT(intents), true,
               o);
    check_code(after, "priority", "Task.priority", priorities,
               COUNT(priorities), false, o);
    check_times(after, o);
    check_pairs(after, "input", o);
    check_pairs(after, "output", o);
    check_unchanged(before, after, o);
    check_change(before, status, o);
}

void fhir_task_person_update(const char *old_json, size_t old_len,
                             const char *new_json, size_t new_len,
                             struct outcome *o)
{
    struct fhir_task_text before;
    json_t *after = NULL;

    if (fhir_task_load(old_json, old_len, "Task", &before) != ERR_OK) {
        outcome_add(o, SEV_FATAL, "error", "", "The stored Task is not usable");
        return;
    }
    if (fhir_load(new_json, new_len, o, &after) == ERR_OK) {
        if (fhir_is(after, "resourceType", "Task"))
            check_task(before.tree, after, o);
        else
            outcome_add(o, SEV_ERROR, "not-a-resource", "",
                        "The body is not a Task");
    } else if (!outcome_refuses(o)) {
        outcome_add(o, SEV_FATAL, "error", "", "Out of memory");
    }
    json_decref(after);
    json_decref(before.tree);
}
