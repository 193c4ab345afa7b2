/*
 * headgate plan - the band plan of one access
 *
 *     ACCESS       from the store, by the service that holds it
 *     --from FILE  from a Bundle alone, in this process
 */
#include "service/command_plan.h"

#include "service/file.h"
#include "service/technique_store.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

enum { REQUEST_MAX = 4096 };

static const char help[] =
    "usage: headgate plan [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                     [--to URL [--token-file FILE] [--ca FILE]]\n"
    "                     [OPTION]... ACCESS\n"
    "       headgate plan [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                     [--access NAME] [OPTION]... --from FILE\n\n"
    "Plans the band of one access and changes nothing: which dowel first, what "
    "to\n"
    "do at each flow that is measured after it, what to expect of the hand, "
    "what\n"
    "opening an outflow stenosis would do.  ACCESS is its label, an "
    "identifier, the\n"
    "id of its BodyStructure, or an identifier of a patient who has one "
    "access.\n\n"
    "  --from FILE     from a FHIR Bundle alone ('-': standard input), as of\n"
    "                  its newest reading; no store is touched\n"
    "  --access NAME   which access of that file, if it tells of several\n"
    "  --json          one JSON object, see plan.schema.json\n"
    "  --prior NAME    beliefs about technique: default, reference (which "
    "published\n"
    "                  checks were made with), or site (learnt here, see "
    "headgate\n"
    "                  technique); without it the site's if it is in use, and "
    "the\n"
    "                  default for grafts and with --from\n"
    "  --target WORDS  what leads: share (of the flow before), window (of "
    "flow),\n"
    "                  hand (its index), or a reduction in per cent: 50-60\n"
    "  --dowels SIZES  outer diameters in mm: 5,4.5,4,3.5,3\n"
    "  --on-table      the flows of the newest session were measured on the "
    "table,\n"
    "                  just before the band\n"
    "  --pdf FILE      the worksheet: plan and history on one page to print\n"
    "  --svg FILE      the same as SVG ('-': standard output)\n"
    "\n" HELP_TO "\n"
    "A plan that lacks something is marked incomplete; one that is refused "
    "says why.\n\n"
    "Exit status: 0 both of these too; 1 there is no such access or several, "
    "or no\n"
    "service answers; 2 what is there cannot be used (the reason and its place "
    "are\n"
    "said), or the command line or the configuration is wrong.\n\n"
    "Decision support: the operator measures, and decides.\n";

const char *command_plan_page(const struct args *args)
{
    return args->pdf != NULL ? args->pdf : args->svg;
}

static int keep(const char *path, const struct buf *out)
{
    struct buf why;
    enum err e;

    buf_init(&why, PLAN_WHY_MAX);
    e = file_write(path, out->data, out->len, &why);
    if (e != ERR_OK)
        fprintf(stderr, "headgate: %s\n", why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
    return e == ERR_OK ? 0 : 1;
}

/* A list that was cut must not pass for a whole one. */
int command_plan_print(const struct args *args, const struct buf *out)
{
    if (command_plan_page(args) != NULL)
        return keep(command_plan_page(args), out);
    if (fwrite(out->data, 1, out->len, stdout) == out->len &&
        fflush(stdout) == 0)
        return 0;
    fputs("headgate: not everything could be written\n", stderr);
    return 1;
}

/* ---- from the store --------------------------------------------------------- */

/* A parameter of a query, with its bytes escaped. */
static void add_parameter(struct buf *path, const char *name, const char *value)
{
    if (value == NULL)
        return;
    buf_printf(path, "%s%s=", strchr(path->data, '?') != NULL ? "&" : "?",
               name);
    for (; *value != '\0'; value++) {
        unsigned byte = (unsigned char)*value;

        buf_printf(path, isalnum((int)byte) ? "%c" : "%%%02X", byte);
    }
}

/* It says what was found.  A wish that cannot be met is a wrong command. */
static int say_refused(const char *text)
{
    fprintf(stderr, "headgate: %s", text);
    return strncmp(text, PLANNING_NO_SITE, strlen(PLANNING_NO_SITE)) == 0 ? 2
                                                                          : 1;
}

static int ask(const struct args *args, struct session *session,
               const char *path)
{
    struct buf out;
    long status = 0;
    int result = 1;
    enum err e;

    buf_init(&out, PLAN_PAGE_MAX);
    e = session_call(session, "GET", path, NULL, 0, &status, &out);
    if (e == ERR_OK && status == 200)
        result = command_plan_print(args, &out);
    else if (e == ERR_OK && (status == 404 || status == 409) && out.len > 0 &&
             out.data[0] != '{')
        result = say_refused(out.data);
    else if (e == ERR_OK && status == 422)
        fprintf(stderr, "headgate: no plan: %s", out.data);
    else
        session_complain_of(session, status, e, &out);
    buf_clear(&out);
    return e == ERR_OK && status == 422 ? 2 : result;
}

static int plan_stored(const struct args *args)
{
    struct config config;
    struct session session;
    struct buf path;
    int status;

    if (!args_config(args, &config))
        return 2;
    status = session_open(&session, args, &config, false);
    if (status != 0)
        return status;
    buf_init(&path, REQUEST_MAX);
    buf_puts(&path, "/plan");
    add_parameter(&path, "access", args->files[0]);
    add_parameter(&path, "json", args->json ? "1" : NULL);
    add_parameter(&path, "pdf", args->pdf != NULL ? "1" : NULL);
    add_parameter(&path, "svg", args->svg != NULL ? "1" : NULL);
    add_parameter(&path, "prior", args->prior);
    add_parameter(&path, "target", args->target);
    add_parameter(&path, "dowels", args->dowels);
    add_parameter(&path, "table", args->on_table ? "1" : NULL);
    if (buf_ok(&path) == ERR_OK) {
        status = ask(args, &session, path.data);
    } else {
        fputs("headgate: what was asked for is too long\n", stderr);
        status = 2;
    }
    buf_clear(&path);
    session_close(&session);
    return status;
}

/* ---- which ------------------------------------------------------------------- */

static bool names_one(const struct args *args)
{
    if (args->from != NULL && args->file_count == 0 && args->to == NULL)
        return true;
    return args->from == NULL && args->access == NULL &&
           args->file_count == 1 && args->files[0][0] != '\0';
}

int command_plan(int argc, char **argv)
{
    struct args args;
    struct plan_wish wish;
    struct buf why;
    bool helped;

    if (!args_read(&args, argc, argv, "jtfp", help, &helped))
        return helped ? 0 : 2;
    if (!names_one(&args)) {
        fprintf(stderr,
                "headgate: name one access, or a file with --from\n\n"
                "%s",
                help);
        return 2;
    }
    if ((args.pdf != NULL) + (args.svg != NULL) + args.json > 1) {
        fputs("headgate: one of --json, --pdf, --svg\n", stderr);
        return 2;
    }
    buf_init(&why, PLAN_WHY_MAX);
    if (!command_plan_report(planning_wish(args.prior, args.target, args.dowels,
                                           args.on_table ? "1" : NULL, &wish,
                                           &why),
                             &why))
        return 2;
    if (args.from != NULL && wish.prior == &technique_site) {
        fputs("headgate: prior: a file has no site; ask for the plan of an "
              "access in the store\n",
              stderr);
        return 2;
    }
    return args.from != NULL ? command_plan_from_file(&args, &wish)
                             : plan_stored(&args);
}
