#include "service/intake_work.h"

#include "adapters/http_target.h"
#include "service/patients.h"
#include "service/task_change.h"

#include <stdio.h>
#include <string.h>

/* "identifier=system|value", as it stands in a URL; a system that is not
 * given is none, and not any. */
static bool read_condition(const char *query, char system[ALIAS_SIZE],
                           char value[ALIAS_SIZE])
{
    char target[2 * ALIAS_SIZE];
    struct http_target t;
    const char *token, *bar;
    bool ok;

    if (snprintf(target, sizeof(target), "/?%s", query) >=
            (int)sizeof(target) ||
        http_target_read(target, &t) != ERR_OK)
        return false;
    token = http_target_query(&t, "identifier");
    bar = token != NULL ? strchr(token, '|') : NULL;
    ok = t.pair_count == 1 && bar != NULL && bar[1] != '\0' &&
         bar - token < ALIAS_SIZE && strlen(bar + 1) < ALIAS_SIZE;
    if (ok) {
        snprintf(system, ALIAS_SIZE, "%.*s", (int)(bar - token), token);
        snprintf(value, ALIAS_SIZE, "%s", bar + 1);
    }
    http_target_clear(&t);
    return ok;
}

static void say(struct entry *e, const char *word, const char *place,
                const char *text)
{
    outcome_add(&e->item->outcome, SEV_ERROR, word, place, "%s", text);
    entry_refuse(e, e->item->outcome.status);
}

/* If-None-Exist: identifier=system|value. */
static enum err if_none_exist(struct db *db, struct entry *e, bool *done)
{
    char system[ALIAS_SIZE], value[ALIAS_SIZE];
    enum err found;

    *done = true;
    if (!read_condition(e->item->if_none_exist, system, value)) {
        say(e, "precondition", "",
            "If-None-Exist is understood as identifier=system|value only");
        return ERR_OK;
    }
    found = resource_by_identifier(db, e->item->type, system, value, &e->row);
    *done = found != ERR_ABSENT;
    if (found == ERR_AMBIGUOUS)
        say(e, "precondition", "",
            "If-None-Exist matches more than one resource");
    else if (found == ERR_OK)
        entry_found(e, 200);
    else if (found != ERR_ABSENT)
        return found;
    return ERR_OK;
}

/* Nothing has it: it is created, with the id in the body if there is one,
 * unless something else has that id. */
static enum err create_with(struct db *db, struct entry *e)
{
    struct resource other;
    enum err found;

    if (e->item->id == NULL)
        return ERR_OK;
    found = resource_by_fid(db, e->item->type, e->item->id, &other);
    if (found == ERR_OK)
        say(e, "identity", "",
            "No resource has this identifier, and another one has this id");
    else if (found != ERR_ABSENT)
        return found;
    snprintf(e->fid, FID_SIZE, "%s", e->item->id);
    return ERR_OK;
}

/* PUT Type?identifier=system|value */
static enum err update_of(struct db *db, struct entry *e, bool *done)
{
    char system[ALIAS_SIZE], value[ALIAS_SIZE];
    struct resource row;
    enum err found;

    if (!read_condition(e->item->condition, system, value)) {
        say(e, "bad-parameter", "",
            "A conditional update is understood with "
            "?identifier=system|value only");
        *done = true;
        return ERR_OK;
    }
    found = resource_by_identifier(db, e->item->type, system, value, &row);
    if (found == ERR_ABSENT)
        found = create_with(db, e);
    else if (found == ERR_AMBIGUOUS)
        say(e, "precondition", "",
            "More than one resource has this "
            "identifier");
    else if (found == ERR_OK && e->item->id != NULL &&
             strcmp(e->item->id, row.fid) != 0)
        say(e, "bad-value", "Resource.id",
            "The id in the body is not that of the resource with this "
            "identifier");
    else if (found == ERR_OK)
        snprintf(e->fid, FID_SIZE, "%s", row.fid);
    *done = e->result->status != 0;
    return found == ERR_AMBIGUOUS ? ERR_OK : found;
}

enum err entry_condition(struct db *db, struct entry *e, bool *done)
{
    *done = false;
    if (e->item->condition != NULL)
        return update_of(db, e, done);
    return e->item->if_none_exist != NULL ? if_none_exist(db, e, done) : ERR_OK;
}

void entry_match(struct entry *e)
{
    const struct fhir_item *item = e->item;
    int version = e->row.id != 0 ? e->row.version : 0;

    if (item->if_none_match != NULL &&
        etag_matches(item->if_none_match, version)) {
        say(e, "precondition", "", "If-None-Match: this version is there");
        return;
    }
    if (item->if_match == NULL || etag_matches(item->if_match, version))
        return;
    outcome_add(&e->item->outcome, SEV_ERROR, "precondition", "",
                "The current version is %d", version);
    entry_refuse(e, 412);
}
