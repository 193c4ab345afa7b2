/* The band plan of an access in a store, as documents. */

#include "service/explain.h"
#include "service/technique_store.h"
#include "tests/access_kit.h"
#include "tests/planning_kit.h"

#include <jansson.h>

static struct planning *planning;
static struct planned planned;

struct documents {
    struct buf json, text;
};

static void clear(struct documents *d)
{
    buf_clear(&d->json);
    buf_clear(&d->text);
}

/* Plans A-7 and writes both documents. */
static struct documents make(struct world *w, const struct plan_wish *wish)
{
    struct documents d;
    int64_t access = 0;
    struct look look;
    int status = 0;

    buf_init(&d.json, PLAN_DOCUMENT_MAX);
    buf_init(&d.text, PLAN_DOCUMENT_MAX);
    assert_int_equal(explain_find(w->db, "A-7", &status, &access, &d.text),
                     ERR_OK);
    assert_int_equal(status, 200);
    assert_int_equal(look_at(w->db, &w->review, access, &look), ERR_OK);
    assert_int_equal(
        planning_make(planning, w->db, &w->review, &look, wish, &planned),
        ERR_OK);
    write_documents(w, &look, &planned, &d.json, &d.text);
    look_clear(&look);
    return d;
}

/* ---- documents ------------------------------------------------------------------ */

static void a_plan_names_its_readings(void **state)
{
    struct world *w = world(state);
    struct documents d = make(w, NULL);
    json_t *json = json_loadb(d.json.data, d.json.len, 0, NULL);
    json_t *readings =
               json_object_get(json_object_get(json, "inputs"), "readings"),
           *one;
    size_t i;

    assert_true(planned.offered);
    assert_int_equal(json_array_size(readings), 2); /* flow and pressure */
    json_array_foreach(readings, i, one)
    {
        const char *reference =
            json_string_value(json_object_get(one, "reference"));
        char sql[160];

        assert_non_null(reference);
        snprintf(sql, sizeof(sql),
                 "SELECT count(*) FROM resource WHERE 'Observation/' || fid = "
                 "'%s'",
                 reference);
        assert_int_equal(world_count(w, sql), 1);
    }
    assert_non_null(strstr(d.text.data, "Patient   Fictional, Wren (1001)"));
    assert_non_null(strstr(d.text.data, "Fistula A-7 (left upper arm)"));
    assert_null(strstr(d.json.data, "Wren")); /* no name of a person */
    json_decref(json);
    clear(&d);
}

/* Nothing in them changes with the clock, and asking changes nothing. */
static void equal_readings_give_equal_bytes(void **state)
{
    struct world *w = world(state);
    struct documents first = make(w, NULL), later, other;

    world_now_s += 3600;
    later = make(w, NULL);
    assert_string_equal(first.json.data, later.json.data);
    assert_string_equal(first.text.data, later.text.data);
    assert_int_equal(world_post(w, OBS(.code = "haematocrit", .value = "0.31",
                                       .unit = "1", .ago_h = 1)),
                     201);
    other = make(w, NULL);
    assert_string_not_equal(first.json.data, other.json.data);
    assert_non_null(strstr(other.json.data, "\"haematocrit_frac\":0.31,"));
    clear(&first);
    clear(&later);
    clear(&other);
}

static void asking_changes_nothing(void **state)
{
    static const char *const tables[] = { "news",    "episode",  "task",
                                          "version", "decision", "reading" };
    struct world *w = world(state);
    long long before[COUNT(tables)];

    for (int round = 0; round < 2; round++) {
        struct documents d;

        for (size_t i = 0; i < COUNT(tables); i++) {
            char sql[64];
            long long n;

            snprintf(sql, sizeof(sql), "SELECT count(*) FROM %s", tables[i]);
            n = world_count(w, sql);
            if (round > 0)
                assert_int_equal(n, before[i]);
            before[i] = n;
        }
        d = make(w, NULL);
        clear(&d);
    }
}

/* ---- wishes ----------------------------------------------------------------------- */

static void what_is_wanted_is_planned(void **state)
{
    const struct plan_wish wish = { .prior = &prior_reference,
                                    .lead_given = true,
                                    .lead = PLAN_BY_REDUCTION,
                                    .reduction_low_frac = 0.3,
                                    .reduction_high_frac = 0.4,
                                    .dowel_count = 2,
                                    .dowels_mm = { 4.25, 4.75 } };
    struct documents d = make(world(state), &wish);

    assert_true(planned.offered);
    assert_int_equal(planned.plan.rung_count, 2);
    assert_near(planned.plan.rungs[0].dowel_mm, 4.75, 0); /* loosest first */
    assert_non_null(strstr(d.json.data, "\"prior\":\"reference\""));
    assert_non_null(strstr(d.json.data,
                           "\"target\":{\"lead\":\"reduction\","
                           "\"low_ml_min\":1500,\"high_ml_min\":1750,"
                           "\"low_pct\":30,\"high_pct\":40,"));
    assert_non_null(strstr(d.text.data, "Why: this reduction was asked for."));
    clear(&d);
}

/* ---- the prior of the site ---------------------------------------------------------- */

#define LEAD "Dr Fictional, lead for access"

/* As if ten cases had been learnt from, in which a band was far tighter than
 * its dowel. */
static void switch_on(struct world *w)
{
    struct technique t = { .prior = prior_default,
                           .proposed = true,
                           .case_count = 10,
                           .tie_count = 12 };

    snprintf(t.prior.name, sizeof(t.prior.name), "site");
    t.prior.offset_mm.mean = 1.0;
    t.prior.offset_mm.sd = 0.1;
    assert_int_equal(technique_adopt(w->db, &t, LEAD, "", world_now_ms()),
                     ERR_OK);
}

/* The flow that is expected over 4 mm, with these beliefs. */
static double expected_with(struct world *w, const struct plan_wish *wish,
                            const char *name)
{
    struct documents d = make(w, wish);
    char member[48];
    double flow = NAN;

    snprintf(member, sizeof(member), "\"prior\":\"%s\"", name);
    if (strstr(d.json.data, member) == NULL)
        fail_msg("not %s in %s", member, d.json.data);
    snprintf(member, sizeof(member), "with the %s beliefs", name);
    assert_non_null(strstr(d.text.data, member));
    for (size_t i = 0; i < planned.plan.rung_count; i++) {
        if (planned.plan.rungs[i].dowel_mm == 4.0)
            flow = planned.plan.rungs[i].flow_ml_min.p50;
    }
    clear(&d);
    return flow;
}

static void the_site_s_beliefs_are_used_where_they_are_in_use(void **state)
{
    const struct plan_wish site = { .prior = &technique_site },
                           shipped = { .prior = &prior_default },
                           any = { .prior = NULL };
    struct world *w = world(state);
    double before = expected_with(w, NULL, "default");

    switch_on(w);
    /* a band that acts tighter leaves less */
    assert_true(expected_with(w, NULL, "site") < before - 50.0);
    assert_near(expected_with(w, &any, "site"), expected_with(w, NULL, "site"),
                0);
    assert_near(expected_with(w, &site, "site"), expected_with(w, NULL, "site"),
                0);
    assert_near(expected_with(w, &shipped, "default"), before, 0);
    assert_int_equal(technique_drop(w->db, LEAD, world_now_ms()), ERR_OK);
    assert_near(expected_with(w, NULL, "default"), before, 0);
}

/* Learnt from fistulas: a graft is planned with them only if a person wants. */
static void a_graft_has_the_default_beliefs(void **state)
{
    const struct plan_wish site = { .prior = &technique_site };
    struct world *w = world(state);

    assert_int_equal(
        world_put(w, "acc-7",
                  ACC(.id = "acc-7", .identifier = "A-7", .type = "avg")),
        200);
    switch_on(w);
    expected_with(w, NULL, "default");
    expected_with(w, &site, "site");
}

static void beliefs_that_are_not_there_are_not_replaced(void **state)
{
    const struct plan_wish site = { .prior = &technique_site };
    struct world *w = world(state);
    int64_t access = world_count(w, "SELECT id FROM access");
    struct look look;

    assert_int_equal(look_at(w->db, &w->review, access, &look), ERR_OK);
    assert_int_equal(
        planning_make(planning, w->db, &w->review, &look, &site, &planned),
        ERR_ABSENT);
    assert_false(planned.offered);
    look_clear(&look);
}

/* A size that no dowel has is refused, by its name. */
static void a_wish_that_cannot_be_met_says_why(void **state)
{
    const struct plan_wish wish = { .dowel_count = 1, .dowels_mm = { 9 } };
    struct documents d = make(world(state), &wish);

    assert_false(planned.offered);
    assert_int_equal(planned.from.offer, PLAN_UNFIT);
    assert_string_equal(planned.fault.field, "dowels_mm");
    assert_non_null(strstr(d.json.data, "\"reason\":\"not-usable\""));
    assert_non_null(strstr(d.json.data, "\"field\":\"dowels_mm\""));
    clear(&d);
}

/* ---- who gets none ------------------------------------------------------------------ */

static void assert_refused(struct world *w, const char *code)
{
    static const struct plan_wish asked = { .prior = NULL };
    struct documents d = make(w, &asked);
    char want[64];

    assert_false(planned.offered);
    snprintf(want, sizeof(want), "\"exclusions\":[{\"code\":\"%s\"", code);
    if (strstr(d.json.data, want) == NULL)
        fail_msg("%s is not in %s", want, d.json.data);
    assert_non_null(
        strstr(d.json.data, "\"ladder\":[],\"first_dowel_mm\":null"));
    assert_null(strstr(d.text.data, "First tie"));
    clear(&d);
}

/* Two readings that are low, and a hand that is short of blood at them. */
static void a_low_flow_steal_gets_none(void **state)
{
    struct world *w = world(state);

    assert_int_equal(
        world_post(w, OBS(.value = "640", .access = ACCESS, .ago_h = DAYS)),
        201);
    assert_int_equal(
        world_post(w, OBS(.code = "hand-ischaemia-grade", .sign = "3",
                          .access = ACCESS, .ago_h = 2)),
        201);
    assert_refused(w, "low-flow-ischaemia");
}

static void distal_disease_gets_none(void **state)
{
    struct world *w = world(state);

    assert_int_equal(
        world_post(w, OBS(.code = "digital-brachial-index-compressed",
                          .value = "0.45", .unit = "1", .access = ACCESS,
                          .ago_h = DAYS)),
        201);
    assert_refused(w, "distal-disease");
}

/* ---- a case ---------------------------------------------------------------------------- */

static void a_case_goes_on(void **state)
{
    struct world *w = world(state);
    struct documents d;

    assert_int_equal(
        world_post(w, OBS(.value = "2450", .access = ACCESS, .ago_h = 3)), 201);
    assert_int_equal(
        world_post(w, OBS(.code = "dowel-diameter", .value = "4", .unit = "mm",
                          .access = ACCESS, .ago_h = 2)),
        201);
    assert_int_equal(world_put(w, "o-after",
                               OBS(.id = "o-after", .value = "1710",
                                   .access = ACCESS, .ago_h = 1)),
                     201);
    d = make(w, NULL);
    assert_true(planned.offered);
    assert_true(planned.from.in.on_table);
    assert_non_null(
        strstr(d.json.data, "\"stages\":[{\"step\":\"tied\",\"dowel_mm\":4,"));
    assert_non_null(strstr(d.json.data, "\"flow_ml_min\":[1710]"));
    assert_non_null(strstr(d.json.data, "\"next\":{\"action\":\""));
    assert_non_null(strstr(d.text.data, "What now"));
    clear(&d);
    /* what is taken back is no longer measured */
    assert_int_equal(
        world_put(w, "o-after",
                  OBS(.id = "o-after", .value = "1710", .access = ACCESS,
                      .ago_h = 1, .status = "entered-in-error")),
        200);
    d = make(w, NULL);
    assert_non_null(strstr(d.json.data, "\"flow_ml_min\":[],"));
    assert_non_null(strstr(d.json.data, "\"next\":{\"action\":\"remeasure\""));
    clear(&d);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define WORLD(test)                                                            \
    cmocka_unit_test_setup_teardown(test, start_high_flow, world_stop)
        WORLD(a_plan_names_its_readings),
        WORLD(equal_readings_give_equal_bytes),
        WORLD(asking_changes_nothing),
        WORLD(what_is_wanted_is_planned),
        WORLD(the_site_s_beliefs_are_used_where_they_are_in_use),
        WORLD(a_graft_has_the_default_beliefs),
        WORLD(beliefs_that_are_not_there_are_not_replaced),
        WORLD(a_wish_that_cannot_be_met_says_why),
        WORLD(a_low_flow_steal_gets_none),
        WORLD(distal_disease_gets_none),
        WORLD(a_case_goes_on),
#undef WORLD
    };
    int failed;

    if (planning_open(&planning) != ERR_OK)
        return 1;
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    planning_close(planning);
    return failed;
}
