/*
 * Searching a store: what is found, by which way, and what is not shown.
 * What the answers to queries have to be is checked against an independent
 * server in tests/peers/search.mjs; here it is the store's side.
 */
#include "service/search.h"
#include "service/search_index.h"
#include "service/search_sql.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <stdlib.h>

#define SELF "http://127.0.0.1:8480/fhir"

/* A Task from two readings, in silence or not. */
static void make_task(struct world *w, bool silent)
{
    static const char *const values[] = { "2240", "2310" };

    w->review.silent = silent;
    world_has_access(w);
    for (size_t i = 0; i < COUNT(values); i++) {
        world_now_s += (int64_t)i * 7 * 86400;
        assert_int_equal(world_post(w, OBS(.identifier = i == 0 ? "1" : "2",
                                           .value = values[i],
                                           .access = "BodyStructure/acc-7")),
                         201);
        world_review(w);
    }
}

static struct search_query *asked(struct world *w, enum fhir_type type,
                                  const char *const *pairs)
{
    static struct search_query q;

    search_query_init(&q, type, SELF, w->zone, world_now_ms());
    for (; pairs[0] != NULL; pairs += 2)
        assert_int_equal(search_query_take(&q, pairs[0], pairs[1]), TAKEN);
    return &q;
}

static long long found(struct world *w, enum fhir_type type,
                       const char *const *pairs)
{
    const struct search_query *q = asked(w, type, pairs);
    struct search_hit hits[SEARCH_PAGE_DEFAULT + 1];
    long long total;
    size_t count;

    assert_int_equal(search_total(w->db, q, &total), ERR_OK);
    assert_int_equal(search_find(w->db, q, hits, &count), ERR_OK);
    assert_int_equal(count, total);
    return total;
}

#define FOUND(type, ...) found(w, type, (const char *const[]){ __VA_ARGS__ })

/* A Task that was never posted is not found by anything. */
static void silent_tasks_are_not_found(void **state)
{
    static const char *const names[][2] = {
        { "status", "requested" },    { "priority:not", "stat" },
        { "authored-on", "ge2020" },  { "_lastUpdated", "ge2020" },
        { "owner:missing", "true" },  { "intent", "proposal" },
        { "focus:missing", "false" }, { "_sort", "-_lastUpdated" },
    };
    struct world *w = world(state);

    make_task(w, true);
    assert_int_equal(world_count(w, "SELECT count(*) FROM task"), 1);
    for (size_t i = 0; i < COUNT(names); i++)
        assert_int_equal(FOUND(FHIR_TASK, names[i][0], names[i][1], NULL), 0);
    assert_int_equal(FOUND(FHIR_TASK, NULL), 0);
}

static void tasks_are_found(void **state)
{
    struct world *w = world(state);

    make_task(w, false);
    assert_int_equal(FOUND(FHIR_TASK, NULL), 1);
    assert_int_equal(
        FOUND(FHIR_TASK, "status", "requested", "_sort", "-_lastUpdated", NULL),
        1);
    assert_int_equal(FOUND(FHIR_TASK, "status", "completed", NULL), 0);
    assert_int_equal(FOUND(FHIR_OBSERVATION, NULL), 2);
    assert_int_equal(FOUND(FHIR_OBSERVATION, "identifier", IDS "obs|2", NULL),
                     1);
    assert_int_equal(FOUND(FHIR_OBSERVATION, "date", "2026-03-06", NULL), 1);
}

/* The newest version counts, also of two in one message. */
static void newer_versions_take_the_place(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_put(w, "o1", OBS(.id = "o1", .value = "900")), 201);
    assert_int_equal(FOUND(FHIR_OBSERVATION, "status", "final", NULL), 1);
    assert_int_equal(
        world_put(w, "o1",
                  OBS(.id = "o1", .value = "900", .status = "amended")),
        200);
    assert_int_equal(FOUND(FHIR_OBSERVATION, "status", "final", NULL), 0);
    assert_int_equal(FOUND(FHIR_OBSERVATION, "status", "amended", NULL), 1);
    assert_int_equal(
        world_count(w, "SELECT count(DISTINCT resource) FROM search_token"), 1);
    /* what nothing is found by any more is not kept */
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM term WHERE value = 'final'"), 0);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM term WHERE value = 'amended'"), 1);
}

/* What a store of before gets at its first start is what it has now. */
static void an_old_store_is_indexed(void **state)
{
    static const char tokens[] =
        "SELECT group_concat(row, ';') FROM (SELECT resource || ' ' || name || "
        "' ' || system || '|' || value || ' ' || coalesce(updated_ms, '-') "
        "AS row FROM search_token ORDER BY row)";
    static const char spans[] =
        "SELECT group_concat(row, ';') FROM (SELECT resource || ' ' || name || "
        "' ' || from_ms || '-' || to_ms AS row FROM search_span ORDER BY row)";
    static char before[2][8192], after[2][8192];
    struct world *w = world(state);

    make_task(w, false);
    assert_int_equal(world_put(w, "o1", OBS(.id = "o1", .value = "900")), 201);
    assert_int_equal(world_put(w, "o1", OBS(.id = "o1", .value = "910")), 200);
    world_text(w, tokens, before[0], sizeof(before[0]));
    world_text(w, spans, before[1], sizeof(before[1]));
    assert_true(strlen(before[0]) > 500 && strlen(before[1]) > 50);
    assert_int_equal(db_ask(w->db, "DELETE FROM search_term", NULL, 0), ERR_OK);
    assert_int_equal(db_next(w->db, Q_ASKED), ERR_ABSENT);
    assert_int_equal(db_ask(w->db, "DELETE FROM search_span", NULL, 0), ERR_OK);
    assert_int_equal(db_next(w->db, Q_ASKED), ERR_ABSENT);
    assert_int_equal(search_index_all(w->db, &w->reader), ERR_OK);
    world_text(w, tokens, after[0], sizeof(after[0]));
    world_text(w, spans, after[1], sizeof(after[1]));
    assert_string_equal(after[0], before[0]);
    assert_string_equal(after[1], before[1]);
}

/* What the engine means to do, a line each. */
static void plan_of(struct world *w, const struct search_query *q, char *out,
                    size_t size)
{
    struct search_sql *s = malloc(sizeof(*s));
    size_t len = 0;

    assert_non_null(s);
    sql_open(s, w->db, q);
    sql_put(s, "EXPLAIN QUERY PLAN SELECT r.id");
    sql_conditions(s);
    if (q->sort_count > 0)
        buf_printf(&s->text, " ORDER BY %s DESC, %s DESC", sql_updated(s),
                   sql_resource(s));
    else
        buf_printf(&s->text, " ORDER BY %s", sql_resource(s));
    assert_int_equal(s->err, ERR_OK);
    assert_int_equal(db_ask(w->db, s->text.data, s->values, s->count), ERR_OK);
    out[0] = '\0';
    while (db_next(w->db, Q_ASKED) == ERR_OK && len < size)
        len += (size_t)snprintf(out + len, size - len, "%s\n",
                                db_text(w->db, Q_ASKED, 3));
    sql_close(s);
    free(s);
}

/* A page of the common searches costs its own length: no table is gone through
 * and nothing is sorted. */
static void common_searches_walk_an_index(void **state)
{
    static const struct {
        const char *pairs[7];
        bool sorts; /* the few that were looked up */
    } cases[] = {
        { { NULL }, false },
        { { "_sort", "-_lastUpdated", NULL }, false },
        { { "status", "requested", NULL }, false },
        { { "status", "requested", "_sort", "-_lastUpdated", NULL }, false },
        { { "status", "requested", "priority", "stat", "_sort", "-_lastUpdated",
            NULL },
          false },
        { { "status", "requested", "_lastUpdated", "ge2026", "_sort",
            "-_lastUpdated", NULL },
          false },
        { { "status:not", "completed", "_sort", "-_lastUpdated", NULL },
          false },
        { { "patient", "Patient/p1", NULL }, true },
        { { "patient", "Patient/p1", "status", "requested", NULL }, true },
        { { "identifier", "x", "_sort", "-_lastUpdated", NULL }, true },
        { { "focus", "BodyStructure/a", NULL }, true },
        { { "_id", "a,b", NULL }, true },
    };
    struct world *w = world(state);
    char plan[4096];

    make_task(w, false);
    for (size_t i = 0; i < COUNT(cases); i++) {
        plan_of(w, asked(w, FHIR_TASK, cases[i].pairs), plan, sizeof(plan));
        print_message("%s\n",
                      cases[i].pairs[0] != NULL ? cases[i].pairs[0] : "all");
        print_message("%s", plan);
        assert_null(strstr(plan, "SCAN"));
        if (!cases[i].sorts)
            assert_null(strstr(plan, "TEMP B-TREE"));
        if (cases[i].sorts && cases[i].pairs[0][0] != '_')
            assert_non_null(strstr(plan, "r USING INTEGER PRIMARY KEY"));
    }
}

/* A handle of another query, or of nobody, is refused. */
static void handles_are_checked(void **state)
{
    static const char *const handles[] = { "30",    "6162", "313a32",
                                           "3130a", "310a", "310a320a33" };
    struct world *w = world(state);
    struct search_hit hits[SEARCH_PAGE_DEFAULT + 1];
    size_t count;

    for (size_t i = 0; i < COUNT(handles); i++) {
        const struct search_query *q =
            asked(w, FHIR_TASK,
                  (const char *const[]){ "_sort", "due", "_after", handles[i],
                                         NULL });

        ROW(handles[i]);
        assert_int_equal(search_find(w->db, q, hits, &count), ERR_FORM);
    }
}

#define TEST(f) cmocka_unit_test_setup_teardown(f, world_start, world_stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(silent_tasks_are_not_found),    TEST(tasks_are_found),
        TEST(newer_versions_take_the_place), TEST(an_old_store_is_indexed),
        TEST(common_searches_walk_an_index), TEST(handles_are_checked),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
