/* What was decided, for whoever asks later. */
#include "service/decisions.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <jansson.h>

#define FLOW_TASK "refer-flow-review"

static int start(void **state)
{
    struct world *w;

    world_start(state);
    w = *state;
    snprintf(w->policy.version, sizeof(w->policy.version), "4");
    snprintf(w->policy.date, sizeof(w->policy.date), "2026-01-15");
    snprintf(w->policy.approver, sizeof(w->policy.approver),
             "Lead for vascular access");
    world_has_access(w);
    return 0;
}

static void flow(struct world *w, double after_d, const char *value)
{
    world_now_s += (int64_t)(after_d * 86400);
    assert_int_equal(world_post(w, OBS(.value = value, .access = ACCESS)), 201);
    world_review(w);
}

/* Opened, added to, raised by a sign of the heart, superseded. */
static void a_course(struct world *w)
{
    flow(w, 0, "2240");
    flow(w, 7, "2310");
    flow(w, 7, "2400");
    assert_int_equal(world_post(w, OBS(.code = "heart-failure-sign",
                                       .sign = "heart-failure-admission")),
                     201);
    world_review(w);
    flow(w, 14, "420");
    flow(w, 7, "400");
}

static void read_all(struct world *w, int64_t from_ms, bool json,
                     struct buf *out)
{
    buf_empty(out);
    assert_int_equal(decisions_read(w->db, from_ms, json, w->zone, out),
                     ERR_OK);
}

static void for_people(void **state)
{
    static const char *const in_order[] = {
        "2026-03-13 08:12  Fictional, Wren, 1001; Fistula A-7 (left upper arm)",
        "; flow 1: opened, routine; HF-1",
        "; policy 4 (2026-01-15, Lead for vascular access); posted\n",
        "2026-03-20 08:12  ",
        "flow 1: added to, ",
        "2026-03-20 08:12  ",
        "flow 1: raised, asap; HF-1 HF-4",
        "flow 1: ended (the opposite flow problem was confirmed)",
        "low-flow 1: opened, ",
    };
    struct world *w = world(state);
    struct buf out;
    const char *at;

    buf_init(&out, 1 << 20);
    read_all(w, INT64_MIN, false, &out);
    assert_string_equal(out.data,
                        "What headgate decided (not what people did)\n\n"
                        "headgate decided nothing.\n");
    a_course(w);
    read_all(w, INT64_MIN, false, &out);
    at = out.data;
    for (size_t i = 0; i < COUNT(in_order); i++) {
        const char *found = strstr(at, in_order[i]);

        if (found == NULL)
            fail_msg("%s is not, or not in its place, in:\n%s", in_order[i],
                     out.data);
        at = found + 1;
    }
    assert_null(strstr(out.data, "silent"));
    buf_clear(&out);
}

static void for_programs(void **state)
{
    static const char *const members[] = {
        "at",    "kind",   "patient", "patient_number", "access",
        "group", "number", "act",     "reason",         "urgency",
        "rules", "policy", "task",    "silent",
    };
    struct world *w = world(state);
    struct buf out;
    size_t lines = 0;

    a_course(w);
    buf_init(&out, 1 << 20);
    read_all(w, INT64_MIN, true, &out);
    for (const char *line = out.data; *line != '\0'; lines++) {
        const char *end = strchr(line, '\n');
        json_t *row = json_loadb(line, (size_t)(end - line),
                                 JSON_REJECT_DUPLICATES, NULL);

        assert_non_null(row);
        assert_int_equal(json_object_size(row), COUNT(members));
        for (size_t i = 0; i < COUNT(members); i++)
            assert_non_null(json_object_get(row, members[i]));
        assert_true(json_is_false(json_object_get(row, "silent")));
        json_decref(row);
        line = end + 1;
    }
    assert_int_equal(lines, world_count(w, "SELECT count(*) FROM decision"));
    buf_clear(&out);
}

static void since(void **state)
{
    struct world *w = world(state);
    struct buf out;

    a_course(w);
    buf_init(&out, 1 << 20);
    read_all(w, world_now_ms(), false, &out); /* the last review is in it */
    assert_non_null(strstr(out.data, "ended"));
    assert_null(strstr(out.data, "flow 1: raised"));
    read_all(w, world_now_ms() + 1, false, &out);
    assert_string_equal(out.data,
                        "What headgate decided (not what people did)\n\n"
                        "headgate decided nothing.\n");
    buf_clear(&out);
}

/* Names come from outside: nothing of them may steer a terminal. */
static void a_name_does_not_steer_a_terminal(void **state)
{
    struct world *w = world(state);
    struct buf out;

    a_course(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM patient"), 1);
    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    db_close(w->db);
    world_change_file(w->path, "UPDATE patient SET name = 'A' || char(27) ||"
                               " '[31m' || char(10) || 'B'");
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
    buf_init(&out, 1 << 20);
    read_all(w, INT64_MIN, false, &out);
    assert_null(strchr(out.data, '\033'));
    assert_null(strstr(out.data, "\nB"));
    assert_non_null(strstr(out.data, "[31m B, 1001"));
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, world_stop)
        TEST(for_people),
        TEST(for_programs),
        TEST(since),
        TEST(a_name_does_not_steer_a_terminal),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
