/*
 * A page of the record is taken, and how far the window got is noted with it:
 * both or neither.
 *
 * What is expected of the cursor rests on R4, resource.html (meta.lastUpdated
 * is the server's) and http.html (a search without a sort has any order).
 */
#include "service/poll_work.h"
#include "tests/service_world.h"
#include "tests/test.h"

enum { OVERLAP_S = 150, TEXT_MAX = 20000 };
static const int64_t t0 = START_S * INT64_C(1000);

/* What a page looks like: rows with a version and a time after t0. */
struct row {
    const char *id, *value, *version;
    int64_t at_ms;      /* after t0; -1: does not say */
    const char *status; /* NULL: final */
};

struct scene {
    struct world *w;
    struct poll_window window;
    struct poll_source source;
    struct walk_page page;
    struct poll_taken taken;
    long fail_at; /* the step of the store that fails; 0: none */
    char body[TEXT_MAX];
};

static struct scene scene;

static struct scene *begin(void **state)
{
    struct scene *s = &scene;

    memset(s, 0, sizeof(*s));
    s->w = *state;
    s->w->reader.self = "https://r.example/fhir";
    s->w->reader.now_s = world_now_s;
    s->window =
        (struct poll_window){ .name = "Observation", .type = FHIR_OBSERVATION };
    s->source = (struct poll_source){ .reader = &s->w->reader,
                                      .merge_implied = true,
                                      .overlap_s = OVERLAP_S,
                                      .now_ms = world_now_ms };
    return s;
}

/* The window that is read next, from the store, as the loop does. */
static void open_window(struct scene *s, int64_t from_ms)
{
    enum err e = db_first(s->w->db, Q_FEED_GET, "s", s->window.name);

    s->window.durable = e == ERR_OK;
    if (e == ERR_OK)
        s->window.cursor_ms = db_int(s->w->db, Q_FEED_GET, 0);
    db_done(s->w->db, Q_FEED_GET);
    poll_window_start(&s->window, &s->source, from_ms);
    s->page.number = 0;
}

static void write_rows(struct scene *s, const struct row *rows, size_t count,
                       bool more)
{
    char *at = s->body, *end = s->body + sizeof(s->body);

    at += snprintf(at, (size_t)(end - at),
                   "{\"resourceType\":\"Bundle\",\"type\":\"searchset\"%s%s",
                   more ? ",\"link\":[{\"relation\":\"next\",\"url\":\"?p\"}]"
                        : "",
                   count > 0 ? ",\"entry\":[" : "");
    for (size_t i = 0; i < count; i++) {
        char meta[120] = "", time[FHIR_TIME_SIZE];

        fhir_time_write_ms(t0 + rows[i].at_ms, time);
        if (rows[i].at_ms >= 0)
            snprintf(meta, sizeof(meta),
                     ",\"meta\":{\"versionId\":\"%s\",\"lastUpdated\":\"%s\"}",
                     rows[i].version, time);
        at += snprintf(at, (size_t)(end - at), "%s{\"resource\":%s}",
                       i > 0 ? "," : "",
                       OBS(.id = rows[i].id, .value = rows[i].value,
                           .status = rows[i].status, .more = meta));
    }
    snprintf(at, (size_t)(end - at), "%s}", count > 0 ? "]" : "");
    s->page.body = s->body;
    s->page.len = strlen(s->body);
}

static enum err run(struct db *db, void *arg)
{
    struct scene *s = arg;
    enum err e;

    db_fail_step(db, s->fail_at);
    e = poll_window_take(db, &s->window, &s->source, &s->page, &s->taken);
    db_fail_step(db, 0);
    return e;
}

/* server_ms: after t0; INT64_MIN: it does not say. */
static enum err take(struct scene *s, const struct row *rows, size_t count,
                     bool more, int64_t server_ms)
{
    enum err e;

    write_rows(s, rows, count, more);
    s->page.server_ms = server_ms == INT64_MIN ? INT64_MIN : t0 + server_ms;
    s->page.verdict = WALK_DONE;
    free(s->page.next);
    s->page.next = NULL;
    e = world_step(s->w, run, s);
    s->page.number++;
    return e;
}

static long long cursor(struct scene *s)
{
    return world_count(s->w, "SELECT coalesce(max(cursor_ms), -1) FROM feed "
                             "WHERE name = 'Observation'") -
           t0;
}

static long long resources(struct scene *s)
{
    return world_count(s->w, "SELECT count(*) FROM resource WHERE kind = 1");
}

static void done(struct scene *s)
{
    free(s->page.next);
    s->page.next = NULL;
}

#define ROWS(...)                                                              \
    (const struct row[]){ __VA_ARGS__ },                                       \
        sizeof((const struct row[]){ __VA_ARGS__ }) / sizeof(struct row)

/* One page behind: that the next had nothing older shows that it was whole. */
static void the_cursor_follows(void **state)
{
    struct scene *s = begin(state);

    open_window(s, t0);
    assert_true(s->window.since_ms == t0 - OVERLAP_S * 1000);
    assert_int_equal(take(s,
                          ROWS({ "a", "900", "1", 1000, NULL },
                               { "b", "901", "1", 2000, NULL }),
                          true, 60000),
                     ERR_OK);
    assert_int_equal(s->page.verdict, WALK_DONE);
    assert_string_equal(s->page.next, "?p");
    assert_int_equal(cursor(s), 0);
    assert_int_equal(
        take(s, ROWS({ "c", "902", "1", 3000, NULL }), true, 60000), ERR_OK);
    assert_int_equal(cursor(s), 2000);
    assert_int_equal(take(s, NULL, 0, true, 60000), ERR_OK);
    assert_int_equal(cursor(s), 3000);
    assert_int_equal(
        take(s, ROWS({ "d", "903", "1", 4000, NULL }), false, 60000), ERR_OK);
    assert_null(s->page.next);
    assert_int_equal(cursor(s), 4000);
    assert_int_equal(resources(s), 4);

    /* the next window reaches back, and what is known costs nothing */
    open_window(s, t0);
    assert_true(s->window.since_ms == t0 + 4000 - OVERLAP_S * 1000);
    assert_int_equal(take(s,
                          ROWS({ "c", "902", "1", 3000, NULL },
                               { "d", "903", "1", 4000, NULL }),
                          false, 60000),
                     ERR_OK);
    assert_int_equal(s->taken.stored, 0);
    assert_int_equal(s->taken.rows, 2);
    assert_int_equal(cursor(s), 4000);
    done(s);
}

/* Without an order the cursor waits for the end of the window. */
static void unsorted_rows(void **state)
{
    struct scene *s = begin(state);

    open_window(s, t0);
    assert_int_equal(take(s,
                          ROWS({ "a", "900", "1", 7000, NULL },
                               { "b", "901", "1", 9000, NULL }),
                          true, 60000),
                     ERR_OK);
    assert_int_equal(
        take(s, ROWS({ "c", "902", "1", 9500, NULL }), true, 60000), ERR_OK);
    assert_int_equal(cursor(s), 9000);
    /* now it shows: back to where the window began */
    assert_int_equal(
        take(s, ROWS({ "d", "903", "1", 1000, NULL }), true, 60000), ERR_OK);
    assert_int_equal(cursor(s), 0);
    assert_true(s->taken.unsorted);
    assert_int_equal(
        take(s, ROWS({ "e", "904", "1", 2000, NULL }), false, 60000), ERR_OK);
    assert_int_equal(cursor(s), 9500);
    assert_int_equal(resources(s), 5);
    done(s);
}

/* Times that the record itself has not reached yet are no cursor. */
static void never_beyond_the_date(void **state)
{
    struct scene *s = begin(state);

    open_window(s, t0);
    assert_int_equal(
        take(s, ROWS({ "a", "900", "1", 90000, NULL }), false, 5000), ERR_OK);
    assert_int_equal(cursor(s), 5000);
    done(s);
}

static void no_date(void **state)
{
    struct scene *s = begin(state);

    open_window(s, t0);
    assert_int_equal(
        take(s, ROWS({ "a", "900", "1", 90000, NULL }), false, INT64_MIN),
        ERR_OK);
    assert_int_equal(cursor(s), 90000);
    done(s);
}

/* Rows that do not say when: the record's Date at the first page. */
static void undated_rows(void **state)
{
    struct scene *s = begin(state);

    open_window(s, t0);
    assert_int_equal(take(s, ROWS({ "a", "900", "", -1, NULL }), true, 5000),
                     ERR_OK);
    assert_int_equal(take(s, ROWS({ "b", "901", "", -1, NULL }), false, 8000),
                     ERR_OK);
    assert_int_equal(s->taken.undated, 1);
    assert_int_equal(cursor(s), 5000);
    assert_int_equal(resources(s), 2);
    done(s);
}

/* Older than was asked for: it ignores _lastUpdated, and nothing is taken. */
static void a_lenient_record(void **state)
{
    struct scene *s = begin(state);

    open_window(s, t0 + 1000000);
    assert_int_equal(take(s,
                          ROWS({ "a", "900", "1", 1000000, NULL },
                               { "b", "901", "1", 10, NULL }),
                          false, 2000000),
                     ERR_OK);
    assert_int_equal(s->page.verdict, WALK_LENIENT);
    assert_int_equal(resources(s), 0);
    assert_int_equal(world_count(s->w, "SELECT count(*) FROM feed"), 0);
    /* a second is the most that rounding can make */
    open_window(s, t0 + OVERLAP_S * 1000 + 500);
    assert_int_equal(
        take(s, ROWS({ "b", "901", "1", 0, NULL }), false, 2000000), ERR_OK);
    assert_int_equal(s->page.verdict, WALK_DONE);
    done(s);
}

/* Its clock stands behind the cursor: from there, and the cursor stays. */
static void a_clock_set_back(void **state)
{
    struct scene *s = begin(state);

    open_window(s, t0 + 3600000);
    assert_int_equal(take(s, NULL, 0, false, 3600000), ERR_OK);
    assert_int_equal(cursor(s), 3600000);
    open_window(s, t0);
    assert_int_equal(take(s, NULL, 0, false, 1000), ERR_OK);
    assert_int_equal(s->page.verdict, WALK_AGAIN);
    open_window(s, t0);
    assert_true(s->window.since_ms == t0 + 1000 - OVERLAP_S * 1000);
    assert_int_equal(take(s, ROWS({ "a", "900", "1", 900, NULL }), false, 1000),
                     ERR_OK);
    assert_int_equal(s->page.verdict, WALK_DONE);
    assert_int_equal(resources(s), 1);
    assert_int_equal(cursor(s), 3600000);
    done(s);
}

static void no_page_of_a_search(void **state)
{
    static const char *const bodies[] = {
        "{\"resourceType\":\"OperationOutcome\",\"issue\":[]}",
        "{\"resourceType\":\"Bundle\",\"type\":\"history\"}", "<html>", ""
    };
    struct scene *s = begin(state);

    open_window(s, t0);
    for (size_t i = 0; i < COUNT(bodies); i++) {
        s->page = (struct walk_page){ .body = bodies[i],
                                      .len = strlen(bodies[i]),
                                      .server_ms = t0 };
        assert_int_equal(world_step(s->w, run, s), ERR_OK);
        assert_int_equal(s->page.verdict, WALK_NO_PAGE);
    }
    assert_int_equal(world_count(s->w, "SELECT count(*) FROM feed"), 0);
}

/* ---- what came ------------------------------------------------------------ */

/* The record's word stands, in whatever order of statuses it comes; what is
 * older than what is known does not. */
static void versions_of_the_record(void **state)
{
    struct scene *s = begin(state);
    static const char values[] =
        "SELECT coalesce(sum(value), -1) FROM reading WHERE status <> 3";

    open_window(s, t0);
    assert_int_equal(
        take(s, ROWS({ "a", "900", "2", 2000, "corrected" }), false, 60000),
        ERR_OK);
    assert_int_equal(world_count(s->w, values), 900);
    open_window(s, t0);
    assert_int_equal(
        take(s, ROWS({ "a", "800", "1", 1000, NULL }), false, 60000), ERR_OK);
    assert_int_equal(world_count(s->w, values), 900);
    open_window(s, t0);
    assert_int_equal(take(s,
                          ROWS({ "a", "900", "3", 3000, "entered-in-error" }),
                          false, 60000),
                     ERR_OK);
    assert_int_equal(world_count(s->w, values), -1);
    open_window(s, t0);
    assert_int_equal(
        take(s, ROWS({ "a", "700", "4", 4000, NULL }), false, 60000), ERR_OK);
    assert_int_equal(world_count(s->w, values), 700);
    done(s);
}

/* A reading that was posted here is found at the record: it is the same one,
 * and both names mean it. */
static void it_was_here_before(void **state)
{
    struct scene *s = begin(state);
    char remote[FID_SIZE], version[FID_SIZE];
    struct resource r;
    const char *text;

    assert_int_equal(world_post(s->w, OBS(.identifier = "x", .value = "900")),
                     201);
    open_window(s, t0);
    text = OBS(.id = "77", .identifier = "x", .value = "950",
               .status = "corrected",
               .more = ",\"meta\":{\"versionId\":\"5\",\"lastUpdated\":"
                       "\"2026-03-06T08:13:00Z\"}");
    snprintf(s->body, sizeof(s->body),
             "{\"resourceType\":\"Bundle\",\"type\":\"searchset\",\"entry\":["
             "{\"resource\":%s}]}",
             text);
    s->page = (struct walk_page){ .body = s->body,
                                  .len = strlen(s->body),
                                  .server_ms = t0 + 100000 };
    assert_int_equal(world_step(s->w, run, s), ERR_OK);
    assert_int_equal(resources(s), 1);
    assert_int_equal(
        resource_by_fid(s->w->db, FHIR_OBSERVATION, world_fid(s->w, 0), &r),
        ERR_OK);
    assert_int_equal(record_origin(s->w->db, r.id, remote, version), ERR_OK);
    assert_string_equal(remote, "77");
    assert_string_equal(version, "5");
    assert_int_equal(record_origin(s->w->db, r.id + 1000, remote, version),
                     ERR_ABSENT);
}

/* Whom it speaks of is to be read by the id: once, and here only. */
static void who_is_not_known(void **state)
{
    struct scene *s = begin(state);
    static const char *const patients[] = {
        "Patient/p-1", "Patient/p-1", "https://r.example/fhir/Patient/p-2",
        "https://elsewhere.example/fhir/Patient/p-3", "Group/g-1"
    };

    open_window(s, t0);
    for (size_t i = 0; i < COUNT(patients); i++) {
        char id[8], meta[120];

        snprintf(id, sizeof(id), "o%zu", i);
        snprintf(meta, sizeof(meta),
                 ",\"meta\":{\"versionId\":\"1\",\"lastUpdated\":"
                 "\"2026-03-06T08:12:0%zuZ\"}",
                 i);
        snprintf(s->body, sizeof(s->body),
                 "{\"resourceType\":\"Bundle\",\"type\":\"searchset\","
                 "\"entry\":[{\"resource\":%s}]}",
                 OBS(.id = id, .patient = patients[i], .value = "900",
                     .more = meta));
        s->page = (struct walk_page){ .body = s->body,
                                      .len = strlen(s->body),
                                      .server_ms = t0 + 100000 };
        assert_int_equal(world_step(s->w, run, s), ERR_OK);
    }
    assert_int_equal(world_count(s->w, "SELECT count(*) FROM fetch"), 2);
    assert_int_equal(world_count(s->w, "SELECT count(*) FROM fetch WHERE "
                                       "kind = 3 AND remote IN ('p-1', 'p-2')"),
                     2);
}

/* By the record's own address: kept as a relative one, so that it means the
 * same when the bytes are read again without knowing whose they were. */
static void absolute_references(void **state)
{
    struct scene *s = begin(state);
    struct resource r;
    struct buf body;
    int64_t at_ms;

    open_window(s, t0);
    snprintf(s->body, sizeof(s->body),
             "{\"resourceType\":\"Bundle\",\"type\":\"searchset\",\"entry\":["
             "{\"resource\":%s}]}",
             OBS(.id = "o1", .patient = "https://r.example/fhir/Patient/p-9",
                 .value = "900",
                 .more = ",\"note\":[{\"text\":\"\\\"reference\\\":"
                         "\\\"https://r.example/fhir/x\\\"\"}],"
                         "\"performer\":[{\"reference\" : "
                         "\"https://other.example/fhir/Practitioner/1\"}]"));
    s->page = (struct walk_page){ .body = s->body,
                                  .len = strlen(s->body),
                                  .server_ms = t0 + 100000 };
    assert_int_equal(world_step(s->w, run, s), ERR_OK);
    assert_int_equal(resource_by_fid(s->w->db, FHIR_OBSERVATION, "o1", &r),
                     ERR_OK);
    buf_init(&body, BODY_MAX);
    assert_int_equal(resource_body(s->w->db, &r, 0, &body, &at_ms), ERR_OK);
    assert_non_null(strstr(body.data, "\"reference\":\"Patient/p-9\""));
    assert_non_null(strstr(body.data, "\\\"https://r.example/fhir/x\\\""));
    assert_non_null(
        strstr(body.data, "\"https://other.example/fhir/Practitioner/1\""));
    buf_clear(&body);
}

/* Each step of the store fails in turn: rows and cursor, or neither. */
static void both_or_neither(void **state)
{
    struct scene *s = begin(state);
    enum err e = ERR_STORE;

    for (long n = 1; e != ERR_OK; n++) {
        open_window(s, t0);
        s->fail_at = n;
        e = take(s,
                 ROWS({ "a", "900", "1", 1000, NULL },
                      { "b", "901", "1", 2000, NULL }),
                 false, 60000);
        s->fail_at = 0;
        assert_int_equal(resources(s), e == ERR_OK ? 2 : 0);
        assert_int_equal(world_count(s->w, "SELECT count(*) FROM feed"),
                         e == ERR_OK ? 1 : 0);
        assert_int_equal(world_count(s->w, "SELECT count(*) FROM origin"),
                         e == ERR_OK ? 2 : 0);
        assert_true(n < 2000);
    }
    assert_int_equal(cursor(s), 2000);
    done(s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, world_start, world_stop)
        TEST(the_cursor_follows),     TEST(unsorted_rows),
        TEST(never_beyond_the_date),  TEST(no_date),
        TEST(undated_rows),           TEST(a_lenient_record),
        TEST(a_clock_set_back),       TEST(no_page_of_a_search),
        TEST(versions_of_the_record), TEST(it_was_here_before),
        TEST(who_is_not_known),       TEST(absolute_references),
        TEST(both_or_neither),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
