/*
 * store_copy_kit - a store with rows that are told apart, and a backup of it
 *
 * Copies are read by SQLite's own library; the sum of a file is checked against
 * sha256sum in tests/peers/store.mjs.
 */
#ifndef HEADGATE_TESTS_STORE_COPY_KIT_H
#define HEADGATE_TESTS_STORE_COPY_KIT_H

#include "service/config.h"
#include "service/store_backup.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <unistd.h>

static struct world w;
static uv_loop_t loop;
static struct store *store;
static struct store_backup *backup;
static char target[96], manifest[112], part[112];
static int closed;

static inline int start(void **state)
{
    (void)state;
    world_init(&w);
    assert_int_equal(uv_loop_init(&loop), 0);
    snprintf(target, sizeof(target), "%s/copy", w.folder);
    snprintf(manifest, sizeof(manifest), "%s.json", target);
    snprintf(part, sizeof(part), "%s.part", target);
    store = NULL;
    closed = 0;
    return 0;
}

static inline int stop(void **state)
{
    (void)state;
    assert_int_equal(uv_loop_close(&loop), 0);
    unlink(target);
    unlink(manifest);
    world_clear(&w);
    return 0;
}

static inline bool is_there(const char *path)
{
    return access(path, F_OK) == 0;
}

/* ---- rows that are told apart ------------------------------------------------- */

struct put {
    struct store_job job;
    int from, count;
    enum err answer;
    bool done;
};

static inline enum err put_rows(struct db *db, int from, int count)
{
    char key[32], value[900];
    enum err e = ERR_OK;

    memset(value, 'v', sizeof(value) - 1);
    value[sizeof(value) - 1] = '\0';
    for (int i = from; e == ERR_OK && i < from + count; i++) {
        snprintf(key, sizeof(key), "key-%06d", i);
        e = db_run(db, Q_META_PUT, "ss", key, value);
    }
    return e;
}

static inline enum err run_put(struct db *db, void *arg)
{
    struct put *p = arg;
    enum err e = put_rows(db, p->from, p->count);

    return e == ERR_OK ? p->answer : e;
}

static inline void done_put(void *arg, enum err e)
{
    struct put *p = arg;

    (void)e;
    p->done = true;
}

static inline void submit(struct put *p, int from, int count, enum err answer)
{
    *p = (struct put){ .from = from, .count = count, .answer = answer };
    p->job = (struct store_job){ .run = run_put, .done = done_put, .arg = p };
    store_submit(store, &p->job);
}

static inline void wait_for(const bool *done)
{
    while (!*done)
        uv_run(&loop, UV_RUN_ONCE);
}

static inline long long keys_in(const char *path)
{
    return world_count_file(path,
                            "SELECT count(*) FROM meta WHERE k LIKE 'key-%'");
}

/* ---- backups ---------------------------------------------------------------------- */

static inline void on_closed(void *arg)
{
    (void)arg;
    closed++;
}

static inline void open_store(void)
{
    static const struct store_work none = { .run = NULL };

    closed = 0;
    assert_int_equal(store_open(&loop, w.path, &none, NULL, NULL, &store),
                     ERR_OK);
    assert_int_equal(store_backup_open(&loop, store, world_now_ms, &backup),
                     ERR_OK);
}

static inline void close_store(void)
{
    store_close(store, on_closed, NULL);
    store_backup_close(backup, on_closed, NULL);
    while (closed < 2)
        uv_run(&loop, UV_RUN_ONCE);
}

static inline struct store_backup_view wait_for_backup(void)
{
    struct store_backup_view view;

    do {
        uv_run(&loop, UV_RUN_ONCE);
        store_backup_look(backup, &view);
    } while (view.state == BACKUP_COPYING || view.state == BACKUP_CHECKING);
    return view;
}

static inline void begin(void)
{
    struct buf why;

    buf_init(&why, 4096);
    assert_int_equal(store_backup_begin(backup, target, &why), ERR_OK);
    buf_clear(&why);
}

static inline struct config *settings(void)
{
    static struct config config;
    const char *sets[] = { "policy.path=" SOURCE_DIR "/config/policy.ini" };
    struct buf why;

    buf_init(&why, 4096);
    assert_int_equal(config_load(NULL, sets, 1, &config, &why), ERR_OK);
    buf_clear(&why);
    snprintf(config.store_path, sizeof(config.store_path), "%s", w.path);
    return &config;
}

static inline void make_backup(int rows)
{
    struct put first;

    open_store();
    submit(&first, 0, rows, ERR_OK);
    wait_for(&first.done);
    begin();
    assert_int_equal(wait_for_backup().state, BACKUP_DONE);
    close_store();
}

static inline void overwrite(const char *path, long at, const char *bytes)
{
    FILE *f = fopen(path, "r+b");

    assert_non_null(f);
    assert_int_equal(fseek(f, at, SEEK_SET), 0);
    assert_int_equal(fwrite(bytes, 1, strlen(bytes), f), strlen(bytes));
    assert_int_equal(fclose(f), 0);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, start, stop)

#endif
