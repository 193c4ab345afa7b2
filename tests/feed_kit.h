/*
 * feed_kit - bytes in memory as a file, and the plainest reading of its lines
 *
 * For test_feed.c and fuzz_feed.c: what the plain reading finds is what the
 * reader with its window must find, in whatever pieces the bytes come.
 */
#ifndef HEADGATE_TESTS_FEED_KIT_H
#define HEADGATE_TESTS_FEED_KIT_H

#include "adapters/feed.h"

#include <string.h>

struct source {
    const char *data;
    size_t len, at;
    size_t piece;   /* bytes given in one go at most */
    size_t fail_at; /* reading fails from here; SIZE_MAX: it does not */
};

static enum err source_read(void *arg, char *data, size_t size, size_t *got)
{
    struct source *s = arg;
    size_t len = s->len - s->at;

    if (s->at >= s->fail_at)
        return ERR_IO;
    len = len < s->piece ? len : s->piece;
    len = len < size ? len : size;
    if (len > 0)
        memcpy(data, s->data + s->at, len);
    s->at += len;
    *got = len;
    return ERR_OK;
}

static bool plain_blank(const char *text, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        if (strchr(" \t\r", text[i]) == NULL || text[i] == '\0')
            return false;
    }
    return true;
}

/*
 * The next line that is not blank, of all the bytes at once; the line's text
 * lies in data.  Start with *at 0 and number 0; false at the end.
 */
static bool plain_next(const char *data, size_t len, size_t *at,
                       struct feed_line *line)
{
    if (*at == 0 && len >= 3 && memcmp(data, "\xef\xbb\xbf", 3) == 0)
        *at = 3;
    while (*at < len) {
        const char *end = memchr(data + *at, '\n', len - *at);
        size_t n = end != NULL ? (size_t)(end - (data + *at)) : len - *at;

        line->number++;
        line->offset = *at;
        line->text = data + *at;
        line->len = n > 0 && data[*at + n - 1] == '\r' ? n - 1 : n;
        *at += n + (end != NULL ? 1 : 0);
        if (!plain_blank(line->text, line->len))
            return true;
    }
    return false;
}

#endif
