/* headgate store - the store as a file: back up, verify, restore, prune */
#include "service/command.h"

#include "adapters/catalogue.h"
#include "service/command_follow.h"
#include "service/store_restore.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { PATH_TEXT_MAX = 16384 };

static const char help[] =
    "usage: headgate store backup FILE\n"
    "       headgate store verify FILE\n"
    "       headgate store restore FILE\n"
    "       headgate store prune [--yes]\n"
    "       each with [--config FILE] [--set SECTION.KEY=VALUE]...\n\n"
    "  backup     copy the store to FILE while the service goes on (or without "
    "one).\n"
    "             FILE is as of one moment, checked, synced and readable by "
    "this\n"
    "             account alone; what it holds is printed and stands in "
    "FILE.json.\n"
    "             Nothing is overwritten; after a failure there is nothing\n"
    "  verify     is FILE what its manifest says, whole, and can a service "
    "work with\n"
    "             it?\n"
    "  restore    verify FILE and put it in the place of the store.  No "
    "service may\n"
    "             run.  The old store stays beside it, as STORE.before-TIME\n"
    "  prune      say what is older than the settings store.keep_* allow and "
    "needed\n"
    "             neither to judge nor to explain what is open; --yes: delete "
    "it\n\n"
    "FILE holds patient data: encrypt it, and keep it elsewhere.  What was\n"
    "acknowledged after the backup is not in it: let senders send it again; it "
    "counts\n"
    "once.\n\n"
    "Exit status: 0 done, and of verify: it is, and a service can; 1 it is "
    "not, or it\n"
    "has failed, and what is wrong is said; 2 the command line or the "
    "configuration\n"
    "is wrong.\n";

static int complain(const char *text)
{
    fprintf(stderr, "headgate: %s\n\n%s", text, help);
    return 2;
}

/* ---- backup ----------------------------------------------------------------- */

/* The service has another working folder. */
static bool whole_path(const char *file, char *out, size_t size)
{
    char here[STORE_PATH_SIZE];
    int n;

    if (file[0] == '/')
        n = snprintf(out, size, "%s", file);
    else if (getcwd(here, sizeof(here)) == NULL)
        n = -1;
    else
        n = snprintf(out, size, "%s/%s", here, file);
    if (n > 0 && (size_t)n < size)
        return true;
    fputs(_("headgate: the name of the file is too long\n"), stderr);
    return false;
}

/* A service has a /tmp of its own (PrivateTmp), which goes when it stops. */
static int look_for(const char *file)
{
    if (access(file, F_OK) == 0)
        return 0;
    fprintf(stderr,
            _("headgate: the service says that it is done, and there is no %s "
              "here: name a folder that the service and you both see, not one "
              "below /tmp\n"),
            file);
    return 1;
}

static int backup(const struct args *args, const struct config *config)
{
    char file[STORE_PATH_SIZE];
    struct session session;
    struct buf path;
    int status;

    if (!whole_path(args->files[1], file, sizeof(file)))
        return 1;
    status = session_open(&session, args, config, false);
    if (status != 0)
        return status;
    buf_init(&path, PATH_TEXT_MAX);
    buf_puts(&path, "/store?act=backup&file=");
    command_escape(&path, file);
    status = buf_ok(&path) == ERR_OK
                 ? command_follow(&session, path.data, "/store")
                 : 1;
    buf_clear(&path);
    session_close(&session);
    return status == 0 ? look_for(file) : status;
}

/* ---- verify, restore ---------------------------------------------------------- */

static void say_check(const struct store_check *c)
{
    struct buf line;

    buf_init(&line, MANIFEST_SIZE_MAX);
    store_manifest_write(&c->manifest, &line);
    fputs(line.data != NULL ? line.data : "", stdout);
    buf_clear(&line);
    if (c->older)
        printf(_("The backup is whole.  It is of an older version of headgate "
                 "(tables %lld); it is brought up to date when the service is "
                 "started on it.\n"),
               (long long)c->manifest.schema);
    else
        printf(_("The backup is whole; what holds for %lld accesses was worked "
                 "out from it.\n"),
               (long long)c->accesses);
    if (c->faults[0] != '\0')
        printf(_("Something is wrong with it all the same:\n%s"), c->faults);
}

static int verify(const char *file, const struct config *config)
{
    struct store_check check;
    struct buf why;
    enum err e;

    buf_init(&why, (size_t)4 * STORE_PATH_SIZE);
    e = store_check(file, config, &check, &why);
    if (e == ERR_OK)
        say_check(&check);
    else
        fprintf(stderr, "headgate: %s\n", why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
    return e == ERR_OK && check.faults[0] == '\0' ? 0 : 1;
}

/* Who was removed since the backup is known to the old store alone. */
static void say_ledger(const struct store_restored *r)
{
    if (r->ledger != ERR_OK)
        fputs(_("WHO WAS REMOVED ON REQUEST SINCE THE BACKUP IS NOT KNOWN to "
                "this store: there is no old one, or it could not be read for "
                "it, or it has a key of its own.  They may be in it again.  "
                "Remove them again by your own papers of the requests "
                "(headgate patient erase), and keep the old store, if there is "
                "one, until that is done.\n"),
              stdout);
    else if (r->carried > 0)
        printf(ngettext("%lld erasure that the backup did not know of was "
                        "taken over (headgate patient erased shows it).\n",
                        "%lld erasures that the backup did not know of were "
                        "taken over (headgate patient erased shows them).\n",
                        (unsigned long)r->carried),
               (long long)r->carried);
}

static void say_restored(const struct store_restored *r, const char *store)
{
    say_check(&r->check);
    printf(_("It is the store now: %s\n"), store);
    if (r->before[0] != '\0')
        printf(_("The old store is kept as %s\n"), r->before);
    if (r->damaged)
        fputs(_("The old store could not be read; it was put away as it is.\n"),
              stdout);
    say_ledger(r);
    if (r->again.len > 0)
        printf(_("Patients who were removed on request are in it again; remove "
                 "them again (headgate patient erase):\n%s"),
               r->again.data);
    printf(_("What was acknowledged after %s is not in it: let senders send "
             "from then on again; the same reading counts once.\n"),
           r->check.manifest.made);
}

static int restore(const char *file, const struct config *config)
{
    struct store_restored restored;
    struct buf why;
    enum err e;

    buf_init(&why, (size_t)4 * STORE_PATH_SIZE);
    e = store_restore(file, config, (int64_t)time(NULL), &restored, &why);
    if (e == ERR_OK)
        say_restored(&restored, config->store_path);
    else
        fprintf(stderr, "headgate: %s\n", why.len > 0 ? why.data : err_word(e));
    buf_clear(&restored.again);
    buf_clear(&why);
    return e == ERR_OK ? 0 : 1;
}

/* ---- the command --------------------------------------------------------------- */

int command_store(int argc, char **argv)
{
    struct args args;
    struct config config;
    const char *verb;
    bool helped;

    if (!args_read(&args, argc, argv, "fv", help, &helped))
        return helped ? 0 : 2;
    verb = args.file_count > 0 ? args.files[0] : "";
    if (strcmp(verb, "prune") == 0)
        return args.file_count == 1
                   ? command_call(&args, "POST",
                                  args.yes ? "/store?act=prune&yes=1"
                                           : "/store?act=prune")
                   : complain("prune takes no file");
    if (strcmp(verb, "backup") != 0 && strcmp(verb, "verify") != 0 &&
        strcmp(verb, "restore") != 0)
        return complain("the word is backup, verify, restore or prune");
    if (args.file_count != 2 || args.files[1][0] == '\0')
        return complain("name one file");
    if (args.yes)
        return complain("--yes goes with prune");
    if (!args_config(&args, &config))
        return 2;
    if (strcmp(verb, "backup") == 0)
        return backup(&args, &config);
    return strcmp(verb, "verify") == 0 ? verify(args.files[1], &config)
                                       : restore(args.files[1], &config);
}
