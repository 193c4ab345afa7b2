#include "tests/test.h"

#include "adapters/civil.h"
#include "adapters/fhir_time.h"
#include "tests/demo/oracle.h"
#include "tests/demo/probe.h"
#include "tests/demo/random.h"

#include <jansson.h>

/*
 * The demo is evidence for other tests, so it is itself tested by reading it
 * back from its bytes: here its form, in test_demo_stories.c what it says.
 */

#define DEMO_DIR SOURCE_DIR "/config/demo"

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

static struct buf feed_of(uint64_t seed, int64_t end, size_t bundle)
{
    struct buf out;

    assert_int_equal(probe_feed(end, seed, bundle, &out), ERR_OK);
    return out;
}

/* First outputs for seed 42 and stream 54 as printed by the demonstration
 * program of the reference implementation (pcg32-demo, O'Neill 2014). */
static void test_random_reference(void **state)
{
    static const uint32_t want[] = { 0xa15c02b7, 0x7b47f409, 0xba1d3330,
                                     0x83d2f293, 0xbfa4784b, 0xcbed606e };
    struct rng r;

    (void)state;
    rng_init(&r, 42, 54);
    for (size_t i = 0; i < COUNT(want); i++)
        assert_int_equal(rng_u32(&r), want[i]);
}

/* Moments of the normal draw within five standard errors. */
static void test_random_normal(void **state)
{
    enum { DRAWS = 100000 };
    double sum = 0.0, squares = 0.0;
    struct rng r;

    (void)state;
    rng_init(&r, 1, 1);
    for (int i = 0; i < DRAWS; i++) {
        double z = rng_normal(&r);

        sum += z;
        squares += z * z;
    }
    assert_near(sum / DRAWS, 0.0, 5.0 / sqrt(DRAWS));
    assert_near(squares / DRAWS, 1.0, 5.0 * sqrt(2.0 / DRAWS));
}

static const struct {
    const char *name, *text;
    enum err want;
    int64_t day;
} days[] = {
    { "the first day", "1970-01-01", ERR_OK, 0 },
    { "a leap day", "2024-02-29", ERR_OK, 19782 },
    { "no leap day", "2026-02-29", ERR_FORM, 0 },
    { "30 February", "2024-02-30", ERR_FORM, 0 },
    { "month 13", "2024-13-01", ERR_FORM, 0 },
    { "day 0", "2024-01-00", ERR_FORM, 0 },
    { "short", "2024-1-1", ERR_FORM, 0 },
    { "with a sign", "2024-+1-01", ERR_FORM, 0 },
    { "more behind", "2024-01-011", ERR_FORM, 0 },
    { "nothing", "", ERR_FORM, 0 },
};

static void test_days(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(days); i++) {
        int64_t day = -1;

        ROW(days[i].name);
        assert_int_equal(demo_day(days[i].text, &day), days[i].want);
        if (days[i].want == ERR_OK)
            assert_int_equal(day, days[i].day);
    }
}

/* FNV-1a, 64 bits (Fowler, Noll, Vo) */
static uint64_t hash_of(const struct buf *b)
{
    uint64_t h = UINT64_C(14695981039346656037);

    for (size_t i = 0; i < b->len; i++)
        h = (h ^ (unsigned char)b->data[i]) * UINT64_C(1099511628211);
    return h;
}

/* A changed scenario changes this; read the diff of a feed, then put the
 * new number here. */
static void test_same_bytes(void **state)
{
    struct buf a = feed_of(DEMO_SEED, end_day, 0);
    struct buf b = feed_of(DEMO_SEED, end_day, 0);
    struct buf other = feed_of(DEMO_SEED + 1, end_day, 0);

    (void)state;
    assert_int_equal(hash_of(&a), hash_of(&b));
    assert_int_equal(hash_of(&a), UINT64_C(0x7718890f01ac966b));
    assert_true(hash_of(&other) != hash_of(&a));
    buf_clear(&a);
    buf_clear(&b);
    buf_clear(&other);
}

static const struct {
    const char *name;
    int64_t end;
    enum err want;
} ends[] = {
    { "too early", 364, ERR_RANGE },  { "earliest", 365, ERR_OK },
    { "latest", 84005, ERR_OK }, /* 2199-12-31 */
    { "too late", 84006, ERR_RANGE }, { "negative", -1, ERR_RANGE },
};

static void test_ends(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(ends); i++) {
        struct demo *demo = NULL;

        ROW(ends[i].name);
        assert_int_equal(demo_new(ends[i].end, 1, &demo), ends[i].want);
        demo_free(demo);
    }
}

/* Bundles hold the same resources in the same order, ceiling kept. */
static void test_bundles(void **state)
{
    struct buf plain = feed_of(DEMO_SEED, end_day, 0);
    struct buf bundles = feed_of(DEMO_SEED, end_day, 500);
    const char *line = bundles.data, *at = plain.data;

    (void)state;
    while (*line != '\0') {
        size_t len = strcspn(line, "\n");
        json_t *root = json_loadb(line, len, JSON_REJECT_DUPLICATES, NULL);
        json_t *entries = json_object_get(root, "entry");

        assert_string_equal(json_string_value(json_object_get(root, "type")),
                            "collection");
        assert_in_range(json_array_size(entries), 1, 500);
        for (size_t i = 0; i < json_array_size(entries); i++) {
            size_t one = strcspn(at, "\n");
            json_t *want = json_loadb(at, one, 0, NULL);

            assert_true(json_equal(
                json_object_get(json_array_get(entries, i), "resource"), want));
            json_decref(want);
            at += one + 1;
        }
        json_decref(root);
        line += len + 1;
    }
    assert_int_equal(*at, '\0');
    buf_clear(&plain);
    buf_clear(&bundles);
}

/* Every identifier once, apart from later versions, which need a first. */
static void check_identifiers(const struct observed_feed *seen)
{
    for (size_t i = 0; i < seen->count; i++) {
        const struct observed *o = &seen->list[i];
        bool later = strcmp(o->status, "corrected") == 0 ||
                     strcmp(o->status, "entered-in-error") == 0;
        bool met = false;

        /* The readings of one panel stand together and share its name. */
        if (i > 0 && strcmp(o->name, seen->list[i - 1].name) == 0 &&
            strcmp(o->status, seen->list[i - 1].status) == 0)
            continue;
        for (size_t j = 0; j < i; j++)
            met = met || strcmp(seen->list[j].name, o->name) == 0;
        if (met != later)
            fail_msg("identifier %s", o->name);
    }
}

static void test_form(void **state)
{
    struct observed_feed *seen = observe_seed(DEMO_SEED, end_day);
    size_t units[4] = { 0 }, unknown = 0, last = 0;

    (void)state;
    assert_int_equal(seen->patients, 60);
    assert_int_equal(seen->accesses, 61); /* one patient has two */
    assert_int_equal(seen->unknown_methods, 0);
    for (size_t i = 0; i < seen->count; i++) {
        const struct observed *o = &seen->list[i];

        unknown += o->quantity == Q_NONE;
        if (isnan(o->ago_days))
            continue;
        assert_true(o->ago_days > 0.0);
        if (o->sign != SIGN_CREATED)
            assert_true(o->ago_days < 366.0);
    }
    assert_int_equal(unknown, 2); /* STORY_UNMAPPED */
    assert_int_equal(seen->unknown_codes, 2);
    for (int p = 101; p <= 399; p++) {
        struct flows flows;

        oracle_flows(seen, p, &flows);
        if (flows.count >= 11)
            units[last = (size_t)p / 100]++;
    }
    assert_int_equal(last, 3);
    assert_int_equal(units[1], 21); /* one sends none of late */
    assert_int_equal(units[2], 20);
    assert_int_equal(units[3], 18);
    check_identifiers(seen);
    free(seen);
}

/* Sent in order, after it was measured and before the last day. */
static void test_arrival(void **state)
{
    struct buf feed = feed_of(DEMO_SEED, end_day, 0);
    const char *line = feed.data;
    int64_t last_s = 0, late = 0;
    struct fhir_time time, at;

    (void)state;
    while (*line != '\0') {
        size_t len = strcspn(line, "\n");
        json_t *root = json_loadb(line, len, 0, NULL);
        const char *issued = json_string_value(json_object_get(root, "issued"));
        const char *effective =
            json_string_value(json_object_get(root, "effectiveDateTime"));

        line += len + 1;
        if (issued != NULL) {
            assert_int_equal(fhir_instant_read(issued, strlen(issued), &time),
                             ERR_OK);
            assert_int_equal(
                fhir_time_read(effective, strlen(effective), probe.zone, &at),
                ERR_OK);
            assert_true(time.start_s >= last_s);
            assert_true(time.start_s >= at.start_s);
            assert_true(time.start_s < end_day * DAY_S);
            last_s = time.start_s;
            late += time.start_s - at.start_s > 4 * DAY_S &&
                    at.start_s > (end_day - 366) * DAY_S;
        }
        json_decref(root);
    }
    assert_in_range(late, 20, 400);
    buf_clear(&feed);
}

static void test_truth_is_in_readme(void **state)
{
    struct buf readme, truth;

    (void)state;
    assert_int_equal(probe_file(DEMO_DIR, "README.md", &readme), ERR_OK);
    buf_init(&truth, PROBE_MAX);
    demo_truth(&truth);
    assert_int_equal(buf_ok(&truth), ERR_OK);
    assert_true(truth.len > 5000);
    assert_non_null(strstr(readme.data, truth.data));
    buf_clear(&readme);
    buf_clear(&truth);
}

static void test_expected_is_in_file(void **state)
{
    struct buf file, expected;

    (void)state;
    assert_int_equal(probe_file(DEMO_DIR, "expected.json", &file), ERR_OK);
    buf_init(&expected, PROBE_MAX);
    demo_expected(&expected);
    assert_int_equal(buf_ok(&expected), ERR_OK);
    assert_string_equal(file.data, expected.data);
    buf_clear(&file);
    buf_clear(&expected);
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
        cmocka_unit_test(test_random_reference),
        cmocka_unit_test(test_random_normal),
        cmocka_unit_test(test_days),
        cmocka_unit_test(test_same_bytes),
        cmocka_unit_test(test_ends),
        cmocka_unit_test(test_bundles),
        cmocka_unit_test(test_form),
        cmocka_unit_test(test_arrival),
        cmocka_unit_test(test_truth_is_in_readme),
        cmocka_unit_test(test_expected_is_in_file),
    };

    return cmocka_run_group_tests(tests, set_up, tear_down);
}
