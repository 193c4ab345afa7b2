#define _XOPEN_SOURCE 700

#include "service/drop_work.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/*
 * The steps of a file one by one, in the order of drop_file.c, so that the
 * process can end behind each of them; the running service is killed at random
 * in tests/peers/drop.mjs.
 */

enum { READINGS = 7 };

static struct config config;
static char root[64];

/* ---- a folder ------------------------------------------------------------- */

static void remove_all(const char *path)
{
    DIR *dir = opendir(path);
    struct dirent *entry;
    char below[512];

    while (dir != NULL && (entry = readdir(dir)) != NULL) {
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        snprintf(below, sizeof(below), "%s/%s", path, entry->d_name);
        if (unlink(below) != 0)
            remove_all(below);
    }
    if (dir != NULL)
        closedir(dir);
    rmdir(path);
}

static void make_root(void)
{
    char path[128];

    snprintf(root, sizeof(root), "/tmp/headgate-drop-XXXXXX");
    assert_non_null(mkdtemp(root));
    snprintf(path, sizeof(path), "%s/north", root);
    assert_int_equal(mkdir(path, 0777), 0);
    config = (struct config){ .drop_error_lines = true, .merge_implied = true };
    snprintf(config.drop_folder, sizeof(config.drop_folder), "%s", root);
}

static void put(const char *name, const char *text)
{
    char path[256];
    FILE *file;

    snprintf(path, sizeof(path), "%s/%s", root, name);
    file = fopen(path, "wb");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

static bool is_there(const char *name)
{
    char path[256];
    struct stat info;

    snprintf(path, sizeof(path), "%s/%s", root, name);
    return lstat(path, &info) == 0;
}

static void get(const char *name, struct buf *out)
{
    char path[256], piece[512];
    FILE *file;
    size_t len;

    snprintf(path, sizeof(path), "%s/%s", root, name);
    file = fopen(path, "rb");
    assert_non_null(file);
    buf_empty(out);
    while ((len = fread(piece, 1, sizeof(piece), file)) > 0)
        buf_add(out, piece, len);
    fclose(file);
}

/* ---- a process ------------------------------------------------------------ */

static struct drop *begin(struct world *w)
{
    struct drop *d = calloc(1, sizeof(*d));

    assert_non_null(d);
    d->folders = calloc(DROP_FOLDERS_MAX, sizeof(*d->folders));
    d->options.config = &config;
    d->options.now_ms = world_now_ms;
    d->reader = w->reader;
    buf_init(&d->text, DROP_DOCUMENT_MAX);
    buf_init(&d->line, 1 << 18);
    buf_init(&d->page, 1 << 26);
    assert_int_equal(feed_parcel_init(&d->parcel, 2, 4096), ERR_OK);
    return d;
}

static void end(struct drop *d)
{
    drop_close_file(d);
    feed_parcel_clear(&d->parcel);
    buf_clear(&d->text);
    buf_clear(&d->line);
    buf_clear(&d->page);
    free(d->folders);
    free(d);
}

/* Steps that are left before the process ends; -1: it does not. */
static int left;

static bool goes_on(void)
{
    if (left == 0)
        return false;
    left -= left > 0 ? 1 : 0;
    return true;
}

static bool pool(struct drop *d, void (*run)(struct drop *))
{
    if (!goes_on())
        return false;
    d->err = ERR_OK;
    run(d);
    return d->err == ERR_OK;
}

struct job {
    enum err (*run)(struct db *, struct drop *);
    struct drop *d;
};

static enum err run_job(struct db *db, void *arg)
{
    struct job *job = arg;

    return job->run(db, job->d);
}

static bool job(struct world *w, struct drop *d,
                enum err (*run)(struct db *, struct drop *))
{
    struct job job = { run, d };

    if (!goes_on())
        return false;
    d->err = world_step(w, run_job, &job);
    return d->err == ERR_OK;
}

static bool take(struct world *w, struct drop *d)
{
    while (!d->ended) {
        drop_free_step(d);
        d->parcel.fault_count = 0;
        if (!pool(d, d->form == DROP_MESSAGES ? drop_read_messages : drop_read))
            return false;
        if (d->reason != NULL ||
            (d->part_count == 0 && d->parcel.fault_count == 0))
            return true;
        if (!job(w, d, drop_run_apply))
            return false;
        d->row.start = (int64_t)d->end;
        d->row.line = (int64_t)d->end_line;
        d->row.stored += d->step_stored;
        d->row.there += d->step_there;
        d->row.held += d->step_held;
        d->row.refused += d->step_refused;
    }
    return true;
}

static bool finish(struct world *w, struct drop *d)
{
    bool known = d->row.target[0] != '\0';

    d->outcome = d->reason != NULL    ? DROP_UNREADABLE
                 : d->row.refused > 0 ? DROP_FAILED
                                      : DROP_DONE;
    if (!known && (!pool(d, drop_choose_target) || !job(w, d, drop_run_target)))
        return false;
    d->listed_start = d->listed_entry = -1;
    d->listed = 0;
    d->page_last = d->outcome != DROP_FAILED;
    while (!d->page_last) {
        if (!job(w, d, drop_run_page) || !pool(d, drop_write_page))
            return false;
    }
    return pool(d, drop_move) && job(w, d, drop_run_end);
}

/* What drop_begin does, and what follows it. */
static bool one(struct world *w, struct drop *d, const struct drop_found *f)
{
    memcpy(d->source, f->name, sizeof(d->source));
    d->row = (struct drop_row){ .number = 0 };
    d->fresh = !f->taken;
    d->bytes = f->bytes;
    d->changed_ms = f->changed_ns / 1000000;
    d->reason = NULL;
    d->ended = false;
    if (!pool(d, drop_name) || !job(w, d, drop_run_row) ||
        !pool(d, drop_open_file))
        return false;
    if (d->reason == NULL && d->row.target[0] == '\0' && !take(w, d))
        return false;
    return finish(w, d);
}

/* False: the process has ended before all was taken. */
static bool run(struct world *w)
{
    struct drop *d = begin(w);
    bool all = pool(d, drop_scan);

    for (d->turn = 0; all && d->turn < d->folder_count; d->turn++) {
        const struct drop_folder *f = &d->folders[d->turn];

        for (size_t i = 0; all && i < f->queue_count; i++) {
            all = one(w, d, &f->queue[i]);
            drop_close_file(d);
        }
    }
    assert_true(all || left == 0);
    end(d);
    return all;
}

/* ---- ended anywhere ------------------------------------------------------- */

static void put_file(void)
{
    struct buf text;

    buf_init(&text, 1 << 16);
    for (int i = 0; i < READINGS; i++) {
        char number[16], bad[16] = "";

        snprintf(number, sizeof(number), "n%d", i);
        if (i % 3 == 1)
            snprintf(bad, sizeof(bad), "bad %d\n", i);
        buf_printf(&text, "%s\n%s",
                   OBS(.identifier = number, .value = "900", .ago_h = i + 1.0),
                   bad);
    }
    put("north/a.ndjson", text.data);
    buf_clear(&text);
}

static size_t lines_of(const struct buf *text)
{
    size_t count = 0;

    for (size_t i = 0; i < text->len; i++)
        count += text->data[i] == '\n' ? 1 : 0;
    return count;
}

static void check_taken(struct world *w)
{
    struct buf text;

    assert_true(is_there("north/failed/a.ndjson"));
    assert_false(is_there("north/a.ndjson"));
    assert_false(is_there("north/taken/a.ndjson"));
    assert_false(is_there("north/failed/a-1.ndjson"));
    buf_init(&text, 1 << 20);
    get("north/failed/a.ndjson.errors.ndjson", &text);
    assert_int_equal(lines_of(&text), 2);
    get("north/failed/a.ndjson.summary.json", &text);
    assert_non_null(strstr(text.data, "\"stored\":7,\"there\":0,\"held\":0,"
                                      "\"refused\":2}"));
    buf_clear(&text);
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource WHERE "
                                    "kind = 1"),
                     READINGS);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine "
                                    "WHERE file > 0"),
                     2);
}

static void ends_anywhere(void **state)
{
    bool whole = false;

    (void)state;
    for (int steps = 0; !whole; steps++) {
        void *world;
        struct world *w;

        assert_int_equal(world_start(&world), 0);
        w = world;
        make_root();
        put_file();
        left = steps;
        whole = run(w);
        left = -1;
        if (!whole)
            assert_true(run(w));
        check_taken(w);
        remove_all(root);
        world_stop(&world);
        assert_in_range(steps, 0, 60);
    }
}

/* ---- names ---------------------------------------------------------------- */

static const struct {
    const char *name;
    bool passed_over;
} names[] = {
    { "a.ndjson", false },  { "a.part.ndjson", false },
    { ".a.ndjson", true },  { "a.ndjson.part", true },
    { "a.tmp", true },      { "A.TMP", true },
    { "a.filepart", true }, { "a.crdownload", true },
    { "part", false },      { "a.partial", false },
};

static void leaves_alone(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(names); i++) {
        ROW(names[i].name);
        assert_int_equal(drop_is_passed_over(names[i].name),
                         names[i].passed_over);
    }
}

static void finds_a_free_name(void **state)
{
    static const struct {
        const char *there, *want;
    } cases[] = {
        { NULL, "a.ndjson" },
        { "north/done/a.ndjson", "a-1.ndjson" },
        { "north/done/a-1.ndjson.summary.json", "a-2.ndjson" },
        { "north/done/a-2.ndjson.errors.ndjson", "a-3.ndjson" },
    };
    char name[DROP_NAME_SIZE], long_name[DROP_NAME_SIZE];
    struct world *w = *state;
    struct drop *d;

    make_root();
    assert_int_equal(drop_try_folder(root, "north"), 0);
    d = begin(w);
    d->folder_count = 1;
    snprintf(d->folders[0].name, DROP_FOLDER_SIZE, "north");
    for (size_t i = 0; i < COUNT(cases); i++) {
        if (cases[i].there != NULL)
            put(cases[i].there, "x");
        assert_int_equal(drop_free_name(d, "done", "a.ndjson", name), ERR_OK);
        assert_string_equal(name, cases[i].want);
    }
    /* no half character, and room for what goes beside it */
    memset(long_name, 'l', 198);
    snprintf(long_name + 198, sizeof(long_name) - 198, "\xc3\xa4\xc3\xb6.json");
    assert_int_equal(drop_free_name(d, "done", long_name, name), ERR_OK);
    assert_int_equal(strlen(name), 200);
    assert_string_equal(name + 195, ".json");
    end(d);
    remove_all(root);
}

/* ---- the order of a folder ------------------------------------------------ */

static void oldest_first(void **state)
{
    struct world *w = *state;
    struct drop *d;
    char path[256];

    make_root();
    for (int i = 0; i < DROP_QUEUE_MAX + 20; i++) {
        char name[32];
        struct timespec times[2] = { { 1000 - i, 0 }, { 1000 - i, 0 } };

        snprintf(name, sizeof(name), "north/f%03d", i);
        put(name, "{}");
        snprintf(path, sizeof(path), "%s/%s", root, name);
        assert_int_equal(utimensat(0, path, times, 0), 0);
    }
    d = begin(w);
    drop_scan(d);
    assert_int_equal(d->err, ERR_OK);
    assert_int_equal(d->folder_count, 2);
    for (size_t i = 0; i < d->folder_count; i++) {
        const struct drop_folder *f = &d->folders[i];

        if (f->name[0] == '\0')
            continue;
        assert_int_equal(f->queue_count, DROP_QUEUE_MAX);
        assert_int_equal(f->waiting, DROP_QUEUE_MAX + 20);
        assert_string_equal(f->queue[0].name, "f083");
        for (size_t k = 1; k < f->queue_count; k++)
            assert_true(f->queue[k - 1].changed_ns < f->queue[k].changed_ns);
        assert_int_equal(f->oldest_ns, f->queue[0].changed_ns);
    }
    end(d);
    remove_all(root);
}

/* ---- can it be used? ------------------------------------------------------ */

static void checks_folders(void **state)
{
    struct buf out;
    unsigned bad = 9;

    (void)state;
    make_root();
    buf_init(&out, 1 << 16);
    assert_int_equal(drop_check(root, &out, &bad), ERR_OK);
    assert_int_equal(bad, 0);
    assert_true(is_there("north/taken") && is_there("failed"));
    /* a file where a folder is to be */
    put("south", "x");
    assert_int_equal(drop_try_folder(root, "south"), ENOTDIR);
    remove_all(root);
    make_root();
    put("north/taken", "x");
    buf_empty(&out);
    assert_int_equal(drop_check(root, &out, &bad), ERR_OK);
    assert_int_equal(bad, 1);
    assert_non_null(strstr(out.data, "north: Not a directory"));
    assert_int_equal(drop_check("/nowhere", &out, &bad), ERR_CONFIG);
    buf_clear(&out);
    remove_all(root);
}

static void metrics_have_no_names(void **state)
{
    const struct drop_view view = { .files = { 3, 2, 1 },
                                    .stored = 40,
                                    .waiting = 5,
                                    .oldest_s = 61,
                                    .pausing = true };
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 16);
    drop_metrics(&view, &out);
    assert_non_null(
        strstr(out.data, "headgate_drop_files_total{outcome=\"failed\"} 2\n"));
    assert_non_null(strstr(out.data, "headgate_drop_files_waiting 5\n"));
    assert_non_null(strstr(out.data, "headgate_drop_oldest_seconds 61\n"));
    assert_non_null(strstr(out.data, "headgate_drop_pausing 1\n"));
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ends_anywhere),
        cmocka_unit_test(leaves_alone),
        cmocka_unit_test_setup_teardown(finds_a_free_name, world_start,
                                        world_stop),
        cmocka_unit_test_setup_teardown(oldest_first, world_start, world_stop),
        cmocka_unit_test(checks_folders),
        cmocka_unit_test(metrics_have_no_names),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
