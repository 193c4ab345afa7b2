/*
 * Two accesses that are one, by a person's word.
 *
 * What may be merged is our own rule, checked against the help of headgate
 * access; that two high flows confirm, and one does not, is rule HF-1 of
 * config/policy.ini.
 */
#include "planner/triage.h"
#include "service/deeds.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define FLOW_TASK "refer-flow-review"

static int start(void **state)
{
    world_start(state);
    world_has_access(*state);
    return 0;
}

static void flow(struct world *w, const char *value, double ago_d,
                 const char *access)
{
    assert_int_equal(
        world_post(w, OBS(.identifier = value, .value = value,
                          .ago_h = ago_d * DAYS, .access = access)),
        201);
}

/* ---- two accesses that are one ----------------------------------------------------- */

static struct access_deed both;

static enum err run_merge(struct db *db, void *arg)
{
    return access_deed_merge(db, arg);
}

static int merge(struct world *w, const char *from, const char *into)
{
    enum err e;

    buf_clear(&both.text);
    both =
        (struct access_deed){ .reader = &w->reader, .now_ms = world_now_ms() };
    snprintf(both.from, sizeof(both.from), "%s", from);
    snprintf(both.into, sizeof(both.into), "%s", into);
    snprintf(both.who, sizeof(both.who), "A. Rowan");
    snprintf(both.why, sizeof(both.why), "the unit was asked");
    buf_init(&both.text, 65536);
    e = world_step(w, run_merge, &both);
    assert_true(e == ERR_OK || (e == ERR_CONFLICT && both.status >= 400));
    return both.status;
}

static bool merge_says(const char *text)
{
    return strstr(both.text.data, text) != NULL;
}

static int finish(void **state)
{
    buf_clear(&both.text);
    return world_stop(state);
}

/* The number of the newest access that came without a BodyStructure. */
static const char *unnamed(struct world *w, char number[24])
{
    snprintf(number, 24, "%lld",
             world_count(w, "SELECT max(id) FROM access WHERE resource IS NULL "
                            "AND merged IS NULL"));
    return number;
}

/* One high flow on each side: neither confirms by itself. */
static void a_run_over_both_confirms(void **state)
{
    struct world *w = world(state);
    char number[24];

    flow(w, "2240", 9, "BodyStructure/misspelt");
    flow(w, "2310", 2, ACCESS);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, NULL), 0);
    assert_int_equal(merge(w, unnamed(w, number), "A-7"), 200);
    assert_true(merge_says("1 reading"));
    assert_true(merge_says("cannot be undone"));
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_true(world_task_says(w, FLOW_TASK, ACCESS) > 0);
    assert_true(world_task_says(w, FLOW_TASK, "2240") > 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM deed"), 1);
    /* its name is a name of the real one from now on */
    flow(w, "2330", 0, "BodyStructure/misspelt");
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM access WHERE merged IS NULL"), 1);
    assert_int_equal(merge(w, number, "A-7"), 409);
    assert_true(merge_says("merged"));
}

static void what_was_suggested_goes_over(void **state)
{
    struct world *w = world(state);
    char number[24];

    flow(w, "2240", 9, "BodyStructure/misspelt");
    flow(w, "2310", 2, "BodyStructure/misspelt");
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(merge(w, unnamed(w, number), "A-7"), 200);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, NULL), 1);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM access a JOIN episode e ON "
                       "e.access = a.id WHERE a.merged IS NULL"),
        1);
}

/* Each has its own: that of the one that goes ends, and says why. */
static void two_suggestions_become_one(void **state)
{
    struct world *w = world(state);
    char number[24], sql[120];

    flow(w, "2240", 9, "BodyStructure/misspelt");
    flow(w, "2310", 2, "BodyStructure/misspelt");
    flow(w, "2250", 8, ACCESS);
    flow(w, "2320", 1, ACCESS);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 2);
    assert_int_equal(merge(w, unnamed(w, number), "A-7"), 200);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_tasks(w, FLOW_TASK, "cancelled"), 1);
    snprintf(sql, sizeof(sql),
             "SELECT count(*) FROM decision WHERE act = %d AND reason = %d",
             ACT_END, END_MERGED);
    assert_int_equal(world_count(w, sql), 1);
}

/* Which of two was meant is clear once there is one. */
static void what_was_held_is_looked_at_again(void **state)
{
    struct world *w = world(state);
    char number[24];

    flow(w, "2240", 9, "BodyStructure/misspelt");
    w->strict_access = false;
    world_bundle(w,
                 bundle_json("collection",
                             entry_json(NULL, NULL,
                                        OBS(.identifier = "9", .value = "2310",
                                            .ago_h = 2 * DAYS)),
                             NULL));
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 1);
    assert_int_equal(merge(w, unnamed(w, number), "A-7"), 200);
    assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 0);
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
}

static void not_where_anything_contradicts(void **state)
{
    static const struct {
        const char *from, *into, *why;
        int status;
    } rows[] = {
        { "A-7", "A-8", "Both have come as a BodyStructure", 409 },
        { "A-7", "A-7", "one access already", 409 },
        { "misspelt", "A-9", "different patients", 409 },
        { "A-7", "misspelt", "Less is known of the second", 409 },
        { "right", "A-7", "the other on the right", 409 },
        { "misspelt", "A-6", "no longer in use", 409 },
        { "misspelt", "A-0", "No access has this name", 404 },
    };
    struct world *w = world(state);

    assert_int_equal(world_put(w, "p-2", pat_json("p-2", "1002")), 201);
    assert_int_equal(world_put(w, "acc-8",
                               ACC(.id = "acc-8", .identifier = "A-8",
                                   .site = "Right upper arm")),
                     201);
    assert_int_equal(world_put(w, "acc-9",
                               ACC(.id = "acc-9", .identifier = "A-9",
                                   .patient = "Patient/p-2")),
                     201);
    assert_int_equal(
        world_put(w, "acc-6",
                  ACC(.id = "acc-6", .identifier = "A-6", .inactive = true)),
        201);
    flow(w, "900", 9, "BodyStructure/misspelt");
    assert_int_equal(world_post(w, OBS(.value = "910", .ago_h = 48,
                                       .access = "BodyStructure/right",
                                       .site = "right upper arm")),
                     201);
    for (size_t i = 0; i < COUNT(rows); i++) {
        assert_int_equal(merge(w, rows[i].from, rows[i].into), rows[i].status);
        if (!merge_says(rows[i].why))
            fail_msg("%s into %s: %s", rows[i].from, rows[i].into,
                     both.text.data);
    }
    assert_int_equal(world_count(w, "SELECT count(*) FROM deed"), 0);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM access WHERE merged IS NOT NULL"),
        0);
}

static void listed_with_what_is_kept(void **state)
{
    struct world *w = world(state);
    struct buf out;

    buf_init(&out, 65536);
    assert_int_equal(access_deed_list(w->db, "nobody", false, &out),
                     ERR_ABSENT);
    flow(w, "2240", 9, "BodyStructure/misspelt");
    flow(w, "2310", 2, ACCESS);
    assert_int_equal(access_deed_list(w->db, "1001", false, &out), ERR_OK);
    assert_non_null(strstr(out.data, "misspelt"));
    assert_non_null(strstr(out.data, "A-7"));
    assert_non_null(strstr(out.data, "1 reading;"));
    buf_empty(&out);
    assert_int_equal(access_deed_list(w->db, "p-1", true, &out), ERR_OK);
    assert_int_equal(strncmp(out.data, "{\"number\":", 10), 0);
    assert_non_null(strstr(out.data, "}\n{\"number\":"));
    assert_non_null(strstr(out.data, "\"kind\":\"named\""));
    assert_non_null(strstr(out.data, "\"kind\":\"body-structure\""));
    buf_clear(&out);
}

#define MERGE_TEST(f) cmocka_unit_test_setup_teardown(f, start, finish)

int main(void)
{
    const struct CMUnitTest tests[] = {
        MERGE_TEST(a_run_over_both_confirms),
        MERGE_TEST(what_was_suggested_goes_over),
        MERGE_TEST(two_suggestions_become_one),
        MERGE_TEST(what_was_held_is_looked_at_again),
        MERGE_TEST(not_where_anything_contradicts),
        MERGE_TEST(listed_with_what_is_kept),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
