/* headgate report - what of each unit's feed could not be used in a week */
#include "service/command.h"

#include "adapters/report_text.h"

#include <stdio.h>
#include <string.h>

enum { PATH_TEXT_MAX = 2048 };

static const char help[] =
    "usage: headgate report [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                       [--to URL [--token-file FILE] [--ca FILE]]\n"
    "                       [--week 2026-W47] [--unit NAME] [--json]\n\n"
    "Shows for each unit how many readings were used in a week, what was "
    "refused,\n"
    "held or set aside and why, codes that no map has, and what would mend "
    "each: a\n"
    "page that can be sent to the unit.  There is nothing of a patient in "
    "it.\n\n"
    "  --week   of ISO 8601, by UTC; else the one that is under way\n"
    "  --unit   of one unit, by its name in the report\n"
    "  --json   one JSON object a line\n\n"
    "report.folder has the pages written each week.\n"
    "\n" HELP_TO "\n" HELP_STATUS;

static void add(struct buf *path, const char *name, const char *value)
{
    if (value == NULL)
        return;
    buf_printf(path, "%s%s=", strchr(path->data, '?') != NULL ? "&" : "?",
               name);
    command_escape(path, value);
}

int command_report(int argc, char **argv)
{
    struct args args;
    struct buf path;
    int64_t week;
    bool helped;
    int status = 2;

    if (!args_read(&args, argc, argv, "jtr", help, &helped))
        return helped ? 0 : 2;
    if (args.week != NULL && !report_week_read(args.week, &week)) {
        fprintf(stderr,
                "headgate: --week '%s' is no week: write it as 2026-W47\n",
                args.week);
        return 2;
    }
    buf_init(&path, PATH_TEXT_MAX);
    buf_puts(&path, "/report");
    add(&path, "week", args.week);
    add(&path, "unit", args.unit);
    if (args.json)
        add(&path, "json", "1");
    if (buf_ok(&path) == ERR_OK)
        status = command_call(&args, "GET", path.data);
    else
        fputs("headgate: the name of the unit is too long\n", stderr);
    buf_clear(&path);
    return status;
}
