#include "service/store_backup.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "service/db_copy.h"
#include "service/log.h"
#include "service/store_faults.h"
#include "service/store_manifest.h"
#include "service/upkeep.h"

#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum {
    PAGES_AT_ONCE = 32, /* 128 kB: a fraction of a millisecond */
    STEP_US = 3000,     /* of the store thread, before others have a turn */
    TEXT_MAX = 2 * STORE_PATH_SIZE,
    FAULTS_MAX = 4096
};

struct store_backup {
    uv_loop_t *loop;
    struct store *store;
    int64_t (*now_ms)(void);
    struct store_steps steps;
    struct store_job note;
    uv_work_t work;
    int64_t number, began_ms;
    enum backup_state state;
    bool under_way, checking;
    void (*on_closed)(void *arg);
    void *closed_arg;
    struct buf text; /* of the thread that has its turn; then of the loop */
    char path[STORE_PATH_SIZE], manifest_path[STORE_PATH_SIZE];
    struct store_manifest manifest;
    struct db_copy *copy; /* store thread */
    enum err checked;
    atomic_llong pages, left;
};

/* ---- store thread ----------------------------------------------------------- */

static enum err begin_copy(struct store_backup *b, struct db *db)
{
    char part[STORE_PATH_SIZE];
    int64_t bytes = 0;
    enum err e = db_bytes(db, &bytes);

    if (e == ERR_OK)
        e = store_room(b->path, bytes, &b->text);
    if (e == ERR_OK)
        e = store_part_path(b->path, part, sizeof(part), &b->text);
    return e == ERR_OK ? db_copy_begin(db, part, &b->copy) : e;
}

static enum err step(struct db *db, void *arg, bool *more)
{
    struct store_backup *b = arg;
    uint64_t end_ns = uv_hrtime() + (uint64_t)STEP_US * 1000;
    int64_t pages = 0, left = 0;
    enum err e = b->copy == NULL ? begin_copy(b, db) : ERR_OK;

    *more = true;
    while (e == ERR_OK && *more && uv_hrtime() < end_ns)
        e = db_copy_step(b->copy, PAGES_AT_ONCE, more);
    if (b->copy != NULL)
        db_copy_progress(b->copy, &pages, &left);
    atomic_store(&b->pages, pages);
    atomic_store(&b->left, left);
    return e;
}

static void end(void *arg, enum err e)
{
    struct store_backup *b = arg;

    (void)e;
    db_copy_end(b->copy);
    b->copy = NULL;
}

/* ---- a thread of the pool ----------------------------------------------------- */

/*
 * The manifest comes first: a backup that has its name is a whole one, and one
 * without a manifest there never is.
 */
static enum err settle(struct store_backup *b)
{
    struct buf line;
    enum err e;

    buf_init(&line, MANIFEST_SIZE_MAX);
    store_manifest_write(&b->manifest, &line);
    e = buf_ok(&line);
    if (e == ERR_OK)
        e = store_file_new(b->manifest_path, line.data, line.len, &b->text);
    if (e == ERR_OK) {
        e = store_part_settle(b->path, false, &b->text);
        if (e != ERR_OK)
            unlink(b->manifest_path);
    }
    if (e == ERR_OK)
        buf_add(&b->text, line.data, line.len);
    buf_clear(&line);
    return e;
}

/* What is wrong with the store is in its copy, which is made all the same; but
 * whoever asked for it is told. */
static void say_faults(struct store_backup *b)
{
    struct db *db = NULL;
    struct buf found;
    int64_t version;
    enum err e = db_open_still(b->path, &db, &version);

    buf_init(&found, FAULTS_MAX);
    if (e == ERR_OK)
        e = store_faults_shape(db, &found);
    if (e == ERR_OK)
        e = store_faults_chain(db, &found);
    db_close(db);
    if (e == ERR_OK && found.len > 0 &&
        found.len + 256 < TEXT_MAX - b->text.len)
        buf_printf(&b->text,
                   _("Something is wrong with the store, and so with this copy "
                     "of it:\n%s"),
                   found.data);
    buf_clear(&found);
    if (e != ERR_OK)
        log_event(LOG_WARN, "store.backup_faults", KEY_ERR(e));
}

static void check(uv_work_t *work)
{
    struct store_backup *b = work->data;
    char part[STORE_PATH_SIZE];
    enum err e = store_part_path(b->path, part, sizeof(part), &b->text);

    if (e == ERR_OK)
        e = store_manifest_of(part, &b->manifest, &b->text);
    if (e == ERR_OK)
        e = settle(b);
    if (e == ERR_OK)
        say_faults(b);
    b->checked = e;
}

/* ---- loop thread ---------------------------------------------------------------- */

static const char *words(enum err e)
{
    if (e == ERR_STOPPED)
        return _("the service was stopped before the backup was whole");
    if (e == ERR_FULL)
        return _("the disk is full; nothing was left of the backup");
    if (e == ERR_LIMIT)
        return _("the store changed faster than it could be copied");
    return _("reading the store, or writing the backup, failed");
}

static enum err run_note(struct db *db, void *arg)
{
    const struct store_backup *b = arg;

    return upkeep_backed_up(db, b->began_ms);
}

/* The backup is there, whether that could be kept or not. */
static void on_noted(void *arg, enum err e)
{
    struct store_backup *b = arg;

    b->under_way = false;
    b->state = BACKUP_DONE;
    log_event(LOG_INFO, "store.backup", KEY_INT("bytes", b->manifest.bytes),
              KEY_INT("ms", b->now_ms() - b->began_ms));
    if (e != ERR_OK)
        log_event(LOG_WARN, "store.backup_not_noted", KEY_ERR(e));
}

static void finish(struct store_backup *b, enum err e)
{
    if (e == ERR_OK && b->on_closed != NULL) { /* the store is closed */
        on_noted(b, ERR_STOPPED);
    } else if (e == ERR_OK) {
        b->note =
            (struct store_job){ .run = run_note, .done = on_noted, .arg = b };
        store_submit(b->store, &b->note);
    } else {
        b->under_way = false;
        b->state = BACKUP_FAILED;
        store_part_drop(b->path);
        if (b->text.len == 0)
            buf_puts(&b->text, words(e));
        log_event(LOG_ERROR, "store.backup", KEY_ERR(e));
    }
}

static void close_now(struct store_backup *b)
{
    void (*on_closed)(void *) = b->on_closed;
    void *arg = b->closed_arg;

    buf_clear(&b->text);
    free(b);
    on_closed(arg);
}

static void after_check(uv_work_t *work, int status)
{
    struct store_backup *b = work->data;

    b->checking = false;
    finish(b, status == 0 ? b->checked : ERR_STOPPED);
    if (b->on_closed != NULL)
        close_now(b);
}

static void on_copied(void *arg, enum err e)
{
    struct store_backup *b = arg;
    char made[FHIR_TIME_SIZE];

    if (e != ERR_OK) {
        finish(b, e);
        return;
    }
    /* of the moment that it holds: nothing that came later is in it */
    fhir_time_write(b->now_ms() / 1000, made);
    b->manifest = (struct store_manifest){ .schema = 0 };
    snprintf(b->manifest.made, sizeof(b->manifest.made), "%s", made);
    snprintf(b->manifest.program, sizeof(b->manifest.program), "%s",
             HEADGATE_VERSION);
    b->state = BACKUP_CHECKING;
    b->work.data = b;
    b->checking = uv_queue_work(b->loop, &b->work, check, after_check) == 0;
    if (!b->checking)
        finish(b, ERR_IO);
}

enum err store_backup_open(uv_loop_t *loop, struct store *store,
                           int64_t (*now_ms)(void), struct store_backup **out)
{
    struct store_backup *b = calloc(1, sizeof(*b));

    if (b == NULL)
        return ERR_MEMORY;
    b->loop = loop;
    b->store = store;
    b->now_ms = now_ms;
    buf_init(&b->text, TEXT_MAX);
    *out = b;
    return ERR_OK;
}

static enum err reserve(const struct store_backup *b, struct buf *why)
{
    if (access(b->manifest_path, F_OK) == 0) {
        buf_printf(why,
                   _("%s: this file is there already, and is not overwritten"),
                   b->manifest_path);
        return ERR_CONFLICT;
    }
    return store_part_make(b->path, false, why);
}

enum err store_backup_begin(struct store_backup *b, const char *path,
                            struct buf *why)
{
    enum err e = ERR_OK;

    if (b->under_way) {
        buf_puts(why, _("another backup is under way"));
        return ERR_DENIED;
    }
    if (path[0] != '/') {
        buf_puts(why, _("a backup is named by its whole path"));
        return ERR_FORM;
    }
    if (strlen(path) >= sizeof(b->path) ||
        !store_manifest_path(path, b->manifest_path,
                             sizeof(b->manifest_path))) {
        buf_puts(why, _("the name of the file is too long"));
        return ERR_LIMIT;
    }
    snprintf(b->path, sizeof(b->path), "%s", path);
    e = reserve(b, why);
    if (e != ERR_OK)
        return e;
    buf_empty(&b->text);
    b->number++;
    b->began_ms = b->now_ms();
    b->state = BACKUP_COPYING;
    b->under_way = true;
    b->steps = (struct store_steps){
        .step = step, .end = end, .done = on_copied, .arg = b
    };
    store_begin_steps(b->store, &b->steps);
    return ERR_OK;
}

void store_backup_look(struct store_backup *b, struct store_backup_view *view)
{
    bool told = !b->under_way && b->number > 0;

    *view = (struct store_backup_view){ .number = b->number,
                                        .state = b->state,
                                        .pages = atomic_load(&b->pages),
                                        .left = atomic_load(&b->left),
                                        .text = told && b->text.len > 0
                                                    ? b->text.data
                                                    : "" };
}

void store_backup_close(struct store_backup *b, void (*on_closed)(void *arg),
                        void *arg)
{
    b->on_closed = on_closed;
    b->closed_arg = arg;
    if (!b->checking)
        close_now(b);
}
