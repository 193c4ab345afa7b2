#include "service/patient_whole.h"

#include <stdio.h>
#include <string.h>

enum err patient_whole_find(struct db *db, const char *name, int64_t *patient)
{
    const enum query q = Q_WHOLE_FIND;
    enum err e;

    if (strncmp(name, "Patient/", 8) == 0)
        name += 8;
    e = db_first(db, q, "s", name);
    if (e != ERR_OK)
        return e;
    *patient = db_int(db, q, 0);
    e = db_next(db, q);
    db_done(db, q);
    if (e == ERR_OK)
        return ERR_AMBIGUOUS;
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- collecting ------------------------------------------------------------- */

static enum err run_all(struct db *db, const enum query *list, size_t count)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = db_run(db, list[i], "");
    return e;
}

static enum err empty_tables(struct db *db)
{
    static const enum query empty[] = { Q_WHOLE_NO_MARK,     Q_WHOLE_NO_ACCESS,
                                        Q_WHOLE_NO_RESOURCE, Q_WHOLE_NO_JOURNAL,
                                        Q_WHOLE_NO_KEPT,     Q_WHOLE_NO_MESSAGE,
                                        Q_WHOLE_NO_ITEM };

    return run_all(db, empty, COUNT(empty));
}

enum err patient_whole_marked(struct db *db, int64_t mark)
{
    enum err e = db_first(db, Q_WHOLE_MARKED, "i", mark);

    db_done(db, Q_WHOLE_MARKED);
    return e == ERR_ABSENT ? ERR_CONFLICT : e;
}

static enum err prepare(struct db *db, int64_t mark)
{
    enum err e = patient_whole_marked(db, mark);

    if (e != ERR_CONFLICT && mark != 0)
        return e;
    e = empty_tables(db);
    return e == ERR_OK ? db_run(db, Q_WHOLE_MARK, "i", mark) : e;
}

enum err patient_whole_collect(struct db *db, int64_t patient, int64_t mark)
{
    static const enum query of_patient[] = { Q_WHOLE_ACCESSES, Q_WHOLE_OWN,
                                             Q_WHOLE_HELD,     Q_WHOLE_TASKS,
                                             Q_WHOLE_NAMED,    Q_WHOLE_NUMBERED,
                                             Q_WHOLE_PERSONS };
    /* after those: what goes with them */
    static const enum query of_those[] = { Q_WHOLE_BESIDE, Q_WHOLE_JOURNALS,
                                           Q_WHOLE_MESSAGES };
    enum err e = prepare(db, mark);

    for (size_t i = 0; e == ERR_OK && i < COUNT(of_patient); i++)
        e = db_run(db, of_patient[i], "i", patient);
    if (e == ERR_OK)
        e = db_run(db, Q_WHOLE_READINGS, "i", patient);
    if (e == ERR_OK)
        e = run_all(db, of_those, COUNT(of_those));
    return e == ERR_OK ? db_run(db, Q_WHOLE_ITEMS, "i", patient) : e;
}

/* ---- names -------------------------------------------------------------------- */

static enum err add_name(struct patient_names *names, const char *text)
{
    if (text[0] == '\0')
        return ERR_OK;
    if (names->count == WHOLE_NAMES_MAX || strlen(text) >= WHOLE_NAME_SIZE)
        return ERR_LIMIT;
    snprintf(names->names[names->count++], WHOLE_NAME_SIZE, "%s", text);
    return ERR_OK;
}

/* "i:system|value": the value; "r:Patient/p-1": what follows the last slash. */
static const char *name_of(const char *alias)
{
    const char *cut =
        alias[0] == 'i' ? strchr(alias, '|') : strrchr(alias, '/');

    return cut != NULL ? cut + 1 : alias + 2;
}

enum err patient_names_read(struct db *db, int64_t patient,
                            struct patient_names *names)
{
    const enum query q = Q_WHOLE_ALIASES;
    enum err e = db_query(db, q, "i", patient);

    names->count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        const char *alias = db_text(db, q, 0);

        if (alias != NULL && strlen(alias) > 2)
            e = add_name(names, name_of(alias));
    }
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* Of a component of HL7 v2; what separates may be others than these, which
 * MSH says, but in practice is not. */
static bool ends_component(char c)
{
    return c == '|' || c == '^' || c == '~' || c == '&' || c == '\r' ||
           c == '\n' || c == '\0';
}

/* Is this place within a PID segment? */
static bool in_pid(const char *text, const char *at)
{
    while (at > text && at[-1] != '\r' && at[-1] != '\n')
        at--;
    return strncmp(at, "PID|", 4) == 0;
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\n' || c == '\r';
}

/* A text of JSON that begins with this quote: of a member "value" (of an
 * identifier), "id" or "reference"?  The same digits as a code are nobody. */
static bool is_named(const char *text, const char *quote)
{
    static const char *const members[] = { "\"value\"", "\"id\"",
                                           "\"reference\"" };

    while (quote > text && is_blank(quote[-1]))
        quote--;
    if (quote == text || quote[-1] != ':')
        return false;
    quote--;
    while (quote > text && is_blank(quote[-1]))
        quote--;
    for (size_t i = 0; i < COUNT(members); i++) {
        size_t len = strlen(members[i]);

        if ((size_t)(quote - text) >= len &&
            memcmp(quote - len, members[i], len) == 0)
            return true;
    }
    return false;
}

static bool stands_at(const char *text, const char *end, const char *at,
                      size_t len)
{
    char before = '\0', behind = '\0';

    if (at > text)
        before = at[-1];
    if (at + len < end)
        behind = at[len];
    if (behind == '"' &&
        (before == '/' || (before == '"' && is_named(text, at - 1))))
        return true;
    /* as a reference with a version, or a condition of a search */
    if (before == '/' && (behind == '/' || behind == '?' || behind == '&'))
        return true;
    if (before == '|' && (behind == '"' || behind == '&'))
        return true;
    return ends_component(before) && ends_component(behind) && in_pid(text, at);
}

/* text is not ended by a NUL of its own, and may hold some */
static const char *find(const char *text, const char *end, const char *name,
                        size_t len)
{
    const char *at = text;

    while (end - at >= (ptrdiff_t)len) {
        at = memchr(at, name[0], (size_t)(end - at) - len + 1);
        if (at == NULL)
            return NULL;
        if (memcmp(at, name, len) == 0)
            return at;
        at++;
    }
    return NULL;
}

bool patient_names_in(const struct patient_names *names, const char *text,
                      size_t len)
{
    const char *end = text + len;

    for (size_t i = 0; i < names->count; i++) {
        const char *name = names->names[i];
        size_t name_len = strlen(name);
        const char *at = text;

        while ((at = find(at, end, name, name_len)) != NULL) {
            if (stands_at(text, end, at, name_len))
                return true;
            at++;
        }
    }
    return false;
}
