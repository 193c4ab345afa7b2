#include "service/db_fault.h"

#include "adapters/catalogue.h"
#include "service/db_work.h"
#include "service/store_files.h"

#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static const struct call_row {
    int code;
    const char *call;
} calls[] = {
    { SQLITE_IOERR_READ, "read" },
    { SQLITE_IOERR_SHORT_READ, "read" },
    { SQLITE_IOERR_WRITE, "write" },
    { SQLITE_IOERR_FSYNC, "fsync" },
    { SQLITE_IOERR_DIR_FSYNC, "fsync" },
    { SQLITE_IOERR_TRUNCATE, "ftruncate" },
    { SQLITE_IOERR_FSTAT, "fstat" },
    { SQLITE_IOERR_LOCK, "fcntl" },
    { SQLITE_IOERR_RDLOCK, "fcntl" },
    { SQLITE_IOERR_UNLOCK, "fcntl" },
    { SQLITE_IOERR_CHECKRESERVEDLOCK, "fcntl" },
    { SQLITE_IOERR_DELETE, "unlink" },
    { SQLITE_IOERR_ACCESS, "access" },
    { SQLITE_IOERR_CLOSE, "close" },
    { SQLITE_IOERR_SEEK, "lseek" },
};

/* These are what files and disks say; the advice is for the log, as it is. */
static const struct number_row {
    int number;
    const char *word, *advice;
} numbers[] = {
    { EIO, "EIO",
      N_("The disk, or what connects it, is failing: look at the kernel's log "
         "(dmesg) and at the disk before headgate is started again.") },
    { EROFS, "EROFS",
      N_("The filesystem is mounted read-only: look at the kernel's log "
         "(dmesg) for the reason, mount it read-write, and start headgate "
         "again.") },
    { ENOSPC, "ENOSPC", N_("The disk is full: make room on it.") },
    { EDQUOT, "EDQUOT",
      N_("The account's share of the disk is used up: make room, or raise "
         "it.") },
    { EFBIG, "EFBIG",
      N_("The file is as large as the filesystem, or a limit of the process "
         "(ulimit -f), allows: look at both.") },
    { EACCES, "EACCES",
      N_("The account of the service lacks the right: look at the owner and "
         "the mode of the file, its folder and the files beside it.") },
    { EPERM, "EPERM",
      N_("The account of the service lacks the right: look at the owner and "
         "the mode of the file, its folder and the files beside it.") },
    { EMFILE, "EMFILE",
      N_("The process has too many files open: raise its limit "
         "(LimitNOFILE), and start headgate again.") },
    { ENFILE, "ENFILE",
      N_("The machine has too many files open: look for what opens them.") },
    { ESTALE, "ESTALE",
      N_("The file server has lost the file: a store belongs on a local "
         "disk.") },
    { ENODEV, "ENODEV", N_("The disk is gone: look whether it is mounted.") },
    { ENOENT, "ENOENT",
      N_("A file or folder is gone: look whether the disk is mounted.") },
};

static const char advice_full[] = N_("The disk is full: make room on it.");
static const char advice_other[] =
    N_("Look at the kernel's log (dmesg), and whether the disk is mounted and "
       "well.");

/* Of the last opening that failed in this thread, whose connection is gone. */
static _Thread_local struct db_fault kept;

static bool is_of_system(int code)
{
    int primary = code & 0xff;

    return primary == SQLITE_IOERR || primary == SQLITE_CANTOPEN;
}

void db_fault_of(struct db *db, enum err e, struct db_fault *fault)
{
    struct sqlite3 *handle = db_handle(db);

    *fault = (struct db_fault){ .code = SQLITE_OK };
    if (e == ERR_OK || handle == NULL)
        return;
    fault->code = sqlite3_extended_errcode(handle);
    if (db_err_of(fault->code) != e)
        fault->code = SQLITE_OK; /* another call came between */
    else if (is_of_system(fault->code))
        fault->number = db_failed_errno(db);
}

const char *db_fault_call(const struct db_fault *fault)
{
    for (size_t i = 0; i < COUNT(calls); i++) {
        if (calls[i].code == fault->code)
            return calls[i].call;
    }
    switch (fault->code & 0xff) {
    case SQLITE_CANTOPEN:
        return "open";
    case SQLITE_FULL:
    case SQLITE_READONLY:
        return "write";
    default:
        return "none";
    }
}

static const struct number_row *row_of(const struct db_fault *fault)
{
    for (size_t i = 0; i < COUNT(numbers); i++) {
        if (numbers[i].number == fault->number)
            return &numbers[i];
    }
    return NULL;
}

const char *db_fault_word(const struct db_fault *fault)
{
    const struct number_row *row = row_of(fault);

    return row != NULL ? row->word : fault->number == 0 ? "none" : "other";
}

const char *db_fault_advice(const struct db_fault *fault)
{
    const struct number_row *row = row_of(fault);

    if (row != NULL)
        return row->advice;
    return (fault->code & 0xff) == SQLITE_FULL ? advice_full : advice_other;
}

bool db_fault_is_of_disk(enum err e)
{
    return e == ERR_IO || e == ERR_FULL;
}

void db_fault_keep(struct db *db, enum err e)
{
    db_fault_of(db, e, &kept);
    /* not all that opening does are statements; it is the connection's first
     * error, so that this is of it */
    if (kept.code != SQLITE_OK && kept.number == 0 && is_of_system(kept.code))
        kept.number = sqlite3_system_errno(db_handle(db));
}

/* Which of the files of a store may not be written to, if one may not. */
static bool find_closed(const char *path, char *out, size_t size, int *number)
{
    char folder[STORE_PATH_SIZE];

    snprintf(out, size, "%s", path);
    if (access(out, F_OK) == 0 && access(out, R_OK | W_OK) != 0)
        goto found;
    snprintf(out, size, "%s-wal", path);
    if (access(out, F_OK) == 0 && access(out, R_OK | W_OK) != 0)
        goto found;
    store_folder_of(path, folder, sizeof(folder));
    snprintf(out, size, "%s", folder);
    if (access(out, F_OK) != 0 || access(out, W_OK | X_OK) == 0)
        return false;
found:
    *number = errno;
    return true;
}

void db_open_say(const char *path, enum err e, struct buf *why)
{
    struct db_fault fault = kept;
    char closed[STORE_PATH_SIZE + 8];
    bool known = db_fault_is_of_disk(e) || e == ERR_ABSENT;
    const char *call = db_fault_call(&fault);

    if (known && find_closed(path, closed, sizeof(closed), &fault.number)) {
        /* TRANSLATORS: file, then what the system says of it */
        buf_printf(why, _("%s: cannot be written to: %s. %s"), closed,
                   strerror(fault.number), _(db_fault_advice(&fault)));
    } else if (db_fault_is_of_disk(e) && fault.number != 0) {
        /* TRANSLATORS: file, name of a call of the system ("fsync"), what the
         * system says of it, then a sentence on what to do */
        buf_printf(why, _("%s: reading or writing it failed (%s: %s). %s"),
                   path, call, strerror(fault.number),
                   _(db_fault_advice(&fault)));
    } else if (db_fault_is_of_disk(e)) {
        buf_printf(why, "%s: %s. %s", path, db_open_reason(path, e),
                   _(db_fault_advice(&fault)));
    } else {
        buf_printf(why, "%s: %s", path, db_open_reason(path, e));
    }
}
