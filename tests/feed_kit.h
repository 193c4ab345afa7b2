/*
 * feed_kit - the plainest reading of the lines of a file
 *
 * For test_feed.c and fuzz_feed.c: what the plain reading finds is what the
 * reader with its window must find, in whatever pieces the bytes come.
 */
#ifndef HEADGATE_TESTS_FEED_KIT_H
#define HEADGATE_TESTS_FEED_KIT_H

#include "tests/source_kit.h"

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
