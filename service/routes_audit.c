/*
 * The audit trail: GET /audit
 *
 *     form=table|json|fhir   rows (json, if nothing is said); from, to (dates
 *                            of the site), patient (number or id)
 *     verify                 a walk along the chain; hash, anchor
 *     head                   the last row's hash alone
 *     after=N                go on behind row N
 *
 * A page at a time; its last line is an object of texts: next (the row to go
 * on behind; not there: that was all), seq and head (the last row and its
 * hash); of a walk also hash, broken, why and anchor.
 *
 * On the machine of the service, or for a token whose scopes name
 * headgate/audit.r: that a token may do everything else is not enough.
 */
#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"
#include "service/audit_list.h"
#include "service/report.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct audit_page {
    struct exchange x; /* first */
    struct audit_wish wish;
    struct audit_walk walk;
    bool verify;
    bool only_head;
    char patient[256]; /* as it was asked for; "" all */
    bool nobody;       /* there is no such patient */
};

/* ---- in the store --------------------------------------------------------- */

/* By what people call it, or, once it is erased, by its row. */
static enum err find_patient(struct db *db, struct audit_page *p)
{
    const enum query q = Q_AUDIT_WHOM;
    enum err e;

    if (strncmp(p->patient, "row:", 4) == 0) {
        p->wish.patient = strtoll(p->patient + 4, NULL, 10);
        p->nobody = p->wish.patient < 1;
        return ERR_OK;
    }
    e = db_first(db, q, "s", p->patient);
    p->nobody = e == ERR_ABSENT;
    if (e == ERR_OK)
        p->wish.patient = db_int(db, q, 0);
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static void put_number(struct buf *b, const char *key, int64_t number)
{
    char text[24];

    snprintf(text, sizeof(text), "%lld", (long long)number);
    if (number != 0)
        fhir_out_text(b, key, text);
}

static enum err write_end(struct db *db, const struct audit_page *p,
                          struct buf *b)
{
    unsigned char head[AUDIT_HASH_SIZE];
    char hex[AUDIT_HEX_SIZE];
    int64_t seq;
    enum err e = audit_head(db, &seq, head);

    if (e != ERR_OK)
        return e;
    buf_puts(b, "{"); /* not fhir_out_open: no comma behind a line before */
    put_number(b, "next",
               !p->verify     ? p->wish.next
               : p->walk.more ? p->walk.after
                              : 0);
    put_number(b, "seq", seq);
    audit_hex(head, hex);
    fhir_out_text(b, "head", hex);
    if (p->verify) {
        put_number(b, "walked", p->walk.after);
        audit_hex(p->walk.hash, hex);
        fhir_out_text(b, "hash", hex);
        put_number(b, "broken", p->walk.broken);
        fhir_out_text(b, "why", p->walk.why);
        put_number(b, "anchor", p->walk.anchor_seq);
    }
    fhir_out_close(b, '}');
    buf_puts(b, "\n");
    return buf_ok(b);
}

static enum err run(struct db *db, void *arg)
{
    struct audit_page *p = arg;
    enum err e = ERR_OK;

    if (p->patient[0] != '\0')
        e = find_patient(db, p);
    p->x.audit.patient = p->wish.patient;
    if (e != ERR_OK || p->nobody)
        return e;
    if (p->verify) {
        e = audit_walk_step(db, &p->walk);
        /* its row comes when all is judged, and so is not judged itself; of a
         * cut end the next row would make a gap */
        p->x.audit.skip = e == ERR_OK && p->walk.more;
    } else if (!p->only_head) {
        e = audit_list(db, &p->wish, &p->x.body);
    }
    return e == ERR_OK ? write_end(db, p, &p->x.body) : e;
}

/* ---- loop ------------------------------------------------------------------- */

static void on_done(void *arg, enum err e)
{
    struct audit_page *p = arg;

    if (e != ERR_OK) {
        exchange_failed(&p->x, e);
        return;
    }
    if (p->nobody) {
        outcome_add(&p->x.outcome, SEV_ERROR, "not-found", "",
                    "No patient has this number or id");
        exchange_refuse(&p->x);
        return;
    }
    exchange_reply(&p->x, 200, NULL, 0,
                   p->wish.form == AUDIT_TABLE ? TEXT_TYPE : NDJSON_TYPE,
                   p->x.body.data, p->x.body.len);
    exchange_free(&p->x);
}

static const char *read_form(struct audit_page *p, const char *form)
{
    static const char *const words[] = {
        [AUDIT_TABLE] = "table", [AUDIT_JSON] = "json", [AUDIT_FHIR] = "fhir"
    };

    p->wish.form = AUDIT_JSON;
    if (form == NULL)
        return NULL;
    for (size_t i = 0; i < COUNT(words); i++) {
        if (strcmp(words[i], form) == 0) {
            p->wish.form = (enum audit_form)i;
            return NULL;
        }
    }
    return "form is table, json or fhir";
}

/* A day of the site, or a moment; false: it is neither. */
static bool read_time(const struct service *s, const char *text, bool its_end,
                      int64_t *at_ms)
{
    struct fhir_time at;

    if (text == NULL)
        return true;
    if (fhir_time_read(text, strlen(text), s->zone, &at) != ERR_OK)
        return false;
    *at_ms = (its_end ? at.end_s : at.start_s) * 1000;
    return true;
}

/* NULL: fine; else what is wrong. */
static const char *read_all(struct audit_page *p, const struct service *s,
                            const struct http_request *r)
{
    const char *after = http_query(r, "after"), *hash = http_query(r, "hash");
    const char *anchor = http_query(r, "anchor");
    const char *patient = http_query(r, "patient");
    char *end = NULL;

    p->wish.after = after != NULL ? strtoll(after, &end, 10) : 0;
    p->wish.from_ms = INT64_MIN;
    p->wish.to_ms = INT64_MAX;
    p->walk.after = p->wish.after;
    p->walk.anchored = anchor != NULL;
    if ((end != NULL && *end != '\0') || p->wish.after < 0)
        return "after is the number of a row";
    if ((hash != NULL && !audit_unhex(hash, p->walk.hash)) ||
        (anchor != NULL && !audit_unhex(anchor, p->walk.anchor)))
        return "hash and anchor are of 64 hexadecimal digits";
    if (!read_time(s, http_query(r, "from"), false, &p->wish.from_ms) ||
        !read_time(s, http_query(r, "to"), true, &p->wish.to_ms))
        return "from and to are dates: write them as 2026-03-31";
    if (patient != NULL && strlen(patient) >= sizeof(p->patient))
        return "patient is a number or an id";
    snprintf(p->patient, sizeof(p->patient), "%s",
             patient != NULL ? patient : "");
    return read_form(p, http_query(r, "form"));
}

static void record(struct audit_page *p)
{
    struct audit_request *a = &p->x.audit;

    audit_request_act(a, "audit",
                      p->verify                    ? "verify"
                      : p->wish.form == AUDIT_FHIR ? "export"
                                                   : "list");
    a->named = AUDIT_NOBODY;
    /* a page of what is on record already, or nothing of a patient */
    a->skip = (p->wish.after > 0 && !p->verify) || p->only_head;
}

/* Not by a right to everything: see above. */
static bool is_let(struct service *s, const struct http_request *r)
{
    return http_is_local(r) || s->grant.scopes != NULL;
}

void route_audit(struct service *s, struct http_request *r)
{
    struct audit_page *p = (struct audit_page *)exchange_new(s, r, sizeof(*p));
    const char *wrong;

    if (p == NULL)
        return;
    if (!is_let(s, r)) {
        exchange_forbid(&p->x, s->grant.client, "headgate/audit.r");
        outcome_add(&p->x.outcome, SEV_ERROR, "forbidden", "",
                    "The audit trail is read on the machine of the service, or "
                    "with a token whose scopes name headgate/audit.r");
        exchange_refuse(&p->x);
        return;
    }
    p->verify = http_query(r, "verify") != NULL;
    p->only_head = http_query(r, "head") != NULL;
    p->wish.base = s->config.fhir_base;
    p->wish.zone = s->zone;
    wrong = read_all(p, s, r);
    if (wrong != NULL) {
        outcome_add(&p->x.outcome, SEV_ERROR, "bad-parameter", "", "%s", wrong);
        exchange_refuse(&p->x);
        return;
    }
    record(p);
    p->x.job = (struct store_job){ .run = run, .done = on_done, .arg = p };
    exchange_submit(&p->x);
}
