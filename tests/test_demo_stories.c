#include "tests/test.h"

#include "tests/demo/oracle.h"
#include "tests/demo/probe.h"
#include "tests/demo/scenario.h"

#include <jansson.h>

/*
 * Every story of the demo is true whatever the seed and whatever weekday the
 * last day is.  The arithmetic that judges it is that of tests/demo/oracle.c,
 * not that of the planner.
 */

#define DEMO_DIR SOURCE_DIR "/config/demo"

enum { SEEDS = 20 };

static const char END[] = "2026-03-06";

static int64_t end_day;
static struct probe probe;

static struct observed_feed *observe_seed(uint64_t seed, int64_t end)
{
    struct observed_feed *seen;
    struct buf line;

    buf_init(&line, 65536);
    seen = probe_observe(&probe, end, seed, &line);
    if (seen == NULL)
        fail_msg("not understood: %s", line.data);
    buf_clear(&line);
    return seen;
}

/* The rules that the oracle knows. */
static bool is_known(const char *rule)
{
    return strcmp(rule, "LF-1") == 0 || strcmp(rule, "LF-2") == 0 ||
           (strncmp(rule, "HF-", 3) == 0 && rule[3] <= '3') ||
           (strncmp(rule, "IS-", 3) == 0 && rule[3] >= '2' && rule[3] <= '7');
}

/* The words that expected.json has for a patient and group, of the rules that
 * the oracle knows.  Beside another rule the urgency may be that one's: then
 * it is left out. */
static void expected_text(json_t *list, int patient, const char *group,
                          char out[ORACLE_TEXT])
{
    char id[16];
    size_t i, j;
    json_t *row, *rule;

    out[0] = '\0';
    snprintf(id, sizeof(id), "p-%04d", patient);
    json_array_foreach(list, i, row)
    {
        const char *who = json_string_value(json_object_get(row, "patient"));
        const char *what = json_string_value(json_object_get(row, "group"));
        bool all = true;
        size_t len = 0;

        if (strcmp(who, id) != 0 || strcmp(what, group) != 0)
            continue;
        assert_int_equal(out[0], '\0'); /* one per access and group */
        json_array_foreach(json_object_get(row, "rules"), j, rule)
        {
            const char *word = json_string_value(rule);

            all = all && is_known(word);
            if (is_known(word))
                len +=
                    (size_t)snprintf(out + len, ORACLE_TEXT - len, "%s ", word);
        }
        if (all)
            snprintf(out + len, ORACLE_TEXT - len, "%s",
                     json_string_value(json_object_get(row, "urgency")));
    }
}

/* Equal, or equal as far as the urgency is said. */
static bool agrees(const char *oracle, const char *expected)
{
    size_t len = strlen(expected);

    return strcmp(oracle, expected) == 0 ||
           (len > 0 && expected[len - 1] == ' ' &&
            strncmp(oracle, expected, len) == 0);
}

static json_t *expected_json(void)
{
    struct buf text;
    json_t *root;

    assert_int_equal(probe_file(DEMO_DIR, "expected.json", &text), ERR_OK);
    root = json_loadb(text.data, text.len, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(root);
    buf_clear(&text);
    return root;
}

static void check_patient(const struct observed_feed *seen, uint64_t seed,
                          json_t *expected, const struct demo_patient *p)
{
    json_t *open = json_object_get(expected, "open");
    json_t *repeat = json_object_get(expected, "repeat_asked");
    char flow[ORACLE_TEXT], hand[ORACLE_TEXT], low[ORACLE_TEXT];
    char again[ORACLE_TEXT];
    struct oracle o;

    expected_text(open, p->number, "flow", flow);
    expected_text(open, p->number, "hand", hand);
    expected_text(open, p->number, "low-flow", low);
    expected_text(repeat, p->number, "hand", again);
    oracle_judge(seen, p->number, p->type == SIGN_TYPE_AVG, &o);
    if (!agrees(o.flow, flow) || !agrees(o.hand, hand) ||
        !agrees(o.low_flow, low) || o.repeat_finger != (again[0] != '\0'))
        fail_msg("seed %d, p-%04d: [%s] [%s] [%s] repeat %d", (int)seed,
                 p->number, o.flow, o.hand, o.low_flow, o.repeat_finger);
}

/* Patients without a finding are far from one: at no time of the year has
 * noise confirmed anything, by this rule or by a fall. */
static void check_quiet(const struct observed_feed *seen, uint64_t seed,
                        const struct demo_patient *p)
{
    bool graft = p->type == SIGN_TYPE_AVG;
    struct flows f;

    oracle_flows(seen, p->number, &f);
    if (oracle_falls(&f) != (p->story == STORY_FALL))
        fail_msg("seed %d, p-%04d: fall", (int)seed, p->number);
    if (demo_story(p->story)->expect[0].kind != EXPECT_NOTHING ||
        p->story == STORY_HISTORIC)
        return;
    if (oracle_ever(&f, 1500.0, true, 400.0) ||
        oracle_ever(&f, graft ? 600.0 : 500.0, false, 400.0))
        fail_msg("seed %d, p-%04d: confirmed by chance", (int)seed, p->number);
}

static void test_stories(void **state)
{
    json_t *expected = expected_json();
    size_t count;
    const struct demo_patient *p = demo_patients(&count);

    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        /* Another last day each time, so another weekday. */
        struct observed_feed *seen =
            observe_seed(seed, end_day + (int64_t)seed * 17);

        for (size_t i = 0; i < count; i++) {
            check_patient(seen, seed, expected, &p[i]);
            if (p[i].story != STORY_BAND_CREEP &&
                p[i].story != STORY_BAND_TIGHT)
                check_quiet(seen, seed, &p[i]);
        }
        free(seen);
    }
    json_decref(expected);
}

/* What makes a story a trap must be there, or its quiet proves nothing. */
static const struct {
    const char *name;
    int patient;
    enum quantity quantity;
    double low, high; /* of the value */
    double ago_most;  /* days */
    const char *status;
    bool named; /* an access is named */
    int least, most;
} traps[] = {
    { "one outlier", 107, Q_ACCESS_FLOW, 2000, 2200, 32, "final", true, 1, 1 },
    { "duplex", 108, Q_ACCESS_FLOW, 2000, 2400, 20, "final", true, 1, 1 },
    { "withdrawn", 109, Q_ACCESS_FLOW, 2000, 2200, 30, "final", true, 2, 2 },
    { "no access", 110, Q_ACCESS_FLOW, 2000, 2300, 15, "final", false, 1, 1 },
    { "second access", 110, Q_ACCESS_FLOW, 600, 800, 70, "final", true, 2, 2 },
    { "historic", 111, Q_ACCESS_FLOW, 2000, 2300, 190, "final", true, 2, 2 },
    { "silent", 112, Q_DIGITAL_PRESSURE, 40, 59.5, 80, "final", true, 3, 3 },
    { "to correct", 205, Q_ACCESS_FLOW, 2000, 2200, 30, "final", true, 2, 2 },
    { "corrected", 205, Q_ACCESS_FLOW, 1250, 1250, 30, "corrected", true, 1,
      1 },
    { "noise", 206, Q_ACCESS_FLOW, 1500, 1800, 366, "final", true, 1, 5 },
    { "wrong unit", 210, Q_ACCESS_FLOW, 1.2, 1.2, 15, "final", true, 1, 1 },
    { "two methods", 305, Q_ACCESS_FLOW, 2000, 2400, 25, "final", false, 2, 2 },
    { "preliminary", 306, Q_ACCESS_FLOW, 2000, 2300, 30, "preliminary", false,
      2, 2 },
    { "above once", 307, Q_ACCESS_FLOW, 3000, 3000, 20, "final", false, 1, 1 },
    { "above twice", 208, Q_ACCESS_FLOW, 3000, 3000, 15, "final", true, 1, 1 },
    { "stenosis", 104, Q_OUTFLOW_STENOSIS, 60, 60, 40, "final", true, 1, 1 },
    { "static", 104, Q_STATIC_ACCESS_PRESSURE, 52, 60, 30, "final", true, 3,
      3 },
    { "bleeding", 104, Q_BLEEDING_PROLONGED, 1, 1, 30, "final", true, 3, 3 },
    { "dowel", 105, Q_DOWEL_DIAMETER, 4, 4, 275, "final", true, 1, 1 },
    { "tight dowel", 203, Q_DOWEL_DIAMETER, 3, 3, 24, "final", true, 1, 1 },
    { "too tight", 203, Q_ACCESS_FLOW, 430, 430, 12, "final", true, 1, 1 },
};

static int count_trap(const struct observed_feed *seen, size_t t)
{
    int n = 0;

    for (size_t i = 0; i < seen->count; i++) {
        const struct observed *o = &seen->list[i];

        n += o->patient == traps[t].patient &&
             o->quantity == traps[t].quantity && o->value >= traps[t].low &&
             o->value <= traps[t].high && o->ago_days <= traps[t].ago_most &&
             strcmp(o->status, traps[t].status) == 0 &&
             (o->access[0] != '\0') == traps[t].named;
    }
    return n;
}

static void test_traps(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        int64_t end = end_day + (int64_t)seed * 31;
        struct observed_feed *seen = observe_seed(seed, end);

        for (size_t t = 0; t < COUNT(traps); t++) {
            int n = count_trap(seen, t);

            if (n < traps[t].least || n > traps[t].most)
                fail_msg("seed %d, %s: %d", (int)seed, traps[t].name, n);
        }
        free(seen);
    }
}

/* PB-4: over half above the first flow after the band, and above 1000,
 * twice; PB-2 is the single reading of the traps above. */
static void test_creep(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct observed_feed *seen = observe_seed(seed, end_day);
        struct flows f;
        double first = NAN;

        oracle_flows(seen, 105, &f);
        assert_true(f.count >= 11);
        for (size_t i = 0; i < f.count && isnan(first); i++)
            if (f.list[i].ago_days < 265.0)
                first = f.list[i].ml_min;
        for (size_t i = f.count - 2; i < f.count; i++) {
            assert_true(f.list[i].ml_min > 1.5 * first);
            assert_true(f.list[i].ml_min > 1000.0);
            assert_true(f.list[i].ml_min < 1500.0);
        }
        assert_true(f.list[f.count - 1].ago_days <= 30.0);
        free(seen);
    }
}

/*
 * The noise is the published one where no range cuts it: plain patients
 * whose true flow is between 850 and 1050 mL/min lie two
 * standard deviations and more inside their range.
 * Source: Huisman et al., NDT 2005: 14.2 % between, 7.7 % within sessions.
 */
static void test_noise(void **state)
{
    static const int who[] = { 216, 122, 316, 214, 220, 314, 315, 318 };
    static const double truth[] = { 980, 955, 1005, 855, 935, 940, 875, 905 };
    double squares = 0.0;
    int n = 0;

    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct observed_feed *seen = observe_seed(seed, end_day);

        for (size_t i = 0; i < seen->count; i++)
            for (size_t j = 0; j < COUNT(who); j++)
                if (seen->list[i].patient == who[j] &&
                    seen->list[i].quantity == Q_ACCESS_FLOW) {
                    double off = seen->list[i].value / truth[j] - 1.0;

                    squares += off * off;
                    n++;
                }
        free(seen);
    }
    assert_true(n > 1500);
    print_message("    coefficient of variation %.1f %% (%d readings)\n",
                  100.0 * sqrt(squares / n), n);
    assert_near(sqrt(squares / n), 0.142, 0.012);
}

static int set_up(void **state)
{
    struct buf why;
    enum err e = demo_day(END, &end_day);

    (void)state;
    buf_init(&why, 4096);
    if (e == ERR_OK)
        e = probe_open(DEMO_DIR, &probe, &why);
    if (e != ERR_OK)
        print_error("%s: %s\n", err_word(e), why.data);
    buf_clear(&why);
    return e == ERR_OK ? 0 : -1;
}

static int tear_down(void **state)
{
    (void)state;
    probe_close(&probe);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_stories),
        cmocka_unit_test(test_traps),
        cmocka_unit_test(test_creep),
        cmocka_unit_test(test_noise),
    };

    return cmocka_run_group_tests(tests, set_up, tear_down);
}
