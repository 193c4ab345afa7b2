/* What could not be taken in is kept whole, once, and within bounds. */
#include "adapters/quarantine_text.h"
#include "service/db_schema.h"
#include "service/poll_take.h"
#include "service/quarantine_item.h"
#include "service/schema.h"
#include "tests/schema_1.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <unistd.h>

static int64_t add(struct world *w, const struct quarantine_row *row)
{
    int64_t id = 0;

    assert_int_equal(quarantine_add(w->db, row, &id), ERR_OK);
    assert_true(id > 0);
    return id;
}

static struct quarantine_row line(const char *body)
{
    return (struct quarantine_row){ .at_ms = 1000,
                                    .way = QUARANTINE_FILE,
                                    .source = "unit-a",
                                    .line = 7,
                                    .start = 4242,
                                    .status = 400,
                                    .reason = "json-syntax",
                                    .place = "",
                                    .text = "This line is no JSON object",
                                    .body = body,
                                    .len = body != NULL ? strlen(body) : 0 };
}

static void all_of_it_comes_back(void **state)
{
    struct world *w = world(state);
    struct quarantine_row row = line("{\"broken\":\r\n \xC3\xA9");
    struct quarantine_item item;
    char name[32];
    struct buf bytes;

    snprintf(name, sizeof(name), "%lld", (long long)add(w, &row));
    assert_int_equal(quarantine_find(w->db, name, &item), ERR_OK);
    assert_false(item.held);
    assert_int_equal(item.way, QUARANTINE_FILE);
    assert_int_equal(item.state, QUARANTINE_OPEN);
    assert_int_equal(item.line, 7);
    assert_int_equal(item.start, 4242);
    assert_string_equal(item.source, "unit-a");
    assert_string_equal(item.reason, "json-syntax");
    buf_init(&bytes, 1000);
    assert_int_equal(quarantine_bytes(w->db, &item, &bytes), ERR_OK);
    assert_int_equal(bytes.len, row.len);
    assert_memory_equal(bytes.data, row.body, row.len);
    buf_clear(&bytes);
}

/* Numbers of both lists never meet: a person types one of them. */
static void numbers_are_those_of_the_store(void **state)
{
    struct world *w = world(state);
    struct quarantine_row row = line("x");
    int64_t id;

    assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
    id = add(w, &row);
    assert_int_equal(world_post(w, OBS(.code = "access-flow", .value = "900")),
                     201);
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource WHERE id IN"
                                    " (SELECT id FROM quarantine)"),
                     0);
    assert_true(id > 0);
}

static void the_same_is_not_added_twice(void **state)
{
    struct world *w = world(state);
    struct quarantine_row row = line("one");
    int64_t first = add(w, &row), other;

    row.line = 99;
    assert_int_equal(add(w, &row), first);
    row.source = "unit-b"; /* another sender is another matter */
    other = add(w, &row);
    assert_int_not_equal(other, first);
    /* discarded: it does not come back */
    row.source = "unit-a";
    assert_int_equal(quarantine_close(w->db, first, QUARANTINE_DISCARDED, "N",
                                      "noise", 2000),
                     ERR_OK);
    assert_int_equal(add(w, &row), first);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine WHERE"
                                    " state = 0"),
                     1);
    /* released: should it fail again, it is to be seen again */
    assert_int_equal(quarantine_close(w->db, other, QUARANTINE_RELEASED, "N",
                                      "mended", 2000),
                     ERR_OK);
    row.source = "unit-b";
    assert_int_not_equal(add(w, &row), other);
    /* without bytes nobody can tell */
    row = line(NULL);
    assert_int_not_equal(add(w, &row), add(w, &row));
}

static void what_is_closed_stays_closed(void **state)
{
    struct world *w = world(state);
    struct quarantine_row row = line("one");
    int64_t id = add(w, &row);

    assert_int_equal(
        quarantine_close(w->db, id, QUARANTINE_DISCARDED, "N", "noise", 2000),
        ERR_OK);
    assert_int_equal(
        quarantine_close(w->db, id, QUARANTINE_RELEASED, "M", "x", 3000),
        ERR_ABSENT);
    assert_int_equal(
        quarantine_close(w->db, id + 1, QUARANTINE_DISCARDED, "N", "x", 3000),
        ERR_ABSENT);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine WHERE"
                                    " who = 'N' AND why = 'noise' AND"
                                    " done_ms = 2000"),
                     1);
}

static void a_message_closes_all_its_rows(void **state)
{
    struct world *w = world(state);
    struct quarantine_row row = line(NULL);

    row.message = 77;
    add(w, &row);
    add(w, &row);
    row.message = 78;
    add(w, &row);
    assert_int_equal(
        quarantine_close_message(w->db, 77, QUARANTINE_CAME_AGAIN, 5000),
        ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine WHERE"
                                    " state = 3"),
                     2);
    assert_int_equal(world_count(w, "SELECT message FROM quarantine WHERE"
                                    " state = 0"),
                     78);
}

/* Nothing that steers a terminal leaves the list; the rest stays. */
static void what_was_sent_does_not_steer_the_terminal(void **state)
{
    static const char sent[] = "MSH|^~\\&|\x1B[2J\rPID|\xE2\x80\xAE"
                               "evil\xC2\x9B|\t\xC3\xA9\r\n\rOBX";
    static const char broken[] = "R\xE9n \x9B 5 \xC0\xAF \xED\xA0\x80 \xE2\x82";
    struct buf out;

    (void)state;
    buf_init(&out, 1000);
    quarantine_write_raw(sent, sizeof(sent) - 1, &out);
    assert_string_equal(out.data, "  MSH|^~\\&|?[2J\n  PID|?evil?|\t\xC3\xA9\n"
                                  "\n  OBX\n");
    /* no UTF-8 (RFC 3629, 3 and 10): a byte of Latin-1, a C1 control by
     * itself, an overlong form, a surrogate, the beginning of a character */
    buf_empty(&out);
    quarantine_write_raw(broken, sizeof(broken) - 1, &out);
    assert_string_equal(out.data, "  R?n ? 5 ?? ??? ??\n");
    buf_clear(&out);
}

/* ---- bounds --------------------------------------------------------------- */

/* Rows as they would be after a long flood; quick to make in one statement. */
static void fill(struct world *w, int count, int state, int64_t done_ms)
{
    char sql[512];

    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    db_close(w->db);
    snprintf(sql, sizeof(sql),
             "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n"
             " WHERE i < %d) INSERT INTO quarantine(id, part, at_ms, way,"
             " source, kind, file, line, start, status, reason, bytes, state,"
             " done_ms) SELECT 1000000 + i, 0, i, 6, 'flood', 0, 0, i, 0, 400,"
             " 'json-syntax', 0, %d, %lld + i FROM n",
             count, state, (long long)done_ms);
    world_change_file(w->path, sql);
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
}

static void beyond_its_room_it_refuses(void **state)
{
    struct world *w = world(state);
    struct quarantine_row row = line("one more");
    int64_t id = 0;

    fill(w, QUARANTINE_MAX - 1, QUARANTINE_OPEN, 0);
    add(w, &row);
    row = line("and another");
    assert_int_equal(quarantine_add(w->db, &row, &id), ERR_LIMIT);
    assert_int_equal(id, 0);
    row = line("one more"); /* there already: that is no more of it */
    add(w, &row);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine"),
                     QUARANTINE_MAX);
}

/* 180 days, and 20000 of them: as the header says. */
static void what_is_done_with_is_trimmed(void **state)
{
    struct world *w = world(state);
    const int64_t day_ms = INT64_C(86400000), now_ms = 1000 * day_ms;

    fill(w, 21000, QUARANTINE_DISCARDED, now_ms - day_ms);
    assert_int_equal(quarantine_trim(w->db, now_ms), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine"), 20001);
    assert_int_equal(quarantine_trim(w->db, now_ms + 178 * day_ms), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine"), 20001);
    assert_int_equal(quarantine_trim(w->db, now_ms + 180 * day_ms), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine"), 0);
}

/* ---- of the record -------------------------------------------------------- */

static void take(struct world *w, const char *json, bool anew)
{
    char bundle[2000];
    struct fhir_page page;
    struct poll_take poll;

    snprintf(bundle, sizeof(bundle),
             "{\"resourceType\":\"Bundle\",\"type\":\"searchset\",\"entry\":"
             "[{\"resource\":%s}]}",
             json);
    assert_int_equal(fhir_page_read(bundle, strlen(bundle), &page), ERR_OK);
    poll = (struct poll_take){ .page = &page,
                               .body = bundle,
                               .reader = &w->reader,
                               .merge_implied = true,
                               .anew = anew,
                               .source = TAKE_POLL,
                               .now_ms = world_now_ms() };
    w->reader.now_s = world_now_s;
    assert_int_equal(poll_take(w->db, &poll), ERR_OK);
    fhir_page_clear(&page);
}

#define MEASURED                                                               \
    "\"code\":{\"coding\":[{\"system\":\"" OBS_CODES                           \
    "\",\"code\":\"access-flow\"}]},\"subject\":{\"reference\":"               \
    "\"Patient/p-1\"},\"effectiveDateTime\":\"2026-03-06\","                   \
    "\"valueQuantity\":{\"value\":900,\"system\":"                             \
    "\"http://unitsofmeasure.org\",\"code\":\"mL/min\"}"

static void an_entry_that_is_mended_waits_for_nobody(void **state)
{
    struct world *w = world(state);

    take(w,
         "{\"resourceType\":\"Observation\",\"id\":\"r1\",\"meta\":"
         "{\"versionId\":\"1\"},\"status\":\"banana\"," MEASURED "}",
         false);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine WHERE"
                                    " state = 0 AND remote = 'r1' AND"
                                    " reason = 'bad-value' AND place ="
                                    " 'Observation.status' AND bytes > 0"),
                     1);
    /* the same once more, and then another that is no better */
    take(w,
         "{\"resourceType\":\"Observation\",\"id\":\"r1\",\"meta\":"
         "{\"versionId\":\"1\"},\"status\":\"banana\"," MEASURED "}",
         true);
    take(w,
         "{\"resourceType\":\"Observation\",\"id\":\"r1\",\"meta\":"
         "{\"versionId\":\"2\"},\"status\":\"cherry\"," MEASURED "}",
         false);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine WHERE"
                                    " state = 0"),
                     1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine"), 2);
    take(w,
         "{\"resourceType\":\"Observation\",\"id\":\"r1\",\"meta\":"
         "{\"versionId\":\"3\"},\"status\":\"final\"," MEASURED "}",
         false);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine WHERE"
                                    " state = 0"),
                     0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM reading"), 1);
    assert_int_equal(
        world_count(w, "SELECT sum(count) FROM tally WHERE source = 'record'"
                       " AND class = 3 AND way = 1"),
        2); /* what came once more unchanged is counted once */
}

/* Version 4 of the store noted what was not taken, without its bytes. */
static void what_was_noted_before_is_in_quarantine(void **state)
{
    struct world *w = world(state);

    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    db_close(w->db);
    assert_int_equal(unlink(w->path), 0);
    world_change_file(w->path, schema_1_sql);
    for (size_t i = 0; i < COUNT(schema_steps) && schema_steps[i].from < 4; i++)
        world_change_file(w->path, schema_steps[i].sql);
    world_change_file(
        w->path,
        "PRAGMA journal_mode = WAL; PRAGMA application_id = 1751410548;"
        "INSERT INTO meta VALUES('schema', '4'), ('next_id', '4097'),"
        " ('node', 'n');"
        "INSERT INTO not_taken VALUES(3, 11, 1, 1, 'r7', 0, 0, 0, 409, 'a',"
        " 'b'), (9, 12, 3, 0, NULL, 2, 5, 300, 400, '', 'c')");
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine WHERE"
                                    " state = 0 AND source = 'record'"),
                     2);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine WHERE"
                                    " remote = 'r7' AND way = 1 AND reason ="
                                    " 'identity' AND at_ms = 11"),
                     1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine WHERE"
                                    " file = 2 AND line = 5 AND start = 300"),
                     1);
    /* and their numbers are nobody else's, now and later */
    assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
    assert_int_equal(world_post(w, OBS(.code = "access-flow", .value = "900")),
                     201);
    assert_int_equal(world_count(w, "SELECT count(*) FROM resource WHERE id IN"
                                    " (SELECT id FROM quarantine)"),
                     0);
    assert_true(world_count(w, "SELECT max(id) FROM resource") >
                world_count(w, "SELECT max(id) FROM quarantine"));
}

#define TEST(f) cmocka_unit_test_setup_teardown(f, world_start, world_stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(all_of_it_comes_back),
        TEST(numbers_are_those_of_the_store),
        TEST(the_same_is_not_added_twice),
        TEST(what_is_closed_stays_closed),
        TEST(a_message_closes_all_its_rows),
        cmocka_unit_test(what_was_sent_does_not_steer_the_terminal),
        TEST(beyond_its_room_it_refuses),
        TEST(what_is_done_with_is_trimmed),
        TEST(an_entry_that_is_mended_waits_for_nobody),
        TEST(what_was_noted_before_is_in_quarantine),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
