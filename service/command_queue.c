#include "service/command.h"

#include "adapters/queue_filter.h"
#include "adapters/report_text.h"
#include "service/queue_watch.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { TEXT_MAX = 64 * 1024 * 1024, PATH_TEXT_MAX = 4000 };

static const char queue_help[] =
    "usage: headgate queue [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                      [--to URL [--token-file FILE] [--ca FILE]]\n"
    "                      [--json] [--unit NAME] [--state STATE]\n"
    "                      [--rule ID]... [--access NAME] [--watch]\n"
    "       headgate queue --digest [--week 2026-W47] [--unit NAME] "
    "[--json]\n\n"
    "Shows the signs of emergency that could not be placed, the open referral\n"
    "suggestions, the most urgent first, what is to be measured again, what\n"
    "somebody has in hand though its ground has gone, and what was put off.\n\n"
    "  --unit    of the patients of one dialysis unit; \"unit not known\" for\n"
    "            those whose unit is not known\n"
    "  --state   open, taken, put-off or overdue\n"
    "  --rule    that rest on this rule, such as HF-1; several may be given\n"
    "  --access  of one access: its label, an identifier, or that of its "
    "patient\n"
    "  --watch   on a terminal, drawn anew when something has changed; q ends\n"
    "  --digest  counts of a week for each unit: what came, what became of it\n"
    "  --week    of --digest, of ISO 8601 at the site; else the one under way\n"
    "  --json    one JSON object a line\n\n"
    "A list that is filtered says what it does not show, and always shows the\n"
    "signs of emergency that may be of the unit.\n"
    "\n" HELP_TO "\n" HELP_STATUS;

static const char decisions_help[] =
    "usage: headgate decisions [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                          [--to URL [--token-file FILE] [--ca FILE]]\n"
    "                          [--since DATE] [--json]\n\n"
    "Shows what headgate decided (not what people did), the oldest first:\n"
    "when, under which policy, and whether it was posted or, in silent mode,\n"
    "only kept.  For what people did see headgate review and the Tasks.\n"
    "--json prints one JSON object a line.\n"
    "\n" HELP_TO "\n" HELP_STATUS;

static const char review_help[] =
    "usage: headgate review [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                       [--to URL [--token-file FILE] [--ca FILE]]\n"
    "                       [--timeline [--json]] ACCESS\n\n"
    "Evaluates one access now, and changes nothing: whose it is, what is open\n"
    "and what people closed, which rules hold and on what they rest, why the\n"
    "others do not, and what stands before a band plan.  ACCESS is its label, "
    "an\n"
    "identifier, the id of its BodyStructure, or an identifier of a patient "
    "who has\n"
    "one access.\n\n"
    "--timeline shows instead what happened at it, by month: flows, "
    "treatments\n"
    "with the flows before and after, signs, suggestions, reminders, and what "
    "is\n"
    "due next; with --json as one JSON object a line.\n"
    "\n" HELP_TO "\n"
    "Exit status: 0 done; 1 there is no such access or several, or it has "
    "failed; 2\n"
    "the command line or the configuration is wrong.\n";

static int terminal_columns(void)
{
    struct winsize size;

    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0)
        return size.ws_col;
    return 0;
}

/* A list that was cut must not pass for a whole one. */
static bool print(const struct buf *out)
{
    if (fwrite(out->data, 1, out->len, stdout) == out->len &&
        fflush(stdout) == 0)
        return true;
    fputs("headgate: not everything could be written\n", stderr);
    return false;
}

static int show(const struct args *args, const char *path)
{
    struct config config;
    struct session session;
    struct buf out;
    long status = 0;
    bool written = false;
    int opened;
    enum err e;

    if (!args_config(args, &config))
        return 2;
    opened = session_open(&session, args, &config, false);
    if (opened != 0)
        return opened;
    buf_init(&out, TEXT_MAX);
    e = session_call(&session, "GET", path, NULL, 0, &status, &out);
    if (e == ERR_OK && status == 200)
        written = print(&out);
    else if (e == ERR_OK && status == 400)
        fputs("headgate: the service does not understand the date or name\n",
              stderr);
    else
        session_complain_of(&session, status, e, &out);
    buf_clear(&out);
    session_close(&session);
    return e == ERR_OK && status == 200 && written ? 0 : 1;
}

/* A parameter of a query, with its bytes escaped. */
static void add_parameter(struct buf *path, const char *name, const char *value)
{
    buf_printf(path, "%s%s=", strchr(path->data, '?') != NULL ? "&" : "?",
               name);
    for (; *value != '\0'; value++) {
        unsigned byte = (unsigned char)*value;

        buf_printf(path, isalnum((int)byte) ? "%c" : "%%%02X", byte);
    }
}

/* The path is shown, unless it became too long. */
static int show_path(const struct args *args, struct buf *path)
{
    int status = 2;

    if (buf_ok(path) == ERR_OK)
        status = show(args, path->data);
    else
        fputs("headgate: what was asked for is too long\n", stderr);
    buf_clear(path);
    return status;
}

static void add_asked(const struct args *args, struct buf *path)
{
    if (args->unit != NULL)
        add_parameter(path, "unit", args->unit);
    if (args->state != NULL)
        add_parameter(path, "state", args->state);
    for (int i = 0; i < args->rule_count; i++)
        add_parameter(path, "rule", args->rules[i]);
    if (args->access != NULL)
        add_parameter(path, "access", args->access);
}

/* For people, on a terminal of this width; 0: it is none. */
static void table_path(const struct args *args, int columns, struct buf *path)
{
    bool colour = isatty(STDOUT_FILENO) && getenv("NO_COLOR") == NULL;

    buf_printf(path, "/queue?table&columns=%d%s", columns,
               colour ? "&colour" : "");
    add_asked(args, path);
}

/* What can be told to be wrong here is. */
static bool asks_well(const struct args *args)
{
    enum queue_state state;
    int64_t week;

    if (args->state != NULL && !queue_state_read(args->state, &state)) {
        fprintf(stderr,
                "headgate: --state '%s': it is open, taken, put-off or "
                "overdue\n",
                args->state);
        return false;
    }
    for (int i = 0; i < args->rule_count; i++) {
        if (queue_rule_read(args->rules[i]) == NULL) {
            fprintf(stderr, "headgate: --rule '%s' is no rule, such as HF-1\n",
                    args->rules[i]);
            return false;
        }
    }
    if (args->week != NULL && !report_week_read(args->week, &week)) {
        fprintf(stderr,
                "headgate: --week '%s' is no week: write it as 2026-W47\n",
                args->week);
        return false;
    }
    if (args->digest ? args->watch || args->state != NULL ||
                           args->rule_count > 0 || args->access != NULL
                     : args->week != NULL) {
        fputs("headgate: --digest goes with --week, --unit and --json, and "
              "--week with nothing else\n",
              stderr);
        return false;
    }
    if (args->watch && args->json) {
        fputs("headgate: --watch is for people, --json for programs\n", stderr);
        return false;
    }
    return true;
}

static int show_digest(const struct args *args)
{
    struct buf path;

    buf_init(&path, PATH_TEXT_MAX);
    buf_printf(&path, "/digest?columns=%d", terminal_columns());
    if (args->week != NULL)
        add_parameter(&path, "week", args->week);
    if (args->unit != NULL)
        add_parameter(&path, "unit", args->unit);
    if (args->json)
        add_parameter(&path, "json", "1");
    return show_path(args, &path);
}

static int watch(const struct args *args)
{
    struct config config;

    return args_config(args, &config) ? queue_watch(args, &config, table_path)
                                      : 2;
}

int command_queue(int argc, char **argv)
{
    struct args args;
    struct buf path;
    bool helped;

    if (!args_read(&args, argc, argv, "jtu", queue_help, &helped))
        return helped ? 0 : 2;
    if (!asks_well(&args))
        return 2;
    if (args.digest)
        return show_digest(&args);
    if (args.watch)
        return watch(&args);
    buf_init(&path, PATH_TEXT_MAX);
    if (args.json) {
        buf_puts(&path, "/queue");
        add_asked(&args, &path);
    } else {
        table_path(&args, terminal_columns(), &path);
    }
    return show_path(&args, &path);
}

int command_decisions(int argc, char **argv)
{
    struct args args;
    struct buf path;
    bool helped;

    if (!args_read(&args, argc, argv, "jts", decisions_help, &helped))
        return helped ? 0 : 2;
    buf_init(&path, PATH_TEXT_MAX);
    buf_printf(&path, "/decisions?columns=%d", terminal_columns());
    if (args.since != NULL)
        add_parameter(&path, "since", args.since);
    if (args.json)
        add_parameter(&path, "json", "1");
    return show_path(&args, &path);
}

int command_review(int argc, char **argv)
{
    struct args args;
    struct buf path;
    bool helped;

    if (!args_read(&args, argc, argv, "jtyf", review_help, &helped))
        return helped ? 0 : 2;
    if (args.file_count != 1 || args.files[0][0] == '\0') {
        fprintf(stderr, "headgate: name one access\n\n%s", review_help);
        return 2;
    }
    if (args.json && !args.timeline) {
        fputs("headgate: --json goes with --timeline\n", stderr);
        return 2;
    }
    buf_init(&path, PATH_TEXT_MAX);
    buf_printf(&path, "/review?columns=%d%s%s", terminal_columns(),
               args.timeline ? "&timeline=1" : "", args.json ? "&json=1" : "");
    add_parameter(&path, "access", args.files[0]);
    return show_path(&args, &path);
}
