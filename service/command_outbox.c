/* headgate outbox - what could not be delivered, and a person's word on it */
#include "service/command.h"

#include <stdio.h>
#include <string.h>

enum { PATH_TEXT_MAX = 4096 };

static const char help[] =
    "usage: headgate outbox [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                       [--to URL [--token-file FILE] [--ca FILE]]\n"
    "                       [--json] [--all] [given-up]\n"
    "       headgate outbox retry ROW|all|now\n"
    "       headgate outbox discard ROW --by NAME --why TEXT\n\n"
    "Lists what was put aside on the way to the clinical record: what the "
    "record\n"
    "refused for good, or answered unclearly too often, with what it said.  "
    "What it\n"
    "refused is not sent again by itself until there is a newer version of it; "
    "what\n"
    "was unclear is tried once more when the service starts.\n\n"
    "  retry      try again now, once the cause is mended; now: all that waits "
    "for\n"
    "             the record, and ends the pause that it is given\n"
    "  discard    never send it; who decided and why are kept with it\n"
    "  given-up   list what was discarded\n"
    "  --all      however many they are; else the oldest 1000\n"
    "  --json     one JSON object a line, with the record's whole answer\n\n"
    "retry and discard work on the machine of the service.  A suggestion that "
    "is\n"
    "discarded stays in headgate queue: somebody must tell whoever is to see "
    "the\n"
    "patient in another way.\n\n" HELP_TO "\n" HELP_STATUS;

static int complain(const char *text)
{
    fprintf(stderr, "headgate: %s\n\n%s", text, help);
    return 2;
}

static int act(const struct args *args, bool again)
{
    struct buf path;
    int status = 2;

    if (args->file_count != 2)
        return complain(again ? "name one row, all, or now" : "name one row");
    if (args->all)
        return complain("--all goes with the list");
    if (args->to != NULL)
        return complain("this is decided on the machine of the service");
    if (!again && (args->by == NULL || args->why == NULL))
        return complain("say who decided (--by) and why (--why)");
    buf_init(&path, PATH_TEXT_MAX);
    buf_printf(&path, "/outbox?act=%s&row=", args->files[0]);
    command_escape(&path, args->files[1]);
    if (!again) {
        buf_puts(&path, "&by=");
        command_escape(&path, args->by);
        buf_puts(&path, "&why=");
        command_escape(&path, args->why);
    }
    if (buf_ok(&path) == ERR_OK)
        status = command_call(args, "POST", path.data);
    else
        fputs("headgate: the name or the reason is too long\n", stderr);
    buf_clear(&path);
    return status;
}

int command_outbox(int argc, char **argv)
{
    struct args args;
    bool helped, given_up;
    char path[64];

    if (!args_read(&args, argc, argv, "cjtfw", help, &helped))
        return helped ? 0 : 2;
    if (args.file_count > 0 && strcmp(args.files[0], "retry") == 0)
        return act(&args, true);
    if (args.file_count > 0 && strcmp(args.files[0], "discard") == 0)
        return act(&args, false);
    given_up = args.file_count == 1 && strcmp(args.files[0], "given-up") == 0;
    if (args.file_count > 0 && !given_up)
        return complain("the word is retry, discard or given-up");
    snprintf(path, sizeof(path), "/outbox?%s%s%s", args.json ? "json=1&" : "",
             args.all ? "all=1&" : "", given_up ? "given_up=1" : "");
    return command_call(&args, "GET", path);
}
