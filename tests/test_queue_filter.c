/*
 * A part of the queue.  What the filters mean is said in queue_filter.h; that
 * a sign of emergency is never hidden, and that what is hidden is counted, is
 * checked for every filter over every kind of row.
 */
#include "adapters/queue_filter.h"
#include "tests/golden.h"

#include <jansson.h>
#include <stdbool.h>

/* 2026-11-29, 14:05 in Berlin, which is an hour ahead of UTC then. */
static const int64_t now_s = 1795957500;
static const int64_t day_s = 86400;

static struct zone *berlin;

/* Every name here is invented. */
static struct queue_row row(const char *unit, const char *rules, int64_t due_d)
{
    return (struct queue_row){ .urgency = URGENCY_URGENT,
                               .state = EPISODE_OPEN,
                               .patient_name = "Mara Quill",
                               .patient_number = "1001",
                               .unit = unit,
                               .access = "Left upper-arm fistula A-1001",
                               .headline = "flow 2240 then 2180 mL/min",
                               .suggestion = "",
                               .task_id = "t-1",
                               .rules = rules,
                               .group = "flow",
                               .opened_s = now_s - 12 * day_s,
                               .due_s = now_s + due_d * day_s,
                               .access_id = 7 };
}

static struct queue_row held(const char *unit)
{
    struct queue_row r = row(unit, "", 0);

    r.held = true;
    r.urgency = URGENCY_IMMEDIATE;
    r.due_s = 0;
    r.opened_s = now_s;
    r.task_id = r.group = r.access = "";
    r.observation = "o-1";
    r.access_id = 0;
    return r;
}

enum {
    HELD_WEST,
    HELD_EAST,
    HELD_UNKNOWN,
    NOW,
    WEST,
    EAST,
    TAKEN,
    PUT_OFF,
    BACK,
    LATE,
    NO_UNIT,
    ROWS
};

static void fill(struct queue_row rows[ROWS])
{
    rows[HELD_WEST] = held("Corvane West");
    rows[HELD_EAST] = held("Corvane East");
    rows[HELD_UNKNOWN] = held("");
    rows[NOW] = row("Corvane East", "IS-2 IS-6", 0);
    rows[NOW].urgency = URGENCY_IMMEDIATE;
    rows[WEST] = row("Corvane West", "HF-1 HF-3", 3);
    rows[EAST] = row("Corvane East", "HF-2", 3);
    rows[TAKEN] = row("Corvane West", "LF-1", 3);
    rows[TAKEN].state = EPISODE_TAKEN;
    rows[PUT_OFF] = row("Corvane West", "HF-1", -3);
    rows[PUT_OFF].put_off_until_s = now_s + 5 * day_s;
    rows[PUT_OFF].put_off_by = "Dr Elm";
    rows[BACK] = row("Corvane West", "HF-1", 1); /* its day has come */
    rows[BACK].put_off_until_s = now_s - 1;
    rows[BACK].put_off_by = "Dr Elm";
    rows[LATE] = row("Corvane East", "HF-10", -3);
    rows[LATE].access_id = 9;
    rows[NO_UNIT] = row("", "HF-1", 3);
}

#define ALL_HELD (1u << HELD_WEST | 1u << HELD_EAST | 1u << HELD_UNKNOWN)
static const int64_t nine[] = { 8, 9 };

static const struct {
    const char *name;
    struct queue_filter filter;
    unsigned shown; /* bits of the rows above */
} cases[] = {
    { "nothing asked for", { .unit = NULL }, (1u << ROWS) - 1 },
    { "a unit, however it is spelt",
      { .unit = " corvane WEST " },
      1u << HELD_WEST | 1u << HELD_UNKNOWN | 1u << WEST | 1u << TAKEN |
          1u << PUT_OFF | 1u << BACK },
    { "no unit", { .no_unit = true }, 1u << HELD_UNKNOWN | 1u << NO_UNIT },
    { "open",
      { .state = QUEUE_OPEN },
      ALL_HELD | 1u << NOW | 1u << WEST | 1u << EAST | 1u << BACK | 1u << LATE |
          1u << NO_UNIT },
    { "taken", { .state = QUEUE_TAKEN }, ALL_HELD | 1u << TAKEN },
    { "put off", { .state = QUEUE_PUT_OFF }, ALL_HELD | 1u << PUT_OFF },
    { "overdue", { .state = QUEUE_OVERDUE }, ALL_HELD | 1u << LATE },
    { "a rule, whole words",
      { .rules = { "HF-1" }, .rule_count = 1 },
      ALL_HELD | 1u << WEST | 1u << PUT_OFF | 1u << BACK | 1u << NO_UNIT },
    { "any of two",
      { .rules = { "HF-2", "IS-6" }, .rule_count = 2 },
      ALL_HELD | 1u << NOW | 1u << EAST },
    { "an access",
      { .access = "A-9", .accesses = nine, .access_count = 2 },
      ALL_HELD | 1u << LATE },
    { "an access of none",
      { .access = "A-9", .accesses = nine, .access_count = 0 },
      ALL_HELD },
    { "unit and rule",
      { .unit = "Corvane East", .rules = { "HF-2" }, .rule_count = 1 },
      1u << HELD_EAST | 1u << HELD_UNKNOWN | 1u << EAST },
};

static void shows_what_was_asked_for(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct queue_row rows[ROWS], kept[ROWS];
        struct queue_hidden hidden;
        size_t shown, want = 0, now = 0;

        ROW(cases[i].name);
        fill(rows);
        memcpy(kept, rows, sizeof(rows));
        shown = queue_filter_apply(&cases[i].filter, kept, ROWS, now_s, berlin,
                                   &hidden);
        for (size_t k = 0; k < ROWS; k++) {
            bool is_shown = (cases[i].shown & 1u << k) != 0;

            assert_int_equal(
                queue_filter_takes(&cases[i].filter, &rows[k], now_s, berlin),
                is_shown);
            if (is_shown) /* in the order in which they were */
                assert_memory_equal(&kept[want++], &rows[k], sizeof(rows[k]));
            else
                now += rows[k].urgency == URGENCY_IMMEDIATE ? 1 : 0;
        }
        assert_int_equal(shown, want);
        assert_int_equal(shown + hidden.rows, ROWS);
        assert_int_equal(hidden.phone_now, now);
        assert_int_equal(hidden.overdue,
                         (cases[i].shown & 1u << LATE) != 0 ? 0 : 1);
    }
}

/* Whatever is asked for: of this unit, and of one that is not known. */
static void never_hides_an_emergency_that_is_held(void **state)
{
    (void)state;
    for (unsigned bits = 0; bits < 16; bits++) {
        for (int s = QUEUE_ANY; s <= QUEUE_OVERDUE; s++) {
            struct queue_filter f = { .state = (enum queue_state)s };
            struct queue_row rows[ROWS];

            fill(rows);
            f.unit = (bits & 1) != 0 ? "Corvane West" : NULL;
            f.rules[0] = "HF-1";
            f.rule_count = bits >> 1 & 1;
            f.access = (bits & 4) != 0 ? "A-1" : NULL;
            f.no_unit = (bits & 9) == 8;
            assert_true(
                queue_filter_takes(&f, &rows[HELD_UNKNOWN], now_s, berlin));
            if (!f.no_unit)
                assert_true(
                    queue_filter_takes(&f, &rows[HELD_WEST], now_s, berlin));
        }
    }
}

static void reads_words(void **state)
{
    enum queue_state s = QUEUE_ANY;

    (void)state;
    assert_true(queue_state_read("put-off", &s));
    assert_int_equal(s, QUEUE_PUT_OFF);
    assert_false(queue_state_read("", &s));
    assert_false(queue_state_read("Open", &s));
    assert_string_equal(queue_rule_read("hf-1"), "HF-1");
    assert_null(queue_rule_read("HF"));
    assert_null(queue_rule_read(""));
    assert_true(queue_asks_no_unit("Unit not known"));
    assert_false(queue_asks_no_unit("unit"));
    assert_false(queue_is_unit("Corvane", "Corvane West"));
    assert_true(queue_is_unit("", "  "));
}

/* What is put off stands last, with until when and by whom; what a person was
 * asked to do, and what nobody took, is said. */
static void whole_pages(void **state)
{
    static const struct {
        const char *name;
        size_t filter; /* of the cases above */
        int columns;
    } pages[] = {
        { "queue_filter_unit.txt", 1, 100 },
        { "queue_filter_unit_60.txt", 1, 60 },
        { "queue_filter_overdue.txt", 6, 100 },
    };
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 20);
    for (size_t i = 0; i < COUNT(pages); i++) {
        const struct queue_filter *f = &cases[pages[i].filter].filter;
        struct queue_hidden hidden;
        struct queue_row rows[ROWS];
        struct queue_options o = { .columns = pages[i].columns,
                                   .now_s = now_s,
                                   .zone = berlin,
                                   .filter = f,
                                   .hidden = &hidden };
        size_t count;

        ROW(pages[i].name);
        fill(rows);
        rows[WEST].owner = "Vascular clinic,\nDr Reed";
        rows[WEST].escalated = true;
        /* as queue_rows_read puts them */
        struct queue_row last = rows[PUT_OFF];

        memmove(&rows[PUT_OFF], &rows[PUT_OFF + 1],
                (ROWS - PUT_OFF - 1) * sizeof(last));
        rows[ROWS - 1] = last;
        count = queue_filter_apply(f, rows, ROWS, now_s, berlin, &hidden);
        buf_empty(&out);
        queue_write_table(rows, count, &o, &out);
        assert_int_equal(buf_ok(&out), ERR_OK);
        assert_golden(pages[i].name, out.data, out.len);
    }
    buf_clear(&out);
}

static void says_nothing_of_it_is_there(void **state)
{
    const struct queue_filter f = { .unit = "Corvane West" };
    const struct queue_hidden hidden = { .rows = 3, .phone_now = 1 };
    const struct queue_options o = {
        .now_s = now_s, .zone = berlin, .filter = &f, .hidden = &hidden
    };
    struct buf out;
    json_t *root;

    (void)state;
    buf_init(&out, 1 << 20);
    queue_write_table(NULL, 0, &o, &out);
    assert_non_null(strstr(out.data, "Not shown: 3; to phone now: 1"));
    assert_non_null(strstr(out.data, "Nothing of what was asked for"));
    assert_null(strstr(out.data, "no referral is open"));
    buf_empty(&out);
    queue_filter_json(&f, &hidden, &out);
    root = json_loads(out.data, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(root);
    assert_string_equal(json_string_value(json_object_get(root, "kind")),
                        "not-shown");
    assert_int_equal(json_integer_value(json_object_get(root, "count")), 3);
    assert_true(json_is_null(json_object_get(root, "state")));
    json_decref(root);
    buf_clear(&out);
}

/* At once, a reminder and what only waits to be closed cannot be put off. */
static void put_off_until_its_moment(void **state)
{
    struct queue_row r = row("", "HF-1", -3);

    (void)state;
    r.put_off_until_s = now_s + 1;
    assert_true(queue_is_put_off(&r, now_s));
    assert_false(queue_is_overdue(&r, now_s, berlin));
    assert_false(queue_is_put_off(&r, now_s + 1));
    assert_true(queue_is_overdue(&r, now_s + 1, berlin));
    r.urgency = URGENCY_IMMEDIATE;
    assert_false(queue_is_put_off(&r, now_s));
    r.urgency = URGENCY_URGENT;
    r.reminder = true;
    assert_false(queue_is_put_off(&r, now_s));
    r.reminder = false;
    r.ground_gone = true;
    assert_false(queue_is_put_off(&r, now_s));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(shows_what_was_asked_for),
        cmocka_unit_test(never_hides_an_emergency_that_is_held),
        cmocka_unit_test(reads_words),
        cmocka_unit_test(whole_pages),
        cmocka_unit_test(says_nothing_of_it_is_there),
        cmocka_unit_test(put_off_until_its_moment),
    };
    int failed;

    if (zone_load("Europe/Berlin", &berlin) != ERR_OK)
        return 1;
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    zone_free(berlin);
    return failed;
}
