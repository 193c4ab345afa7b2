/* What was put aside on the way to the record: listed, retried, given up. */
#include "service/aside.h"

#include "tests/service_world.h"
#include "tests/test.h"

#include <string.h>

#define OUTCOME                                                                \
    "{\"resourceType\":\"OperationOutcome\",\"issue\":[{\"severity\":"         \
    "\"error\",\"code\":\"invariant\",\"diagnostics\":\"no \\u001b[31mred\","  \
    "\"expression\":[\"Task.priority\"]}]}"

static int64_t row;

/* One ulcer, one Task, and a record that refuses it. */
static int start(void **state)
{
    struct world *w;

    world_start(state);
    w = *state;
    w->review.record = true;
    world_has_access(w);
    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "hand-ulcer", .access = ACCESS)),
                     201);
    world_review(w);
    row = world_count(w, "SELECT resource FROM outbox WHERE task = resource");
    return 0;
}

static void refuse(struct world *w, const char *answer)
{
    assert_int_equal(db_run(w->db, Q_OUTBOX_DEAD, "iisii", row, INT64(422),
                            answer, INT64(1772600000000), INT64(9)),
                     ERR_OK);
}

/* What is listed, to be cleared by the caller. */
static struct buf listed(struct world *w, bool json, bool given_up)
{
    struct buf out;

    buf_init(&out, 65536);
    assert_int_equal(
        aside_read(w->db, json, given_up, ASIDE_LIST_MAX, w->review.zone, &out),
        ERR_OK);
    return out;
}

static void assert_says(struct world *w, bool json, bool given_up,
                        const char *text)
{
    struct buf out = listed(w, json, given_up);

    if (strstr(out.data, text) == NULL)
        fail_msg("'%s' is not in:\n%s", text, out.data);
    buf_clear(&out);
}

static void nothing_is_aside(void **state)
{
    struct world *w = *state;
    size_t count = 7;

    assert_says(w, false, false, "Nothing is put aside");
    assert_says(w, false, true, "Nothing was given up");
    assert_int_equal(aside_again(w->db, row, 5, &count), ERR_ABSENT);
    assert_int_equal(aside_again(w->db, 424242, 5, &count), ERR_ABSENT);
    assert_int_equal(aside_give_up(w->db, row, "A", "b"), ERR_ABSENT);
    assert_int_equal(aside_again(w->db, 0, 5, &count), ERR_OK);
    assert_int_equal(count, 0);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM outbox WHERE state = 0"),
        world_count(w, "SELECT count(*) FROM outbox WHERE task = resource"));
}

static void what_the_record_said(void **state)
{
    struct world *w = *state;
    struct buf out;

    refuse(w, OUTCOME);
    assert_says(w, false, false,
                "HTTP status 422; the record does not have it");
    assert_says(w, false, false, "The record says: invariant: no ");
    assert_says(w, false, false, "(at Task.priority)");
    assert_says(w, false, false, "of patient 1001");
    assert_says(w, false, false, "headgate outbox discard ROW");
    assert_says(w, true, false, "\"answer\":{\"resourceType\":\"Operation");
    ROW("nothing that moves the terminal");
    out = listed(w, false, false);
    assert_null(strchr(out.data, 27));
    buf_clear(&out);
    ROW("no FHIR at all");
    refuse(w, "<html>no</html>");
    assert_says(w, false, false, "The record says: <html>no</html>");
    assert_says(w, true, false, "\"answer_text\":\"<html>no</html>\"");
    ROW("nothing");
    refuse(w, "");
    assert_says(w, false, false, "The record gave no reason");
}

static void tried_again(void **state)
{
    struct world *w = *state;
    size_t count = 0;

    refuse(w, OUTCOME);
    assert_int_equal(aside_again(w->db, row, 1772600001000, &count), ERR_OK);
    assert_int_equal(count, 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox WHERE state ="
                                    " 0 AND tries = 0 AND due_ms ="
                                    " 1772600001000"),
                     1);
    assert_says(w, false, false, "Nothing is put aside");
    ROW("all of them");
    refuse(w, OUTCOME);
    assert_int_equal(aside_again(w->db, 0, 1772600002000, &count), ERR_OK);
    assert_int_equal(count, 1);
    assert_says(w, false, false, "Nothing is put aside");
}

static void given_up(void **state)
{
    struct world *w = *state;
    size_t count = 0;

    refuse(w, OUTCOME);
    assert_int_equal(aside_give_up(w->db, row, "A. Example", "by telephone"),
                     ERR_OK);
    assert_says(w, false, false, "Nothing is put aside");
    assert_says(w, false, true, "Given up by A. Example: by telephone");
    ROW("twice is not possible, and all does not mean it");
    assert_int_equal(aside_give_up(w->db, row, "B", "c"), ERR_ABSENT);
    assert_int_equal(aside_again(w->db, 0, 5, &count), ERR_OK);
    assert_int_equal(count, 0);
    ROW("a start of the service leaves it alone");
    assert_int_equal(db_run(w->db, Q_OUTBOX_REVIVE, "i", INT64(5)), ERR_OK);
    assert_says(w, false, true, "Given up by A. Example");
    ROW("named by its row it can be tried after all");
    assert_int_equal(aside_again(w->db, row, 5, &count), ERR_OK);
    assert_says(w, false, true, "Nothing was given up");
    ROW("and what is new of it is sent whatever was said of the old");
    refuse(w, OUTCOME);
    assert_int_equal(aside_give_up(w->db, row, "A. Example", "x"), ERR_OK);
    assert_int_equal(
        db_run(w->db, Q_OUTBOX_WANT, "iiii", row, INT64(0), INT64(2), INT64(9)),
        ERR_OK);
    assert_says(w, false, true, "Nothing was given up");
}

/* Of a list that is cut it is said how much is left out. */
static void a_long_list(void **state)
{
    struct world *w = *state;
    const struct zone *zone = w->review.zone;
    struct buf out;

    assert_int_equal(world_put(w, "p-2", pat_json("p-2", "1002")), 201);
    assert_int_equal(world_put(w, "acc-8",
                               ACC(.id = "acc-8", .identifier = "A-8",
                                   .patient = "Patient/p-2")),
                     201);
    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "hand-ulcer",
                          .patient = "Patient/p-2",
                          .access = "BodyStructure/acc-8")),
        201);
    world_review(w);
    refuse(w, OUTCOME);
    row = world_count(w, "SELECT max(resource) FROM outbox WHERE task = "
                         "resource");
    refuse(w, OUTCOME);
    buf_init(&out, 65536);
    assert_int_equal(aside_read(w->db, false, false, 1, zone, &out), ERR_OK);
    assert_non_null(strstr(out.data, "Not shown: 1 more.  All of them: "
                                     "headgate outbox --all\n"));
    buf_empty(&out);
    assert_int_equal(aside_read(w->db, true, false, 1, zone, &out), ERR_OK);
    assert_non_null(strstr(out.data, "}\n{\"more\":1}\n"));
    for (int json = 0; json <= 1; json++) {
        buf_empty(&out);
        assert_int_equal(
            aside_read(w->db, json == 1, false, ASIDE_ALL, zone, &out), ERR_OK);
        assert_null(strstr(out.data, "more"));
        assert_non_null(strstr(out.data, "1002"));
    }
    buf_clear(&out);
}

/* Refused for good stays aside over a start; unclear is tried once more. */
static void over_a_start(void **state)
{
    struct world *w = *state;

    refuse(w, OUTCOME);
    assert_int_equal(db_run(w->db, Q_OUTBOX_REVIVE, "i", INT64(5)), ERR_OK);
    assert_says(w, false, false, "put aside");
    assert_int_equal(db_run(w->db, Q_OUTBOX_DEAD, "iisii", row, INT64(500), "",
                            INT64(1772600000000), INT64(9)),
                     ERR_OK);
    assert_int_equal(db_run(w->db, Q_OUTBOX_REVIVE, "i", INT64(5)), ERR_OK);
    assert_says(w, false, false, "Nothing is put aside");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, world_stop)
        TEST(nothing_is_aside), TEST(what_the_record_said), TEST(tried_again),
        TEST(given_up),         TEST(over_a_start),         TEST(a_long_list),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
