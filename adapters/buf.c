#include "adapters/buf.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char empty[1] = "";

void buf_init(struct buf *b, size_t ceiling)
{
    *b = (struct buf){ .data = empty, .ceiling = ceiling, .err = ERR_OK };
}

void buf_clear(struct buf *b)
{
    if (b->size > 0)
        free(b->data);
    buf_init(b, b->ceiling);
}

void buf_empty(struct buf *b)
{
    b->len = 0;
    b->err = ERR_OK;
    if (b->size > 0)
        b->data[0] = '\0';
}

static _Thread_local unsigned long lost;

unsigned long buf_lost(void)
{
    return lost;
}

void buf_keep_whole(struct buf *out, unsigned long before)
{
    if (lost != before && out->err == ERR_OK)
        out->err = ERR_MEMORY;
}

/* Room for more bytes and the NUL. */
static bool reserve(struct buf *b, size_t more)
{
    size_t size = b->size > 0 ? b->size : 256;
    char *data;

    if (b->err != ERR_OK)
        return false;
    if (more > b->ceiling - b->len) {
        b->err = ERR_LIMIT;
        return false;
    }
    if (b->size > b->len + more)
        return true;
    while (size <= b->len + more)
        size *= 2;
    data = realloc(b->size > 0 ? b->data : NULL, size);
    if (data == NULL) {
        b->err = ERR_MEMORY;
        lost++;
        return false;
    }
    b->data = data;
    b->size = size;
    return true;
}

void buf_add(struct buf *b, const void *data, size_t len)
{
    if (len == 0 || !reserve(b, len))
        return;
    memcpy(b->data + b->len, data, len);
    b->len += len;
    b->data[b->len] = '\0';
}

void buf_puts(struct buf *b, const char *text)
{
    buf_add(b, text, strlen(text));
}

/* Most of what is printed fits where it is; what does not, once it is known
 * how long it is. */
void buf_printf(struct buf *b, const char *format, ...)
{
    size_t room = b->size > b->len ? b->size - b->len : 0;
    va_list args;
    int len;

    if (b->err != ERR_OK)
        return;
    va_start(args, format);
    len = vsnprintf(room > 0 ? b->data + b->len : NULL, room, format, args);
    va_end(args);
    if (room > 0 &&
        (len < 0 || (size_t)len >= room || (size_t)len > b->ceiling - b->len))
        b->data[b->len] = '\0';
    if (len <= 0 || !reserve(b, (size_t)len))
        return;
    if ((size_t)len >= room) {
        va_start(args, format);
        vsnprintf(b->data + b->len, b->size - b->len, format, args);
        va_end(args);
    }
    b->len += (size_t)len;
}

enum err buf_ok(const struct buf *b)
{
    return b->err;
}

char *buf_take(struct buf *b)
{
    char *data = b->size > 0 ? b->data : calloc(1, 1);

    buf_init(b, b->ceiling);
    return data;
}
