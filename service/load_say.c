/* What a person sees of a load, and the file of what was refused. */
/* ftruncate and fseeko are in the XSI part of POSIX. */
#define _XOPEN_SOURCE 700 /* NOLINT(bugprone-reserved-identifier) */

#include "service/load.h"

#include "adapters/catalogue.h"

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

static void count_reason(struct load_reasons *reasons, const char *word)
{
    size_t i = 0;

    while (i < reasons->count && strcmp(reasons->list[i].word, word) != 0)
        i++;
    if (i == LOAD_REASONS_MAX)
        i--; /* beyond what a service of ours says */
    else if (i == reasons->count)
        snprintf(reasons->list[reasons->count++].word,
                 sizeof(reasons->list[i].word), "%s", word);
    reasons->list[i].count++;
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

/* What was refused by us: shown, and put into the error file. */
static void list_ours(struct load *l, const struct error_place *place,
                      const char *word, const char *text)
{
    struct outcome outcome;

    show(l, place, word, text, "");
    outcome_init(&outcome);
    outcome_add(&outcome, SEV_ERROR, word, "", "%s", text);
    buf_empty(&l->line);
    error_line_write(l->base, &outcome, false, place, &l->line);
    load_put_line(l);
}

void load_refuse(struct load *l, const struct error_place *place,
                 const char *word, const char *text)
{
    l->counts.refused++;
    l->state.counts.refused++;
    count_reason(&l->reasons, word);
    list_ours(l, place, word, text);
}

void load_reject(struct load *l, const struct error_place *place,
                 const char *word, const char *text)
{
    l->messages.rejected++;
    count_reason(&l->faults, word);
    list_ours(l, place, word, text);
}

void load_show_fault(struct load *l, const struct error_place *place,
                     const char *word, const char *text, const char *where)
{
    count_reason(&l->faults, word);
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
        count_reason(&l->reasons, a->word);
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

enum { LIST_SIZE = LOAD_REASONS_MAX * (sizeof(struct load_reason) + 24) };

/* "3 json-syntax, 1 unit": words of CodeSystem av-error, which are never
 * translated. */
static void list_reasons(const struct load_reasons *reasons,
                         char out[LIST_SIZE])
{
    size_t at = 0;

    out[0] = '\0';
    for (size_t i = 0; i < reasons->count; i++) {
        const struct load_reason *r = &reasons->list[i];

        at += (size_t)snprintf(out + at, LIST_SIZE - at, "%s%" PRIu64 " %s",
                               i > 0 ? ", " : "", r->count,
                               r->word[0] != '\0' ? r->word : "?");
    }
}

static unsigned long long wide(uint64_t n)
{
    return n;
}

static void print_resources(const struct load *l)
{
    const struct load_counts *c = &l->counts;
    char list[LIST_SIZE];

    printf(_("FHIR resources: %llu stored, %llu already there, %llu held for a "
             "person, %llu refused\n"),
           wide(c->stored), wide(c->there), wide(c->held), wide(c->refused));
    list_reasons(&l->reasons, list);
    /* TRANSLATORS: %s: how often, and a word of the program: "3 no-time" */
    if (list[0] != '\0')
        printf(_("FHIR resources that were refused, by reason: %s\n"), list);
}

/* Messages and what stands in them are not the same number, and a message with
 * faults may have results that are used. */
static void print_messages(const struct load *l)
{
    const struct load_messages *m = &l->messages;
    const struct load_counts *c = &l->results;
    char list[LIST_SIZE];

    printf(_("HL7 v2 messages: %llu taken, %llu had come before, %llu with "
             "faults (in quarantine), %llu rejected (not kept)\n"),
           wide(m->taken), wide(m->repeated), wide(m->faulty),
           wide(m->rejected));
    list_reasons(&l->faults, list);
    if (list[0] != '\0')
        printf(_("HL7 v2 messages with faults or rejected, by the first "
                 "reason: %s\n"),
               list);
    /* TRANSLATORS: results are the OBX segments of the messages */
    printf(_("HL7 v2 results in the messages: %llu stored, %llu already there, "
             "%llu held for a person, %llu refused\n"),
           wide(c->stored), wide(c->there), wide(c->held), wide(c->refused));
}

void load_print_summary(const struct load *l, int64_t spent_ms)
{
    const struct load_counts *c = &l->counts;
    double spent_s = spent_ms > 0 ? (double)spent_ms / 1000 : 0.001;

    if (!l->saw_hl7 || c->stored + c->there + c->held + c->refused > 0)
        print_resources(l);
    if (l->saw_hl7)
        print_messages(l);
    printf("%" PRIu64 " lines, %" PRIu64 " bytes, %.1f s, %.0f lines/s\n",
           l->lines, l->bytes, spent_s, (double)l->lines / spent_s);
}
