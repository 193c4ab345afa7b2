#include "tests/service_world.h"

#include "adapters/fhir_write.h"
#include "service/episodes.h"
#include "tests/test.h"

#include <sqlite3.h>
#include <unistd.h>

int64_t world_now_s = START_S;

int64_t world_now_ms(void)
{
    return world_now_s * 1000;
}

/* ---- opening and closing -------------------------------------------------- */

void world_init(struct world *w)
{
    struct buf why;

    memset(w, 0, sizeof(*w));
    world_now_s = START_S;
    snprintf(w->folder, sizeof(w->folder), "/tmp/headgate-test-XXXXXX");
    assert_non_null(mkdtemp(w->folder));
    snprintf(w->path, sizeof(w->path), "%s/t.db", w->folder);
    buf_init(&why, 4096);
    assert_int_equal(
        policy_file_read(SOURCE_DIR "/config/policy.ini", &w->policy, &why),
        ERR_OK);
    buf_clear(&why);
    assert_int_equal(zone_load("UTC", &w->zone), ERR_OK);
    assert_int_equal(codes_new(BASE, &w->codes), ERR_OK);
    w->reader = (struct fhir_reader){
        .codes = w->codes, .base = BASE, .zone = w->zone, .entries_max = 500
    };
    w->review = (struct review){ .policy = &w->policy,
                                 .zone = w->zone,
                                 .base = BASE,
                                 .now_ms = world_now_ms };
    w->merge_implied = true;
}

void world_forget_message(struct world *w)
{
    fhir_doc_free(w->doc);
    free(w->in.results);
    free(w->body);
    w->doc = NULL;
    w->body = NULL;
    w->in.results = NULL;
}

void world_clear(struct world *w)
{
    static const char *const ends[] = { "", "-wal", "-shm", "-journal" };
    char path[96];

    world_forget_message(w);
    codes_free(w->codes);
    zone_free(w->zone);
    for (size_t i = 0; i < COUNT(ends); i++) {
        snprintf(path, sizeof(path), "%s%s", w->path, ends[i]);
        unlink(path);
    }
    rmdir(w->folder);
}

static void open_db(struct world *w)
{
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
}

static void close_db(struct world *w)
{
    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    db_close(w->db);
    w->db = NULL;
}

int world_start(void **state)
{
    struct world *w = malloc(sizeof(*w));

    assert_non_null(w);
    world_init(w);
    open_db(w);
    *state = w;
    return 0;
}

int world_stop(void **state)
{
    struct world *w = *state;

    db_close(w->db);
    world_clear(w);
    free(w);
    return 0;
}

/* ---- sending -------------------------------------------------------------- */

void world_read(struct world *w, const char *method, const char *id,
                const char *json)
{
    struct fhir_item *item;

    world_forget_message(w);
    w->body = strdup(json);
    assert_non_null(w->body);
    w->reader.now_s = world_now_s;
    outcome_init(&w->outcome);
    w->in = (struct intake){ .reader = &w->reader,
                             .body = w->body,
                             .len = strlen(json),
                             .strict_access = w->strict_access,
                             .merge_implied = w->merge_implied,
                             .now_ms = world_now_ms() };
    if (fhir_read(&w->reader, w->body, w->in.len, &w->outcome, &w->doc) !=
        ERR_OK)
        fail_msg("%s: %s", w->outcome.issues[0].text, json);
    w->in.doc = w->doc;
    w->in.source = fhir_doc_bundle(w->doc) == BUNDLE_COLLECTION ? SOURCE_FEED
                                                                : SOURCE_HTTP;
    w->in.results = calloc(fhir_doc_count(w->doc) + 1, sizeof(*w->in.results));
    assert_non_null(w->in.results);
    if (method == NULL)
        return;
    item = fhir_doc_item(w->doc, 0);
    item->method = method;
    item->url_id = id;
}

enum err world_step(struct world *w, enum err (*run)(struct db *, void *),
                    void *arg)
{
    enum err e;

    assert_int_equal(db_run(w->db, Q_SAVE, ""), ERR_OK);
    e = run(w->db, arg);
    if (e != ERR_OK) {
        assert_int_equal(db_run(w->db, Q_UNDO, ""), ERR_OK);
        db_forget_ids(w->db);
    }
    assert_int_equal(db_run(w->db, Q_RELEASE, ""), ERR_OK);
    return e;
}

/* An intake fails only if the store does, or a transaction is refused. */
static int apply(struct world *w)
{
    w->err = world_step(w, intake_apply, &w->in);
    if (w->err != ERR_OK && !w->in.all_failed)
        fail_msg("the store failed (%s): %s", err_word(w->err), w->body);
    return w->in.results[0].status;
}

int world_post_if(struct world *w, const char *json, const char *none_exist)
{
    world_read(w, "POST", NULL, json);
    fhir_doc_item(w->doc, 0)->if_none_exist = none_exist;
    return apply(w);
}

int world_put_if(struct world *w, const char *id, const char *json,
                 const char *match)
{
    world_read(w, "PUT", id, json);
    fhir_doc_item(w->doc, 0)->if_match = match;
    return apply(w);
}

int world_post(struct world *w, const char *json)
{
    return world_post_if(w, json, NULL);
}

int world_put(struct world *w, const char *id, const char *json)
{
    return world_put_if(w, id, json, NULL);
}

void world_has_access(struct world *w)
{
    assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
    assert_int_equal(
        world_put(w, "acc-7", ACC(.id = "acc-7", .identifier = "A-7")), 201);
}

int world_bundle(struct world *w, const char *json)
{
    world_read(w, NULL, NULL, json);
    return apply(w);
}

int world_status(const struct world *w, size_t i)
{
    return w->in.results[i].status;
}

const char *world_fid(const struct world *w, size_t i)
{
    return w->in.results[i].fid;
}

bool world_says(const struct world *w, size_t i, const char *word)
{
    const struct outcome *o = &fhir_doc_item(w->doc, i)->outcome;

    for (size_t k = 0; k < o->count; k++) {
        if (strcmp(o->issues[k].word, word) == 0)
            return true;
    }
    return false;
}

bool world_says_at(const struct world *w, size_t i, const char *word,
                   const char *place)
{
    const struct outcome *o = &fhir_doc_item(w->doc, i)->outcome;

    for (size_t k = 0; k < o->count; k++) {
        if (strcmp(o->issues[k].word, word) == 0 &&
            strcmp(o->issues[k].place, place) == 0)
            return true;
    }
    return false;
}

struct review_step {
    struct world *w;
    bool more;
};

static enum err review_step(struct db *db, void *arg)
{
    struct review_step *s = arg;

    return review_run(db, &s->w->review, &s->more, &s->w->told);
}

void world_review(struct world *w)
{
    struct review_step s = { .w = w, .more = true };

    w->told = false;
    while (s.more) {
        s.more = false;
        assert_int_equal(world_step(w, review_step, &s), ERR_OK);
    }
}

/* ---- looking -------------------------------------------------------------- */

static sqlite3_stmt *look(sqlite3 **handle, const char *path, const char *sql)
{
    sqlite3_stmt *s = NULL;

    assert_int_equal(sqlite3_open(path, handle), SQLITE_OK);
    if (sqlite3_prepare_v2(*handle, sql, -1, &s, NULL) != SQLITE_OK)
        fail_msg("%s: %s", sqlite3_errmsg(*handle), sql);
    assert_int_equal(sqlite3_step(s), SQLITE_ROW);
    return s;
}

long long world_count_file(const char *path, const char *sql)
{
    sqlite3 *handle;
    sqlite3_stmt *s = look(&handle, path, sql);
    long long n = sqlite3_column_int64(s, 0);

    sqlite3_finalize(s);
    sqlite3_close(handle);
    return n;
}

long long world_count(struct world *w, const char *sql)
{
    long long n;

    close_db(w);
    n = world_count_file(w->path, sql);
    open_db(w);
    return n;
}

void world_text(struct world *w, const char *sql, char *out, size_t size)
{
    sqlite3 *handle;
    sqlite3_stmt *s;

    close_db(w);
    s = look(&handle, w->path, sql);
    snprintf(out, size, "%s", (const char *)sqlite3_column_text(s, 0));
    sqlite3_finalize(s);
    sqlite3_close(handle);
    open_db(w);
}

void world_change_file(const char *path, const char *sql)
{
    sqlite3 *handle;

    assert_int_equal(sqlite3_open(path, &handle), SQLITE_OK);
    assert_int_equal(sqlite3_exec(handle, sql, NULL, NULL, NULL), SQLITE_OK);
    sqlite3_close(handle);
}

/* ---- Tasks ---------------------------------------------------------------- */

/* The Tasks that are posted, in the order in which they were made. */
static int find_tasks(struct world *w, const char *code, const char *status,
                      int64_t *newest)
{
    const struct db_value values[] = { { code != NULL ? code : "", 0 },
                                       { status != NULL ? status : "", 0 } };
    enum err e = db_ask(w->db,
                        "SELECT resource FROM task WHERE silent = 0 AND "
                        "(?1 = '' OR code = ?1) AND (?2 = '' OR status = ?2) "
                        "ORDER BY resource",
                        values, COUNT(values));
    int count = 0;

    *newest = 0;
    while (e == ERR_OK && (e = db_next(w->db, Q_ASKED)) == ERR_OK) {
        *newest = db_int(w->db, Q_ASKED, 0);
        count++;
    }
    assert_int_equal(e, ERR_ABSENT);
    return count;
}

int world_tasks(struct world *w, const char *code, const char *status)
{
    int64_t newest;

    return find_tasks(w, code, status, &newest);
}

struct resource world_task(struct world *w, const char *code, struct buf *out)
{
    struct resource row;
    int64_t newest, updated_ms;

    if (find_tasks(w, code, NULL, &newest) == 0)
        fail_msg("there is no Task %s", code);
    assert_int_equal(resource_get(w->db, newest, &row), ERR_OK);
    assert_int_equal(resource_body(w->db, &row, 0, out, &updated_ms), ERR_OK);
    return row;
}

int world_task_says(struct world *w, const char *code, const char *text)
{
    struct buf json;
    int count = 0;

    buf_init(&json, 1 << 20);
    world_task(w, code, &json);
    for (const char *at = json.data; (at = strstr(at, text)) != NULL; at++)
        count++;
    buf_clear(&json);
    return count;
}

/* As a PUT of the Task does it: a new version, and we follow. */
void world_person(struct world *w, const char *code, const char *status)
{
    struct buf old, json;
    struct resource row;
    struct fhir_task_view view;
    struct new_version v = { .journal = 0 };
    const char *at;

    buf_init(&old, 1 << 20);
    buf_init(&json, 1 << 20);
    row = world_task(w, code, &old);
    assert_int_equal(fhir_task_view(old.data, old.len, &view), ERR_OK);
    at = strstr(old.data, "\"status\":\"");
    assert_non_null(at);
    at += strlen("\"status\":\"");
    buf_add(&json, old.data, (size_t)(at - old.data));
    buf_puts(&json, status);
    buf_puts(&json, at + strlen(view.status));
    v.body = json.data;
    v.len = json.len;
    assert_int_equal(resource_put(w->db, &row, NULL, 0, world_now_ms(), &v),
                     ERR_OK);
    assert_int_equal(
        db_run(w->db, Q_TASK_STATUS, "iss", row.id, status, view.priority),
        ERR_OK);
    assert_int_equal(episode_follow(w->db, row.id, status, world_now_s),
                     ERR_OK);
    buf_clear(&old);
    buf_clear(&json);
}
