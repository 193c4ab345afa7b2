/*
 * The band plan of a Task in words: attached, renewed while a case runs, taken
 * out.  The document stands in tests/golden, its numbers are the planner's:
 * after a change of the planner that is meant, write it anew (GOLDEN=write) and
 * read it.
 */
#include "tests/test.h"

#include "planner/plan_from.h"
#include "planner/plan_work.h"
#include "tests/golden.h"
#include "tests/wording_kit.h"

#include "adapters/plan_write.h"

enum { EVENTS_MAX = 20 };

#define DOWEL(d, v)    NUMBER(d, Q_DOWEL_DIAMETER, v)
#define PRESSURE(d, v) NUMBER(d, Q_MEAN_PRESSURE, v)
#define HIGH                                                                   \
    FLOW(750.35, 2450, USD), FLOW(782.30, 2480, USD), FLOW(782.301, 2520, USD)

struct planned {
    struct plan_from from;
    struct plan plan;
    struct plan_document document;
};

static void make(struct world *w, const struct event *events,
                 struct planned *out)
{
    struct readiness readiness;

    set_up(w, events, SIGN_TYPE_AVF, GROUP_FLOW, NOW);
    readiness_assess(&w->history, &policy, &w->findings, &readiness);
    plan_from(&w->history, &policy, &readiness, NULL, &out->from);
    out->document = (struct plan_document){ .from = &out->from,
                                            .history = &w->history,
                                            .policy = &policy,
                                            .zone = utc };
    if (out->from.offer != PLAN_OFFERED)
        return;
    assert_int_equal(plan_make(&out->from.in, kit_plan_work(), &out->plan),
                     ERR_OK);
    out->document.plan = &out->plan;
}

static const struct scenario {
    const char *name, *why;
    struct event events[EVENTS_MAX];
    const char *says[4];
} scenarios[] = {
    { "before the case",
      NULL,
      { HIGH, PRESSURE(782.30, 94) },
      { "Band plan attached, as of 2026-11-25: provisional, first a ",
        "; missing: ", "on table baseline" } },
    { "a band is tied, nothing measured",
      NULL,
      { HIGH, PRESSURE(782.30, 94), DOWEL(782.35, 4) },
      { "step 1, tied over a 4 mm dowel (measured outer diameter), no flow "
        "measured after it so far; next by the plan: measure the flow" } },
    { "and a pair is measured",
      NULL,
      { HIGH, PRESSURE(782.30, 94), DOWEL(782.35, 4), FLOW(782.36, 1800, USD),
        FLOW(782.361, 1760, USD) },
      { "1780 mL/min measured (mean of 2); next by the plan: " } },
    { "tied again, and too tight",
      NULL,
      { HIGH, PRESSURE(782.30, 94), DOWEL(782.35, 4), FLOW(782.36, 1800, USD),
        FLOW(782.361, 1760, USD), DOWEL(782.37, 3), FLOW(782.38, 450, USD),
        FLOW(782.381, 470, USD) },
      { "step 2, tied over a 3 mm dowel",
        "next by the plan: loosen the band now, then measure" } },
    { "the thrill is weak",
      NULL,
      { HIGH, PRESSURE(782.30, 94), DOWEL(782.35, 4), FLOW(782.36, 1300, USD),
        SIGN(782.37, SIGN_THRILL_WEAK) },
      { "next by the plan: loosen the band now, then measure" } },
    { "the hand is an emergency",
      "a sign of emergency of the hand stands, and its assessment comes first",
      { HIGH, PRESSURE(782.30, 94) },
      { "The band plan was taken out on 2026-11-25 and is not to be used: a "
        "sign of emergency of the hand stands" } },
    { "no ground any more",
      NULL,
      { FLOW(750.35, 1100, USD), FLOW(782.30, 1150, USD) },
      { "neither a high flow nor ischaemia of the hand with one is "
        "confirmed" } },
    { "excluded",
      NULL,
      { HIGH, SIGN(782.2, SIGN_INFECTION_LOCAL) },
      { "infection of the access is suspected (IN-1)" } },
};

static void say(const struct scenario *s, const struct planned *p,
                struct buf *out)
{
    if (p->document.plan == NULL || s->why != NULL)
        wording_plan_gone(&p->document, s->why, out);
    else if (p->from.in.stage_count == 0)
        wording_plan_attached(&p->document, out);
    else
        wording_plan_renewed(&p->document, "a new step", out);
}

static void test_scenarios(void **state)
{
    struct planned *p = calloc(1, sizeof(*p));
    struct buf all;

    (void)state;
    assert_non_null(p);
    buf_init(&all, WORDING_SIZE_MAX);
    for (size_t i = 0; i < COUNT(scenarios); i++) {
        const struct scenario *s = &scenarios[i];
        struct world w;
        struct buf text;

        ROW(s->name);
        make(&w, s->events, p);
        buf_init(&text, WORDING_SIZE_MAX);
        say(s, p, &text);
        check_text(&text);
        for (size_t k = 0; k < COUNT(s->says) && s->says[k] != NULL; k++) {
            if (strstr(text.data, s->says[k]) == NULL)
                fail_msg("\"%s\" is not in: %s", s->says[k], text.data);
        }
        buf_printf(&all, "== %s\n%s\n", s->name, text.data);
        buf_clear(&text);
    }
    assert_golden("wording-plan.txt", all.data, all.len);
    buf_clear(&all);
    free(p);
}

/* In the description of a Task it is a line of its own, before how soon. */
static void test_in_the_description(void **state)
{
    static const struct event events[EVENTS_MAX] = { HIGH };
    struct world w;
    struct buf with, without;

    (void)state;
    set_up(&w, events, SIGN_TYPE_AVF, GROUP_FLOW, NOW);
    buf_init(&with, WORDING_SIZE_MAX);
    buf_init(&without, WORDING_SIZE_MAX);
    wording_description(&w.wording, &without);
    w.wording.plan = "Band plan attached: a line.";
    wording_description(&w.wording, &with);
    assert_null(strstr(without.data, "Band plan"));
    assert_non_null(
        strstr(with.data, "\nBand plan attached: a line.\nThis is to be seen"));
    buf_clear(&without);
    buf_clear(&with);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_scenarios),
        cmocka_unit_test(test_in_the_description),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
