#include "service/task_change.h"

#include "adapters/fhir_deed.h"
#include "adapters/fhir_patch.h"
#include "adapters/fhir_write.h"
#include "service/episodes.h"
#include "service/search_index.h"

#include <stdio.h>
#include <string.h>

/* What the change comes to. */
struct changing {
    struct task_change *c;
    const char *body; /* the new Task */
    size_t len;
    int64_t part;    /* of its access */
    char status[24]; /* before */
};

bool etag_matches(const char *list, int version)
{
    char tag[32];
    size_t len = (size_t)snprintf(tag, sizeof(tag), "\"%d\"", version);

    while (version > 0 && *list != '\0') {
        size_t n;

        list += strspn(list, ", \t");
        n = strcspn(list, ", \t");
        if (n == 1 && *list == '*')
            return true;
        /* weak or strong: a version is the same bytes */
        if (n > 2 && strncmp(list, "W/", 2) == 0) {
            list += 2;
            n -= 2;
        }
        if (n == len && memcmp(list, tag, n) == 0)
            return true;
        list += n;
    }
    return false;
}

/* ---- may it be changed? ------------------------------------------------- */

static enum err check_conditions(const struct task_change *c)
{
    if (c->if_none_match != NULL &&
        etag_matches(c->if_none_match, c->row.version)) {
        outcome_add(c->outcome, SEV_ERROR, "precondition", "Task",
                    "If-None-Match: this version is there");
        return ERR_CONFLICT;
    }
    if (c->if_match == NULL && c->must_match) {
        outcome_add(c->outcome, SEV_ERROR, "condition-needed", "Task",
                    "Say with If-Match which version was changed");
        return ERR_CONFLICT;
    }
    if (c->if_match == NULL || etag_matches(c->if_match, c->row.version))
        return ERR_OK;
    outcome_add(c->outcome, SEV_ERROR, "precondition", "Task",
                "The current version is %d", c->row.version);
    return ERR_CONFLICT;
}

static enum err find_part(struct db *db, struct changing *g)
{
    enum err e = db_first(db, Q_TASK_GET, "i", g->c->row.id);

    if (e == ERR_OK) {
        g->part = partition_of(db_int(db, Q_TASK_GET, 1));
        snprintf(g->status, sizeof(g->status), "%s",
                 db_text(db, Q_TASK_GET, 2));
    }
    db_done(db, Q_TASK_GET);
    return e;
}

static bool is_this_task(const struct task_change *c, struct fhir_doc *doc)
{
    struct fhir_item *item = fhir_doc_item(doc, 0);

    if (fhir_doc_bundle(doc) != BUNDLE_NONE || item->type != FHIR_TASK)
        outcome_add(c->outcome, SEV_ERROR, "bad-value", "resourceType",
                    "The path asks for a Task");
    else if (outcome_refuses(&item->outcome))
        *c->outcome = item->outcome;
    else if (item->id == NULL || strcmp(item->id, c->id) != 0)
        outcome_add(c->outcome, SEV_ERROR, "bad-value", "Task.id",
                    "The id in the body must be that of the path");
    return !outcome_refuses(c->outcome);
}

/* What is to be stored has to be R4 all through, and this Task. */
static enum err read_task(const struct task_change *c, const char *body,
                          size_t len)
{
    struct fhir_doc *doc = NULL;
    enum err e;

    if (len > TASK_TAKEN_MAX) {
        outcome_add(c->outcome, SEV_ERROR, "too-long", "Task",
                    "A Task is taken up to %d bytes", TASK_TAKEN_MAX);
        return ERR_CONFLICT;
    }
    e = fhir_read(c->reader, body, len, c->outcome, &doc);
    if (e == ERR_OK && !is_this_task(c, doc))
        e = ERR_CONFLICT;
    fhir_doc_free(doc);
    return e != ERR_OK && outcome_refuses(c->outcome) ? ERR_CONFLICT : e;
}

/* ---- changing it -------------------------------------------------------- */

static enum err follow(struct db *db, const struct changing *g)
{
    const struct task_change *c = g->c;
    struct fhir_task_view view;
    char owner[FHIR_OWNER_SIZE];
    enum err e = fhir_task_view(g->body, g->len, &view);
    bool moved = e == ERR_OK && strcmp(g->status, view.status) != 0;

    fhir_task_owner(g->body, g->len, owner);
    if (e == ERR_OK)
        e = db_run(db, Q_TASK_STATUS, "iss", c->row.id, view.status,
                   view.priority);
    if (e == ERR_OK && moved)
        e = episode_follow(db, c->row.id, view.status, c->now_ms / 1000);
    if (e == ERR_OK)
        e = episode_own(db, c->row.id, owner, moved, c->now_ms / 1000);
    if (e == ERR_OK && c->deliver)
        e = db_run(db, Q_OUTBOX_WANT, "iiii", c->row.id, g->part,
                   INT64(c->row.version), c->now_ms);
    return e;
}

static enum err put(struct db *db, const struct changing *g)
{
    struct task_change *c = g->c;
    const struct search_site site = { c->reader->zone, c->reader->self };
    const struct new_version v = { .body = g->body,
                                   .len = g->len,
                                   .site = &site };
    enum err e = resource_put(db, &c->row, NULL, g->part, c->now_ms, &v);

    return e == ERR_OK ? follow(db, g) : e;
}

/* The Task as it is seen from outside, with its meta: that is what a patch is
 * made for. */
static enum err apply_patch(struct db *db, struct changing *g,
                            struct buf *patched)
{
    struct task_change *c = g->c;
    struct buf shown;
    int64_t updated_ms;
    enum err e;

    buf_init(&shown, TASK_MAX);
    e = resource_served(db, c->reader->base, &c->row, 0, &shown, &updated_ms);
    if (e == ERR_OK)
        e = fhir_patch_apply(shown.data, shown.len, c->body, c->len, c->outcome,
                             patched);
    buf_clear(&shown);
    if (e != ERR_OK)
        return outcome_refuses(c->outcome) ? ERR_CONFLICT : e;
    g->body = patched->data;
    g->len = patched->len;
    return read_task(c, g->body, g->len);
}

static enum err change(struct db *db, struct changing *g)
{
    struct task_change *c = g->c;
    struct buf old;
    int64_t updated_ms;
    enum err e = find_part(db, g);

    buf_init(&old, TASK_MAX);
    if (e == ERR_OK)
        e = resource_body(db, &c->row, 0, &old, &updated_ms);
    if (e == ERR_OK)
        fhir_task_person_update(old.data, old.len, g->body, g->len, c->outcome);
    buf_clear(&old);
    if (e == ERR_OK && outcome_refuses(c->outcome))
        return ERR_CONFLICT;
    return e == ERR_OK ? put(db, g) : e;
}

enum err task_change(struct db *db, struct task_change *c)
{
    struct changing g = { .c = c, .body = c->body, .len = c->len };
    struct buf patched;
    enum err e =
        c->patch || c->is_read ? ERR_OK : read_task(c, c->body, c->len);

    if (e != ERR_OK)
        return e;
    e = resource_shown(db, FHIR_TASK, c->id, &c->row);
    if (e == ERR_ABSENT) {
        outcome_add(c->outcome, SEV_ERROR, "not-found", "Task",
                    "This Task is not known here; Tasks are made by headgate");
        return ERR_CONFLICT;
    }
    if (e == ERR_OK)
        e = check_conditions(c);
    buf_init(&patched, TASK_MAX);
    if (e == ERR_OK && c->patch)
        e = apply_patch(db, &g, &patched);
    if (e == ERR_OK)
        e = change(db, &g);
    buf_clear(&patched);
    return e;
}
