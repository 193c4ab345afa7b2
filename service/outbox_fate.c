#include "service/outbox_work.h"

#include "service/log.h"
#include "service/retry.h"

#include <string.h>

void outbox_save(struct delivery *d, enum delivery_result result)
{
    d->data.result = result;
    outbox_go(d, SAVING);
}

static void try_later(struct delivery *d, const struct http_answer *answer,
                      int64_t wait_ms, bool at_least)
{
    int64_t now_ms = d->outbox->options.now_ms();
    int64_t asked_ms;

    if (answer->retry_after != NULL &&
        retry_after_ms(answer->retry_after, now_ms, &asked_ms) == ERR_OK &&
        asked_ms > 0 && (!at_least || asked_ms > wait_ms))
        wait_ms = asked_ms;
    d->data.tries++;
    d->data.due_ms = now_ms + wait_ms;
    log_event(LOG_WARN, "outbox.retry", KEY_INT("row", d->data.row),
              KEY_INT("status", answer->status), KEY_ERR(answer->err),
              KEY_INT("tries", d->data.tries), KEY_INT("wait_ms", wait_ms));
    outbox_save(d, DELIVER_LATER);
}

void outbox_put_aside(struct delivery *d, const struct http_answer *answer)
{
    size_t len =
        answer->body_len < ANSWER_KEPT - 1 ? answer->body_len : ANSWER_KEPT - 1;

    memcpy(d->answer, answer->body != NULL ? answer->body : "",
           answer->body != NULL ? len : 0);
    d->answer[answer->body != NULL ? len : 0] = '\0';
    d->data.answer = d->answer;
    log_event(LOG_ERROR, "outbox.aside", KEY_INT("row", d->data.row),
              KEY_INT("status", answer->status));
    outbox_save(d, DELIVER_NEVER);
}

/* Perhaps for good, perhaps not: a few times, with long waits. */
void outbox_unclear(struct delivery *d, const struct http_answer *answer)
{
    const struct outbox_options *options = &d->outbox->options;

    d->data.status = answer->status;
    d->data.tries = d->unclear;
    if (d->unclear + 1 >= options->unclear_tries)
        outbox_put_aside(d, answer);
    else
        try_later(d, answer,
                  retry_unclear_ms(d->unclear, options->retry_last_ms), true);
}

/* A record may well do without what goes beside a Task. */
static bool is_not_wanted(const struct delivery *d,
                          const struct http_answer *answer)
{
    return d->data.kind != FHIR_TASK &&
           (answer->status == 403 || answer->status == 404 ||
            answer->status == 405 || answer->status == 501);
}

/* Anything but success. */
void outbox_not_done(struct delivery *d, const struct http_answer *answer)
{
    const struct outbox_options *options = &d->outbox->options;

    d->data.status = answer->status;
    switch (retry_class(answer)) {
    case RETRY_LATER:
        try_later(d, answer,
                  retry_wait_ms(d->data.tries, options->retry_first_ms,
                                options->retry_last_ms),
                  false);
        break;
    case RETRY_PAUSED:
        if (is_not_wanted(d, answer)) {
            outbox_put_aside(d, answer);
            break;
        }
        /* others are tried meanwhile: it may be this kind of request alone */
        try_later(d, answer, retry_paused_ms(options->retry_last_ms), true);
        break;
    case RETRY_UNCLEAR:
        outbox_unclear(d, answer);
        break;
    case RETRY_NEVER:
        outbox_put_aside(d, answer);
        break;
    }
}

bool outbox_is_success(const struct http_answer *answer)
{
    return answer->err == ERR_OK && answer->status >= 200 &&
           answer->status < 300;
}

bool outbox_is_passing(const struct http_answer *a)
{
    return retry_class(a) == RETRY_LATER || a->err == ERR_DENIED ||
           a->status == 401;
}

bool outbox_must_wait(const struct delivery *d, const struct http_answer *a)
{
    return outbox_is_passing(a) &&
           (retry_class(a) != RETRY_LATER || d->data.tries < 2);
}

bool outbox_gives_up(const struct delivery *d, const struct http_answer *a)
{
    enum retry_class c = retry_class(a);

    return c == RETRY_NEVER || c == RETRY_PAUSED ||
           (c == RETRY_UNCLEAR &&
            d->unclear + 1 >= d->outbox->options.unclear_tries);
}
