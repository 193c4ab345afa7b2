/*
 * A disk that refuses to sync, for one process:
 *
 *     LD_PRELOAD=libsync_fails.so HEADGATE_SYNC_FAILS=FILE headgate serve ...
 *
 * As long as FILE is there, fsync and fdatasync say EIO, which is what they say
 * of a disk that has lost what it was given (fsync(2)).
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef int (*sync_fn)(int fd);

static int run(const char *name, int fd)
{
    const char *file = getenv("HEADGATE_SYNC_FAILS");
    void *symbol = dlsym(RTLD_NEXT, name);
    sync_fn real;

    if (file != NULL && access(file, F_OK) == 0) {
        errno = EIO;
        return -1;
    }
    /* a pointer to data is not one to a function, in ISO C */
    memcpy(&real, &symbol, sizeof(real));
    return real(fd);
}

int fsync(int fd)
{
    return run("fsync", fd);
}

int fdatasync(int fd)
{
    return run("fdatasync", fd);
}
