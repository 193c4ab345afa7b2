#include "service/patient_names.h"

#include <stdlib.h>
#include <string.h>

/* "i:system|value": the value; "r:Patient/p-1": what follows the last slash. */
static const char *value_of(const char *alias)
{
    const char *cut =
        alias[0] == 'i' ? strchr(alias, '|') : strrchr(alias, '/');

    return cut != NULL ? cut + 1 : alias + 2;
}

static enum err grow(struct patient_names *names)
{
    size_t room = names->room == 0 ? 16 : 2 * names->room;
    struct patient_name *list;

    if (names->count < names->room)
        return ERR_OK;
    if (names->count >= PATIENT_NAMES_MAX)
        return ERR_LIMIT;
    list = realloc(names->list, room * sizeof(*list));
    if (list == NULL)
        return ERR_MEMORY;
    names->list = list;
    names->room = room;
    return ERR_OK;
}

enum err patient_names_add(struct patient_names *names, const char *alias)
{
    enum err e = grow(names);
    char *kept;

    if (e != ERR_OK || strlen(alias) <= 2)
        return e;
    kept = strdup(alias);
    if (kept == NULL)
        return ERR_MEMORY;
    names->list[names->count++] =
        (struct patient_name){ .alias = kept, .value = value_of(kept) };
    return ERR_OK;
}

static int by_value(const void *a, const void *b)
{
    const struct patient_name *x = a, *y = b;

    return strcmp(x->value, y->value);
}

void patient_names_sort(struct patient_names *names)
{
    if (names->count > 0)
        qsort(names->list, names->count, sizeof(*names->list), by_value);
}

void patient_names_free(struct patient_names *names)
{
    for (size_t i = 0; i < names->count; i++)
        free(names->list[i].alias);
    free(names->list);
    *names = (struct patient_names){ .list = NULL };
}

enum err patient_names_read(struct db *db, int64_t patient,
                            struct patient_names *names)
{
    const enum query q = Q_WHOLE_ALIASES;
    enum err e = db_query(db, q, "i", patient);

    patient_names_free(names);
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        const char *alias = db_text(db, q, 0);

        if (alias != NULL)
            e = patient_names_add(names, alias);
    }
    db_done(db, q);
    patient_names_sort(names);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* The first with this value; count: there is none. */
static size_t first_of(const struct patient_names *names, const char *value)
{
    size_t low = 0, high = names->count;

    while (low < high) {
        size_t middle = low + (high - low) / 2;

        if (strcmp(names->list[middle].value, value) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

bool patient_names_have(const struct patient_names *names, const char *alias)
{
    const char *value;

    if (strlen(alias) <= 2)
        return false;
    value = value_of(alias);
    for (size_t i = first_of(names, value);
         i < names->count && strcmp(names->list[i].value, value) == 0; i++) {
        if (strcmp(names->list[i].alias, alias) == 0)
            return true;
    }
    return false;
}

bool patient_names_number(const struct patient_names *names, const char *value)
{
    for (size_t i = first_of(names, value);
         i < names->count && strcmp(names->list[i].value, value) == 0; i++) {
        if (names->list[i].alias[0] == 'i')
            return true;
    }
    return false;
}
