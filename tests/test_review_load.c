/* What of a long history is loaded; and which accesses are reviewed first. */
#include "planner/triage.h"
#include "service/news.h"
#include "service/readings.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <math.h>

#define FLOW_TASK "refer-flow-review"
#define HAND_TASK "refer-hand-review"

enum { A_DAY = 86400, ROOM = 40 };

static int start(void **state)
{
    world_start(state);
    world_has_access(*state);
    world_review(*state);
    return 0;
}

static struct access the_access(struct world *w)
{
    struct access a;

    assert_int_equal(
        access_get(w->db, world_count(w, "SELECT min(id) FROM access"), &a),
        ERR_OK);
    return a;
}

/* ---- loading -------------------------------------------------------------- */

/* Readings of one kind, the newest from_s before now, step_s apart. */
struct row {
    size_t count;
    enum quantity quantity;
    int64_t from_s, step_s;
    enum method method;
    enum reading_status status;
    bool of_patient;
};

static void add(struct world *w, const struct access *a, const struct row *row)
{
    static int64_t id = 5000000;
    bool coded = quantity_info(row->quantity)->kind == VALUE_CODE;

    for (size_t i = 0; i < row->count; i++) {
        int64_t at_s = world_now_s - row->from_s - (int64_t)i * row->step_s;

        assert_int_equal(
            db_run(w->db, Q_READING_ADD, "iiiiiiiiiiidiiiiii",
                   row->of_patient ? a->patient : a->id, INT64(1), at_s,
                   INT64(row->quantity), id++, INT64(0), INT64(0), INT64(1),
                   INT64(row->status), at_s + 1, INT64(AT_SECOND),
                   coded ? NAN : 100.0, INT64(BOUND_NONE),
                   INT64(coded ? SIGN_COLDNESS : 0), INT64(coded),
                   INT64(row->method), INT64(SIDE_UNKNOWN), INT64(0)),
            ERR_OK);
    }
}

static size_t loaded(const struct history *h, const struct row *row)
{
    size_t n = 0;

    for (size_t i = 0; i < h->count; i++) {
        const struct reading *r = &h->readings[i];

        n += r->quantity == row->quantity && r->method == row->method &&
             r->status == row->status;
    }
    return n;
}

static void a_room_is_shared(void **state)
{
    static const struct {
        const char *name;
        struct row rows[2];
        size_t want[2];
        int64_t cut_s; /* so long before now; -1: nothing was cut */
    } cases[] = {
        { "a flood of one second",
          { { 100, Q_ACCESS_FLOW, 0, 0, 0, 0, 0 } },
          { 8 },
          -1 },
        { "a flood beside another method",
          { { 100, Q_ACCESS_FLOW, 0, 0, 0, 0, 0 },
            { 3, Q_ACCESS_FLOW, 60, 1, METHOD_DUPLEX, 0, 0 } },
          { 8, 3 },
          -1 },
        { "a flood of what was withdrawn",
          { { 100, Q_ACCESS_FLOW, 0, 0, 0, READING_WITHDRAWN, 0 },
            { 3, Q_ACCESS_FLOW, 60, 1, 0, 0, 0 } },
          { 8, 3 },
          -1 },
        { "signs are not thinned",
          { { 20, Q_HAND_SYMPTOM, 0, 0, 0, 0, 0 } },
          { 20 },
          -1 },
        { "half-hourly, of nine within four hours eight",
          { { 36, Q_PUMP_FLOW, 0, 1800, 0, 0, 0 } },
          { 30 },
          59400 },
        { "half-hourly for a day",
          { { 27, Q_PUMP_FLOW, 0, 1800, 0, 0, 0 } },
          { 24 },
          -1 },
        { "a quarter is the patient's",
          { { 100, Q_ACCESS_FLOW, 0, A_DAY, 0, 0, 0 },
            { 100, Q_BODY_WEIGHT, 0, A_DAY, 0, 0, true } },
          { 30, 10 },
          10 * A_DAY },
        { "and what the access leaves",
          { { 5, Q_ACCESS_FLOW, 0, A_DAY, 0, 0, 0 },
            { 100, Q_BODY_WEIGHT, 0, A_DAY, 0, 0, true } },
          { 5, 35 },
          35 * A_DAY },
        { "signs behind many numbers",
          { { 100, Q_ACCESS_FLOW, 0, A_DAY, 0, 0, 0 },
            { 5, Q_HAND_SYMPTOM, 200 * A_DAY, A_DAY, 0, 0, 0 } },
          { 25, 5 },
          25 * A_DAY },
        { "too many signs",
          { { 50, Q_HAND_SYMPTOM, 0, A_DAY, 0, 0, 0 },
            { 50, Q_ACCESS_FLOW, 5, A_DAY, 0, 0, 0 } },
          { 30, 0 },
          5 },
        { "all that there is room for",
          { { 30, Q_ACCESS_FLOW, 0, A_DAY, 0, 0, 0 } },
          { 30 },
          -1 },
        { "one more",
          { { 31, Q_ACCESS_FLOW, 0, A_DAY, 0, 0, 0 } },
          { 30 },
          30 * A_DAY },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        static struct reading list[ROOM];
        struct history h = { .now_s = world_now_s };
        struct access a;
        struct world *w;

        ROW(cases[i].name);
        start(state);
        w = world(state);
        h.now_s = world_now_s;
        a = the_access(w);
        for (size_t k = 0; k < COUNT(cases[i].rows); k++)
            add(w, &a, &cases[i].rows[k]);
        assert_int_equal(readings_load(w->db, &a, &w->policy, list, ROOM, &h),
                         ERR_OK);
        for (size_t k = 0; k < COUNT(cases[i].rows); k++) {
            if (cases[i].rows[k].count > 0)
                assert_int_equal(loaded(&h, &cases[i].rows[k]),
                                 cases[i].want[k]);
        }
        for (size_t k = 1; k < h.count; k++)
            assert_true(list[k - 1].start_s <= list[k].start_s);
        assert_int_equal(h.loaded_from_s,
                         cases[i].cut_s < 0 ? 0
                                            : world_now_s - cases[i].cut_s + 1);
        world_stop(state);
    }
}

static void flow(struct world *w, const char *value)
{
    assert_int_equal(world_post(w, OBS(.value = value, .access = ACCESS)), 201);
    world_review(w);
}

/* What lies open rests on it: a flood after it does not push it out. */
static void evidence_is_not_thinned(void **state)
{
    static struct reading list[ROOM];
    struct world *w = world(state);
    struct history h = { .now_s = 0 };
    struct access a = the_access(w);
    size_t found = 0;

    flow(w, "2240");
    world_now_s += 7 * A_DAY;
    flow(w, "2310");
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    world_now_s += 60;
    add(w, &a, &(struct row){ .count = 20, .quantity = Q_ACCESS_FLOW });
    h.now_s = world_now_s;
    assert_int_equal(readings_load(w->db, &a, &w->policy, list, ROOM, &h),
                     ERR_OK);
    for (size_t i = 0; i < h.count; i++)
        found += list[i].id < 5000000;
    assert_int_equal(found, 2);
    assert_int_equal(h.count, 10);
    world_person(w, FLOW_TASK, "rejected"); /* nothing rests on it now */
    assert_int_equal(readings_load(w->db, &a, &w->policy, list, ROOM, &h),
                     ERR_OK);
    assert_int_equal(h.count, 9);
}

/* ---- which comes first ---------------------------------------------------- */

/* The first that is to be reviewed now; 0: none. */
static int64_t first_due(struct world *w)
{
    int64_t access = 0;
    enum err e = db_first(w->db, Q_NEWS_LIST, "ii", world_now_ms(), INT64(32));

    if (e == ERR_OK)
        access = db_int(w->db, Q_NEWS_LIST, 0);
    db_done(w->db, Q_NEWS_LIST);
    return access;
}

static int64_t add_access(struct world *w, const char *id, const char *site)
{
    assert_int_equal(
        world_put(w, id, ACC(.id = id, .identifier = id, .site = site)), 201);
    world_review(w);
    return world_count(w, "SELECT max(id) FROM access");
}

static void change_policy(struct world *w)
{
    w->policy.values[P_HF1_FLOW].value += 1;
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
}

static void what_has_come_goes_before_the_backlog(void **state)
{
    struct world *w = world(state);
    int64_t first = the_access(w).id;
    int64_t second = add_access(w, "acc-8", "Right forearm");

    assert_int_equal(first_due(w), 0);
    change_policy(w);
    assert_int_equal(first_due(w), first); /* all are old */
    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "hand-ulcer",
                          .access = "BodyStructure/acc-8")),
        201);
    assert_int_equal(first_due(w), second);
    /* neither a second change nor news of the patient puts it back */
    change_policy(w);
    assert_int_equal(first_due(w), second);
    assert_int_equal(news_mark(w->db, second, 0), ERR_OK);
    assert_int_equal(first_due(w), second);
    /* what time alone makes due later is of the backlog now */
    world_review(w);
    assert_int_equal(first_due(w), 0);
    assert_true(world_count(w, "SELECT min(since_ms) FROM news") >
                world_now_ms());
    change_policy(w);
    assert_int_equal(world_count(w, "SELECT max(since_ms) FROM news"), 0);
    assert_int_equal(first_due(w), first);
}

/* A limit that was changed without a new version is another policy. */
static void another_limit_is_another_policy(void **state)
{
    struct world *w = world(state);

    change_policy(w);
    world_review(w);
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    assert_int_equal(first_due(w), 0);
    change_policy(w);
    assert_int_equal(first_due(w), the_access(w).id);
}

/* ---- one no longer in use ------------------------------------------------- */

static void a_hand_that_nobody_answers(void **state)
{
    struct world *w = world(state);
    int64_t wait_s = (int64_t)policy_count(&w->policy, P_UNANSWERED_D) * A_DAY;
    int64_t soon_s =
        (int64_t)policy_count(&w->policy, P_ESCALATE_IMMEDIATE_H) * 3600;

    assert_int_equal(
        world_put(w, "acc-7",
                  ACC(.id = "acc-7", .identifier = "A-7", .inactive = true)),
        200);
    assert_int_equal(world_put(w, "o1",
                               OBS(.id = "o1", .code = "hand-symptom",
                                   .sign = "hand-ulcer", .access = ACCESS)),
                     201);
    world_review(w);
    assert_int_equal(world_tasks(w, HAND_TASK, "requested"), 1);
    assert_int_equal(world_count(w, "SELECT since_ms FROM news"),
                     (world_now_s + soon_s) * 1000);
    world_now_s += soon_s;
    world_review(w);
    assert_int_equal(world_count(w, "SELECT since_ms FROM news"),
                     (world_now_s - soon_s + wait_s) * 1000);
    world_now_s += wait_s - soon_s;
    world_review(w);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM decision WHERE act = 2"), 2);
    /* it ends because its ground has gone, not because of the access */
    assert_int_equal(
        world_put(w, "o1",
                  OBS(.id = "o1", .code = "hand-symptom", .sign = "hand-ulcer",
                      .access = ACCESS, .status = "entered-in-error")),
        200);
    world_review(w);
    assert_int_equal(
        world_count(w, "SELECT reason FROM decision WHERE act = 3"),
        END_WITHDRAWN);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, world_stop)
        cmocka_unit_test(a_room_is_shared),
        TEST(evidence_is_not_thinned),
        TEST(what_has_come_goes_before_the_backlog),
        TEST(another_limit_is_another_policy),
        TEST(a_hand_that_nobody_answers),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
