/*
 * The audit trail: a chain of hashes over rows that cannot be changed.
 *
 * The digests of the first test are of sha256sum (GNU coreutils) over the text
 * that service/audit.h describes, typed by hand.
 */
#include "service/audit.h"
#include "service/audit_list.h"
#include "service/audit_start.h"
#include "service/resources.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

static struct db *db_of(void **state)
{
    return ((struct world *)*state)->db;
}

static void note(struct db *db, int64_t at_ms, const char *action)
{
    const struct audit_entry row = { .at_ms = at_ms,
                                     .kind = "token",
                                     .actor = "desk",
                                     .scope = "system/Task.rs",
                                     .action = action,
                                     .type = "Task",
                                     .key = "t-1",
                                     .patient = 17,
                                     .detail = "?status" };

    assert_int_equal(audit_note(db, &row), ERR_OK);
}

static void ten_rows(struct db *db)
{
    for (int i = 0; i < 10; i++)
        note(db, INT64_C(1772784720000) + i, "read");
}

/* The same of several patients. */
static void note_whom(struct db *db, int64_t at_ms,
                      const struct audit_whom *whom)
{
    const struct audit_entry row = { .at_ms = at_ms,
                                     .kind = "token",
                                     .actor = "desk",
                                     .scope = "system/Task.rs",
                                     .action = "search",
                                     .type = "Task",
                                     .key = "t-1",
                                     .whom = whom,
                                     .detail = "?status" };

    assert_int_equal(audit_note(db, &row), ERR_OK);
}

static const struct audit_whom three = { .patients = { 7, 17, 1000 },
                                         .count = 3 };
static const struct audit_whom crowd = { .more = true };

/* Something that headgate itself never does. */
static enum err force(struct db *db, const char *sql)
{
    enum err e = db_ask(db, sql, NULL, 0);

    if (e == ERR_OK)
        e = db_next(db, Q_ASKED);
    db_done(db, Q_ASKED);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static void unlock(struct db *db)
{
    assert_int_equal(force(db, "DROP TRIGGER audit_last"), ERR_OK);
    assert_int_equal(force(db, "DROP TRIGGER audit_kept"), ERR_OK);
    assert_int_equal(force(db, "DROP TRIGGER audit_whole"), ERR_OK);
    assert_int_equal(force(db, "DROP TRIGGER audit_patient_last"), ERR_OK);
    assert_int_equal(force(db, "DROP TRIGGER audit_patient_kept"), ERR_OK);
    assert_int_equal(force(db, "DROP TRIGGER audit_patient_whole"), ERR_OK);
}

static struct audit_walk walked(struct db *db)
{
    struct audit_walk w = { .after = 0 };

    assert_int_equal(audit_walk_step(db, &w), ERR_OK);
    return w;
}

/* ---- the chain ------------------------------------------------------------ */

static void assert_head(struct db *db, int64_t seq, const char *want)
{
    unsigned char hash[AUDIT_HASH_SIZE];
    char hex[AUDIT_HEX_SIZE];
    int64_t last;

    assert_int_equal(audit_head(db, &last, hash), ERR_OK);
    assert_int_equal(last, seq);
    audit_hex(hash, hex);
    assert_string_equal(hex, want);
}

static void each_row_is_hashed_with_the_one_before(void **state)
{
    struct db *db = db_of(state);

    assert_head(db, 0,
                "00000000000000000000000000000000"
                "00000000000000000000000000000000");
    note(db, 1000, "read");
    assert_head(db, 1,
                "7513b300a0d2346d3a9c94fa1709c90a"
                "dd4a2b137164cf26cd552d7e71f0b4e3");
    note(db, 2000, "search");
    assert_head(db, 2,
                "11c6bc77a9e945c68e70cdb6ef7f073b"
                "607fcbf852daf6b13175acbeabd18214");
    note_whom(db, 3000, &three);
    assert_head(db, 3,
                "6e0178a74fd4bc0e817abd36dd8c26f4"
                "b4a113c34dd2a9d4e1d2ccf894275fbd");
    note_whom(db, 4000, &crowd);
    assert_head(db, 4,
                "1b483f82fa9993d2ca0077b198950ed3"
                "2f42ce9b9a06319b33115d59b1c393f3");
    assert_int_equal(walked(db).broken, 0);
}

static void a_chain_as_it_was_written_is_whole(void **state)
{
    struct db *db = db_of(state);
    struct audit_walk w;

    w = walked(db);
    assert_int_equal(w.after, 0);
    assert_int_equal(w.broken, 0);
    ten_rows(db);
    w = walked(db);
    assert_int_equal(w.after, 10);
    assert_int_equal(w.broken, 0);
    assert_false(w.more);
}

static void a_long_chain_is_walked_in_steps(void **state)
{
    struct db *db = db_of(state);
    struct audit_walk w = { .after = 0 };
    int steps = 0;

    for (int i = 0; i < AUDIT_STEP_ROWS + 3; i++)
        note(db, i, "read");
    do {
        assert_int_equal(audit_walk_step(db, &w), ERR_OK);
        assert_int_equal(w.broken, 0);
        steps++;
    } while (w.more);
    assert_int_equal(w.after, AUDIT_STEP_ROWS + 3);
    assert_int_equal(steps, 2);
}

/* ---- what cannot be done to it -------------------------------------------- */

static void rows_are_added_at_the_end_and_stay(void **state)
{
    static const char *const wishes[] = {
        "UPDATE audit SET actor = 'nobody' WHERE seq = 4",
        "UPDATE audit SET seq = 11 WHERE seq = 4",
        "DELETE FROM audit WHERE seq = 10",
        "DELETE FROM audit",
        "INSERT OR REPLACE INTO audit SELECT 4, 4, at_ms, kind, 'nobody',"
        " scope, who, action, type, key, patient, outcome, detail,"
        " patients, prev, hash FROM audit WHERE seq = 4",
        "INSERT INTO audit SELECT 12, 12, at_ms, kind, actor, scope, who,"
        " action, type, key, patient, outcome, detail, patients, prev, hash"
        " FROM audit WHERE seq = 4",
        "UPDATE audit_patient SET patient = 8 WHERE patient = 7",
        "DELETE FROM audit_patient WHERE patient = 7",
        "INSERT INTO audit_patient VALUES(4, 8)",
        "INSERT OR REPLACE INTO audit_patient VALUES(4, 8)",
    };
    struct db *db = db_of(state);

    for (int i = 0; i < 9; i++)
        note(db, i, "read");
    note_whom(db, 9, &three);
    for (size_t i = 0; i < COUNT(wishes); i++) {
        ROW(wishes[i]);
        assert_int_equal(force(db, wishes[i]), ERR_STORE);
        assert_int_equal(walked(db).after, 10);
        assert_int_equal(walked(db).broken, 0);
    }
}

/* ---- what shows ------------------------------------------------------------- */

static void every_change_shows_at_its_row(void **state)
{
    static const struct {
        const char *change;
        int64_t broken;
        const char *why;
    } rows[] = {
        { "UPDATE audit SET at_ms = at_ms + 1 WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET kind = 'local' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET actor = 'nobody' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET scope = '' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET who = 'x' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET action = 'look' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET type = 'Flag' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET key = 't-2' WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET patient = 18 WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET outcome = 4 WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET detail = '' WHERE seq = 4", 4, "changed" },
        /* the same letters, moved over the border of two fields */
        { "UPDATE audit SET type = 'Taskt', key = '-1' WHERE seq = 4", 4,
          "changed" },
        { "UPDATE audit SET part = 9 WHERE seq = 4", 4, "form" },
        { "UPDATE audit SET hash = x'00' WHERE seq = 4", 4, "form" },
        { "UPDATE audit SET hash = zeroblob(32) WHERE seq = 4", 4, "changed" },
        { "UPDATE audit SET prev = zeroblob(32) WHERE seq = 4", 4, "chain" },
        { "UPDATE audit SET prev = (SELECT prev FROM audit WHERE seq = 5),"
          " hash = (SELECT hash FROM audit WHERE seq = 5) WHERE seq = 4",
          4, "chain" },
        { "DELETE FROM audit WHERE seq = 4", 5, "missing" },
        { "DELETE FROM audit WHERE seq < 4", 4, "missing" },
        { "UPDATE audit SET seq = 0 WHERE seq = 1", 2, "missing" },
        { "UPDATE audit SET patients = '' WHERE seq = 11", 11, "changed" },
        { "DELETE FROM audit_patient WHERE seq = 11", 11, "patients" },
        { "DELETE FROM audit_patient WHERE patient = 17", 11, "patients" },
        { "UPDATE audit_patient SET patient = 8 WHERE patient = 7", 11,
          "patients" },
        { "INSERT INTO audit_patient VALUES(11, 18)", 11, "patients" },
        { "INSERT INTO audit_patient VALUES(4, 18)", 4, "patients" },
        { "INSERT INTO audit_patient VALUES(12, 18)", 12, "patients" },
        /* lists of rows that are not there */
        { "DELETE FROM audit WHERE seq > 10", 11, "cut" },
        { "DELETE FROM audit WHERE seq > 4", 5, "cut" },
        { "DELETE FROM audit", 1, "cut" },
        { "DELETE FROM audit WHERE seq = 11", 12, "missing" },
        { "INSERT INTO audit_patient VALUES(13, 18)", 13, "cut" },
        { "INSERT INTO audit_patient VALUES(0, 18)", 1, "stray" },
    };
    struct db *db = db_of(state);

    ten_rows(db);
    note_whom(db, 1, &three);
    note_whom(db, 2, &crowd);
    unlock(db);
    assert_int_equal(force(db, "CREATE TEMP TABLE kept AS SELECT * FROM audit"),
                     ERR_OK);
    assert_int_equal(force(db, "CREATE TEMP TABLE kept_patient AS"
                               " SELECT * FROM audit_patient"),
                     ERR_OK);
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct audit_walk w;

        ROW(rows[i].change);
        assert_int_equal(force(db, rows[i].change), ERR_OK);
        w = walked(db);
        assert_int_equal(w.broken, rows[i].broken);
        assert_string_equal(w.why, rows[i].why);
        assert_int_equal(force(db, "DELETE FROM audit"), ERR_OK);
        assert_int_equal(force(db, "INSERT INTO audit SELECT * FROM kept"),
                         ERR_OK);
        assert_int_equal(force(db, "DELETE FROM audit_patient"), ERR_OK);
        assert_int_equal(force(db, "INSERT INTO audit_patient"
                                   " SELECT * FROM kept_patient"),
                         ERR_OK);
        assert_int_equal(walked(db).broken, 0);
    }
}

/* Cut, or written anew as a whole: the chain itself is fine then. */
static void an_anchor_shows_what_the_chain_does_not(void **state)
{
    struct db *db = db_of(state);
    struct audit_walk w = { .anchored = true };
    int64_t seq;

    ten_rows(db);
    assert_int_equal(audit_head(db, &seq, w.anchor), ERR_OK);
    note(db, 1, "read");
    assert_int_equal(audit_walk_step(db, &w), ERR_OK);
    assert_int_equal(w.anchor_seq, 10);

    unlock(db);
    assert_int_equal(force(db, "DELETE FROM audit WHERE seq > 9"), ERR_OK);
    memset(w.hash, 0, sizeof(w.hash));
    w.after = w.anchor_seq = 0;
    assert_int_equal(audit_walk_step(db, &w), ERR_OK);
    assert_int_equal(w.broken, 0);
    assert_int_equal(w.anchor_seq, 0);
}

/* What is left of rows that were cut off is not taken for that of others, and
 * the gap stays. */
static void a_new_row_comes_behind_what_was_cut_off(void **state)
{
    struct db *db = db_of(state);
    struct audit_whom whom;
    struct audit_walk w;

    ten_rows(db);
    note_whom(db, 11, &three);
    note(db, 12, "read");
    assert_int_equal(force(db, "DROP TRIGGER audit_whole"), ERR_OK);
    assert_int_equal(force(db, "DELETE FROM audit WHERE seq > 10"), ERR_OK);
    note(db, 13, "read"); /* by the other triggers, which are there */
    note_whom(db, 14, &three);
    w = walked(db);
    assert_int_equal(w.broken, 12);
    assert_string_equal(w.why, "missing");
    assert_int_equal(audit_whom_read(db, 11, &whom), ERR_OK);
    assert_int_equal(whom.count, 3);
    assert_int_equal(audit_whom_read(db, 12, &whom), ERR_OK);
    assert_int_equal(whom.count, 0);
    assert_int_equal(audit_whom_read(db, 13, &whom), ERR_OK);
    assert_int_equal(whom.count, 3);
    /* nor is the number taken by anybody else */
    assert_int_equal(
        force(db, "INSERT INTO audit SELECT 11, 11, at_ms, kind, actor, scope,"
                  " who, action, type, key, patient, outcome, detail,"
                  " patients, prev, hash FROM audit WHERE seq = 10"),
        ERR_STORE);
}

/* Time that has run out: a row at a time, and all the same to the end. */
static void a_walk_without_time_gets_on(void **state)
{
    struct db *db = db_of(state);
    struct audit_walk w = { .until_ns = 1 };
    int steps = 0;

    ten_rows(db);
    do {
        assert_int_equal(audit_walk_step(db, &w), ERR_OK);
        assert_int_equal(w.broken, 0);
        steps++;
        assert_int_equal(w.after, steps < 10 ? steps : 10);
    } while (w.more);
    assert_int_equal(steps, 11);
}

/* ---- of whom a row is ------------------------------------------------------- */

/* The number of a patient here, by the id of its Patient. */
static int64_t number_of(struct world *w, const char *id)
{
    char sql[160];

    snprintf(sql, sizeof(sql),
             "SELECT patient FROM patient_alias WHERE alias = 'r:Patient/%s'",
             id);
    return world_count(w, sql);
}

static void send_two(struct world *w)
{
    const char *bundle = bundle_json(
        "batch", entry_json("PUT", "Patient/pa", pat_json("pa", "1")),
        entry_json("PUT", "Patient/pb", pat_json("pb", "2")), NULL);

    (void)world_bundle(w, bundle);
    assert_int_equal(world_status(w, 0), 201);
    assert_int_equal(world_status(w, 1), 201);
}

static void begin(struct world *w)
{
    assert_int_equal(audit_whom_begin(w->db), ERR_OK);
}

static struct audit_whom taken(struct world *w)
{
    struct audit_whom whom;

    assert_int_equal(audit_whom_take(w->db, &whom), ERR_OK);
    return whom;
}

static void whose_data_is_stored_is_seen(void **state)
{
    struct world *w = *state;
    struct audit_whom whom;
    int64_t a, b;

    begin(w);
    send_two(w);
    whom = taken(w);
    a = number_of(w, "pa");
    b = number_of(w, "pb");
    assert_int_equal(whom.count, 2);
    assert_int_equal(whom.patients[0], a < b ? a : b);
    assert_int_equal(whom.patients[1], a < b ? b : a);
    assert_int_equal(taken(w).count, 0); /* it has been forgotten */

    begin(w);
    assert_int_equal(
        world_put(w, "a1",
                  ACC(.id = "a1", .patient = "Patient/pb", .type = "avf")),
        201);
    assert_int_equal(world_put(w, "o1",
                               OBS(.id = "o1", .patient = "Patient/pb",
                                   .access = "BodyStructure/a1", .ago_h = 5)),
                     201);
    whom = taken(w);
    assert_int_equal(whom.count, 1);
    assert_int_equal(whom.patients[0], b);
}

static void whose_data_is_served_is_seen(void **state)
{
    struct world *w = *state;
    struct audit_whom whom;
    struct resource row;
    struct buf out;
    int64_t at_ms;

    send_two(w);
    assert_int_equal(
        world_put(w, "o1",
                  OBS(.id = "o1", .patient = "Patient/pa", .ago_h = 5)),
        201);
    begin(w);
    buf_init(&out, 65536);
    assert_int_equal(resource_by_fid(w->db, FHIR_OBSERVATION, "o1", &row),
                     ERR_OK);
    assert_int_equal(taken(w).count, 0); /* looking for it shows nothing */
    assert_int_equal(resource_served(w->db, BASE, &row, 0, &out, &at_ms),
                     ERR_OK);
    whom = taken(w);
    assert_int_equal(whom.count, 1);
    assert_int_equal(whom.patients[0], number_of(w, "pa"));
    buf_clear(&out);
}

static enum err see_and_fail(struct db *db, void *arg)
{
    enum err e = audit_saw(db, AUDIT_SAW_PATIENT, *(const int64_t *)arg);

    return e == ERR_OK ? ERR_CONFLICT : e;
}

static void what_is_undone_is_not_seen(void **state)
{
    struct world *w = *state;
    int64_t patient = 17;

    begin(w);
    assert_int_equal(world_step(w, see_and_fail, &patient), ERR_CONFLICT);
    assert_int_equal(taken(w).count, 0);
}

/* The List of a unit names patients by reference, or by a number. */
static void who_is_on_a_list_is_seen(void **state)
{
    static const char list[] =
        "{\"resourceType\":\"List\",\"entry\":[{\"item\":{\"reference\":"
        "\"Patient/pa\",\"type\":\"Patient\"}},{\"item\":{\"type\":"
        "\"Patient\",\"identifier\":{\"system\":\"" IDS "patient\","
        "\"value\":\"2\"}}},{\"item\":{\"reference\":\"Patient/none\"}},"
        "{\"item\":{\"reference\":\"Pat";
    struct world *w = *state;

    send_two(w);
    begin(w);
    assert_int_equal(audit_saw_list(w->db, list, sizeof(list) - 1), ERR_OK);
    assert_int_equal(taken(w).count, 2);
}

static void of_more_than_are_named_nobody_is(void **state)
{
    struct world *w = *state;
    struct audit_whom whom, back;

    begin(w);
    for (int64_t i = 1; i <= AUDIT_PATIENTS_MAX; i++)
        assert_int_equal(audit_saw(w->db, AUDIT_SAW_PATIENT, i), ERR_OK);
    whom = taken(w);
    assert_int_equal(whom.count, AUDIT_PATIENTS_MAX);
    assert_false(whom.more);
    note_whom(w->db, 1, &whom);
    assert_int_equal(audit_whom_read(w->db, 1, &back), ERR_OK);
    assert_int_equal(back.count, AUDIT_PATIENTS_MAX);
    assert_memory_equal(back.patients, whom.patients, sizeof(back.patients));

    for (int64_t i = 0; i <= AUDIT_PATIENTS_MAX; i++)
        assert_int_equal(audit_saw(w->db, AUDIT_SAW_PATIENT, i + 1), ERR_OK);
    whom = taken(w);
    assert_int_equal(whom.count, 0);
    assert_true(whom.more);
    note_whom(w->db, 2, &whom);
    assert_int_equal(audit_whom_read(w->db, 2, &back), ERR_OK);
    assert_int_equal(back.count, 0);
    assert_int_equal(walked(w->db).broken, 0);
}

static void list_of(struct db *db, int64_t patient, enum audit_form form,
                    struct buf *out, size_t *count)
{
    struct audit_wish wish = {
        .form = form, .to_ms = INT64_MAX, .patient = patient, .base = BASE
    };

    buf_empty(out);
    assert_int_equal(audit_list(db, &wish, out), ERR_OK);
    assert_int_equal(wish.next, 0);
    *count = wish.count;
}

/* For one patient: his rows, those that may be of him, and nobody else. */
static void one_of_several_is_found_and_alone_is_told(void **state)
{
    struct db *db = db_of(state);
    struct buf out;
    size_t count;

    buf_init(&out, (size_t)1 << 20);
    note(db, 1, "read");      /* of 17 */
    note_whom(db, 2, &three); /* of 7, 17 and 1000 */
    note_whom(db, 3, &crowd); /* of nobody knows whom */
    list_of(db, 17, AUDIT_FHIR, &out, &count);
    assert_int_equal(count, 3);
    assert_non_null(strstr(out.data, "\"value\":\"17\""));
    assert_null(strstr(out.data, "\"value\":\"1000\""));
    assert_null(strstr(out.data, "\"value\":\"7\""));
    assert_non_null(strstr(out.data, "\"valueString\":\"3\""));
    assert_non_null(strstr(out.data, "\"valueString\":\"more than 1000\""));
    list_of(db, 7, AUDIT_TABLE, &out, &count);
    assert_int_equal(count, 2);
    assert_non_null(strstr(out.data, "  patient 7, of 3 patients"));
    assert_non_null(strstr(out.data, "  of more than 1000 patients"));
    list_of(db, 18, AUDIT_JSON, &out, &count);
    assert_int_equal(count, 1);
    list_of(db, 0, AUDIT_FHIR, &out, &count);
    assert_int_equal(count, 3);
    assert_non_null(strstr(out.data, "\"value\":\"7\""));
    assert_non_null(strstr(out.data, "\"value\":\"1000\""));
    buf_clear(&out);
}

/* ---- what it works by --------------------------------------------------------- */

static long long rows_of(struct world *w, const char *action)
{
    char sql[120];

    snprintf(sql, sizeof(sql), "SELECT count(*) FROM audit WHERE action = '%s'",
             action);
    return world_count(w, sql);
}

static void a_change_of_what_it_works_by_is_told_once(void **state)
{
    struct world *w = *state;
    static struct config config; /* large */
    struct policy policy = w->policy;
    struct audit_works works;
    char tokens[120];
    FILE *f;

    snprintf(tokens, sizeof(tokens), "%s/tokens", w->folder);
    snprintf(config.http_tokens, sizeof(config.http_tokens), "%s", tokens);
    f = fopen(tokens, "w");
    assert_non_null(f);
    fputs("desk 00\n", f);
    assert_int_equal(audit_works_of(&policy, &config, &works), ERR_OK);
    assert_int_equal(audit_started(w->db, &works, 1), ERR_OK);
    assert_int_equal(audit_changed(w->db, &works, 2), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM audit"), 1);

    assert_int_equal(fclose(f), 0); /* and only now its line is in it */
    assert_int_equal(audit_works_of(&policy, &config, &works), ERR_OK);
    assert_int_equal(audit_changed(w->db, &works, 3), ERR_OK);
    assert_int_equal(rows_of(w, "tokens-changed"), 1);

    policy.values[0].value += 1;
    assert_int_equal(audit_works_of(&policy, &config, &works), ERR_OK);
    assert_int_equal(audit_changed(w->db, &works, 4), ERR_OK);
    assert_int_equal(audit_changed(w->db, &works, 5), ERR_OK);
    assert_int_equal(rows_of(w, "policy-changed"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM audit"), 3);
    unlink(tokens);
}

/* ---- its texts ---------------------------------------------------------------- */

static void a_long_text_is_cut_between_characters(void **state)
{
    struct db *db = db_of(state);
    char text[AUDIT_TEXT_MAX + 40];
    struct audit_entry entry = { .action = "read", .detail = text };
    struct audit_row row;

    /* from an odd place on characters of two bytes, one over the border */
    memset(text, 'a', sizeof(text));
    for (size_t i = 1; i + 1 < sizeof(text); i += 2)
        memcpy(text + i, "\xc3\xa9", 2);
    text[sizeof(text) - 1] = '\0';
    assert_int_equal(audit_note(db, &entry), ERR_OK);
    assert_int_equal(db_query(db, Q_AUDIT_ROWS, "ii", INT64(0), INT64(1)),
                     ERR_OK);
    assert_int_equal(db_next(db, Q_AUDIT_ROWS), ERR_OK);
    audit_row_get(db, &row);
    assert_int_equal(strlen(row.entry.detail), AUDIT_TEXT_MAX - 1);
    assert_memory_equal(row.entry.detail, text, AUDIT_TEXT_MAX - 1);
    assert_string_equal(row.entry.actor, "");
    db_done(db, Q_AUDIT_ROWS);
    assert_int_equal(walked(db).broken, 0);
}

static void a_hash_is_read_as_it_is_written(void **state)
{
    unsigned char hash[AUDIT_HASH_SIZE], back[AUDIT_HASH_SIZE];
    char hex[AUDIT_HEX_SIZE];

    (void)state;
    for (size_t i = 0; i < sizeof(hash); i++)
        hash[i] = (unsigned char)(i * 37 + 5);
    audit_hex(hash, hex);
    assert_true(audit_unhex(hex, back));
    assert_memory_equal(hash, back, sizeof(hash));
    hex[10] = 'g';
    assert_false(audit_unhex(hex, back));
    hex[10] = '\0';
    assert_false(audit_unhex(hex, back));
    assert_false(audit_unhex("", back));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        TEST(each_row_is_hashed_with_the_one_before),
        TEST(a_chain_as_it_was_written_is_whole),
        TEST(a_long_chain_is_walked_in_steps),
        TEST(rows_are_added_at_the_end_and_stay),
        TEST(every_change_shows_at_its_row),
        TEST(an_anchor_shows_what_the_chain_does_not),
        TEST(a_new_row_comes_behind_what_was_cut_off),
        TEST(a_walk_without_time_gets_on),
        TEST(whose_data_is_stored_is_seen),
        TEST(whose_data_is_served_is_seen),
        TEST(what_is_undone_is_not_seen),
        TEST(who_is_on_a_list_is_seen),
        TEST(of_more_than_are_named_nobody_is),
        TEST(one_of_several_is_found_and_alone_is_told),
        TEST(a_change_of_what_it_works_by_is_told_once),
        TEST(a_long_text_is_cut_between_characters),
        TEST(a_hash_is_read_as_it_is_written),
#undef TEST
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
