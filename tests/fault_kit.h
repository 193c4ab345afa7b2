/*
 * fault_kit - a file system and a memory below SQLite that fail when told to
 *
 * A VFS (sqlite.org/vfs.html) that stands before the system's own, and the
 * allocator that sqlite3_config(SQLITE_CONFIG_MALLOC) takes; both count the
 * calls of the chosen kinds, and fail the one whose turn it is.  That is the
 * method of SQLite's own anomaly tests (sqlite.org/testing.html, 3.1 and 3.2:
 * "fail the k-th", once and from there on).
 */
#ifndef HEADGATE_TESTS_FAULT_KIT_H
#define HEADGATE_TESTS_FAULT_KIT_H

#include <sqlite3.h>
#include <stdbool.h>
#include <string.h>

enum fault_kind {
    FAULT_WRITE = 1,
    FAULT_SYNC = 2,
    FAULT_TRUNCATE = 4,
    FAULT_OPEN = 8,
    FAULT_DELETE = 16,
    FAULT_READ = 32,
    FAULT_ALLOC = 64
};

/* What is to fail, and what has. */
static struct fault {
    int kinds;    /* of enum fault_kind; 0: nothing fails */
    long at;      /* the how many-th call of these kinds, from 1 */
    bool forever; /* and all that come after it */
    bool full;    /* a write that fails says that the disk is full */
    long calls, hits;
} fault;

static bool fault_now(enum fault_kind kind)
{
    if ((fault.kinds & (int)kind) == 0)
        return false;
    fault.calls++;
    if (fault.calls != fault.at && !(fault.forever && fault.calls > fault.at))
        return false;
    fault.hits++;
    return true;
}

/* ---- files ------------------------------------------------------------------ */

struct fault_file {
    sqlite3_file base; /* first */
    sqlite3_file *real;
};

static sqlite3_file *fault_real(sqlite3_file *f)
{
    return ((struct fault_file *)f)->real;
}

static int fault_close(sqlite3_file *f)
{
    return fault_real(f)->pMethods->xClose(fault_real(f));
}

static int fault_read(sqlite3_file *f, void *to, int n, sqlite3_int64 at)
{
    if (fault_now(FAULT_READ))
        return SQLITE_IOERR_READ;
    return fault_real(f)->pMethods->xRead(fault_real(f), to, n, at);
}

/* Half of it arrives: that is what a full or broken disk may leave. */
static int fault_write(sqlite3_file *f, const void *from, int n,
                       sqlite3_int64 at)
{
    if (!fault_now(FAULT_WRITE))
        return fault_real(f)->pMethods->xWrite(fault_real(f), from, n, at);
    if (fault_real(f)->pMethods->xWrite(fault_real(f), from, n / 2, at) !=
        SQLITE_OK)
        return SQLITE_IOERR_WRITE;
    return fault.full ? SQLITE_FULL : SQLITE_IOERR_WRITE;
}

static int fault_truncate(sqlite3_file *f, sqlite3_int64 size)
{
    if (fault_now(FAULT_TRUNCATE))
        return SQLITE_IOERR_TRUNCATE;
    return fault_real(f)->pMethods->xTruncate(fault_real(f), size);
}

static int fault_sync(sqlite3_file *f, int flags)
{
    if (fault_now(FAULT_SYNC))
        return SQLITE_IOERR_FSYNC;
    return fault_real(f)->pMethods->xSync(fault_real(f), flags);
}

static int fault_size(sqlite3_file *f, sqlite3_int64 *size)
{
    return fault_real(f)->pMethods->xFileSize(fault_real(f), size);
}

static int fault_lock(sqlite3_file *f, int level)
{
    return fault_real(f)->pMethods->xLock(fault_real(f), level);
}

static int fault_unlock(sqlite3_file *f, int level)
{
    return fault_real(f)->pMethods->xUnlock(fault_real(f), level);
}

static int fault_reserved(sqlite3_file *f, int *is)
{
    return fault_real(f)->pMethods->xCheckReservedLock(fault_real(f), is);
}

static int fault_control(sqlite3_file *f, int what, void *arg)
{
    return fault_real(f)->pMethods->xFileControl(fault_real(f), what, arg);
}

static int fault_sector(sqlite3_file *f)
{
    return fault_real(f)->pMethods->xSectorSize(fault_real(f));
}

static int fault_device(sqlite3_file *f)
{
    return fault_real(f)->pMethods->xDeviceCharacteristics(fault_real(f));
}

static int fault_shm_map(sqlite3_file *f, int page, int size, int extend,
                         void volatile **to)
{
    return fault_real(f)->pMethods->xShmMap(fault_real(f), page, size, extend,
                                            to);
}

static int fault_shm_lock(sqlite3_file *f, int at, int n, int flags)
{
    return fault_real(f)->pMethods->xShmLock(fault_real(f), at, n, flags);
}

static void fault_shm_barrier(sqlite3_file *f)
{
    fault_real(f)->pMethods->xShmBarrier(fault_real(f));
}

static int fault_shm_unmap(sqlite3_file *f, int drop)
{
    return fault_real(f)->pMethods->xShmUnmap(fault_real(f), drop);
}

static const sqlite3_io_methods fault_methods = {
    .iVersion = 2,
    .xClose = fault_close,
    .xRead = fault_read,
    .xWrite = fault_write,
    .xTruncate = fault_truncate,
    .xSync = fault_sync,
    .xFileSize = fault_size,
    .xLock = fault_lock,
    .xUnlock = fault_unlock,
    .xCheckReservedLock = fault_reserved,
    .xFileControl = fault_control,
    .xSectorSize = fault_sector,
    .xDeviceCharacteristics = fault_device,
    .xShmMap = fault_shm_map,
    .xShmLock = fault_shm_lock,
    .xShmBarrier = fault_shm_barrier,
    .xShmUnmap = fault_shm_unmap,
};

/* ---- the file system ---------------------------------------------------------- */

static sqlite3_vfs *fault_under;

static int fault_open(sqlite3_vfs *vfs, const char *name, sqlite3_file *f,
                      int flags, int *out)
{
    struct fault_file *file = (struct fault_file *)f;
    int code;

    (void)vfs;
    file->base.pMethods = NULL;
    if (fault_now(FAULT_OPEN))
        return SQLITE_CANTOPEN;
    file->real = (sqlite3_file *)&file[1];
    code = fault_under->xOpen(fault_under, name, file->real, flags, out);
    if (file->real->pMethods != NULL)
        file->base.pMethods = &fault_methods;
    return code;
}

static int fault_delete(sqlite3_vfs *vfs, const char *name, int sync)
{
    (void)vfs;
    if (fault_now(FAULT_DELETE))
        return SQLITE_IOERR_DELETE;
    return fault_under->xDelete(fault_under, name, sync);
}

/* ---- memory ------------------------------------------------------------------- */

static sqlite3_mem_methods fault_memory;

static void *fault_malloc(int n)
{
    return fault_now(FAULT_ALLOC) ? NULL : fault_memory.xMalloc(n);
}

static void *fault_realloc(void *p, int n)
{
    return fault_now(FAULT_ALLOC) ? NULL : fault_memory.xRealloc(p, n);
}

/* Put both in their places; before SQLite is used. */
static bool fault_install(void)
{
    static sqlite3_vfs vfs;
    sqlite3_mem_methods memory;

    /* each allocation is one that can fail: none comes out of a reserve */
    if (sqlite3_config(SQLITE_CONFIG_LOOKASIDE, 0, 0) != SQLITE_OK ||
        sqlite3_config(SQLITE_CONFIG_GETMALLOC, &fault_memory) != SQLITE_OK)
        return false;
    memory = fault_memory;
    memory.xMalloc = fault_malloc;
    memory.xRealloc = fault_realloc;
    if (sqlite3_config(SQLITE_CONFIG_MALLOC, &memory) != SQLITE_OK ||
        sqlite3_initialize() != SQLITE_OK)
        return false;
    fault_under = sqlite3_vfs_find(NULL);
    vfs = *fault_under;
    vfs.zName = "fault";
    vfs.szOsFile = (int)sizeof(struct fault_file) + fault_under->szOsFile;
    vfs.xOpen = fault_open;
    vfs.xDelete = fault_delete;
    return sqlite3_vfs_register(&vfs, 1) == SQLITE_OK;
}

#endif
