#include "adapters/http_client_work.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* Copies the header lines.  libcurl must not call a body a web form because
 * the caller has not said what it is. */
enum err http_call_add_headers(struct http_call *call,
                               const struct http_call_options *o)
{
    bool typed = false;
    struct curl_slist *list;
    size_t i;

    for (i = 0; o->headers != NULL && o->headers[i] != NULL; i++) {
        if (strpbrk(o->headers[i], "\r\n") != NULL)
            return ERR_FORM;
        typed = typed || strncasecmp(o->headers[i], "Content-Type:", 13) == 0;
        list = curl_slist_append(call->headers, o->headers[i]);
        if (list == NULL)
            return ERR_MEMORY;
        call->headers = list;
    }
    if (!typed) {
        list = curl_slist_append(call->headers, "Content-Type:");
        if (list == NULL)
            return ERR_MEMORY;
        call->headers = list;
    }
    return ERR_OK;
}

#define SET(option, value)                                                     \
    (result =                                                                  \
         result != CURLE_OK ? result : curl_easy_setopt(easy, option, value))

/* A body that cannot be begun again: where a kept connection breaks before an
 * answer has come, libcurl would send it a second time by itself, and nobody
 * would know that it may have arrived twice. */
static size_t on_read(char *out, size_t size, size_t count, void *arg)
{
    struct http_call *call = arg;
    size_t left = call->sent_len - call->sent_at;
    size_t n = size * count < left ? size * count : left;

    if (n > 0)
        memcpy(out, call->sent + call->sent_at, n);
    call->sent_at += n;
    return n;
}

static CURLcode set_post(struct http_call *call,
                         const struct http_call_options *o)
{
    CURL *easy = call->easy;
    CURLcode result = CURLE_OK;

    call->sent_len = o->body != NULL ? o->body_len : 0;
    call->sent = malloc(call->sent_len + 1);
    if (call->sent == NULL)
        return CURLE_OUT_OF_MEMORY;
    if (call->sent_len > 0)
        memcpy(call->sent, o->body, call->sent_len);
    SET(CURLOPT_POST, 1L);
    SET(CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)call->sent_len);
    SET(CURLOPT_READFUNCTION, on_read);
    SET(CURLOPT_READDATA, call);
    return result;
}

/* Method, body and where to. */
static CURLcode set_request(struct http_call *call,
                            const struct http_call_options *o)
{
    CURL *easy = call->easy;
    CURLcode result = CURLE_OK;
    bool head = strcmp(o->method, "HEAD") == 0;
    bool post = strcmp(o->method, "POST") == 0;
    bool sends = o->body != NULL || strcmp(o->method, "PUT") == 0 ||
                 strcmp(o->method, "PATCH") == 0;

    if (post) {
        result = set_post(call, o);
    } else if (sends) {
        /* The size first: with it the body is copied as bytes. */
        SET(CURLOPT_POSTFIELDSIZE_LARGE,
            (curl_off_t)(o->body != NULL ? o->body_len : 0));
        SET(CURLOPT_COPYPOSTFIELDS, o->body != NULL ? o->body : "");
    } else {
        SET(CURLOPT_NOBODY, head ? 1L : 0L);
    }
    SET(CURLOPT_URL, o->url);
    if (!head && !post)
        SET(CURLOPT_CUSTOMREQUEST, o->method);
    if (o->socket_path != NULL) {
        SET(CURLOPT_UNIX_SOCKET_PATH, o->socket_path);
        SET(CURLOPT_PROXY, "");
    }
    return result;
}

static CURLcode set_limits(CURL *easy, const struct http_call_options *o)
{
    CURLcode result = CURLE_OK;

    SET(CURLOPT_TIMEOUT_MS, (long)o->timeout_ms);
    SET(CURLOPT_CONNECTTIMEOUT_MS, (long)o->timeout_ms);
    SET(CURLOPT_MAXFILESIZE_LARGE, (curl_off_t)o->answer_max);
    SET(CURLOPT_FOLLOWLOCATION, 0L);
    SET(CURLOPT_PROTOCOLS_STR, "http,https");
    SET(CURLOPT_NOSIGNAL, 1L);
    /* Without it, ending a call whose name look-up hangs would hold up the
     * loop until the look-up ends. */
    SET(CURLOPT_QUICK_EXIT, 1L);
    return result;
}

static CURLcode set_tls(CURL *easy, const struct http_client *client)
{
    CURLcode result = CURLE_OK;

    SET(CURLOPT_SSLVERSION, (long)CURL_SSLVERSION_TLSv1_2);
    SET(CURLOPT_SSL_VERIFYPEER, 1L);
    SET(CURLOPT_SSL_VERIFYHOST, 2L);
    if (client->ca != NULL) {
        SET(CURLOPT_CAINFO, client->ca);
        SET(CURLOPT_CAPATH, NULL);
        SET(CURLOPT_CA_CACHE_TIMEOUT, 0L); /* a new file counts at once */
    }
    if (client->certificate != NULL) {
        SET(CURLOPT_SSLCERT, client->certificate);
        SET(CURLOPT_SSLKEY, client->key);
    }
    return result;
}

CURLcode http_call_set(struct http_call *call,
                       const struct http_call_options *o)
{
    CURL *easy = call->easy;
    CURLcode result = set_request(call, o);

    if (result == CURLE_OK)
        result = set_limits(easy, o);
    if (result == CURLE_OK)
        result = set_tls(easy, call->client);
    SET(CURLOPT_HTTPHEADER, call->headers);
    SET(CURLOPT_WRITEFUNCTION, http_call_on_body);
    SET(CURLOPT_WRITEDATA, call);
    SET(CURLOPT_PRIVATE, call);
    return result;
}

/* A copy; "" and NULL: NULL.  false: no memory. */
static bool copy_path(const char *path, char **out)
{
    *out = NULL;
    if (path == NULL || path[0] == '\0')
        return true;
    *out = strdup(path);
    return *out != NULL;
}

void http_client_forget_trust(struct http_client *client)
{
    free(client->ca);
    free(client->certificate);
    free(client->key);
}

enum err http_client_trust(struct http_client *client,
                           const struct http_trust *trust)
{
    char *made[3] = { NULL };

    if (!copy_path(trust->ca, &made[0]) ||
        !copy_path(trust->certificate, &made[1]) ||
        !copy_path(trust->key, &made[2])) {
        for (size_t i = 0; i < COUNT(made); i++)
            free(made[i]);
        return ERR_MEMORY;
    }
    http_client_forget_trust(client);
    client->ca = made[0];
    client->certificate = made[1];
    client->key = made[2];
    return ERR_OK;
}
