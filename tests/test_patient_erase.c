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
#include "service/patient_sought.h"
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

/* ---- who sends HL7 v2 ------------------------------------------------------- */

/* The number of "north" is the system of the patients below; that of "south"
 * is another one. */
static struct hl7_senders *senders;

static int open_senders(void **state)
{
    static const char *const settings[] = {
        "sender north.application=M",
        "sender north.patient_system=" IDS "patient",
        "sender south.application=S",
        "sender south.patient_system=" IDS "south",
    };
    static struct config config;
    struct buf why;
    enum err e;

    (void)state;
    buf_init(&why, 1024);
    e = config_load(NULL, settings, COUNT(settings), &config, &why);
    if (e == ERR_OK)
        e = hl7_senders_open(&config, &senders, &why);
    if (e != ERR_OK)
        print_error("%s\n", why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
    return e == ERR_OK ? 0 : -1;
}

static int close_senders(void **state)
{
    (void)state;
    hl7_senders_close(senders);
    return 0;
}

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

static int64_t add_message_of(struct world *w, const char *source,
                              const char *control, const char *text)
{
    unsigned char digest[32] = { (unsigned char)control[1] };
    struct buf body;
    int64_t id = 0;

    buf_init(&body, 4096);
    assert_int_equal(db_new_id(w->db, &id), ERR_OK);
    assert_int_equal(pack(text, strlen(text), &body), ERR_OK);
    assert_int_equal(db_run(w->db, Q_HL7_ADD, "iiissssbiib", id, id % 1024,
                            world_now_ms(), source, "M", "N", control,
                            (const void *)digest, sizeof(digest), INT64(0),
                            INT64(strlen(text)), (const void *)body.data,
                            body.len),
                     ERR_OK);
    buf_clear(&body);
    return id;
}

static int64_t add_message(struct world *w, const char *control,
                           const char *text)
{
    return add_message_of(w, "north", control, text);
}

/* The message stands in quarantine, as the intake puts it there. */
static void quarantine_message(struct world *w, int64_t message,
                               const char *patient)
{
    const struct quarantine_row row = { .at_ms = world_now_ms(),
                                        .way = QUARANTINE_HL7,
                                        .source = "north",
                                        .kind = FHIR_OTHER,
                                        .reason = "bad-value",
                                        .patient = patient,
                                        .message = message };
    int64_t id = 0;

    assert_int_equal(quarantine_add(w->db, &row, &id), ERR_OK);
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
    quarantine_message(w, add_message(w, "C1", pid), "MARKNUM");
    add_message(w, "C2", other_pid);
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
    struct patient_names names = { .list = NULL };
    const struct seeking seeking = {
        .db = w->db, .names = &names, .senders = senders, .base = BASE
    };
    struct erase_sift sift = {
        .mark = 7, .names = &names, .senders = senders, .base = BASE
    };
    bool more = true, told = false;

    assert_int_equal(patient_whole_find(w->db, "MARKNUM", &sift.patient),
                     ERR_OK);
    while (more)
        assert_int_equal(patient_erase_sift(w->db, &sift, &more), ERR_OK);
    assert_int_equal(patient_erase_sift_rest(w->db, &sift), ERR_OK);
    *rows = (struct erase_rows){ .patient = sift.patient,
                                 .who = "Records office",
                                 .why = "request 17",
                                 .now_ms = world_now_ms(),
                                 .mark = 7,
                                 .since_ms = world_now_ms(),
                                 .seeking = &seeking };
    assert_int_equal(patient_erase_rows(w->db, rows), ERR_OK);
    assert_int_equal(unit_list_keep(w->db, &lists, true, &told), ERR_OK);
    assert_int_equal(patient_erase_lists(&seeking), ERR_OK);
    patient_names_free(&names);
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
    for (size_t k = 0; k < LEFT_KINDS; k++)
        assert_int_equal(rows.left.counts[k], 0);
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
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM term t WHERE NOT EXISTS (SELECT 1 "
                       "FROM search_term s WHERE s.term = t.id) AND NOT EXISTS "
                       "(SELECT 1 FROM identifier_term i WHERE i.term = t.id)"),
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
    struct patient_names names = { .list = NULL };
    struct erase_sift sift = { .mark = 7, .names = &names };
    struct erase_rows rows;
    int64_t other = 0;
    bool more = true;

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
    patient_names_free(&names);
}

/* ---- giving out ------------------------------------------------------------------ */

static void all_that_is_kept_is_given_out(void **state)
{
    struct world *w = *state;
    struct patient_export export = { .base = BASE,
                                     .zone = w->zone,
                                     .senders = senders };
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

#define SYS IDS "patient"
/* \X39303031\ is "9001" in hexadecimal (HL7 v2.5.1, 2.7.3); \u0030 is "0" (RFC
 * 8259, 7), %7C is "|" and %39 is "9" (RFC 3986, 2.1). */
#define V2(rest) "MSH|^~\\&|M|N|H||20260306||ORU^R01|C|P|2.5.1\r" rest "\r"

static const struct {
    const char *text;
    enum sought how;
    bool others;
} named[] = {
    /* by system and number, or by reference */
    { "{\"system\":\"" SYS "\",\"value\":\"9001\"}", SOUGHT_SURE, false },
    { "{\"value\" : \"90\\u00301\", \"system\":\"" SYS "\"}", SOUGHT_SURE,
      false },
    { "{\"subject\":{\"reference\":\"Patient/p1\"}}", SOUGHT_SURE, false },
    { "{\"subject\":{\"reference\":\"" BASE "/Patient/p1\"}}", SOUGHT_SURE,
      false },
    { "{\"url\":\"Patient/p1/_history/2\"}", SOUGHT_SURE, false },
    { "{\"resourceType\":\"Patient\",\"id\":\"p1\"}", SOUGHT_SURE, false },
    { "{\"reference\":\"Patient\\/p1\"}", SOUGHT_SURE, false },
    { "{\"reference\":\"Patient?identifier=https:%2F%2Fsite.example/ids/"
      "patient%7C9001\"}",
      SOUGHT_SURE, false },
    { "{\"reference\":\"Patient?identifier=" SYS "|%39001\"}", SOUGHT_SURE,
      false },
    { "{\"url\":\"Observation?patient.identifier=x|1," SYS "%7C9001\"}",
      SOUGHT_SURE, false },
    { "{\"url\":\"Observation?subject=Patient%2Fp1&code=x\"}", SOUGHT_SURE,
      false },
    { "{\"ifNoneExist\":\"identifier=" SYS "|9001\"}", SOUGHT_SURE, false },
    { V2("PID|1||9001^^^^MR"), SOUGHT_SURE, false },
    { V2("PID|1||7^^^^X~9001^^^^MR"), SOUGHT_PERHAPS, false },
    { V2("PID|1||\\X39303031\\^^^HALL-D^MR"), SOUGHT_SURE, false },
    { "MSH#^~\\&#M#N#H##20260306##ORU^R01#C#P#2.5.1\r"
      "PID#1##9001^^^HALL-D^MR\r",
      SOUGHT_SURE, false },
    { "MSH$*!?%$M$N$H$$20260306$$ORU*R01$C$P$2.5.1\r"
      "PID$1$$ ?X39303031? ***HALL-D*MR\r",
      SOUGHT_SURE, false },
    { V2("PID|1||9001\rOBX|1|NM|f||1\rPID|2||OTHER\rOBX|1|NM|f||1"),
      SOUGHT_SURE, true },
    /* the number alone, where a person is named */
    { "{\"subject\":{\"identifier\":{\"value\":\"9001\"}}}", SOUGHT_PERHAPS,
      false },
    { "{\"resourceType\":\"Patient\",\"identifier\":[{\"system\":\"urn:x\","
      "\"value\":\"9001\"}]}",
      SOUGHT_PERHAPS, false },
    { "{\"reference\":\"Patient?identifier=9001\"}", SOUGHT_PERHAPS, false },
    { "{\"reference\":\"https://h.example/fhir/Patient/p1\"}", SOUGHT_PERHAPS,
      false },
    { V2("PID|1|9001"), SOUGHT_PERHAPS, false },
    /* what has no form */
    { "{\"half\":\"9001", SOUGHT_PERHAPS, false },
    { "{\"half\":\"90\\u00301\",", SOUGHT_PERHAPS, false },
    { "MSH|^~\\&|M|N|H||1||ORU^R01|C|P|2.5.1||||||NO SUCH SET\r"
      "PID|1||\\X39303031\\\r",
      SOUGHT_PERHAPS, false },
    /* another's, or nobody's */
    { "{\"subject\":{\"identifier\":{\"system\":\"urn:b\",\"value\":\"9001\"}}"
      "}",
      SOUGHT_NOT, false },
    { "{\"identifier\":[{\"system\":\"urn:o\",\"value\":\"9001\"}]}",
      SOUGHT_NOT, false },
    { "{\"valueQuantity\":{\"value\":9001}}", SOUGHT_NOT, false },
    { "{\"code\":\"9001\"}", SOUGHT_NOT, false },
    { "{\"system\":\"" SYS "\",\"value\":\"19001\"}", SOUGHT_NOT, false },
    { "{\"half\":\"90012", SOUGHT_NOT, false },
    { "{\"reference\":\"Patient/p10\"}", SOUGHT_NOT, false },
    { "{\"reference\":\"Group/p1\"}", SOUGHT_NOT, false },
    { V2("PID|1||7\rOBX|1|NM|f||9001|mL/min"), SOUGHT_NOT, true },
    { "MSH|^~\\&|9001|x\rPID|1||7\r", SOUGHT_NOT, true },
    { "", SOUGHT_NOT, false },
};

static void a_patient_is_named_by_system_and_number(void **state)
{
    struct world *w = *state;
    struct patient_names names = { .list = NULL };
    const struct seeking seeking = {
        .db = w->db, .names = &names, .senders = senders, .base = BASE
    };

    /* somebody else of the same number in another system */
    assert_int_equal(world_put(w, "p-b",
                               "{\"resourceType\":\"Patient\",\"identifier\":"
                               "[{\"system\":\"urn:b\",\"value\":\"9001\"}]}"),
                     201);
    assert_int_equal(patient_names_add(&names, "i:" SYS "|9001"), ERR_OK);
    assert_int_equal(patient_names_add(&names, "r:Patient/p1"), ERR_OK);
    patient_names_sort(&names);
    for (size_t i = 0; i < COUNT(named); i++) {
        struct found found;

        ROW(named[i].text);
        assert_int_equal(patient_sought(&seeking, "north", named[i].text,
                                        strlen(named[i].text), &found),
                         ERR_OK);
        assert_int_equal(found.how, named[i].how);
        assert_int_equal(found.others, named[i].others);
        assert_int_equal(found.apart,
                         named[i].others && named[i].how == SOUGHT_SURE);
    }
    patient_names_free(&names);
}

/* ---- hidden, and of others ---------------------------------------------------------- */

/* Other delimiters and escapes, in messages that stand in quarantine and of
 * which nothing was taken; the item is found by the number that it shows. */
static void no_form_of_a_message_hides_the_patient(void **state)
{
    struct world *w = *state;
    struct erase_rows rows;

    set_up(w);
    quarantine_message(w,
                       add_message(w, "X1",
                                   "MSH#^~\\&#M#N#H##20260306##ORU^R01#X1#P#2."
                                   "5.1\rPID#1##MARKNUM^^^^MR##MARKFAMILY\r"),
                       "MARKNUM");
    /* "MARKNUM" */
    quarantine_message(
        w,
        add_message(w, "X2",
                    V2("PID|1||\\X4D41524B4E554D\\^^^^MR||MARKFAMILY")),
        "MARKNUM");
    add_item(w, NULL,
             "{\"subject\":{\"reference\":\"Patient?identifier=" IDS
             "patient%7CMARK\\u004eUM\",\"display\":\"MARKFAMILY\"}}");
    erase(w, &rows);
    assert_int_equal(rows.counts[ERASE_MESSAGES], 3);
    assert_int_equal(rows.counts[ERASE_ITEMS], 5);
    assert_int_equal(rows.left.counts[LEFT_ITEMS], 0);
    assert_int_equal(in_bytes(w, "MARKFAMILY"), 0);
    assert_int_equal(in_all_bodies(w, "MARKFAMILY"), 0);
    assert_int_equal(world_count(w, "SELECT count(*) FROM hl7_message"), 1);
}

/* The number of a person of "south", who is not known here but for what stands
 * in quarantine; one that cannot
 * be read; one of a sender whose section is gone; and one in which the other is,
 * too, and whose the rest is is not sure. */
static void what_may_be_of_another_is_left_and_told(void **state)
{
    static const char both[] =
        V2("PID|1||MARKNUM\rOBX|1|NM|f||1\rPID|2||BOTHNUM\rOBX|1|NM|f||1\r"
           "PID|3|MARKNUM");
    struct world *w = *state;
    struct erase_rows rows;

    set_up(w);
    quarantine_message(
        w, add_message_of(w, "south", "S1", V2("PID|1||MARKNUM||SOUTHFAMILY")),
        "MARKNUM");
    quarantine_message(w, add_message(w, "T1", both), "MARKNUM / BOTHNUM");
    add_item(w, NULL, "{\"half\":\"MARKNUM");
    add_message_of(w, "gone", "G1", V2("PID|1||MARKNUM||GONEFAMILY"));
    erase(w, &rows);
    assert_int_equal(rows.counts[ERASE_MESSAGES], 1);
    assert_int_equal(rows.counts[ERASE_ITEMS], 2);
    assert_int_equal(rows.left.counts[LEFT_ITEMS], 3);
    assert_int_equal(rows.left.counts[LEFT_MESSAGES], 1);
    assert_int_equal(in_all_bodies(w, "SOUTHFAMILY"), 1);
    assert_int_equal(in_all_bodies(w, "BOTHNUM"), 1);
    assert_int_equal(in_all_bodies(w, "GONEFAMILY"), 1);
    /* what is told is what a person can look at */
    for (int64_t i = 0; i < rows.left.counts[LEFT_ITEMS]; i++) {
        char sql[96];

        snprintf(sql, sizeof(sql),
                 "SELECT count(*) FROM quarantine WHERE id = %lld",
                 (long long)rows.left.ids[LEFT_ITEMS][i]);
        assert_int_equal(world_count(w, sql), 1);
    }
    assert_int_equal(
        world_count(w, "SELECT instr(counts, '\"left\":4') > 0 FROM erased"),
        1);
}

/* Of a message with several patients each keeps the own part, byte for byte. */
static void a_message_of_several_is_cut(void **state)
{
    static const char several[] =
        V2("PID|1||BOTHNUM\rOBX|1|NM|f||1\rPID|2||MARKNUM||MARKFAMILY\r\n"
           "OBX|1|TX|f||MARKNOTE\nNTE|1||MARKNOTE\rPID|3||THIRDNUM\rOBX|1");
    static const char others[] =
        V2("PID|1||BOTHNUM\rOBX|1|NM|f||1\rPID|3||THIRDNUM\rOBX|1");
    struct world *w = *state;
    struct erase_rows rows;

    set_up(w);
    quarantine_message(w, add_message(w, "T1", several),
                       "BOTHNUM / MARKNUM / THIRDNUM");
    erase(w, &rows);
    assert_int_equal(rows.counts[ERASE_MESSAGES], 2);
    assert_int_equal(rows.left.counts[LEFT_ITEMS], 0);
    for (size_t i = 0; i < COUNT(markers); i++) {
        ROW(markers[i]);
        assert_int_equal(in_bytes(w, markers[i]), 0);
        assert_int_equal(in_all_bodies(w, markers[i]), 0);
    }
    assert_int_equal(in_all_bodies(w, others), 1);
}

/* "1" is a number of this patient, and stands everywhere. */
static void a_short_number_takes_nothing_of_others(void **state)
{
    struct world *w = *state;
    struct erase_rows rows;

    set_up(w);
    assert_int_equal(
        world_count(w, "INSERT INTO patient_alias SELECT 'i:urn:short|1', "
                       "patient FROM patient_alias WHERE alias = "
                       "'r:Patient/mark-pat' RETURNING 0"),
        0);
    assert_int_equal(
        world_count(w, "INSERT INTO dropped_line VALUES(1, 10, 0, "
                       "'{\"issue\":[{\"diagnostics\":\"a.ndjson, line 1\"}]}')"
                       " RETURNING 0"),
        0);
    assert_int_equal(
        world_count(w, "INSERT INTO dropped_line VALUES(1, 20, 0, "
                       "'{\"issue\":[{\"diagnostics\":\"Patient/mark-pat\"}]}')"
                       " RETURNING 0"),
        0);
    assert_int_equal(
        world_count(w, "INSERT INTO tally VALUES(1, 's', 0, 'r', 'w', 'p', "
                       "'u', 1, 1, 1, 1, 'msg-1') RETURNING 0"),
        0);
    add_item(w, NULL,
             "{\"subject\":{\"identifier\":{\"system\":\"urn:b\",\"value\":"
             "\"1\"}},\"note\":\"OTHERNOTE\"}");
    erase(w, &rows);
    assert_int_equal(world_count(w, "SELECT count(*) FROM dropped_line"), 1);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM tally WHERE sample = 'msg-1'"), 1);
    assert_int_equal(in_all_bodies(w, "OTHERNOTE"), 1);
    assert_int_equal(in_all_bodies(w, "MARKNUM"), 0);
}

/* However many names a patient has: each is removed, and each is recognised. */
static void a_patient_of_many_names_can_be_removed(void **state)
{
    struct world *w = *state;
    struct erase_rows rows;

    set_up(w);
    assert_int_equal(
        world_count(
            w, "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n "
               "WHERE i < 200) INSERT INTO patient_alias SELECT 'i:urn:m|M' || "
               "i, (SELECT patient FROM patient_alias WHERE alias = "
               "'r:Patient/mark-pat') FROM n RETURNING 0"),
        0);
    add_item(w, NULL,
             "{\"subject\":{\"identifier\":{\"system\":\"urn:m\",\"value\":"
             "\"M200\"},\"display\":\"MARKFAMILY\"}}");
    erase(w, &rows);
    assert_int_equal(in_all_bodies(w, "MARKFAMILY"), 0);
    /* 200, the number and the reference */
    assert_int_equal(world_count(w, "SELECT count(*) FROM erased_key"), 202);
    assert_int_equal(world_count(w, "SELECT count(*) FROM patient_alias "
                                    "WHERE alias LIKE 'i:urn:m|%'"),
                     0);
}

/* What a person has to look at is named; nothing else finds it afterwards. */
static void what_was_left_is_listed(void **state)
{
    static struct erase_rows rows; /* large */
    struct buf out;

    (void)state;
    for (int64_t i = 0; i < LEFT_LISTED_MAX; i++)
        rows.left.ids[LEFT_ITEMS][i] = i + 100000;
    for (int more = 0; more <= 3; more += 3) {
        rows.left.counts[LEFT_ITEMS] = LEFT_LISTED_MAX + more;
        buf_init(&out, 65536);
        patient_erase_say(&rows, &out);
        assert_int_equal(buf_ok(&out), ERR_OK);
        assert_non_null(strstr(out.data, " 100000 100001 "));
        assert_non_null(
            strstr(out.data, more == 0 ? " 100999\n" : " 100999 and 3 more\n"));
        buf_clear(&out);
    }
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
        cmocka_unit_test_setup_teardown(a_patient_is_named_by_system_and_number,
                                        world_start, world_stop),
        cmocka_unit_test_setup_teardown(no_form_of_a_message_hides_the_patient,
                                        world_start, world_stop),
        cmocka_unit_test_setup_teardown(what_may_be_of_another_is_left_and_told,
                                        world_start, world_stop),
        cmocka_unit_test_setup_teardown(a_message_of_several_is_cut,
                                        world_start, world_stop),
        cmocka_unit_test_setup_teardown(a_short_number_takes_nothing_of_others,
                                        world_start, world_stop),
        cmocka_unit_test(what_was_left_is_listed),
        cmocka_unit_test_setup_teardown(a_patient_of_many_names_can_be_removed,
                                        world_start, world_stop),
    };

    return cmocka_run_group_tests(tests, open_senders, close_senders);
}
