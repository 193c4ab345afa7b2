/*
 * headgate load - files of resources to a service
 *
 *     file --> lines --> collection Bundle --> POST /fhir --> fate of each
 *
 * A Bundle that is refused as a whole is sent again entry by entry, so that
 * only what is at fault is lost; each refusal is printed with file and line.
 */
#include "service/command.h"

#include "adapters/feed.h"
#include "adapters/fhir_answer.h"
#include "adapters/progress.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum {
    ENTRIES_AT_ONCE = 250,
    BYTES_AT_ONCE = 1024 * 1024,
    DOCUMENT_MAX = 4 * 1024 * 1024,
    ANSWER_BYTES_MAX = 64 * 1024 * 1024,
    ENTRIES_MAX = 5000,
    REFUSALS_SHOWN = 20
};

static const char help[] =
    "usage: headgate load [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                     [--to URL [--token-file FILE]] FILE...\n\n"
    "Sends FHIR resources to the service that runs on the configured store,\n"
    "or to the one at URL; if none runs, they go straight into the store.\n"
    "A FILE is NDJSON (one resource a line), a Bundle, or '-' for standard\n"
    "input.  What is unclear is held for a person (see headgate quarantine);\n"
    "what is refused is listed with its line, and the exit status is 1.\n";

struct load {
    struct session session;
    struct progress progress;
    const char *name; /* of the file */
    struct fhir_answer *answers;
    unsigned long fates[FATE_REFUSED + 1];
    unsigned long refusals_shown;
    bool broken; /* no use in going on */
};

/* The string that begins at text[*at], "" if it is a long one; *at is moved
 * to its end. */
static void take_string(const char *text, size_t len, size_t *at, char *out,
                        size_t size)
{
    size_t begin = ++*at;

    while (*at < len && text[*at] != '"')
        *at += text[*at] == '\\' ? 2 : 1;
    snprintf(out, size, "%.*s",
             *at < len && *at - begin < size ? (int)(*at - begin) : 0,
             text + begin);
}

/* Is the resourceType of the whole, not of something within, Bundle?  The
 * service judges the JSON: here only brackets and strings are followed. */
static bool is_bundle(const char *text, size_t len)
{
    char word[16] = "", before[16] = "";
    int depth = 0;

    for (size_t i = 0; i < len; i++) {
        if (text[i] == '{' || text[i] == '[')
            depth++;
        else if (text[i] == '}' || text[i] == ']')
            depth--;
        else if (text[i] == ',' && depth == 1)
            before[0] = '\0';
        else if (text[i] == ':' && depth == 1)
            memcpy(before, word, sizeof(before));
        if (text[i] != '"')
            continue;
        take_string(text, len, &i, word, sizeof(word));
        if (depth == 1 && strcmp(before, "resourceType") == 0)
            return strcmp(word, "Bundle") == 0;
    }
    return false;
}

static bool has_bundle(const struct feed_batch *batch)
{
    for (size_t i = 0; i < batch->count; i++) {
        if (is_bundle(batch->body.data + batch->entries[i].start,
                      batch->entries[i].len))
            return true;
    }
    return false;
}

static int64_t monotonic_ms(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static void show_refusal(struct load *l, uint64_t line, const char *word,
                         const char *text, const char *place)
{
    l->fates[FATE_REFUSED]++;
    if (++l->refusals_shown > REFUSALS_SHOWN)
        return;
    progress_clear(&l->progress);
    fprintf(stderr, "%s:%llu: %s%s%s%s%s\n", l->name, (unsigned long long)line,
            text[0] != '\0' ? text : "refused", word[0] != '\0' ? " (" : "",
            word, word[0] != '\0' ? ")" : "", place[0] != '\0' ? place : "");
    if (l->refusals_shown == REFUSALS_SHOWN)
        fputs("further refusals are counted, not shown\n", stderr);
}

static void count_answer(struct load *l, uint64_t line,
                         const struct fhir_answer *a)
{
    char place[180] = "";

    if (a->fate != FATE_REFUSED) {
        l->fates[a->fate]++;
        return;
    }
    if (a->place[0] != '\0')
        snprintf(place, sizeof(place), " at %s", a->place);
    show_refusal(l, line, a->word, a->text, place);
}

/* One body there, its answer back.  False: nothing more can be sent. */
static bool send_body(struct load *l, const struct buf *body, size_t *count,
                      bool *lone)
{
    struct buf out;
    long status = 0;
    enum err e;

    buf_init(&out, ANSWER_BYTES_MAX);
    e = session_call(&l->session, "POST", "/fhir", body->data, body->len,
                     &status, &out);
    if (e == ERR_OK && (status == 401 || status == 503))
        e = ERR_DENIED;
    if (e == ERR_OK)
        e = fhir_answer_read(out.data, out.len, (int)status, l->answers,
                             ENTRIES_MAX, count, lone);
    buf_clear(&out);
    if (e != ERR_OK) {
        progress_clear(&l->progress);
        session_complain(&l->session, status, e);
        fprintf(stderr,
                "headgate: %s: stopped; what was loaded before stays, and may "
                "be sent again\n",
                l->name);
        l->broken = true;
    }
    return e == ERR_OK;
}

/* A Bundle that stands in a line goes as it is, so that its own kind counts;
 * what becomes of each of its entries is told with the line. */
static void send_bundle(struct load *l, const struct feed_batch *batch,
                        size_t i)
{
    const struct feed_entry *entry = &batch->entries[i];
    struct buf one;
    size_t count;
    bool lone;

    buf_init(&one, (size_t)FEED_LINE_MAX + 256);
    buf_add(&one, batch->body.data + entry->start, entry->len);
    if (buf_ok(&one) != ERR_OK) {
        show_refusal(l, entry->line, "too-long", "the line is too long", "");
    } else if (send_body(l, &one, &count, &lone)) {
        for (size_t k = 0; k < count; k++)
            count_answer(l, entry->line, &l->answers[k]);
    }
    buf_clear(&one);
}

/* Refused as a whole, or Bundles among them: one by one, so that the others are not lost. */
static void send_singly(struct load *l, const struct feed_batch *batch)
{
    struct buf one;
    size_t count;
    bool lone;

    buf_init(&one, (size_t)FEED_LINE_MAX + 256);
    for (size_t i = 0; i < batch->count && !l->broken; i++) {
        if (is_bundle(batch->body.data + batch->entries[i].start,
                      batch->entries[i].len)) {
            send_bundle(l, batch, i);
            continue;
        }
        feed_batch_single(batch, i, &one);
        if (buf_ok(&one) != ERR_OK)
            show_refusal(l, batch->entries[i].line, "too-long",
                         "the line is too long", "");
        else if (send_body(l, &one, &count, &lone))
            count_answer(l, batch->entries[i].line, &l->answers[0]);
    }
    buf_clear(&one);
}

static void send_batch(struct load *l, const struct feed_batch *batch)
{
    size_t count;
    bool lone;

    if (has_bundle(batch)) {
        send_singly(l, batch);
        return;
    }
    if (!send_body(l, &batch->body, &count, &lone))
        return;
    if (lone && batch->count > 1) {
        send_singly(l, batch);
        return;
    }
    for (size_t i = 0; i < count && i < batch->count; i++)
        count_answer(l, batch->entries[i].line, &l->answers[i]);
}

/* With the system's word for it, as long as that is fresh. */
static void say_unreadable(struct load *l, enum err e)
{
    const char *reason =
        e == ERR_IO && errno != 0 ? strerror(errno) : err_word(e);

    progress_clear(&l->progress);
    fprintf(stderr, "headgate: %s: %s\n", l->name, reason);
    l->broken = true;
}

static void load_lines(struct load *l, struct feed *feed)
{
    struct feed_batch batch;
    enum err e = feed_batch_init(&batch, ENTRIES_AT_ONCE, BYTES_AT_ONCE);

    while (e != ERR_ABSENT && e != ERR_IO && e != ERR_MEMORY && !l->broken) {
        e = feed_gather(feed, &batch);
        if (e == ERR_OK)
            send_batch(l, &batch);
        else if (e == ERR_FORM)
            show_refusal(l, batch.problem.number, "json-syntax",
                         "the line is not one JSON object", "");
        else if (e == ERR_LIMIT)
            show_refusal(l, batch.problem.number, "too-long",
                         "the line is too long", "");
        progress_update(&l->progress, feed_taken(feed), monotonic_ms());
    }
    if (e == ERR_IO || e == ERR_MEMORY)
        say_unreadable(l, e);
    feed_batch_clear(&batch);
}

static bool is_blank(const struct buf *body)
{
    return body->len == 0 || strspn(body->data, " \t\r\n") == body->len;
}

/* A Bundle as it is, so that its own kind (batch, transaction) counts; a
 * single resource in a Bundle around it. */
static void load_document(struct load *l, struct feed *feed)
{
    struct buf body, wrapped;
    size_t count = 0;
    bool lone = false;
    enum err e;

    buf_init(&body, DOCUMENT_MAX);
    buf_init(&wrapped, DOCUMENT_MAX + 256);
    e = feed_rest(feed, &body);
    if (e == ERR_OK && is_blank(&body)) {
        buf_clear(&body);
        return; /* nothing came, and nothing is wrong */
    }
    if (e == ERR_OK && !is_bundle(body.data, body.len)) {
        buf_puts(&wrapped, "{\"resourceType\":\"Bundle\",\"type\":"
                           "\"collection\",\"entry\":[{\"resource\":");
        buf_add(&wrapped, body.data, body.len);
        buf_puts(&wrapped, "}]}");
        e = buf_ok(&wrapped);
    }
    if (e == ERR_IO) {
        say_unreadable(l, e);
    } else if (e != ERR_OK) {
        show_refusal(l, 1, "too-long", "the document cannot be read whole", "");
    } else if (send_body(l, wrapped.len > 0 ? &wrapped : &body, &count,
                         &lone)) {
        for (size_t i = 0; i < count; i++)
            count_answer(l, i + 1, &l->answers[i]);
        if (lone && count > 0 && l->answers[0].fate == FATE_REFUSED)
            fprintf(stderr, "%s: nothing of this file was loaded\n", l->name);
    }
    buf_clear(&body);
    buf_clear(&wrapped);
}

static int terminal_columns(void)
{
    struct winsize size;

    return ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 ? size.ws_col : 0;
}

static void load_file(struct load *l, const char *path)
{
    bool from_input = strcmp(path, "-") == 0;
    FILE *f = NULL;
    struct feed *feed = NULL;
    struct stat info;
    bool lines = false;
    enum err e;

    errno = 0;
    f = from_input ? stdin : fopen(path, "rb");
    l->name = from_input ? "standard input" : path;
    if (f == NULL || feed_new(feed_read_file, f, &feed) != ERR_OK) {
        fprintf(stderr, "headgate: %s: %s\n", l->name, strerror(errno));
        l->broken = true;
    } else {
        progress_start(&l->progress, stderr, l->name,
                       fstat(fileno(f), &info) == 0 && info.st_size > 0
                           ? (uint64_t)info.st_size
                           : 0,
                       terminal_columns(), monotonic_ms());
        errno = 0;
        e = feed_is_lines(feed, path, &lines);
        if (e != ERR_OK)
            say_unreadable(l, e);
        else if (lines)
            load_lines(l, feed);
        else
            load_document(l, feed);
        progress_clear(&l->progress);
    }
    feed_free(feed);
    if (f != NULL && !from_input)
        fclose(f);
}

/* A name that was mistyped must not make a store. */
static bool are_there(const struct args *args)
{
    bool all = true;

    for (int i = 0; i < args->file_count; i++) {
        const char *path = args->files[i];

        if (strcmp(path, "-") == 0 || access(path, R_OK) == 0)
            continue;
        fprintf(stderr, "headgate: %s: %s\n", path, strerror(errno));
        all = false;
    }
    if (!all)
        fputs("headgate: nothing was loaded\n", stderr);
    return all;
}

static int run(const struct args *args, const struct config *config)
{
    struct load *l = calloc(1, sizeof(*l));
    int opened = 1;
    bool ok;

    if (l == NULL)
        return 1;
    l->answers = calloc(ENTRIES_MAX, sizeof(*l->answers));
    if (l->answers != NULL)
        opened = session_open(&l->session, args, config, true);
    if (opened != 0) {
        free(l->answers);
        free(l);
        return opened;
    }
    for (int i = 0; i < args->file_count && !l->broken; i++)
        load_file(l, args->files[i]);
    session_close(&l->session);
    printf("%lu stored, %lu already there, %lu held for a person, %lu "
           "refused\n",
           l->fates[FATE_STORED], l->fates[FATE_THERE], l->fates[FATE_HELD],
           l->fates[FATE_REFUSED]);
    ok = !l->broken && l->fates[FATE_REFUSED] == 0;
    free(l->answers);
    free(l);
    return ok ? 0 : 1;
}

int command_load(int argc, char **argv)
{
    struct args args;
    struct config config;
    bool helped;

    if (!args_read(&args, argc, argv, "tf", help, &helped))
        return helped ? 0 : 2;
    if (args.file_count == 0) {
        fputs(help, stderr);
        return 2;
    }
    if (!args_config(&args, &config))
        return 2;
    return are_there(&args) ? run(&args, &config) : 1;
}
