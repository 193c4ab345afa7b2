/* A band plan for programs: names, nulls, rounding, words, digest. */
#include "tests/test.h"

#include "tests/golden.h"
#include "tests/plan_json_kit.h"

#include <openssl/evp.h>

/* ---- whole documents ---------------------------------------------------------- */

static void golden(const char *name)
{
    json_decref(document());
    assert_golden(name, text.data, text.len);
}

static void a_plan_before_the_case(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    for (size_t i = 0; i < kit.kit.from.ground_count; i++)
        kit.references[i] = i % 2 == 0 ? "Observation/o-1" : NULL;
    kit.d.references = kit.references;
    write_kit_outflow(&kit.plan.outflow);
    kit.plan.missing = PLAN_NO_CVP | PLAN_NO_TABLE;
    kit.plan.warnings = PLAN_PROVISIONAL | PLAN_OUTFLOW_FIRST;
    golden("plan-before.json");
}

static void a_running_case(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_case);
    write_kit_stages(&kit.plan);
    golden("plan-case.json");
}

static void a_refusal(void **state)
{
    (void)state;
    write_kit_set(&kit, write_kit_before);
    kit.kit.from.offer = PLAN_EXCLUDED;
    kit.kit.from.readiness.exclusions = EXCLUDE_LOW_FLOW_HAND | EXCLUDE_CHILD;
    kit.d.plan = NULL;
    golden("plan-refused.json");
}

/* ---- names ----------------------------------------------------------------------- */

/* The members that programs rely on, by the names that were promised. */
static void has_every_promised_member(void **state)
{
    static const char *const ways[] = {
        "inputs",
        "missing",
        "warnings",
        "target",
        "ladder.0.dowel_mm",
        "ladder.0.flow_ml_min.p05",
        "ladder.0.flow_ml_min.p50",
        "ladder.0.flow_ml_min.p95",
        "ladder.0.reduction_pct.p05",
        "ladder.0.reduction_pct.p50",
        "ladder.0.reduction_pct.p95",
        "ladder.0.p_in_zone",
        "ladder.0.p_too_tight",
        "ladder.0.p_below_floor",
        "ladder.0.hand_pressure_mmhg.p05",
        "ladder.0.hand_pressure_mmhg.p50",
        "ladder.0.hand_pressure_mmhg.p95",
        "ladder.0.digital_brachial_index.p05",
        "ladder.0.digital_brachial_index.p50",
        "ladder.0.digital_brachial_index.p95",
        "first_dowel_mm",
        "readings_advised",
        "card.0.from_ml_min",
        "card.0.to_ml_min",
        "card.0.action",
        "card.0.dowel_mm",
        "outflow",
        "stages.0",
        "model.version",
        "model.prior",
        "model.beliefs.offset_mm.mean",
        "model.beliefs.contraction.sd",
        "model.beliefs.knot_sd_mm",
        "model.beliefs.stretch_mm.most",
        "cautions.0",
    };
    json_t *json;

    (void)state;
    write_kit_set(&kit, write_kit_case);
    write_kit_stages(&kit.plan);
    json = document();
    for (size_t i = 0; i < COUNT(ways); i++) {
        if (member(json, ways[i]) == NULL)
            fail_msg("there is no %s", ways[i]);
    }
    json_decref(json);
}

/* ---- numbers --------------------------------------------------------------------- */

/* As much as a person may rely on: flow 1 mL/min, chance 0.001, pressure
 * 0.1 mmHg, index 0.01; what is between goes to the nearest. */
static void numbers_are_rounded(void **state)
{
    static const struct {
        const char *way, *want;
    } rows[] = {
        { "inputs.baseline.flow_ml_min", "[2450,2550]" },
        { "inputs.baseline.mean_ml_min", "2500" },
        { "inputs.map_mmhg", "93" },
        { "inputs.static_mmhg", "36.4" },
        { "inputs.index_open", "0.46" },
        { "inputs.haematocrit_frac", "0.333" },
        { "inputs.conduit_mm", "9.25" },
        { "inputs.stenosis_pct", "70" },
        { "target.low_ml_min", "1000" },
        { "target.high_pct", "60" },
        { "ladder.1.flow_ml_min", "{\"p05\":1002,\"p50\":1432,\"p95\":1718}" },
        { "ladder.1.reduction_pct.p05", "27" },
        { "ladder.1.reduction_pct.p50", "42.7" },
        { "ladder.1.p_in_zone", "0.189" },
        { "ladder.1.p_too_tight", "0.041" },
        { "ladder.1.p_below_floor", "0" },
        { "ladder.1.hand_pressure_mmhg",
          "{\"p05\":44,\"p50\":54.5,\"p95\":65}" },
        { "ladder.1.digital_brachial_index",
          "{\"p05\":0.5,\"p50\":0.62,\"p95\":0.72}" },
        { "ladder.2.dowel_mm", "3.25" },
        { "outflow.lesion_frac", "0.301" },
        { "outflow.surge.p50", "1.24" },
        { "model.sample_share", "0.262" },
    };
    json_t *json;

    (void)state;
    write_kit_set(&kit, write_kit_before);
    write_kit_outflow(&kit.plan.outflow);
    json = document();
    for (size_t i = 0; i < COUNT(rows); i++)
        assert_member(json, rows[i].way, rows[i].want);
    json_decref(json);
}

/* What is not known is null, and never 0, left out, or a word like NaN. */
static void what_is_not_known_is_null(void **state)
{
    static const char *const ways[] = {
        "inputs.side",
        "inputs.method",
        "inputs.map_mmhg",
        "inputs.map_lowest_mmhg",
        "inputs.cvp_mmhg",
        "inputs.haematocrit_frac",
        "inputs.conduit_mm",
        "inputs.artery_mm",
        "inputs.index_open",
        "inputs.index_compressed",
        "inputs.static_mmhg",
        "inputs.stenosis_pct",
        "inputs.stenosis_after_pct",
        "inputs.prescribed_pump_ml_min",
        "inputs.access",
        "inputs.readings.0.reference",
        "inputs.readings.0.stage",
        "ladder.0.hand_pressure_lowest_mmhg",
        "first_dowel_mm",
        "readings_advised",
        "readings_advised_baseline",
        "card_dowel_mm",
        "card.7.to_ml_min",
        "card.4.dowel_mm",
        "outflow",
        "next",
        "reason",
        "fault",
        "target.low_ml_min",
        "target.high_pct",
    };
    static const struct event events[] = { FLOW(99, 2000), { .day = 0 } };
    json_t *json;

    (void)state;
    write_kit_set(&kit, events);
    kit.kit.from.side = SIDE_UNKNOWN;
    kit.d.access = NULL;
    kit.plan.first_dowel_mm = kit.plan.card_dowel_mm = NAN;
    kit.plan.readings_advised = kit.plan.readings_advised_baseline = 0;
    kit.plan.warnings = PLAN_ZONE_EMPTY;
    kit.plan.rungs[0].hand_lowest_mmhg = write_kit_range(NAN, NAN, NAN);
    json = document();
    for (size_t i = 0; i < COUNT(ways); i++)
        assert_member(json, ways[i], "null");
    json_decref(json);
}

/* Without the static pressure there are bounds, and no prediction. */
static void an_opening_without_pressure_has_bounds_only(void **state)
{
    static const char *const ways[] = {
        "outflow.flow_ml_min",           "outflow.surge",
        "outflow.hand_pressure_mmhg",    "outflow.digital_brachial_index",
        "outflow.p_index_low",           "outflow.p_index_falls",
        "outflow.holding_dowel_mm",      "outflow.holding_flow_ml_min",
        "outflow.holding_index",         "outflow.holding_p_index_low",
        "outflow.holding_p_index_falls", "outflow.zone_dowel_mm",
        "outflow.lesion_frac",
    };
    json_t *json;

    (void)state;
    write_kit_set(&kit, write_kit_before);
    kit.plan.outflow = (struct plan_outflow){ .known = true,
                                              .lesion_frac = NAN,
                                              .surge_least = 1,
                                              .surge_most = 2.703,
                                              .holding_dowel_mm = NAN,
                                              .zone_dowel_mm = NAN };
    json = document();
    for (size_t i = 0; i < COUNT(ways); i++)
        assert_member(json, ways[i], "null");
    assert_member(json, "outflow.surge_most", "2.7");
    assert_member(json, "outflow.by_pressure", "false");
    json_decref(json);
}

/* ---- limits of chance --------------------------------------------------------------- */

/* At the first tie 25 % too tight and 2 % below the floor, later 5 % below the
 * floor alone. */
static void a_size_keeps_to_the_limits_that_bind(void **state)
{
    static const struct {
        double tight, floor;
        const char *first, *later;
    } cases[] = {
        { 0.25, 0.02, "true", "true" },    { 0.251, 0.02, "false", "true" },
        { 0.25, 0.0201, "false", "true" }, { 0.25, 0.05, "false", "true" },
        { 0.9, 0.05, "false", "true" },    { 0.25, 0.0501, "false", "false" },
    };
    json_t *json;

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        write_kit_set(&kit, write_kit_before);
        kit.plan.rungs[0].p_too_tight = cases[i].tight;
        kit.plan.rungs[0].p_below_floor = cases[i].floor;
        json = document();
        assert_member(json, "ladder.0.allowed", cases[i].first);
        json_decref(json);
        write_kit_set(&kit, write_kit_case);
        kit.plan.rungs[0].p_too_tight = cases[i].tight;
        kit.plan.rungs[0].p_below_floor = cases[i].floor;
        json = document();
        assert_member(json, "ladder.0.allowed", cases[i].later);
        json_decref(json);
    }
}

/* What to do now: a weak thrill stands above every flow, and against a warning
 * nothing is advised. */
static void what_to_do_now(void **state)
{
    static const char loosen[] =
        "{\"action\":\"loosen\",\"dowel_mm\":4.5,\"readings_more\":0,"
        "\"reason\":\"thrill\"}";
    const struct {
        bool weak;
        unsigned warnings;
        const char *want;
    } cases[] = {
        { false, 0,
          "{\"action\":\"tighten\",\"dowel_mm\":3.25,"
          "\"readings_more\":0,\"reason\":\"flow\"}" },
        { true, 0, loosen },
        { true, PLAN_CONFLICT, loosen },
        { false, PLAN_CONFLICT, "null" },
        { false, PLAN_ZONE_EMPTY, "null" },
        { false, PLAN_DISTAL, "null" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        json_t *json;

        write_kit_set(&kit, write_kit_case);
        write_kit_stages(&kit.plan);
        kit.kit.from.in.stages[1].weak_thrill = cases[i].weak;
        kit.plan.warnings = cases[i].warnings;
        json = document();
        assert_member(json, "next", cases[i].want);
        json_decref(json);
    }
}

/* ---- text and digest --------------------------------------------------------- */

/* Text of a record is written as text, whatever stands in it. */
static void a_label_cannot_break_out(void **state)
{
    static const char label[] = "A \"B\" \\ </script>\xc3\xa9";
    json_t *json;

    (void)state;
    write_kit_set(&kit, write_kit_before);
    kit.d.access = label;
    json = document();
    assert_string_equal(json_string_value(member(json, "inputs.access")),
                        label);
    assert_null(strstr(text.data, "Fictional")); /* no name of a person */
    json_decref(json);
}

/* ---- digest ------------------------------------------------------------------------- */

/* SHA-256 of the document without its last member, by another way than the
 * writer's. */
static void the_digest_is_that_of_the_rest(void **state)
{
    static const char member_of[] = ",\"sha256\":\"";
    unsigned char digest[EVP_MAX_MD_SIZE];
    char *cut, want[65] = "";
    size_t len;

    (void)state;
    write_kit_set(&kit, write_kit_before);
    json_decref(document());
    cut = strstr(text.data, member_of);
    assert_non_null(cut);
    len = (size_t)(cut - text.data);
    assert_int_equal(text.len, len + strlen(member_of) + 64 + strlen("\"}\n"));
    memcpy(want, cut + strlen(member_of), 64);
    text.data[len] = '}';
    assert_int_equal(
        EVP_Digest(text.data, len + 1, digest, NULL, EVP_sha256(), NULL), 1);
    for (int i = 0; i < 32; i++) {
        char pair[3];

        snprintf(pair, sizeof(pair), "%02x", digest[i]);
        assert_memory_equal(pair, want + (size_t)2 * (size_t)i, 2);
    }
}

static void a_document_may_stand_behind_another(void **state)
{
    struct buf twice;

    (void)state;
    write_kit_set(&kit, write_kit_before);
    json_decref(document());
    buf_init(&twice, 2 * PLAN_DOCUMENT_MAX);
    plan_json(&kit.d, &twice);
    plan_json(&kit.d, &twice);
    assert_int_equal(twice.len, 2 * text.len);
    assert_memory_equal(twice.data + text.len, text.data, text.len);
    buf_clear(&twice);
}

/* A buffer that is too small is an error, not half a document. */
static void a_ceiling_is_an_error(void **state)
{
    struct buf small;

    (void)state;
    write_kit_set(&kit, write_kit_before);
    buf_init(&small, 1000);
    plan_json(&kit.d, &small);
    assert_int_equal(buf_ok(&small), ERR_LIMIT);
    buf_clear(&small);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_plan_before_the_case),
        cmocka_unit_test(a_running_case),
        cmocka_unit_test(a_refusal),
        cmocka_unit_test(has_every_promised_member),
        cmocka_unit_test(numbers_are_rounded),
        cmocka_unit_test(what_is_not_known_is_null),
        cmocka_unit_test(an_opening_without_pressure_has_bounds_only),
        cmocka_unit_test(a_size_keeps_to_the_limits_that_bind),
        cmocka_unit_test(what_to_do_now),
        cmocka_unit_test(a_label_cannot_break_out),
        cmocka_unit_test(the_digest_is_that_of_the_rest),
        cmocka_unit_test(a_document_may_stand_behind_another),
        cmocka_unit_test(a_ceiling_is_an_error),
    };
    int failed;

    write_kit_start(&kit);
    buf_init(&text, PLAN_DOCUMENT_MAX);
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    buf_clear(&text);
    zone_free(kit.zone);
    return failed;
}
