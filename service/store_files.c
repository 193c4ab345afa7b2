#include "service/store_files.h"

#include "adapters/catalogue.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

/* What the system says, and ours for it. */
static enum err refuse(const char *path, int number, struct buf *why)
{
    buf_printf(why, "%s: %s", path, strerror(number));
    return number == ENOSPC || number == EDQUOT || number == EROFS ? ERR_FULL
                                                                   : ERR_IO;
}

static enum err refuse_there(const char *path, struct buf *why)
{
    buf_printf(why, _("%s: this file is there already, and is not overwritten"),
               path);
    return ERR_CONFLICT;
}

enum err store_part_path(const char *path, char *out, size_t size,
                         struct buf *why)
{
    int n = snprintf(out, size, "%s.part", path);

    if (n > 0 && (size_t)n < size)
        return ERR_OK;
    buf_puts(why, _("the name of the file is too long"));
    return ERR_LIMIT;
}

void store_folder_of(const char *path, char *out, size_t size)
{
    const char *slash = strrchr(path, '/');

    if (slash == NULL)
        snprintf(out, size, ".");
    else if (slash == path)
        snprintf(out, size, "/");
    else
        snprintf(out, size, "%.*s", (int)(slash - path), path);
}

enum err store_sync_folder(const char *path, struct buf *why)
{
    char folder[STORE_PATH_SIZE];
    int fd, failed;

    store_folder_of(path, folder, sizeof(folder));
    fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return refuse(folder, errno, why);
    failed = fsync(fd) != 0 ? errno : 0;
    close(fd);
    return failed != 0 ? refuse(folder, failed, why) : ERR_OK;
}

enum err store_room(const char *path, int64_t bytes, struct buf *why)
{
    char folder[STORE_PATH_SIZE];
    struct statvfs disk;
    int64_t room;

    store_folder_of(path, folder, sizeof(folder));
    if (statvfs(folder, &disk) != 0)
        return refuse(folder, errno, why);
    room = (int64_t)disk.f_bavail * (int64_t)disk.f_frsize;
    if (room - STORE_ROOM_LEFT >= bytes)
        return ERR_OK;
    /* TRANSLATORS: %s a folder, then MB needed, MB left free, MB there */
    buf_printf(why,
               _("%s: there is no room: it takes %lld MB and leaves %lld MB "
                 "free; %lld MB are there"),
               folder, (long long)bytes / 1000000 + 1,
               (long long)STORE_ROOM_LEFT / 1000000, (long long)room / 1000000);
    return ERR_FULL;
}

static enum err make_part(const char *path, int *out, struct buf *why)
{
    char part[STORE_PATH_SIZE];
    struct stat info;
    int fd;
    enum err e = store_part_path(path, part, sizeof(part), why);

    if (e != ERR_OK)
        return e;
    /* only a file of ours, of a try that a loss of power has ended */
    if (lstat(part, &info) == 0 && S_ISREG(info.st_mode))
        unlink(part);
    fd = open(part, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW,
              S_IRUSR | S_IWUSR);
    if (fd < 0)
        return refuse(part, errno, why);
    *out = fd;
    return ERR_OK;
}

static enum err make_first(const char *path, int *fd, struct buf *why)
{
    struct stat info;

    if (lstat(path, &info) == 0)
        return refuse_there(path, why);
    return make_part(path, fd, why);
}

enum err store_part_make(const char *path, bool replace, struct buf *why)
{
    int fd = -1;
    enum err e =
        replace ? make_part(path, &fd, why) : make_first(path, &fd, why);

    if (e == ERR_OK)
        close(fd);
    return e;
}

/* Whose a file at this path is, or is to be: the owner of the one that is there,
 * or of its folder. */
static bool find_owner(const char *path, struct stat *owner)
{
    char folder[STORE_PATH_SIZE];

    if (lstat(path, owner) == 0 && S_ISREG(owner->st_mode))
        return true;
    store_folder_of(path, folder, sizeof(folder));
    return stat(folder, owner) == 0;
}

/* Neither a link nor a file with another name is given away: others may write to
 * the folder. */
static int give_to(const char *path, const struct stat *owner)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
    int failed = 0;
    struct stat is;

    if (fd < 0)
        return errno == ENOENT ? 0 : errno;
    if (fstat(fd, &is) == 0 && (!S_ISREG(is.st_mode) || is.st_nlink != 1))
        failed = EINVAL;
    else if (fchown(fd, owner->st_uid, owner->st_gid) != 0)
        failed = errno;
    close(fd);
    return failed;
}

static enum err refuse_owner(const char *path, int number, struct buf *why)
{
    /* TRANSLATORS: a file, what the system says */
    buf_printf(why,
               _("%s: it cannot be given to the account that the store is of: "
                 "%s"),
               path, strerror(number));
    return ERR_IO;
}

enum err store_part_own(const char *path, struct buf *why)
{
    char part[STORE_PATH_SIZE];
    struct stat owner;
    int failed;
    enum err e = store_part_path(path, part, sizeof(part), why);

    if (e != ERR_OK || geteuid() != 0 || !find_owner(path, &owner))
        return e;
    failed = give_to(part, &owner);
    return failed != 0 ? refuse_owner(part, failed, why) : ERR_OK;
}

enum err store_own_new(const char *path, bool *given, struct buf *why)
{
    static const char *const rests[] = { "", "-wal", "-room" };
    char folder[STORE_PATH_SIZE], file[STORE_PATH_SIZE + 8];
    struct stat owner;

    *given = false;
    store_folder_of(path, folder, sizeof(folder));
    if (geteuid() != 0 || stat(folder, &owner) != 0 || owner.st_uid == 0)
        return ERR_OK;
    for (size_t i = 0; i < COUNT(rests); i++) {
        int failed;

        snprintf(file, sizeof(file), "%s%s", path, rests[i]);
        failed = give_to(file, &owner);
        if (failed != 0)
            return refuse_owner(file, failed, why);
    }
    *given = true;
    return ERR_OK;
}

void store_part_drop(const char *path)
{
    char part[STORE_PATH_SIZE];
    struct buf why;

    buf_init(&why, STORE_PATH_SIZE);
    if (store_part_path(path, part, sizeof(part), &why) == ERR_OK)
        unlink(part);
    buf_clear(&why);
}

static int sync_file(const char *path)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    int failed = fd < 0 || fsync(fd) != 0 ? errno : 0;

    if (fd >= 0)
        close(fd);
    return failed;
}

/* A name that nobody has: link() fails where rename() would overwrite. */
static int take_name(const char *part, const char *path)
{
    struct stat info;

    if (link(part, path) == 0) {
        unlink(part);
        return 0;
    }
    /* a file system without links */
    if (errno != EPERM && errno != ENOSYS && errno != EOPNOTSUPP)
        return errno;
    if (lstat(path, &info) == 0)
        return EEXIST;
    return rename(part, path) == 0 ? 0 : errno;
}

enum err store_part_settle(const char *path, bool replace, struct buf *why)
{
    char part[STORE_PATH_SIZE];
    int failed;
    enum err e = store_part_path(path, part, sizeof(part), why);

    if (e != ERR_OK)
        return e;
    failed = sync_file(part);
    if (failed == 0 && replace)
        failed = rename(part, path) == 0 ? 0 : errno;
    else if (failed == 0)
        failed = take_name(part, path);
    if (failed == 0)
        return store_sync_folder(path, why);
    unlink(part);
    return failed == EEXIST ? refuse_there(path, why)
                            : refuse(path, failed, why);
}

static int write_all(int fd, const char *bytes, size_t len)
{
    while (len > 0) {
        ssize_t n = write(fd, bytes, len);

        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return n < 0 ? errno : EIO;
        bytes += n;
        len -= (size_t)n;
    }
    return 0;
}

enum err store_file_new(const char *path, const char *bytes, size_t len,
                        struct buf *why)
{
    int fd = -1, failed;
    enum err e = make_first(path, &fd, why);

    if (e != ERR_OK)
        return e;
    failed = write_all(fd, bytes, len);
    if (close(fd) != 0 && failed == 0)
        failed = errno;
    if (failed == 0)
        return store_part_settle(path, false, why);
    store_part_drop(path);
    return refuse(path, failed, why);
}

static int fill(FILE *from, int fd)
{
    enum { CHUNK = 1 << 18 };
    char *chunk = malloc(CHUNK);
    int failed = chunk == NULL ? ENOMEM : 0;
    size_t n;

    while (failed == 0 && (n = fread(chunk, 1, CHUNK, from)) > 0)
        failed = write_all(fd, chunk, n);
    if (failed == 0 && ferror(from))
        failed = EIO;
    free(chunk);
    return failed;
}

enum err store_part_fill(const char *from, const char *path, struct buf *why)
{
    char part[STORE_PATH_SIZE];
    FILE *f = fopen(from, "rb");
    int fd, failed;
    enum err e = f != NULL ? store_part_path(path, part, sizeof(part), why)
                           : refuse(from, errno, why);

    if (e != ERR_OK) {
        if (f != NULL)
            fclose(f);
        return e;
    }
    fd = open(part, O_WRONLY | O_CLOEXEC | O_NOFOLLOW | O_TRUNC);
    failed = fd < 0 ? errno : fill(f, fd);
    if (fd >= 0 && close(fd) != 0 && failed == 0)
        failed = errno;
    fclose(f);
    return failed != 0 ? refuse(part, failed, why) : ERR_OK;
}
