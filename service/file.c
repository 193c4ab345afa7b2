#include "service/file.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

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

static enum err refuse(const char *path, struct buf *why)
{
    buf_printf(why, "%s: %s", path, strerror(errno));
    return ERR_IO;
}

static bool write_all(int fd, const char *bytes, size_t len)
{
    while (len > 0) {
        ssize_t n = write(fd, bytes, len);

        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return false;
        bytes += n;
        len -= (size_t)n;
    }
    return true;
}

enum err file_write(const char *path, const char *bytes, size_t len,
                    struct buf *why)
{
    char beside[4096];
    int n = snprintf(beside, sizeof(beside), "%s.XXXXXX", path), fd, saved;
    bool good;

    if (strcmp(path, "-") == 0)
        return write_all(STDOUT_FILENO, bytes, len)
                   ? ERR_OK
                   : refuse("standard output", why);
    if (n < 0 || (size_t)n >= sizeof(beside)) {
        buf_puts(why, "the name of the file is too long");
        return ERR_LIMIT;
    }
    fd = mkstemp(beside);
    if (fd < 0)
        return refuse(path, why);
    good = write_all(fd, bytes, len) && fsync(fd) == 0;
    saved = errno;
    if (close(fd) != 0 && good) {
        saved = errno;
        good = false;
    }
    if (good && rename(beside, path) == 0)
        return ERR_OK;
    if (!good)
        errno = saved;
    saved = errno;
    unlink(beside);
    errno = saved;
    return refuse(path, why);
}
