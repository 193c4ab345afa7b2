/* Sessions as points, points as runs, and the points of the hand. */
#include "tests/test.h"

#include "planner/hand.h"
#include "tests/history_kit.h"

static struct policy policy;

static struct reading readings[KIT_EVENTS_MAX];
static struct point points[POINTS_MAX];

static struct history load(const struct event *events)
{
    return (struct history){ .access_type = SIGN_TYPE_AVF,
                             .now_s = kit_s(100),
                             .readings = readings,
                             .count = kit_readings(events, readings) };
}

/* "1000 2 | >4000 1 again": value, readings, marks of each point */
static const struct {
    const char *name;
    bool blank;
    const char *want;
    struct event events[12];
} sessions[] = {
    { "nothing", true, "", { { .day = 0 } } },
    { "one", true, "1000 1", { FLOW(0, 1000) } },
    { "mean of three",
      true,
      "1020 3",
      { FLOW(0, 1000), FLOW(HOURS(1), 1010), FLOW(HOURS(2), 1050) } },
    { "end of the session",
      true,
      "1010 2",
      { FLOW(0, 1000), FLOW(HOURS(4), 1020) } },
    { "next session, too soon to confirm",
      true,
      "1000 1 | 1020 1 again",
      { FLOW(0, 1000), FLOW(HOURS(4) + SECOND, 1020) } },
    { "half a day later",
      true,
      "1000 1 | 1020 1",
      { FLOW(0, 1000), FLOW(HOURS(12), 1020) } },
    { "soon after the one that was too soon",
      true,
      "1000 1 | 1020 1 again | 1010 1",
      { FLOW(0, 1000), FLOW(HOURS(8), 1020), FLOW(HOURS(16), 1010) } },
    /* a session starts at its first reading, not at the one before */
    { "no chain",
      true,
      "1010 2 | 1040 1 again",
      { FLOW(0, 1000), FLOW(HOURS(3), 1020), FLOW(HOURS(6), 1040) } },
    /* within-session spread: Huisman, Nephrol Dial Transplant 2005 */
    { "a fifth apart", true, "1000 2", { FLOW(0, 900), FLOW(HOURS(1), 1100) } },
    { "more than a fifth",
      true,
      "1000 2 disagree",
      { FLOW(0, 899), FLOW(HOURS(1), 1101) } },
    { "a third between them",
      true,
      "1000 3 disagree",
      { FLOW(0, 890), FLOW(HOURS(1), 1110), FLOW(HOURS(2), 1000) } },
    { "methods apart",
      true,
      "1000 1 | 1020 1",
      { FLOW(0, 1000), FLOW(HOURS(1), 1020, .method = METHOD_DUPLEX) } },
    { "methods in turn",
      true,
      "1010 2 | 2010 2",
      { FLOW(0, 1000), FLOW(HOURS(1), 2000, .method = METHOD_DUPLEX),
        FLOW(HOURS(2), 1020), FLOW(HOURS(3), 2020, .method = METHOD_DUPLEX) } },
    { "bounds stand alone",
      true,
      "1000 1 | >4000 1 again",
      { FLOW(0, 1000), FLOW(HOURS(1), 4000, .bound = BOUND_ABOVE) } },
    { "a bound between",
      true,
      "1010 2 | >4000 1 again",
      { FLOW(0, 1000), FLOW(HOURS(1), 4000, .bound = BOUND_ABOVE),
        FLOW(HOURS(2), 1020) } },
    { "eight and one more",
      true,
      "1000 8 | 1000 1 again",
      { FLOW(0, 1000), FLOW(0.01, 1000), FLOW(0.02, 1000), FLOW(0.03, 1000),
        FLOW(0.04, 1000), FLOW(0.05, 1000), FLOW(0.06, 1000), FLOW(0.07, 1000),
        FLOW(0.08, 1000) } },
    { "one day",
      true,
      "1010 2",
      { FLOW(0, 1000, .precision = AT_DAY),
        FLOW(0.5, 1020, .precision = AT_DAY) } },
    { "a day and a time of it",
      true,
      "1010 2",
      { FLOW(0, 1000, .precision = AT_DAY), FLOW(0.9, 1020) } },
    { "a day and the next",
      true,
      "1000 1 | 1020 1",
      { FLOW(0, 1000, .precision = AT_DAY), FLOW(1, 1020) } },
    { "unusable",
      true,
      "1000 1",
      { FLOW(0, NAN), FLOW(0, 900, .precision = AT_MONTH),
        FLOW(0, 900, .precision = AT_YEAR),
        FLOW(0, 900, .status = READING_WITHDRAWN),
        FLOW(0, 900, .status = READING_PRELIMINARY), OUTPUT(0, 6),
        FLOW(0, 1000, .status = READING_CORRECTED) } },
    { "never across a dowel",
      false,
      "1000 1 | 700 1 restart",
      { FLOW(0, 1000), NUMBER(HOURS(1), Q_DOWEL_DIAMETER, 4),
        FLOW(HOURS(2), 700) } },
    { "within a stage",
      false,
      "1000 1 | 710 2 restart",
      { FLOW(0, 1000), NUMBER(HOURS(1), Q_DOWEL_DIAMETER, 4),
        FLOW(HOURS(2), 700), FLOW(HOURS(3), 720) } },
    { "blanked",
      true,
      "1000 1 | 720 1 restart",
      { FLOW(0, 1000), SIGN(1, SIGN_BANDED), FLOW(8 - SECOND, 700),
        FLOW(8, 720) } },
    { "not blanked",
      false,
      "1000 1 | 700 1 restart | 720 1",
      { FLOW(0, 1000), SIGN(1, SIGN_BANDED), FLOW(2, 700), FLOW(8, 720) } },
    { "told after it",
      false,
      "700 1 restart",
      { FLOW(0, 700, .precision = AT_DAY),
        SIGN(0, SIGN_BANDED, .precision = AT_DAY) } },
    { "not done",
      false,
      "1000 1 | 700 1",
      { FLOW(0, 1000), SIGN(1, SIGN_BANDED, .absent = true),
        NUMBER(1, Q_BAND_RELEASED, 0), FLOW(2, 700) } },
    { "done, but withdrawn",
      false,
      "1000 1 | 700 1",
      { FLOW(0, 1000), SIGN(1, SIGN_BANDED, .status = READING_WITHDRAWN),
        FLOW(2, 700) } },
};

static void make_points(void **state)
{
    char text[512];
    int wrong = 0;

    (void)state;
    for (size_t i = 0; i < COUNT(sessions); i++) {
        struct history h = load(sessions[i].events);
        size_t len = 0,
               n = points_collect(&h, &policy, Q_ACCESS_FLOW, sessions[i].blank,
                                  points, POINTS_MAX);

        text[0] = '\0';
        for (size_t k = 0; k < n; k++)
            len += (size_t)snprintf(text + len, sizeof(text) - len,
                                    "%s%s%g %zu%s%s%s", k > 0 ? " | " : "",
                                    points[k].bound == BOUND_ABOVE ? ">" : "",
                                    points[k].value, points[k].reading_count,
                                    points[k].disagree ? " disagree" : "",
                                    points[k].restart ? " restart" : "",
                                    points[k].again ? " again" : "");
        if (strcmp(text, sessions[i].want) == 0)
            continue;
        wrong++;
        print_error("%s: got \"%s\", not \"%s\"\n", sessions[i].name, text,
                    sessions[i].want);
    }
    assert_int_equal(wrong, 0);
}

/* Full: the newest stay, and their readings are the right ones. */
static void keep_the_newest(void **state)
{
    struct event events[KIT_EVENTS_MAX] = { 0 };
    struct history h;
    size_t n;

    (void)state;
    for (int i = 0; i < 20; i++)
        events[i] = (struct event)FLOW(i, 1000 + i);
    h = load(events);
    n = points_collect(&h, &policy, Q_ACCESS_FLOW, true, points, 5);
    assert_int_equal(n, 5);
    for (size_t i = 0; i < n; i++) {
        assert_near(points[i].value, 1015 + (double)i, 0);
        assert_int_equal(points[i].readings[0], 15 + i);
        assert_true(points[i].at_s == kit_s(15 + (double)i));
    }
}

/* Runs: above 2000, n in a row within 90 days, 10 % to clear. */
static const struct {
    const char *name;
    int needed;
    bool on;
    size_t count;   /* points kept */
    double off_day; /* -1: never went off */
    bool confirmed; /* two near each other */
    struct event events[12];
} runs[] = {
    { "empty", 2, false, 0, -1, false, { { .day = 0 } } },
    { "one of two", 2, false, 1, -1, false, { FLOW(0, 2100) } },
    { "two of two", 2, true, 2, -1, true, { FLOW(0, 2100), FLOW(10, 2100) } },
    { "one of one", 1, true, 1, -1, false, { FLOW(0, 2100) } },
    { "two of three",
      3,
      false,
      2,
      -1,
      true,
      { FLOW(0, 2100), FLOW(10, 2100) } },
    { "three of three",
      3,
      true,
      3,
      -1,
      true,
      { FLOW(0, 2100), FLOW(10, 2100), FLOW(20, 2100) } },
    { "broken",
      2,
      false,
      1,
      -1,
      false,
      { FLOW(0, 2100), FLOW(10, 1999), FLOW(20, 2100) } },
    { "too late", 2, false, 1, -1, false, { FLOW(0, 2100), FLOW(91, 2100) } },
    { "some hours late is not late",
      2,
      true,
      2,
      -1,
      true,
      { FLOW(0, 2100), FLOW(91 - SECOND, 2100) } },
    { "one of one, again late",
      1,
      true,
      2,
      -1,
      false,
      { FLOW(0, 2100), FLOW(91, 2100) } },
    { "went off",
      2,
      false,
      0,
      30,
      false,
      { FLOW(0, 2100), FLOW(10, 2100), FLOW(20, 1799), FLOW(30, 1799) } },
    { "nearly went off",
      2,
      true,
      2,
      -1,
      true,
      { FLOW(0, 2100), FLOW(10, 2100), FLOW(20, 1799), FLOW(30, 1800) } },
    { "on again",
      2,
      true,
      2,
      30,
      true,
      { FLOW(0, 2100), FLOW(10, 2100), FLOW(20, 1799), FLOW(30, 1799),
        FLOW(40, 2100), FLOW(50, 2100) } },
    { "restarted",
      2,
      false,
      1,
      30,
      false,
      { FLOW(0, 2100), FLOW(10, 2100), SIGN(20, SIGN_BANDED),
        FLOW(30, 2100) } },
    { "passed over",
      2,
      true,
      2,
      -1,
      true,
      { FLOW(0, 2100), FLOW(10, 500), FLOW(10.1, 2500), FLOW(20, 2100) } },
    /* replicates that disagree among each other, not about the limit */
    { "all of them lower",
      2,
      false,
      1,
      -1,
      false,
      { FLOW(0, 2100), FLOW(10, 500), FLOW(10.1, 1999), FLOW(20, 2100) } },
    { "all of them higher",
      2,
      true,
      2,
      -1,
      true,
      { FLOW(0, 2100), FLOW(10, 2000), FLOW(10.1, 3000) } },
    { "one of them just lower",
      2,
      false,
      1,
      -1,
      false,
      { FLOW(0, 2100), FLOW(10, 1999), FLOW(10.1, 3000) } },
    { "went off by all of them",
      2,
      false,
      0,
      30,
      false,
      { FLOW(0, 2100), FLOW(10, 2100), FLOW(20, 900), FLOW(20.1, 1799),
        FLOW(30, 900), FLOW(30.1, 1799) } },
    { "not all of them well inside",
      2,
      true,
      2,
      -1,
      true,
      { FLOW(0, 2100), FLOW(10, 2100), FLOW(20, 900), FLOW(20.1, 1800),
        FLOW(30, 900), FLOW(30.1, 1799) } },
};

static void walk_runs(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(runs); i++) {
        struct run_rule rule = { .limit = 2000,
                                 .above = true,
                                 .readings = runs[i].needed,
                                 .window_d = 90,
                                 .hysteresis_pct = 10 };
        struct history h = load(runs[i].events);
        size_t n = points_collect(&h, &policy, Q_ACCESS_FLOW, true, points,
                                  POINTS_MAX);
        struct run run;

        ROW(runs[i].name);
        run_walk(&rule, points, n, METHOD_UNSTATED, &run);
        assert_int_equal(run.on, runs[i].on);
        assert_int_equal(run.count, runs[i].count);
        assert_true(run.off_s ==
                    (runs[i].off_day < 0 ? 0 : kit_s(runs[i].off_day)));
        assert_int_equal(run_confirmed(&rule, points, &run), runs[i].confirmed);
        assert_int_equal(run_best(&rule, points, n, &run), runs[i].on);
    }
}

/* Runs by settings of the rule; low_day: measured at low pressure then. */
static const struct {
    const char *name;
    struct run_rule rule;
    double low_day; /* 0: none */
    bool on;
    const char *want; /* the points that it rests on */
    struct event events[12];
} settings[] = {
#define OF(n, last)                                                            \
    {                                                                          \
        .limit = 2000, .above = true, .readings = (n), .of_last = (last),      \
        .window_d = 90, .hysteresis_pct = 10                                   \
    }
#define STRICT                                                                 \
    {                                                                          \
        .limit = 25, .above = true, .strict = true, .readings = 1,             \
        .window_d = 90, .hysteresis_pct = 10                                   \
    }
#define APART(n, d)                                                            \
    {                                                                          \
        .limit = 1200, .readings = (n), .window_d = 70, .apart_d = (d),        \
        .hysteresis_pct = 10                                                   \
    }
#define SPAN(n, d)                                                             \
    {                                                                          \
        .limit = 2000, .above = true, .readings = (n), .window_d = 30,         \
        .span_d = (d), .hysteresis_pct = 10                                    \
    }
#define SKIP(skip)                                                             \
    {                                                                          \
        .limit = 500, .readings = 2, .window_d = 45, .hysteresis_pct = 10,     \
        .skip_low_pressure = (skip)                                            \
    }
    { "2 of 3: two in a row",
      OF(2, 3),
      0,
      true,
      "2100 2110",
      { FLOW(1, 2100), FLOW(10, 2110) } },
    { "2 of 3: one between",
      OF(2, 3),
      0,
      true,
      "2100 2120",
      { FLOW(1, 2100), FLOW(10, 1700), FLOW(20, 2120) } },
    { "2 of 3: two between",
      OF(2, 3),
      0,
      false,
      "2130",
      { FLOW(1, 2100), FLOW(10, 1900), FLOW(20, 1900), FLOW(30, 2130) } },
    { "2 of 3: lower, high, high",
      OF(2, 3),
      0,
      true,
      "2110 2120",
      { FLOW(1, 1700), FLOW(10, 2110), FLOW(20, 2120) } },
    { "2 of 3: the last is lower",
      OF(2, 3),
      0,
      true,
      "2100 2110",
      { FLOW(1, 2100), FLOW(10, 2110), FLOW(20, 1700) } },
    { "2 of 3: one between, at the end of the window",
      OF(2, 3),
      0,
      true,
      "2100 2120",
      { FLOW(1, 2100), FLOW(10, 1700), FLOW(91, 2120) } },
    { "2 of 3: one between, after the window",
      OF(2, 3),
      0,
      false,
      "2120",
      { FLOW(1, 2100), FLOW(10, 1700), FLOW(92, 2120) } },
    { "2 of 3: went off, and one is no return",
      OF(2, 3),
      0,
      false,
      "2120",
      { FLOW(1, 2100), FLOW(10, 2110), FLOW(20, 1700), FLOW(30, 1700),
        FLOW(40, 2120) } },
    { "2 of 5: went off, and what was before is gone",
      OF(2, 5),
      0,
      false,
      "2120",
      { FLOW(1, 2100), FLOW(10, 2110), FLOW(20, 1700), FLOW(30, 1700),
        FLOW(40, 2120) } },
    { "2 of 3: once inside between does not end it",
      OF(2, 3),
      0,
      true,
      "2100 2110 2120",
      { FLOW(1, 2100), FLOW(10, 2110), FLOW(20, 1700), FLOW(30, 2120),
        FLOW(40, 1700) } },
    { "2 of 3: restarted",
      OF(2, 3),
      0,
      false,
      "2120",
      { FLOW(1, 2100), FLOW(10, 1700), SIGN(11, SIGN_BANDED),
        FLOW(20, 2120) } },
    { "2 of 3: values of one session count once",
      OF(2, 3),
      0,
      false,
      "2100 4000",
      { FLOW(1, 2100), FLOW(1 + HOURS(1), 4000, .bound = BOUND_ABOVE) } },
    /* the newest value of a session tells, and the rest is no evidence */
    { "3 of 5: a session that contradicts itself",
      OF(3, 5),
      0,
      false,
      "2100 2120",
      { FLOW(1, 2100), FLOW(10, 2110),
        FLOW(10 + HOURS(1), 900, .bound = BOUND_AT_MOST), FLOW(20, 2120) } },
    { "3 of 5",
      OF(3, 5),
      0,
      true,
      "2100 2120 2140",
      { FLOW(1, 2100), FLOW(10, 1700), FLOW(20, 2120), FLOW(30, 1700),
        FLOW(40, 2140) } },
    { "3 of 5: the first has gone",
      OF(3, 5),
      0,
      false,
      "2120 2150",
      { FLOW(1, 2100), FLOW(10, 1900), FLOW(20, 2120), FLOW(30, 1900),
        FLOW(40, 1900), FLOW(50, 2150) } },
    /* replicates that disagree are not mended by one more of their session */
    { "2 of 2: beside replicates that disagree",
      OF(2, 0),
      0,
      false,
      "2100",
      { FLOW(1, 2100), FLOW(10, 1500), FLOW(10 + HOURS(1), 2500),
        FLOW(10 + HOURS(2), 4000, .bound = BOUND_ABOVE) } },
    { "2 of 2: and are no denial",
      OF(2, 0),
      0,
      true,
      "2100 2120",
      { FLOW(1, 2100), FLOW(10, 1500), FLOW(10 + HOURS(1), 2500),
        FLOW(10 + HOURS(2), 900, .bound = BOUND_BELOW), FLOW(20, 2120) } },

    { "strict: on the limit", STRICT, 0, false, "", { FLOW(1, 25) } },
    { "strict: beyond", STRICT, 0, true, "25.1", { FLOW(1, 25.1) } },
    { "strict: > the limit",
      STRICT,
      0,
      true,
      "25",
      { FLOW(1, 25, .bound = BOUND_ABOVE) } },
    { "strict: >= the limit",
      STRICT,
      0,
      false,
      "",
      { FLOW(1, 25, .bound = BOUND_AT_LEAST) } },
    { "strict: > less than the limit",
      STRICT,
      0,
      false,
      "",
      { FLOW(1, 24, .bound = BOUND_ABOVE) } },

    { "apart: too near",
      APART(2, 14),
      0,
      false,
      "1100 1110",
      { FLOW(1, 1100), FLOW(15 - SECOND, 1110) } },
    { "apart: far enough",
      APART(2, 14),
      0,
      true,
      "1100 1110",
      { FLOW(1, 1100), FLOW(15, 1110) } },
    /* what confirms is the time from the first on: it stays as evidence */
    { "apart: a row of near ones",
      APART(2, 14),
      0,
      true,
      "1100 1110 1120",
      { FLOW(1, 1100), FLOW(8, 1110), FLOW(15, 1120) } },
    { "apart: interrupted",
      APART(2, 14),
      0,
      false,
      "1110 1120",
      { FLOW(1, 1100), FLOW(5, 1250), FLOW(8, 1110), FLOW(15, 1120) } },
    { "apart: too late",
      APART(2, 14),
      0,
      false,
      "1110",
      { FLOW(1, 1100), FLOW(72, 1110) } },

    { "span: from the first to the last",
      SPAN(3, 30),
      0,
      true,
      "2100 2110 2120",
      { FLOW(1, 2100), FLOW(20, 2110), FLOW(31, 2120) } },
    { "span: too long",
      SPAN(3, 30),
      0,
      false,
      "2100 2110 2120",
      { FLOW(1, 2100), FLOW(20, 2110), FLOW(32, 2120) } },
    { "span: of the newest",
      SPAN(3, 30),
      0,
      true,
      "2110 2120 2130",
      { FLOW(1, 2100), FLOW(20, 2110), FLOW(32, 2120), FLOW(50, 2130) } },
    { "span: a later one does not end it",
      SPAN(3, 30),
      0,
      true,
      "2100 2110 2120 2130",
      { FLOW(1, 2100), FLOW(20, 2110), FLOW(31, 2120), FLOW(61, 2130) } },

    { "low pressure: does not confirm",
      SKIP(true),
      20,
      false,
      "480",
      { FLOW(1, 480), FLOW(20, 470) } },
    { "low pressure: nor deny",
      SKIP(true),
      20,
      true,
      "480 490",
      { FLOW(1, 480), FLOW(20, 800), FLOW(30, 490) } },
    { "low pressure: nor end it",
      SKIP(true),
      40,
      true,
      "480 490",
      { FLOW(1, 480), FLOW(20, 490), FLOW(30, 800), FLOW(40, 800) } },
    { "low pressure: where it does not matter",
      SKIP(false),
      20,
      true,
      "480 470",
      { FLOW(1, 480), FLOW(20, 470) } },
};

static void walk_by_settings(void **state)
{
    char text[256];
    int wrong = 0;

    (void)state;
    for (size_t i = 0; i < COUNT(settings); i++) {
        struct history h = load(settings[i].events);
        size_t len = 0, n = points_collect(&h, &policy, Q_ACCESS_FLOW, false,
                                           points, POINTS_MAX);
        struct run run;

        for (size_t k = 0; k < n; k++)
            points[k].low_pressure =
                settings[i].low_day > 0 &&
                points[k].at_s == kit_s(settings[i].low_day);
        run_walk(&settings[i].rule, points, n, METHOD_UNSTATED, &run);
        text[0] = '\0';
        for (size_t k = 0; k < run.count; k++)
            len +=
                (size_t)snprintf(text + len, sizeof(text) - len, "%s%g",
                                 k > 0 ? " " : "", points[run.points[k]].value);
        if (run.on == settings[i].on && strcmp(text, settings[i].want) == 0)
            continue;
        wrong++;
        print_error("%s: got %s \"%s\", not \"%s\"\n", settings[i].name,
                    run.on ? "on" : "off", text, settings[i].want);
    }
    assert_int_equal(wrong, 0);
}

/* Ten per cent inside, also where the limit is a negative pressure. */
static const struct {
    double limit;
    bool above;
    double value;
    enum bound bound;
    bool want;
} insides[] = {
    { 2000, true, 1799.9, BOUND_NONE, true },
    { 2000, true, 1800, BOUND_NONE, false },
    { 2000, true, 1800, BOUND_BELOW, true },
    { 2000, true, 1000, BOUND_ABOVE, false },
    { 500, false, 550, BOUND_NONE, true },
    { 500, false, 549.9, BOUND_NONE, false },
    { 600, false, 660, BOUND_NONE, true },
    { -250, false, -225, BOUND_NONE, true },
    { -250, false, -225.1, BOUND_NONE, false },
    { -250, false, -260, BOUND_NONE, false },
    { -250, true, -275.1, BOUND_NONE, true },
    { -250, true, -275, BOUND_NONE, false },
    { 500, false, NAN, BOUND_NONE, false },
};

static void know_the_inside(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(insides); i++) {
        struct run_rule rule = { .limit = insides[i].limit,
                                 .above = insides[i].above,
                                 .hysteresis_pct = 10 };
        struct point p = { .value = insides[i].value,
                           .bound = insides[i].bound };

        assert_int_equal(run_inside(&rule, &p), insides[i].want);
    }
}

/* A method that last said nothing usable does not speak last. */
static void disagreement_is_no_news(void **state)
{
    static const struct event events[] = {
        FLOW(0, 2100, DILUTION),
        FLOW(10, 2100, DILUTION),
        FLOW(20, 1000, DUPLEX),
        FLOW(30, 1000, DUPLEX),
        FLOW(40, 1500, DILUTION),
        FLOW(40 + HOURS(1), 2500, DILUTION),
        { .day = 0 },
    };
    struct run_rule rule = { .limit = 2000,
                             .above = true,
                             .readings = 2,
                             .window_d = 90,
                             .hysteresis_pct = 10 };
    struct history h = load(events);
    size_t n =
        points_collect(&h, &policy, Q_ACCESS_FLOW, true, points, POINTS_MAX);
    struct run run;

    (void)state;
    assert_int_equal(n, 5);
    assert_false(run_best(&rule, points, n, &run));
    assert_true(run_contradicted(&rule, points, n, METHOD_ULTRASOUND_DILUTION,
                                 kit_s(10)));
    assert_false(run_contradicted(&rule, points, n, METHOD_ULTRASOUND_DILUTION,
                                  kit_s(20)));
    assert_false(run_contradicted(&rule, points, n, METHOD_DUPLEX, kit_s(0)));
}

/* Methods differ by a litre: where a rule stands alone, none ends another. */
static void stands_alone(void **state)
{
    static const struct event events[] = {
        FLOW(0, 450, DILUTION), FLOW(10, 450, DILUTION),
        FLOW(20, 1400, DUPLEX), FLOW(30, 1400, DUPLEX),
        { .day = 0 },
    };
    struct run_rule rule = {
        .limit = 500, .readings = 2, .window_d = 90, .hysteresis_pct = 10
    };
    struct history h = load(events);
    size_t n =
        points_collect(&h, &policy, Q_ACCESS_FLOW, true, points, POINTS_MAX);
    struct run run;

    (void)state;
    assert_false(run_best(&rule, points, n, &run));
    rule.alone = true;
    assert_true(run_best(&rule, points, n, &run));
    assert_near(points[run.points[run.count - 1]].value, 450, 0);
}

static const struct {
    const char *name;
    struct point p;
    double value;
    double least, most;
} puts_values[] = {
    { "scaled",
      { .value = 200, .least = 150, .most = 250, .disagree = true },
      100,
      75,
      125 },
    { "turned",
      { .value = -230, .least = -300, .most = -160, .disagree = true },
      230,
      160,
      300 },
    { "one reading", { .value = 0, .least = 0, .most = 0 }, 40, 40, 40 },
    { "no proportion",
      { .value = 0, .least = -10, .most = 10, .disagree = true },
      40,
      -INFINITY,
      INFINITY },
};

static void put_values(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(puts_values); i++) {
        struct point p = puts_values[i].p;

        ROW(puts_values[i].name);
        point_put(&p, puts_values[i].value);
        assert_true(p.value == puts_values[i].value);
        assert_true(p.least == puts_values[i].least);
        assert_true(p.most == puts_values[i].most);
    }
}

/* Of two methods whose runs hold, the one measured last speaks. */
static void choose_the_method(void **state)
{
    static const struct event events[] = {
        FLOW(0, 2100),  FLOW(10, 2100, .method = METHOD_DUPLEX),
        FLOW(20, 2200), FLOW(30, 2300, .method = METHOD_DUPLEX),
        { .day = 0 },
    };
    struct run_rule rule = { .limit = 2000,
                             .above = true,
                             .readings = 2,
                             .window_d = 90,
                             .hysteresis_pct = 10 };
    struct history h = load(events);
    size_t n =
        points_collect(&h, &policy, Q_ACCESS_FLOW, true, points, POINTS_MAX);
    struct run run;

    (void)state;
    assert_true(run_best(&rule, points, n, &run));
    assert_near(points[run.points[run.count - 1]].value, 2300, 0);
    assert_true(run_best(&rule, points, n - 1, &run));
    assert_near(points[run.points[run.count - 1]].value, 2200, 0);
}

static const struct {
    enum quantity q;
    enum sign sign;
    double value;
    bool want;
} interventions[] = {
    { Q_DOWEL_DIAMETER, SIGN_NONE, 4, true },
    { Q_BAND_STRETCHED, SIGN_NONE, 5, true },
    { Q_BAND_RELEASED, SIGN_NONE, 1, true },
    { Q_BAND_RELEASED, SIGN_NONE, 0, false },
    { Q_ACCESS_INTERVENTION, SIGN_ANGIOPLASTY_OUTFLOW, NAN, true },
    { Q_BAND_FORM, SIGN_BAND_CUFF, NAN, false },
    { Q_ACCESS_FLOW, SIGN_NONE, 1000, false },
};

static void know_interventions(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(interventions); i++) {
        struct reading r = { .quantity = interventions[i].q,
                             .sign = interventions[i].sign,
                             .value = interventions[i].value,
                             .present = true };

        assert_int_equal(reading_is_intervention(&r), interventions[i].want);
        r.status = READING_PRELIMINARY;
        assert_false(reading_is_intervention(&r));
    }
}

/* Points of the hand: "3 graded motor | 1" */
static const struct {
    const char *name;
    bool emergencies;
    const char *want;
    struct event events[10];
} hands[] = {
    { "nothing", false, "", { FLOW(0, 900) } },
    { "a symptom", false, "1", { SIGN(0, SIGN_COLDNESS) } },
    { "the highest of a session",
      false,
      "3",
      { SIGN(0, SIGN_COLDNESS), SIGN(HOURS(1), SIGN_PAIN_AT_REST),
        SIGN(HOURS(2), SIGN_NUMBNESS) } },
    { "two sessions",
      false,
      "1 | 2a",
      { SIGN(0, SIGN_COLDNESS), SIGN(HOURS(4) + SECOND, SIGN_NUMBNESS) } },
    { "a statement", false, "0 graded", { SIGN(0, SIGN_NO_COMPLAINT) } },
    { "a grade", false, "2b graded", { SIGN(0, SIGN_GRADE_2B) } },
    { "a question answered no",
      false,
      "0",
      { SIGN(0, SIGN_NUMBNESS, .absent = true) } },
    { "weak", false, "3 motor", { SIGN(0, SIGN_MOTOR_WEAKNESS) } },
    { "cold and pulseless",
      false,
      "3 acute",
      { SIGN(0, SIGN_COLD_PULSELESS_HAND) } },
    { "early",
      false,
      "",
      { SIGN(0, SIGN_HAND_ULCER, .status = READING_PRELIMINARY) } },
    { "early, for emergencies",
      true,
      "4a provisional",
      { SIGN(0, SIGN_HAND_ULCER, .status = READING_PRELIMINARY) } },
    { "an early all-clear is none",
      true,
      "0 provisional",
      { SIGN(0, SIGN_NO_COMPLAINT, .status = READING_PRELIMINARY) } },
    { "withdrawn",
      true,
      "",
      { SIGN(0, SIGN_HAND_ULCER, .status = READING_WITHDRAWN) } },
    { "month only",
      true,
      "",
      { SIGN(0, SIGN_HAND_ULCER, .precision = AT_MONTH) } },
    { "many answers, the worst last",
      false,
      "4a",
      { SIGN(0, SIGN_COLDNESS), SIGN(0, SIGN_NUMBNESS, .absent = true),
        SIGN(0, SIGN_NUMBNESS_ULNAR, .absent = true),
        SIGN(0, SIGN_NUMBNESS_MEDIAN, .absent = true),
        SIGN(0, SIGN_NUMBNESS_RADIAL, .absent = true),
        SIGN(0, SIGN_PAIN_AT_REST, .absent = true),
        SIGN(0, SIGN_MOTOR_WEAKNESS, .absent = true),
        SIGN(0, SIGN_HAND_ULCER) } },
};

static void make_hand_points(void **state)
{
    static struct hand_point hand[HAND_POINTS_MAX];
    char text[512];
    int wrong = 0;

    (void)state;
    for (size_t i = 0; i < COUNT(hands); i++) {
        struct history h = load(hands[i].events);
        size_t len = 0, n = hand_collect(&h, &policy, hands[i].emergencies,
                                         hand, HAND_POINTS_MAX);

        text[0] = '\0';
        for (size_t k = 0; k < n; k++)
            len += (size_t)snprintf(
                text + len, sizeof(text) - len, "%s%s%s%s%s%s",
                k > 0 ? " | " : "", grade_word(hand[k].grade),
                hand[k].graded ? " graded" : "",
                (hand[k].seen & HAND_BIT(SIGN_MOTOR_WEAKNESS)) ? " motor" : "",
                (hand[k].seen & HAND_BIT(SIGN_COLD_PULSELESS_HAND)) ? " acute"
                                                                    : "",
                hand[k].provisional ? " provisional" : "");
        if (strcmp(text, hands[i].want) == 0)
            continue;
        wrong++;
        print_error("%s: got \"%s\", not \"%s\"\n", hands[i].name, text,
                    hands[i].want);
    }
    assert_int_equal(wrong, 0);
    /* the last case: the sign that gives the grade is among the readings */
    assert_int_equal(hand[0].readings[HAND_SIGNS_MAX - 1], 7);
}

static void stand_until_cleared(void **state)
{
    static const struct event events[] = {
        SIGN(0, SIGN_GRADE_3),  SIGN(10, SIGN_COLDNESS),
        SIGN(20, SIGN_GRADE_0), SIGN(30, SIGN_GRADE_0),
        { .day = 0 },
    };
    static struct hand_point hand[HAND_POINTS_MAX];
    struct history h = load(events);
    size_t n = hand_collect(&h, &policy, false, hand, HAND_POINTS_MAX);
    size_t at = 9;

    (void)state;
    assert_int_equal(n, 4);
    assert_false(hand_standing(hand, 0, GRADE_1, &at));
    for (size_t seen = 1; seen <= 4; seen++)
        assert_int_equal(hand_standing(hand, seen, GRADE_3, &at), seen < 4);
    assert_true(hand_standing(hand, 2, GRADE_1, &at));
    assert_int_equal(at, 1); /* the newest */
    assert_false(hand_standing(hand, 2, GRADE_4A, &at));

    assert_int_equal(hand_worst(hand, n, kit_s(30), 30, &at), GRADE_3);
    assert_int_equal(at, 0);
    assert_int_equal(hand_worst(hand, n, kit_s(30) + 1, 30, NULL), GRADE_1);
    assert_int_equal(hand_worst(hand, n, kit_s(30), 9, NULL), GRADE_NONE);
    assert_int_equal(hand_worst(hand, n, kit_s(5), 30, NULL), GRADE_3);
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
        cmocka_unit_test(make_points),
        cmocka_unit_test(keep_the_newest),
        cmocka_unit_test(walk_runs),
        cmocka_unit_test(walk_by_settings),
        cmocka_unit_test(know_the_inside),
        cmocka_unit_test(disagreement_is_no_news),
        cmocka_unit_test(stands_alone),
        cmocka_unit_test(put_values),
        cmocka_unit_test(choose_the_method),
        cmocka_unit_test(know_interventions),
        cmocka_unit_test(make_hand_points),
        cmocka_unit_test(stand_until_cleared),
    };

    return cmocka_run_group_tests(tests, read_limits, NULL);
}
