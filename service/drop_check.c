/* Can a folder be used?  It is tried with a file of our own. */
/* mkstemp is in the base of POSIX 2008. */
#include "service/drop_work.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char *const ours[] = { "taken", "done", "failed" };

bool drop_path(char out[DROP_PATH_SIZE], const char *root, const char *folder,
               const char *below, const char *name)
{
    int len = snprintf(out, DROP_PATH_SIZE, "%s%s%s%s%s%s%s", root,
                       folder[0] != '\0' ? "/" : "", folder,
                       below[0] != '\0' ? "/" : "", below,
                       name[0] != '\0' ? "/" : "", name);

    return len > 0 && len < DROP_PATH_SIZE;
}

/* A folder of ours is made where it is missing; a link is none. */
static int make(const char *path)
{
    struct stat info;

    if (mkdir(path, 0777) != 0 && errno != EEXIST)
        return errno;
    if (lstat(path, &info) != 0)
        return errno;
    return S_ISDIR(info.st_mode) ? 0 : ENOTDIR;
}

/* The file at from, which stands there, into that folder and on. */
static int move_through(char from[DROP_PATH_SIZE], const char *root,
                        const char *name, const char *mark)
{
    char to[DROP_PATH_SIZE];
    int wrong;

    for (size_t i = 0; i < COUNT(ours); i++) {
        if (!drop_path(to, root, name, ours[i], ""))
            return ENAMETOOLONG;
        wrong = make(to);
        if (wrong != 0)
            return wrong;
        if (!drop_path(to, root, name, ours[i], mark))
            return ENAMETOOLONG;
        if (rename(from, to) != 0)
            return errno;
        memcpy(from, to, DROP_PATH_SIZE);
    }
    return 0;
}

int drop_try_folder(const char *root, const char *name)
{
    char path[DROP_PATH_SIZE], mark[64];
    int fd, wrong;

    if (!drop_path(path, root, name, "", ".headgate-try-XXXXXX"))
        return ENAMETOOLONG;
    fd = mkstemp(path);
    if (fd < 0)
        return errno;
    close(fd);
    snprintf(mark, sizeof(mark), "%s", strrchr(path, '/') + 1);
    wrong = move_through(path, root, name, mark);
    unlink(path);
    return wrong;
}

/* ---- for a person --------------------------------------------------------- */

static const char *meaning(int wrong)
{
    return wrong == EXDEV
               ? "taken, done and failed must be on the same filesystem"
               : strerror(wrong);
}

static bool say(const char *root, const char *name, struct buf *out)
{
    int wrong = drop_try_folder(root, name);

    buf_printf(out, "%s%s%s: %s\n", root, name[0] != '\0' ? "/" : "", name,
               wrong == 0 ? "in order" : meaning(wrong));
    return wrong == 0;
}

/* FOLDER itself need not be written to where only its folders are used, as
 * with accounts that are locked into a folder of their own. */
static bool say_root(const char *root, bool has_senders, struct buf *out)
{
    int wrong = drop_try_folder(root, "");

    if (wrong == 0 || !has_senders) {
        buf_printf(out, "%s: %s\n", root,
                   wrong == 0 ? "in order" : meaning(wrong));
        return wrong == 0;
    }
    buf_printf(out,
               "%s: files that lie in it directly are not taken (%s); those of "
               "the folders in it are\n",
               root, meaning(wrong));
    return true;
}

static bool is_sender(const char *root, const char *name)
{
    char path[DROP_PATH_SIZE];
    struct stat info;

    for (size_t i = 0; i < COUNT(ours); i++) {
        if (strcmp(ours[i], name) == 0)
            return false;
    }
    return name[0] != '.' && drop_path(path, root, "", "", name) &&
           lstat(path, &info) == 0 && S_ISDIR(info.st_mode);
}

enum err drop_check(const char *folder, struct buf *out, unsigned *bad)
{
    DIR *dir = opendir(folder);
    struct dirent *entry;
    unsigned good = 0, wrong = 0, senders = 0;
    bool root;

    *bad = 0;
    if (dir == NULL) {
        buf_printf(out, "%s: %s\n", folder, strerror(errno));
        return ERR_CONFIG;
    }
    while ((entry = readdir(dir)) != NULL) {
        if (!is_sender(folder, entry->d_name))
            continue;
        if (strlen(entry->d_name) >= DROP_FOLDER_SIZE ||
            ++senders >= DROP_FOLDERS_MAX) {
            buf_printf(out,
                       "%s: a folder has a name of more than %d bytes, or "
                       "there are more than %d; not all are looked into\n",
                       folder, DROP_FOLDER_SIZE - 1, DROP_FOLDERS_MAX - 1);
            wrong++;
            break;
        }
        if (say(folder, entry->d_name, out))
            good++;
        else
            wrong++;
    }
    closedir(dir);
    root = say_root(folder, good > 0, out);
    *bad = wrong + (root ? 0 : 1);
    return good > 0 || root ? ERR_OK : ERR_CONFIG;
}
