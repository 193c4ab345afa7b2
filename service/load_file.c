/* One file: opened, gone on with where a run before has stopped, ended. */
/* fseeko is in the XSI part of POSIX. */
#define _XOPEN_SOURCE 700 /* NOLINT(bugprone-reserved-identifier) */

#include "service/load.h"

#include <errno.h>
#include <inttypes.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

#define ERRORS_END ".errors.ndjson"

static int terminal_columns(void)
{
    struct winsize size;

    return ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 ? size.ws_col : 0;
}

static bool is_input(const struct load *l)
{
    return strcmp(l->path, "-") == 0;
}

static void complain(struct load *l, const char *path, const char *text)
{
    progress_clear(&l->progress);
    fprintf(stderr, "headgate: %s: %s\n", path, text);
    l->broken = true;
}

/* ---- where it has come ---------------------------------------------------- */

void load_mark(struct load *l, uint64_t offset, uint64_t lines)
{
    l->lines += lines - l->state.lines;
    l->bytes += offset - l->state.offset;
    l->state.lines = lines;
    l->state.offset = offset;
    l->marked = true;
    if (l->state_path.len == 0)
        return;
    if (load_state_take(l->file, offset, &l->state) != ERR_OK ||
        load_state_write(l->state_path.data, &l->state) != ERR_OK) {
        /* It goes on, but cannot be gone on with. */
        progress_clear(&l->progress);
        fprintf(stderr,
                "headgate: %s: cannot be written (%s); if this is stopped, it "
                "starts at the beginning again\n",
                l->state_path.data, strerror(errno));
        buf_empty(&l->state_path);
    }
}

/* Paths of the error file and of the state.  What is no plain file (a pipe)
 * cannot be read again. */
static bool choose_paths(struct load *l)
{
    const struct args *args = l->args;
    struct stat info;
    bool plain = !is_input(l) && fstat(fileno(l->file), &info) == 0 &&
                 S_ISREG(info.st_mode);
    enum err e;

    buf_empty(&l->state_path);
    if (args->errors != NULL) {
        buf_empty(&l->errors_path);
        buf_puts(&l->errors_path, args->errors);
    } else {
        load_errors_close(l);
        buf_empty(&l->errors_path);
        if (plain)
            buf_printf(&l->errors_path, "%s" ERRORS_END, l->path);
    }
    e = buf_ok(&l->errors_path);
    if (e == ERR_OK && plain)
        e = load_state_path(l->path, args->state, l->errors_path.data,
                            &l->state_path);
    if (e != ERR_OK)
        complain(l, l->path, "the path is too long");
    else if (args->resume && !plain)
        complain(l, l->name, "only a file can be gone on with (--resume)");
    return !l->broken;
}

/* A run before was stopped in this file: go on there, or say that it can be. */
static bool find_state(struct load *l)
{
    struct load_state state;
    struct buf why;
    enum err e;

    l->state = (struct load_state){ .size = 0 };
    if (l->errors != NULL) /* one for several files */
        l->state.errors_bytes = (uint64_t)ftello(l->errors);
    if (l->state_path.len == 0)
        return true;
    e = load_state_read(l->state_path.data, &state);
    if (e == ERR_ABSENT) /* it was not stopped, or never begun */
        return true;
    if (!l->args->resume) {
        fprintf(stderr,
                "headgate: %s: a run before was stopped in this file; "
                "--resume goes on there.  This one starts at the beginning: "
                "what is known already is not stored twice\n",
                l->name);
        return true;
    }
    if (e != ERR_OK) {
        complain(l, l->state_path.data,
                 "cannot be read; without --resume the file is loaded from "
                 "its beginning");
        return false;
    }
    buf_init(&why, 1024);
    e = load_state_fits(l->file, &state, &why);
    if (e != ERR_OK)
        fprintf(stderr,
                "headgate: %s: is not what it was when it was stopped: %s.  "
                "Without --resume it is loaded from its beginning\n",
                l->name, e == ERR_CONFLICT ? why.data : err_word(e));
    buf_clear(&why);
    l->broken = e != ERR_OK;
    if (l->broken)
        return false;
    l->state = state;
    l->goes_on = true;
    if (l->errors != NULL) /* it has grown since */
        l->state.errors_bytes = (uint64_t)ftello(l->errors);
    fprintf(stderr, "headgate: %s: goes on at line %" PRIu64 "\n", l->name,
            state.lines + 1);
    return true;
}

/* ---- reading -------------------------------------------------------------- */

/* By the start of the file, wherever it is gone on with. */
static enum err find_kind(struct load *l, struct feed *feed,
                          enum feed_kind *kind)
{
    char start[FEED_HEAD_SIZE];
    const char *head = start;
    size_t len = 0;
    ssize_t got;
    enum err e = ERR_OK;

    if (l->state.offset > 0) {
        got = pread(fileno(l->file), start, sizeof(start), 0);
        e = got < 0 ? ERR_IO : ERR_OK;
        len = got > 0 ? (size_t)got : 0;
    } else {
        e = feed_head(feed, &head, &len);
    }
    if (e == ERR_OK)
        *kind = feed_kind_of(head, len, l->path);
    return e;
}

static void by_kind(struct load *l, struct feed *feed)
{
    enum feed_kind kind = FEED_OTHER;
    bool lines = true; /* a document is not stopped half way */
    enum err e;

    errno = 0;
    e = find_kind(l, feed, &kind);
    if (e == ERR_OK && kind == FEED_JSON && l->state.offset == 0)
        e = feed_is_lines(feed, l->path, &lines);
    if (e != ERR_OK)
        load_say_unreadable(l, e);
    else if (kind == FEED_EMPTY) /* nothing came, and nothing is wrong */
        load_mark(l, 0, 0);
    else if (kind == FEED_JSON && lines)
        load_lines(l, feed);
    else if (kind == FEED_JSON)
        load_document(l, feed);
    else if (kind == FEED_HL7)
        load_hl7(l, feed);
    else
        complain(l, l->name, feed_kind_reason(kind));
}

static void say_errors(struct load *l)
{
    const char *path = l->errors_path.data;

    if (l->errors != NULL)
        fprintf(stderr, "headgate: %s: what was refused is listed in %s\n",
                l->name, path);
    else if (l->errors_path.len > 0 && l->args->errors == NULL &&
             access(path, F_OK) == 0)
        fprintf(stderr, "headgate: %s is of an earlier run\n", path);
}

/* Once the whole was taken there is nothing to go on with. */
static void end_file(struct load *l)
{
    if (l->broken || load_stopped() != 0) {
        if (l->state_path.len > 0 && l->state.offset > 0)
            fprintf(stderr,
                    "headgate: %s: stopped behind line %" PRIu64
                    "; the same command with --resume goes on there\n",
                    l->name, l->state.lines);
    } else if (l->state_path.len > 0) {
        unlink(l->state_path.data);
    }
    say_errors(l);
}

static void read_file(struct load *l)
{
    struct feed *feed = NULL;
    struct stat info;
    enum err e = ERR_OK;

    if (l->state.offset > 0 &&
        fseeko(l->file, (off_t)l->state.offset, SEEK_SET) != 0)
        e = ERR_IO;
    if (e == ERR_OK)
        e = feed_new_at(feed_read_file, l->file, l->state.offset,
                        l->state.lines, &feed);
    if (e != ERR_OK) {
        load_say_unreadable(l, e);
        return;
    }
    progress_start(&l->progress, stderr, l->name,
                   fstat(fileno(l->file), &info) == 0 && info.st_size > 0
                       ? (uint64_t)info.st_size
                       : 0,
                   terminal_columns(), load_now_ms());
    l->progress.from_bytes = l->state.offset;
    if (l->args->quiet)
        l->progress.out = NULL;
    by_kind(l, feed);
    progress_clear(&l->progress);
    feed_free(feed);
}

void load_file(struct load *l, const char *path)
{
    l->path = path;
    l->goes_on = l->marked = false;
    l->name = is_input(l) ? "standard input" : path;
    errno = 0;
    l->file = is_input(l) ? stdin : fopen(path, "rb");
    if (l->file == NULL) {
        complain(l, path, strerror(errno));
        return;
    }
    if (choose_paths(l) && find_state(l) &&
        (l->state.errors_bytes == 0 ||
         load_errors_open(l, l->state.errors_bytes)))
        read_file(l);
    end_file(l);
    if (!is_input(l))
        fclose(l->file);
    l->file = NULL;
}
