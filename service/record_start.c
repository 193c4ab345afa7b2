#include "service/record_start.h"

#include "service/log.h"

static void on_statement(void *arg, const struct http_answer *answer)
{
    struct record_start *start = arg;
    struct fhir_record_says says;
    enum err e = answer->err;

    start->call = NULL;
    if (e == ERR_OK)
        e = answer->status == 200 && answer->body_len > 0
                ? fhir_record_read(answer->body, answer->body_len, &says)
                : ERR_ABSENT;
    if (e != ERR_OK) {
        log_event(LOG_WARN, "record.metadata",
                  KEY_INT("status", answer->status), KEY_ERR(e));
        return;
    }
    log_event(
        LOG_INFO, "record.metadata", KEY_INT("status", answer->status),
        KEY_INT("transaction", says.transaction),
        KEY_INT("patch", fhir_record_can(&says, RECORD_TASK, RECORD_PATCH)));
    start->known = true;
    start->on_says(start->arg, &says);
}

void record_start_begin(struct record_start *start, struct record *record,
                        record_says_fn on_says, void *arg)
{
    static const struct record_request request = { .method = "GET",
                                                   .target = "/metadata",
                                                   .answer_max =
                                                       RECORD_STATEMENT_MAX };

    *start = (struct record_start){ .on_says = on_says, .arg = arg };
    if (record_call_start(record, &request, on_statement, start,
                          &start->call) != ERR_OK)
        start->call = NULL;
}

void record_start_end(struct record_start *start)
{
    if (start->call != NULL)
        record_call_cancel(start->call);
    start->call = NULL;
}
