/*
 * headgate plan - the band plan of one access
 *
 *     ACCESS       from the store, by the service that holds it
 *     --from FILE  from a Bundle alone, in this process
 */
#include "service/command.h"

#include "adapters/policy_file.h"
#include "service/app.h"
#include "service/file.h"
#include "service/maps.h"
#include "service/plan_file.h"
#include "service/technique_store.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PAGE_MAX = 4 * 1024 * 1024, WHY_MAX = 256 * 1024, REQUEST_MAX = 4096 };

static const char help[] =
    "usage: headgate plan [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                     [--to URL [--token-file FILE]] [OPTION]... ACCESS\n"
    "       headgate plan [--config FILE] [--set SECTION.KEY=VALUE]...\n"
    "                     [--access NAME] [OPTION]... --from FILE\n\n"
    "Plans the band of one access and changes nothing: which dowel first, "
    "what to\n"
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
    "  --svg FILE      the same as SVG ('-': standard output)\n\n"
    "A plan that lacks something is marked incomplete; one that is refused "
    "says why.\n"
    "Both end with status 0.  What cannot be used ends with status 2, and "
    "with the\n"
    "reason and its place.\n"
    "Decision support: the operator measures, and decides.\n";

/* Where the page goes; NULL: no page is asked for. */
static const char *page_file(const struct args *args)
{
    return args->pdf != NULL ? args->pdf : args->svg;
}

static int keep(const char *path, const struct buf *out)
{
    struct buf why;
    enum err e;

    buf_init(&why, WHY_MAX);
    e = file_write(path, out->data, out->len, &why);
    if (e != ERR_OK)
        fprintf(stderr, "headgate: %s\n", why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
    return e == ERR_OK ? 0 : 1;
}

/* A list that was cut must not pass for a whole one. */
static int print(const struct args *args, const struct buf *out)
{
    if (page_file(args) != NULL)
        return keep(page_file(args), out);
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

    buf_init(&out, PAGE_MAX);
    e = session_call(session, "GET", path, NULL, 0, &status, &out);
    if (e == ERR_OK && status == 200)
        result = print(args, &out);
    else if (e == ERR_OK && (status == 404 || status == 409) && out.len > 0 &&
             out.data[0] != '{')
        result = say_refused(out.data);
    else if (e == ERR_OK && status == 422)
        fprintf(stderr, "headgate: no plan: %s", out.data);
    else
        session_complain(session, status, e);
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

/* ---- from a file ------------------------------------------------------------- */

struct command {
    const struct args *args;
    struct config config;
    struct policy policy;
    struct zone *zone;
    struct codes *codes;
    struct fhir_reader reader;
    struct plan_wish wish;
    struct planning *planning;
    struct plan_file file;
    struct planned planned;
};

static bool report(enum err e, struct buf *why)
{
    if (e != ERR_OK)
        fprintf(stderr, "headgate: %s\n",
                why->len > 0 ? why->data : err_word(e));
    buf_clear(why);
    return e == ERR_OK;
}

static bool load_settings(struct command *c)
{
    struct buf why;
    enum err e;

    if (!args_config(c->args, &c->config))
        return false;
    buf_init(&why, WHY_MAX);
    e = policy_file_read(c->config.policy_path, &c->policy, &why);
    if (e == ERR_OK) {
        e = zone_load(c->config.zone, &c->zone);
        if (e != ERR_OK)
            buf_printf(&why, "[site] zone: %s is not a zone of this system",
                       c->config.zone);
    }
    if (e == ERR_OK)
        e = maps_load(&c->config, &c->codes, &why);
    c->reader =
        (struct fhir_reader){ .codes = c->codes,
                              .base = c->config.fhir_base,
                              .zone = c->zone,
                              .now_s = clock_ms() / 1000,
                              .entries_max = (size_t)c->config.fhir_entries_max,
                              .searches = true };
    return report(e, &why);
}

/* Each line with the name of the file before it. */
static void say_lines(const char *name, const char *lines)
{
    while (*lines != '\0') {
        int len = (int)strcspn(lines, "\n");

        fprintf(stderr, "%s: %.*s\n", name, len, lines);
        lines += len;
        lines += *lines == '\n';
    }
}

static void say_passed_over(const struct plan_file *f)
{
    if (f->passed_over > 0)
        fprintf(stderr, "headgate: passed over: %zu of other types\n",
                f->passed_over);
    if (f->unmapped > 0)
        fprintf(stderr,
                "headgate: passed over: %zu of codes that are not mapped\n",
                f->unmapped);
}

static bool open_file(struct command *c)
{
    struct plan_file_options options = { .policy = &c->policy,
                                         .reader = &c->reader,
                                         .merge_implied =
                                             c->config.merge_implied,
                                         .access = c->args->access };
    const char *path = c->args->from;
    struct buf why;
    enum err e;

    buf_init(&why, WHY_MAX);
    e = plan_file_open(path, &options, &c->file, &why);
    if (e != ERR_OK)
        say_lines(strcmp(path, "-") == 0 ? "standard input" : path,
                  why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
    if (e == ERR_OK)
        say_passed_over(&c->file);
    return e == ERR_OK;
}

/* What a file must say; the rest is refused in the plan itself. */
static const char *unusable(const struct planned *planned)
{
    switch (planned->from.offer) {
    case PLAN_UNFIT:
        return planned->fault.why;
    case PLAN_NO_FLOW:
        return "it holds no final flow, of a day that is known, of the access "
               "as it is now";
    case PLAN_FLOW_UNFIT:
        return "its newest flow is only a bound, or contradicts the values "
               "it is computed from";
    case PLAN_ORDER:
        return "the order of what was done to the band and what was measured "
               "is not known: give each step its time";
    case PLAN_SIZE:
        return "a band of this procedure has no diameter of its dowel";
    case PLAN_STAGES_FULL:
        return "more was done to the band in one procedure than can be "
               "planned with";
    case PLAN_OFFERED:
    case PLAN_EXCLUDED:
    case PLAN_INACTIVE:
    case PLAN_OTHER_FORM:
    case PLAN_NO_GROUND:
    case PLAN_FLOW_OLD:
    case PLAN_OFFER_COUNT:
        break;
    }
    return NULL;
}

static const char *place_of(const struct planned *planned)
{
    switch ((int)planned->from.offer) {
    case PLAN_UNFIT:
        return planned->fault.field;
    case PLAN_NO_FLOW:
    case PLAN_FLOW_UNFIT:
        return "access-flow";
    case PLAN_SIZE:
        return "dowel-diameter";
    default:
        return "band";
    }
}

static void say_expired(const struct command *c)
{
    if (c->planned.offered && c->planned.from.expires_s < c->reader.now_s)
        fputs("headgate: this plan has expired: its baseline is too old for "
              "today\n",
              stderr);
}

static enum err write_form(struct command *c, struct buf *out)
{
    struct plan_file *f = &c->file;
    struct planning_page page = { .form = c->args->pdf != NULL ? CANVAS_PDF
                                                               : CANVAS_SVG,
                                  .paper = (enum canvas_paper)c->config.paper,
                                  .made_s = clock_ms() / 1000 };

    if (page_file(c->args) != NULL)
        return planning_sheet(f->db, &f->review, &f->look, &c->planned, &page,
                              out);
    return c->args->json
               ? planning_json(f->db, &f->review, &f->look, &c->planned, false,
                               out)
               : planning_text(f->db, &f->review, &f->look, &c->planned, out);
}

static int write_plan(struct command *c)
{
    const char *path = c->args->from, *why = unusable(&c->planned);
    struct buf out;
    int status = 1;
    enum err e;

    if (why != NULL) {
        fprintf(stderr, "%s: %s: %s\n",
                strcmp(path, "-") == 0 ? "standard input" : path,
                place_of(&c->planned), why);
        return 2;
    }
    buf_init(&out, PAGE_MAX);
    e = write_form(c, &out);
    if (e == ERR_OK)
        status = print(c->args, &out);
    else
        fprintf(stderr, "headgate: %s\n", err_word(e));
    buf_clear(&out);
    say_expired(c);
    return status;
}

static int plan_opened(struct command *c)
{
    enum err e = planning_open(&c->planning);
    int status = 1;

    if (e == ERR_OK)
        e = planning_make(c->planning, c->file.db, &c->file.review,
                          &c->file.look, &c->wish, &c->planned);
    if (e == ERR_OK)
        status = write_plan(c);
    else
        fprintf(stderr, "headgate: %s\n", err_word(e));
    planning_close(c->planning);
    return status;
}

static int plan_from_file(const struct args *args, const struct plan_wish *wish)
{
    struct command *c = calloc(1, sizeof(*c));
    int status = 2;

    if (c == NULL)
        return 1;
    c->args = args;
    c->wish = *wish;
    if (load_settings(c) && open_file(c)) {
        status = plan_opened(c);
        plan_file_close(&c->file);
    }
    codes_free(c->codes);
    zone_free(c->zone);
    free(c);
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
    buf_init(&why, WHY_MAX);
    if (!report(planning_wish(args.prior, args.target, args.dowels,
                              args.on_table ? "1" : NULL, &wish, &why),
                &why))
        return 2;
    if (args.from != NULL && wish.prior == &technique_site) {
        fputs("headgate: prior: a file has no site; ask for the plan of an "
              "access in the store\n",
              stderr);
        return 2;
    }
    return args.from != NULL ? plan_from_file(&args, &wish)
                             : plan_stored(&args);
}
