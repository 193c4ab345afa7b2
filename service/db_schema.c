#include "service/db_schema.h"

#include "service/reviewed.h"
#include "service/schema.h"

#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

enum { APPLICATION_ID = 0x68646774 /* "hdgt", in the header of the file */ };

enum err schema_create(struct db *db)
{
    char mark[64];
    enum err e = db_exec(db, "BEGIN IMMEDIATE");

    snprintf(mark, sizeof(mark), "PRAGMA application_id=%d", APPLICATION_ID);
    if (e == ERR_OK)
        e = db_exec(db, mark);
    if (e == ERR_OK)
        e = db_exec(db, schema_sql);
    if (e == ERR_OK)
        e = db_run(db, Q_META_PUT, "si", "schema", INT64(SCHEMA_VERSION));
    if (e == ERR_OK)
        e = db_exec(db, "COMMIT");
    return e;
}

enum err schema_recognise(struct db *db, bool *is_new)
{
    int64_t tables = 0, ours = 0, application = 0;
    enum err e = db_number(db, "SELECT count(*) FROM sqlite_master", &tables);

    if (e == ERR_OK)
        e = db_number(db,
                      "SELECT count(*) FROM sqlite_master WHERE type = 'table' "
                      "AND name IN ('meta', 'journal', 'outbox')",
                      &ours);
    if (e == ERR_OK)
        e = db_number(db, "PRAGMA application_id", &application);
    if (e != ERR_OK)
        return e;
    *is_new = tables == 0;
    if ((tables > 0 && ours != 3) ||
        (application != 0 && application != APPLICATION_ID))
        return ERR_UNKNOWN;
    return ERR_OK;
}

/* Readings of quantities that no rule looked at before, and now one does. */
static enum err mark_reviewed(struct db *db)
{
    char text[1024];
    size_t used = (size_t)snprintf(text, sizeof(text),
                                   "UPDATE reading SET reviewed = 1 WHERE "
                                   "reviewed = 0 AND quantity IN (-1");

    for (int q = Q_NONE; q < QUANTITY_COUNT; q++) {
        if (quantity_is_reviewed((enum quantity)q) && used < sizeof(text) - 16)
            used +=
                (size_t)snprintf(text + used, sizeof(text) - used, ",%d", q);
    }
    snprintf(text + used, sizeof(text) - used, ")");
    return db_exec(db, text);
}

static enum err climb(struct db *db, int version)
{
    enum err e = db_exec(db, "BEGIN IMMEDIATE");

    for (size_t i = 0; e == ERR_OK && i < COUNT(schema_steps); i++) {
        if (schema_steps[i].from >= version)
            e = db_exec(db, schema_steps[i].sql);
    }
    if (e == ERR_OK)
        e = mark_reviewed(db);
    if (e == ERR_OK)
        e = db_run(db, Q_NEWS_OF_ALL, "");
    if (e == ERR_OK)
        e = db_run(db, Q_META_PUT, "si", "schema", INT64(SCHEMA_VERSION));
    if (e == ERR_OK)
        e = db_exec(db, "COMMIT");
    return e; /* on an error the store is closed, and nothing was changed */
}

enum err schema_version(struct db *db, int64_t *version)
{
    enum err e = db_first(db, Q_META_GET, "s", "schema");

    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_UNKNOWN : e;
    *version = db_int(db, Q_META_GET, 0);
    db_done(db, Q_META_GET);
    return *version < 1 || *version > SCHEMA_VERSION ? ERR_CONFLICT : ERR_OK;
}

static const char working_sql[] =
    "CREATE TEMP TABLE IF NOT EXISTS whole_access(id INTEGER PRIMARY KEY);"
    "CREATE TEMP TABLE IF NOT EXISTS whole_resource(id INTEGER PRIMARY KEY);"
    "CREATE TEMP TABLE IF NOT EXISTS whole_journal(seq INTEGER PRIMARY KEY,"
    " seen INT NOT NULL DEFAULT 0);"
    "CREATE TEMP TABLE IF NOT EXISTS whole_kept(journal INT, start INT,"
    " len INT, resource INT, PRIMARY KEY(journal, start, len));"
    "CREATE TEMP TABLE IF NOT EXISTS whole_message(id INTEGER PRIMARY KEY);"
    "CREATE TEMP TABLE IF NOT EXISTS whole_item(id INTEGER PRIMARY KEY);"
    "CREATE TEMP TABLE IF NOT EXISTS whole_doubt(kind INT, id INT,"
    " shared INT NOT NULL, PRIMARY KEY(kind, id)) WITHOUT ROWID;"
    "CREATE TEMP TABLE IF NOT EXISTS whole_mark(n INT NOT NULL);"
    "CREATE TEMP TABLE IF NOT EXISTS audit_seen(kind INT, id INT,"
    " PRIMARY KEY(kind, id)) WITHOUT ROWID;"
    "CREATE TEMP TABLE IF NOT EXISTS old_resource(id INTEGER PRIMARY KEY);"
    "CREATE TEMP TABLE IF NOT EXISTS old_journal(seq INTEGER PRIMARY KEY);"
    "CREATE TEMP TABLE IF NOT EXISTS old_kept(journal INTEGER PRIMARY KEY);";

enum err schema_working(struct db *db)
{
    return db_exec(db, working_sql);
}

int64_t db_schema_newest(void)
{
    return SCHEMA_VERSION;
}

enum err schema_upgrade(struct db *db)
{
    int64_t version = 0;
    enum err e = schema_version(db, &version);

    if (e != ERR_OK || version == SCHEMA_VERSION)
        return e;
    return climb(db, (int)version);
}

static const char *cannot_open(const char *path)
{
    char folder[PATH_MAX];
    const char *slash = strrchr(path, '/');
    size_t len = slash != NULL ? (size_t)(slash - path) : 0;
    struct stat info;

    if (len >= sizeof(folder))
        return "the path is too long";
    memcpy(folder, path, len);
    folder[len] = '\0';
    if (len > 0 && stat(folder, &info) != 0)
        return "its folder does not exist";
    if (stat(path, &info) == 0 && S_ISDIR(info.st_mode))
        return "this is a folder; name a file";
    return "this account may not open or make it there";
}

const char *db_open_reason(const char *path, enum err e)
{
    if (e == ERR_ABSENT)
        return cannot_open(path);
    if (e == ERR_UNKNOWN)
        return "this file is not a store of headgate; it was left as it is";
    if (e == ERR_CONFLICT)
        return "this store is of a newer version of headgate";
    if (e == ERR_DENIED)
        return "another process has this store open";
    if (e == ERR_FULL)
        return "the disk is full, or the store may not be written to";
    if (e == ERR_STORE)
        return "the store is damaged; restore it from a copy";
    if (e == ERR_IO)
        return "reading or writing the store failed";
    return err_word(e);
}
