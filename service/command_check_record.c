/*
 * headgate check, the part that asks the record.  Only reads: metadata, and
 * two searches that must find nothing, to see whether the record understands
 * what it is asked.
 */
#include "service/command.h"

#include "adapters/fhir_bundle_out.h"
#include "service/app.h"
#include "service/record_check.h"
#include "service/record_side.h"
#include "service/record_start.h"

#include <stdio.h>
#include <string.h>

enum { ANSWER_MAX = 4 * 1024 * 1024, TEXT_MAX = 65536, TARGET_MAX = 2048 };

struct asking {
    uv_loop_t loop;
    const struct config *config;
    struct record_side side;
    struct record_call *call;
    struct buf out, target;
    int step;
    bool ok;
};

static void next_step(struct asking *a);

/* What stands between us and an answer. */
static void write_no_answer(struct asking *a, const struct http_answer *answer)
{
    const char *why = "it does not answer as a FHIR server does";

    if (answer->err == ERR_TIMEOUT)
        why = "no answer within the time of record.timeout";
    else if (answer->err == ERR_DENIED)
        why = "no token is to be had for it: see above";
    else if (answer->err == ERR_LIMIT)
        why = "its answer is larger than is taken";
    else if (answer->err != ERR_OK)
        why = "it cannot be reached (name, address, port or TLS)";
    else if (answer->status == 401)
        why = "it does not take the token (401)";
    else if (answer->status == 403)
        why = "the token does not allow this (403)";
    else if (answer->status >= 300 && answer->status < 400)
        why = "it answers with a redirect, which is not followed with a token: "
              "set record.url to the address that it names";
    buf_printf(&a->out, "  no   %s (HTTP status %ld)\n", why, answer->status);
    a->ok = false;
}

static void on_metadata(void *arg, const struct http_answer *answer)
{
    struct asking *a = arg;
    const struct config *c = a->config;
    struct fhir_record_says says;
    struct record_wants wants = record_side_wants(c);
    bool works;

    a->call = NULL;
    if (answer->err != ERR_OK || answer->status != 200) {
        write_no_answer(a, answer);
        return;
    }
    if (answer->body_len == 0 ||
        fhir_record_read(answer->body, answer->body_len, &says) != ERR_OK) {
        buf_puts(&a->out,
                 "  no   what it answers to GET metadata is no "
                 "CapabilityStatement of a server: is record.url its FHIR "
                 "base?\n");
        a->ok = false;
        return;
    }
    buf_printf(&a->out, "  says it is %s%sFHIR %s\n",
               says.software[0] != '\0' ? says.software : "",
               says.software[0] != '\0' ? ", " : "",
               says.fhir_version[0] != '\0' ? says.fhir_version
                                            : "of no version that it names");
    record_check_write(&says, &wants, &a->out, &works);
    a->ok = a->ok && works;
    next_step(a);
}

/* A search that cannot find anything tells whether it is understood. */
static void judge_search(struct asking *a, const struct http_answer *answer,
                         const char *type, const char *what)
{
    struct fhir_found found[1];
    size_t count = 0;
    bool more = false;
    enum err e = ERR_FORM;

    if (answer->err == ERR_OK && answer->status == 400) {
        buf_printf(&a->out, "  no   It refuses a search of %s by %s (400).\n",
                   type, what);
        return;
    }
    if (answer->err != ERR_OK || answer->status != 200) {
        buf_printf(&a->out, "  asked for %s:\n", type);
        write_no_answer(a, answer);
        return;
    }
    if (answer->body_len > 0)
        e = fhir_search_found(type, "", NULL, answer->body, answer->body_len,
                              found, 1, &count, &more);
    if (e != ERR_OK) {
        buf_printf(&a->out,
                   "  no   Its answer to a search of %s is no searchset.\n",
                   type);
        a->ok = false;
    } else if (count > 0) {
        buf_printf(&a->out,
                   "  no   It passes over the search parameter %s of %s and "
                   "sends what was not asked for. headgate takes none of it "
                   "for the patient or Task that it looks for, and finds "
                   "nothing there.\n",
                   what, type);
        a->ok = false;
    } else {
        buf_printf(&a->out, "  yes  Asked: %s by %s is understood.\n", type,
                   what);
    }
}

static void on_task_search(void *arg, const struct http_answer *answer)
{
    struct asking *a = arg;

    a->call = NULL;
    judge_search(a, answer, "Task", "identifier");
    next_step(a);
}

static void on_patient_search(void *arg, const struct http_answer *answer)
{
    struct asking *a = arg;

    a->call = NULL;
    judge_search(a, answer, "Patient", "identifier");
    next_step(a);
}

static void on_changes_search(void *arg, const struct http_answer *answer)
{
    struct asking *a = arg;

    a->call = NULL;
    judge_search(a, answer, "Task", "_lastUpdated");
    next_step(a);
}

static const struct {
    const char *target;
    http_done_fn on_done;
} steps[] = {
    { "/metadata", on_metadata },
    { "/Task?identifier=urn:headgate:check%7Cnone-of-this-name&_count=1",
      on_task_search },
    { "/Patient?identifier=urn:headgate:check%7Cnone-of-this-name&_count=1",
      on_patient_search },
    { "/Task?_lastUpdated=ge2900-01-01T00:00:00Z&_count=1", on_changes_search },
};

static void next_step(struct asking *a)
{
    struct record_request request = { .method = "GET",
                                      .answer_max = ANSWER_MAX };
    struct http_answer failed = { .body = "" };

    if ((size_t)a->step == COUNT(steps))
        return;
    buf_empty(&a->target);
    buf_puts(&a->target, steps[a->step].target);
    request.target = a->target.data;
    if (a->step == 0)
        request.answer_max = RECORD_STATEMENT_MAX;
    failed.err = record_call_start(a->side.record, &request,
                                   steps[a->step++].on_done, a, &a->call);
    if (failed.err != ERR_OK)
        write_no_answer(a, &failed);
}

static void on_side_closed(void *arg)
{
    (void)arg;
}

bool check_record(const struct config *config)
{
    struct asking a = { .config = config, .ok = true };
    struct buf why;
    enum err e;

    buf_init(&a.out, TEXT_MAX);
    buf_init(&a.target, TARGET_MAX);
    buf_init(&why, TEXT_MAX);
    if (uv_loop_init(&a.loop) != 0)
        return false;
    e = record_side_open(&a.loop, config, &a.side, &why);
    if (e == ERR_OK) {
        next_step(&a);
        uv_run(&a.loop, UV_RUN_DEFAULT);
    } else {
        printf("  no   %s\n", why.len > 0 ? why.data : err_word(e));
        a.ok = false;
    }
    record_side_close(&a.side, on_side_closed, NULL);
    uv_run(&a.loop, UV_RUN_DEFAULT);
    uv_loop_close(&a.loop);
    fputs(a.out.data, stdout);
    buf_clear(&a.out);
    buf_clear(&a.target);
    buf_clear(&why);
    return a.ok;
}
