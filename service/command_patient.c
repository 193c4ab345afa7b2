/* headgate patient - all that is kept of one patient: given out, or removed */
#include "adapters/catalogue.h"
#include "service/command_follow.h"
#include "service/store_files.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { PATH_TEXT_MAX = 8192, EXPORT_MAX = 64 * 1024 * 1024 };

static const char help[] =
    "usage: headgate patient export ID --to FILE.ndjson\n"
    "       headgate patient erase ID [--all]\n"
    "       headgate patient erase ID --name NAME --by WHO --why TEXT --yes\n"
    "       headgate patient erased\n"
    "       each with [--config FILE] [--set SECTION.KEY=VALUE]...\n\n"
    "ID is the number of a patient (or system|number, or the id of the "
    "Patient\n"
    "resource).\n\n"
    "  export     write all that is kept of the patient, FHIR R4 as NDJSON: "
    "every\n"
    "             version of every resource, decisions, what people did, "
    "messages as\n"
    "             they came, and who looked.  FILE is readable by this account "
    "alone,\n"
    "             and is never overwritten\n"
    "  erase      without --yes: say whom it would remove and what is open, "
    "and\n"
    "             remove nothing; --all: its lists whole.  With --yes: remove "
    "all of\n"
    "             it, from every table and from the bytes of the file.  "
    "--name\n"
    "             repeats the name that was said (or the family name), so that "
    "a\n"
    "             mistyped number removes nobody.  While something very urgent "
    "is\n"
    "             open, or a band is being tied, it is refused without\n"
    "             --even-if-urgent.\n"
    "             THIS CANNOT BE UNDONE, and the store takes nothing while its "
    "file\n"
    "             is written anew: senders wait.  What is kept is that it was "
    "done,\n"
    "             when, by whom and why (write no name there), and how much.\n"
    "             What has the number but may be of somebody else is left and "
    "listed\n"
    "  erased     who was removed, in these words, and whether somebody of the "
    "same\n"
    "             name or number is here again\n\n"
    "What has gone to the clinical record stays there, and so do backups, "
    "files in\n"
    "the drop folder and what senders keep.  Nobody who is erased is watched "
    "any\n"
    "more: that is for the clinicians who treat the patient to know, by local "
    "policy.\n\n"
    "Exit status: 0 done; 1 it was refused or has failed; 2 the command line "
    "or the\n"
    "configuration is wrong, or nothing was removed for want of --yes.\n";

static int complain(const char *text)
{
    fprintf(stderr, "headgate: %s\n\n%s", text, help);
    return 2;
}

/* ---- export ------------------------------------------------------------------- */

static int write_out(const char *file, const struct buf *out)
{
    struct buf why;
    enum err e;

    buf_init(&why, (size_t)2 * STORE_PATH_SIZE);
    e = store_file_new(file, out->data, out->len, &why);
    if (e != ERR_OK)
        fprintf(stderr, "headgate: %s\n", why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
    return e == ERR_OK ? 0 : 1;
}

static int export(const struct args *args, const struct config *config)
{
    struct session session;
    struct buf path, out;
    long status = 0;
    int ended;
    enum err e;

    if (access(args->out, F_OK) == 0) {
        fprintf(stderr,
                _("headgate: %s: this file is there already, and is not "
                  "overwritten\n"),
                args->out);
        return 1;
    }
    ended = session_open(&session, args, config, false);
    if (ended != 0)
        return ended;
    buf_init(&path, PATH_TEXT_MAX);
    buf_init(&out, EXPORT_MAX);
    buf_puts(&path, "/patient?patient=");
    command_escape(&path, args->files[1]);
    e = buf_ok(&path);
    if (e == ERR_OK)
        e = session_call(&session, "GET", path.data, NULL, 0, &status, &out);
    ended = 1;
    if (e == ERR_OK && status == 200)
        ended = write_out(args->out, &out);
    else
        session_complain_of(&session, status, e, &out);
    buf_clear(&out);
    buf_clear(&path);
    session_close(&session);
    return ended;
}

/* ---- erase ---------------------------------------------------------------------- */

static void add(struct buf *path, const char *name, const char *value)
{
    buf_printf(path, "&%s=", name);
    command_escape(path, value);
}

/* Whom it would remove, and that it has not. */
static int show(const struct args *args)
{
    struct buf path;
    int status;

    buf_init(&path, PATH_TEXT_MAX);
    buf_puts(&path, "/patient?about=");
    command_escape(&path, args->files[1]);
    if (args->all)
        buf_puts(&path, "&all=1");
    status = buf_ok(&path) == ERR_OK ? command_call(args, "GET", path.data) : 2;
    buf_clear(&path);
    if (status != 0)
        return status;
    fprintf(
        stderr,
        _("\nheadgate: nothing was removed.  This cannot be undone: if it is "
          "what you want, say headgate patient erase %s --name 'NAME' --by "
          "'WHO' --why 'REASON' --yes\n"),
        args->files[1]);
    return 2;
}

static int erase(const struct args *args, const struct config *config)
{
    struct session session;
    struct buf path;
    int status = session_open(&session, args, config, false);

    if (status != 0)
        return status;
    buf_init(&path, PATH_TEXT_MAX);
    buf_puts(&path, "/patient?act=erase");
    add(&path, "patient", args->files[1]);
    add(&path, "by", args->by);
    add(&path, "why", args->why);
    add(&path, "name", args->name);
    if (args->even_if_urgent)
        add(&path, "urgent", "1");
    if (buf_ok(&path) == ERR_OK) {
        status = command_follow(&session, path.data, "/patient?state=1");
    } else {
        fputs(_("headgate: what was said is too long\n"), stderr);
        status = 2;
    }
    buf_clear(&path);
    session_close(&session);
    return status;
}

/* ---- the command ------------------------------------------------------------------ */

static bool is_verb(const struct args *args, const char *verb)
{
    return args->file_count > 0 && strcmp(args->files[0], verb) == 0;
}

/* What does not go with the verb; NULL: nothing. */
static const char *misfit(const struct args *a)
{
    bool exports = is_verb(a, "export"), erases = is_verb(a, "erase");

    if (!exports && !erases && !is_verb(a, "erased"))
        return "the word is export, erase or erased";
    if (a->file_count != (exports || erases ? 2 : 1) ||
        (a->file_count == 2 && a->files[1][0] == '\0'))
        return exports || erases ? "name one patient, by number or id"
                                 : "erased takes no name";
    if (exports != (a->out != NULL))
        return exports ? "say where to: --to FILE" : "--to goes with export";
    if (!erases && (a->by != NULL || a->why != NULL || a->yes ||
                    a->name != NULL || a->even_if_urgent))
        return "--name, --by, --why, --yes and --even-if-urgent go with erase";
    if (a->all && (!erases || a->yes))
        return "--all goes with erase without --yes";
    if (erases && a->yes && (a->by == NULL || a->why == NULL))
        return "this cannot be undone: say who decides (--by) and why (--why)";
    if (erases && a->yes && a->name == NULL)
        return "this cannot be undone: repeat the patient's name (--name)";
    return NULL;
}

int command_patient(int argc, char **argv)
{
    struct args args;
    struct config config;
    const char *wrong;
    bool helped;

    if (!args_read(&args, argc, argv, "cefvwn", help, &helped))
        return helped ? 0 : 2;
    wrong = misfit(&args);
    if (wrong != NULL)
        return complain(wrong);
    if (is_verb(&args, "erased"))
        return command_call(&args, "GET", "/patient?erased=1");
    if (is_verb(&args, "erase") && !args.yes)
        return show(&args);
    if (!args_config(&args, &config))
        return 2;
    return is_verb(&args, "export") ? export(&args, &config)
                                    : erase(&args, &config);
}
