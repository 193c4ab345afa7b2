#include "service/reload.h"

#include "adapters/policy_file.h"
#include "service/app.h"
#include "service/certificates.h"
#include "service/log.h"

#include <stdlib.h>
#include <string.h>

enum err reload_open_tls(const struct config *c, struct tls_context **context,
                         struct buf *why)
{
    const struct tls_files files = { .certificate = c->http_tls_certificate,
                                     .key = c->http_tls_key,
                                     .client_ca = c->http_tls_client_ca,
                                     .client_crl = c->http_tls_crl,
                                     .client_may_lack =
                                         c->http_tls_client == CLIENT_ASKED };
    enum err e;

    *context = NULL;
    if (c->http_tls_certificate[0] == '\0')
        return ERR_OK;
    e = config_check_files(c, why);
    return e == ERR_OK ? tls_context_open(&files, context, why) : e;
}

/* All that is read before anything is put in place. */
struct fresh {
    struct service *service;
    struct config config;
    struct doors *doors;
    struct tls_context *http, *mllp;
    struct policy policy;
    struct audit_works works; /* of what is read */
    enum log_level level;
    struct store_job job;
};

static void free_fresh(struct fresh *f)
{
    if (f == NULL)
        return;
    doors_close(f->doors);
    tls_context_close(f->http);
    tls_context_close(f->mllp);
    free(f);
}

static enum err read_mllp(struct fresh *f, struct buf *why)
{
    struct tls_files files = hl7_door_tls(&f->config);

    if (f->service->mllp == NULL || files.certificate[0] == '\0')
        return ERR_OK;
    return tls_context_open(&files, &f->mllp, why);
}

/* A file that was put there by mistake must not shut out everybody who gets in
 * by the certificate in force. */
static enum err check_terms(const struct fresh *f, struct buf *why)
{
    const struct service *s = f->service;
    const char *before = s->config.record_tls_certificate;
    const char *now = f->config.record_tls_certificate;
    struct tls_term fresh, held;
    int64_t now_s = clock_ms() / 1000;
    enum err e = ERR_OK;

    if (f->http != NULL && s->http_tls != NULL) {
        tls_context_term(f->http, &fresh);
        tls_context_term(s->http_tls, &held);
        e = certificate_may_follow(f->config.http_tls_certificate, &fresh,
                                   &held, now_s, why);
    }
    if (e == ERR_OK && f->mllp != NULL) {
        tls_context_term(f->mllp, &fresh);
        held = (struct tls_term){ .begin_s = INT64_MIN,
                                  .end_s = mllp_server_tls_end_s(s->mllp) };
        e = certificate_may_follow(f->config.mllp_tls_certificate, &fresh,
                                   &held, now_s, why);
    }
    /* that of the record is read with each connection: of the same file there
     * is no other any more */
    if (e == ERR_OK && strcmp(before, now) != 0 && tls_file_term(now, &fresh) &&
        tls_file_term(before, &held))
        e = certificate_may_follow(now, &fresh, &held, now_s, why);
    return e;
}

static enum err read_all(struct fresh *f, struct buf *why)
{
    const struct config *c = &f->config;
    enum err e = config_check_listener(c, NULL, why);

    if (e == ERR_OK)
        e = config_check_files(c, why);
    if (e == ERR_OK)
        e = doors_open(c, &f->doors, why);
    if (e == ERR_OK)
        e = reload_open_tls(c, &f->http, why);
    if (e == ERR_OK)
        e = read_mllp(f, why);
    if (e == ERR_OK)
        e = tls_trust_try(c->record_tls_ca, c->record_tls_certificate,
                          c->record_tls_key, why);
    if (e == ERR_OK)
        e = check_terms(f, why);
    if (e == ERR_OK)
        e = policy_file_read(c->policy_path, &f->policy, why);
    if (e == ERR_OK)
        e = log_level_by_word(c->log_level, &f->level);
    return e == ERR_OK ? audit_works_of(&f->policy, c, &f->works) : e;
}

/* ---- putting in place ----------------------------------------------------- */

/* The policy is that of the store's thread: with another one every access is
 * reviewed again, as at a start.  What has changed is on record with that. */
static enum err run_policy(struct db *db, void *arg)
{
    struct fresh *f = arg;

    enum err e = audit_changed(db, &f->works, clock_ms());

    f->service->work_policy = f->policy;
    return e == ERR_OK ? review_start(db, &f->service->review) : e;
}

static void on_policy(void *arg, enum err e)
{
    struct fresh *f = arg;
    struct service *s = f->service;

    if (e != ERR_OK) /* the next minute does what a start would */
        s->started = false;
    s->policy = f->policy;
    log_event(e == ERR_OK ? LOG_INFO : LOG_ERROR, "reload.policy", KEY_ERR(e));
    store_wake(s->store);
    free_fresh(f);
}

static enum err take_trust(struct service *s)
{
    const struct http_trust trust = { s->config.record_tls_ca,
                                      s->config.record_tls_certificate,
                                      s->config.record_tls_key };

    return s->side.client != NULL ? http_client_trust(s->side.client, &trust)
                                  : ERR_OK;
}

static void take(struct service *s, struct fresh *f)
{
    struct doors *before = s->doors;
    struct buf known; /* what stays has been told */

    s->doors = f->doors;
    f->doors = before;
    /* it borrows from those before */
    s->grant = (struct door_grant){ .scopes = NULL };
    /* one by one: other threads read those that stay */
    buf_init(&known, 0);
    (void)config_take_live(&s->config, &f->config, &known);
    buf_clear(&known);
    gate_set(s->gate, &s->config);
    if (f->http != NULL)
        tls_context_take(s->http_tls, f->http);
    if (f->mllp != NULL)
        mllp_server_take_tls(s->mllp, f->mllp);
    f->http = f->mllp = NULL;
    log_set_level(f->level);
    f->job =
        (struct store_job){ .run = run_policy, .done = on_policy, .arg = f };
    store_submit(s->store, &f->job);
}

void service_reload_failed(struct service *s)
{
    s->counters.reloads++;
    s->counters.reload_failed = true;
    log_event(LOG_ERROR, "reload.failed", KEY_ERR(ERR_CONFIG));
    if (!s->stopping)
        audit_reload_refused(s->store, "the settings cannot be read",
                             clock_ms());
}

enum err service_reload(struct service *s, const struct config *config,
                        struct buf *kept, struct buf *why)
{
    struct fresh *f = calloc(1, sizeof(*f));
    int stay = 0;
    enum err e = ERR_MEMORY;

    if (f != NULL) {
        f->service = s;
        f->config = s->config;
        stay = config_take_live(&f->config, config, kept);
        e = s->stopping ? ERR_STOPPED : read_all(f, why);
    }
    if (e == ERR_OK) {
        take(s, f);
        certificates_log(&s->config, clock_ms() / 1000);
        e = take_trust(s);
    } else {
        free_fresh(f);
    }
    s->counters.reloads++;
    s->counters.reload_failed = e != ERR_OK;
    if (e != ERR_OK && e != ERR_STOPPED)
        audit_reload_refused(s->store, err_word(e), clock_ms());
    if (e != ERR_OK)
        log_event(LOG_ERROR, "reload.failed", KEY_ERR(e));
    else
        log_event(stay > 0 ? LOG_WARN : LOG_INFO, "reload.done",
                  KEY_INT("need_a_start", stay));
    return e;
}
