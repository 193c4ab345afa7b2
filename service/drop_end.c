/* What goes beside a file in the end, and where it goes: on the pool. */
#include "service/drop_work.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"

#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char *folder_of(const struct drop *d)
{
    return d->outcome == DROP_DONE ? "done" : "failed";
}

/* "done/file" without its folder. */
static const char *target_name(const struct drop *d)
{
    const char *slash = strchr(d->row.target, '/');

    return slash != NULL ? slash + 1 : d->row.target;
}

/* It must be what it was when it was begun, and the same file: one that was put
 * in its place has not been read.  What was used of it stays used. */
static void check_unchanged(struct drop *d)
{
    char path[DROP_PATH_SIZE];
    struct stat info;

    if (d->reason != NULL || !drop_here(d, "taken", d->taken, path) ||
        lstat(path, &info) != 0)
        return;
    if (drop_is_other(d, &info) || (int64_t)info.st_size != d->row.bytes ||
        (int64_t)info.st_mtim.tv_sec * 1000 +
                (int64_t)info.st_mtim.tv_nsec / 1000000 !=
            d->row.changed_ms) {
        d->reason = "the file was changed while it was being taken";
        d->outcome = DROP_UNREADABLE;
    }
}

void drop_choose_target(struct drop *d)
{
    char name[DROP_NAME_SIZE];

    check_unchanged(d);
    d->err = drop_free_name(d, folder_of(d), d->taken, name);
    if (d->err == ERR_OK)
        snprintf(d->row.target, sizeof(d->row.target), "%s/%s", folder_of(d),
                 name);
}

/* A file beside the target, which is ours: its name was found to be free. */
static FILE *open_beside(const struct drop *d, const char *end,
                         const char *mode)
{
    char name[DROP_NAME_SIZE + 32], path[DROP_PATH_SIZE];

    snprintf(name, sizeof(name), "%s%s", target_name(d), end);
    return drop_here(d, folder_of(d), name, path) ? fopen(path, mode) : NULL;
}

static enum err write_beside(const struct drop *d, const char *end,
                             const char *mode, const struct buf *text)
{
    FILE *out;
    bool ok;

    if (buf_ok(text) != ERR_OK)
        return buf_ok(text);
    out = open_beside(d, end, mode);
    if (out == NULL)
        return ERR_IO;
    ok = fwrite(text->data, 1, text->len, out) == text->len;
    ok = fclose(out) == 0 && ok;
    return ok ? ERR_OK : ERR_IO;
}

/* ---- the error file ------------------------------------------------------- */

void drop_write_page(struct drop *d)
{
    bool first = d->listed == 0;

    if (d->page_last && !first)
        return;
    d->listed += d->page.len;
    d->err = write_beside(d, ".errors.ndjson", first ? "w" : "a", &d->page);
}

/* Of a file that could not be read there is one line. */
static enum err write_reason(struct drop *d)
{
    const struct error_place place = { .file = d->taken,
                                       .line = (uint64_t)d->row.line + 1,
                                       .offset = (uint64_t)d->row.start };
    struct outcome outcome;

    if (d->reason == NULL || !d->options.config->drop_error_lines)
        return ERR_OK;
    outcome_init(&outcome);
    outcome_add(&outcome, SEV_FATAL, "bad-request", "", "%s", d->reason);
    buf_empty(&d->line);
    error_line_write(d->reader.base, &outcome, false, &place, &d->line);
    return write_beside(d, ".errors.ndjson", "w", &d->line);
}

/* ---- the summary ---------------------------------------------------------- */

static void put_time(struct buf *out, const char *key, int64_t at_ms)
{
    char text[FHIR_TIME_SIZE];

    fhir_time_write_ms(at_ms, text);
    fhir_out_text(out, key, text);
}

static void put_summary(const struct drop *d, struct buf *out)
{
    static const char *const words[DROP_OUTCOMES] = { "done", "failed",
                                                      "unreadable" };

    buf_puts(out, "{");
    buf_printf(out, "\"number\":%lld", (long long)d->row.number);
    fhir_out_text(out, "file", d->source);
    fhir_out_text(out, "sender", drop_sender(d));
    fhir_out_text(out, "outcome", words[d->outcome]);
    fhir_out_text(out, "reason", d->reason);
    put_time(out, "began", d->row.began_ms);
    put_time(out, "ended", d->options.now_ms());
    fhir_out_int(out, "bytes", d->row.bytes);
    fhir_out_int(out, "lines", d->row.line);
    fhir_out_int(out, "stored", d->row.stored);
    fhir_out_int(out, "there", d->row.there);
    fhir_out_int(out, "held", d->row.held);
    fhir_out_int(out, "refused", d->row.refused);
    if (d->row.refused > DROP_LISTED_MAX)
        fhir_out_int(out, "listed", DROP_LISTED_MAX);
    buf_puts(out, "}\n");
}

/* First what goes beside it, then the file: whoever sees it sees all. */
void drop_move(struct drop *d)
{
    char from[DROP_PATH_SIZE], to[DROP_PATH_SIZE];

    buf_empty(&d->line);
    put_summary(d, &d->line);
    d->err = write_beside(d, ".summary.json", "w", &d->line);
    if (d->err == ERR_OK)
        d->err = write_reason(d);
    if (d->err != ERR_OK)
        return;
    if (!drop_here(d, "taken", d->taken, from) ||
        !drop_here(d, folder_of(d), target_name(d), to))
        d->err = ERR_LIMIT;
    else if (rename(from, to) != 0)
        d->err = errno == ENOENT ? ERR_ABSENT : ERR_IO;
    if (d->err == ERR_ABSENT) /* somebody has taken it away */
        d->err = ERR_OK;
}
