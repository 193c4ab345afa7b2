/*
 * test_flow - the formulas of planner/flow.h
 *
 * Three kinds of rows: printed by a source (the tolerance is that of the
 * printed digits or the one noted), computed from the formula by hand or by
 * another program (1e-6), and refusals.  A Du Bois surface of 1.85 for 70 kg
 * and 170 cm, found on a test sheet, is wrong and not used.  tests/peers/kinetics.py compares
 * thousands of random inputs besides, and derives the flow formulas anew.
 */
#include "planner/flow.h"
#include "planner/quantity.h"
#include "tests/dose_kit.h"
#include "tests/test.h"

struct row {
    const char *name, *op;
    double in[DOSE_INPUTS_MAX];
    double want, tolerance;
};

static void check_row(const struct row *row)
{
    const struct dose_op *op = dose_op(row->op);
    double got = NAN;

    ROW(row->name);
    assert_non_null(op);
    assert_int_equal(op->fn(row->in, &got), ERR_OK);
    assert_near(got, row->want, row->tolerance);
}

/* clang-format off */

static const struct row published[] = {
    /* Variation of intra-access flow early and late into haemodialysis,
     * ASAIO J 2000: 1101.7 and 972.5 mL/min at 100.0 and 92.8 mmHg. */
    { "scaled to 100: prints 1048.0", "at-100", { 972.5, 92.8 }, 1048.0, 0.1 },
    { "fall: prints 11.7", "fall", { 1101.7, 972.5 }, 11.7, 0.05 },
    { "fall after scaling: prints 4.9", "fall", { 1101.7, 1048.0 }, 4.9, 0.05 },
    /* Pandeya and Lindsay, ASAIO J 1999;45:135-8: prints a mean of 21 %, which
     * is a mean of shares, here the share of the means. */
    { "share of cardiac output", "share", { 1455, 6.8 }, 0.21, 0.01 },
    /* Vaes et al., surgical banding: 3070 to 1490, prints "> 50 %". */
    { "fall by banding", "fall", { 3070, 1490 }, 51.47, 0.005 },
    /* Gerrickens et al., revision using distal inflow, EJVES 2020. */
    { "fall by distal inflow", "fall", { 3120, 1170 }, 62.5, 0.05 },
    /* Graft inclusion, Ann Vasc Dis: 586 to 1036; a rise is negative. */
    { "flow creeps back", "fall", { 586, 1036 }, -76.79, 0.005 },
    /* Duijm et al., AJKD 2006: 477 to 825 after angioplasty. */
    { "inflow opened", "fall", { 477, 825 }, -72.96, 0.005 },
};

/* Computed from the formulas, not published. */
static const struct row computed[] = {
    { "300 at 0.20", "reversed", { 300, 0.20 }, 1200.0, 1e-6 },
    { "300 at 0.30", "reversed", { 300, 0.30 }, 700.0, 1e-6 },
    { "300 at 0.13", "reversed", { 300, 0.13 }, 2007.692307692308, 1e-6 },
    { "250 at 0.25", "reversed", { 250, 0.25 }, 750.0, 1e-6 },
    { "400 at 0.50", "reversed", { 400, 0.50 }, 400.0, 1e-6 },
    { "350 at 0.105", "reversed", { 350, 0.105 }, 2983.333333333333, 1e-6 },
    { "with ultrafiltration", "reversed-uf", { 300, 10, 0.20 }, 1160.0, 1e-6 },
    { "with none it is the plain one", "reversed-uf", { 300, 0, 0.13 }, 2007.692307692308, 1e-6 },
    { "with heart and lungs", "reversed-cpr", { 300, 10, 0.25, 0.20 }, 1087.5, 1e-6 },
    { "without them", "reversed-cpr", { 300, 10, 0.25, 0 }, 870.0, 1e-6 },
    /* Mass balance, Qa 1200, CO 6000, no ultrafiltration, Qb 300 and 250:
     * Rn/(1-Rn) = 300/4800, Rx/(1-Rx) = 250*6000/(1200*4800). */
    { "cardiopulmonary part", "cpr", { 300, 300.0 / 5100.0, 250, 0, 1500.0 / 7260.0 }, 0.2, 1e-9 },
    { "and the flow from it", "reversed-cpr", { 250, 0, 1500.0 / 7260.0, 0.2 }, 1200.0, 1e-6 },
    { "cardiopulmonary part, fluid taken", "cpr", { 300, 0.05, 250, 10, 0.2 }, 0.168421052631579, 1e-9 },
    { "nothing returns", "cpr", { 300, 0, 300, 10, 0.25 }, 0.0, 0.0 },
    { "ionic dialysance", "dialysance", { 200, 160, 10 }, 760.0, 1e-6 },
    { "cold bolus", "output-thermal", { 10, 37, 4, 1.08, 0.825, 3.0 }, 5.8806, 1e-6 },
    { "indicator", "output-dilution", { 30, 0.30 }, 6.0, 1e-9 },
    { "140/80", "mean-pressure", { 140, 80 }, 100.0, 1e-9 },
    { "120/70", "mean-pressure", { 120, 70 }, 86.66666666666667, 1e-6 },
    { "150/60", "mean-pressure", { 150, 60 }, 90.0, 1e-9 },
    { "eIAP 30 30", "static-pressure", { 30, 30 }, 43.90, 1e-6 },
    { "eIAP 45 35", "static-pressure", { 45, 35 }, 60.65, 1e-6 },
    { "eIAP 20 25", "static-pressure", { 20, 25 }, 32.15, 1e-6 },
    { "eIAP 10 20", "static-pressure", { 10, 20 }, 20.40, 1e-6 },
    { "ratio 43.9/93", "static-ratio", { 43.90, 93 }, 0.4720430107526882, 1e-6 },
    { "ratio 60.65/90", "static-ratio", { 60.65, 90 }, 0.6738888888888889, 1e-6 },
    { "ratio 32.15/100", "static-ratio", { 32.15, 100 }, 0.3215, 1e-6 },
    { "ratio 20.4/85", "static-ratio", { 20.40, 85 }, 0.24, 1e-6 },
    { "urea 60 54 18", "recirc-urea", { 60, 54, 18 }, 14.28571428571429, 1e-6 },
    { "urea 25 24 8", "recirc-urea", { 25, 24, 8 }, 5.882352941176471, 1e-6 },
    { "no recirculation", "recirc-urea", { 25, 25, 8 }, 0.0, 0.0 },
    { "nothing but recirculation", "recirc-urea", { 25, 8, 8 }, 100.0, 1e-9 },
    { "finger 60/150", "finger-index", { 60, 150 }, 0.4, 1e-9 },
    { "finger 84/140", "finger-index", { 84, 140 }, 0.6, 1e-9 },
    { "finger 55/118", "finger-index", { 55, 118 }, 0.4661016949152542, 1e-6 },
    { "finger pressure of nought", "finger-index", { 0, 120 }, 0.0, 0.0 },
    { "index 603 at 1.5 m", "height-index", { 1802.0387, 1.5 }, 603.0, 1e-3 },
    { "index 603 at 1.6 m", "height-index", { 2145.0681, 1.6 }, 603.0, 1e-3 },
    { "index 603 at 1.7 m", "height-index", { 2526.56, 1.7 }, 603.0, 2e-3 },
    { "index 603 at 1.8 m", "height-index", { 2948.17, 1.8 }, 603.0, 2e-3 },
    { "index 603 at 1.9 m", "height-index", { 3411.55, 1.9 }, 603.0, 2e-3 },
    { "index of 2600 at 1.70", "height-index", { 2600, 1.70 }, 620.528, 5e-4 },
    { "index of 2000 at 1.55", "height-index", { 2000, 1.55 }, 612.540, 5e-4 },
    { "Du Bois", "bsa-du-bois", { 1.70, 70 }, 1.809708, 1e-6 },
    { "Mosteller", "bsa-mosteller", { 1.70, 70 }, 1.818119, 1e-6 },
    { "no change", "fall", { 900, 900 }, 0.0, 0.0 },
    { "all gone", "fall", { 900, 0 }, 100.0, 1e-9 },
    { "MDC of 7.7", "mdc", { 7.7 }, 21.34, 0.005 },
    { "MDC of 14.2", "mdc", { 14.2 }, 39.36, 0.005 },
    { "MDC of 11.6", "mdc", { 11.6 }, 32.15, 0.005 },
    { "single readings: the same", "mdc-means", { 7.7, 14.2, 1, 1 }, 39.36, 0.005 },
    { "two sessions each", "mdc-means", { 7.7, 14.2, 2, 1 }, 27.83, 0.005 },
    /* 1.96*sqrt(2*(142.35 + 59.29/3)) = 35.29234 */
    { "three in one session", "mdc-means", { 7.7, 14.2, 1, 3 }, 35.29234, 1e-5 },
    /* 1.96*sqrt(2*(142.35 + 29.645)/2) = 25.70479 */
    { "two pairs in two sessions", "mdc-means", { 7.7, 14.2, 2, 2 }, 25.70479, 1e-5 },
    { "no session part", "mdc-means", { 10, 10, 1, 4 }, 13.859293, 1e-6 },
};

/* Both sides of each limit: the first is taken, the second refused. */
static const struct edge {
    const char *name, *op;
    double good[DOSE_INPUTS_MAX], bad[DOSE_INPUTS_MAX];
} edges[] = {
    { "slowest pump", "reversed", { 50, 0.5 }, { 49.99, 0.5 } },
    { "fastest pump", "reversed", { 650, 0.5 }, { 650.01, 0.5 } },
    { "per cent for fraction", "reversed", { 300, 0.25 }, { 300, 25 } },
    { "recirculation of one", "reversed", { 300, 0.999 }, { 300, 1 } },
    { "recirculation of nought", "reversed", { 300, 0.001 }, { 300, 0 } },
    { "too small to divide by", "reversed", { 300, 1e-12 }, { 300, 1e-310 } },
    { "negative ultrafiltration", "reversed-uf", { 300, 0, 0.2 }, { 300, -0.1, 0.2 } },
    { "ultrafiltration of all", "reversed-uf", { 300, 299, 0.2 }, { 300, 300, 0.2 } },
    { "per hour for per minute", "reversed-uf", { 300, 10, 0.2 }, { 300, 600, 0.2 } },
    { "ultrafiltration, per cent", "reversed-uf", { 300, 10, 0.2 }, { 300, 10, 20 } },
    { "ultrafiltration, slow pump", "reversed-uf", { 50, 10, 0.2 }, { 49, 10, 0.2 } },
    { "most of the heart's output", "reversed-cpr", { 300, 10, 0.2, 0.8 }, { 300, 10, 0.2, 0.81 } },
    { "negative cardiopulmonary", "reversed-cpr", { 300, 10, 0.2, 0 }, { 300, 10, 0.2, -0.01 } },
    { "cardiopulmonary per cent", "reversed-cpr", { 300, 10, 0.2, 0.2 }, { 300, 10, 0.2, 20 } },
    { "infusion, recirculation", "reversed-cpr", { 300, 10, 0.2, 0.2 }, { 300, 10, 1, 0.2 } },
    { "infusion, ultrafiltration", "reversed-cpr", { 300, 10, 0.2, 0.2 }, { 300, 300, 0.2, 0.2 } },
    { "infusion, pump", "reversed-cpr", { 650, 10, 0.2, 0.2 }, { 651, 10, 0.2, 0.2 } },
    { "cpr: normal per cent", "cpr", { 300, 0.05, 300, 0, 0.2 }, { 300, 5, 300, 0, 0.2 } },
    { "cpr: negative", "cpr", { 300, 0, 300, 0, 0.2 }, { 300, -0.01, 300, 0, 0.2 } },
    { "cpr: reversed per cent", "cpr", { 300, 0.05, 300, 0, 0.2 }, { 300, 0.05, 300, 0, 20 } },
    { "cpr: reversed of nought", "cpr", { 300, 0, 300, 0, 0.2 }, { 300, 0, 300, 0, 0 } },
    { "cpr: more than everything", "cpr", { 300, 0.19, 300, 0, 0.2 }, { 300, 0.2, 300, 0, 0.2 } },
    { "cpr: pump, normal", "cpr", { 50, 0.05, 300, 0, 0.5 }, { 49, 0.05, 300, 0, 0.5 } },
    { "cpr: pump, reversed", "cpr", { 300, 0.05, 50, 0, 0.2 }, { 300, 0.05, 49, 0, 0.2 } },
    { "cpr: ultrafiltration", "cpr", { 300, 0.05, 250, 249, 0.2 }, { 300, 0.05, 250, 250, 0.2 } },
    { "dialysance: reversed as high", "dialysance", { 200, 199, 0 }, { 200, 200, 0 } },
    { "dialysance: reversed of nought", "dialysance", { 200, 0.1, 0 }, { 200, 0, 0 } },
    { "dialysance: swapped", "dialysance", { 200, 160, 10 }, { 160, 200, 10 } },
    { "dialysance: ultrafiltration", "dialysance", { 200, 160, 199 }, { 200, 160, 200 } },
    { "dialysance: endless", "dialysance", { 200, 160, 10 }, { INFINITY, 160, 10 } },
    { "no indicator", "output-dilution", { 1, 0.3 }, { 0, 0.3 } },
    { "no area", "output-dilution", { 30, 0.3 }, { 30, 0 } },
    { "cold bolus: none", "output-thermal", { 1, 37, 4, 1.08, 0.8, 3 }, { 0, 37, 4, 1.08, 0.8, 3 } },
    { "coldest blood", "output-thermal", { 10, 25, 4, 1.08, 0.8, 3 }, { 10, 24.9, 4, 1.08, 0.8, 3 } },
    { "hottest blood", "output-thermal", { 10, 45, 4, 1.08, 0.8, 3 }, { 10, 45.1, 4, 1.08, 0.8, 3 } },
    { "another scale", "output-thermal", { 10, 37, 4, 1.08, 0.8, 3 }, { 10, 98.6, 39, 1.08, 0.8, 3 } },
    { "frozen bolus", "output-thermal", { 10, 37, 0, 1.08, 0.8, 3 }, { 10, 37, -0.1, 1.08, 0.8, 3 } },
    { "bolus as warm as blood", "output-thermal", { 10, 37, 36.9, 1.08, 0.8, 3 }, { 10, 37, 37, 1.08, 0.8, 3 } },
    { "K1 of nought", "output-thermal", { 10, 37, 4, 0.1, 0.8, 3 }, { 10, 37, 4, 0, 0.8, 3 } },
    { "K2 above one", "output-thermal", { 10, 37, 4, 1.08, 1, 3 }, { 10, 37, 4, 1.08, 1.001, 3 } },
    { "K2 of nought", "output-thermal", { 10, 37, 4, 1.08, 0.1, 3 }, { 10, 37, 4, 1.08, 0, 3 } },
    { "no area of temperature", "output-thermal", { 10, 37, 4, 1.08, 0.8, 0.1 }, { 10, 37, 4, 1.08, 0.8, 0 } },
    { "share: too much", "share", { 4000, 5 }, { 4001, 5 } },
    { "share: millilitres for litres", "share", { 1000, 5 }, { 1000, 5000 } },
    { "share: least output", "share", { 500, 1 }, { 500, 0.99 } },
    { "share: negative flow", "share", { 0, 5 }, { -1, 5 } },
    { "share: greatest flow", "share", { 8000, 20 }, { 8001, 20 } },
    { "pressures swapped", "mean-pressure", { 140, 80 }, { 80, 140 } },
    { "pressures equal", "mean-pressure", { 81, 80 }, { 80, 80 } },
    { "systolic limit", "mean-pressure", { 300, 80 }, { 301, 80 } },
    { "diastolic limit", "mean-pressure", { 120, 15 }, { 120, 14.9 } },
    { "kilopascals", "mean-pressure", { 140, 80 }, { 18.7, 10.7 } },
    { "scaled: lowest pressure", "at-100", { 1000, 20 }, { 1000, 19.9 } },
    { "scaled: highest pressure", "at-100", { 1000, 220 }, { 1000, 220.1 } },
    { "scaled: greatest flow", "at-100", { 8000, 100 }, { 8001, 100 } },
    { "static: lowest", "static-pressure", { -50, 30 }, { -50.1, 30 } },
    { "static: highest", "static-pressure", { 250, 30 }, { 250.1, 30 } },
    { "chamber below the arm", "static-pressure", { 30, 0 }, { 30, -1 } },
    { "chamber in millimetres", "static-pressure", { 30, 100 }, { 30, 300 } },
    { "ratio: lowest", "static-ratio", { -10, 90 }, { -10.1, 90 } },
    { "ratio: highest", "static-ratio", { 250, 90 }, { 250.1, 90 } },
    { "ratio: mean pressure", "static-ratio", { 40, 20 }, { 40, 19 } },
    { "arterial above systemic", "recirc-urea", { 60, 60, 18 }, { 60, 60.1, 18 } },
    { "arterial below venous", "recirc-urea", { 60, 18, 18 }, { 60, 17.9, 18 } },
    { "venous as systemic", "recirc-urea", { 60, 60, 59 }, { 60, 60, 60 } },
    { "negative venous", "recirc-urea", { 60, 54, 0 }, { 60, 54, -1 } },
    { "finger: highest", "finger-index", { 300, 120 }, { 301, 120 } },
    { "finger: negative", "finger-index", { 0, 120 }, { -1, 120 } },
    { "finger: arm", "finger-index", { 60, 40 }, { 60, 39.9 } },
    { "centimetres for metres", "height-index", { 2000, 1.7 }, { 2000, 170 } },
    { "height: least", "height-index", { 2000, 0.5 }, { 2000, 0.49 } },
    { "height: most", "height-index", { 2000, 2.4 }, { 2000, 2.41 } },
    { "height: flow", "height-index", { 8000, 1.7 }, { 8001, 1.7 } },
    { "Du Bois: height", "bsa-du-bois", { 2.4, 70 }, { 2.41, 70 } },
    { "Du Bois: weight", "bsa-du-bois", { 1.7, 300 }, { 1.7, 301 } },
    { "Mosteller: height", "bsa-mosteller", { 2.4, 70 }, { 170, 70 } },
    { "Mosteller: shortest", "bsa-mosteller", { 0.5, 70 }, { 0.49, 70 } },
    { "Mosteller: weight", "bsa-mosteller", { 1.7, 3 }, { 1.7, 2.9 } },
    { "fall from nothing", "fall", { 0.1, 5 }, { 0, 5 } },
    { "fall to less than nothing", "fall", { 900, 0 }, { 900, -1 } },
    { "fall to no end", "fall", { 900, 9000 }, { 900, INFINITY } },
    { "pair: both nought", "pair-mean", { 0, 1, 10 }, { 0, 0, 10 } },
    { "pair: first", "pair-mean", { 8000, 900, 10 }, { 8001, 900, 10 } },
    { "pair: second", "pair-mean", { 900, 0, 10 }, { 900, -1, 10 } },
    { "pair: no limit", "pair-mean", { 900, 900, 0.1 }, { 900, 900, 0 } },
    { "pair: more than all", "pair-mean", { 900, 900, 100 }, { 900, 900, 100.1 } },
    { "three: all nought", "triple-mean", { 0, 0, 1, 10 }, { 0, 0, 0, 10 } },
    { "three: first", "triple-mean", { 8000, 900, 900, 10 }, { 8001, 900, 900, 10 } },
    { "three: second", "triple-mean", { 900, 8000, 900, 10 }, { 900, 8001, 900, 10 } },
    { "three: third", "triple-mean", { 900, 900, 8000, 10 }, { 900, 900, 8001, 10 } },
    { "three: no limit", "triple-mean", { 900, 900, 900, 0.1 }, { 900, 900, 900, 0 } },
    { "CV as a fraction", "mdc", { 0.5 }, { 0.142 } },
    { "CV above all", "mdc", { 100 }, { 100.1 } },
    { "within as a fraction", "mdc-means", { 0.5, 14.2, 1, 1 }, { 0.077, 14.2, 1, 1 } },
    { "between below within", "mdc-means", { 7.7, 7.7, 1, 1 }, { 7.7, 7.6, 1, 1 } },
    { "between above all", "mdc-means", { 7.7, 100, 1, 1 }, { 7.7, 100.1, 1, 1 } },
    { "no session", "mdc-means", { 7.7, 14.2, 1, 1 }, { 7.7, 14.2, 0, 1 } },
    { "too many sessions", "mdc-means", { 7.7, 14.2, 100, 1 }, { 7.7, 14.2, 101, 1 } },
    { "nothing in a session", "mdc-means", { 7.7, 14.2, 1, 1 }, { 7.7, 14.2, 1, 0 } },
    { "too many in a session", "mdc-means", { 7.7, 14.2, 1, 100 }, { 7.7, 14.2, 1, 101 } },
};

/* clang-format on */

static void test_published(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(published); i++)
        check_row(&published[i]);
}

static void test_computed(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(computed); i++)
        check_row(&computed[i]);
}

static void test_edges(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(edges); i++) {
        const struct dose_op *op = dose_op(edges[i].op);
        double got = -12345.0;

        ROW(edges[i].name);
        assert_non_null(op);
        assert_int_equal(op->fn(edges[i].bad, &got), ERR_RANGE);
        assert_true(got == -12345.0); /* nothing written */
        assert_int_equal(op->fn(edges[i].good, &got), ERR_OK);
    }
}

/* Each input of each good row in turn is not a number, and then endless. */
static void test_not_a_number(void **state)
{
    size_t refused = 0;

    (void)state;
    for (size_t i = 0; i < COUNT(edges); i++) {
        const struct dose_op *op = dose_op(edges[i].op);

        for (size_t at = 0; at < op->inputs; at++) {
            double in[DOSE_INPUTS_MAX], got = -12345.0;

            memcpy(in, edges[i].good, sizeof in);
            in[at] = NAN;
            assert_int_equal(op->fn(in, &got), ERR_RANGE);
            in[at] = INFINITY;
            assert_int_equal(op->fn(in, &got), ERR_RANGE);
            in[at] = -INFINITY;
            assert_int_equal(op->fn(in, &got), ERR_RANGE);
            assert_true(got == -12345.0);
            refused++;
        }
    }
    assert_true(refused > 2 * COUNT(edges));
}

/* dQa/Qa = dR / (R (1 - R)): one percentage point of R is 11 % of Qa at 0.10,
 * 6.3 % at 0.20, 4.0 % at 0.50 (computed, not published). */
static void test_error_growth(void **state)
{
    static const struct {
        double recirc_frac, growth_pct;
    } rows[] = { { 0.10, 11.11 }, { 0.20, 6.25 }, { 0.50, 4.00 } };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        double r = rows[i].recirc_frac, step = 1e-6, low, high, here;

        assert_int_equal(flow_reversed(300, r - step, &high), ERR_OK);
        assert_int_equal(flow_reversed(300, r + step, &low), ERR_OK);
        assert_int_equal(flow_reversed(300, r, &here), ERR_OK);
        assert_near((high - low) / (2 * step) / here, rows[i].growth_pct,
                    0.005);
    }
}

static void test_repeats(void **state)
{
    static const struct {
        const char *name;
        double flow_ml_min[3]; /* the third NAN: a pair */
        double mean_ml_min, spread_pct;
        bool agree;
    } rows[] = {
        { "equal", { 900, 900, NAN }, 900, 0, true },
        { "on the limit", { 950, 1050, NAN }, 1000, 10, true },
        { "just past it", { 949, 1050, NAN }, 999.5, 10.10505, false },
        { "order is nothing", { 1050, 949, NAN }, 999.5, 10.10505, false },
        { "one of them nought", { 0, 900, NAN }, 450, 200, false },
        { "three equal", { 900, 900, 900 }, 900, 0, true },
        { "third settles it", { 800, 1000, 1020 }, 940, 23.40426, true },
        { "third is first", { 1000, 1300, 1010 }, 1103.33333, 27.19033, true },
        { "closest on the limit", { 950, 1050, 1300 }, 1100, 31.81818, true },
        { "first and last on it", { 950, 1300, 1050 }, 1100, 31.81818, true },
        { "last two on it", { 1300, 1050, 950 }, 1100, 31.81818, true },
        { "no two agree", { 700, 1000, 1300 }, 1000, 60, false },
        { "two noughts agree", { 0, 0, 900 }, 300, 300, true },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        const double *q = rows[i].flow_ml_min;
        struct flow_repeat r;
        enum err e = isnan(q[2]) ? flow_pair(q[0], q[1], FLOW_AGREE_PCT, &r)
                                 : flow_triple(q, FLOW_AGREE_PCT, &r);

        ROW(rows[i].name);
        assert_int_equal(e, ERR_OK);
        assert_near(r.mean_ml_min, rows[i].mean_ml_min, 1e-5);
        assert_near(r.spread_pct, rows[i].spread_pct, 1e-5);
        assert_int_equal(r.agree, rows[i].agree);
        assert_int_equal(r.again, !rows[i].agree);
    }
}

/* More of anything never makes the least change greater. */
static void test_mdc_falls(void **state)
{
    (void)state;
    for (int n = 1; n < 12; n++) {
        for (int m = 1; m < 12; m++) {
            double here, sessions, each;

            assert_int_equal(flow_mdc_means(7.7, 14.2, n, m, &here), ERR_OK);
            assert_int_equal(flow_mdc_means(7.7, 14.2, n + 1, m, &sessions),
                             ERR_OK);
            assert_int_equal(flow_mdc_means(7.7, 14.2, n, m + 1, &each),
                             ERR_OK);
            assert_true(sessions < here && each < here);
            /* A session counts more than a replicate. */
            assert_true(n * m > 1 || sessions < each);
        }
    }
}

static void test_precision(void **state)
{
    const struct flow_precision *row = NULL;
    size_t count = 0;

    (void)state;
    while (flow_precision(count) != NULL) {
        row = flow_precision(count++);
        assert_true(row->method > METHOD_UNSTATED &&
                    row->method < METHOD_COUNT);
        assert_true(row->source[0] != '\0');
        assert_true(strstr("F F2 M C P", row->mark) != NULL);
        /* What is not published as a CV is not a number: it must not pass. */
        if (isnan(row->within_cv_pct)) {
            double mdc = -1;
            assert_int_equal(flow_mdc(row->within_cv_pct, &mdc), ERR_RANGE);
        }
    }
    assert_int_equal(count, 5);
    assert_null(flow_precision(SIZE_MAX));

    /* Huisman et al., NDT 2005: 7.7 % within, 14.2 % between sessions; 11.6 %
     * for duplex.  Constant infusion, ASAIO J 1998: 7.3 % early. */
    assert_int_equal(flow_precision_of(METHOD_ULTRASOUND_DILUTION, &row),
                     ERR_OK);
    assert_near(row->within_cv_pct, 7.7, 0);
    assert_near(row->between_cv_pct, 14.2, 0);
    assert_int_equal(flow_precision_of(METHOD_DUPLEX, &row), ERR_OK);
    assert_near(row->within_cv_pct, 11.6, 0);
    assert_true(isnan(row->between_cv_pct));
    assert_int_equal(flow_precision_of(METHOD_CONSTANT_INFUSION, &row), ERR_OK);
    assert_near(row->within_cv_pct, 7.3, 0);
    assert_string_equal(row->when, "early");
    assert_near(flow_precision(3)->within_cv_pct, 8.6, 0);
    assert_string_equal(flow_precision(3)->when, "late");
    row = NULL;
    assert_int_equal(flow_precision_of(METHOD_IONIC_DIALYSANCE, &row),
                     ERR_ABSENT);
    assert_int_equal(flow_precision_of(METHOD_UNSTATED, &row), ERR_ABSENT);
    assert_null(row);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_published),
        cmocka_unit_test(test_computed),
        cmocka_unit_test(test_edges),
        cmocka_unit_test(test_not_a_number),
        cmocka_unit_test(test_error_growth),
        cmocka_unit_test(test_repeats),
        cmocka_unit_test(test_mdc_falls),
        cmocka_unit_test(test_precision),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
