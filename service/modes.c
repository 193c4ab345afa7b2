/* realpath(); before any header */
#define _XOPEN_SOURCE 700 /* NOLINT(bugprone-reserved-identifier) */
#include "service/modes.h"

#include "service/log.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { STICKY = 01000 }; /* S_ISVTX, which POSIX has only with XSI */

enum kind { SECRET, STORE, RULE, FOLDER };

struct look {
    const struct config *config;
    struct buf *found;
    unsigned errors;
};

static void say(struct look *l, const char *key, const char *path,
                const char *what, bool error)
{
    char text[CONFIG_TEXT_SIZE + 320];
    struct buf line;

    buf_init(&line, sizeof(text) + CONFIG_TEXT_SIZE);
    snprintf(text, sizeof(text), "%s: %s: %s", key, path, what);
    if (key[0] == '[')
        config_say(l->config, text, &line);
    else
        buf_puts(&line, text);
    buf_printf(l->found, "%s%s\n", error ? "" : "warning: ", line.data);
    buf_clear(&line);
    l->errors += error ? 1 : 0;
}

/* What is wrong with this mode; NULL: nothing.  *error: more than a warning. */
static const char *judge(const struct stat *st, enum kind kind, bool *error)
{
    bool ours = st->st_uid == geteuid();

    *error = true;
    if (kind == FOLDER)
        return (st->st_mode & S_IWOTH) != 0 && (st->st_mode & STICKY) == 0
                   ? "everybody on this machine may put files there (chmod o-w)"
                   : NULL;
    if ((st->st_mode & S_IWOTH) != 0)
        return "everybody on this machine may change it (chmod o-w)";
    if (kind != RULE && (st->st_mode & S_IROTH) != 0)
        return "everybody on this machine may read it (chmod o-r)";
    if (kind == SECRET && (st->st_mode & S_IWGRP) != 0)
        return "a whole group may change it (chmod g-w)";
    *error = false;
    if ((st->st_mode & S_IWGRP) != 0)
        return "a whole group may change it (chmod g-w)";
    /* root:headgate 0640 is how a service reads what it may not change */
    if (kind == STORE || (kind == SECRET && ours))
        return (st->st_mode & S_IRGRP) != 0
                   ? "a whole group may read it (chmod g-r)"
                   : NULL;
    return NULL;
}

/* Whoever may not enter its folder does not come to it, whatever its mode.
 * That is the folder in which it is, not that of a link to it. */
static void hide(const char *path, struct stat *st)
{
    char *folder = realpath(path, NULL), *slash;
    struct stat above;
    bool seen;

    if (folder == NULL)
        return;
    slash = strrchr(folder, '/');
    slash[slash == folder ? 1 : 0] = '\0';
    seen = stat(folder, &above) == 0;
    free(folder);
    if (!seen)
        return;
    if ((above.st_mode & S_IXOTH) == 0)
        st->st_mode &= ~(mode_t)S_IRWXO;
    if ((above.st_mode & S_IXGRP) == 0)
        st->st_mode &= ~(mode_t)S_IRWXG;
}

static void look_at(struct look *l, const char *key, const char *path,
                    enum kind kind)
{
    struct stat st;
    const char *what;
    bool error;

    if (path[0] == '\0' || stat(path, &st) != 0)
        return;
    hide(path, &st);
    what = judge(&st, kind, &error);
    if (what != NULL)
        say(l, key, path, what, error);
}

static void look_at_store(struct look *l)
{
    static const char *const ends[] = { "", "-wal", "-shm" };
    const char *path = l->config->store_path, *slash = strrchr(path, '/');
    char other[CONFIG_TEXT_SIZE + 8];

    for (size_t i = 0; i < COUNT(ends); i++) {
        snprintf(other, sizeof(other), "%s%s", path, ends[i]);
        look_at(l, "[store] path", other, STORE);
    }
    snprintf(other, sizeof(other), "%.*s",
             slash != NULL ? (int)(slash - path) + 1 : 1,
             slash != NULL ? path : ".");
    look_at(l, "[store] path", other, FOLDER);
}

unsigned modes_check(const struct config *c, bool starting, struct buf *found)
{
    struct look l = { .config = c, .found = found };
    const struct {
        const char *key, *path;
        enum kind kind;
    } files[] = {
        { "[http] tokens", c->http_tokens, SECRET },
        { "[http] tls_key", c->http_tls_key, SECRET },
        { "[mllp] tls_key", c->mllp_tls_key, SECRET },
        { "[record] token_file", c->record_token_file, SECRET },
        { "[record] smart_key", c->record_smart_key, SECRET },
        { "[record] smart_key_next", c->record_smart_key_next, SECRET },
        { "[record] tls_key", c->record_tls_key, SECRET },
        { "[record] hook_token_file", c->record_hook_token_file, SECRET },
        { "configuration", c->path, RULE },
        { "[policy] path", c->policy_path, RULE },
        { "[http] jwt_keys", c->http_jwt_keys, RULE },
        { "[http] tls_certificate", c->http_tls_certificate, RULE },
        { "[http] tls_client_ca", c->http_tls_client_ca, RULE },
        { "[http] tls_crl", c->http_tls_crl, RULE },
        { "[mllp] tls_certificate", c->mllp_tls_certificate, RULE },
        { "[mllp] tls_client_ca", c->mllp_tls_client_ca, RULE },
        { "[mllp] tls_crl", c->mllp_tls_crl, RULE },
        { "[record] tls_ca", c->record_tls_ca, RULE },
        { "[drop] folder", c->drop_folder, FOLDER }
    };

    for (size_t i = 0; i < COUNT(files); i++)
        look_at(&l, files[i].key, files[i].path, files[i].kind);
    for (int i = 0; i < c->map_count; i++)
        look_at(&l, "[codes] map", c->maps[i], RULE);
    look_at_store(&l);
    if (geteuid() == 0 && starting)
        log_event(LOG_WARN, "service.root", KEY_INT("uid", 0));
    else if (geteuid() == 0)
        say(&l, "process", "uid 0",
            "runs as root; give the service a user of its own", false);
    return l.errors;
}
