/*
 * db_fault - what the engine and the system said of a call that failed, for
 * people and for the log
 *
 * An error of ours (ERR_IO) does not say what an administrator needs: which
 * file, which call, what the system answered, what to do.  SQLite keeps the
 * first three until its next call.
 *
 * Source: sqlite3_extended_errcode(), sqlite3_system_errno(); errno(3), which the
 * engine does not keep of a commit, so that db.c does.
 */
#ifndef HEADGATE_SERVICE_DB_FAULT_H
#define HEADGATE_SERVICE_DB_FAULT_H

#include "adapters/buf.h"
#include "service/db.h"
#include "service/log.h"

struct db_fault {
    int code;   /* extended result code of SQLite; 0 none is known */
    int number; /* errno of the system's call; 0 none is known */
};

/* Of the last call on the connection; nothing if that did not give e. */
void db_fault_of(struct db *db, enum err e, struct db_fault *fault);

/* The call of the system that failed: "fsync", "write", "open", ...; "none":
 * it is not known.  Static. */
const char *db_fault_call(const struct db_fault *fault);
/* "EIO", "EROFS", ...; "none": not known, "other": without a word here. */
const char *db_fault_word(const struct db_fault *fault);
/* What an administrator can do about it: one sentence, for the log; static. */
const char *db_fault_advice(const struct db_fault *fault);

/* Is it one of those of disks, of which there is more to say? */
bool db_fault_is_of_disk(enum err e);

/*
 * db_fault_log - one line for an operation on the store that has failed
 *
 * event  a literal of the program
 * e      what it came to; has to be the last call on the connection, since the
 *        engine keeps what failed no longer
 *
 *     event=store.commit err=io call=fsync errno=EIO do="..."
 *
 * Of errors other than those of disks it is err alone.  No path stands there:
 * no field of the log takes text that is not of the program.
 */
#define db_fault_log(db, level, event, e)                                      \
    do {                                                                       \
        struct db_fault fault_;                                                \
                                                                               \
        db_fault_of(db, e, &fault_);                                           \
        if (db_fault_is_of_disk(e))                                            \
            log_event(level, event, KEY_ERR(e),                                \
                      KEY_TABLE("call", db_fault_call(&fault_)),               \
                      KEY_TABLE("errno", db_fault_word(&fault_)),              \
                      KEY_TABLE("do", db_fault_advice(&fault_)));              \
        else                                                                   \
            log_event(level, event, KEY_ERR(e));                               \
    } while (0)

/* For db.c: remember what opening has failed of, since the connection is closed
 * at once; of this thread. */
void db_fault_keep(struct db *db, enum err e);

/*
 * db_open_say - why a file could not be opened, for a person: the file, and what
 * the call that failed said and what to do, or db_open_reason
 *
 * e  of db_open, db_look or the like, which was the last of this thread
 */
void db_open_say(const char *path, enum err e, struct buf *why);

#endif
