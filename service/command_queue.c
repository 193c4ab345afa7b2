#include "service/command.h"

#include <stdio.h>
#include <stdlib.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { TEXT_MAX = 64 * 1024 * 1024 };

static const char queue_help[] =
    "usage: headgate queue [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                      [--to URL [--token-file FILE]] [--json]\n\n"
    "Shows the open referral suggestions, the most urgent first, then what is\n"
    "to be measured again.  --json prints one JSON object a line.\n";

static const char quarantine_help[] =
    "usage: headgate quarantine [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                           [--to URL [--token-file FILE]]\n\n"
    "Shows the readings that are kept and not used, each with the reason.\n";

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
    enum err e;

    if (!args_config(args, &config))
        return 2;
    if (!session_open(&session, args, &config, false))
        return 1;
    buf_init(&out, TEXT_MAX);
    e = session_call(&session, "GET", path, NULL, 0, &status, &out);
    if (e == ERR_OK && status == 200)
        written = print(&out);
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

int command_quarantine(int argc, char **argv)
{
    struct args args;
    bool helped;

    if (!args_read(&args, argc, argv, "t", quarantine_help, &helped))
        return helped ? 0 : 2;
    return show(&args, "/held");
}
