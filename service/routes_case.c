/* A procedure in words: what is typed, what was typed, what is taken back. */
#include "service/cases.h"
#include "service/report.h"

#include <stdio.h>
#include <string.h>

enum { WORD_SIZE = 256 };

struct typing {
    struct exchange x; /* first */
    struct case_call call;
    struct fhir_reader reader; /* as of now */
    char access[WORD_SIZE], by[WORD_SIZE], number[WORD_SIZE];
    char why[CASE_WHY_MAX + 1];
};

static void release(struct exchange *x)
{
    buf_clear(&((struct typing *)x)->call.text);
}

static enum err run(struct db *db, void *arg)
{
    struct typing *t = arg;

    return case_call(db, &t->call);
}

static void on_done(void *arg, enum err e)
{
    struct typing *t = arg;
    const struct buf *text = &t->call.text;
    bool refused = t->call.status >= 400;

    if (e != ERR_OK && !(e == ERR_CONFLICT && refused)) {
        exchange_failed(&t->x, e);
        return;
    }
    if (e == ERR_OK && t->call.news)
        store_wake(t->x.service->store);
    exchange_reply(&t->x, t->call.status, NULL, 0, TEXT_TYPE, text->data,
                   text->len);
    exchange_free(&t->x);
}

static void refuse(struct typing *t, const char *text)
{
    outcome_add(&t->x.outcome, SEV_ERROR, "bad-parameter", "", "%s", text);
    exchange_refuse(&t->x);
}

/* 422, and a line that says what is wrong with the one that was typed. */
static void say_wrong(struct typing *t, const struct buf *why)
{
    buf_puts(&t->call.text, why->len > 0 ? why->data : "?");
    buf_puts(&t->call.text, "\n");
    t->call.status = 422;
    on_done(t, ERR_CONFLICT);
}

static bool copy(char *to, size_t size, const char *text)
{
    if (text == NULL || text[0] == '\0' || strlen(text) >= size)
        return false;
    snprintf(to, size, "%s", text);
    return true;
}

static void submit(struct typing *t)
{
    if (t->call.verb != CASE_LIST)
        audit_request_act(&t->x.audit, "case",
                          t->call.verb == CASE_UNDO ? "undo" : "line");
    t->x.job = (struct store_job){ .run = run, .done = on_done, .arg = t };
    exchange_submit(&t->x);
}

static void read_line(struct typing *t, const char *line)
{
    struct buf why;
    enum err e;

    buf_init(&why, 1024);
    e = case_line_read(line, &t->call.line, &why);
    if (e == ERR_OK)
        submit(t);
    else
        say_wrong(t, &why);
    buf_clear(&why);
}

static void change(struct typing *t, const struct http_request *r)
{
    const char *line = http_query(r, "line"), *method = http_query(r, "method");
    const char *number = http_query(r, "number"), *why = http_query(r, "why");
    bool undo = http_query(r, "undo") != NULL;

    if (!copy(t->by, sizeof(t->by), http_query(r, "by"))) {
        refuse(t, "by names who types");
        return;
    }
    t->call.by = t->by;
    if (method != NULL &&
        method_by_code(method, strlen(method), &t->call.method) != ERR_OK) {
        refuse(t, "method is a code of CodeSystem av-method");
        return;
    }
    if (number != NULL && !copy(t->number, sizeof(t->number), number)) {
        refuse(t, "number is that of a line in the list");
        return;
    }
    t->call.number = number != NULL ? t->number : NULL;
    if (why != NULL && !copy(t->why, sizeof(t->why), why)) {
        refuse(t, "why says in a few words why it is taken back");
        return;
    }
    t->call.why = why != NULL ? t->why : NULL;
    t->call.verb = undo ? CASE_UNDO : CASE_STATE;
    if (undo)
        submit(t);
    else if (line == NULL || strlen(line) > CASE_LINE_MAX)
        refuse(t, "line is what was typed");
    else
        read_line(t, line);
}

/* GET: what was typed; POST: a line, or one that is taken back. */
void route_case(struct service *s, struct http_request *r)
{
    struct typing *t = (struct typing *)exchange_new(s, r, sizeof(*t));

    if (t == NULL)
        return;
    t->x.release = release;
    buf_init(&t->call.text, ANSWER_SIZE_MAX);
    t->call.review = &s->review;
    t->reader = s->reader;
    t->reader.now_s = clock_ms() / 1000;
    t->call.reader = &t->reader;
    t->call.merge_implied = s->config.merge_implied;
    t->call.now_ms = clock_ms();
    t->call.access = t->access;
    if (!copy(t->access, sizeof(t->access), http_query(r, "access"))) {
        refuse(t, "access names which one: its identifier, label or id, or "
                  "that of its patient");
        return;
    }
    if (strcmp(http_method(r), "POST") == 0) {
        change(t, r);
        return;
    }
    t->call.verb = CASE_LIST;
    submit(t);
}
