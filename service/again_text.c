/* Observations by what stands in them, where no index knows. */
#include "service/again.h"

#include "service/resources.h"

#include <string.h>

enum { SCAN_MAX = 400, READ_MAX = 50 };

static char low(char c)
{
    return (char)(c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c);
}

static bool begins(const char *at, const char *text, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        if (low(at[i]) != low(text[i]))
            return false;
    }
    return true;
}

/* A backslash may be that of an escaped letter of it: whoever may have it is
 * read again, which changes nothing for one who has not. */
static bool may_have(const struct buf *body, const char *text)
{
    size_t len = strlen(text);

    if (body->len == 0 || memchr(body->data, '\\', body->len) != NULL)
        return true;
    for (size_t i = 0; i + len <= body->len; i++) {
        if (begins(body->data + i, text, len))
            return true;
    }
    return false;
}

static enum err has(struct db *db, int64_t id, const char *text, bool *may)
{
    struct resource row;
    struct buf body;
    int64_t updated_ms;
    enum err e = resource_get(db, id, &row);

    if (e != ERR_OK)
        return e;
    buf_init(&body, BODY_MAX);
    e = resource_body(db, &row, 0, &body, &updated_ms);
    *may = e == ERR_OK && may_have(&body, text);
    buf_clear(&body);
    return e;
}

static enum err list_after(struct db *db, int64_t after, int64_t *list,
                           size_t *count)
{
    const enum query q = Q_OBSERVATION_AFTER;
    enum err e = db_query(db, q, "ii", after, INT64(SCAN_MAX));

    *count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (*count < SCAN_MAX)
            list[(*count)++] = db_int(db, q, 0);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err again_text(struct db *db, const struct fhir_reader *reader,
                    const char *text, int64_t *after, struct again_count *count,
                    bool *end)
{
    int64_t list[SCAN_MAX];
    size_t n = 0, i = 0;
    unsigned enough = count->looked + READ_MAX;
    enum err e = list_after(db, *after, list, &n);

    for (; e == ERR_OK && i < n && count->looked < enough; i++) {
        bool may = false;

        e = has(db, list[i], text, &may);
        if (e == ERR_OK && may)
            e = again_resource(db, reader, list[i], NULL, count);
        e = e == ERR_ABSENT ? ERR_OK : e;
        *after = list[i];
    }
    *end = e == ERR_OK && i == n && n < SCAN_MAX;
    return e;
}
