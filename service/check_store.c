#include "service/command_check_work.h"

#include "adapters/codes.h"
#include "service/db.h"
#include "service/db_fault.h"
#include "service/maps.h"
#include "service/store_faults.h"
#include "service/store_there.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* There is no store yet: can one be made? */
static bool check_folder(const char *path)
{
    char folder[CONFIG_TEXT_SIZE] = ".";
    const char *slash = strrchr(path, '/');
    bool ok;

    if (slash != NULL)
        snprintf(folder, sizeof(folder), "%.*s", (int)(slash - path + 1), path);
    ok = access(folder, W_OK | X_OK) == 0;
    printf("store    %s: %s%s\n", path,
           ok ? "will be made" : "cannot be made in its folder: ",
           ok ? "" : strerror(errno));
    return ok;
}

/* May one be made in its place? */
static bool check_missing(const struct config *config)
{
    struct buf why;
    bool made = false;
    enum err e;

    buf_init(&why, CHECK_WHY_MAX);
    e = store_there_may_make(config->store_path, config->store_make, &made,
                             &why);
    if (e != ERR_OK)
        printf("store    %s\n", why.data);
    buf_clear(&why);
    return e == ERR_OK && check_folder(config->store_path);
}

/* Rows that people added while a service ran, beside those of the files. */
static enum err check_mappings(struct db *db, const struct config *config)
{
    struct codes *codes = NULL;
    struct buf why;
    enum err e;

    buf_init(&why, CHECK_WHY_MAX);
    /* what is wrong with a file itself is said elsewhere */
    if (maps_load(config, &codes, &why) != ERR_OK) {
        e = ERR_OK;
    } else {
        e = maps_learn_stored(db, codes, &why);
        if (e != ERR_OK && why.len > 0)
            printf("map      %s\n", why.data);
    }
    codes_free(codes);
    buf_clear(&why);
    return e;
}

/* What a store is that no service has open; it is not changed.  Quick: it is not
 * read through, which takes minutes for a large one. */
static enum err look_at_store(const struct config *config, bool quick,
                              int64_t *version, enum err *mapped,
                              struct buf *faults)
{
    struct db *db = NULL;
    enum err e = db_look(config->store_path, &db, version);

    if (e == ERR_OK && !quick)
        e = db_verify(db);
    if (e == ERR_OK && *version == db_schema_newest())
        *mapped = check_mappings(db, config);
    if (e == ERR_OK && *version == db_schema_newest())
        e = store_faults_shape(db, faults);
    if (e == ERR_OK && *version == db_schema_newest() && !quick)
        e = store_faults_chain(db, faults);
    db_close(db);
    return e;
}

static void say_unusable(const char *path, enum err e)
{
    struct buf why;

    buf_init(&why, CHECK_WHY_MAX);
    db_open_say(path, e, &why);
    printf("store    %s\n", why.data);
    buf_clear(&why);
}

bool check_store(const struct config *config, bool quick)
{
    const char *path = config->store_path;
    enum err e, mapped = ERR_OK;
    int64_t version = 0;
    struct buf faults;
    bool sound;

    if (access(path, F_OK) != 0)
        return check_missing(config);
    buf_init(&faults, CHECK_FOUND_MAX);
    e = look_at_store(config, quick, &version, &mapped, &faults);
    check_print_lines("store", faults.data != NULL ? faults.data : "");
    sound = faults.len == 0;
    buf_clear(&faults);
    if (e == ERR_DENIED) {
        printf("store    %s: in use by a service\n", path);
        return true;
    }
    if (e != ERR_OK)
        say_unusable(path, e);
    else
        printf("store    %s: %s\n", path,
               version == 0 ? "empty"
               : quick      ? "can be opened"
               : sound      ? "whole"
                            : "whole as a file, but see above");
    if (e == ERR_OK && version > 0 && version < db_schema_newest())
        printf("store    of version %lld: the next start brings it to %lld, "
               "and there is no way back; make a backup before\n",
               (long long)version, (long long)db_schema_newest());
    return e == ERR_OK && mapped == ERR_OK && sound;
}
