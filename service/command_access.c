/* headgate access - the accesses of a patient, and two of them that are one */
#include "service/command.h"

#include <stdio.h>
#include <string.h>

enum { PATH_TEXT_MAX = 8192 };

static const char help[] =
    "usage: headgate access list PATIENT [--json]\n"
    "       headgate access merge FROM INTO --by NAME --why TEXT [--json]\n"
    "       each with [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "       [--to URL [--token-file FILE] [--ca FILE]]\n\n"
    "  list     the accesses of a patient (by number, or id), each with the "
    "number\n"
    "           that merge takes, how it is known, and how much is kept of it\n"
    "  merge    FROM, an access that is known by readings alone, is INTO, the "
    "real\n"
    "           one of the same patient: readings, suggestions and names go "
    "over, and\n"
    "           both are reviewed anew.  THIS CANNOT BE UNDONE; who and why "
    "are kept.\n"
    "           Refused where anything contradicts: another patient, side, "
    "type or\n"
    "           place, or two BodyStructures.  FROM and INTO are names or "
    "numbers\n\n"
    "What headgate suggests afterwards rests on the readings of both, by the "
    "site's\n"
    "policy.  It is decision support; a qualified clinician decides.\n"
    "\n" HELP_TO "\n" HELP_STATUS;

static int complain(const char *text)
{
    fprintf(stderr, "headgate: %s\n\n%s", text, help);
    return 2;
}

static void add(struct buf *path, const char *name, const char *value)
{
    buf_printf(path, "&%s=", name);
    command_escape(path, value);
}

static int ask(const struct args *args, const char *method, struct buf *path)
{
    int status = 2;

    if (args->json)
        buf_puts(path, "&json=1");
    if (buf_ok(path) == ERR_OK)
        status = command_call(args, method, path->data);
    else
        fputs("headgate: what was said is too long\n", stderr);
    buf_clear(path);
    return status;
}

static int list(const struct args *args)
{
    struct buf path;

    if (args->file_count != 2)
        return complain("name one patient, by number or id");
    if (args->by != NULL || args->why != NULL)
        return complain("--by and --why go with merge");
    buf_init(&path, PATH_TEXT_MAX);
    buf_puts(&path, "/access?patient=");
    command_escape(&path, args->files[1]);
    return ask(args, "GET", &path);
}

static int merge(const struct args *args)
{
    struct buf path;

    if (args->file_count != 3)
        return complain("name two accesses");
    if (args->by == NULL || args->why == NULL)
        return complain("a merge cannot be undone: say who decides (--by) and "
                        "why (--why)");
    buf_init(&path, PATH_TEXT_MAX);
    buf_puts(&path, "/access?act=merge");
    add(&path, "from", args->files[1]);
    add(&path, "into", args->files[2]);
    add(&path, "by", args->by);
    add(&path, "why", args->why);
    return ask(args, "POST", &path);
}

int command_access(int argc, char **argv)
{
    struct args args;
    bool helped;

    if (!args_read(&args, argc, argv, "jtfw", help, &helped))
        return helped ? 0 : 2;
    if (args.file_count > 0 && strcmp(args.files[0], "list") == 0)
        return list(&args);
    if (args.file_count > 0 && strcmp(args.files[0], "merge") == 0)
        return merge(&args);
    return complain("the word is list or merge");
}
