#include "service/audit_start.h"

#include "service/config_rows.h"
#include "service/db_shape.h"
#include "service/file.h"
#include "service/log.h"

#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DIGESTED_MAX = 1024 * 1024, KEPT_SIZE = 64 };

static enum err digest(const struct buf *text, char hex[AUDIT_HEX_SIZE])
{
    unsigned char bytes[EVP_MAX_MD_SIZE];
    enum err e = buf_ok(text);

    if (e == ERR_OK &&
        EVP_Digest(text->data, text->len, bytes, NULL, EVP_sha256(), NULL) != 1)
        e = ERR_MEMORY;
    if (e == ERR_OK)
        audit_hex(bytes, hex);
    return e;
}

/* ---- what it works by ----------------------------------------------------- */

static enum err digest_policy(const struct policy *p, char hex[AUDIT_HEX_SIZE])
{
    struct buf text;
    enum err e;

    buf_init(&text, DIGESTED_MAX);
    buf_printf(&text, "%s\n%s\n%s\n", p->version, p->approver, p->date);
    for (size_t i = 0; i < PARAM_TOTAL; i++)
        buf_printf(&text, "%.17g\n", p->values[i].value);
    e = digest(&text, hex);
    buf_clear(&text);
    return e;
}

/* What a setting was set to; what may be said several times is added whole. */
static void add_setting(struct buf *text, const struct config *c,
                        const struct config_row *row)
{
    const char *at = (const char *)c + row->where;

    switch (row->type) {
    case T_INT:
    case T_CHOICE:
        buf_printf(text, "%s=%d\n", row->key, *(const int *)(const void *)at);
        break;
    case T_BOOL:
        buf_printf(text, "%s=%d\n", row->key,
                   *(const bool *)(const void *)at ? 1 : 0);
        break;
    case T_MAP:
    case T_SYSTEM:
        break;
    case T_PATH:
    case T_URL:
    case T_TEXT:
    case T_URI:
    case T_ADDRESS:
    case T_ZONE:
    case T_LEVEL:
        buf_printf(text, "%s=%s\n", row->key, at);
        break;
    }
}

static enum err digest_settings(const struct config *c,
                                char hex[AUDIT_HEX_SIZE])
{
    struct buf text;
    size_t count;
    const struct config_row *rows = config_rows(&count);
    enum err e;

    buf_init(&text, DIGESTED_MAX);
    for (size_t i = 0; i < count; i++)
        add_setting(&text, c, &rows[i]);
    for (int i = 0; i < c->map_count; i++)
        buf_printf(&text, "map=%s\n", c->maps[i]);
    for (int i = 0; i < c->sender_count; i++)
        buf_printf(&text, "sender=%s|%s|%s\n", c->senders[i].profile.name,
                   c->senders[i].zone, c->senders[i].certificate);
    e = digest(&text, hex);
    buf_clear(&text);
    return e;
}

/* How long it is comes first: no byte of one file may count for the other. */
static void add_file(struct buf *text, const char *path)
{
    struct buf bytes, why;

    buf_init(&bytes, DIGESTED_MAX / 2 - 64);
    buf_init(&why, 1024);
    if (path[0] == '\0' || file_read(path, &bytes, &why) != ERR_OK)
        buf_empty(&bytes);
    buf_printf(text, "%zu\n", bytes.len);
    if (bytes.len > 0)
        buf_add(text, bytes.data, bytes.len);
    buf_clear(&bytes);
    buf_clear(&why);
}

static enum err digest_tokens(const struct config *c, char hex[AUDIT_HEX_SIZE])
{
    struct buf text;
    enum err e;

    buf_init(&text, DIGESTED_MAX);
    add_file(&text, c->http_tokens);
    add_file(&text, c->http_jwt_keys);
    e = digest(&text, hex);
    buf_clear(&text);
    return e;
}

enum err audit_works_of(const struct policy *policy,
                        const struct config *config, struct audit_works *works)
{
    enum err e = digest_policy(policy, works->policy);

    snprintf(works->version, sizeof(works->version), "%s", policy->version);
    if (e == ERR_OK)
        e = digest_settings(config, works->settings);
    return e == ERR_OK ? digest_tokens(config, works->tokens) : e;
}

/* ---- a row of our own ------------------------------------------------------ */

static enum err note(struct db *db, const char *action, const char *detail,
                     int64_t now_ms)
{
    const struct audit_entry row = {
        .at_ms = now_ms, .kind = "service", .action = action, .detail = detail
    };

    return audit_note(db, &row);
}

/* ---- what keeps the trail from being changed ------------------------------- */

static const char *const differences[] = {
    [DB_MISSING] = "missing", [DB_CHANGED] = "changed", [DB_FOREIGN] = "foreign"
};

/* The name of what is foreign is somebody's text, and goes into no log. */
static void log_difference(const struct db_difference *d)
{
    const char *how = differences[d->kind];

    if (d->kind == DB_FOREIGN)
        log_event(LOG_ERROR, "store.shape", KEY_TABLE("is", how));
    else
        log_event(LOG_ERROR, "store.shape", KEY_TABLE("is", how),
                  KEY_TABLE("name", d->name), KEY_INT("mended", d->mended));
}

/* A row for each, since one may have to be found by its name. */
static enum err note_difference(struct db *db, const struct db_difference *d,
                                int64_t now_ms)
{
    char detail[96];
    const struct audit_entry row = { .at_ms = now_ms,
                                     .kind = "service",
                                     .action = "store-shape",
                                     .type = d->type,
                                     .key = d->name,
                                     .outcome =
                                         d->mended ? AUDIT_DONE : AUDIT_FAILED,
                                     .detail = detail };

    snprintf(detail, sizeof(detail), "%s%s", differences[d->kind],
             d->mended ? ", made again" : "");
    return audit_note(db, &row);
}

enum err audit_mend(struct db *db, int64_t now_ms)
{
    struct db_shape shape;
    enum err e = db_shape_compare(db, &shape);

    if (e != ERR_OK || shape.count == 0)
        return e;
    e = db_shape_mend(db, &shape);
    for (size_t i = 0; e == ERR_OK && i < db_shape_listed(&shape); i++) {
        log_difference(&shape.list[i]);
        e = note_difference(db, &shape.list[i], now_ms);
    }
    return e;
}

/* ---- starting, and what has changed since ----------------------------------- */

/* Is it what it was before?  If not, that is on record. */
static enum err compare(struct db *db, const char *key, const char *action,
                        const char *now, int64_t now_ms)
{
    enum err e = db_first(db, Q_META_GET, "s", key);
    char before[AUDIT_HEX_SIZE] = "", detail[2 * AUDIT_HEX_SIZE + 32];
    bool is_known = e == ERR_OK;

    if (is_known)
        snprintf(before, sizeof(before), "%s", db_text(db, Q_META_GET, 0));
    db_done(db, Q_META_GET);
    if (e != ERR_OK && e != ERR_ABSENT)
        return e;
    if (strcmp(before, now) == 0)
        return ERR_OK;
    e = db_run(db, Q_META_PUT, "ss", key, now);
    if (e != ERR_OK || !is_known)
        return e;
    snprintf(detail, sizeof(detail), "before %s, now %s", before, now);
    return note(db, action, detail, now_ms);
}

enum err audit_changed(struct db *db, const struct audit_works *works,
                       int64_t now_ms)
{
    enum err e =
        compare(db, "audit_policy", "policy-changed", works->policy, now_ms);

    if (e == ERR_OK)
        e = compare(db, "audit_settings", "settings-changed", works->settings,
                    now_ms);
    return e == ERR_OK ? compare(db, "audit_tokens", "tokens-changed",
                                 works->tokens, now_ms)
                       : e;
}

enum err audit_started(struct db *db, const struct audit_works *works,
                       int64_t now_ms)
{
    char detail[AUDIT_TEXT_MAX];
    enum err e;

    snprintf(detail, sizeof(detail),
             "version %s, policy %s (%s), settings %s, tokens %s",
             HEADGATE_VERSION, works->version, works->policy, works->settings,
             works->tokens);
    e = note(db, "start", detail, now_ms);
    if (e == ERR_OK)
        e = audit_mend(db, now_ms);
    return e == ERR_OK ? audit_changed(db, works, now_ms) : e;
}

/* ---- what is refused ------------------------------------------------------ */

struct refusal {
    struct store_job job;
    char why[AUDIT_TEXT_MAX];
    int64_t now_ms;
};

static enum err run_refusal(struct db *db, void *arg)
{
    const struct refusal *r = arg;
    const struct audit_entry row = { .at_ms = r->now_ms,
                                     .kind = "service",
                                     .action = "reload-refused",
                                     .outcome = AUDIT_REFUSED,
                                     .detail = r->why };

    return audit_note(db, &row);
}

static void on_refusal(void *arg, enum err e)
{
    if (e != ERR_OK)
        log_event(LOG_WARN, "audit.lost", KEY_ERR(e));
    free(arg);
}

void audit_reload_refused(struct store *store, const char *why, int64_t now_ms)
{
    struct refusal *r = calloc(1, sizeof(*r));

    if (r == NULL) {
        log_event(LOG_WARN, "audit.lost", KEY_ERR(ERR_MEMORY));
        return;
    }
    snprintf(r->why, sizeof(r->why), "%s", why);
    r->now_ms = now_ms;
    r->job =
        (struct store_job){ .run = run_refusal, .done = on_refusal, .arg = r };
    store_submit(store, &r->job);
}

static enum err run_stop(struct db *db, void *arg)
{
    const struct audit_start *start = arg;

    return note(db, "stop", "", start->stop_ms);
}

static void on_stop(void *arg, enum err e)
{
    (void)arg;
    if (e != ERR_OK)
        log_event(LOG_WARN, "audit.lost", KEY_ERR(e));
}

void audit_stop(struct audit_start *start, struct store *store, int64_t now_ms)
{
    if (!start->is_on)
        return;
    start->is_on = false;
    start->stop_ms = now_ms;
    start->stop =
        (struct store_job){ .run = run_stop, .done = on_stop, .arg = start };
    store_submit(store, &start->stop);
}
