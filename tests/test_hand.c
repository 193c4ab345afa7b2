/*
 * The hand over time: what a session said, and what takes a sign back.
 *
 * Sources: that necrosis may be painless, and that an emergency is not over on
 * its day: common practice, no source.  That a grade of ischaemia says nothing
 * of the nerves: Kidney Int Rep 2016, doi 10.1016/j.ekir.2016.08.013.
 */
#include "tests/test.h"

#include "planner/hand.h"
#include "tests/history_kit.h"

static struct policy policy;
static struct reading readings[KIT_EVENTS_MAX];

static struct history load(const struct event *events)
{
    struct history h = { .access_type = SIGN_TYPE_AVF, .readings = readings };

    h.count = kit_readings(events, readings);
    return h;
}

#define ABSENT .absent = true

/* What one session says. */
static void reads_a_session(void **state)
{
    static const struct {
        const char *name;
        enum grade grade;
        unsigned seen, denied;
        bool scored, no_complaint;
        struct event events[4];
    } cases[] = {
        { "a symptom",
          GRADE_2A,
          HAND_BIT(SIGN_NUMBNESS),
          0,
          false,
          false,
          { SIGN(0, SIGN_NUMBNESS) } },
        { "a symptom that is not there",
          GRADE_NONE,
          0,
          HAND_BIT(SIGN_NUMBNESS),
          false,
          false,
          { SIGN(0, SIGN_NUMBNESS, ABSENT) } },
        { "denied early is not denied",
          GRADE_NONE,
          0,
          0,
          false,
          false,
          { SIGN(0, SIGN_NUMBNESS, ABSENT, EARLY) } },
        { "seen early is seen",
          GRADE_4A,
          HAND_BIT(SIGN_HAND_ULCER),
          0,
          false,
          false,
          { SIGN(0, SIGN_HAND_ULCER, EARLY) } },
        { "a grade",
          GRADE_1,
          HAND_BIT(SIGN_GRADE_1),
          0,
          true,
          false,
          { SIGN(0, SIGN_GRADE_1) } },
        { "a grade, early",
          GRADE_1,
          HAND_BIT(SIGN_GRADE_1),
          0,
          false,
          false,
          { SIGN(0, SIGN_GRADE_1, EARLY) } },
        { "no complaint",
          GRADE_NONE,
          HAND_BIT(SIGN_NO_COMPLAINT),
          0,
          false,
          true,
          { SIGN(0, SIGN_NO_COMPLAINT) } },
        { "both kinds, and a sign denied",
          GRADE_2A,
          HAND_BIT(SIGN_GRADE_2A) | HAND_BIT(SIGN_NO_COMPLAINT),
          HAND_BIT(SIGN_MOTOR_WEAKNESS),
          true,
          true,
          { SIGN(0, SIGN_GRADE_2A), SIGN(0, SIGN_NO_COMPLAINT),
            SIGN(0, SIGN_MOTOR_WEAKNESS, ABSENT) } },
    };
    static struct hand_point hand[HAND_POINTS_MAX];

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct history h = load(cases[i].events);

        ROW(cases[i].name);
        assert_int_equal(hand_collect(&h, &policy, true, hand, HAND_POINTS_MAX),
                         1);
        assert_int_equal(hand[0].grade, cases[i].grade);
        assert_int_equal(hand[0].seen, cases[i].seen);
        assert_int_equal(hand[0].denied, cases[i].denied);
        assert_int_equal(hand[0].scored, cases[i].scored);
        assert_int_equal(hand[0].no_complaint, cases[i].no_complaint);
        assert_int_equal(hand[0].graded,
                         cases[i].scored || cases[i].no_complaint);
    }
}

/* A weakness of day 0 and what is said later; see struct hand_end. */
static void takes_back(void **state)
{
    static const unsigned weak = HAND_BIT(SIGN_MOTOR_WEAKNESS);
    static const struct {
        const char *name;
        struct hand_end end;
        bool want;
        struct event events[6];
    } cases[] = {
        { "nothing said",
          { weak, weak, true, true, GRADE_3, 0 },
          false,
          { SIGN(0, SIGN_MOTOR_WEAKNESS) } },
        { "denied twice",
          { weak, weak, false, false, GRADE_NONE, 0 },
          true,
          { SIGN(1, SIGN_MOTOR_WEAKNESS, ABSENT),
            SIGN(2, SIGN_MOTOR_WEAKNESS, ABSENT) } },
        { "denied once",
          { weak, weak, false, false, GRADE_NONE, 0 },
          false,
          { SIGN(2, SIGN_MOTOR_WEAKNESS, ABSENT) } },
        { "at its own time is not later",
          { weak, weak, false, false, GRADE_NONE, 0 },
          false,
          { SIGN(0, SIGN_MOTOR_WEAKNESS, ABSENT),
            SIGN(2, SIGN_MOTOR_WEAKNESS, ABSENT) } },
        { "another sign denied",
          { weak, weak, false, false, GRADE_NONE, 0 },
          false,
          { SIGN(1, SIGN_NUMBNESS, ABSENT), SIGN(2, SIGN_NUMBNESS, ABSENT) } },
        { "a day apart",
          { weak, weak, false, false, GRADE_NONE, DAY_S },
          true,
          { SIGN(1, SIGN_MOTOR_WEAKNESS, ABSENT),
            SIGN(2, SIGN_MOTOR_WEAKNESS, ABSENT) } },
        { "one not a day apart",
          { weak, weak, false, false, GRADE_NONE, DAY_S },
          false,
          { SIGN(1 - SECOND, SIGN_MOTOR_WEAKNESS, ABSENT),
            SIGN(2, SIGN_MOTOR_WEAKNESS, ABSENT) } },
        { "seen again between",
          { weak, weak, false, false, GRADE_NONE, 0 },
          false,
          { SIGN(1, SIGN_MOTOR_WEAKNESS, ABSENT), SIGN(2, SIGN_MOTOR_WEAKNESS),
            SIGN(3, SIGN_MOTOR_WEAKNESS, ABSENT) } },
        { "seen and denied in one session",
          { weak, weak, false, false, GRADE_NONE, 0 },
          false,
          { SIGN(1, SIGN_MOTOR_WEAKNESS, ABSENT), SIGN(1, SIGN_MOTOR_WEAKNESS),
            SIGN(3, SIGN_MOTOR_WEAKNESS, ABSENT) } },
        { "seen again after two",
          { weak, weak, false, false, GRADE_NONE, 0 },
          true,
          { SIGN(1, SIGN_MOTOR_WEAKNESS, ABSENT),
            SIGN(2, SIGN_MOTOR_WEAKNESS, ABSENT),
            SIGN(3, SIGN_MOTOR_WEAKNESS) } },
        { "graded",
          { weak, weak, true, false, GRADE_3, 0 },
          true,
          { SIGN(1, SIGN_GRADE_2B), SIGN(2, SIGN_GRADE_0) } },
        { "graded the same",
          { weak, weak, true, false, GRADE_3, 0 },
          false,
          { SIGN(1, SIGN_GRADE_0), SIGN(2, SIGN_GRADE_3) } },
        { "graded, which does not count",
          { weak, weak, false, true, GRADE_3, 0 },
          false,
          { SIGN(1, SIGN_GRADE_0), SIGN(2, SIGN_GRADE_0) } },
        { "no complaint",
          { weak, weak, false, true, GRADE_1, 0 },
          true,
          { SIGN(1, SIGN_NO_COMPLAINT), SIGN(2, SIGN_NO_COMPLAINT) } },
        { "no complaint, which does not count",
          { weak, weak, true, false, GRADE_1, 0 },
          false,
          { SIGN(1, SIGN_NO_COMPLAINT), SIGN(2, SIGN_NO_COMPLAINT) } },
        { "no complaint, but cold",
          { weak, weak, false, true, GRADE_1, 0 },
          false,
          { SIGN(1, SIGN_NO_COMPLAINT), SIGN(1, SIGN_COLDNESS),
            SIGN(2, SIGN_NO_COMPLAINT) } },
    };
    static struct hand_point hand[HAND_POINTS_MAX];

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct history h = load(cases[i].events);
        size_t n = hand_collect(&h, &policy, true, hand, HAND_POINTS_MAX);

        ROW(cases[i].name);
        assert_int_equal(hand_taken_back(hand, n, kit_s(0), &cases[i].end),
                         cases[i].want);
    }
}

/* The newest point that stands is looked for, and behind it an older one. */
static void stands(void **state)
{
    static const struct {
        const char *name;
        enum grade grade;
        int want; /* the place of the point; -1: none stands */
        struct event events[6];
    } cases[] = {
        { "the newest",
          GRADE_1,
          1,
          { SIGN(0, SIGN_COLDNESS), SIGN(1, SIGN_NUMBNESS) } },
        { "the newest denied, an older one never",
          GRADE_1,
          0,
          { SIGN(0, SIGN_COLDNESS), SIGN(1, SIGN_NUMBNESS),
            SIGN(2, SIGN_NUMBNESS, ABSENT), SIGN(3, SIGN_NUMBNESS, ABSENT) } },
        { "one of two signs denied",
          GRADE_1,
          0,
          { SIGN(0, SIGN_COLDNESS), SIGN(0, SIGN_NUMBNESS),
            SIGN(2, SIGN_NUMBNESS, ABSENT), SIGN(3, SIGN_NUMBNESS, ABSENT) } },
        { "the one of that grade",
          GRADE_2A,
          -1,
          { SIGN(0, SIGN_COLDNESS), SIGN(0, SIGN_NUMBNESS),
            SIGN(2, SIGN_NUMBNESS, ABSENT), SIGN(3, SIGN_NUMBNESS, ABSENT) } },
        { "an ulcer without complaint",
          GRADE_1,
          0,
          { SIGN(0, SIGN_HAND_ULCER), SIGN(1, SIGN_NUMBNESS),
            SIGN(2, SIGN_NO_COMPLAINT), SIGN(3, SIGN_NO_COMPLAINT) } },
        { "an ulcer that was graded less",
          GRADE_4A,
          -1,
          { SIGN(0, SIGN_HAND_ULCER), SIGN(2, SIGN_GRADE_3),
            SIGN(3, SIGN_GRADE_3) } },
        { "rest pain without complaint",
          GRADE_3,
          -1,
          { SIGN(0, SIGN_GRADE_3), SIGN(2, SIGN_NO_COMPLAINT),
            SIGN(3, SIGN_NO_COMPLAINT) } },
    };
    static struct hand_point hand[HAND_POINTS_MAX];

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct history h = load(cases[i].events);
        size_t n = hand_collect(&h, &policy, false, hand, HAND_POINTS_MAX);
        size_t at = 99;

        ROW(cases[i].name);
        assert_int_equal(hand_standing(hand, n, cases[i].grade, &at),
                         cases[i].want >= 0);
        assert_int_equal(at, cases[i].want >= 0 ? cases[i].want : 99);
    }
}

static void knows_alarms(void **state)
{
    struct reading r = { .quantity = Q_HAND_SYMPTOM,
                         .sign = SIGN_HAND_ULCER,
                         .status = READING_PRELIMINARY,
                         .present = true,
                         .start_s = 1000,
                         .end_s = 2000 };
    unsigned loss = hand_signs_from(GRADE_4A);

    (void)state;
    assert_int_equal(loss, HAND_BIT(SIGN_HAND_ULCER) | HAND_BIT(SIGN_GRADE_4A) |
                               HAND_BIT(SIGN_GRADE_4B));
    assert_true(hand_is_alarm(&r, loss));
    assert_false(hand_is_alarm(&r, HAND_BIT(SIGN_MOTOR_WEAKNESS)));
    r.present = false;
    assert_false(hand_is_alarm(&r, loss));
    r.present = true;
    r.status = READING_WITHDRAWN;
    assert_false(hand_is_alarm(&r, loss));

    assert_true(hand_alarm_s(&r, 1500) == 1000);
    r.precision = AT_MONTH;
    assert_true(hand_alarm_s(&r, 1500) == 1500);
    assert_true(hand_alarm_s(&r, 2500) == 2000);
}

static void counts_territories(void **state)
{
    (void)state;
    assert_int_equal(hand_territories(HAND_BIT(SIGN_NUMBNESS)), 0);
    assert_int_equal(hand_territories(HAND_BIT(SIGN_NUMBNESS_ULNAR)), 1);
    assert_int_equal(hand_territories(HAND_BIT(SIGN_NUMBNESS_ULNAR) |
                                      HAND_BIT(SIGN_NUMBNESS_MEDIAN) |
                                      HAND_BIT(SIGN_NUMBNESS_RADIAL) |
                                      HAND_BIT(SIGN_PAIN_AT_REST)),
                     3);
}

/* Other readings may lie between those of a session. */
static void finds_the_point(void **state)
{
    static const struct event events[] = {
        FLOW(-1, 900),          SIGN(0, SIGN_COLDNESS),
        FLOW(HOURS(1), 900),    SIGN(HOURS(2), SIGN_NUMBNESS),
        SIGN(5, SIGN_COLDNESS), { .day = 0 },
    };
    static struct hand_point hand[HAND_POINTS_MAX];
    struct history h = load(events);
    size_t n = hand_collect(&h, &policy, false, hand, HAND_POINTS_MAX);

    (void)state;
    assert_int_equal(n, 2);
    assert_null(hand_point_of(hand, n, 0));
    assert_ptr_equal(hand_point_of(hand, n, 1), &hand[0]);
    assert_ptr_equal(hand_point_of(hand, n, 3), &hand[0]);
    assert_ptr_equal(hand_point_of(hand, n, 4), &hand[1]);
    assert_null(hand_point_of(hand, n, 5));
}

static int read_limits(void **state)
{
    (void)state;
    kit_policy(&policy);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_a_session),
        cmocka_unit_test(takes_back),
        cmocka_unit_test(stands),
        cmocka_unit_test(knows_alarms),
        cmocka_unit_test(counts_territories),
        cmocka_unit_test(finds_the_point),
    };

    return cmocka_run_group_tests(tests, read_limits, NULL);
}
