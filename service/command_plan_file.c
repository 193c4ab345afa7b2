/*
 * The band plan of a Bundle alone, in this process; no store is touched.
 */
#include "service/command_plan.h"

#include "adapters/policy_file.h"
#include "service/app.h"
#include "service/maps.h"
#include "service/plan_file.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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

bool command_plan_report(enum err e, struct buf *why)
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
    buf_init(&why, PLAN_WHY_MAX);
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
    return command_plan_report(e, &why);
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

    buf_init(&why, PLAN_WHY_MAX);
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
    case PLAN_BANDED:
    case PLAN_DECEASED:
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

static enum err write_form(const struct command *c,
                           const struct planning_paper *p, struct buf *out)
{
    struct planning_page page = { .form = c->args->pdf != NULL ? CANVAS_PDF
                                                               : CANVAS_SVG,
                                  .paper = (enum canvas_paper)c->config.paper,
                                  .made_s = clock_ms() / 1000 };

    if (command_plan_page(c->args) != NULL)
        return planning_sheet(p, &page, out);
    return c->args->json ? planning_json(p, out) : planning_text(p, out);
}

static enum err write_paper(const struct command *c, struct buf *out)
{
    const struct plan_file *f = &c->file;
    struct planning_names names;
    struct planning_paper paper = { .policy = f->review.policy,
                                    .zone = f->review.zone,
                                    .look = &f->look,
                                    .planned = &c->planned,
                                    .names = &names };
    enum err e =
        planning_names_load(f->db, &f->look, &c->planned, false, &names);

    if (e != ERR_OK)
        return e;
    e = write_form(c, &paper, out);
    planning_names_clear(&names);
    return e;
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
    buf_init(&out, PLAN_PAGE_MAX);
    e = write_paper(c, &out);
    if (e == ERR_OK)
        status = command_plan_print(c->args, &out);
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

int command_plan_from_file(const struct args *args,
                           const struct plan_wish *wish)
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
