/* headgate task - what a coordinator does with a suggestion */
#include "service/command.h"

#include <stdio.h>
#include <string.h>

enum { PATH_TEXT_MAX = 8192 };

static const char help[] =
    "usage: headgate task take TASK --by NAME [--why TEXT]\n"
    "       headgate task hand TASK --by NAME --whom NAME [--why TEXT]\n"
    "                           [--over NAME]\n"
    "       headgate task put-off TASK --by NAME --until DATE [--why TEXT]\n"
    "       headgate task decline TASK --by NAME --why TEXT [--over NAME]\n"
    "       headgate task done TASK --by NAME [--why TEXT] [--over NAME]\n"
    "       each with [--config FILE] [--set SECTION.KEY=VALUE]... [--json]\n"
    "       [--to URL [--token-file FILE] [--ca FILE]]\n\n"
    "TASK is the id of a Task, or the name of an access for which just one\n"
    "suggestion is open.\n\n"
    "  take       it is in the hands of --by from now on; headgate adds to it "
    "and\n"
    "             does not withdraw it any more\n"
    "  hand       it is for --whom to see to.  Nobody has it in hand until it "
    "is\n"
    "             taken: it counts as open, and is escalated\n"
    "  put-off    show it as put off until that day; how far away it may be is "
    "in the\n"
    "             policy (general.put_off_*_d).  It comes back on that day by "
    "itself,\n"
    "             and before it if it worsens.  What is to be seen at once "
    "cannot be\n"
    "             put off, and what is to be seen within days only with --why\n"
    "  decline    it is not followed; --why is kept with it.  It is suggested "
    "anew\n"
    "             only if the access is clearly worse, or new readings come "
    "after a\n"
    "             quiet time\n"
    "  done       what it suggested was done: it is closed.  Of what was to be "
    "seen\n"
    "             at once, --why says what was done\n\n"
    "What another person has in hand is handed over, declined or done only "
    "with\n"
    "--why, which goes into the note with their name, and with --over, which "
    "names\n"
    "them; what was handed to another and not taken yet only with --over.  "
    "The\n"
    "answer says of whom the Task is.\n\n"
    "  --json     the answer as one JSON object\n\n"
    "Each is a change of the Task itself, with a note of who, why and when, "
    "here and\n"
    "at the clinical record.  Where somebody changed the same there "
    "meanwhile,\n"
    "the record's word stands, and the note is added.  Suggestions are "
    "decision\n"
    "support by the site's policy; a qualified clinician decides.\n"
    "\n" HELP_TO "\n" HELP_STATUS;

static int complain(const char *text)
{
    fprintf(stderr, "headgate: %s\n\n%s", text, help);
    return 2;
}

static void add(struct buf *path, const char *name, const char *value)
{
    if (value == NULL)
        return;
    buf_printf(path, "&%s=", name);
    command_escape(path, value);
}

static bool is_verb(const char *word)
{
    static const char *const verbs[] = { "take", "hand", "put-off", "decline",
                                         "done" };

    for (size_t i = 0; i < COUNT(verbs); i++) {
        if (strcmp(verbs[i], word) == 0)
            return true;
    }
    return false;
}

/* What of the arguments does not go together; NULL: nothing. */
static const char *misfit(const struct args *a)
{
    bool hands, puts_off, declines;

    if (a->file_count == 0 || !is_verb(a->files[0]))
        return "the word is take, hand, put-off, decline or done";
    hands = strcmp(a->files[0], "hand") == 0;
    puts_off = strcmp(a->files[0], "put-off") == 0;
    declines = strcmp(a->files[0], "decline") == 0;
    if (a->file_count != 2)
        return "name one Task by its id, or the access it is about";
    if (a->by == NULL)
        return "say who decides (--by)";
    if (hands != (a->whom != NULL))
        return hands ? "say to whom it is handed (--whom)"
                     : "--whom goes with hand";
    if (puts_off != (a->until != NULL))
        return puts_off ? "say until when (--until)"
                        : "--until goes with put-off";
    if (a->over != NULL && !hands && !declines &&
        strcmp(a->files[0], "done") != 0)
        return "--over goes with hand, decline and done";
    if (declines && a->why == NULL)
        return "say why it is declined (--why)";
    return NULL;
}

int command_task(int argc, char **argv)
{
    struct args args;
    struct buf path;
    const char *wrong;
    bool helped;
    int status = 2;

    if (!args_read(&args, argc, argv, "jtfwg", help, &helped))
        return helped ? 0 : 2;
    wrong = misfit(&args);
    if (wrong != NULL)
        return complain(wrong);
    buf_init(&path, PATH_TEXT_MAX);
    buf_printf(&path, "/task?act=%s", args.files[0]);
    add(&path, "task", args.files[1]);
    add(&path, "by", args.by);
    add(&path, "whom", args.whom);
    add(&path, "why", args.why);
    add(&path, "over", args.over);
    add(&path, "until", args.until);
    if (args.json)
        buf_puts(&path, "&json=1");
    if (buf_ok(&path) == ERR_OK)
        status = command_call(&args, "POST", path.data);
    else
        fputs("headgate: what was said is too long\n", stderr);
    buf_clear(&path);
    return status;
}
