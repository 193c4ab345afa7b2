/*
 * A band that was tied three years ago is a band.  What states a lasting fact
 * of an access is loaded at any age, stays in the store, refuses a plan, and
 * moves no trend.
 *
 * That a band stays in place until it is cut is common practice, no source.
 * Which index a statement goes by is told by SQLite's own library.
 */
#include "service/planning.h"

#include "planner/history.h"
#include "service/db_schema.h"
#include "service/readings.h"
#include "service/store_prune.h"
#include "tests/access_kit.h"

#include <math.h>
#include <sqlite3.h>

enum { A_DAY = 86400, YEAR_D = 365, LONG_AGO_D = 3 * YEAR_D, ROOM = 80 };

static struct planning *planning;

static int64_t access_of(struct world *w)
{
    return world_count(w, "SELECT min(id) FROM access");
}

/* One reading, so many days before now. */
struct fact {
    double ago_d;
    enum quantity quantity;
    enum sign sign;
    double value;
    enum reading_status status;
    bool absent;
};

static void add_to(struct world *w, int64_t owner, const struct fact *f)
{
    static int64_t id = 5000000;
    int64_t at_s = world_now_s - llround(f->ago_d * A_DAY);
    bool coded = f->sign != SIGN_NONE;

    assert_int_equal(db_run(w->db, Q_READING_ADD, "iiiiiiiiiiidiiiiii", owner,
                            INT64(1), at_s, INT64(f->quantity), id++, INT64(0),
                            INT64(0), INT64(1), INT64(f->status), at_s + 1,
                            INT64(AT_SECOND), coded ? NAN : f->value,
                            INT64(BOUND_NONE), INT64(f->sign),
                            INT64(coded && !f->absent), INT64(METHOD_UNSTATED),
                            INT64(SIDE_UNKNOWN), INT64(0)),
                     ERR_OK);
}

#define ADD(w, ...) add_to(w, access_of(w), &(struct fact){ __VA_ARGS__ })
#define DONE(ago, what)                                                        \
    {                                                                          \
        .ago_d = (ago), .quantity = Q_ACCESS_INTERVENTION, .sign = (what)      \
    }

static void load(struct world *w, struct reading *list, size_t max,
                 struct history *h)
{
    struct access a;

    assert_int_equal(access_get(w->db, access_of(w), &a), ERR_OK);
    *h = (struct history){ .now_s = world_now_s };
    assert_int_equal(readings_load(w->db, &a, &w->policy, list, max, h),
                     ERR_OK);
    for (size_t i = 1; i < h->count; i++)
        assert_true(list[i - 1].start_s <= list[i].start_s);
}

static size_t count_of(const struct history *h, enum quantity q, enum sign sign)
{
    size_t n = 0;

    for (size_t i = 0; i < h->count; i++)
        n += h->readings[i].quantity == q && h->readings[i].sign == sign;
    return n;
}

/* ---- loading -------------------------------------------------------------- */

static void a_lasting_fact_is_loaded_at_any_age(void **state)
{
    static const struct {
        const char *name;
        struct fact fact;
        size_t want;
    } cases[] = {
        { "a band", DONE(LONG_AGO_D, SIGN_BANDED), 1 },
        { "made twenty years ago", DONE(20 * YEAR_D, SIGN_CREATED), 1 },
        { "an outflow opened", DONE(LONG_AGO_D, SIGN_ANGIOPLASTY_OUTFLOW), 1 },
        { "an inflow opened", DONE(LONG_AGO_D, SIGN_ANGIOPLASTY_INFLOW), 1 },
        { "closed", DONE(LONG_AGO_D, SIGN_CLOSED), 1 },
        { "a dowel", { LONG_AGO_D, Q_DOWEL_DIAMETER, .value = 4 }, 1 },
        { "stretched", { LONG_AGO_D, Q_BAND_STRETCHED, .value = 5 }, 1 },
        { "released", { LONG_AGO_D, Q_BAND_RELEASED, .value = 1 }, 1 },
        { "not released", { LONG_AGO_D, Q_BAND_RELEASED, .value = 0 }, 0 },
        { "its form", { LONG_AGO_D, Q_BAND_FORM, .sign = SIGN_BAND_CUFF }, 1 },
        { "withdrawn",
          { LONG_AGO_D, Q_DOWEL_DIAMETER, .value = 4,
            .status = READING_WITHDRAWN },
          0 },
        { "preliminary",
          { LONG_AGO_D, Q_DOWEL_DIAMETER, .value = 4,
            .status = READING_PRELIMINARY },
          0 },
        { "that there was none",
          { LONG_AGO_D, Q_ACCESS_INTERVENTION, .sign = SIGN_BANDED,
            .absent = true },
          0 },
        { "a flow is measured again and again",
          { LONG_AGO_D, Q_ACCESS_FLOW, .value = 900 },
          2 }, /* those of the start */
        { "a sign passes",
          { LONG_AGO_D, Q_HAND_SYMPTOM, .sign = SIGN_COLDNESS },
          0 },
    };

    for (size_t i = 0; i < COUNT(cases); i++) {
        static struct reading list[ROOM];
        struct history h;

        ROW(cases[i].name);
        start_high_flow(state);
        add_to(*state, access_of(*state), &cases[i].fact);
        load(*state, list, ROOM, &h);
        assert_int_equal(
            count_of(&h, cases[i].fact.quantity, cases[i].fact.sign),
            cases[i].want);
        assert_int_equal(h.loaded_from_s, 0);
        world_stop(state);
    }
}

/* A fact is loaded once, on whichever side of the look-back it lies. */
static void none_is_loaded_twice(void **state)
{
    static struct reading list[ROOM];
    struct world *w = *state;
    int back_d = policy_count(&w->policy, P_LOOKBACK_D);
    struct history h;

    for (int day = back_d - 2; day <= back_d + 2; day++)
        ADD(w, day, Q_DOWEL_DIAMETER, .value = 4);
    load(w, list, ROOM, &h);
    assert_int_equal(count_of(&h, Q_DOWEL_DIAMETER, SIGN_NONE), 5);
}

/* Of what was done very often only the newest are loaded, and a band that is
 * older than all of it is loaded all the same. */
static void each_kind_is_bounded_by_itself(void **state)
{
    static struct reading list[ROOM];
    struct world *w = *state;
    struct history h;

    ADD(w, 9 * YEAR_D, Q_ACCESS_INTERVENTION, .sign = SIGN_BANDED);
    for (int i = 0; i < 50; i++)
        ADD(w, LONG_AGO_D + i, Q_ACCESS_INTERVENTION,
            .sign = SIGN_ANGIOPLASTY_OUTFLOW);
    load(w, list, ROOM, &h);
    assert_int_equal(count_of(&h, Q_ACCESS_INTERVENTION, SIGN_BANDED), 1);
    assert_int_equal(
        count_of(&h, Q_ACCESS_INTERVENTION, SIGN_ANGIOPLASTY_OUTFLOW), 32);
    assert_int_equal(list[1].start_s,
                     world_now_s - (int64_t)(LONG_AGO_D + 31) * A_DAY);
}

/* What fills the room does not push it out: neither numbers nor signs. */
static void nothing_takes_its_room(void **state)
{
    static struct reading list[40];
    struct world *w = *state;
    struct history h;

    ADD(w, LONG_AGO_D, Q_DOWEL_DIAMETER, .value = 4);
    for (int i = 0; i < 100; i++)
        ADD(w, 3 + i, Q_ACCESS_FLOW, .value = 900);
    load(w, list, COUNT(list), &h);
    assert_int_equal(count_of(&h, Q_DOWEL_DIAMETER, SIGN_NONE), 1);
    assert_true(h.loaded_from_s > 0);
    for (int i = 0; i < 100; i++)
        ADD(w, 3 + i, Q_HAND_SYMPTOM, .sign = SIGN_COLDNESS);
    load(w, list, COUNT(list), &h);
    assert_int_equal(count_of(&h, Q_DOWEL_DIAMETER, SIGN_NONE), 1);
}

/* It was recorded of what later turned out to be the same access. */
static void that_of_a_merged_access_is_loaded(void **state)
{
    static struct reading list[ROOM];
    struct world *w = *state;
    int64_t other;
    struct history h;
    char text[96];

    assert_int_equal(
        world_put(w, "acc-8",
                  ACC(.id = "acc-8", .identifier = "A-8", .site = "Right arm")),
        201);
    other = world_count(w, "SELECT max(id) FROM access");
    add_to(w, other, &(struct fact)DONE(LONG_AGO_D, SIGN_BANDED));
    load(w, list, ROOM, &h);
    assert_int_equal(count_of(&h, Q_ACCESS_INTERVENTION, SIGN_BANDED), 0);
    snprintf(text, sizeof(text),
             "UPDATE access SET merged = (SELECT min(id) FROM access) WHERE id "
             "= %lld RETURNING 1",
             (long long)other);
    assert_int_equal(world_count(w, text), 1);
    load(w, list, ROOM, &h);
    assert_int_equal(count_of(&h, Q_ACCESS_INTERVENTION, SIGN_BANDED), 1);
}

/* Ten years of readings are not gone through for the one that states a fact. */
static void the_facts_have_an_index(void **state)
{
    static const char *const sql[QUERY_COUNT] = {
#define QUERY(name, text) [name] = (text),
#include "service/statements.h"
#undef QUERY
    };
    struct world *w = *state;
    sqlite3 *handle;
    sqlite3_stmt *s = NULL;
    char text[1024];

    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    db_close(w->db);
    assert_int_equal(sqlite3_open(w->path, &handle), SQLITE_OK);
    snprintf(text, sizeof(text), "EXPLAIN QUERY PLAN %s", sql[Q_READING_FACTS]);
    assert_int_equal(sqlite3_prepare_v2(handle, text, -1, &s, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_step(s), SQLITE_ROW);
    snprintf(text, sizeof(text), "%s", (const char *)sqlite3_column_text(s, 3));
    assert_int_equal(sqlite3_step(s), SQLITE_DONE); /* nothing is sorted */
    sqlite3_finalize(s);
    sqlite3_close(handle);
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
    assert_string_equal(
        text,
        "SEARCH reading USING INDEX reading_standing (owner=? AND start_s<?)");
}

/* ---- rules and plan ------------------------------------------------------- */

/* What the plan of A-7 is as of now. */
static void plan_now(struct world *w, struct look *look,
                     struct planned *planned)
{
    static const struct plan_wish asked = { .prior = NULL };

    assert_int_equal(look_at(w->db, &w->review, access_of(w), look), ERR_OK);
    assert_int_equal(
        planning_make(planning, w->db, &w->review, look, &asked, planned),
        ERR_OK);
}

static void none_is_planned_on_a_band_of_long_ago(void **state)
{
    static struct planned planned;
    struct world *w = *state;
    struct look look;

    plan_now(w, &look, &planned);
    assert_true(planned.offered);
    assert_int_equal(planned.from.cautions & CAUTION_BAND_BEFORE, 0);
    look_clear(&look);
    ADD(w, LONG_AGO_D, Q_DOWEL_DIAMETER, .value = 4);
    plan_now(w, &look, &planned);
    assert_false(planned.offered);
    assert_int_equal(planned.from.offer, PLAN_BANDED);
    assert_true(planned.from.band.placed);
    assert_near(planned.from.band.dowel_mm, 4.0, 0);
    assert_int_equal(look.history.readings[planned.from.band.reading].start_s,
                     world_now_s - (int64_t)LONG_AGO_D * A_DAY);
    look_clear(&look);
    /* cut since, also long ago: planned, with the caution that there was one */
    ADD(w, LONG_AGO_D - 100, Q_BAND_RELEASED, .value = 1);
    plan_now(w, &look, &planned);
    assert_true(planned.offered);
    assert_false(planned.from.band.placed);
    assert_int_equal(planned.from.cautions & CAUTION_BAND_BEFORE,
                     CAUTION_BAND_BEFORE);
    look_clear(&look);
}

static void assert_same_findings(const struct look *a, const struct look *b)
{
    assert_int_equal(a->findings.count, b->findings.count);
    assert_true(a->findings.count > 0);
    for (size_t i = 0; i < a->findings.count; i++) {
        const struct finding *f = &a->findings.list[i];
        const struct finding *g = &b->findings.list[i];

        assert_int_equal(f->rule, g->rule);
        assert_int_equal(f->confirmed, g->confirmed);
        assert_int_equal(f->urgency, g->urgency);
        assert_int_equal(f->at_s, g->at_s);
        assert_near(f->measured, g->measured, 0);
        assert_int_equal(f->evidence_count, g->evidence_count);
        for (size_t k = 0; k < f->evidence_count; k++)
            assert_int_equal(a->history.readings[f->evidence[k]].id,
                             b->history.readings[g->evidence[k]].id);
    }
    assert_memory_equal(a->findings.why, b->findings.why,
                        sizeof(a->findings.why));
}

/* What was opened three years ago is known, and all the flows that the rules
 * look at came after it: no finding changes, nor what the plan rests on. */
static void an_opening_of_long_ago_moves_no_trend(void **state)
{
    static struct planned first, second;
    struct world *w = *state;
    struct look before, after;

    for (int i = 0; i < 6; i++)
        ADD(w, 700 - 100 * i, Q_ACCESS_FLOW, .value = 2600 - 20 * i);
    plan_now(w, &before, &first);
    ADD(w, LONG_AGO_D, Q_ACCESS_INTERVENTION, .sign = SIGN_ANGIOPLASTY_OUTFLOW);
    plan_now(w, &after, &second);
    assert_int_equal(after.history.count, before.history.count + 1);
    assert_int_equal(after.history.readings[0].sign, SIGN_ANGIOPLASTY_OUTFLOW);
    assert_same_findings(&before, &after);
    assert_true(second.offered);
    assert_int_equal(first.from.in.flow_count, second.from.in.flow_count);
    for (size_t i = 0; i < first.from.in.flow_count; i++)
        assert_near(first.from.in.flow_ml_min[i], second.from.in.flow_ml_min[i],
                    0);
    assert_int_equal(first.from.baseline_s, second.from.baseline_s);
    look_clear(&before);
    look_clear(&after);
}

/* ---- retention ------------------------------------------------------------ */

static void a_prune_keeps_what_lasts(void **state)
{
    static const struct fact lasting[] = {
        DONE(5 * YEAR_D, SIGN_CREATED),
        DONE(4 * YEAR_D, SIGN_ANGIOPLASTY_INFLOW),
        { LONG_AGO_D, Q_BAND_RELEASED, .value = 1 },
        { LONG_AGO_D, Q_BAND_FORM, .sign = SIGN_BAND_LIGATURE },
    };
    static struct config config;
    struct world *w = *state;
    struct prune p = { .config = &config,
                       .policy = &w->policy,
                       .now_ms = world_now_ms(),
                       .yes = true };

    config.keep_readings_d = 1;
    for (size_t i = 0; i < COUNT(lasting); i++)
        add_to(w, access_of(w), &lasting[i]);
    ADD(w, 4 * YEAR_D, Q_ACCESS_FLOW, .value = 900);
    ADD(w, 4 * YEAR_D, Q_HAND_SYMPTOM, .sign = SIGN_COLDNESS);
    do
        assert_int_equal(store_prune(w->db, &p), ERR_OK);
    while (p.more);
    assert_int_equal(p.counts[PRUNE_PART_READINGS], 2);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 3 + 4);
    for (size_t i = 0; i < COUNT(lasting); i++) {
        char text[96];

        snprintf(text, sizeof(text),
                 "SELECT count(*) FROM reading WHERE quantity = %d AND sign = "
                 "%d",
                 (int)lasting[i].quantity, (int)lasting[i].sign);
        assert_int_equal(world_count(w, text), 1);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define WORLD(test)                                                            \
    cmocka_unit_test_setup_teardown(test, start_high_flow, world_stop)
        cmocka_unit_test(a_lasting_fact_is_loaded_at_any_age),
        WORLD(none_is_loaded_twice),
        WORLD(each_kind_is_bounded_by_itself),
        WORLD(nothing_takes_its_room),
        WORLD(that_of_a_merged_access_is_loaded),
        WORLD(the_facts_have_an_index),
        WORLD(none_is_planned_on_a_band_of_long_ago),
        WORLD(an_opening_of_long_ago_moves_no_trend),
        WORLD(a_prune_keeps_what_lasts),
#undef WORLD
    };
    int failed;

    if (planning_open(&planning) != ERR_OK)
        return 1;
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    planning_close(planning);
    return failed;
}
