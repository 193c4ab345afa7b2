/* What is in the folders: on the pool. */
#include "service/drop_work.h"

#include <dirent.h>
#include <errno.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <time.h>

static const char *const ours[] = { "taken", "done", "failed" };

static bool is_ours(const char *name)
{
    for (size_t i = 0; i < COUNT(ours); i++) {
        if (strcmp(ours[i], name) == 0)
            return true;
    }
    return false;
}

bool drop_is_passed_over(const char *name)
{
    static const char *const ends[] = { ".tmp", ".part", ".filepart",
                                        ".crdownload" };
    size_t len = strlen(name);

    if (name[0] == '.')
        return true;
    for (size_t i = 0; i < COUNT(ends); i++) {
        size_t end = strlen(ends[i]);

        if (len >= end && strcasecmp(name + len - end, ends[i]) == 0)
            return true;
    }
    return false;
}

static int64_t ns_of(struct timespec t)
{
    return (int64_t)t.tv_sec * 1000000000 + (int64_t)t.tv_nsec;
}

/* ---- the queue of a folder ------------------------------------------------ */

static bool is_before(const struct drop_found *a, const struct drop_found *b)
{
    if (a->taken != b->taken) /* what was begun comes first */
        return a->taken;
    if (a->changed_ns != b->changed_ns)
        return a->changed_ns < b->changed_ns;
    return strcmp(a->name, b->name) < 0;
}

/* In its place, if it is one of the oldest. */
static void enqueue(struct drop_folder *f, const struct drop_found *found)
{
    size_t at = f->queue_count;

    while (at > 0 && is_before(found, &f->queue[at - 1]))
        at--;
    if (at == DROP_QUEUE_MAX)
        return;
    if (f->queue_count < DROP_QUEUE_MAX)
        f->queue_count++;
    memmove(&f->queue[at + 1], &f->queue[at],
            (f->queue_count - 1 - at) * sizeof(*found));
    f->queue[at] = *found;
}

static bool is_settled(const struct drop *d, const struct drop_found *found,
                       int64_t now_ns)
{
    int64_t settle_ns = (int64_t)d->options.config->drop_settle_s * 1000000000;

    return found->changed_ns <= now_ns - settle_ns &&
           found->touched_ns <= now_ns - settle_ns;
}

/*
 * Where the clock of a share is ahead of ours, times say nothing: the oldest
 * file counts as settled too once it has not changed for so long by our own
 * watch.
 */
static void watch(const struct drop *d, struct drop_folder *f)
{
    struct drop_found *first = &f->queue[0];
    const struct drop_found *w = &f->watched;
    int64_t now_ms = drop_mono_ms();

    if (f->queue_count == 0 || first->taken)
        return;
    if (strcmp(w->name, first->name) != 0 || w->bytes != first->bytes ||
        w->changed_ns != first->changed_ns ||
        w->touched_ns != first->touched_ns) {
        f->watched = *first;
        f->watched_ms = now_ms;
    } else if (now_ms - f->watched_ms >
               (int64_t)d->options.config->drop_settle_s * 1000) {
        first->settled = true;
    }
}

/* One name of a folder, or of its taken/. */
static void look_at(const struct drop *d, struct drop_folder *f,
                    const char *name, const struct stat *info, bool taken)
{
    struct drop_found found = { .changed_ns = ns_of(info->st_mtim),
                                .touched_ns = ns_of(info->st_ctim),
                                .bytes = (int64_t)info->st_size,
                                .taken = taken };
    size_t len = strlen(name);

    if (len >= sizeof(found.name))
        return;
    memcpy(found.name, name, len + 1);
    found.settled =
        taken || is_settled(d, &found, d->options.now_ms() * 1000000);
    f->waiting++;
    if (found.changed_ns < f->oldest_ns)
        f->oldest_ns = found.changed_ns;
    enqueue(f, &found);
}

static void scan_files(const struct drop *d, struct drop_folder *f, bool taken)
{
    const char *root = d->options.config->drop_folder;
    char path[DROP_PATH_SIZE], file[DROP_PATH_SIZE];
    struct dirent *entry;
    struct stat info;
    DIR *dir;

    if (!drop_path(path, root, f->name, taken ? "taken" : "", ""))
        return;
    dir = opendir(path);
    if (dir == NULL) {
        f->trouble = errno;
        f->usable = false;
        return;
    }
    while ((entry = readdir(dir)) != NULL) {
        if (drop_is_passed_over(entry->d_name) ||
            (!taken && is_ours(entry->d_name)) ||
            !drop_path(file, root, f->name, taken ? "taken" : "",
                       entry->d_name) ||
            lstat(file, &info) != 0)
            continue;
        /* A folder in FOLDER is that of a sender. */
        if (f->name[0] != '\0' || taken || !S_ISDIR(info.st_mode))
            look_at(d, f, entry->d_name, &info, taken);
    }
    closedir(dir);
}

/* ---- the folders ---------------------------------------------------------- */

static struct drop_folder *find_folder(struct drop *d, const char *name)
{
    for (size_t i = 0; i < d->folder_count; i++) {
        if (strcmp(d->folders[i].name, name) == 0)
            return &d->folders[i];
    }
    return NULL;
}

static void note_folder(struct drop *d, const char *name)
{
    struct drop_folder *f = find_folder(d, name);
    size_t len = strlen(name);

    if (f == NULL) {
        if (d->folder_count == DROP_FOLDERS_MAX || len >= DROP_FOLDER_SIZE) {
            d->too_many = true;
            return;
        }
        f = &d->folders[d->folder_count++];
        memset(f, 0, sizeof(*f));
        memcpy(f->name, name, len + 1);
    }
    f->there = true;
}

static enum err find_folders(struct drop *d)
{
    const char *root = d->options.config->drop_folder;
    char path[DROP_PATH_SIZE];
    struct dirent *entry;
    struct stat info;
    DIR *dir = opendir(root);

    if (dir == NULL)
        return ERR_IO;
    note_folder(d, "");
    while ((entry = readdir(dir)) != NULL) {
        const char *name = entry->d_name;

        if (name[0] != '.' && !is_ours(name) &&
            drop_path(path, root, "", "", name) && lstat(path, &info) == 0 &&
            S_ISDIR(info.st_mode))
            note_folder(d, name);
    }
    closedir(dir);
    return ERR_OK;
}

/* Those that are gone make room. */
static void forget_gone(struct drop *d)
{
    size_t kept = 0;

    for (size_t i = 0; i < d->folder_count; i++) {
        if (!d->folders[i].there)
            continue;
        if (kept != i)
            d->folders[kept] = d->folders[i];
        kept++;
    }
    d->folder_count = kept;
}

static void scan_folder(const struct drop *d, struct drop_folder *f)
{
    f->queue_count = 0;
    f->waiting = 0;
    f->oldest_ns = INT64_MAX;
    if (!f->usable) {
        f->trouble = drop_try_folder(d->options.config->drop_folder, f->name);
        f->usable = f->trouble == 0;
    }
    if (f->usable)
        scan_files(d, f, true);
    if (f->usable)
        scan_files(d, f, false);
    watch(d, f);
}

void drop_scan(struct drop *d)
{
    d->too_many = false;
    for (size_t i = 0; i < d->folder_count; i++)
        d->folders[i].there = false;
    d->err = find_folders(d);
    if (d->err != ERR_OK)
        return;
    forget_gone(d);
    for (size_t i = 0; i < d->folder_count; i++)
        scan_folder(d, &d->folders[i]);
}
