/* headgate quarantine - what is held or could not be taken in, and a person's
 * word on it */
#include "service/command.h"

#include <stdio.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { PATH_TEXT_MAX = 8192 };

static const char help[] =
    "usage: headgate quarantine [list] [--reason WORD] [--unit NAME] [--json]\n"
    "       headgate quarantine show N\n"
    "       headgate quarantine map N --target CODE [--code CODE] [--unit "
    "UCUM]\n"
    "                    [--arm left|right|access] [--from DATE]\n"
    "       headgate quarantine map N --unit UCUM\n"
    "       headgate quarantine map N --access NAME | --side left|right\n"
    "       headgate quarantine release N [--as-sent]\n"
    "       headgate quarantine release all [--reason WORD]\n"
    "       headgate quarantine discard N\n"
    "       headgate quarantine maps [--json]\n"
    "       headgate quarantine unmap NUMBER\n"
    "       each with [--config FILE] [--set SECTION.KEY=VALUE]...;\n"
    "       list, show and maps also with [--to URL [--token-file FILE] [--ca "
    "FILE]];\n"
    "       map, release, discard and unmap with --by NAME --why TEXT\n\n"
    "Lists the readings that are kept and not used, and the messages, lines "
    "and\n"
    "resources that could not be taken in, the oldest first: the number, whose "
    "it is,\n"
    "what, why, and what would mend it.  N is that number, or "
    "Observation/ID.\n\n"
    "  show       everything: as it was sent, the place at fault, what people "
    "did\n"
    "  map        say what a code of N means (a code of CodeSystem "
    "av-observation,\n"
    "             av-method or av-site, \"store\" or \"ignore\"), which unit "
    "its word\n"
    "             or a value without one has, or to which access or side it\n"
    "             belongs.  What the new row can settle is looked at again at\n"
    "             once.  --code [SYSTEM|]CODE says which one of several codes\n"
    "  release    read it again by what is known today.  A value that is held "
    "as\n"
    "             implausible is used only --as-sent: with your word that it "
    "is right\n"
    "  discard    never use it.  It stays readable; a corrected version is "
    "judged\n"
    "             anew\n"
    "  maps       what people have mapped, and taken back, with the number of "
    "each\n"
    "  unmap      take a mapping back: what was read by it is read again "
    "without it,\n"
    "             held or put aside as it was, and its access is reviewed\n"
    "  --json     one JSON object a line\n\n" HELP_TO "\n"
    "map, release, discard and unmap work on the machine of the service; who, "
    "why and\n"
    "when are kept.  headgate does not judge whether a value is right: that is "
    "for\n"
    "the unit and the clinician who know the patient, by local "
    "policy.\n\n" HELP_STATUS;

static int complain(const char *text)
{
    fprintf(stderr, "headgate: %s\n\n%s", text, help);
    return 2;
}

static int terminal_columns(void)
{
    struct winsize size;

    if (ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0)
        return size.ws_col;
    return 0;
}

static void add(struct buf *path, const char *name, const char *value)
{
    if (value == NULL)
        return;
    buf_printf(path, "%s%s=", strchr(path->data, '?') != NULL ? "&" : "?",
               name);
    command_escape(path, value);
}

/* "4711" or "Observation/ID": its slash parts the path. */
static void add_item(struct buf *path, const char *item)
{
    static const char type[] = "Observation/";

    if (strncmp(item, type, strlen(type)) == 0) {
        buf_puts(path, type);
        item += strlen(type);
    }
    command_escape(path, item);
}

static int ask(const struct args *args, const char *method, struct buf *path)
{
    int status = 2;

    if (buf_ok(path) == ERR_OK)
        status = command_call(args, method, path->data);
    else
        fputs("headgate: what was said is too long\n", stderr);
    buf_clear(path);
    return status;
}

static bool says_what(const struct args *a)
{
    return a->target != NULL || a->unit != NULL || a->arm != NULL ||
           a->from != NULL || a->access != NULL || a->side != NULL;
}

static int list(const struct args *args, bool maps)
{
    struct buf path;

    if (args->by != NULL || args->why != NULL || args->as_sent ||
        args->target != NULL || args->code != NULL || args->arm != NULL ||
        args->from != NULL || args->access != NULL || args->side != NULL)
        return complain("this goes with map, release, discard or unmap");
    if (maps && (args->reason != NULL || args->unit != NULL))
        return complain("--reason and --unit go with the list");
    buf_init(&path, PATH_TEXT_MAX);
    buf_printf(&path, "/quarantine%s?columns=%d", maps ? "/maps" : "",
               terminal_columns());
    add(&path, "reason", args->reason);
    add(&path, "unit", args->unit);
    if (args->json)
        add(&path, "json", "1");
    return ask(args, "GET", &path);
}

static int show(const struct args *args)
{
    struct buf path;

    if (args->file_count != 2 || args->files[1][0] == '\0')
        return complain("name one by its number");
    buf_init(&path, PATH_TEXT_MAX);
    buf_puts(&path, "/quarantine/");
    add_item(&path, args->files[1]);
    return ask(args, "GET", &path);
}

/* What of the arguments does not go with the verb; NULL: nothing. */
static const char *misfit(const struct args *a, const char *verb)
{
    bool maps = strcmp(verb, "map") == 0;
    bool releases = strcmp(verb, "release") == 0;
    bool all = a->file_count == 2 && strcmp(a->files[1], "all") == 0;

    if (a->file_count != 2 || (all && !releases))
        return "name one by its number";
    if (a->to != NULL)
        return "this is decided on the machine of the service";
    if (a->by == NULL || a->why == NULL)
        return "say who decided (--by) and why (--why)";
    if (a->code != NULL && (!maps || a->target == NULL))
        return "--code goes with map --target";
    if (maps != says_what(a))
        return maps ? "say what it is: --target, --unit, --access or --side"
                    : "this goes with map";
    if ((a->as_sent && !releases) || (a->as_sent && all))
        return "--as-sent goes with release, of one number";
    if (a->reason != NULL && !all)
        return "--reason goes with the list and with release all";
    return NULL;
}

static int act(const struct args *args, const char *verb)
{
    const char *wrong = misfit(args, verb);
    struct buf path;

    if (wrong != NULL)
        return complain(wrong);
    buf_init(&path, PATH_TEXT_MAX);
    buf_puts(&path, "/quarantine/");
    add_item(&path, args->files[1]);
    buf_printf(&path, "/%s", verb);
    add(&path, "by", args->by);
    add(&path, "why", args->why);
    add(&path, "reason", args->reason);
    add(&path, "code", args->code);
    add(&path, "target", args->target);
    add(&path, "unit", args->unit);
    add(&path, "arm", args->arm);
    add(&path, "from", args->from);
    add(&path, "access", args->access);
    add(&path, "side", args->side);
    if (args->as_sent)
        add(&path, "as-sent", "1");
    if (args->json)
        add(&path, "json", "1");
    return ask(args, "POST", &path);
}

int command_quarantine(int argc, char **argv)
{
    static const char *const verbs[] = { "map", "release", "discard", "unmap" };
    struct args args;
    const char *verb;
    bool helped;

    if (!args_read(&args, argc, argv, "jtfwq", help, &helped))
        return helped ? 0 : 2;
    verb = args.file_count > 0 ? args.files[0] : "list";
    for (size_t i = 0; i < COUNT(verbs); i++) {
        if (strcmp(verbs[i], verb) == 0)
            return act(&args, verb);
    }
    if (strcmp(verb, "show") == 0)
        return show(&args);
    if ((strcmp(verb, "list") != 0 && strcmp(verb, "maps") != 0) ||
        args.file_count > 1)
        return complain("the word is list, show, map, release, discard, maps "
                        "or unmap");
    return list(&args, strcmp(verb, "maps") == 0);
}
