/* Is a patient named in a text of JSON? */
#include "adapters/fhir_named.h"

#include "adapters/hex.h"
#include "service/patient_sought.h"
#include "service/patients.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct look {
    const struct seeking *s;
    struct found *found;
    enum err e;
    bool over;
};

static void find(struct look *l, enum sought how)
{
    if (how > l->found->how)
        l->found->how = how;
}

/* What is done is done: nothing more is to be found out. */
static bool is_over(const struct look *l)
{
    return l->e != ERR_OK || l->found->how == SOUGHT_SURE;
}

static void see_number(struct look *l, const char *system, const char *value,
                       bool person)
{
    enum sought how = SOUGHT_NOT;

    if (!person && (system == NULL || system[0] == '\0'))
        return;
    l->e = patient_sought_number(l->s, system, value, &how);
    if (person || how == SOUGHT_SURE)
        find(l, how);
}

/* ---- references ---------------------------------------------------------------- */

/* Is somebody else called so here? */
static bool is_of_another(struct look *l, const char *text, size_t len)
{
    const enum query q = Q_PATIENT_BY_ALIAS;
    char alias[ALIAS_SIZE];
    enum err e;

    snprintf(alias, sizeof(alias), "r:%.*s", (int)len, text);
    e = db_first(l->s->db, q, "s", alias);
    db_done(l->s->db, q);
    if (e != ERR_OK && e != ERR_ABSENT)
        l->e = e;
    return e == ERR_OK;
}

/* The literal without our own address in front and a version behind. */
static void see_literal(struct look *l, const char *text, size_t len)
{
    const char *base = l->s->base, *version, *id;
    size_t base_len = strlen(base);
    char alias[ALIAS_SIZE];

    if (base_len > 0 && len > base_len && text[base_len] == '/' &&
        strncmp(text, base, base_len) == 0) {
        text += base_len + 1;
        len -= base_len + 1;
    }
    version = patient_sought_bytes(text, len, "/_history", 9);
    if (version != NULL)
        len = (size_t)(version - text);
    if (len == 0 || snprintf(alias, sizeof(alias), "r:%.*s", (int)len, text) >=
                        (int)sizeof(alias))
        return;
    if (patient_names_have(l->s->names, alias)) {
        find(l, SOUGHT_SURE);
        return;
    }
    /* of another server, which may have another patient of this id */
    id = patient_sought_bytes(text, len, "/Patient/", 9);
    if (id == NULL)
        return;
    snprintf(alias, sizeof(alias), "r:%.*s", (int)(text + len - id - 1),
             id + 1);
    if (patient_names_have(l->s->names, alias) && !is_of_another(l, text, len))
        find(l, SOUGHT_PERHAPS);
}

static void see_id(struct look *l, const char *id)
{
    char literal[ALIAS_SIZE];

    if (strlen(id) < sizeof(literal) - 16) {
        snprintf(literal, sizeof(literal), "Patient/%s", id);
        see_literal(l, literal, strlen(literal));
    }
}

/* ---- conditions in URLs -------------------------------------------------------- */

/* In place (RFC 3986, 2.1). */
static void decode(char *text)
{
    char *to = text;

    for (const char *at = text; *at != '\0'; at++) {
        int high = *at == '%' ? hex_digit(at[1]) : -1;
        int low = high >= 0 ? hex_digit(at[2]) : -1;

        if (low > 0 || (low == 0 && high > 0)) {
            *to++ = (char)(16 * high + low);
            at += 2;
        } else {
            *to = *at;
            if (*at == '+')
                *to = ' ';
            to++;
        }
    }
    *to = '\0';
}

static bool begins(const char *text, const char *word)
{
    return strncmp(text, word, strlen(word)) == 0;
}

/* One value of a parameter, decoded. */
static void see_value(struct look *l, const char *name, char *value,
                      bool of_patient)
{
    bool person = begins(name, "patient") || begins(name, "subject");
    char *bar = strchr(value, '|');

    if (bar != NULL) {
        *bar = '\0';
        see_number(l, value, bar + 1, person || of_patient);
        return;
    }
    see_literal(l, value, strlen(value));
    if (person || (of_patient && strcmp(name, "_id") == 0))
        see_id(l, value);
    if (strstr(name, "identifier") != NULL)
        see_number(l, NULL, value, person || of_patient);
}

static void see_query(struct look *l, const char *query, bool of_patient)
{
    char *copy = strdup(query), *rest = copy, *pair;

    if (copy == NULL)
        l->e = ERR_MEMORY;
    while (copy != NULL && (pair = patient_sought_part(&rest, '&')) != NULL) {
        char *value = strchr(pair, '='), *one;

        if (value == NULL)
            continue;
        *value++ = '\0';
        decode(pair);
        decode(value);
        while (!is_over(l) && (one = patient_sought_part(&value, ',')) != NULL)
            see_value(l, pair, one, of_patient);
    }
    free(copy);
}

/* Does the path end with the type Patient? */
static bool is_of_patients(const char *text, size_t len)
{
    static const char word[] = "Patient";
    size_t size = sizeof(word) - 1;

    return len >= size && memcmp(text + len - size, word, size) == 0 &&
           (len == size || text[len - size - 1] == '/');
}

static void see_text(struct look *l, const char *key, const char *text)
{
    size_t len = strcspn(text, "?");

    if (key != NULL && strcmp(key, "ifNoneExist") == 0) {
        see_query(l, text + (text[len] == '?' ? len + 1 : 0), true);
        return;
    }
    if (strchr(text, '/') != NULL || text[len] == '?')
        see_literal(l, text, len);
    if (text[len] == '?')
        see_query(l, text + len + 1, is_of_patients(text, len));
}

/* ---- all of it ------------------------------------------------------------------ */

static void on_number(void *arg, const char *system, const char *value,
                      bool person)
{
    struct look *l = arg;

    see_number(l, system, value, person);
    l->over = is_over(l);
}

static void on_id(void *arg, const char *id)
{
    struct look *l = arg;

    see_id(l, id);
    l->over = is_over(l);
}

static void on_text(void *arg, const char *key, const char *text)
{
    struct look *l = arg;

    see_text(l, key, text);
    l->over = is_over(l);
}

enum err patient_sought_json(const struct seeking *s, const char *bytes,
                             size_t len, struct found *found)
{
    struct look l = { .s = s, .found = found, .e = ERR_OK };
    const struct fhir_named named = { .number = on_number,
                                      .id = on_id,
                                      .text = on_text,
                                      .arg = &l,
                                      .over = &l.over };
    enum err e = fhir_named_each(bytes, len, &named);

    return e == ERR_OK ? l.e : e;
}
