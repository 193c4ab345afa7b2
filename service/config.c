#include "service/config_work.h"

#include "adapters/ini_file.h"
#include "adapters/origin.h"
#include "service/poll_settings.h"

#include <arpa/inet.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>

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

static bool is_section(const char *section)
{
    size_t count, len = strlen(section);
    const struct config_row *rows = config_rows(&count);

    for (size_t i = 0; i < count; i++) {
        if (strncmp(rows[i].key, section, len) == 0 && rows[i].key[len] == '.')
            return true;
    }
    return false;
}

static enum err on_row(void *arg, int line, const char *section,
                       const char *key, const char *value)
{
    struct config_reader *l = arg;
    const struct config_row *row = NULL;
    size_t at, total;
    const char *sender;
    char name[64];
    int n = snprintf(name, sizeof(name), "%s.%s", section, key);

    if (config_is_sender(section, &sender))
        return config_set_sender(l, line, section, sender, key, value);
    if (n > 0 && (size_t)n < sizeof(name))
        row = find(name, (size_t)n);
    if (row == NULL && !is_section(section)) {
        buf_printf(l->why, "%s:%d: [%s] %.80s: there is no such section%s",
                   l->path, line, section, key,
                   strchr(section, ' ') != NULL ? "; that of a sender is "
                                                  "[sender NAME]"
                                                : "");
        return ERR_CONFIG;
    }
    if (row == NULL) {
        buf_printf(l->why, "%s:%d: [%s] %.80s: there is no such setting",
                   l->path, line, section, key);
        return ERR_CONFIG;
    }
    at = (size_t)(row - config_rows(&total));
    if (row->type != T_MAP && l->seen[at])
        return config_refuse(l, line, row, "", "is given twice");
    l->seen[at] = true;
    l->config->lines[at] = line;
    return config_set(l, line, row, value);
}

static enum err load_defaults(struct config_reader *l)
{
    size_t count;
    const struct config_row *rows = config_rows(&count);

    for (size_t i = 0; i < count; i++) {
        enum err e = config_set(l, 0, &rows[i], rows[i].fallback);

        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

static enum err load_file(struct config_reader *l, const char *path)
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

        e = config_set(l, 0, row, row->fallback);
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

static enum err load_override(struct config_reader *l, const char *text)
{
    size_t len = strcspn(text, "=");
    const struct config_row *row = text[len] == '=' ? find(text, len) : NULL;
    const char *sender;

    if (text[len] == '=' && config_is_sender(text, &sender))
        return config_override_sender(l, text, len);

    if (row != NULL) {
        size_t total;

        l->config->lines[row - config_rows(&total)] = CONFIG_OVERRIDDEN;
        return config_set(l, 0, row, text + len + 1);
    }
    buf_printf(l->why, "--set: %.80s: %s", text,
               text[len] == '=' ? "there is no such setting"
                                : "is not of the form section.key=value");
    return ERR_CONFIG;
}

bool config_is_loopback(const char *address)
{
    struct in6_addr six;
    struct in_addr four;

    if (inet_pton(AF_INET, address, &four) == 1)
        return ntohl(four.s_addr) >> 24 == 127;
    return inet_pton(AF_INET6, address, &six) == 1 &&
           IN6_IS_ADDR_LOOPBACK(&six);
}

static enum err complain(const struct config *c, const char *what,
                         struct buf *why)
{
    if (what == NULL)
        return ERR_OK;
    config_say(c, what, why);
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
    else if (c->http_anonymous && !config_is_loopback(c->http_address))
        what = "[http] anonymous: only on a loopback address (127.0.0.1, ::1)";
    else if (!c->http_plain && c->http_tls_certificate[0] == '\0' &&
             !config_is_loopback(c->http_address))
        what = "[http] address: beyond loopback only by TLS (tls_certificate, "
               "tls_key), or with plain = true if a TLS proxy stands in front";
    if (what != NULL && c->path[0] == '\0' && path != NULL) {
        buf_printf(why, "%s: %s", path, what); /* settings of no file */
        return ERR_CONFIG;
    }
    return complain(c, what, why);
}

/* Would what is sent there pass over a network in plain? */
static bool is_plain_afar(const char *url)
{
    struct origin origin;

    return strncmp(url, "http://", 7) == 0 &&
           (origin_read(url, &origin) != ERR_OK ||
            !origin_is_loopback(&origin));
}

/* Of the ways to prove oneself, to the record and here. */
static const char *check_keys(const struct config *c)
{
    bool smart = c->record_smart_client_id[0] != '\0';

    if (smart && c->record_token_file[0] != '\0')
        return "[record] token_file and smart_client_id: give one of them; "
               "a token is either in a file or fetched with a key";
    if (c->record_token_file[0] != '\0' && is_plain_afar(c->record_url))
        return "[record] token_file: a token is sent over https:// only, or to "
               "a loopback address";
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
static enum err check_incoming(const struct config *c, struct buf *why)
{
    struct poll_settings settings;
    struct buf what;
    enum err e;

    buf_init(&what, 1024);
    e = poll_settings_read(c, &settings, &what);
    if (e == ERR_CONFIG)
        e = complain(c, what.data, why);
    buf_clear(&what);
    return e;
}

/* What the settings must say together. */
static enum err check(const struct config *c, struct buf *why)
{
    const char *what = NULL;
    char room[400];

    if (c->outbox_retry_first_ms > c->outbox_retry_last_ms)
        what = "[outbox] retry_first: is above retry_last";
    else
        what = check_keys(c);
    if (what == NULL)
        what = config_check_tls(c, room, sizeof(room));
    if (what == NULL)
        what = config_check_hl7(c, room, sizeof(room));
    return what == NULL ? check_incoming(c, why) : complain(c, what, why);
}

enum err config_load(const char *path, const char *const *overrides, int count,
                     struct config *config, struct buf *why)
{
    struct config fresh = { .map_count = 0 };
    struct config_reader l = { .config = &fresh, .why = why, .base = &fresh };
    enum err e = load_defaults(&l);

    if (path != NULL)
        snprintf(fresh.path, sizeof(fresh.path), "%s", path);
    if (e == ERR_OK && path != NULL)
        e = load_file(&l, path);
    for (int i = 0; e == ERR_OK && i < count; i++)
        e = load_override(&l, overrides[i]);
    if (e == ERR_OK)
        e = check(&fresh, why);
    if (e == ERR_OK)
        *config = fresh;
    return e;
}
