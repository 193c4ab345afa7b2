#include "service/store_there.h"

#include "adapters/catalogue.h"

#include <stdio.h>
#include <sys/stat.h>

void store_there_note(struct store_there *t, const char *path)
{
    struct stat st;

    snprintf(t->path, sizeof(t->path), "%s", path);
    snprintf(t->log_path, sizeof(t->log_path), "%s-wal", path);
    t->device = 0;
    t->file = 0;
    if (stat(path, &st) != 0)
        return;
    t->device = st.st_dev;
    t->file = st.st_ino;
}

bool store_there_is(const struct store_there *t, bool logged)
{
    struct stat st;

    return stat(t->path, &st) == 0 && st.st_dev == t->device &&
           st.st_ino == t->file && (!logged || stat(t->log_path, &st) == 0);
}

enum err store_there_may_make(const char *path, bool make, bool *made,
                              struct buf *why)
{
    static const char *const rests[] = { "-wal", "-room" };
    char rest[STORE_PATH_SIZE + 8];
    struct stat st;

    *made = false;
    if (stat(path, &st) == 0)
        return ERR_OK;
    for (size_t i = 0; i < COUNT(rests); i++) {
        snprintf(rest, sizeof(rest), "%s%s", path, rests[i]);
        if (stat(rest, &st) != 0)
            continue;
        buf_printf(
            why,
            _("%s: is missing, though %s of it is there. No empty store "
              "is made in its place: bring it back, restore a backup, or "
              "move that file away too"),
            path, rest);
        return ERR_ABSENT;
    }
    if (!make) {
        buf_printf(
            why,
            _("%s: is missing, and store.make says that none is made. Is "
              "its disk mounted?"),
            path);
        return ERR_ABSENT;
    }
    *made = true;
    return ERR_OK;
}
