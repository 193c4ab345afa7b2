/* What happened at an access: an invented year word by word, and numbers
 * against what is counted anew from the readings. */
#include "tests/test.h"

#include "adapters/sign_words.h"
#include "adapters/timeline.h"
#include "tests/chart_kit.h"
#include "tests/golden.h"

#include <jansson.h>

enum { SAID_MOST = 32 };

static struct chart_kit kit;
static struct zone *zone;
static struct timeline_said said[SAID_MOST];
static struct timeline_open open_list[SAID_MOST];
static struct timeline_source source;
static struct timeline timeline;

static int64_t ago_s(double days)
{
    return chart_now_s - (int64_t)llround(days * 86400);
}

static void begin(void)
{
    chart_start(&kit);
    source = (struct timeline_source){ .history = &kit.h,
                                       .policy = &kit.policy,
                                       .zone = zone,
                                       .patient = "Fictional, Wren",
                                       .patient_number = "1001",
                                       .access = "Fistula A-7 (left upper arm)",
                                       .said = said,
                                       .open = open_list,
                                       .follow_up_s = INT64_MAX };
}

static void make(void)
{
    chart_done(&kit, SIGN_TYPE_AVF);
    timeline_clear(&timeline);
    assert_int_equal(timeline_make(&source, &timeline), ERR_OK);
}

static void say(double days_ago, enum timeline_act act, bool reminder,
                enum group group, int number, double due_ago)
{
    struct timeline_said *s = &said[source.said_count++];

    assert_in_range(source.said_count, 1, SAID_MOST);
    *s = (struct timeline_said){ .at_s = ago_s(days_ago),
                                 .act = act,
                                 .reminder = reminder,
                                 .group = group,
                                 .number = number,
                                 .urgency = URGENCY_ROUTINE,
                                 .due_s = ago_s(due_ago),
                                 .task = "t-1" };
}

static void stand(bool reminder, enum group group, int number, double due_ago,
                  double ended_ago, bool overdue)
{
    struct timeline_open *o = &open_list[source.open_count++];

    assert_in_range(source.open_count, 1, SAID_MOST);
    *o = (struct timeline_open){ .reminder = reminder,
                                 .open = isnan(ended_ago),
                                 .overdue = overdue,
                                 .group = group,
                                 .number = number,
                                 .due_s = ago_s(due_ago),
                                 .ended_s = isnan(ended_ago) ? INT64_MIN
                                                             : ago_s(ended_ago),
                                 .task = "t-2" };
}

static const struct timeline_entry *find(enum timeline_kind kind, size_t nth)
{
    for (size_t i = 0; i < timeline.count; i++) {
        if (timeline.entries[i].kind == kind && nth-- == 0)
            return &timeline.entries[i];
    }
    fail_msg("there is no such entry");
    return NULL;
}

/* ---- a year --------------------------------------------------------------- */

/* A fistula of high flow is banded, the flow falls by half; a follow-up is
 * forgotten; the band is stretched. */
static void invent_year(void)
{
    begin();
    chart_sign(&kit, 700, SIGN_CREATED)->precision = AT_MONTH;
    chart_flow(&kit, 360, 2240, METHOD_ULTRASOUND_DILUTION);
    chart_flow(&kit, 330, 2200, METHOD_ULTRASOUND_DILUTION);
    chart_flow(&kit, 330 - 1 / 24.0, 2320, METHOD_ULTRASOUND_DILUTION);
    chart_sign(&kit, 329, SIGN_PAIN_ON_DIALYSIS);
    chart_sign(&kit, 327, SIGN_PAIN_ON_DIALYSIS);
    chart_sign(&kit, 327, SIGN_NO_COMPLAINT);
    chart_flow(&kit, 310, 4000, METHOD_DUPLEX)->bound = BOUND_ABOVE;
    chart_sign(&kit, 300.02, SIGN_BANDED);
    chart_add(&kit, 300, Q_DOWEL_DIAMETER, 4);
    chart_flow(&kit, 298, 1130, METHOD_ULTRASOUND_DILUTION);
    chart_flow(&kit, 290, 1100, METHOD_ULTRASOUND_DILUTION);
    chart_flow(&kit, 120, 1180, METHOD_ULTRASOUND_DILUTION);
    chart_add(&kit, 60, Q_BAND_STRETCHED, 5);
    chart_flow(&kit, 45, 1475, METHOD_ULTRASOUND_DILUTION);
    chart_flow(&kit, 3, 1500, METHOD_ULTRASOUND_DILUTION)->status =
        READING_PRELIMINARY;
    say(330, TIMELINE_OPENED, false, GROUP_FLOW, 1, 300);
    said[0].rules = 1U << RULE_HF_1 | 1U << RULE_HF_2;
    say(325, TIMELINE_TAKEN, false, GROUP_FLOW, 1, 300);
    say(299, TIMELINE_COMPLETED, false, GROUP_FLOW, 1, 300);
    say(290, TIMELINE_OPENED, true, GROUP_FOLLOW_UP, 1, 286);
    say(288, TIMELINE_RECORDED, true, GROUP_FOLLOW_UP, 1, 286);
    say(275, TIMELINE_OPENED, true, GROUP_FOLLOW_UP, 2, 265);
    say(119.5, TIMELINE_RECORDED, true, GROUP_FOLLOW_UP, 2, 265);
    say(40, TIMELINE_OPENED, false, GROUP_AFTER_BAND, 1, 10);
    said[7].urgency = URGENCY_URGENT;
    said[7].rules = 1U << RULE_PB_4;
    said[7].silent = true;
    say(20, TIMELINE_OPENED, true, GROUP_FOLLOW_UP, 3, -6);
    stand(false, GROUP_FLOW, 1, 300, 299, false);
    stand(true, GROUP_FOLLOW_UP, 1, 286, 288, false);
    stand(true, GROUP_FOLLOW_UP, 2, 265, 119.5, true);
    stand(false, GROUP_AFTER_BAND, 1, 10, NAN, false);
    open_list[3].taken = open_list[3].silent = true;
    stand(true, GROUP_FOLLOW_UP, 3, -6, NAN, false);
    source.follow_up_s = ago_s(-30);
    make();
}

static void an_invented_year(void **state)
{
    struct buf out;

    (void)state;
    invent_year();
    buf_init(&out, 1 << 20);
    timeline_text(&source, &timeline, &out);
    assert_int_equal(buf_ok(&out), ERR_OK);
    assert_golden("timeline.txt", out.data, out.len);
    buf_empty(&out);
    timeline_json(&source, &timeline, &out);
    assert_int_equal(buf_ok(&out), ERR_OK);
    assert_golden("timeline.ndjson", out.data, out.len);
    buf_clear(&out);
}

/* By hand: 2260 is the mean of 2200 and 2320; 1130 is half of it; 1475 is
 * 25 % more than 1180. */
static void changes_are_those_of_the_hand(void **state)
{
    (void)state;
    invent_year();
    assert_near(find(TIMELINE_TREATMENT, 1)->change.before_ml_min, 2260, 1e-9);
    assert_near(find(TIMELINE_TREATMENT, 1)->change.after_ml_min, 1130, 1e-9);
    assert_near(find(TIMELINE_TREATMENT, 1)->change.pct, -50, 1e-9);
    assert_near(find(TIMELINE_TREATMENT, 2)->change.pct, 25, 1e-9);
    /* due on 6 March, recorded on 29 July: 25 + 30 + 31 + 30 + 29 */
    assert_int_equal(find(TIMELINE_OVERDUE, 0)->days, 145);
    /* from the flow 290 days before now to the one 120 days before */
    assert_int_equal(find(TIMELINE_GAP, 0)->days, 170);
    assert_int_equal(find(TIMELINE_SIGN, 0)->times, 2);
}

/* Every line is one object, in the opinion of another library than the one
 * that wrote it, and its times rise. */
static void each_line_is_an_object(void **state)
{
    struct buf out;
    char before[32] = "";
    size_t lines = 0;

    (void)state;
    invent_year();
    buf_init(&out, 1 << 20);
    timeline_json(&source, &timeline, &out);
    for (char *line = out.data, *end; *line != '\0'; line = end + 1) {
        json_t *tree;
        const char *at;

        end = strchr(line, '\n');
        assert_non_null(end);
        tree = json_loadb(line, (size_t)(end - line), JSON_REJECT_DUPLICATES,
                          NULL);
        assert_true(json_is_object(tree));
        assert_true(json_is_string(json_object_get(tree, "kind")));
        at = json_string_value(json_object_get(tree, "at"));
        if (at != NULL) {
            assert_true(strcmp(before, at) <= 0);
            snprintf(before, sizeof(before), "%s", at);
        }
        json_decref(tree);
        lines++;
    }
    /* the access, what happened, three that are due */
    assert_int_equal(lines, 1 + timeline.count + 3);
    buf_clear(&out);
}

/* ---- flows before and after ----------------------------------------------- */

/* The same found anew among the readings, without points and series: flows of
 * one method a month apart, so that each is a session of its own. */
static void judge_change(const struct timeline_entry *e)
{
    double before = NAN, after = NAN;
    int64_t from_s = INT64_MIN, to_s = INT64_MAX;

    for (size_t i = 0; i < kit.count; i++) {
        const struct reading *r = &kit.readings[i];

        if (r->quantity != Q_ACCESS_INTERVENTION)
            continue;
        if (r->start_s < e->at_s)
            from_s = r->start_s;
        if (r->start_s > e->at_s && to_s == INT64_MAX)
            to_s = r->start_s;
    }
    for (size_t i = 0; i < kit.count; i++) {
        const struct reading *r = &kit.readings[i];

        if (r->quantity != Q_ACCESS_FLOW)
            continue;
        if (r->start_s >= from_s && r->start_s < e->at_s)
            before = r->value;
        if (r->start_s >= e->at_s && r->start_s < to_s && isnan(after))
            after = r->value;
    }
    assert_true(isnan(before) == isnan(e->change.before_ml_min));
    assert_true(isnan(after) == isnan(e->change.after_ml_min));
    if (!isnan(before))
        assert_near(e->change.before_ml_min, before, 1e-9);
    if (!isnan(before) && !isnan(after))
        assert_near(1 + e->change.pct / 100, after / before, 1e-12);
    else
        assert_true(isnan(e->change.pct));
}

static void changes_at_random(void **state)
{
    (void)state;
    for (uint32_t seed = 1; seed <= 40; seed++) {
        begin();
        kit.seed = seed;
        for (int i = 0; i < 30; i++)
            chart_flow(&kit, 900 - 30 * i, 400 + 2000 * chart_random(&kit),
                       METHOD_THERMODILUTION);
        for (int i = 0; i < 12; i++)
            chart_sign(&kit, 890 - 70 * i - 50 * chart_random(&kit),
                       SIGN_ANGIOPLASTY_OUTFLOW);
        make();
        for (size_t i = 0; i < 12; i++)
            judge_change(find(TIMELINE_TREATMENT, i));
    }
}

static void two_methods_are_not_compared(void **state)
{
    const struct timeline_change *c;
    struct buf out;

    (void)state;
    begin();
    chart_flow(&kit, 30, 2000, METHOD_DUPLEX);
    chart_add(&kit, 20, Q_DOWEL_DIAMETER, 4);
    chart_flow(&kit, 10, 1000, METHOD_THERMODILUTION);
    make();
    c = &find(TIMELINE_TREATMENT, 0)->change;
    assert_true(isnan(c->pct));
    assert_near(c->before_ml_min, 2000, 0);
    buf_init(&out, 1 << 16);
    timeline_text(&source, &timeline, &out);
    assert_non_null(strstr(out.data, "two methods are not compared"));
    buf_clear(&out);
    /* an older one by the same method goes before */
    chart_flow(&kit, 40, 1600, METHOD_THERMODILUTION);
    make();
    assert_near(find(TIMELINE_TREATMENT, 0)->change.pct, -37.5, 1e-9);
}

/* Neither a bound, nor what is preliminary or contradicts itself, is a number
 * to compare with. */
static void doubtful_flows_are_not_compared(void **state)
{
    (void)state;
    begin();
    chart_flow(&kit, 60, 2000, METHOD_DUPLEX);
    chart_flow(&kit, 50, 4000, METHOD_DUPLEX)->bound = BOUND_ABOVE;
    chart_flow(&kit, 40, 2500, METHOD_DUPLEX)->status = READING_PRELIMINARY;
    chart_flow(&kit, 30, 1500, METHOD_DUPLEX);
    chart_flow(&kit, 30 - 1 / 24.0, 2600, METHOD_DUPLEX);
    chart_add(&kit, 20, Q_BAND_RELEASED, 1);
    make();
    assert_near(find(TIMELINE_TREATMENT, 0)->change.before_ml_min, 2000, 0);
    assert_true(isnan(find(TIMELINE_TREATMENT, 0)->change.after_ml_min));
}

/* Treatments are loaded at any age, flows of two years alone: one measured two
 * years after a treatment does not tell what it did. */
static void of_long_ago_only_the_treatment_is_known(void **state)
{
    const struct timeline_entry *old, *late;

    (void)state;
    begin();
    chart_sign(&kit, 3 * 365, SIGN_ANGIOPLASTY_OUTFLOW);
    chart_flow(&kit, 700, 900, METHOD_THERMODILUTION);
    chart_sign(&kit, 600, SIGN_ANGIOPLASTY_OUTFLOW);
    chart_flow(&kit, 500, 1200, METHOD_THERMODILUTION);
    make();
    old = find(TIMELINE_TREATMENT, 0);
    late = find(TIMELINE_TREATMENT, 1);
    assert_true(old->at_s < late->at_s);
    assert_true(isnan(old->change.after_ml_min));
    assert_near(late->change.before_ml_min, 900, 0);
    assert_near(late->change.after_ml_min, 1200, 0);
}

/* ---- what is due ---------------------------------------------------------- */

static void an_open_reminder_is_overdue_to_now(void **state)
{
    struct buf out;

    (void)state;
    begin();
    chart_add(&kit, 100, Q_DOWEL_DIAMETER, 4);
    stand(true, GROUP_FOLLOW_UP, 1, 60, NAN, true);
    make();
    assert_int_equal(find(TIMELINE_OVERDUE, 0)->days, 60);
    assert_int_equal(find(TIMELINE_GAP, 0)->days, 100);
    assert_true(find(TIMELINE_GAP, 0)->gap_goes_on);
    buf_init(&out, 1 << 16);
    timeline_text(&source, &timeline, &out);
    assert_non_null(strstr(out.data, "not done, 60 days overdue now"));
    assert_non_null(strstr(out.data, "no flow came for 14 weeks, since "
                                     "2026-08-18, though a follow-up was "
                                     "due"));
    assert_non_null(strstr(out.data, "due by 2026-09-27; 60 days overdue"));
    buf_clear(&out);
}

static void a_missed_visit_is_told(void **state)
{
    struct buf out;

    (void)state;
    begin();
    chart_add(&kit, 100, Q_DOWEL_DIAMETER, 4);
    stand(true, GROUP_FOLLOW_UP, 1, 60, 57, true);
    open_list[0].missed = true;
    make();
    buf_init(&out, 1 << 16);
    timeline_text(&source, &timeline, &out);
    assert_non_null(strstr(out.data,
                           "2026-09-27  reminder \"follow-up 1\" was due by "
                           "this day: not recorded in time, a suggestion took "
                           "its place"));
    assert_non_null(strstr(out.data, "no flow came for 14 weeks"));
    buf_clear(&out);
}

static void the_soonest_is_first(void **state)
{
    size_t list[TIMELINE_NEXT_MAX];

    (void)state;
    begin();
    stand(true, GROUP_FOLLOW_UP, 1, -20, NAN, false);
    stand(false, GROUP_FLOW, 1, -5, NAN, false);
    stand(false, GROUP_HAND, 1, -1, 3, false);
    stand(true, GROUP_FLOW, 2, 2, NAN, true);
    make();
    assert_int_equal(timeline_next(&source, list, TIMELINE_NEXT_MAX), 3);
    assert_int_equal(list[0], 3);
    assert_int_equal(list[1], 1);
    assert_int_equal(list[2], 0);
}

/* Without a catalogue a sign is called as the planner calls it. */
static void signs_have_one_name(void **state)
{
    static const int flags[] = { Q_BLEEDING_PROLONGED, Q_BLEEDING_ACTIVE,
                                 Q_RUPTURE_THREAT };

    (void)state;
    for (int s = SIGN_NONE + 1; s < SIGN_COUNT; s++)
        assert_string_equal(sign_words(Q_NONE, (enum sign)s),
                            sign_info((enum sign)s)->display);
    for (size_t i = 0; i < COUNT(flags); i++)
        assert_string_equal(sign_words((enum quantity)flags[i], SIGN_NONE),
                            quantity_info((enum quantity)flags[i])->display);
}

static void nothing_is_said_to_be_nothing(void **state)
{
    struct buf out;

    (void)state;
    begin();
    source.patient = "";
    make();
    buf_init(&out, 1 << 16);
    timeline_text(&source, &timeline, &out);
    assert_non_null(strstr(out.data, "Nothing is recorded."));
    assert_non_null(strstr(out.data, "Nothing is due."));
    assert_non_null(strstr(out.data, "Patient: not known"));
    buf_clear(&out);
}

static void the_newest_are_kept(void **state)
{
    (void)state;
    begin();
    for (int i = 0; i < TIMELINE_MAX + 100; i++)
        chart_flow(&kit, 2 * (TIMELINE_MAX + 100 - i), 1500,
                   METHOD_THERMODILUTION);
    make();
    assert_int_equal(timeline.count, TIMELINE_MAX);
    assert_int_equal(timeline.lost, 100);
    assert_int_equal(timeline.entries[TIMELINE_MAX - 1].at_s, ago_s(2));
}

static int start(void **state)
{
    (void)state;
    return zone_load("Europe/Berlin", &zone) == ERR_OK ? 0 : -1;
}

static int stop(void **state)
{
    (void)state;
    timeline_clear(&timeline);
    zone_free(zone);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_invented_year),
        cmocka_unit_test(changes_are_those_of_the_hand),
        cmocka_unit_test(each_line_is_an_object),
        cmocka_unit_test(changes_at_random),
        cmocka_unit_test(two_methods_are_not_compared),
        cmocka_unit_test(doubtful_flows_are_not_compared),
        cmocka_unit_test(of_long_ago_only_the_treatment_is_known),
        cmocka_unit_test(an_open_reminder_is_overdue_to_now),
        cmocka_unit_test(a_missed_visit_is_told),
        cmocka_unit_test(the_soonest_is_first),
        cmocka_unit_test(signs_have_one_name),
        cmocka_unit_test(nothing_is_said_to_be_nothing),
        cmocka_unit_test(the_newest_are_kept),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
