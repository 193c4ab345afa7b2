/* What a person sees of a load, and the file of what was refused. */
/* ftruncate and fseeko are in the XSI part of POSIX. */
#define _XOPEN_SOURCE 700 /* NOLINT(bugprone-reserved-identifier) */

#include "service/load.h"

#include <errno.h>
#include <inttypes.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- the error file ------------------------------------------------------- */

/* One for several files has what was refused in those that are through; only a
 * run that begins anew empties it, and with it goes the place of the run before:
 * its lines would be missing for whoever went on from there. */
static const char *mode_of(struct load *l, bool on)
{
    if (on)
        return "r+";
    if (l->args->resume && l->args->errors != NULL)
        return "a";
    if (l->state_path.len > 0)
        unlink(l->state_path.data);
    return "w";
}

bool load_errors_open(struct load *l, uint64_t keep)
{
    const char *path = l->errors_path.data;
    bool on = keep > 0 || l->goes_on;
    struct stat info;

    if (l->errors != NULL || l->errors_path.len == 0)
        return true;
    /* Not emptied when opened: what was written before the state that is gone
     * on with stays, what came after it is written again. */
    l->errors = fopen(path, mode_of(l, on));
    if (l->errors == NULL && on && errno == ENOENT)
        l->errors = fopen(path, "w");
    if (l->errors != NULL && on && fstat(fileno(l->errors), &info) == 0 &&
        (uint64_t)info.st_size < keep)
        keep = (uint64_t)info.st_size;
    if (l->errors == NULL ||
        (on && ftruncate(fileno(l->errors), (off_t)keep) != 0) ||
        fseeko(l->errors, 0, SEEK_END) != 0) {
        progress_clear(&l->progress);
        fprintf(stderr, "headgate: %s: %s\n", path, strerror(errno));
        load_errors_close(l);
        l->broken = true;
        return false;
    }
    l->state.errors_bytes = (uint64_t)ftello(l->errors);
    return true;
}

void load_errors_close(struct load *l)
{
    if (l->errors != NULL && fclose(l->errors) != 0) {
        fprintf(stderr, "headgate: %s: %s\n", l->errors_path.data,
                strerror(errno));
        l->broken = true;
    }
    l->errors = NULL;
}

/* What stands in l->line; a person must not believe it whole if it is not. */
void load_put_line(struct load *l)
{
    struct buf *line = &l->line;

    if (l->errors_path.len == 0 || !load_errors_open(l, 0))
        return;
    if (!l->marked) /* where these lines begin: gone on with, they are new */
        load_mark(l, l->state.offset, l->state.lines);
    if (buf_ok(line) == ERR_OK &&
        fwrite(line->data, 1, line->len, l->errors) == line->len &&
        fflush(l->errors) == 0) {
        l->state.errors_bytes += line->len;
        return;
    }
    progress_clear(&l->progress);
    fprintf(stderr, "headgate: %s: cannot be written to (%s)\n",
            l->errors_path.data, strerror(errno));
    l->broken = true;
}

/* ---- one that was refused ------------------------------------------------- */

static void count_reason(struct load *l, const char *word, uint64_t n)
{
    size_t i = 0;

    while (i < l->reason_count && strcmp(l->reasons[i].word, word) != 0)
        i++;
    if (i == LOAD_REASONS_MAX)
        i--; /* beyond what a service of ours says */
    else if (i == l->reason_count)
        snprintf(l->reasons[l->reason_count++].word, sizeof(l->reasons[i].word),
                 "%s", word);
    l->reasons[i].count += n;
}

static void show(struct load *l, const struct error_place *place,
                 const char *word, const char *text, const char *where)
{
    char entry[40] = "";

    if (++l->refusals_shown > LOAD_REFUSALS_SHOWN)
        return;
    if (place->entry > 0)
        snprintf(entry, sizeof(entry), " entry %" PRIu64 ":", place->entry);
    progress_clear(&l->progress);
    fprintf(stderr, "%s:%" PRIu64 ":%s %s%s%s%s%s%s\n", l->name, place->line,
            entry, text[0] != '\0' ? text : "refused",
            word[0] != '\0' ? " (" : "", word, word[0] != '\0' ? ")" : "",
            where[0] != '\0' ? " at " : "", where);
    if (l->refusals_shown == LOAD_REFUSALS_SHOWN)
        fputs("further refusals are counted, not shown\n", stderr);
}

void load_refuse(struct load *l, const struct error_place *place,
                 const char *word, const char *text)
{
    struct outcome outcome;

    l->counts.refused++;
    l->state.counts.refused++;
    count_reason(l, word, 1);
    show(l, place, word, text, "");
    outcome_init(&outcome);
    outcome_add(&outcome, SEV_ERROR, word, "", "%s", text);
    buf_empty(&l->line);
    error_line_write(l->base, &outcome, false, place, &l->line);
    load_put_line(l);
}

void load_refuse_said(struct load *l, const struct error_place *place,
                      uint64_t n, const char *word, const char *text,
                      const char *where)
{
    l->counts.refused += n;
    l->state.counts.refused += n;
    count_reason(l, word, n);
    show(l, place, word, text, where);
}

static uint64_t *counter(struct load_counts *counts, enum answer_fate fate)
{
    switch (fate) {
    case FATE_STORED:
        return &counts->stored;
    case FATE_THERE:
        return &counts->there;
    case FATE_HELD:
        return &counts->held;
    case FATE_REFUSED:
        break;
    }
    return &counts->refused;
}

void load_count(struct load *l, const struct fhir_answer *a,
                const struct error_answer *answer, size_t i,
                const struct error_place *place)
{
    bool refused = a->fate == FATE_REFUSED;

    ++*counter(&l->counts, a->fate);
    ++*counter(&l->state.counts, a->fate);
    if (refused) {
        count_reason(l, a->word, 1);
        show(l, place, a->word, a->text, a->place);
    }
    if (!refused && !(a->fate == FATE_HELD && l->args->errors_held))
        return;
    buf_empty(&l->line);
    error_answer_write(answer, i, place, &l->line);
    load_put_line(l);
}

/* With the system's word for it, as long as that is fresh. */
void load_say_unreadable(struct load *l, enum err e)
{
    const char *reason =
        e == ERR_IO && errno != 0 ? strerror(errno) : err_word(e);

    progress_clear(&l->progress);
    fprintf(stderr, "headgate: %s: %s\n", l->name, reason);
    l->broken = true;
}

/* ---- the summary ---------------------------------------------------------- */

static void print_reasons(const struct load *l)
{
    if (l->reason_count == 0)
        return;
    fputs("refused: ", stdout);
    for (size_t i = 0; i < l->reason_count; i++)
        printf("%s%" PRIu64 " %s", i > 0 ? ", " : "", l->reasons[i].count,
               l->reasons[i].word[0] != '\0' ? l->reasons[i].word
                                             : "without a reason");
    fputs("\n", stdout);
}

void load_print_summary(const struct load *l, int64_t spent_ms)
{
    double spent_s = spent_ms > 0 ? (double)spent_ms / 1000 : 0.001;

    printf("%" PRIu64 " stored, %" PRIu64 " already there, %" PRIu64
           " held for a person, %" PRIu64 " refused\n",
           l->counts.stored, l->counts.there, l->counts.held,
           l->counts.refused);
    print_reasons(l);
    printf("%" PRIu64 " lines, %" PRIu64 " bytes, %.1f s, %.0f lines/s\n",
           l->lines, l->bytes, spent_s, (double)l->lines / spent_s);
}
