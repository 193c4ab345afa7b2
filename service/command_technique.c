/* headgate technique - what a site learns from its finished procedures */
#include "service/command.h"

#include <stdio.h>
#include <string.h>

enum { PATH_TEXT_MAX = 1024 };

static const char help[] =
    "usage: headgate technique [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                          [--to URL [--token-file FILE] [--ca FILE]]\n"
    "                          [--json]\n"
    "       headgate technique [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                          --use|--drop --by NAME\n\n"
    "Shows what the finished procedures with a band say of the technique of "
    "this\n"
    "site: the numbers that a site's own prior would have, beside the default "
    "and\n"
    "those in use, and the procedures that they rest on.\n\n"
    "  --use      the proposed numbers are in use from now on, for every plan\n"
    "  --drop     the default numbers are\n"
    "  --by NAME  who decided that; it is kept, with the time\n"
    "  --json     one JSON object\n\n"
    "Nothing changes what is in use but --use and --drop, on the machine of "
    "the\n"
    "service.  headgate plan can be asked for the default all the same.\n"
    "Decision support: local policy says whether the site's own numbers are "
    "used.\n"
    "\n" HELP_TO "\n" HELP_STATUS;

static int switch_prior(const struct args *args)
{
    struct buf path;
    int status = 2;

    if (args->use == args->drop || args->by == NULL ||
        args->by[strspn(args->by, " \t")] == '\0' || args->to != NULL) {
        fprintf(stderr,
                "headgate: either --use or --drop, with --by and the name of "
                "who decided, on the\nmachine of the service\n\n%s",
                help);
        return 2;
    }
    buf_init(&path, PATH_TEXT_MAX);
    buf_printf(&path, "/technique?act=%s&by=", args->use ? "use" : "drop");
    command_escape(&path, args->by);
    if (args->json)
        buf_puts(&path, "&json=1");
    if (buf_ok(&path) == ERR_OK)
        status = command_call(args, "POST", path.data);
    else
        fputs("headgate: the name of --by is too long\n", stderr);
    buf_clear(&path);
    return status;
}

int command_technique(int argc, char **argv)
{
    struct args args;
    bool helped;

    if (!args_read(&args, argc, argv, "jtk", help, &helped))
        return helped ? 0 : 2;
    if (args.use || args.drop || args.by != NULL)
        return switch_prior(&args);
    return command_call(&args, "GET",
                        args.json ? "/technique?json=1" : "/technique");
}
