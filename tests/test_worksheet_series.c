/* What the charts show: values, lines, thinning, treatments, limits. */
#include "tests/test.h"

#include "adapters/worksheet_series.h"
#include "tests/chart_kit.h"

static struct chart_kit kit;

static void make(enum quantity quantity, struct sheet_series *s)
{
    chart_done(&kit, SIGN_TYPE_AVF);
    assert_int_equal(sheet_series_make(&kit.h, &kit.policy, quantity, s),
                     ERR_OK);
}

static size_t count_of(const struct sheet_series *s, enum sheet_use use)
{
    size_t n = 0;

    for (size_t i = 0; i < s->count; i++)
        n += s->points[i].use == use;
    return n;
}

/* ---- values --------------------------------------------------------------- */

static void nothing_is_an_empty_series(void **state)
{
    struct sheet_series s;

    (void)state;
    chart_start(&kit);
    make(Q_ACCESS_FLOW, &s);
    assert_int_equal(s.count, 0);
    sheet_series_thin(&s, 0, 100, 10);
    assert_int_equal(s.count, 0);
    sheet_series_clear(&s);
}

/* Two of one session are their mean: (1800 + 2000) / 2. */
static void a_session_is_one_value(void **state)
{
    struct sheet_series s;

    (void)state;
    chart_start(&kit);
    chart_flow(&kit, 30, 1800, METHOD_DUPLEX);
    chart_flow(&kit, 30 - 1 / 24.0, 2000, METHOD_DUPLEX);
    make(Q_ACCESS_FLOW, &s);
    assert_int_equal(s.count, 1);
    assert_near(s.points[0].value, 1900, 1e-9);
    assert_int_equal(s.points[0].use, SHEET_USED);
    sheet_series_clear(&s);
}

/* What the rules do not use is there, and told apart. */
static void each_use_is_told(void **state)
{
    struct sheet_series s;

    (void)state;
    chart_start(&kit);
    chart_flow(&kit, 100, 1800, METHOD_DUPLEX);
    chart_sign(&kit, 50, SIGN_ANGIOPLASTY_OUTFLOW);
    chart_flow(&kit, 49, 1500, METHOD_DUPLEX); /* blanking_d is 7 */
    chart_flow(&kit, 42, 1600, METHOD_DUPLEX);
    chart_flow(&kit, 20, 1700, METHOD_DUPLEX)->status = READING_PRELIMINARY;
    chart_flow(&kit, 10, 1000, METHOD_DUPLEX); /* replicate_spread_pct is 20 */
    chart_flow(&kit, 10 - 1 / 24.0, 1500, METHOD_DUPLEX);
    chart_flow(&kit, 5, 1700, METHOD_DUPLEX)->status = READING_WITHDRAWN;
    chart_flow(&kit, 3, 1650, METHOD_DUPLEX)->precision = AT_MONTH;
    make(Q_ACCESS_FLOW, &s);
    assert_int_equal(s.count, 5);
    assert_int_equal(s.points[0].use, SHEET_USED);
    assert_int_equal(s.points[1].use, SHEET_BLANKED);
    assert_int_equal(s.points[2].use, SHEET_USED);
    assert_int_equal(s.points[3].use, SHEET_EARLY);
    assert_int_equal(s.points[4].use, SHEET_APART);
    assert_near(s.points[4].least, 1000, 0);
    assert_near(s.points[4].most, 1500, 0);
    assert_int_equal(s.undated, 1);
    sheet_series_clear(&s);
}

/* A ratio that nobody sent, from the two pressures of its session: 45 / 90. */
static void computed_values_are_there(void **state)
{
    struct sheet_series s;

    (void)state;
    chart_start(&kit);
    chart_add(&kit, 9, Q_STATIC_ACCESS_PRESSURE, 45);
    chart_add(&kit, 9, Q_MEAN_PRESSURE, 90);
    make(Q_STATIC_PRESSURE_RATIO, &s);
    assert_int_equal(s.count, 1);
    assert_near(s.points[0].value, 0.5, 1e-9);
    sheet_series_clear(&s);
}

/* ---- lines ---------------------------------------------------------------- */

static void lines_keep_to_method_and_stage(void **state)
{
    struct sheet_series s;

    (void)state;
    chart_start(&kit);
    chart_flow(&kit, 90, 1800, METHOD_DUPLEX);              /* 0 */
    chart_flow(&kit, 80, 1900, METHOD_ULTRASOUND_DILUTION); /* 1 */
    chart_flow(&kit, 70, 1800, METHOD_DUPLEX);              /* 2: from 0 */
    chart_flow(&kit, 60, 4000, METHOD_DUPLEX)->bound = BOUND_ABOVE; /* 3 */
    chart_flow(&kit, 50, 1800, METHOD_DUPLEX); /* 4: from 2 */
    chart_add(&kit, 40, Q_DOWEL_DIAMETER, 4);
    chart_flow(&kit, 20, 1200, METHOD_DUPLEX); /* 5 */
    chart_flow(&kit, 10, 1250, METHOD_DUPLEX); /* 6: from 5 */
    make(Q_ACCESS_FLOW, &s);
    assert_int_equal(s.count, 7);
    assert_int_equal(s.points[0].before, SHEET_NO_POINT);
    assert_int_equal(s.points[1].before, SHEET_NO_POINT);
    assert_int_equal(s.points[2].before, 0);
    assert_int_equal(s.points[3].before, SHEET_NO_POINT);
    assert_int_equal(s.points[4].before, 2);
    assert_int_equal(s.points[5].before, SHEET_NO_POINT);
    assert_int_equal(s.points[6].before, 5);
    assert_int_equal(s.points[4].stage, 0);
    assert_int_equal(s.points[5].stage, 1);
    sheet_series_clear(&s);
}

/* Every line of a long history, judged anew from its readings. */
static void no_line_crosses_a_treatment(void **state)
{
    struct sheet_series s;

    (void)state;
    chart_start(&kit);
    chart_flows(&kit, 400, 1200, 900, 1800);
    for (int i = 0; i < 12; i++)
        chart_sign(&kit, 1150.5 - 90 * i, SIGN_ANGIOPLASTY_OUTFLOW);
    make(Q_ACCESS_FLOW, &s);
    for (size_t i = 0; i < s.count; i++) {
        const struct sheet_point *p = &s.points[i], *from;

        if (p->before == SHEET_NO_POINT)
            continue;
        from = &s.points[p->before];
        assert_true(from->at_s < p->at_s);
        assert_int_equal(from->method, p->method);
        for (size_t k = 0; k < kit.count; k++) {
            const struct reading *r = &kit.readings[k];

            assert_false(r->quantity == Q_ACCESS_INTERVENTION &&
                         r->start_s > from->at_s && r->start_s <= p->at_s);
        }
    }
    sheet_series_clear(&s);
}

/* ---- thinning ------------------------------------------------------------- */

static bool is_in(const struct sheet_series *s, const struct sheet_point *p)
{
    for (size_t i = 0; i < s->count; i++) {
        const struct sheet_point *q = &s->points[i];

        if (q->at_s == p->at_s && q->value == p->value &&
            q->method == p->method && q->use == p->use && q->bound == p->bound)
            return true;
    }
    return false;
}

/* Is there a value of the same column and kind that is at least as extreme? */
static bool is_covered(const struct sheet_series *thin,
                       const struct sheet_point *p, int64_t from_s,
                       int64_t to_s, size_t columns)
{
    double width_s = (double)(to_s - from_s) / (double)columns;
    bool least = false, most = false;

    for (size_t i = 0; i < thin->count; i++) {
        const struct sheet_point *q = &thin->points[i];
        bool alike = q->method == p->method && q->use == p->use &&
                     q->bound == p->bound && q->stage == p->stage &&
                     fabs((double)(q->at_s - p->at_s)) <= width_s;

        least = least || (alike && q->value <= p->value);
        most = most || (alike && q->value >= p->value);
    }
    return least && most;
}

static void thinning_hides_no_extreme(void **state)
{
    struct sheet_series all, thin;
    int64_t from_s = chart_now_s - 3280LL * 86400;

    (void)state;
    chart_start(&kit);
    chart_flows(&kit, 2000, 3280, 1800, 900);
    chart_flow(&kit, 1210, 2900, METHOD_ULTRASOUND_DILUTION);
    chart_flow(&kit, 700, 150, METHOD_ULTRASOUND_DILUTION);
    chart_flow(&kit, 701, 4000, METHOD_DUPLEX)->bound = BOUND_ABOVE;
    chart_sign(&kit, 1500.3, SIGN_BANDED);
    make(Q_ACCESS_FLOW, &all);
    make(Q_ACCESS_FLOW, &thin);
    sheet_series_thin(&thin, from_s, chart_now_s, 130);
    assert_int_equal(thin.found, all.count);
    assert_true(all.count > 1500);
    /* first, last, least, greatest of two methods in 130 columns */
    assert_in_range(thin.count, 130, 130 * 2 * 4 + 20);
    for (size_t i = 0; i < all.count; i++)
        assert_true(
            is_covered(&thin, &all.points[i], from_s, chart_now_s, 130));
    for (size_t i = 0; i < thin.count; i++)
        assert_true(is_in(&all, &thin.points[i]));
    sheet_series_clear(&all);
    sheet_series_clear(&thin);
}

static void few_values_all_stay(void **state)
{
    struct sheet_series s;

    (void)state;
    chart_start(&kit);
    chart_flows(&kit, 24, 700, 1500, 2200);
    make(Q_ACCESS_FLOW, &s);
    sheet_series_thin(&s, chart_now_s - 700LL * 86400, chart_now_s, 260);
    assert_int_equal(s.count, 24);
    assert_int_equal(count_of(&s, SHEET_USED), 24);
    sheet_series_clear(&s);
}

/* ---- treatments ----------------------------------------------------------- */

static void steps_of_a_day_are_one(void **state)
{
    struct sheet_event e[8];
    size_t before;

    (void)state;
    chart_start(&kit);
    chart_sign(&kit, 900, SIGN_CREATED)->precision = AT_YEAR;
    chart_sign(&kit, 200, SIGN_BANDED);
    chart_add(&kit, 199.98, Q_DOWEL_DIAMETER, 4.5);
    chart_add(&kit, 199.95, Q_DOWEL_DIAMETER, 4);
    chart_add(&kit, 199.9, Q_BAND_STRETCHED, 5);
    chart_add(&kit, 100, Q_BAND_RELEASED, 1);
    chart_add(&kit, 90, Q_BAND_RELEASED, 0); /* not released */
    chart_sign(&kit, 50, SIGN_ANGIOPLASTY_INFLOW)->status = READING_WITHDRAWN;
    chart_done(&kit, SIGN_TYPE_AVF);
    assert_int_equal(sheet_events(&kit.h, e, COUNT(e), &before), 4);
    assert_int_equal(before, 0);
    assert_int_equal(e[0].deed, SHEET_CREATED);
    assert_int_equal(e[0].precision, AT_YEAR);
    assert_int_equal(e[1].deed, SHEET_BANDED);
    assert_near(e[1].size_mm, 4, 0);
    assert_int_equal(e[1].steps, 2);
    assert_int_equal(e[2].deed, SHEET_STRETCHED);
    assert_near(e[2].size_mm, 5, 0);
    assert_int_equal(e[3].deed, SHEET_RELEASED);
    assert_true(isnan(e[3].size_mm));
}

static void the_newest_treatments_are_kept(void **state)
{
    struct sheet_event e[5];
    size_t before;

    (void)state;
    chart_start(&kit);
    for (int i = 0; i < 12; i++)
        chart_sign(&kit, 1200 - 90 * i, SIGN_ANGIOPLASTY_OUTFLOW);
    chart_done(&kit, SIGN_TYPE_AVF);
    assert_int_equal(sheet_events(&kit.h, e, COUNT(e), &before), 5);
    assert_int_equal(before, 7);
    assert_int_equal(e[4].at_s, chart_now_s - 210LL * 86400);
}

/* ---- limits --------------------------------------------------------------- */

/* The numbers are those of config/policy.ini as shipped, each with its source
 * there: HF-1 2000 (Basile 2008), HF-2 1500, LF-1 600 and LF-2 500 (graft and
 * fistula), LF-4 0.50 and 0.35, IS-5 60 mmHg and 0.6, AD-1 1.2. */
static void limits_fit_the_type(void **state)
{
    static const struct {
        const char *name;
        int type;
        int quantity;
        const char *want;
    } rows[] = {
        { "flow, fistula", SIGN_TYPE_AVF, Q_ACCESS_FLOW,
          "HF-1>2000 HF-2>1500 LF-2<500 " },
        { "flow, graft", SIGN_TYPE_AVG, Q_ACCESS_FLOW,
          "HF-1>2000 HF-2>1500 LF-1<600 " },
        { "flow, not known", SIGN_TYPE_UNKNOWN, Q_ACCESS_FLOW,
          "HF-1>2000 HF-2>1500 " },
        { "flow, catheter", SIGN_TYPE_CVC, Q_ACCESS_FLOW, "" },
        { "ratio, fistula", SIGN_TYPE_AVF, Q_STATIC_PRESSURE_RATIO,
          "LF-4>0.35 " },
        { "ratio, graft", SIGN_TYPE_AVG, Q_STATIC_PRESSURE_RATIO, "LF-4>0.5 " },
        { "ratio, not known", SIGN_TYPE_UNKNOWN, Q_STATIC_PRESSURE_RATIO, "" },
        { "index", SIGN_TYPE_AVF, Q_DIGITAL_BRACHIAL_INDEX, "IS-5<0.6 " },
        { "finger", SIGN_TYPE_AVF, Q_DIGITAL_PRESSURE, "IS-5<60 " },
        { "dose", SIGN_TYPE_AVF, Q_SPKTV, "AD-1<1.2 " },
        { "pressure", SIGN_TYPE_AVF, Q_MEAN_PRESSURE, "" },
    };

    (void)state;
    chart_start(&kit);
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct sheet_limit list[SHEET_LIMITS_MAX];
        char text[128] = "";
        size_t n, len = 0;

        ROW(rows[i].name);
        chart_done(&kit, (enum sign)rows[i].type);
        n = sheet_limits(&kit.h, &kit.policy, (enum quantity)rows[i].quantity,
                         list);
        for (size_t k = 0; k < n; k++)
            len += (size_t)snprintf(text + len, sizeof(text) - len, "%s%c%.4g ",
                                    rule_info(list[k].rule)->id,
                                    list[k].above ? '>' : '<', list[k].value);
        assert_string_equal(text, rows[i].want);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_is_an_empty_series),
        cmocka_unit_test(a_session_is_one_value),
        cmocka_unit_test(each_use_is_told),
        cmocka_unit_test(computed_values_are_there),
        cmocka_unit_test(lines_keep_to_method_and_stage),
        cmocka_unit_test(no_line_crosses_a_treatment),
        cmocka_unit_test(thinning_hides_no_extreme),
        cmocka_unit_test(few_values_all_stay),
        cmocka_unit_test(steps_of_a_day_are_one),
        cmocka_unit_test(the_newest_treatments_are_kept),
        cmocka_unit_test(limits_fit_the_type),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
