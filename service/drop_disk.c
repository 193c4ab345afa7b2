/* Names of files, and opening them: on the pool. */
/* fseeko and O_NOFOLLOW are in the XSI part of POSIX, or newer. */
#define _XOPEN_SOURCE 700 /* NOLINT(bugprone-reserved-identifier) */

#include "service/drop_work.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum {
    STEM_MAX = 200, /* bytes of a name that are kept: others follow it */
    SUFFIX_MAX = 9999
};

bool drop_here(const struct drop *d, const char *below, const char *name,
               char out[DROP_PATH_SIZE])
{
    return drop_path(out, d->options.config->drop_folder,
                     d->folders[d->turn].name, below, name);
}

/* ---- a name that is free -------------------------------------------------- */

static bool is_there(const struct drop *d, const char *below, const char *name,
                     const char *end)
{
    char whole[DROP_NAME_SIZE + 32], path[DROP_PATH_SIZE];
    struct stat info;

    snprintf(whole, sizeof(whole), "%s%s", name, end);
    return !drop_here(d, below, whole, path) || lstat(path, &info) == 0;
}

/* Cut between characters; the ending, which tells what it is, stays. */
static void put_name(const char *name, int suffix, char out[DROP_NAME_SIZE])
{
    const char *dot = strrchr(name, '.');
    size_t end =
        dot != NULL && dot != name && strlen(dot) <= 16 ? strlen(dot) : 0;
    size_t stem = strlen(name) - end;

    if (stem + end > STEM_MAX)
        stem = STEM_MAX - end;
    while (stem > 0 && ((unsigned char)name[stem] & 0xc0) == 0x80)
        stem--;
    if (suffix == 0)
        snprintf(out, DROP_NAME_SIZE, "%.*s%s", (int)stem, name,
                 end > 0 ? dot : "");
    else
        snprintf(out, DROP_NAME_SIZE, "%.*s-%d%s", (int)stem, name, suffix,
                 end > 0 ? dot : "");
}

enum err drop_free_name(const struct drop *d, const char *below,
                        const char *name, char out[DROP_NAME_SIZE])
{
    for (int suffix = 0; suffix <= SUFFIX_MAX; suffix++) {
        put_name(name, suffix, out);
        if (!is_there(d, below, out, "") &&
            !is_there(d, below, out, ".summary.json") &&
            !is_there(d, below, out, ".errors.ndjson"))
            return ERR_OK;
    }
    return ERR_LIMIT; /* somebody should look into that folder */
}

void drop_name(struct drop *d)
{
    const char *folder = d->folders[d->turn].name;

    if (d->fresh)
        d->err = drop_free_name(d, "taken", d->source, d->taken);
    else
        memcpy(d->taken, d->source, sizeof(d->taken));
    snprintf(d->key, sizeof(d->key), "%s%staken/%s", folder,
             folder[0] != '\0' ? "/" : "", d->taken);
}

void drop_find_gone(struct drop *d)
{
    char path[DROP_PATH_SIZE];
    struct stat info;

    for (size_t i = 0; i < d->old_count; i++)
        d->old[i].gone = drop_path(path, d->options.config->drop_folder, "", "",
                                   d->old[i].name) &&
                         lstat(path, &info) != 0 && errno == ENOENT;
}

/* ---- opening -------------------------------------------------------------- */

/* To taken/.  A share that is gone is waited for; what may not be moved by us
 * stays, and its folder waits. */
static enum err claim(struct drop *d)
{
    char from[DROP_PATH_SIZE], to[DROP_PATH_SIZE];

    if (!drop_here(d, "", d->source, from) ||
        !drop_here(d, "taken", d->taken, to))
        return ERR_ABSENT;
    if (rename(from, to) == 0)
        return ERR_OK;
    if (errno == ENOENT)
        return ERR_ABSENT;
    d->folders[d->turn].trouble = errno;
    return ERR_DENIED;
}

/* It was still being written when it was moved: back, as if nothing had been.
 * false: its name is in use by now. */
static bool give_back(struct drop *d)
{
    char from[DROP_PATH_SIZE], to[DROP_PATH_SIZE];

    return !is_there(d, "", d->source, "") &&
           drop_here(d, "taken", d->taken, from) &&
           drop_here(d, "", d->source, to) && rename(from, to) == 0;
}

static enum err open_it(struct drop *d, struct stat *info)
{
    char path[DROP_PATH_SIZE];
    int fd;

    if (!drop_here(d, "taken", d->taken, path))
        return ERR_ABSENT;
    fd = open(path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
    if (fd < 0 && errno == ENOENT)
        return ERR_ABSENT;
    if (fd < 0 && (errno == ELOOP || errno == ENXIO || errno == EACCES)) {
        d->reason = errno == EACCES ? "the file may not be read by this service"
                                    : "this is no plain file";
        return ERR_OK;
    }
    if (fd < 0)
        return ERR_IO;
    if (fstat(fd, info) == 0 && S_ISREG(info->st_mode))
        d->file = fdopen(fd, "rb");
    else
        d->reason = S_ISDIR(info->st_mode) ? "this is a folder, no file"
                                           : "this is no plain file";
    if (d->file == NULL)
        close(fd);
    return d->file != NULL || d->reason != NULL ? ERR_OK : ERR_MEMORY;
}

/* One that was put in the place of another between two turns may be of the
 * same size and time, and what was read is of the other. */
static void remember(struct drop *d, const struct stat *info)
{
    struct drop_folder *f = &d->folders[d->turn];

    if (f->reading == d->row.number)
        return;
    f->reading = d->row.number;
    f->device = info->st_dev;
    f->inode = info->st_ino;
}

bool drop_is_other(const struct drop *d, const struct stat *info)
{
    const struct drop_folder *f = &d->folders[d->turn];

    return info->st_dev != f->device || info->st_ino != f->inode;
}

static bool has_changed(const struct drop *d, const struct stat *info)
{
    int64_t changed_ms = (int64_t)info->st_mtim.tv_sec * 1000 +
                         (int64_t)info->st_mtim.tv_nsec / 1000000;

    return drop_is_other(d, info) || (int64_t)info->st_size != d->row.bytes ||
           changed_ms != d->row.changed_ms;
}

/* Lines, a document, or messages; by the start of the file, wherever it is
 * gone on with. */
static enum err find_form(struct drop *d)
{
    char head[FEED_HEAD_SIZE];
    size_t len = fread(head, 1, sizeof(head), d->file);
    enum feed_kind kind = feed_kind_of(head, len, d->taken);
    bool lines = true;
    enum err e = ERR_OK;

    if (ferror(d->file))
        return ERR_IO;
    d->reason = feed_kind_reason(kind);
    if (d->reason != NULL)
        return ERR_OK;
    if (kind == FEED_JSON && d->row.start == 0) {
        rewind(d->file);
        e = feed_new(feed_read_file, d->file, &d->feed);
        if (e == ERR_OK)
            e = feed_is_lines(d->feed, d->taken, &lines);
        feed_free(d->feed);
        d->feed = NULL;
    }
    d->form = kind == FEED_HL7 ? DROP_MESSAGES
              : lines          ? DROP_LINES
                               : DROP_DOCUMENT;
    return e;
}

static enum err open_reader(struct drop *d)
{
    uint64_t start = (uint64_t)d->row.start, line = (uint64_t)d->row.line;

    clearerr(d->file);
    if (fseeko(d->file, (off_t)d->row.start, SEEK_SET) != 0)
        return ERR_IO;
    d->base_line = line;
    if (d->form == DROP_MESSAGES)
        return hl7_batch_new(feed_read_file, d->file, start, &d->batch);
    return feed_new_at(feed_read_file, d->file, start, line, &d->feed);
}

void drop_open_file(struct drop *d)
{
    struct stat info = { .st_size = 0 };

    d->err = d->fresh ? claim(d) : ERR_OK;
    if (d->err == ERR_OK)
        d->err = open_it(d, &info);
    if (d->err != ERR_OK || d->reason != NULL)
        return;
    remember(d, &info);
    if (has_changed(d, &info)) {
        if (d->fresh && give_back(d))
            d->err = ERR_ABSENT;
        else
            d->reason = "the file was changed while it was being taken";
        return;
    }
    d->err = find_form(d);
    if (d->err == ERR_OK && d->reason == NULL)
        d->err = open_reader(d);
}
