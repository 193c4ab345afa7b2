/*
 * What is old goes, and nothing that is needed: not what is open, nor what it
 * rests on, nor what the rules look back on.  Rows are counted by SQLite's own
 * library.
 */
#include "service/quarantine.h"
#include "service/resources.h"
#include "service/store_prune.h"
#include "tests/service_world.h"
#include "tests/test.h"

static struct config config;

static void run(struct world *w, bool yes, struct prune *p)
{
    *p = (struct prune){ .config = &config,
                         .policy = &w->policy,
                         .now_ms = world_now_ms(),
                         .yes = yes };
    do
        assert_int_equal(store_prune(w->db, p), ERR_OK);
    while (p->more);
}

/* Old flows that were low, and what came of them: a Task that was closed. */
static void set_up(struct world *w)
{
    memset(&config, 0, sizeof(config));
    world_now_s = START_S - INT64_C(86400) * 1200;
    for (int n = 1; n <= 4; n++) {
        char id[16];

        snprintf(id, sizeof(id), "old-%d", n);
        assert_int_equal(
            world_post(w, OBS(.identifier = id, .patient = "Patient/p-1",
                              .value = "2300", .ago_h = 24.0 * n)),
            201);
    }
    world_review(w);
    assert_int_equal(world_tasks(w, NULL, "requested"), 1);
}

static void close_task(struct world *w)
{
    char code[64];

    world_text(w, "SELECT code FROM task LIMIT 1", code, sizeof(code));
    world_person(w, code, "rejected");
    world_review(w);
}

static void nothing_goes_without_a_setting(void **state)
{
    struct world *w = *state;
    struct prune p;

    set_up(w);
    close_task(w);
    world_now_s = START_S;
    run(w, true, &p);
    for (int i = 0; i < PRUNE_PARTS; i++)
        assert_int_equal(p.counts[i], 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 4);
}

static void old_readings_go_with_their_messages(void **state)
{
    struct world *w = *state;
    struct prune p;

    set_up(w);
    close_task(w);
    world_now_s = START_S;
    assert_int_equal(
        world_post(w, OBS(.identifier = "new", .patient = "Patient/p-1",
                          .value = "900", .ago_h = 2)),
        201);
    config.keep_readings_d = 1000;
    run(w, false, &p); /* counted alone */
    assert_int_equal(p.counts[PRUNE_PART_READINGS], 4);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 5);
    run(w, true, &p);
    assert_int_equal(p.counts[PRUNE_PART_READINGS], 4);
    assert_int_equal(p.messages, 4);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM journal"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource WHERE kind "
                                    "= 1"),
                     1);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM search_token t WHERE NOT EXISTS "
                       "(SELECT 1 FROM resource r WHERE r.id = t.resource)"),
        0);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM term t WHERE NOT EXISTS (SELECT 1 "
                       "FROM search_term s WHERE s.term = t.id) AND NOT EXISTS "
                       "(SELECT 1 FROM identifier_term i WHERE i.term = t.id)"),
        0);
    /* and once more: there is nothing left to go */
    run(w, true, &p);
    assert_int_equal(p.counts[PRUNE_PART_READINGS], 0);
}

static void what_an_open_suggestion_rests_on_stays(void **state)
{
    struct world *w = *state;
    struct prune p;

    set_up(w);
    world_now_s = START_S;
    config.keep_readings_d = 1;
    config.keep_decisions_d = config.keep_outbox_d = 1;
    run(w, true, &p);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM evidence v WHERE NOT EXISTS "
                       "(SELECT 1 FROM reading r WHERE r.resource = "
                       "v.resource)"),
        0);
    assert_true(world_count(w, "SELECT count(*) FROM evidence") > 0);
    assert_true(world_count(w, "SELECT count(*) FROM decision") > 0);
    assert_int_equal(p.counts[PRUNE_PART_DECISIONS], 0);
}

static void what_the_rules_look_back_on_stays(void **state)
{
    struct world *w = *state;
    struct prune p;

    memset(&config, 0, sizeof(config));
    world_now_s = START_S;
    assert_int_equal(
        world_post(w, OBS(.identifier = "a", .patient = "Patient/p-1",
                          .value = "900", .ago_h = 24 * 30)),
        201);
    config.keep_readings_d = 1; /* less than the look-back */
    run(w, true, &p);
    assert_int_equal(p.counts[PRUNE_PART_READINGS], 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 1);
}

static void of_what_is_closed_the_last_decision_stays(void **state)
{
    struct world *w = *state;
    struct prune p;
    long long before, groups;

    set_up(w);
    close_task(w);
    world_now_s = START_S;
    /* one more decision on the same, older than the last */
    world_count(w,
                "INSERT INTO decision SELECT max(id) + 1, part, access, grp, "
                "number, at_ms, act, reason, policy, task, task_ver, rules, "
                "evidence, reminder, urgency, how, silent FROM decision "
                "RETURNING 1");
    before = world_count(w, "SELECT count(*) FROM decision");
    groups =
        world_count(w, "SELECT count(*) FROM (SELECT DISTINCT access, grp, "
                       "number, reminder FROM decision)");
    assert_true(before > groups);
    config.keep_decisions_d = 400;
    run(w, true, &p);
    assert_int_equal(p.counts[PRUNE_PART_DECISIONS], before - groups);
    assert_int_equal(world_count(w, "SELECT count(*) FROM decision"), groups);
}

static void of_the_quarantine_only_what_is_settled_goes(void **state)
{
    struct world *w = *state;
    const struct quarantine_row row = { .at_ms = world_now_ms(),
                                        .way = QUARANTINE_HTTP,
                                        .reason = "bad-value",
                                        .body = "a",
                                        .len = 1 };
    struct quarantine_row second = row;
    int64_t first_id = 0, second_id = 0;
    struct prune p;

    memset(&config, 0, sizeof(config));
    second.body = "b";
    assert_int_equal(quarantine_add(w->db, &row, &first_id), ERR_OK);
    assert_int_equal(quarantine_add(w->db, &second, &second_id), ERR_OK);
    assert_int_equal(db_run(w->db, Q_QUARANTINE_WHO, "iissi", first_id,
                            INT64(QUARANTINE_DISCARDED), "who", "why",
                            world_now_ms()),
                     ERR_OK);
    world_now_s += INT64_C(86400) * 31;
    config.keep_quarantine_d = 60;
    run(w, true, &p);
    assert_int_equal(p.counts[PRUNE_PART_QUARANTINE], 0);
    config.keep_quarantine_d = 30;
    run(w, true, &p);
    assert_int_equal(p.counts[PRUNE_PART_QUARANTINE], 1);
    assert_int_equal(world_count(w, "SELECT id FROM quarantine"), second_id);
    world_now_s = START_S;
}

#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(nothing_goes_without_a_setting),
        TEST(old_readings_go_with_their_messages),
        TEST(what_an_open_suggestion_rests_on_stays),
        TEST(what_the_rules_look_back_on_stays),
        TEST(of_what_is_closed_the_last_decision_stays),
        TEST(of_the_quarantine_only_what_is_settled_goes),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
