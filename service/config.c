#include "service/config.h"

#include "adapters/ini_file.h"
#include "adapters/zone.h"
#include "service/config_rows.h"
#include "service/log.h"
#include "service/poll_settings.h"

#include <arpa/inet.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* One loading. */
struct load {
    struct config *config;
    struct buf *why;
    const char *path;  /* of the file; NULL for defaults and overrides */
    size_t folder_len; /* of path, with its slash; 0 for none */
    bool seen[CONFIG_ROWS_MAX]; /* in the file */
};

static enum err refuse(const struct load *l, int line,
                       const struct config_row *row, const char *value,
                       const char *what)
{
    size_t section = strcspn(row->key, ".");

    if (l->path != NULL && line > 0)
        buf_printf(l->why, "%s:%d: ", l->path, line);
    else if (l->path != NULL)
        buf_printf(l->why, "%s: ", l->path);
    else
        buf_puts(l->why, "--set: ");
    buf_printf(l->why, "[%.*s] %s: %.80s%s%s", (int)section, row->key,
               row->key + section + 1, value, value[0] != '\0' ? " " : "",
               what);
    return ERR_CONFIG;
}

static void *place(const struct load *l, const struct config_row *row)
{
    return (char *)l->config + row->where;
}

static enum err set_int(const struct load *l, int line,
                        const struct config_row *row, const char *value)
{
    char *end, what[80];
    long number;

    errno = 0;
    number = strtol(value, &end, 10);
    if (end == value || *end != '\0')
        return refuse(l, line, row, value, "is not a whole number");
    if (errno != 0 || number < row->least || number > row->most) {
        snprintf(what, sizeof(what), "is not between %ld and %ld", row->least,
                 row->most);
        return refuse(l, line, row, value, what);
    }
    *(int *)place(l, row) = (int)number;
    return ERR_OK;
}

static enum err set_bool(const struct load *l, int line,
                         const struct config_row *row, const char *value)
{
    bool yes = strcmp(value, "true") == 0;

    if (!yes && strcmp(value, "false") != 0)
        return refuse(l, line, row, value, "is neither true nor false");
    *(bool *)place(l, row) = yes;
    return ERR_OK;
}

/* A text into its field, after `folder_len` bytes of the file's path. */
static enum err set_text(const struct load *l, int line,
                         const struct config_row *row, char *field,
                         const char *value, size_t folder_len)
{
    size_t len = strlen(value);

    if ((long)len < row->least)
        return refuse(l, line, row, value, "must not be empty");
    if ((long)(folder_len + len) > row->most)
        return refuse(l, line, row, value, "is too long");
    if (folder_len > 0)
        memcpy(field, l->path, folder_len);
    memcpy(field + folder_len, value, len + 1);
    return ERR_OK;
}

static enum err set_path(const struct load *l, int line,
                         const struct config_row *row, char *field,
                         const char *value)
{
    bool relative = value[0] != '\0' && value[0] != '/';

    return set_text(l, line, row, field, value, relative ? l->folder_len : 0);
}

static enum err set_map(const struct load *l, int line,
                        const struct config_row *row, const char *value)
{
    struct config *c = l->config;
    char *field;
    enum err e;

    if (value[0] == '\0')
        return ERR_OK; /* "map =" names none */
    if (c->map_count == CONFIG_MAPS_MAX)
        return refuse(l, line, row, value, "is one map too many");
    field = c->maps[c->map_count];
    e = set_path(l, line, row, field, value);
    if (e != ERR_OK)
        return e;
    if (access(field, R_OK) != 0)
        return refuse(l, line, row, field, "cannot be read");
    c->map_count++;
    return ERR_OK;
}

static enum err set_url(const struct load *l, int line,
                        const struct config_row *row, const char *value)
{
    size_t len = strlen(value);
    char *field = place(l, row);
    enum err e;

    if (len > 0 && strncmp(value, "http://", 7) != 0 &&
        strncmp(value, "https://", 8) != 0)
        return refuse(l, line, row, value, "is not an http or https address");
    if (strpbrk(value, " \t?#") != NULL)
        return refuse(l, line, row, value, "has a blank, \"?\" or \"#\"");
    e = set_text(l, line, row, field, value, 0);
    if (e != ERR_OK)
        return e;
    while (len > 0 && field[len - 1] == '/')
        field[--len] = '\0';
    return ERR_OK;
}

static bool is_address(const char *text)
{
    struct in6_addr six;
    struct in_addr four;

    return inet_pton(AF_INET, text, &four) == 1 ||
           inet_pton(AF_INET6, text, &six) == 1;
}

static bool is_zone(const char *name)
{
    struct zone *zone;

    if (zone_load(name, &zone) != ERR_OK)
        return false;
    zone_free(zone);
    return true;
}

static enum err set_word(const struct load *l, int line,
                         const struct config_row *row, const char *value)
{
    enum log_level level;

    if (row->type == T_ADDRESS && !is_address(value))
        return refuse(l, line, row, value,
                      "is not an IPv4 or IPv6 address in numbers");
    if (row->type == T_ZONE && !is_zone(value))
        return refuse(l, line, row, value,
                      "is not a zone of the system's zone database");
    if (row->type == T_LEVEL && log_level_by_word(value, &level) != ERR_OK)
        return refuse(l, line, row, value,
                      "is not one of debug, info, warn, error");
    return set_text(l, line, row, place(l, row), value, 0);
}

static enum err set(const struct load *l, int line,
                    const struct config_row *row, const char *value)
{
    switch (row->type) {
    case T_INT:
        return set_int(l, line, row, value);
    case T_BOOL:
        return set_bool(l, line, row, value);
    case T_PATH:
        return set_path(l, line, row, place(l, row), value);
    case T_MAP:
        return set_map(l, line, row, value);
    case T_URL:
        return set_url(l, line, row, value);
    case T_TEXT:
        return set_text(l, line, row, place(l, row), value, 0);
    case T_ADDRESS:
    case T_ZONE:
    case T_LEVEL:
        break;
    }
    return set_word(l, line, row, value);
}

static const struct config_row *find(const char *key, size_t len)
{
    size_t count;
    const struct config_row *rows = config_rows(&count);

    for (size_t i = 0; i < count; i++) {
        if (strlen(rows[i].key) == len && memcmp(rows[i].key, key, len) == 0)
            return &rows[i];
    }
    return NULL;
}

static enum err on_row(void *arg, int line, const char *section,
                       const char *key, const char *value)
{
    struct load *l = arg;
    const struct config_row *row = NULL;
    size_t at, total;
    char name[64];
    int n = snprintf(name, sizeof(name), "%s.%s", section, key);

    if (n > 0 && (size_t)n < sizeof(name))
        row = find(name, (size_t)n);
    if (row == NULL) {
        buf_printf(l->why, "%s:%d: [%s] %.80s: there is no such setting",
                   l->path, line, section, key);
        return ERR_CONFIG;
    }
    at = (size_t)(row - config_rows(&total));
    if (row->type != T_MAP && l->seen[at])
        return refuse(l, line, row, "", "is given twice");
    l->seen[at] = true;
    return set(l, line, row, value);
}

static enum err load_defaults(struct load *l)
{
    size_t count;
    const struct config_row *rows = config_rows(&count);

    for (size_t i = 0; i < count; i++) {
        enum err e = set(l, 0, &rows[i], rows[i].fallback);

        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

static enum err load_file(struct load *l, const char *path)
{
    static const char *const beside[] = { "store.path", "policy.path" };
    const char *slash = strrchr(path, '/');
    int line = 0;
    enum err e = ERR_OK;

    l->path = path;
    l->folder_len = slash != NULL ? (size_t)(slash + 1 - path) : 0;
    /* The defaults that are beside the file, not in the working directory:
     * a command run elsewhere must not find, or make, another store. */
    for (size_t i = 0; e == ERR_OK && i < COUNT(beside); i++) {
        const struct config_row *row = find(beside[i], strlen(beside[i]));

        e = set(l, 0, row, row->fallback);
    }
    if (e != ERR_OK)
        return e;
    e = ini_file_read(path, on_row, l, &line);
    if (e == ERR_IO)
        buf_printf(l->why, "%s: cannot be read: %s", path, strerror(errno));
    if (e == ERR_FORM) {
        buf_printf(l->why, "%s:%d: is not a line of an INI file", path, line);
        e = ERR_CONFIG;
    }
    l->path = NULL;
    l->folder_len = 0;
    return e;
}

static enum err load_override(struct load *l, const char *text)
{
    size_t len = strcspn(text, "=");
    const struct config_row *row = text[len] == '=' ? find(text, len) : NULL;

    if (row != NULL)
        return set(l, 0, row, text + len + 1);
    buf_printf(l->why, "--set: %.80s: %s", text,
               text[len] == '=' ? "there is no such setting"
                                : "is not of the form section.key=value");
    return ERR_CONFIG;
}

static bool is_loopback(const char *address)
{
    struct in6_addr six;
    struct in_addr four;

    if (inet_pton(AF_INET, address, &four) == 1)
        return ntohl(four.s_addr) >> 24 == 127;
    return inet_pton(AF_INET6, address, &six) == 1 &&
           IN6_IS_ADDR_LOOPBACK(&six);
}

static enum err complain(const char *path, const char *what, struct buf *why)
{
    if (what == NULL)
        return ERR_OK;
    buf_printf(why, "%s: %s", path != NULL ? path : "settings", what);
    return ERR_CONFIG;
}

enum err config_check_listener(const struct config *c, const char *path,
                               struct buf *why)
{
    const char *what = NULL;

    if (!c->http_anonymous && c->http_tokens[0] == '\0' &&
        c->http_jwt_keys[0] == '\0')
        what = "[http] tokens: name a file of tokens (or jwt_keys), or set "
               "anonymous = true on a loopback address";
    else if (c->http_anonymous && !is_loopback(c->http_address))
        what = "[http] anonymous: only on a loopback address (127.0.0.1, ::1)";
    return complain(path, what, why);
}

/* Of the ways to prove oneself, to the record and here. */
static const char *check_keys(const struct config *c)
{
    bool smart = c->record_smart_client_id[0] != '\0';

    if (smart && c->record_token_file[0] != '\0')
        return "[record] token_file and smart_client_id: give one of them; "
               "a token is either in a file or fetched with a key";
    if (smart && c->record_url[0] == '\0')
        return "[record] smart_client_id: there is no record.url to use it at";
    if (smart != (c->record_smart_key[0] != '\0'))
        return "[record] smart_client_id and smart_key: each needs the other";
    if (smart && c->record_smart_scopes[0] == '\0')
        return "[record] smart_scopes: name the scopes to ask for";
    if (!smart && c->record_smart_key_next[0] != '\0')
        return "[record] smart_key_next: needs smart_client_id and smart_key";
    if (c->http_jwt_keys[0] != '\0' &&
        (c->http_jwt_issuer[0] == '\0' || c->http_jwt_audience[0] == '\0'))
        return "[http] jwt_keys: needs jwt_issuer and jwt_audience, or tokens "
               "made for others would be taken";
    return NULL;
}

/* Of what comes in from the record. */
static enum err check_incoming(const struct config *c, const char *path,
                               struct buf *why)
{
    struct poll_settings settings;
    struct buf what;
    enum err e;

    buf_init(&what, 1024);
    e = poll_settings_read(c, &settings, &what);
    if (e == ERR_CONFIG)
        e = complain(path, what.data, why);
    buf_clear(&what);
    return e;
}

/* What the settings must say together. */
static enum err check(const struct config *c, const char *path, struct buf *why)
{
    const char *what = NULL;

    if (c->outbox_retry_first_ms > c->outbox_retry_last_ms)
        what = "[outbox] retry_first: is above retry_last";
    /* A site that asks for a listener must not believe that it has one. */
    else if (c->mllp_enabled)
        what = "[mllp] enabled: this version does not listen for HL7 v2";
    else if (c->mllp_port != 0)
        what = "[mllp] port: this version does not listen for HL7 v2";
    else
        what = check_keys(c);
    return what == NULL ? check_incoming(c, path, why)
                        : complain(path, what, why);
}

enum err config_load(const char *path, const char *const *overrides, int count,
                     struct config *config, struct buf *why)
{
    struct config fresh = { .map_count = 0 };
    struct load l = { .config = &fresh, .why = why };
    enum err e = load_defaults(&l);

    if (e == ERR_OK && path != NULL)
        e = load_file(&l, path);
    for (int i = 0; e == ERR_OK && i < count; i++)
        e = load_override(&l, overrides[i]);
    if (e == ERR_OK)
        e = check(&fresh, path, why);
    if (e == ERR_OK)
        *config = fresh;
    return e;
}
