/* A coordinator's deeds: with a Task, and with two accesses that are one. */
#include "adapters/fhir_form.h"
#include "adapters/fhir_out.h"
#include "adapters/queue_text.h"
#include "service/deeds.h"
#include "service/log.h"
#include "service/report.h"

#include <stdio.h>
#include <string.h>

enum { DEED_ANSWER_MAX = 64 * 1024, DEED_PLACES_MAX = 8 };

/* Where the value of a parameter goes. */
struct place {
    const char *name;
    char *to;
    size_t size;
};

/* One deed of either kind; which one says its run. */
struct asked {
    struct exchange x; /* first */
    struct task_deed task;
    struct access_deed access;
    struct fhir_reader reader;
    struct buf self; /* our base, as the client calls it */
    struct place places[DEED_PLACES_MAX];
    size_t place_count;
    char act[16];
    bool json;
    const char *wrong; /* of the parameters; NULL: nothing */
};

static void release(struct exchange *x)
{
    struct asked *a = (struct asked *)x;

    buf_clear(&a->task.text);
    buf_clear(&a->access.text);
    buf_clear(&a->self);
}

/* ---- what is asked ------------------------------------------------------------ */

/* What is kept and shown is one line; what cannot be seen, or would turn the
 * direction of what follows, is left out of it. */
static void take_words(struct asked *a, const struct place *p,
                       const char *value)
{
    struct buf clean;

    if (!queue_text_is_utf8(value)) {
        a->wrong = "A parameter is not UTF-8";
        return;
    }
    buf_init(&clean, (size_t)5 * QUEUE_TEXT_MAX);
    queue_text_clean(&clean, value);
    if (buf_ok(&clean) != ERR_OK || clean.len >= p->size)
        a->wrong = "A parameter is too long";
    else
        snprintf(p->to, p->size, "%s", clean.len > 0 ? clean.data : "");
    buf_clear(&clean);
}

static void take_parameter(void *arg, const char *name, const char *value)
{
    struct asked *a = arg;

    for (size_t i = 0; i < a->place_count; i++) {
        if (strcmp(a->places[i].name, name) == 0) {
            take_words(a, &a->places[i], value);
            return;
        }
    }
    if (strcmp(name, "json") == 0)
        a->json = true;
    else
        a->wrong = "A parameter is not known here";
}

static void read_parameters(struct asked *a, struct http_request *r)
{
    size_t len;
    const char *body = http_body(r, &len);

    http_query_each(r, take_parameter, a);
    http_form_each(r, take_parameter, a);
    if (!http_sends(r, "application/json"))
        return;
    a->json = true;
    if (fhir_form_each(body, len, take_parameter, a) != ERR_OK)
        a->wrong = "The body is not one JSON object of texts";
}

static void add_place(struct asked *a, const char *name, char *to, size_t size)
{
    a->places[a->place_count++] =
        (struct place){ .name = name, .to = to, .size = size };
}

static struct asked *asked_new(struct service *s, struct http_request *r)
{
    struct asked *a = (struct asked *)exchange_new(s, r, sizeof(*a));

    if (a == NULL)
        return NULL;
    a->x.release = release;
    buf_init(&a->task.text, DEED_ANSWER_MAX);
    buf_init(&a->access.text, DEED_ANSWER_MAX);
    buf_init(&a->self, 1024);
    exchange_base(&a->x, &a->self);
    a->reader = s->reader;
    a->reader.now_s = clock_ms() / 1000;
    a->reader.self = a->self.data;
    add_place(a, "act", a->act, sizeof(a->act));
    return a;
}

static void refuse(struct asked *a)
{
    outcome_add(&a->x.outcome, SEV_ERROR, "bad-parameter", "", "%s", a->wrong);
    exchange_refuse(&a->x);
}

/* ---- the answer ----------------------------------------------------------------- */

static void answer(struct asked *a, int status, const char *fid,
                   const char *about, const struct buf *text)
{
    struct buf *b = &a->x.body;

    if (a->json) {
        fhir_out_open(b, NULL, '{');
        fhir_out_bool(b, "done", status == 200);
        fhir_out_text(b, "task", fid);
        fhir_out_text(b, "about", about);
        fhir_out_text(b, "text", text->data);
        fhir_out_close(b, '}');
        buf_puts(b, "\n");
    } else {
        buf_add(b, text->data, text->len);
    }
    exchange_reply(&a->x, status, NULL, 0,
                   a->json ? "application/json" : TEXT_TYPE, b->data, b->len);
    exchange_free(&a->x);
}

/* ---- a Task --------------------------------------------------------------------- */

static enum err run_task(struct db *db, void *arg)
{
    struct asked *a = arg;
    enum err e = task_deed(db, &a->task);
    struct audit_request *audit = &a->x.audit;

    snprintf(audit->type, sizeof(audit->type), "Task");
    snprintf(audit->key, sizeof(audit->key), "%s", a->task.fid);
    return e;
}

static void on_task(void *arg, enum err e)
{
    struct asked *a = arg;
    struct service *s = a->x.service;

    if (e != ERR_OK && (e != ERR_CONFLICT || a->task.status < 400)) {
        exchange_failed(&a->x, e);
        return;
    }
    if (e == ERR_OK) {
        s->counters.tasks_changed++;
        store_wake(s->store);
        if (s->outbox != NULL)
            outbox_kick(s->outbox);
    }
    log_event(LOG_INFO, "task.person", KEY_INT("verb", a->task.verb),
              KEY_INT("status", a->task.status));
    answer(a, a->task.status, a->task.fid, a->task.about, &a->task.text);
}

static bool verb_of(const char *word, enum task_verb *verb)
{
    static const char *const words[] = { [TASK_TAKE] = "take",
                                         [TASK_HAND] = "hand",
                                         [TASK_PUT_OFF] = "put-off",
                                         [TASK_DECLINE] = "decline",
                                         [TASK_DONE] = "done" };

    for (size_t i = 0; i < COUNT(words); i++) {
        if (strcmp(words[i], word) != 0)
            continue;
        *verb = (enum task_verb)i;
        return true;
    }
    return false;
}

/* What was said has to go with what is to be done. */
static const char *misfit(struct task_deed *t, const char *act)
{
    if (!verb_of(act, &t->verb))
        return "act is take, hand, put-off, decline or done";
    if (t->task[0] == '\0')
        return "task names a Task by its id, or the access it is about";
    if (t->who[0] == '\0')
        return "by names who decides";
    if (t->whom[0] != '\0' && t->verb != TASK_HAND)
        return "whom goes with hand";
    if (t->until[0] != '\0' && t->verb != TASK_PUT_OFF)
        return "until goes with put-off";
    if (t->over[0] != '\0' && (t->verb == TASK_TAKE || t->verb == TASK_PUT_OFF))
        return "over goes with hand, decline and done";
    return NULL;
}

void route_task_deed(struct service *s, struct http_request *r)
{
    struct asked *a = asked_new(s, r);
    struct task_deed *t;

    if (a == NULL)
        return;
    t = &a->task;
    add_place(a, "task", t->task, sizeof(t->task));
    add_place(a, "by", t->who, sizeof(t->who));
    add_place(a, "whom", t->whom, sizeof(t->whom));
    add_place(a, "why", t->why, sizeof(t->why));
    add_place(a, "over", t->over, sizeof(t->over));
    add_place(a, "until", t->until, sizeof(t->until));
    read_parameters(a, r);
    if (a->wrong == NULL)
        a->wrong = misfit(t, a->act);
    if (a->wrong != NULL) {
        refuse(a);
        return;
    }
    audit_request_act(&a->x.audit, "task", a->act);
    snprintf(a->x.audit.who, sizeof(a->x.audit.who), "%s", t->who);
    a->x.audit.detail[0] = '\0';
    t->reader = &a->reader;
    t->policy = &s->work_policy; /* read by the store's thread alone */
    t->deliver = s->review.record && !s->review.silent;
    t->now_ms = clock_ms();
    a->x.job = (struct store_job){ .run = run_task, .done = on_task, .arg = a };
    exchange_submit(&a->x);
}

/* ---- accesses ------------------------------------------------------------------- */

static enum err run_merge(struct db *db, void *arg)
{
    return access_deed_merge(db, &((struct asked *)arg)->access);
}

static void on_merge(void *arg, enum err e)
{
    struct asked *a = arg;

    if (e != ERR_OK && (e != ERR_CONFLICT || a->access.status < 400)) {
        exchange_failed(&a->x, e);
        return;
    }
    if (e == ERR_OK)
        store_wake(a->x.service->store);
    log_event(LOG_INFO, "access.person", KEY_INT("status", a->access.status));
    answer(a, a->access.status, NULL, NULL, &a->access.text);
}

void route_access_deed(struct service *s, struct http_request *r)
{
    struct asked *a = asked_new(s, r);
    struct access_deed *d;

    if (a == NULL)
        return;
    d = &a->access;
    add_place(a, "from", d->from, sizeof(d->from));
    add_place(a, "into", d->into, sizeof(d->into));
    add_place(a, "by", d->who, sizeof(d->who));
    add_place(a, "why", d->why, sizeof(d->why));
    read_parameters(a, r);
    if (a->wrong == NULL && strcmp(a->act, "merge") != 0)
        a->wrong = "act is merge";
    if (a->wrong == NULL && (d->from[0] == '\0' || d->into[0] == '\0'))
        a->wrong = "from and into name two accesses";
    if (a->wrong == NULL && (d->who[0] == '\0' || d->why[0] == '\0'))
        a->wrong = "by names who decides, and why says the reason: a merge "
                   "cannot be undone";
    if (a->wrong != NULL) {
        refuse(a);
        return;
    }
    audit_request_act(&a->x.audit, "access", a->act);
    snprintf(a->x.audit.who, sizeof(a->x.audit.who), "%s", d->who);
    a->x.audit.named = AUDIT_ACCESS; /* the other one is of the same patient */
    snprintf(a->x.audit.subject, sizeof(a->x.audit.subject), "%s", d->into);
    d->reader = &a->reader;
    d->now_ms = clock_ms();
    a->x.job =
        (struct store_job){ .run = run_merge, .done = on_merge, .arg = a };
    exchange_submit(&a->x);
}

/* Whose accesses are listed. */
struct listing {
    struct exchange x; /* first */
    char patient[DEED_NAME_SIZE];
    bool json;
    enum err found;
};

static enum err run_list(struct db *db, void *arg)
{
    struct listing *l = arg;

    l->found = access_deed_list(db, l->patient, l->json, &l->x.body);
    return l->found == ERR_ABSENT ? ERR_OK : l->found;
}

static void on_list(void *arg, enum err e)
{
    struct listing *l = arg;

    if (e != ERR_OK) {
        exchange_failed(&l->x, e);
        return;
    }
    if (l->found == ERR_ABSENT) {
        outcome_add(&l->x.outcome, SEV_ERROR, "not-found", "",
                    "No patient with an access has this number or id");
        exchange_refuse(&l->x);
        return;
    }
    exchange_reply(&l->x, 200, NULL, 0, l->json ? NDJSON_TYPE : TEXT_TYPE,
                   l->x.body.data, l->x.body.len);
    exchange_free(&l->x);
}

void route_accesses(struct service *s, struct http_request *r)
{
    struct listing *l = (struct listing *)exchange_new(s, r, sizeof(*l));
    const char *patient = http_query(r, "patient");

    if (l == NULL)
        return;
    if (patient == NULL || patient[0] == '\0' ||
        strlen(patient) >= sizeof(l->patient)) {
        outcome_add(&l->x.outcome, SEV_ERROR, "bad-parameter", "",
                    "patient names one, by number or id");
        exchange_refuse(&l->x);
        return;
    }
    snprintf(l->patient, sizeof(l->patient), "%s", patient);
    l->json = http_query(r, "json") != NULL;
    l->x.job = (struct store_job){ .run = run_list, .done = on_list, .arg = l };
    exchange_submit(&l->x);
}
