/*
 * headgate backtest - what the rules would have said on past data
 *
 *     files --> messages in order of arrival --> the engine, in memory
 *           --> tables, or a line of JSON for each suggestion
 */
#include "service/command.h"

#include "adapters/fhir_time.h"
#include "adapters/policy_file.h"
#include "adapters/progress.h"
#include "service/backtest.h"
#include "service/maps.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

enum { REFUSALS_SHOWN = 20, WHY_MAX = 4096 };

#define OUTPUT_MAX ((size_t)1 << 30)

static const char help[] =
    "usage: headgate backtest [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                         [--policy FILE] [--against FILE]\n"
    "                         [--until YYYY-MM-DD] [--arrival sent|effective]\n"
    "                         [--json] FILE...\n\n"
    "Runs past data through the rules as if it arrived now, and shows what\n"
    "would have been suggested, how often, and how long before an event.\n"
    "A FILE is NDJSON (one resource a line), a Bundle, or '-' for standard\n"
    "input.  Zone, code maps and policy are those of the configuration.\n\n"
    "  --policy FILE   another policy instead\n"
    "  --against FILE  a second policy on the same data, shown beside the "
    "first\n"
    "  --until DATE    the day it ends (default: that of the last arrival)\n"
    "  --arrival effective  a reading arrives at the end of its effective "
    "time,\n"
    "                  whatever else it says (default: sent, see below)\n"
    "  --json          one line for each suggestion, with its evidence\n\n"
    "A resource arrives at its meta.lastUpdated, else when it was issued, "
    "else\n"
    "at the end of its effective time, else with the one before it in the\n"
    "file.  Patients and accesses are known from the start.  People are not\n"
    "simulated: a suggestion stays open until later readings end it.\n\n"
    "Everything stays in memory; the configured store is not touched.  What "
    "is\n"
    "refused is counted.\n\n"
    "Exit status: 0 done; 1 a line or file could not be read, or nothing "
    "arrived; 2\n"
    "the command line, the configuration or a policy is wrong.\n";

struct command {
    const struct args *args;
    struct config config;
    struct policy policies[2];
    int policy_count;
    struct codes *codes;
    struct zone *zone;
    struct backtest_feed feed;
    struct backtest_options options;
    struct progress progress;
    unsigned long shown; /* of what was refused */
    bool broken;         /* a file could not be read */
};

static int64_t monotonic_ms(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static int terminal_columns(void)
{
    struct winsize size;

    return ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 ? size.ws_col : 0;
}

/* ---- what it works by ----------------------------------------------------- */

static bool load_policy(struct command *c, const char *path)
{
    struct policy *policy = &c->policies[c->policy_count++];
    struct buf why;
    enum err e;

    buf_init(&why, WHY_MAX);
    e = policy_file_read(path, policy, &why);
    if (e != ERR_OK)
        fprintf(stderr, "headgate: %s\n", why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
    return e == ERR_OK;
}

static bool read_until(struct command *c)
{
    const char *text = c->args->until;
    struct fhir_time time;

    if (text == NULL)
        return true;
    if (fhir_time_read(text, strlen(text), c->zone, &time) != ERR_OK ||
        time.precision != AT_DAY) {
        fputs("headgate: --until needs a day, as 2026-03-31\n", stderr);
        return false;
    }
    c->options.until_s = time.end_s - 1;
    return true;
}

static bool load_settings(struct command *c)
{
    const struct args *args = c->args;
    struct buf why;
    enum err e;

    if (!args_config(args, &c->config) ||
        !load_policy(c, args->policy != NULL ? args->policy
                                             : c->config.policy_path) ||
        (args->against != NULL && !load_policy(c, args->against)))
        return false;
    buf_init(&why, WHY_MAX);
    e = zone_load(c->config.zone, &c->zone);
    if (e != ERR_OK)
        buf_printf(&why, "[site] zone: %s is not a zone of this system",
                   c->config.zone);
    if (e == ERR_OK)
        e = maps_load(&c->config, &c->codes, &why);
    if (e != ERR_OK)
        fprintf(stderr, "headgate: %s\n", why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
    return e == ERR_OK && read_until(c);
}

/* ---- telling -------------------------------------------------------------- */

static void on_refused(void *arg, const char *file, uint64_t line,
                       const char *word, const char *text, const char *place)
{
    struct command *c = arg;

    if (++c->shown > REFUSALS_SHOWN)
        return;
    progress_clear(&c->progress);
    fprintf(stderr, "%s:%llu: %s (%s)%s%s\n", file, (unsigned long long)line,
            text, word, place[0] != '\0' ? " at " : "", place);
    if (c->shown == REFUSALS_SHOWN)
        fputs("further refusals are counted, not shown\n", stderr);
}

static void on_progress(void *arg, uint64_t done_bytes)
{
    struct command *c = arg;

    progress_update(&c->progress, done_bytes, monotonic_ms());
}

/* ---- files ---------------------------------------------------------------- */

static void add_file(struct command *c, const char *path)
{
    bool from_input = strcmp(path, "-") == 0;
    const char *name = from_input ? "standard input" : path;
    FILE *f = from_input ? stdin : fopen(path, "rb");
    enum err e = f != NULL ? ERR_OK : ERR_IO;

    if (e == ERR_OK) {
        errno = 0;
        e = backtest_feed_add(&c->feed, f, name);
    }
    if (e != ERR_OK) {
        fprintf(stderr, "headgate: %s: %s\n", name,
                e == ERR_IO && errno != 0 ? strerror(errno) : err_word(e));
        c->broken = true;
    }
    if (f != NULL && !from_input)
        fclose(f);
}

/* ---- running -------------------------------------------------------------- */

static bool run_policy(struct command *c, int k, struct backtest_data *data,
                       struct backtest_report *report)
{
    int64_t start_ms = monotonic_ms();
    double seconds;
    enum err e;

    c->options.policy = &c->policies[k];
    c->options.say = k == 0 ? on_refused : NULL; /* both refuse the same */
    progress_start(&c->progress, stderr, k == 0 ? "back test" : "against",
                   c->feed.bytes, terminal_columns(), start_ms);
    e = backtest_run(&c->feed, &c->options, data, report);
    progress_clear(&c->progress);
    if (e != ERR_OK) {
        fprintf(stderr, "headgate: %s\n",
                e == ERR_ABSENT
                    ? "no resource in these files says when it arrived, "
                      "or none arrived by --until"
                    : err_word(e));
        return false;
    }
    seconds = (double)(monotonic_ms() - start_ms) / 1000.0;
    fprintf(stderr, "policy %s: %zu messages in %.1f s (%.0f a second)\n",
            report->version, c->feed.count, seconds,
            (double)c->feed.count / (seconds > 0.001 ? seconds : 0.001));
    return true;
}

static bool print(const struct command *c, const struct backtest_data *data,
                  const struct backtest_report reports[2])
{
    struct buf out;
    bool ok;

    buf_init(&out, OUTPUT_MAX);
    if (c->args->json) {
        for (int k = 0; k < c->policy_count; k++)
            backtest_json(&reports[k], c->zone, &out);
    } else {
        backtest_text(data, &reports[0],
                      c->policy_count > 1 ? &reports[1] : NULL, c->zone, &out);
    }
    ok = buf_ok(&out) == ERR_OK &&
         fwrite(out.data, 1, out.len, stdout) == out.len && fflush(stdout) == 0;
    buf_clear(&out);
    if (!ok)
        fputs("headgate: not everything could be written\n", stderr);
    return ok;
}

static bool run_all(struct command *c)
{
    struct backtest_report reports[2] = { { .count = 0 }, { .count = 0 } };
    struct backtest_data data = { .patients = 0 };
    bool ok = true;

    if (c->policy_count > 1 &&
        strcmp(c->policies[0].version, c->policies[1].version) == 0)
        fprintf(stderr, "headgate: both policies call themselves version %s\n",
                c->policies[0].version);
    if (c->args->json && backtest_feed_is_export(&c->feed))
        fputs("headgate: all arrivals lie on one day: lead times and delays "
              "mean nothing; --arrival effective takes the time of the "
              "reading instead\n",
              stderr);
    for (int k = 0; ok && k < c->policy_count; k++)
        ok = run_policy(c, k, &data, &reports[k]);
    ok = ok && print(c, &data, reports);
    for (int k = 0; k < 2; k++)
        backtest_clear(&reports[k]);
    return ok;
}

static void set_options(struct command *c)
{
    c->options.reader =
        (struct fhir_reader){ .codes = c->codes,
                              .base = c->config.fhir_base,
                              .zone = c->zone,
                              .entries_max =
                                  (size_t)c->config.fhir_entries_max };
    c->options.strict_access = c->config.fhir_strict_access;
    c->options.merge_implied = c->config.merge_implied;
    c->options.evidence = c->args->json;
    c->options.progress = on_progress;
    c->options.arg = c;
}

static int run(const struct args *args)
{
    struct command *c = calloc(1, sizeof(*c));
    int status = 2;

    if (c == NULL)
        return 1;
    c->args = args;
    if (load_settings(c)) {
        set_options(c);
        backtest_feed_init(&c->feed, &c->options.reader, on_refused, c);
        c->feed.effective =
            args->arrival != NULL && strcmp(args->arrival, "effective") == 0;
        for (int i = 0; i < args->file_count; i++)
            add_file(c, args->files[i]);
        backtest_feed_sort(&c->feed);
        status = run_all(c) && !c->broken && c->feed.unreadable == 0 ? 0 : 1;
        backtest_feed_clear(&c->feed);
    }
    codes_free(c->codes);
    zone_free(c->zone);
    free(c);
    return status;
}

int command_backtest(int argc, char **argv)
{
    struct args args;
    bool helped;

    if (!args_read(&args, argc, argv, "jbf", help, &helped))
        return helped ? 0 : 2;
    if (args.file_count == 0) {
        fputs(help, stderr);
        return 2;
    }
    return run(&args);
}
