#include "service/audit_request.h"

#include "adapters/fhir_search.h"
#include "service/app.h"
#include "service/explain.h"
#include "service/patients.h"

#include <stdio.h>
#include <string.h>

/* ---- who ------------------------------------------------------------------ */

static void fill_actor(struct audit_request *a, const struct service *s,
                       const struct http_request *r)
{
    const struct door_grant *grant = &s->grant;
    long uid;

    if (http_is_local(r)) {
        a->kind = "local";
        uid = http_peer_uid(r);
        if (uid >= 0)
            snprintf(a->actor, sizeof(a->actor), "uid %ld", uid);
        return;
    }
    a->kind = grant->name == NULL ? "anonymous"
              : grant->is_signed  ? "signed"
                                  : "token";
    snprintf(a->actor, sizeof(a->actor), "%s",
             grant->name != NULL ? grant->name : "");
    snprintf(a->scope, sizeof(a->scope), "%s",
             grant->name != NULL ? s->scope_used : "");
}

/* ---- what ----------------------------------------------------------------- */

/* The next part of a path, cut to its room. */
static bool next_part(const char **at, char *out, size_t size)
{
    size_t len;

    *at += strspn(*at, "/");
    len = strcspn(*at, "/");
    snprintf(out, size, "%.*s", (int)len, *at);
    *at += len;
    return len > 0;
}

static bool reads(const char *method)
{
    return strcmp(method, "GET") == 0 || strcmp(method, "HEAD") == 0;
}

static const char *word_of_method(const char *method)
{
    return strcmp(method, "PUT") == 0      ? "update"
           : strcmp(method, "PATCH") == 0  ? "patch"
           : strcmp(method, "DELETE") == 0 ? "delete"
                                           : "create";
}

/* As the standard calls what is done: restful-interaction. */
static const char *fhir_word(const char *method, const struct audit_request *a,
                             const char *part, const char *version)
{
    bool read = reads(method);

    if (a->type[0] == '\0')
        return "bundle";
    if (strcmp(a->key, "_search") == 0)
        return "search";
    if (strcmp(a->key, "_history") == 0)
        return "history";
    if (!read)
        return word_of_method(method);
    return a->key[0] == '\0'    ? "search"
           : part[0] == '\0'    ? "read"
           : version[0] != '\0' ? "vread"
                                : "history";
}

static void fill_fhir(struct audit_request *a, const char *method,
                      const char *path)
{
    char part[16], version[24];

    (void)next_part(&path, a->type, sizeof(a->type));
    (void)next_part(&path, a->key, sizeof(a->key));
    (void)next_part(&path, part, sizeof(part));
    (void)next_part(&path, version, sizeof(version));
    snprintf(a->action, sizeof(a->action), "%s",
             fhir_word(method, a, part, version));
    if (a->key[0] == '_')
        a->key[0] = '\0';
    if (version[0] != '\0')
        snprintf(a->detail, sizeof(a->detail), "version %s", version);
    a->skip = strcmp(a->type, "metadata") == 0 ||
              strcmp(a->type, "SearchParameter") == 0;
}

static void fill_page(struct audit_request *a, const char *method,
                      const char *path)
{
    (void)next_part(&path, a->key, sizeof(a->key));
    snprintf(a->action, sizeof(a->action), "%s",
             reads(method) ? "look" : a->type);
    /* without patients */
    a->skip = strcmp(a->type, "metrics") == 0 ||
              strcmp(a->type, "healthz") == 0 || strcmp(a->type, "readyz") == 0;
}

/* ---- whom ------------------------------------------------------------------- */

static void name(struct audit_request *a, enum audit_named kind,
                 const char *value)
{
    size_t len =
        kind == AUDIT_PATIENT && a->named == kind ? strlen(a->subject) : 0;

    if (value[0] == '\0' || strlen(value) + len + 2 > sizeof(a->subject))
        return; /* too many to name; those who are shown are seen anyway */
    a->named = kind;
    snprintf(a->subject + len, sizeof(a->subject) - len, "%s%s",
             len > 0 ? "\n" : "", value);
}

/* "Patient/pa,Patient/pb": the standard's "or". */
static void name_each(struct audit_request *a, const char *values)
{
    while (*values != '\0') {
        char one[ALIAS_SIZE];
        size_t len = strcspn(values, ",");

        if (len < sizeof(one)) {
            snprintf(one, sizeof(one), "%.*s", (int)len, values);
            name(a, AUDIT_PATIENT, one);
        }
        values += len;
        values += *values == ',' ? 1 : 0;
    }
}

static bool is_one_of(const char *text, const char *const *list, size_t count)
{
    size_t i = 0;

    while (i < count && strcmp(list[i], text) != 0)
        i++;
    return i < count;
}

/* "patient", "subject:Patient", "patient.identifier" ... */
static bool names_patient(const char *parameter)
{
    static const char *const ends[] = { "", ":Patient", ":identifier",
                                        ".identifier", ":Patient.identifier" };
    static const char *const starts[] = { "patient", "subject" };

    for (size_t i = 0; i < COUNT(starts); i++) {
        size_t len = strlen(starts[i]);

        if (strncmp(parameter, starts[i], len) == 0 &&
            is_one_of(parameter + len, ends, COUNT(ends)))
            return true;
    }
    return false;
}

/* The names of parameters are kept, their values are not. */
static void see_parameter(void *arg, const char *parameter, const char *value)
{
    struct audit_request *a = arg;
    bool is_patient = strcmp(a->type, "Patient") == 0;
    size_t len = strlen(a->detail);

    if (strcmp(parameter, "by") == 0) {
        snprintf(a->who, sizeof(a->who), "%s", value);
        return;
    }
    if (strcmp(parameter, "access") == 0 ||
        (strcmp(parameter, "from") == 0 && strcmp(a->type, "access") == 0))
        name(a, AUDIT_ACCESS, value);
    else if (names_patient(parameter) ||
             (is_patient && (strcmp(parameter, "identifier") == 0 ||
                             strcmp(parameter, "_id") == 0)))
        name_each(a, value);
    if (strcmp(parameter, "_id") == 0 && a->key[0] == '\0' &&
        strchr(value, ',') == NULL)
        snprintf(a->key, sizeof(a->key), "%s", value);
    snprintf(a->detail + len, sizeof(a->detail) - len, "%s%s",
             len > 0 ? "&" : "?", parameter);
}

void audit_request_open(struct audit_request *a, const struct service *s,
                        const struct http_request *r)
{
    const char *path = http_path(r), *method = http_method(r);

    memset(a, 0, sizeof(*a));
    fill_actor(a, s, r);
    (void)next_part(&path, a->type, sizeof(a->type));
    if (strcmp(a->type, "fhir") == 0)
        fill_fhir(a, method, path);
    else
        fill_page(a, method, path);
    http_query_each(r, see_parameter, a);
    http_form_each(r, see_parameter, a);
}

void audit_request_act(struct audit_request *a, const char *what,
                       const char *verb)
{
    snprintf(a->action, sizeof(a->action), "%s-%s", what, verb);
}

void audit_request_count(struct audit_request *a, size_t stored, size_t refused)
{
    snprintf(a->detail, sizeof(a->detail), "stored %zu, refused %zu", stored,
             refused);
}

/* ---- writing -------------------------------------------------------------- */

static enum err number_of(struct db *db, enum query q, enum err e,
                          int64_t *number)
{
    if (e == ERR_OK)
        *number = db_int(db, q, 0);
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err patient_of_access(struct db *db, const char *called,
                                  int64_t *patient)
{
    const enum query q = Q_AUDIT_OF_ACCESS;
    int status = 0;
    int64_t access = 0;
    struct buf unused;
    enum err e;

    buf_init(&unused, 65536);
    e = explain_find(db, called, &status, &access, &unused);
    buf_clear(&unused);
    if (e == ERR_LIMIT)
        return ERR_OK;
    if (e != ERR_OK || status != 200)
        return e;
    return number_of(db, q, db_first(db, q, "i", access), patient);
}

/* By a reference, or a business identifier with its system. */
static enum err patient_named(struct db *db, const char *called,
                              int64_t *patient)
{
    const enum query q = Q_PATIENT_BY_ALIAS;
    const char *bar = strchr(called, '|'), *slash = strrchr(called, '/');
    char alias[ALIAS_SIZE];
    enum err e;

    if (bar != NULL)
        snprintf(alias, sizeof(alias), "i:%s", called);
    else
        snprintf(alias, sizeof(alias), "r:Patient/%s",
                 slash != NULL ? slash + 1 : called);
    e = number_of(db, q, db_first(db, q, "s", alias), patient);
    return e;
}

/* Whom the request names, by their Patient's id or an identifier. */
static enum err see_subjects(struct db *db, const char *subjects)
{
    enum err e = ERR_OK;

    while (e == ERR_OK && *subjects != '\0') {
        char one[ALIAS_SIZE];
        size_t len = strcspn(subjects, "\n");
        int64_t patient = 0;

        snprintf(one, sizeof(one), "%.*s", (int)len, subjects);
        e = patient_named(db, one, &patient);
        if (e == ERR_OK)
            e = audit_saw(db, AUDIT_SAW_PATIENT, patient);
        subjects += len;
        subjects += *subjects == '\n' ? 1 : 0;
    }
    return e;
}

static enum err see_named(struct db *db, const struct audit_request *a)
{
    const enum query q = Q_AUDIT_PATIENT;
    enum fhir_type type = type_by_word(a->type);
    int64_t patient = 0;
    enum err e = audit_saw(db, AUDIT_SAW_PATIENT, a->patient);

    if (e == ERR_OK && type != FHIR_OTHER && a->key[0] != '\0' &&
        !a->key_seen) {
        e = number_of(db, q, db_first(db, q, "is", INT64(type), a->key),
                      &patient);
        if (e == ERR_OK)
            e = audit_saw(db, AUDIT_SAW_PATIENT, patient);
    }
    if (e != ERR_OK || a->named == AUDIT_NOBODY || a->patient != 0)
        return e;
    if (a->named == AUDIT_PATIENT && type != FHIR_OTHER)
        return see_subjects(db, a->subject);
    /* what people call it; done a few times an hour, not a second */
    if (a->named == AUDIT_PATIENT)
        e = number_of(db, Q_AUDIT_WHOM,
                      db_first(db, Q_AUDIT_WHOM, "s", a->subject), &patient);
    if (e == ERR_OK && patient == 0)
        e = patient_of_access(db, a->subject, &patient);
    return e == ERR_OK ? audit_saw(db, AUDIT_SAW_PATIENT, patient) : e;
}

/* What failed has shown nobody, and what was undone is not seen any more; but
 * what was seen before it began is there again. */
static enum err find_whom(struct db *db, struct audit_request *a,
                          enum err came_to, enum audit_outcome outcome,
                          struct audit_whom *whom)
{
    enum err e = a->sees && came_to == ERR_OK ? ERR_OK : audit_whom_begin(db);

    if (e == ERR_OK && outcome != AUDIT_FAILED)
        e = see_named(db, a);
    a->sees = false;
    return e == ERR_OK ? audit_whom_take(db, whom) : e;
}

static enum audit_outcome outcome_of(const struct audit_request *a,
                                     enum err came_to)
{
    if (came_to == ERR_OK)
        return a->refused ? AUDIT_REFUSED : AUDIT_DONE;
    return came_to == ERR_ABSENT || came_to == ERR_CONFLICT ||
                   came_to == ERR_FORM || came_to == ERR_LIMIT
               ? AUDIT_REFUSED
               : AUDIT_FAILED;
}

enum err audit_request_keep(struct db *db, void *arg, enum err came_to)
{
    struct exchange *x = arg;
    struct audit_request *a = &x->audit;
    struct audit_entry row = { .at_ms = clock_ms(),
                               .kind = a->kind,
                               .actor = a->actor,
                               .scope = a->scope,
                               .who = a->who,
                               .action = a->action,
                               .type = a->type,
                               .key = a->key,
                               .detail = a->detail,
                               .outcome = outcome_of(a, came_to) };
    struct audit_whom whom;
    enum err e;

    if (a->skip)
        return ERR_OK;
    e = find_whom(db, a, came_to, row.outcome, &whom);
    row.whom = &whom;
    return e == ERR_OK ? audit_note(db, &row) : e;
}
