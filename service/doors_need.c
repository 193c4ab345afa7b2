/* What a request needs, and whether a grant covers it. */
#include "adapters/fhir_read.h"
#include "service/doors.h"

#include <stdio.h>
#include <string.h>

static void set(struct door_need *need, enum right_level level,
                const char *type, unsigned permits)
{
    need->right = (struct right){ .level = level, .permits = permits };
    /* a name that does not fit is none that could be granted */
    if (strlen(type) < sizeof(need->right.type))
        snprintf(need->right.type, sizeof(need->right.type), "%s", type);
}

static bool is_read(const char *method)
{
    return strcmp(method, "GET") == 0 || strcmp(method, "HEAD") == 0;
}

static unsigned permits_of(const char *method)
{
    if (strcmp(method, "POST") == 0)
        return RIGHT_CREATE;
    return strcmp(method, "DELETE") == 0 ? RIGHT_DELETE : RIGHT_UPDATE;
}

/* A path that begins with a type. */
static unsigned permits_on_type(const char *method, const char *const *parts,
                                size_t count)
{
    const char *next = count > 2 ? parts[2] : "";

    if (count > 2 && strcmp(next, "_search") == 0)
        return RIGHT_SEARCH;
    if (is_read(method))
        return count == 2 ? RIGHT_SEARCH : RIGHT_READ;
    return count == 2                      ? permits_of(method)
           : strcmp(method, "DELETE") == 0 ? RIGHT_DELETE
                                           : RIGHT_UPDATE;
}

static void need_fhir(const char *method, const char *const *parts,
                      size_t count, struct door_need *need)
{
    if (count == 1 && !is_read(method))
        return; /* a Bundle */
    if (count == 2 && strcmp(parts[1], "metadata") == 0)
        return; /* open, as the standard wants it */
    if (count == 1)
        set(need, RIGHT_SYSTEM, "*", RIGHT_SEARCH);
    else if (parts[1][0] == '_' || parts[1][0] == '$')
        set(need, RIGHT_SYSTEM, "*",
            is_read(method) ? RIGHT_READ | RIGHT_SEARCH : RIGHT_UPDATE);
    else
        set(need, RIGHT_SYSTEM, parts[1],
            permits_on_type(method, parts, count));
}

void doors_need(const char *method, const char *const *parts, size_t count,
                struct door_need *need)
{
    memset(need, 0, sizeof(*need));
    if (count == 0)
        return; /* there is nothing */
    if (strcmp(parts[0], "fhir") == 0)
        need_fhir(method, parts, count, need);
    else if (count == 1 && strcmp(parts[0], "hl7") == 0 && !is_read(method))
        set(need, RIGHT_SYSTEM, "Observation", RIGHT_CREATE);
    else if (!is_read(method))
        set(need, RIGHT_LOCAL, parts[0], RIGHT_UPDATE);
    else if (strcmp(parts[0], "metrics") == 0 || strcmp(parts[0], "audit") == 0)
        set(need, RIGHT_LOCAL, parts[0], RIGHT_READ);
    else
        set(need, RIGHT_SYSTEM, "Task", RIGHT_READ | RIGHT_SEARCH);
}

/* The type that Source:parameter[:Type] leads to; len 0: any. */
static const char *included_type(const char *value, size_t *len)
{
    static const char *const patients[] = { "patient", "subject" };
    const char *parameter = strchr(value, ':'), *type;
    size_t parameter_len;

    *len = 0;
    if (parameter == NULL)
        return "";
    parameter++;
    parameter_len = strcspn(parameter, ":");
    type = parameter + parameter_len;
    if (*type == ':') {
        *len = strlen(type + 1);
        return type + 1;
    }
    for (size_t i = 0; i < COUNT(patients); i++) {
        if (strlen(patients[i]) == parameter_len &&
            memcmp(parameter, patients[i], parameter_len) == 0) {
            *len = strlen("Patient");
            return "Patient";
        }
    }
    return "";
}

void doors_need_included(const char *name, const char *value,
                         struct door_need *need)
{
    char type[RIGHT_TYPE_SIZE] = "*";
    const char *found = value;
    size_t len = 0;

    memset(need, 0, sizeof(*need));
    if (strncmp(name, "_include", 8) == 0)
        found = included_type(value, &len);
    else if (strncmp(name, "_revinclude", 11) == 0)
        len = strcspn(value, ":");
    else
        return;
    if (len > 0 && len < sizeof(type)) {
        memcpy(type, found, len);
        type[len] = '\0';
    }
    set(need, RIGHT_SYSTEM, type, RIGHT_READ);
}

static void write_scope(const struct right *right, unsigned permits,
                        char *scope, size_t size)
{
    struct buf letters;

    buf_init(&letters, 16);
    rights_letters(permits, &letters);
    snprintf(scope, size, "%s/%s.%s",
             right->level == RIGHT_LOCAL ? "headgate" : "system", right->type,
             letters.data);
    buf_clear(&letters);
}

void doors_need_scope(const struct door_need *need, char *scope, size_t size)
{
    scope[0] = '\0';
    if (need->right.permits != 0)
        write_scope(&need->right, need->right.permits, scope, size);
}

bool doors_let(const struct door_grant *grant, const struct door_need *need,
               char *scope, size_t size)
{
    unsigned left;

    if (grant->scopes == NULL || need->right.permits == 0)
        return true;
    left = rights_left(&need->right, grant->scopes);
    if (left == 0)
        return true;
    write_scope(&need->right, left, scope, size);
    return false;
}

/* ---- Bundles ------------------------------------------------------------ */

static unsigned permits_of_entry(const struct fhir_item *item)
{
    if (item->method == NULL) /* of a collection: new, or known already */
        return RIGHT_CREATE | RIGHT_UPDATE;
    if (is_read(item->method))
        return RIGHT_READ | RIGHT_SEARCH;
    return permits_of(item->method);
}

size_t doors_check_bundle(const struct door_grant *grant, struct fhir_doc *doc)
{
    size_t forbidden = 0;

    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        struct fhir_item *item = fhir_doc_item(doc, i);
        struct door_need need;
        char scope[64];

        set(&need, RIGHT_SYSTEM,
            item->type_name != NULL ? item->type_name : "*",
            permits_of_entry(item));
        if (item->of_search ||
            (outcome_refuses(&item->outcome) && !item->only_held) ||
            doors_let(grant, &need, scope, sizeof(scope)))
            continue; /* what is refused for its form is told so */
        /* alone: of what he may not send he is told nothing else */
        outcome_init(&item->outcome);
        outcome_add(&item->outcome, SEV_ERROR, "forbidden", "",
                    "The token does not allow this; it lacks %s", scope);
        item->only_held = false;
        forbidden++;
    }
    return forbidden;
}
