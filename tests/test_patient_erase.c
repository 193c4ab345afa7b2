/*
 * One patient is given out and removed: nothing of the patient is left in any
 * byte of the file or its log, nor in what is packed in it, and the other
 * patient of the same messages keeps every byte.
 *
 * What is looked at is looked at by SQLite's own library, by the bytes of the
 * files, and (the lines of the export) by jansson: not by what is tested.
 */
#include "service/db_copy.h"
#include "service/pack.h"
#include "service/patient_erase.h"
#include "service/patient_export.h"
#include "service/patient_whole.h"
#include "service/quarantine.h"
#include "service/resources.h"
#include "service/unit_list.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <jansson.h>
#include <sqlite3.h>

/* What must be gone, and is nothing that the other patient has. */
static const char *const markers[] = { "MARKNUM",  "MARKFAMILY", "MARKGIVEN",
                                       "mark-pat", "MARKNOTE",   "MARKOBS",
                                       "MARKACC",  "MARKSITE" };

/* ---- two people in the same messages ---------------------------------------- */

#define IDENT(value)                                                           \
    "\"identifier\":[{\"system\":\"" IDS "patient\",\"value\":\"" value "\"}]"

static const char marked_patient[] =
    "{\"resourceType\":\"Patient\",\"id\":\"mark-pat\"," IDENT(
        "MARKNUM") ",\"name\":[{\"family\":\"MARKFAMILY\",\"given\":"
                   "[\"MARKGIVEN\"]}]}";
static const char other_patient[] =
    "{\"resourceType\":\"Patient\",\"id\":\"other\"," IDENT(
        "OTHERNUM") ",\"name\":[{\"family\":\"Fictional\"}]}";

static const char *flow(bool marked, int n, const char *value)
{
    char identifier[64];

    snprintf(identifier, sizeof(identifier), "%s-%d",
             marked ? "MARKOBS" : "OBS", n);
    return OBS(.identifier = identifier,
               .patient = marked ? "Patient/mark-pat" : "Patient/other",
               .value = value, .ago_h = n * 24 + 1,
               .more = marked ? ",\"note\":[{\"text\":\"MARKNOTE\"}]" : NULL);
}

/* A PUT keeps the ids, so that what refers to them is known. */
static void send_both(struct world *w)
{
    const char *bundle =
        bundle_json("collection", entry_json(NULL, NULL, marked_patient),
                    entry_json(NULL, NULL, other_patient),
                    entry_json(NULL, NULL,
                               ACC(.id = "acc-m", .identifier = "MARKACC",
                                   .patient = "Patient/mark-pat", .type = "avf",
                                   .site = "MARKSITE")),
                    entry_json(NULL, NULL,
                               ACC(.id = "acc-o", .identifier = "acc-o",
                                   .patient = "Patient/other", .type = "avf",
                                   .site = "Left upper arm")),
                    NULL);

    assert_true(world_bundle(w, bundle) < 300);
    for (int n = 1; n <= 3; n++) {
        bundle = bundle_json(
            "collection", entry_json(NULL, NULL, flow(true, n, "2300")),
            entry_json(NULL, NULL, flow(false, n, "2300")), NULL);
        assert_true(world_bundle(w, bundle) < 300);
    }
    /* a reading that is known already, beside a new one of the other */
    bundle =
        bundle_json("collection", entry_json(NULL, NULL, flow(true, 1, "2300")),
                    entry_json(NULL, NULL, flow(false, 9, "2300")), NULL);
    assert_true(world_bundle(w, bundle) < 300);
    /* corrected: two versions, in two messages */
    bundle =
        bundle_json("collection", entry_json(NULL, NULL, flow(true, 2, "2310")),
                    entry_json(NULL, NULL, flow(false, 2, "2320")), NULL);
    assert_true(world_bundle(w, bundle) < 300);
    world_review(w);
}

static const char pid[] = "MSH|^~\\&|M|N|H||20260306||ORU^R01|C1|P|2.5.1\r"
                          "PID|1||MARKNUM^^^^MR||MARKFAMILY^MARKGIVEN\r";
static const char other_pid[] = "MSH|^~\\&|M|N|H||20260306||ORU^R01|C2|P|2.5\r"
                                "PID|1||OTHERNUM^^^^MR\rOBX|1|NM|||1\r";

static void add_message(struct world *w, const char *control, const char *text)
{
    unsigned char digest[32] = { (unsigned char)control[1] };
    struct buf body;
    int64_t id = 0;

    buf_init(&body, 4096);
    assert_int_equal(db_new_id(w->db, &id), ERR_OK);
    assert_int_equal(pack(text, strlen(text), &body), ERR_OK);
    assert_int_equal(db_run(w->db, Q_HL7_ADD, "iiissssbiib", id, id % 1024,
                            world_now_ms(), "north", "M", "N", control,
                            (const void *)digest, sizeof(digest), INT64(0),
                            INT64(strlen(text)), (const void *)body.data,
                            body.len),
                     ERR_OK);
    buf_clear(&body);
}

static void add_item(struct world *w, const char *patient, const char *body)
{
    const struct quarantine_row row = { .at_ms = world_now_ms(),
                                        .way = QUARANTINE_HTTP,
                                        .source = "unit-a",
                                        .kind = FHIR_OBSERVATION,
                                        .reason = "bad-value",
                                        .patient = patient,
                                        .body = body,
                                        .len = strlen(body) };
    int64_t id = 0;

    assert_int_equal(quarantine_add(w->db, &row, &id), ERR_OK);
}

static struct unit_list_options list_options(struct world *w)
{
    return (struct unit_list_options){ .base = BASE,
                                       .zone = w->zone,
                                       .now_ms = world_now_ms };
}

static void set_up(struct world *w)
{
    const struct unit_list_options lists = list_options(w);
    bool told = false;

    send_both(w);
    add_message(w, "C1", pid);
    add_message(w, "C2", other_pid);
    add_item(w, "MARKNUM", "{\"half\":\"MARKNOTE");
    add_item(w, NULL, "{\"subject\":{\"reference\":\"Patient/mark-pat\"}}");
    add_item(w, "OTHERNUM", "{\"code\":\"OTHER-CODE\"}");
    assert_int_equal(
        world_count(w, "UPDATE patient SET unit = 'Hall A' RETURNING 0"), 0);
    assert_int_equal(unit_list_keep(w->db, &lists, true, &told), ERR_OK);
}

/* ---- what is in the bytes ------------------------------------------------------ */

static bool has(const void *bytes, size_t len, const char *marker)
{
    const char *at = bytes;
    size_t size = strlen(marker);

    for (size_t i = 0; i + size <= len; i++) {
        if (memcmp(at + i, marker, size) == 0)
            return true;
    }
    return false;
}

static size_t read_file(const char *path, char **bytes)
{
    FILE *f = fopen(path, "rb");
    long len;

    *bytes = NULL;
    if (f == NULL)
        return 0; /* no log: nothing in it */
    assert_int_equal(fseek(f, 0, SEEK_END), 0);
    len = ftell(f);
    rewind(f);
    *bytes = malloc((size_t)len + 1);
    assert_non_null(*bytes);
    assert_int_equal(fread(*bytes, 1, (size_t)len, f), (size_t)len);
    fclose(f);
    return (size_t)len;
}

static int in_file(const char *path, const char *marker)
{
    char *bytes;
    size_t len = read_file(path, &bytes);
    int found = has(bytes, len, marker) ? 1 : 0;

    free(bytes);
    return found;
}

/* How often it stands in what is packed in the bodies of a table. */
static int in_bodies(const char *path, const char *sql, const char *marker)
{
    sqlite3 *handle;
    sqlite3_stmt *s;
    int found = 0;

    assert_int_equal(sqlite3_open(path, &handle), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(handle, sql, -1, &s, NULL), SQLITE_OK);
    while (sqlite3_step(s) == SQLITE_ROW) {
        struct buf body;

        buf_init(&body, BODY_MAX);
        assert_int_equal(unpack(sqlite3_column_blob(s, 1),
                                (size_t)sqlite3_column_bytes(s, 1),
                                (size_t)sqlite3_column_int64(s, 0), &body),
                         ERR_OK);
        found += has(body.data, body.len, marker) ? 1 : 0;
        buf_clear(&body);
    }
    sqlite3_finalize(s);
    sqlite3_close(handle);
    return found;
}

static const char *const bodies[] = {
    "SELECT bytes, body FROM journal",
    "SELECT len, body FROM version WHERE body IS NOT NULL",
    "SELECT bytes, body FROM hl7_message",
    "SELECT bytes, body FROM quarantine WHERE body IS NOT NULL"
};

/* In what is packed; the store is closed for as long. */
static int in_all_bodies(struct world *w, const char *marker)
{
    int found = 0;

    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    db_close(w->db);
    for (size_t i = 0; i < COUNT(bodies); i++)
        found += in_bodies(w->path, bodies[i], marker);
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
    return found;
}

/* In the file and the log, as they lie there while the store is open. */
static int in_bytes(struct world *w, const char *marker)
{
    char log[96];

    snprintf(log, sizeof(log), "%s-wal", w->path);
    return in_file(w->path, marker) + in_file(log, marker);
}

/* All that is served of the other patient, one version after the other. */
static void serve_other(struct world *w, struct buf *out)
{
    for (int n = 1; n <= 9; n++) {
        char ident[128];
        struct resource row;
        int64_t updated;

        snprintf(ident, sizeof(ident), "OBS-%d", n);
        if (resource_by_identifier(w->db, FHIR_OBSERVATION, IDS "obs", ident,
                                   &row) != ERR_OK)
            continue;
        for (int v = 1; v <= row.version; v++)
            assert_int_equal(
                resource_served(w->db, BASE, &row, v, out, &updated), ERR_OK);
    }
    assert_int_equal(buf_ok(out), ERR_OK);
}

/* ---- removing ------------------------------------------------------------------- */

static void erase(struct world *w, struct erase_rows *rows)
{
    const struct unit_list_options lists = list_options(w);
    struct patient_names *names = calloc(1, sizeof(*names));
    struct erase_sift sift = { .mark = 7, .names = names };
    bool more = true, told = false;

    assert_non_null(names);
    assert_int_equal(patient_whole_find(w->db, "MARKNUM", &sift.patient),
                     ERR_OK);
    while (more)
        assert_int_equal(patient_erase_sift(w->db, &sift, &more), ERR_OK);
    *rows = (struct erase_rows){ .patient = sift.patient,
                                 .who = "Records office",
                                 .why = "request 17",
                                 .now_ms = world_now_ms(),
                                 .mark = 7,
                                 .since_ms = world_now_ms() };
    assert_int_equal(patient_erase_rows(w->db, rows), ERR_OK);
    assert_int_equal(unit_list_keep(w->db, &lists, true, &told), ERR_OK);
    assert_int_equal(patient_erase_lists(w->db, names), ERR_OK);
    free(names);
    assert_int_equal(db_run(w->db, Q_COMMIT, ""), ERR_OK);
    assert_int_equal(db_rewrite(w->db, w->folder), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
}

static void nothing_of_the_patient_is_left(void **state)
{
    struct world *w = *state;
    struct erase_rows rows;
    struct buf before, after;

    set_up(w);
    for (size_t i = 0; i < COUNT(markers); i++) {
        ROW(markers[i]);
        /* else the test would look for what never was there */
        assert_true(in_bytes(w, markers[i]) + in_all_bodies(w, markers[i]) > 0);
    }
    assert_true(world_tasks(w, NULL, NULL) >= 2);
    buf_init(&before, BODY_MAX);
    buf_init(&after, BODY_MAX);
    serve_other(w, &before);
    assert_true(before.len > 0);

    erase(w, &rows);
    assert_int_equal(rows.counts[ERASE_READINGS], 3);
    assert_true(rows.counts[ERASE_TASKS] >= 1);
    assert_true(rows.counts[ERASE_DECISIONS] >= 1);
    assert_int_equal(rows.counts[ERASE_MESSAGES], 1);
    assert_int_equal(rows.counts[ERASE_ITEMS], 2);
    for (size_t i = 0; i < COUNT(markers); i++) {
        ROW(markers[i]);
        /* the raw bytes first: a store that is closed puts itself in order */
        assert_int_equal(in_bytes(w, markers[i]), 0);
    }
    for (size_t i = 0; i < COUNT(markers); i++)
        assert_int_equal(in_all_bodies(w, markers[i]), 0);
    assert_int_equal(in_all_bodies(w, "OTHER-CODE"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM patient"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM hl7_message"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM quarantine"), 1);

    serve_other(w, &after);
    assert_int_equal(after.len, before.len);
    assert_memory_equal(after.data, before.data, before.len);
    buf_clear(&after);
    buf_clear(&before);
}

static void the_file_is_sound_and_no_row_points_into_nothing(void **state)
{
    struct world *w = *state;
    struct erase_rows rows;

    set_up(w);
    erase(w, &rows);
    assert_int_equal(db_verify(w->db), ERR_OK);
    assert_int_equal(
        world_count(w,
                    "SELECT count(*) FROM version v WHERE NOT EXISTS (SELECT "
                    "1 FROM resource r WHERE r.id = v.resource)"),
        0);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM version v WHERE v.journal > 0 AND "
                       "NOT EXISTS (SELECT 1 FROM journal j WHERE j.seq = "
                       "v.journal)"),
        0);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM resource r WHERE NOT EXISTS "
                       "(SELECT 1 FROM version v WHERE v.resource = r.id AND "
                       "v.ver = r.ver)"),
        0);
    assert_int_equal(
        world_count(w,
                    "SELECT count(*) FROM episode e WHERE NOT EXISTS (SELECT "
                    "1 FROM access a WHERE a.id = e.access)"),
        0);
    /* and the other is watched on */
    assert_int_equal(world_post(w, flow(false, 20, "2300")), 201);
    world_review(w);
    assert_true(world_tasks(w, NULL, NULL) >= 1);
}

static void that_it_was_done_is_kept_and_a_late_copy_is_seen(void **state)
{
    struct world *w = *state;
    struct erase_rows rows;
    struct buf list;

    set_up(w);
    erase(w, &rows);
    buf_init(&list, 65536);
    assert_int_equal(patient_erased_list(w->db, &list), ERR_OK);
    assert_non_null(strstr(list.data, "Records office: request 17"));
    assert_null(strstr(list.data, "HERE AGAIN"));
    buf_empty(&list);
    /* a copy that somebody had kept: it is taken, since the person may be
     * treated again, and shown */
    assert_int_equal(world_put(w, "mark-pat", marked_patient), 201);
    assert_int_equal(patient_erased_list(w->db, &list), ERR_OK);
    assert_non_null(strstr(list.data, "HERE AGAIN"));
    buf_clear(&list);
}

/* Between the stages somebody else's data was collected: nothing of theirs may
 * go. */
static void a_collection_of_another_is_never_removed(void **state)
{
    struct world *w = *state;
    struct patient_names *names = calloc(1, sizeof(*names));
    struct erase_sift sift = { .mark = 7, .names = names };
    struct erase_rows rows;
    int64_t other = 0;
    bool more = true;

    assert_non_null(names);
    set_up(w);
    assert_int_equal(patient_whole_find(w->db, "MARKNUM", &sift.patient),
                     ERR_OK);
    while (more)
        assert_int_equal(patient_erase_sift(w->db, &sift, &more), ERR_OK);
    assert_int_equal(patient_whole_find(w->db, "OTHERNUM", &other), ERR_OK);
    assert_int_equal(patient_whole_collect(w->db, other, 0), ERR_OK);
    rows = (struct erase_rows){ .patient = sift.patient,
                                .who = "a",
                                .why = "b",
                                .mark = 7,
                                .now_ms = world_now_ms(),
                                .since_ms = world_now_ms() };
    assert_int_equal(patient_erase_rows(w->db, &rows), ERR_CONFLICT);
    assert_int_equal(world_count(w, "SELECT count(*) FROM patient"), 2);
    free(names);
}

/* ---- giving out ------------------------------------------------------------------ */

static void all_that_is_kept_is_given_out(void **state)
{
    struct world *w = *state;
    struct patient_export export = { .base = BASE, .zone = w->zone };
    struct buf out;
    size_t lines = 0, types = 0;
    static const char *const want[] = { "Patient",     "BodyStructure",
                                        "Observation", "Task",
                                        "Provenance",  "Binary" };
    bool seen[COUNT(want)] = { false };

    set_up(w);
    buf_init(&out, (size_t)8 * 1024 * 1024);
    assert_int_equal(patient_export(w->db, "MARKNUM", &export, &out), ERR_OK);
    for (char *line = out.data; *line != '\0'; lines++) {
        char *end = strchr(line, '\n');
        json_t *json;

        assert_non_null(end);
        json = json_loadb(line, (size_t)(end - line), JSON_REJECT_DUPLICATES,
                          NULL);
        assert_non_null(json);
        for (size_t i = 0; i < COUNT(want); i++) {
            if (strcmp(json_string_value(json_object_get(json, "resourceType")),
                       want[i]) == 0)
                seen[i] = true;
        }
        json_decref(json);
        line = end + 1;
    }
    assert_int_equal(lines, export.lines);
    for (size_t i = 0; i < COUNT(want); i++) {
        ROW(want[i]);
        assert_true(seen[i]);
        types++;
    }
    for (size_t i = 0; i < COUNT(markers); i++)
        assert_non_null(strstr(out.data, markers[i]));
    /* both versions of what was corrected, and nothing of the other */
    assert_non_null(strstr(out.data, "2310"));
    assert_null(strstr(out.data, "OTHERNUM"));
    assert_null(strstr(out.data, "2320"));
    buf_clear(&out);
}

static void nobody_and_more_than_one_are_told_apart(void **state)
{
    struct world *w = *state;
    int64_t patient = 0;

    assert_int_equal(world_put(w, "p-a",
                               "{\"resourceType\":\"Patient\",\"identifier\":"
                               "[{\"system\":\"urn:a\",\"value\":\"17\"}]}"),
                     201);
    assert_int_equal(world_put(w, "p-b",
                               "{\"resourceType\":\"Patient\",\"identifier\":"
                               "[{\"system\":\"urn:b\",\"value\":\"17\"}]}"),
                     201);
    assert_int_equal(patient_whole_find(w->db, "18", &patient), ERR_ABSENT);
    assert_int_equal(patient_whole_find(w->db, "17", &patient), ERR_AMBIGUOUS);
    assert_int_equal(patient_whole_find(w->db, "urn:b|17", &patient), ERR_OK);
    assert_int_equal(patient_whole_find(w->db, "Patient/p-b", &patient),
                     ERR_OK);
}

/* ---- names ------------------------------------------------------------------------ */

static void a_number_is_a_name_only_where_names_stand(void **state)
{
    static const struct {
        const char *text;
        bool found;
    } rows[] = {
        { "{\"value\":\"1001\"}", true },
        { "{\"value\" : \"1001\"}", true },
        { "{\"id\":\"1001\"}", true },
        { "{\"reference\":\"Patient/1001\"}", true },
        { "{\"reference\":\"https://h.example/fhir/Patient/1001\"}", true },
        { "{\"url\":\"Patient/1001/_history/2\"}", true },
        { "PID|1||1001^^^^MR\r", true },
        { "MSH|a\rPID|1||7^^^^X~1001^^^^MR|\r", true },
        { "{\"value\":1001}", false },
        { "{\"code\":\"1001\"}", false },
        { "{\"value\":\"11001\"}", false },
        { "{\"value\":\"10012\"}", false },
        { "OBX|1|NM|f||1001|mL/min\r", false },
        { "MSH|^~\\&|1001|x\rPID|1||7\r", false },
        { "", false },
    };
    struct patient_names *names = calloc(1, sizeof(*names));

    (void)state;
    assert_non_null(names);
    names->count = 1;
    snprintf(names->names[0], sizeof(names->names[0]), "1001");
    for (size_t i = 0; i < COUNT(rows); i++) {
        ROW(rows[i].text);
        assert_int_equal(
            patient_names_in(names, rows[i].text, strlen(rows[i].text)),
            rows[i].found);
    }
    free(names);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(nothing_of_the_patient_is_left,
                                        world_start, world_stop),
        cmocka_unit_test_setup_teardown(
            the_file_is_sound_and_no_row_points_into_nothing, world_start,
            world_stop),
        cmocka_unit_test_setup_teardown(
            that_it_was_done_is_kept_and_a_late_copy_is_seen, world_start,
            world_stop),
        cmocka_unit_test_setup_teardown(
            a_collection_of_another_is_never_removed, world_start, world_stop),
        cmocka_unit_test_setup_teardown(all_that_is_kept_is_given_out,
                                        world_start, world_stop),
        cmocka_unit_test_setup_teardown(nobody_and_more_than_one_are_told_apart,
                                        world_start, world_stop),
        cmocka_unit_test(a_number_is_a_name_only_where_names_stand),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
