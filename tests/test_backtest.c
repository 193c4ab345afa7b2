/* The back test: the clock, what is counted, and how it is shown. */
#include "tests/backtest_kit.h"
#include "tests/golden.h"

static void put_correction(struct world *w, const char *patient, const char *id,
                           int day, int arrival_day, int flow_ml_min)
{
    put_observation(w, patient, id, "corrected", day, arrival_day);
    put(w,
        ",\"code\":" CODE(
            "access-flow") ",\"valueQuantity\":{\"value\":%d,"
                           "\"system\":\"http://"
                           "unitsofmeasure.org\",\"code\":\"mL/min\"}}\n",
        flow_ml_min);
}

static void put_sign(struct world *w, const char *patient, const char *id,
                     const char *code, const char *sign, int day)
{
    put_observation(w, patient, id, "final", day, day);
    put(w,
        ",\"code\":{\"coding\":[{\"system\":\"" BASE
        "/CodeSystem/av-observation\",\"code\":\"%s\"}]},"
        "\"valueCodeableConcept\":{\"coding\":[{\"system\":\"" BASE
        "/CodeSystem/av-observation\",\"code\":\"%s\"}]}}\n",
        code, sign);
}

/* The nth suggestion of the group for high flow. */
static const struct backtest_suggestion *flow_suggestion(struct world *w,
                                                         size_t n)
{
    for (size_t i = 0; i < w->report.count; i++) {
        if (w->report.list[i].group == GROUP_FLOW && n-- == 0)
            return &w->report.list[i];
    }
    fail_msg("there is no such suggestion");
    return NULL;
}

/* ---- the clock ------------------------------------------------------------ */

/* The second of two flows above 2000 was measured on day 30, and came on day
 * 45: until then nobody could have known. */
static void test_late_reading(void **state)
{
    struct world *w = *state;
    const struct backtest_suggestion *s;

    put_access(w, "1");
    put_flow(w, "1", "f1", 0, 0, 2200);
    put_flow(w, "1", "f2", 30, 45, 2300);
    run(w);
    assert_int_equal(w->report.groups[GROUP_FLOW].raised, 1);
    s = flow_suggestion(w, 0);
    assert_int_equal(s->raised_s, at_s(45) + 3 * HOUR_S);
    assert_int_equal(s->ended_s, 0);
    assert_true((s->rules_first & 1u << RULE_HF_1) != 0);
    assert_int_equal(s->evidence_count, 2);
    assert_string_equal(s->evidence[1].reference, "Observation/f2");
    assert_near(s->evidence[1].value, 2300.0, 0.0);
    assert_near(w->data.delay_d, (0.125 + 15.125) / 2, 1e-9);
}

static void put_number(struct world *w, const char *patient, const char *id,
                       const char *code, int day, const char *value,
                       const char *unit)
{
    put_observation(w, patient, id, "final", day, day);
    put(w,
        ",\"code\":{\"coding\":[{\"system\":\"" BASE
        "/CodeSystem/av-observation\",\"code\":\"%s\"}]},"
        "\"valueQuantity\":{\"value\":%s,\"system\":"
        "\"http://unitsofmeasure.org\",\"code\":\"%s\"}}\n",
        code, value, unit);
}

/* What is predicted of the hand is found in the past as well. */
static void test_foreseen(void **state)
{
    struct world *w = *state;
    bool found = false;

    put_access(w, "1");
    put_flow(w, "1", "f1", 0, 0, 1450);
    put_number(w, "1", "p1", "static-access-pressure", 2, "55", "mm[Hg]");
    put_number(w, "1", "s1", "outflow-stenosis", 3, "60", "%");
    put_number(w, "1", "m1", "mean-pressure", 0, "95", "mm[Hg]");
    put_number(w, "1", "i1", "digital-brachial-index", 5, "0.6", "1");
    run(w);
    for (size_t i = 0; i < w->report.count; i++)
        found = found || (w->report.list[i].group == GROUP_HAND &&
                          (w->report.list[i].rules_first & 1u << RULE_IS_8));
    assert_true(found);
}

/* A correction on day 40 takes away what was raised on day 30; what the
 * reading said then is still told. */
static void test_correction(void **state)
{
    struct world *w = *state;
    const struct backtest_suggestion *s;

    put_access(w, "1");
    put_correction(w, "1", "f2", 30, 40, 1250); /* first in the file */
    put_flow(w, "1", "f1", 0, 0, 2200);
    put_flow(w, "1", "f2", 30, 30, 2300);
    run(w);
    s = flow_suggestion(w, 0);
    assert_int_equal(s->raised_s, at_s(30) + 3 * HOUR_S);
    assert_int_equal(s->ended_s, at_s(40) + 3 * HOUR_S);
    assert_int_equal(s->reason, END_WITHDRAWN);
    assert_int_equal(w->report.rules[RULE_HF_1].withdrawn, 1);
    assert_int_equal(s->evidence_count, 2);
    assert_int_equal(s->evidence[1].version, 1);
    assert_true(s->evidence[1].known);
    assert_near(s->evidence[1].value, 2300.0, 0.0);
}

static void test_until(void **state)
{
    struct world *w = *state;

    put_access(w, "1");
    put_flow(w, "1", "f1", 0, 0, 2200);
    put_flow(w, "1", "f2", 30, 45, 2300);
    w->options.until_s = at_s(44);
    run(w);
    assert_int_equal(w->report.count, 0);
    assert_int_equal(w->data.fate.late, 1);
    assert_int_equal(w->data.until_s, at_s(44));
    assert_int_equal(w->data.last_s, at_s(44));
}

/* A band on day 10, and nothing after it: that its follow-up is due is said on
 * a later day, on which nothing arrives. */
static void test_by_time_alone(void **state)
{
    struct world *w = *state;
    const struct backtest_count *c = &w->report.rules[RULE_PB_1];

    put_access(w, "1");
    put_flow(w, "1", "f1", 0, 0, 2200);
    put_sign(w, "1", "b1", "access-intervention", "banded", 10);
    w->options.until_s = at_s(11);
    run(w);
    assert_int_equal(c->raised, 0);
    backtest_clear(&w->report);
    w->options.until_s = at_s(120);
    assert_int_equal(backtest_run(&w->feed, &w->options, &w->data, &w->report),
                     ERR_OK);
    assert_true(c->raised > 0);
    for (size_t i = 0; i < w->report.count; i++) {
        if (w->report.list[i].group == GROUP_FOLLOW_UP)
            assert_true(w->report.list[i].raised_s > at_s(11));
    }
}

static void test_nothing_to_play(void **state)
{
    struct world *w = *state;

    put_access(w, "1");
    add_file(w, "x.ndjson");
    backtest_feed_sort(&w->feed);
    assert_int_equal(backtest_run(&w->feed, &w->options, &w->data, &w->report),
                     ERR_ABSENT);
}

/* ---- counting ------------------------------------------------------------- */

/* From the first arrival of each to the end, the last arrival, on day 61:
 * 61 and 51 days; with an end on day 101, and it is the end of that day that
 * counts, 40 and a part of a day more for each. */
static void test_patient_months(void **state)
{
    struct world *w = *state;

    put_access(w, "1");
    put_access(w, "2");
    put_access(w, "3"); /* nothing was measured */
    put_flow(w, "1", "f1", 0, 0, 900);
    put_flow(w, "1", "f2", 20, 20, 910);
    put_flow(w, "1", "f3", 58, 61, 920);
    put_flow(w, "2", "f4", 10, 10, 1000);
    run(w);
    assert_int_equal(w->data.patients, 2);
    assert_int_equal(w->data.accesses, 2);
    assert_near(w->data.patient_months, (61.0 + 51.0) / 30.4375, 1e-9);
    backtest_clear(&w->report);
    w->options.until_s = at_s(101);
    assert_int_equal(backtest_run(&w->feed, &w->options, &w->data, &w->report),
                     ERR_OK);
    assert_true(w->data.patient_months >= (61.0 + 51.0 + 78.0) / 30.4375);
    assert_true(w->data.patient_months <= (61.0 + 51.0 + 82.0) / 30.4375);
}

/* A copy of a record in which all was last changed on one day says nothing
 * about when a reading arrived. */
static void test_an_export_is_told(void **state)
{
    struct world *w = *state;
    struct buf out;

    put_access(w, "1");
    put_flow(w, "1", "f1", 0, 400, 2200);
    put_flow(w, "1", "f2", 40, 400, 2300);
    run(w);
    assert_true(w->data.is_export);
    buf_init(&out, 1 << 20);
    backtest_text(&w->data, &w->report, NULL, w->zone, &out);
    assert_non_null(strstr(out.data, "WARNING   all arrivals lie on one day"));
    assert_non_null(strstr(out.data, "--arrival effective"));
    buf_clear(&out);
}

static void test_a_short_span_is_no_export(void **state)
{
    struct world *w = *state;

    put_access(w, "1");
    put_flow(w, "1", "f1", 371, 400, 2200);
    put_flow(w, "1", "f2", 400, 400, 2300);
    run(w);
    assert_false(w->data.is_export);
}

/* The same file with the times of the readings: raised on day 40, not 400. */
static void test_arrival_by_effective_time(void **state)
{
    struct world *w = *state;

    w->feed.effective = true;
    put_access(w, "1");
    put_flow(w, "1", "f1", 0, 400, 2200);
    put_flow(w, "1", "f2", 40, 400, 2300);
    run(w);
    assert_false(w->data.is_export);
    assert_true(w->data.effective);
    assert_true(isnan(w->data.delay_d));
    assert_int_equal(w->report.groups[GROUP_FLOW].raised, 1);
    assert_true(flow_suggestion(w, 0)->raised_s >= at_s(40) &&
                flow_suggestion(w, 0)->raised_s < at_s(41));
}

/* Raised on day 30 at 13:00; an angioplasty on day 130 at 10:00 is 99.875
 * days later.  That of day 10 came before anybody said anything. */
static void test_lead_time(void **state)
{
    struct world *w = *state;

    put_access(w, "1");
    put_flow(w, "1", "f0", 0, 0, 2150);
    put_flow(w, "1", "f1", 20, 20, 2200);
    put_flow(w, "1", "f2", 30, 30, 2300);
    put_sign(w, "1", "e0", "access-intervention", "created", 0);
    put_sign(w, "1", "e1", "access-intervention", "angioplasty-outflow", 10);
    put_sign(w, "1", "e2", "access-intervention", "angioplasty-outflow", 130);
    put_sign(w, "1", "e3", "access-intervention", "angioplasty-outflow", 140);
    run(w);
    assert_int_equal(w->report.groups[GROUP_FLOW].with_event, 1);
    assert_int_equal(flow_suggestion(w, 0)->raised_s, at_s(30) + 3 * HOUR_S);
    assert_near(flow_suggestion(w, 0)->lead_d, 99.875, 1e-9);
    assert_near(w->report.groups[GROUP_FLOW].lead_d, 99.875, 1e-9);
    assert_int_equal(w->data.events, 3);
    assert_int_equal(w->report.unforeseen, 1);
}

/* More than a year after what was raised, an event was not foreseen; and a
 * thrill that stays away is lost once. */
static void test_events(void **state)
{
    struct world *w = *state;

    put_access(w, "1");
    put_flow(w, "1", "f1", 0, 0, 2200);
    put_flow(w, "1", "f2", 30, 30, 2300);
    put_sign(w, "1", "t1", "thrill", "absent", 396);
    put_sign(w, "1", "t2", "thrill", "absent", 398);
    put_sign(w, "1", "t3", "thrill", "present", 400);
    put_sign(w, "1", "t4", "thrill", "absent", 401);
    put_sign(w, "1", "h1", "heart-failure-sign", "heart-failure-admission",
             402);
    put_sign(w, "1", "h2", "heart-failure-sign", "nyha-3", 403);
    w->options.until_s = at_s(403);
    run(w);
    assert_int_equal(w->data.events, 3);
    assert_true(isnan(flow_suggestion(w, 0)->lead_d));
}

/* Raised on day 30, cleared by flows of 1000 on days 60 and 80, raised again
 * by those of days 100 and 120: 40 days after the end. */
static void test_repeat(void **state)
{
    static const int flows[][2] = {
        { 0, 2200 },  { 30, 2300 },  { 60, 1000 },
        { 80, 1000 }, { 100, 2200 }, { 120, 2300 }
    };
    struct world *w = *state;
    char id[8];

    put_access(w, "1");
    for (size_t i = 0; i < COUNT(flows); i++) {
        snprintf(id, sizeof(id), "f%zu", i);
        put_flow(w, "1", id, flows[i][0], flows[i][0], flows[i][1]);
    }
    run(w);
    assert_int_equal(w->report.groups[GROUP_FLOW].raised, 2);
    assert_int_equal(w->report.groups[GROUP_FLOW].cleared, 1);
    assert_int_equal(w->report.groups[GROUP_FLOW].repeats, 1);
    assert_false(flow_suggestion(w, 0)->repeat);
    assert_true(flow_suggestion(w, 1)->repeat);
    assert_int_equal(flow_suggestion(w, 1)->ended_s, 0);
    assert_int_equal(w->report.groups[GROUP_FLOW].open, 1);
}

/* HF-2 holds from 1500, HF-1 joins when two flows are above 2000. */
static void test_joined(void **state)
{
    struct world *w = *state;
    const struct backtest_suggestion *s;

    put_access(w, "1");
    put_flow(w, "1", "f1", 0, 0, 1700);
    put_flow(w, "1", "f2", 20, 20, 1800);
    put_flow(w, "1", "f3", 40, 40, 2200);
    put_flow(w, "1", "f4", 60, 60, 2300);
    run(w);
    s = flow_suggestion(w, 0);
    assert_int_equal(s->rules_first & (1u << RULE_HF_1 | 1u << RULE_HF_2),
                     1u << RULE_HF_2);
    assert_true((s->rules & 1u << RULE_HF_1) != 0);
    assert_int_equal(w->report.rules[RULE_HF_2].raised, 1);
    assert_int_equal(w->report.rules[RULE_HF_1].raised, 0);
    assert_int_equal(w->report.rules[RULE_HF_1].joined, 1);
    assert_int_equal(w->report.groups[GROUP_FLOW].raised, 1);
    assert_int_equal(w->report.groups[GROUP_FLOW].joined, 1);
    assert_false(s->evidence[0].later);
    assert_true(s->evidence[s->evidence_count - 1].later);
}

/* A low finger pressure with a complaint: to be measured again. */
static void test_reminders(void **state)
{
    struct world *w = *state;

    put_access(w, "1");
    put_sign(w, "1", "s1", "hand-symptom", "coldness", 0);
    put_observation(w, "1", "d1", "final", 0, 0);
    put(w,
        ",\"code\":" CODE(
            "digital-pressure") ",\"bodySite\":{\"text\":"
                                "\"Left "
                                "hand\"},\"valueQuantity\":{\"value\":45,"
                                "\"system\":"
                                "\"http://"
                                "unitsofmeasure.org\",\"code\":\"mm[Hg]\"}}\n");
    run(w);
    assert_int_equal(w->report.groups[GROUP_HAND].reminders, 1);
    assert_int_equal(w->report.all.reminders, 1);
    assert_int_equal(w->report.groups[GROUP_HAND].raised, 0);
}

/* ---- showing -------------------------------------------------------------- */

/* Three patients: one who stays high, one whose reading is corrected, one who
 * is high only for another policy. */
static void put_three(struct world *w)
{
    put_access(w, "1");
    put_access(w, "2");
    put_access(w, "3");
    put_flow(w, "1", "f11", 0, 0, 2200);
    put_flow(w, "1", "f12", 30, 30, 2300);
    put_sign(w, "1", "e1", "access-intervention", "angioplasty-outflow", 130);
    put_flow(w, "2", "f21", 1, 1, 2100);
    put_flow(w, "2", "f22", 31, 33, 2400);
    put_correction(w, "2", "f22", 31, 40, 1240);
    put_flow(w, "3", "f31", 2, 2, 1400);
    put_flow(w, "3", "f32", 32, 32, 1450);
}

static void test_json(void **state)
{
    struct world *w = *state;
    struct buf out;

    put_three(w);
    run(w);
    buf_init(&out, 1 << 20);
    backtest_json(&w->report, w->zone, &out);
    assert_int_equal(buf_ok(&out), ERR_OK);
    assert_golden("backtest.ndjson", out.data, out.len);
    buf_clear(&out);
}

static void assert_width(const char *text)
{
    for (const char *at = text; *at != '\0'; at += strcspn(at, "\n") + 1) {
        if (strcspn(at, "\n") > BACKTEST_COLUMNS)
            fail_msg("too wide: %.*s", (int)strcspn(at, "\n"), at);
    }
}

static void test_text(void **state)
{
    struct world *w = *state;
    struct buf out;

    put_three(w);
    run(w);
    buf_init(&out, 1 << 20);
    backtest_text(&w->data, &w->report, NULL, w->zone, &out);
    assert_int_equal(buf_ok(&out), ERR_OK);
    assert_width(out.data);
    assert_golden("backtest.txt", out.data, out.len);
    buf_clear(&out);
}

/* A limit of 1300 for HF-2, twice: the third patient is put to people as well. */
static void test_against(void **state)
{
    struct world *w = *state;
    struct policy lower = w->policy;
    struct backtest_report other;
    struct backtest_data data;
    struct buf out;

    put_three(w);
    run(w);
    snprintf(lower.version, sizeof(lower.version), "8");
    lower.values[P_HF2_FLOW].value = 1300.0;
    lower.values[P_HF2_READINGS].value = 2.0;
    w->options.policy = &lower;
    assert_int_equal(backtest_run(&w->feed, &w->options, &data, &other),
                     ERR_OK);
    assert_int_equal(w->report.groups[GROUP_FLOW].raised, 2);
    assert_int_equal(other.groups[GROUP_FLOW].raised, 3);
    assert_int_equal(other.rules[RULE_HF_2].raised, 1);
    assert_near(data.patient_months, w->data.patient_months, 0.0);
    buf_init(&out, 1 << 20);
    backtest_text(&data, &w->report, &other, w->zone, &out);
    assert_int_equal(buf_ok(&out), ERR_OK);
    assert_width(out.data);
    assert_golden("backtest-against.txt", out.data, out.len);
    buf_clear(&out);
    backtest_clear(&other);
}

/* The same past twice gives the same, byte for byte. */
static void test_same_again(void **state)
{
    struct world *w = *state;
    struct backtest_report other;
    struct backtest_data data;
    struct buf first, second;

    put_three(w);
    run(w);
    assert_int_equal(backtest_run(&w->feed, &w->options, &data, &other),
                     ERR_OK);
    buf_init(&first, 1 << 20);
    buf_init(&second, 1 << 20);
    backtest_json(&w->report, w->zone, &first);
    backtest_json(&other, w->zone, &second);
    assert_string_equal(first.data, second.data);
    buf_clear(&first);
    buf_clear(&second);
    backtest_clear(&other);
}

/* Numbers that fill their column still stand apart from their neighbours. */
static void test_columns_never_touch(void **state)
{
    struct world *w = *state;
    struct buf out;

    put_access(w, "1");
    put_flow(w, "1", "f1", 0, 0, 2200);
    run(w);
    w->report.groups[GROUP_LOW_FLOW].raised = 7654321;
    w->report.groups[GROUP_LOW_FLOW].joined = 1234567;
    w->report.groups[GROUP_LOW_FLOW].lead_d = NAN;
    w->data.patient_months = 1.0;
    buf_init(&out, 1 << 20);
    backtest_text(&w->data, &w->report, NULL, w->zone, &out);
    assert_non_null(
        strstr(out.data, "low-flow    7654321 1234567 765432100.00 "));
    buf_clear(&out);
}

#define CASE(f) cmocka_unit_test_setup_teardown(f, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = { CASE(test_late_reading),
                                        CASE(test_foreseen),
                                        CASE(test_correction),
                                        CASE(test_until),
                                        CASE(test_by_time_alone),
                                        CASE(test_nothing_to_play),
                                        CASE(test_patient_months),
                                        CASE(test_columns_never_touch),
                                        CASE(test_an_export_is_told),
                                        CASE(test_a_short_span_is_no_export),
                                        CASE(test_arrival_by_effective_time),
                                        CASE(test_lead_time),
                                        CASE(test_events),
                                        CASE(test_repeat),
                                        CASE(test_joined),
                                        CASE(test_reminders),
                                        CASE(test_json),
                                        CASE(test_text),
                                        CASE(test_against),
                                        CASE(test_same_again) };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
