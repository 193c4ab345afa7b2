#include "service/command.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { TEXT_MAX = 64 * 1024 * 1024, PATH_TEXT_MAX = 1024 };

static const char queue_help[] =
    "usage: headgate queue [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                      [--to URL [--token-file FILE]] [--json]\n\n"
    "Shows the signs of emergency that could not be placed, the open referral\n"
    "suggestions, the most urgent first, what is to be measured again, and "
    "what\n"
    "somebody has in hand though its ground has gone.  --json prints one JSON\n"
    "object a line.\n";

static const char decisions_help[] =
    "usage: headgate decisions [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                          [--to URL [--token-file FILE]]\n"
    "                          [--since DATE] [--json]\n\n"
    "Shows what headgate decided (not what people did), the oldest first:\n"
    "when, under which policy, and whether it was posted or, in silent mode,\n"
    "only kept.  For what people did see headgate review and the Tasks.\n"
    "--json prints one JSON object a line.\n";

static const char review_help[] =
    "usage: headgate review [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                       [--to URL [--token-file FILE]] ACCESS\n\n"
    "Evaluates one access now, and changes nothing: whose it is, what is open\n"
    "and what people closed, which rules hold and on what they rest, why the\n"
    "others do not, and what stands before a band plan.  ACCESS is its label, "
    "an identifier, the id of its\n"
    "BodyStructure, or an identifier of a patient who has one access.\n";

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
    else if (e == ERR_OK && (status == 404 || status == 409) &&
             strncmp(path, "/review", 7) == 0)
        fprintf(stderr, "headgate: %s", out.data); /* says what was found */
    else if (e == ERR_OK && status == 400)
        fputs("headgate: the service does not understand the date or name\n",
              stderr);
    else
        session_complain(&session, status, e);
    buf_clear(&out);
    session_close(&session);
    return e == ERR_OK && status == 200 && written ? 0 : 1;
}

int command_queue(int argc, char **argv)
{
    struct args args;
    char path[80];
    bool helped;

    if (!args_read(&args, argc, argv, "jt", queue_help, &helped))
        return helped ? 0 : 2;
    if (args.json)
        return show(&args, "/queue");
    snprintf(
        path, sizeof(path), "/queue?table&columns=%d%s", terminal_columns(),
        isatty(STDOUT_FILENO) && getenv("NO_COLOR") == NULL ? "&colour" : "");
    return show(&args, path);
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

    if (!args_read(&args, argc, argv, "tf", review_help, &helped))
        return helped ? 0 : 2;
    if (args.file_count != 1 || args.files[0][0] == '\0') {
        fprintf(stderr, "headgate: name one access\n\n%s", review_help);
        return 2;
    }
    buf_init(&path, PATH_TEXT_MAX);
    buf_printf(&path, "/review?columns=%d", terminal_columns());
    add_parameter(&path, "access", args.files[0]);
    return show_path(&args, &path);
}
