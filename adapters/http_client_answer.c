#include "adapters/http_client_work.h"

size_t http_call_on_body(char *data, size_t size, size_t count, void *arg)
{
    struct http_call *call = arg;
    long status = 0;

    if (call->on_piece != NULL)
        curl_easy_getinfo(call->easy, CURLINFO_RESPONSE_CODE, &status);
    if (status >= 200 && status < 300) {
        call->piece_bytes += size * count;
        call->stopped = call->piece_bytes > call->piece_max ||
                        !call->on_piece(call->arg, data, size * count);
        return call->stopped ? 0 : size * count;
    }
    buf_add(&call->body, data, size * count);
    /* Less than was given makes libcurl give up. */
    return buf_ok(&call->body) == ERR_OK ? size * count : 0;
}

static enum err result_err(const struct http_call *call, CURLcode result)
{
    if (buf_ok(&call->body) != ERR_OK)
        return buf_ok(&call->body);
    if (call->stopped)
        return ERR_LIMIT;
    switch ((int)result) {
    case CURLE_OK:
        return ERR_OK;
    case CURLE_OPERATION_TIMEDOUT:
        return ERR_TIMEOUT;
    case CURLE_FILESIZE_EXCEEDED:
        return ERR_LIMIT;
    case CURLE_OUT_OF_MEMORY:
        return ERR_MEMORY;
    default:
        return ERR_IO;
    }
}

/* A header of the final answer; NULL if it was not sent. */
static const char *answer_header(CURL *easy, const char *name)
{
    struct curl_header *header;

    if (curl_easy_header(easy, name, 0, CURLH_HEADER, -1, &header) != CURLHE_OK)
        return NULL;
    return header->value;
}

const char *http_answer_header(const struct http_answer *answer,
                               const char *name)
{
    const struct http_call *call = answer->source;

    return call != NULL ? answer_header(call->easy, name) : NULL;
}

struct http_answer http_call_answer(const struct http_call *call,
                                    CURLcode result)
{
    struct http_answer answer = { .err = result_err(call, result), .body = "" };

    if (answer.err == ERR_OK) {
        curl_easy_getinfo(call->easy, CURLINFO_RESPONSE_CODE, &answer.status);
        answer.body = call->body.data;
        answer.body_len = call->body.len;
        answer.etag = answer_header(call->easy, "ETag");
        answer.location = answer_header(call->easy, "Location");
        answer.retry_after = answer_header(call->easy, "Retry-After");
        answer.source = call;
    } else if (answer.err == ERR_IO) {
        answer.reason = curl_easy_strerror(result);
    }
    return answer;
}

enum err http_date_s(const char *text, int64_t *at_s)
{
    time_t at = curl_getdate(text, NULL);

    if (at == (time_t)-1)
        return ERR_FORM;
    *at_s = at;
    return ERR_OK;
}
