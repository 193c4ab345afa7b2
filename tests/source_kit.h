/* source_kit - bytes in memory as a file, given in pieces */
#ifndef HEADGATE_TESTS_SOURCE_KIT_H
#define HEADGATE_TESTS_SOURCE_KIT_H

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

#endif
