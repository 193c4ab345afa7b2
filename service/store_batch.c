#include "service/store_batch.h"

#include "adapters/buf.h"
#include "service/db_fault.h"
#include "service/log.h"

enum {
    CHECKPOINT_IDLE_PAGES = 200,     /* when nothing waits */
    CHECKPOINT_FORCED_PAGES = 16000, /* under load */
    TOLD_EVERY_S = 10
};

/* Back to where this step began. */
static enum err undo(struct db *db, bool first)
{
    enum err e = ERR_OK;

    /* on a full disk the engine has undone the transaction by itself */
    if (!first || db_in_transaction(db))
        e = db_run(db, first ? Q_ROLLBACK : Q_UNDO, "");
    if (e == ERR_OK && first)
        e = db_run(db, Q_BEGIN, "");
    db_forget_ids(db);
    return e;
}

/*
 * Run one step so that it can be undone alone: in a savepoint of its own, or,
 * if it is the first of the transaction, without one.  *broken is set if it could
 * neither be kept nor undone: then the transaction must not be committed,
 * since what is told of the step would not be true.
 */
static enum err run_alone(struct db *db, const struct store_job *job,
                          bool first, enum err *broken)
{
    enum err e = first ? ERR_OK : db_run(db, Q_SAVE, "");
    enum err left = ERR_OK, kept = ERR_OK;
    unsigned long lost;

    if (e != ERR_OK)
        return e;
    lost = buf_lost();
    e = job->run(db, job->arg);
    if (e == ERR_OK && buf_lost() != lost)
        e = ERR_MEMORY; /* a text that it has written may lack a part */
    if (e != ERR_OK)
        left = undo(db, first);
    if (left == ERR_OK && job->keep != NULL)
        kept = job->keep(db, job->arg, e);
    if (kept != ERR_OK)
        left = undo(db, first);
    if (e == ERR_OK)
        e = kept;
    /* undone by the engine, and the step did not notice: what is told of it
     * and of those before it would not be true */
    if (left == ERR_OK && !db_in_transaction(db))
        left = ERR_STORE;
    if (left == ERR_OK && !first)
        left = db_run(db, Q_RELEASE, "");
    if (left == ERR_OK)
        return e;
    *broken = left;
    return left;
}

static enum err run_work(struct db *db, void *arg)
{
    struct work_run *r = arg;

    r->more = r->told = false;
    return r->store->work.run(db, r->store->work.arg, &r->more, &r->told);
}

/* After a failed sync the kernel may have dropped the pages: what is on disk is
 * known again only after a restart. */
static void end_if_failed(struct store *s, enum err e)
{
    if (e != ERR_IO)
        return;
    pthread_mutex_lock(&s->lock);
    s->fatal = e;
    uv_async_send(&s->async);
    pthread_mutex_unlock(&s->lock);
}

/* The disk is full: with the room that is held for that the log can be moved
 * and cut, after which it has all that it took. */
static void make_room(struct store *s)
{
    enum err e;

    if (!store_room_let_go(&s->room))
        return;
    e = db_cut_log(s->db);
    log_event(LOG_WARN, "store.room", KEY_ERR(e));
    end_if_failed(s, e);
    store_room_hold(&s->room);
}

/* What is committed to a file that nobody finds again is lost. */
static enum err check_there(struct store *s)
{
    if (store_there_is(&s->there, db_wal_pages(s->db) > 0))
        return ERR_OK;
    log_event(LOG_ERROR, "store.gone", KEY_ERR(ERR_ABSENT));
    return ERR_IO;
}

/* Of what is read: it is told once, and must not pass for a wrong request. */
static void tell_damage(struct store *s)
{
    if (s->damage_told || !db_is_damaged(s->db))
        return;
    s->damage_told = true;
    log_event(LOG_ERROR, "store.damaged", KEY_ERR(ERR_STORE));
}

/* Of a full disk each commit fails, and the log may stand on it as well. */
static void tell_failed(struct store *s, enum err e)
{
    uint64_t now_ns = uv_hrtime();

    if (e == s->failed &&
        now_ns - s->failed_told_ns < (uint64_t)TOLD_EVERY_S * 1000000000)
        return;
    db_fault_log(s->db, LOG_ERROR, "store.commit", e);
    s->failed = e;
    s->failed_told_ns = now_ns;
}

/* A commit of nothing goes well on a full disk, too. */
static void note_kept(struct store *s, bool wrote)
{
    if (!wrote)
        return;
    store_pause_end(&s->pause);
    if (s->failed != ERR_OK)
        log_event(LOG_WARN, "store.commit", KEY_ERR(ERR_OK));
    s->failed = ERR_OK;
}

void store_run_batch(struct store *s, struct store_job *first,
                     struct work_run *work, bool work_wanted)
{
    /* once a sync has failed nothing more is taken */
    enum err e = s->fatal == ERR_OK ? db_run(s->db, Q_BEGIN, "") : s->fatal;
    enum err broken = ERR_OK;
    int64_t changes = db_all_changes(s->db);

    if (e == ERR_OK && work_wanted) {
        const struct store_job job = { .run = run_work, .arg = work };
        enum err failed = run_alone(s->db, &job, true, &broken);

        if (failed != ERR_OK) {
            log_event(LOG_ERROR, "store.work", KEY_ERR(failed));
            work->more = work->told = false;
        }
    }
    for (struct store_job *job = first; job != NULL; job = job->next)
        job->err =
            e == ERR_OK && broken == ERR_OK
                ? run_alone(s->db, job, job == first && !work_wanted, &broken)
                : ERR_STOPPED;
    tell_damage(s);
    if (e == ERR_OK)
        e = broken;
    if (e == ERR_OK)
        e = check_there(s);
    if (e == ERR_OK)
        e = db_run(s->db, Q_COMMIT, "");
    if (e == ERR_OK) {
        note_kept(s, db_all_changes(s->db) != changes);
        return;
    }
    if (work_wanted)
        store_pause_begin(&s->pause);
    tell_failed(s, e);
    if (db_in_transaction(s->db)) {
        enum err back = db_run(s->db, Q_ROLLBACK, "");

        if (back != ERR_OK)
            log_event(LOG_ERROR, "store.rollback", KEY_ERR(back));
    }
    db_forget_ids(s->db);
    work->told = false;
    work->more = work_wanted; /* what was undone is to be done again */
    for (struct store_job *job = first; job != NULL; job = job->next)
        job->err = e;
    end_if_failed(s, e);
    if (e == ERR_FULL)
        make_room(s);
}

/* When the log is to be moved: while room is scarce, before that would need
 * more than is held. */
static int forced_pages(const struct store *s)
{
    if (!store_room_scarce(&s->room))
        return CHECKPOINT_FORCED_PAGES;
    return (int)(s->room.bytes / 2 / DB_PAGE_BYTES);
}

void store_move_log(struct store *s, bool idle)
{
    int pages = db_wal_pages(s->db);
    enum err e;

    if (pages <= CHECKPOINT_IDLE_PAGES || (!idle && pages <= forced_pages(s)))
        return;
    store_room_hold(&s->room); /* if it was let go, and there is some again */
    e = db_checkpoint(s->db);
    if (e != ERR_OK && e != s->checkpointed)
        db_fault_log(s->db, LOG_ERROR, "store.checkpoint", e);
    s->checkpointed = e;
    end_if_failed(s, e);
    if (e == ERR_FULL)
        make_room(s);
}
