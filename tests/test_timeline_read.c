/* The timeline of an access from a real store: what was decided, what people
 * did with the Tasks, and when. */
#include "service/timeline.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <jansson.h>

#define FLOW_TASK "refer-flow-review"

enum { A_DAY = 86400 };

static int start(void **state)
{
    struct world *w;

    world_start(state);
    w = *state;
    world_has_access(w);
    assert_int_equal(world_put(w, "p-2", pat_json("p-2", "1002")), 201);
    assert_int_equal(world_put(w, "acc-8",
                               ACC(.id = "acc-8", .identifier = "A-8",
                                   .patient = "Patient/p-2")),
                     201);
    return 0;
}

static void flow(struct world *w, double after_d, const char *value)
{
    world_now_s += (int64_t)(after_d * A_DAY);
    assert_int_equal(world_post(w, OBS(.value = value, .access = ACCESS)), 201);
    world_review(w);
}

/* A high flow is confirmed, taken in hand after two days, completed after
 * five; a band is placed on the tenth day, and the flow is measured twelve
 * days later; then nothing more is heard for a hundred days. */
static void live(struct world *w)
{
    flow(w, 0, "2240");
    flow(w, 7, "2310");
    world_now_s += 2 * A_DAY;
    world_person(w, FLOW_TASK, "accepted");
    world_now_s += 3 * A_DAY;
    world_person(w, FLOW_TASK, "completed");
    world_now_s += 5 * A_DAY;
    assert_int_equal(world_post(w, OBS(.code = "access-intervention",
                                       .sign = "banded", .access = ACCESS)),
                     201);
    world_review(w);
    flow(w, 12, "1155");
    for (int week = 0; week < 20; week++) {
        world_now_s += 5 * A_DAY;
        world_review(w);
    }
}

static int ask(struct world *w, const char *name, bool json, struct buf *out)
{
    int status = 0;

    buf_empty(out);
    assert_int_equal(timeline_read(w->db, &w->review, name, json, &status, out),
                     ERR_OK);
    return status;
}

/* The lines as one array. */
static json_t *read_lines(const struct buf *out)
{
    json_t *list = json_array();

    for (const char *line = out->data, *end; *line != '\0'; line = end + 1) {
        json_t *tree;

        end = strchr(line, '\n');
        assert_non_null(end);
        tree = json_loadb(line, (size_t)(end - line), 0, NULL);
        assert_non_null(tree);
        assert_int_equal(json_array_append_new(list, tree), 0);
    }
    return list;
}

static const char *text_of(json_t *line, const char *key)
{
    const char *text = json_string_value(json_object_get(line, key));

    return text != NULL ? text : "";
}

/* The nth line of this kind; act NULL: any.  NULL if there is none. */
static json_t *nth(json_t *lines, const char *kind, const char *act, size_t n)
{
    for (size_t i = 0; i < json_array_size(lines); i++) {
        json_t *line = json_array_get(lines, i);

        if (strcmp(text_of(line, "kind"), kind) == 0 &&
            (act == NULL || strcmp(text_of(line, "act"), act) == 0) && n-- == 0)
            return line;
    }
    return NULL;
}

/* What is said at this time, so many days after the clock's start. */
static void expect_at(json_t *line, double days)
{
    time_t at = (time_t)(START_S + (int64_t)(days * A_DAY));
    char want[32];
    struct tm tm;

    assert_non_null(line);
    assert_non_null(gmtime_r(&at, &tm));
    strftime(want, sizeof(want), "%Y-%m-%dT%H:%M:%SZ", &tm);
    assert_string_equal(text_of(line, "at"), want);
}

static void a_life_is_told(void **state)
{
    struct world *w = world(state);
    struct buf out;
    json_t *lines, *band;

    live(w);
    buf_init(&out, 1 << 20);
    assert_int_equal(ask(w, "A-7", true, &out), 200);
    lines = read_lines(&out);
    expect_at(nth(lines, "flow", NULL, 0), 0);
    expect_at(nth(lines, "flow", NULL, 1), 7);
    expect_at(nth(lines, "suggestion", "opened", 0), 7);
    expect_at(nth(lines, "suggestion", "taken", 0), 9);
    expect_at(nth(lines, "suggestion", "completed", 0), 12);
    assert_null(nth(lines, "suggestion", "taken", 1));
    assert_null(nth(lines, "suggestion", "declined", 0));
    band = nth(lines, "treatment", NULL, 0);
    expect_at(band, 17);
    assert_string_equal(text_of(band, "treatment"), "banded");
    assert_near(json_number_value(json_object_get(band, "before")), 2310, 0);
    assert_near(json_number_value(json_object_get(band, "after")), 1155, 0);
    /* 1155 is half of 2310 */
    assert_near(json_number_value(json_object_get(band, "change_pct")), -50, 0);
    json_decref(lines);
    buf_clear(&out);
}

/* The reminders of the store, by its own rows, are all told. */
static void reminders_are_told(void **state)
{
    struct world *w = world(state);
    struct buf out;
    json_t *lines, *gap;
    size_t told = 0, overdue = 0;

    live(w);
    buf_init(&out, 1 << 20);
    assert_int_equal(ask(w, "A-7", true, &out), 200);
    lines = read_lines(&out);
    while (nth(lines, "reminder", "opened", told) != NULL)
        told++;
    while (nth(lines, "overdue", NULL, overdue) != NULL)
        overdue++;
    assert_true(told > 1);
    assert_int_equal(told, world_count(w, "SELECT count(*) FROM repeat"));
    /* each visit that was missed became a suggestion, and the other way */
    assert_true(overdue > 0);
    assert_int_equal(
        overdue, world_count(w, "SELECT count(*) FROM episode WHERE grp = 5"));
    _Static_assert(GROUP_FOLLOW_UP == 5, "the number in the statement");
    /* nothing came since the 29th day, and it is the 129th */
    gap = nth(lines, "gap", NULL, 0);
    assert_non_null(gap);
    assert_int_equal(json_integer_value(json_object_get(gap, "days")), 100);
    assert_true(json_is_true(json_object_get(gap, "open")));
    json_decref(lines);
    buf_clear(&out);
}

static void a_page_is_for_people(void **state)
{
    static const char *const says[] = {
        "What happened at this access, from 2026-03-06 to 2026-07-13",
        "Access: Fistula A-7 (left upper arm)",
        "2026-03-13  suggestion \"high flow 1\": opened; ",
        "2026-03-15  suggestion \"high flow 1\": taken in hand by a person",
        "2026-03-18  suggestion \"high flow 1\": completed by a person",
        "2026-03-23  band: flow 2310 mL/min before (2026-03-13), 1155 after ",
        "(2026-04-04), 50 % less",
        "Due next",
        "Decision support",
    };
    struct world *w = world(state);
    struct buf out;
    const char *at;

    live(w);
    buf_init(&out, 1 << 20);
    assert_int_equal(ask(w, "1001", false, &out), 200);
    at = out.data;
    for (size_t i = 0; i < COUNT(says); i++) {
        at = strstr(at, says[i]);
        if (at == NULL)
            fail_msg("%s is not, or not in its place, in:\n%s", says[i],
                     out.data);
    }
    buf_clear(&out);
}

/* A suggestion that we end ourselves was ended by no person. */
static void what_we_end_is_ours(void **state)
{
    struct world *w = world(state);
    struct buf out;
    json_t *lines;

    flow(w, 0, "2240");
    flow(w, 7, "2310");
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    flow(w, 7, "1200");
    flow(w, 7, "1210");
    assert_int_equal(world_tasks(w, FLOW_TASK, "cancelled"), 1);
    buf_init(&out, 1 << 20);
    assert_int_equal(ask(w, "A-7", true, &out), 200);
    lines = read_lines(&out);
    assert_string_equal(text_of(nth(lines, "suggestion", "ended", 0), "reason"),
                        "cleared");
    assert_null(nth(lines, "suggestion", "declined", 0));
    json_decref(lines);
    buf_clear(&out);
}

static void names_that_fit_none_or_two(void **state)
{
    struct world *w = world(state);
    struct buf out;

    buf_init(&out, 1 << 20);
    assert_int_equal(ask(w, "A-99", true, &out), 404);
    assert_non_null(strstr(out.data, "A-99"));
    assert_int_equal(ask(w, "A-8", true, &out), 200);
    assert_non_null(strstr(out.data, "\"from\":null"));
    buf_clear(&out);
}

static void asking_changes_nothing(void **state)
{
    static const char *const tables[] = { "news",     "episode",  "repeat",
                                          "version",  "decision", "outbox",
                                          "evidence", "reading" };
    struct world *w = world(state);
    struct buf out;
    char sql[64];
    long long before[COUNT(tables)];

    live(w);
    buf_init(&out, 1 << 20);
    for (int round = 0; round < 2; round++) {
        for (size_t i = 0; i < COUNT(tables); i++) {
            long long n;

            snprintf(sql, sizeof(sql), "SELECT count(*) FROM %s", tables[i]);
            n = world_count(w, sql);
            if (round > 0)
                assert_int_equal(n, before[i]);
            before[i] = n;
        }
        assert_int_equal(ask(w, "A-7", round == 0, &out), 200);
    }
    buf_clear(&out);
}

#define LIFE(f) cmocka_unit_test_setup_teardown(f, start, world_stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        LIFE(a_life_is_told),
        LIFE(reminders_are_told),
        LIFE(a_page_is_for_people),
        LIFE(what_we_end_is_ours),
        LIFE(names_that_fit_none_or_two),
        LIFE(asking_changes_nothing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
