#include "service/retry.h"

#include <ctype.h>
#include <openssl/rand.h>
#include <stdlib.h>

enum {
    WAIT_MAX_MS = 3600 * 1000,
    UNCLEAR_FIRST_MS = 60 * 1000,
    UNCLEAR_GROWTH = 5,
    UNCLEAR_MAX_MS = 24 * 3600 * 1000
};

enum retry_class retry_class(const struct http_answer *answer)
{
    if (answer->err == ERR_LIMIT)
        return RETRY_NEVER;
    if (answer->err == ERR_DENIED)
        return RETRY_PAUSED;
    if (answer->err != ERR_OK)
        return RETRY_LATER;
    if (answer->status >= 300 && answer->status < 400)
        return RETRY_PAUSED; /* a redirect is not followed with a token */
    switch (answer->status) {
    case 400:
    case 413:
    case 422:
        return RETRY_NEVER;
    case 409:
    case 412:
    case 500:
        return RETRY_UNCLEAR; /* some servers say 500 to bad data */
    case 401:
    case 403:
    case 404:
    case 405:
    case 406:
    case 415:
    case 501:
        return RETRY_PAUSED;
    default:
        return RETRY_LATER;
    }
}

int64_t retry_wait_ms(int tries, int first_ms, int last_ms)
{
    int64_t most_ms = first_ms;
    uint32_t random = 0;

    for (int i = 0; i < tries && most_ms < last_ms; i++)
        most_ms *= 2;
    if (most_ms > last_ms)
        most_ms = last_ms;
    if (RAND_bytes((unsigned char *)&random, sizeof(random)) != 1)
        random = UINT32_MAX;
    return 1 + (int64_t)((double)random / (UINT32_MAX + 1.0) * (double)most_ms);
}

int64_t retry_paused_ms(int last_ms)
{
    return (int64_t)last_ms + 1 - retry_wait_ms(0, last_ms / 4, last_ms / 4);
}

int64_t retry_unclear_ms(int tries, int last_ms)
{
    int64_t wait_ms = last_ms / UNCLEAR_GROWTH;
    int64_t least_ms = UNCLEAR_FIRST_MS;

    if (wait_ms > UNCLEAR_FIRST_MS)
        wait_ms = UNCLEAR_FIRST_MS;
    for (int i = 0; i < tries && wait_ms < UNCLEAR_MAX_MS; i++) {
        wait_ms *= UNCLEAR_GROWTH;
        if (least_ms < last_ms)
            least_ms *= 2;
    }
    if (least_ms > last_ms)
        least_ms = last_ms;
    if (wait_ms < least_ms)
        wait_ms = least_ms;
    if (wait_ms > UNCLEAR_MAX_MS)
        wait_ms = UNCLEAR_MAX_MS;
    return wait_ms + retry_wait_ms(0, (int)(wait_ms / 8), (int)(wait_ms / 8));
}

static int64_t within(int64_t wait_ms)
{
    if (wait_ms < 0)
        return 0;
    return wait_ms > WAIT_MAX_MS ? WAIT_MAX_MS : wait_ms;
}

enum err retry_after_ms(const char *text, int64_t now_ms, int64_t *wait_ms)
{
    char *end;
    long seconds;
    int64_t at_s;

    if (isdigit((unsigned char)text[0])) {
        seconds = strtol(text, &end, 10);
        if (*end != '\0')
            return ERR_FORM;
        *wait_ms =
            within(seconds > WAIT_MAX_MS / 1000 ? WAIT_MAX_MS : seconds * 1000);
        return ERR_OK;
    }
    if (http_date_s(text, &at_s) != ERR_OK)
        return ERR_FORM;
    *wait_ms = within(at_s * 1000 - now_ms);
    return ERR_OK;
}
