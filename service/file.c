#include "service/file.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>

enum err file_read(const char *path, struct buf *out, struct buf *why)
{
    FILE *f = fopen(path, "rb");
    char chunk[4096];
    size_t n;
    enum err e;

    if (f == NULL) {
        buf_printf(why, "%s: %s", path, strerror(errno));
        return ERR_IO;
    }
    while ((n = fread(chunk, 1, sizeof(chunk), f)) > 0)
        buf_add(out, chunk, n);
    e = ferror(f) ? ERR_IO : buf_ok(out);
    fclose(f);
    if (e != ERR_OK)
        buf_printf(why, "%s: cannot be read: %s", path, err_word(e));
    return e;
}
