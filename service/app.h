/*
 * app - what the parts of a running service share; private to service/
 *
 *     service.c        opening and stopping
 *     routes.c         which path is whose
 *     routes_doors.c   who may come in, and what for; our public keys
 *     routes_intake.c  resources and Bundles that come in
 *     routes_read.c    reading and history
 *     routes_search.c  searching
 *     routes_history.c what became of one, and of all of a type
 *     routes_task.c    a person's change of a Task
 *     routes_deeds.c   a coordinator's deeds, with Tasks and accesses
 *     routes_ops.c     health, metrics
 *     routes_look.c    queue, what is held, decisions, one access
 *     routes_plan.c    the band plan of an access
 *     routes_case.c    a procedure, typed line by line
 *     routes_quarantine.c  what is held, and what people do with it
 *     routes_report.c  the weekly report per unit
 *     routes_outbox.c  what was put aside on the way to the record
 *     hook.c           the record calls
 *     routes_store.c   backups, pruning
 *     routes_patient.c  what is kept of one patient: given out, removed
 *     routes_incoming.c  what comes in from the record; exports
 *     routes_audit.c   the audit trail
 *     routes_technique.c  what finished procedures say of the technique
 *     hl7_door.c       messages of HL7 v2 over MLLP
 *     routes_hl7.c     the same by HTTP
 *     request_line.c   the line of the log for an answer
 */
#ifndef HEADGATE_SERVICE_APP_H
#define HEADGATE_SERVICE_APP_H

#include "adapters/fhir_read.h"
#include "adapters/http_server.h"
#include "service/audit_doors.h"
#include "service/audit_request.h"
#include "service/audit_start.h"
#include "service/audit_watch.h"
#include "service/clock_back.h"
#include "service/config.h"
#include "service/doors.h"
#include "service/drop.h"
#include "service/gate.h"
#include "service/hl7_answer.h"
#include "service/hl7_senders.h"
#include "service/hook.h"
#include "service/mllp_server.h"
#include "service/outbox.h"
#include "service/planning.h"
#include "service/poll_side.h"
#include "service/record_side.h"
#include "service/record_start.h"
#include "service/report_files.h"
#include "service/review.h"
#include "service/service.h"
#include "service/store.h"
#include "service/store_backup.h"
#include "service/tally_loop.h"

#define FORM_TYPE "application/x-www-form-urlencoded"

enum { ANSWER_SIZE_MAX = 64 * 1024 * 1024 };

struct patient_erasure;

struct counters {
    uint64_t requests, refused, resources, tasks_changed;
    uint64_t unauthorised, forbidden; /* answers of 401 and 403 */
    /* of the record's authorisation server, see smart_look */
    uint64_t token_fetches, token_failures;
    bool has_token, lacks_scope;
    uint64_t reloads;   /* see reload.h */
    bool reload_failed; /* the last of them */
};

struct service {
    uv_loop_t *loop;
    struct config config;
    struct policy policy; /* as the loop looks at it */
    struct policy
        work_policy; /* the same, of the store's thread once it runs */
    struct zone *zone;
    struct codes *codes;
    struct doors *doors;
    struct gate *gate;
    struct tls_context *http_tls;   /* NULL: plain */
    struct door_grant grant;        /* of the request that is being routed */
    char scope_used[64];            /* the right that it needed; "" none */
    struct audit_doors *shut;       /* who was not let in */
    struct audit_start audit_start; /* start and stop on record */
    struct fhir_reader reader;      /* now_s is set for each body */
    struct review review;
    struct planning *planning; /* of the store thread, once it runs */
    struct planners *planners; /* NULL: of a store that is only looked at */
    struct store *store;
    struct buf *open_why;   /* of what is read at opening; only while it is */
    struct store_job start; /* see review_start; submitted while starting */
    bool starting, started;
    struct http_server *public_server, *control_server;
    struct record_side side; /* all NULL: no record is set */
    struct record_start record_start;
    struct outbox *outbox;
    struct poll_side *incoming; /* NULL: no record is set */
    struct hook_counters hooks;
    struct tally_loop *tally;
    bool store_made;                 /* there was none when it was opened */
    struct silence_loop *silence;    /* NULL: who only looks */
    struct audit_watch *audit_watch; /* likewise */
    struct audit_found audit_found;
    struct store_backup *backup;
    struct patient_erasure *erasure;
    struct report_files *reports; /* NULL: no folder is set */
    struct unit_list_loop *lists; /* NULL: who only looks keeps none */
    struct store_job sweep;       /* of mappings that a stop left unfinished */
    bool sweeping;                /* it is under way */
    bool sweep_more;              /* of the store thread while it is */
    struct hl7_senders *senders;
    struct mllp_server *mllp; /* NULL: HL7 v2 is not listened for */
    struct drop *drop;        /* NULL: no drop folder is set */
    struct hl7_ids hl7_ids;
    struct hl7_counters hl7_counters;
    uv_timer_t minute; /* reviews that have become due */
    struct clock_watch watch;
    struct store_job clock; /* submitted while clock_busy */
    int64_t clock_was_ms;
    bool clock_busy;
    uv_timer_t drain; /* while stopping */
    int drain_left;
    struct counters counters;
    bool stopping, failed;
    int open_parts; /* to be closed before the service is gone */
    void (*on_stopped)(void *arg, bool failed);
    void *stopped_arg;
    void (*on_fatal)(void *arg);
    void *fatal_arg;
    char socket_path[CONFIG_TEXT_SIZE + 8];
};

/* One request on its way through. */
struct exchange {
    struct service *service;
    struct http_request *request;
    uint64_t began_ns; /* by log_now_ns() */
    struct store_job job;
    enum err (*run)(struct db *db, void *arg); /* of the job, as it was given */
    struct audit_request audit;
    struct outcome outcome;
    char allow[64];      /* of a 405: what is; "" none */
    char challenge[160]; /* of a 401 or 403; "": the plain one */
    int retry_s;         /* of a 429 */
    struct buf body;     /* of the answer */
    void (*release)(struct exchange *x); /* what else it holds; may be NULL */
};

/* NULL: out of memory, and the request has been answered 503. */
struct exchange *exchange_new(struct service *service,
                              struct http_request *request, size_t size);
void exchange_free(struct exchange *x);
/* Hand x->job to the store, with its row of the audit trail. */
void exchange_submit(struct exchange *x);

/* http_reply() with its line of the log; x is still to be freed. */
void exchange_reply(struct exchange *x, int status,
                    const struct http_header_line *lines, size_t count,
                    const char *content_type, const char *body, size_t len);
/* Answer with x->body, or with x->outcome (its status), and free x. */
void exchange_answer(struct exchange *x, int status,
                     const struct http_header_line *lines, size_t count);
void exchange_refuse(struct exchange *x);
/* The store failed: 503, or 500.  It says whether anything was stored, as far as
 * that is known: after a sync that failed (ERR_IO, ERR_STOPPED) it is not. */
void exchange_failed(struct exchange *x, enum err e);
/* 503: not now, for this reason. */
void exchange_later(struct exchange *x, const char *text);

/* "https://host:port/fhir", as the client calls us; behind a proxy of
 * http.proxy as it says that the client does. */
void exchange_base(const struct exchange *x, struct buf *out);

/* An HTTP-date: "Wed, 25 Nov 2026 15:00:00 GMT" (RFC 9110, 5.6.7). */
void http_date_write(int64_t at_s, char *out, size_t size);
/* The same read, in this one form (IMF-fixdate), which all senders use;
 * false: it is none. */
bool http_date_read(const char *text, int64_t *at_s);

/* Wall clock, milliseconds. */
int64_t clock_ms(void);

/* How old a sign of emergency of a live feed may be at this moment, before its
 * time is doubted: general.historic_d of the policy. */
int64_t service_live_from_s(const struct service *s);

void routes_handle(void *arg, struct http_request *request);
/* Before a body is read: who may not send it is answered now. */
void routes_head(void *arg, struct http_request *request);
void routes_refusal(void *arg, int status, struct buf *body,
                    const char **content_type);

/* Does the request say that its body is of this media type?  Parameters of
 * the type do not count. */
bool http_sends(const struct http_request *r, const char *media_type);

/* Does the request prefer this ("return", "minimal")?  RFC 7240, section 2. */
bool http_prefers(const struct http_request *r, const char *name,
                  const char *value);

/* One more parameter of a query, "a=b&c=d%7Ce"; name is one of ours. */
void http_query_add(struct buf *query, const char *name, const char *value);

/* Visit each parameter of a form in the body (POST _search). */
void http_form_each(const struct http_request *r,
                    void (*visit)(void *arg, const char *name,
                                  const char *value),
                    void *arg);

/* Note in the log and in the answer's header that something was forbidden.
 * scope: what is missing; NULL: the issues say it. */
void exchange_forbid(struct exchange *x, int client, const char *scope);

/*
 * May this request come in, and is it allowed what it asks for?  If not it has
 * been answered 401, 403 or 429.  parts: the path taken apart.  Called for a
 * head, and again for the whole of its request, which counts once.
 */
bool route_admit(struct service *s, struct http_request *r,
                 const char *const *parts, size_t count);
/* If it is a request that needs no token: may it be answered now?  If not it
 * has been answered 429. */
bool route_unhurried(struct service *s, struct http_request *r,
                     const char *const *parts, size_t count);
/* Is it a path that needs no token, read by GET or HEAD? */
bool route_is_open(const struct http_request *r, const char *const *parts,
                   size_t count);
/* Is it one of the paths that need no token, but are ours to answer here
 * (the public keys)?  Then it has been answered. */
bool route_open(struct service *s, struct http_request *r,
                const char *const *parts, size_t count);

/* By path: type is one we store; id and version NULL if not in the path. */
void route_create(struct service *s, struct http_request *r,
                  enum fhir_type type);
void route_update(struct service *s, struct http_request *r,
                  enum fhir_type type, const char *id);
void route_bundle(struct service *s, struct http_request *r);
void route_read(struct service *s, struct http_request *r, enum fhir_type type,
                const char *id, const char *version);
/* id NULL: of all of the type */
void route_history(struct service *s, struct http_request *r,
                   enum fhir_type type, const char *id);
void route_search(struct service *s, struct http_request *r,
                  enum fhir_type type);
/* patch: the body says what to change, else what is to be */
void route_task_update(struct service *s, struct http_request *r,
                       const char *id, bool patch);
/* take, hand, put-off, decline, done; see deeds.h */
void route_task_deed(struct service *s, struct http_request *r);
void route_access_deed(struct service *s, struct http_request *r);
void route_accesses(struct service *s, struct http_request *r);
void route_search_param(struct service *s, struct http_request *r);
void route_metadata(struct service *s, struct http_request *r);
void route_health(struct service *s, struct http_request *r);
void route_ready(struct service *s, struct http_request *r);
void route_metrics(struct service *s, struct http_request *r);
void route_queue(struct service *s, struct http_request *r);
void route_digest(struct service *s, struct http_request *r);
void route_held(struct service *s, struct http_request *r);
void route_decisions(struct service *s, struct http_request *r);
void route_review(struct service *s, struct http_request *r);
void route_plan(struct service *s, struct http_request *r);
void route_outbox(struct service *s, struct http_request *r);
void route_outbox_act(struct service *s, struct http_request *r);
/* /quarantine and what is below it; false: there is nothing. */
bool route_quarantine(struct service *s, struct http_request *r,
                      const char *const *parts, size_t count);
void route_store(struct service *s, struct http_request *r);
void route_store_act(struct service *s, struct http_request *r);
/* Goes on with x: prune, or say what would be. */
void route_prune(struct exchange *x);
void route_patient(struct service *s, struct http_request *r);
void route_patient_act(struct service *s, struct http_request *r);
/* Is it asked on the machine of the service?  If not it has been refused. */
bool route_here_only(struct exchange *x);
/* Say why as a line of text, and free x. */
void route_refuse_text(struct exchange *x, int status, const char *text);
void route_feed_report(struct service *s, struct http_request *r);
void route_incoming(struct service *s, struct http_request *r);
/* POST: begin an export; DELETE: give it up. */
void route_bulk(struct service *s, struct http_request *r);
void route_case(struct service *s, struct http_request *r);
void route_technique(struct service *s, struct http_request *r);
void route_technique_switch(struct service *s, struct http_request *r);
void route_hl7(struct service *s, struct http_request *r);
void route_audit(struct service *s, struct http_request *r);

/* Listen for HL7 v2, if the settings say so; errors of mllp_server_open. */
MUST_CHECK enum err hl7_door_open(struct service *s, struct buf *why);
/* The files of TLS that the settings name for it; borrowed from them. */
struct tls_files hl7_door_tls(const struct config *config);

/* The line of the log for a message of HL7 v2 (debug): whose, of the settings,
 * and what came of it.  began_ns: by log_now_ns(). */
void hl7_door_tell(const struct hl7_intake *in, enum err e, uint64_t began_ns);
/* What came as HL7 v2, for the metrics: looked at on the loop, written on any
 * thread. */
struct hl7_door_view {
    bool listens;
    struct mllp_view mllp;
    struct hl7_counters hl7;
};
void hl7_door_look(const struct service *s, struct hl7_door_view *view);
void hl7_door_metrics(const struct hl7_door_view *view, struct buf *out);

/* The word of a type we store ("Observation"), and back; FHIR_OTHER. */
const char *type_word(enum fhir_type type);
enum fhir_type type_by_word(const char *word);

#endif
