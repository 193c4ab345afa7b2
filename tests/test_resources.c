#include "service/pack.h"
#include "tests/service_world.h"
#include "tests/test.h"

/* ---- pack ----------------------------------------------------------------- */

static void what_is_packed_comes_back(void **state)
{
    static char data[300000];
    static const size_t sizes[] = { 0, 1, 2, 255, 4096, sizeof(data) };
    uint32_t random = 1;

    (void)state;
    for (size_t i = 0; i < sizeof(data); i++) {
        random = random * 1664525u + 1013904223u;
        /* half of it text that repeats, half of it noise with NUL bytes */
        data[i] = i < sizeof(data) / 2 ? "access-flow "[i % 12]
                                       : (char)(random >> 24);
    }
    for (size_t i = 0; i < COUNT(sizes); i++) {
        struct buf packed, out;

        buf_init(&packed, 1 << 20);
        buf_init(&out, 1 << 20);
        buf_puts(&out, "before");
        assert_int_equal(pack(data, sizes[i], &packed), ERR_OK);
        assert_int_equal(unpack(packed.data, packed.len, sizes[i], &out),
                         ERR_OK);
        assert_int_equal(out.len, 6 + sizes[i]);
        assert_memory_equal(out.data, "before", 6);
        assert_memory_equal(out.data + 6, data, sizes[i]);
        buf_clear(&packed);
        buf_clear(&out);
    }
}

static void an_observation_gets_small(void **state)
{
    const char *json = OBS(.identifier = "QA-2026-000123", .value = "2150",
                           .access = "BodyStructure/acc-7");
    struct buf packed;

    (void)state;
    buf_init(&packed, 4096);
    assert_int_equal(pack(json, strlen(json), &packed), ERR_OK);
    assert_true(packed.len * 3 < strlen(json));
    buf_clear(&packed);
}

static void what_is_damaged_is_refused(void **state)
{
    static const char text[] = "{\"resourceType\":\"Observation\"}";
    struct buf packed, out;

    (void)state;
    buf_init(&packed, 4096);
    buf_init(&out, 4096);
    assert_int_equal(pack(text, sizeof(text), &packed), ERR_OK);
    assert_int_equal(unpack(packed.data, 0, sizeof(text), &out), ERR_FORM);
    assert_int_equal(unpack(packed.data, packed.len - 1, sizeof(text), &out),
                     ERR_FORM);
    /* another length than was packed, either way */
    assert_int_equal(unpack(packed.data, packed.len, sizeof(text) - 1, &out),
                     ERR_FORM);
    assert_int_equal(unpack(packed.data, packed.len, sizeof(text) + 1, &out),
                     ERR_FORM);
    packed.data[0] = 2; /* a dictionary that does not exist */
    assert_int_equal(unpack(packed.data, packed.len, sizeof(text), &out),
                     ERR_FORM);
    packed.data[0] = 1;
    packed.data[3] ^= 0x55;
    assert_int_not_equal(unpack(packed.data, packed.len, sizeof(text), &out),
                         ERR_OK);
    assert_int_equal(out.len, 0); /* nothing was written on an error */
    buf_clear(&packed);
    buf_clear(&out);
}

static void the_ceiling_holds(void **state)
{
    static const char text[] = "{\"resourceType\":\"Observation\"}";
    struct buf packed, out;

    (void)state;
    buf_init(&packed, 4096);
    buf_init(&out, sizeof(text));
    assert_int_equal(pack(text, sizeof(text), &packed), ERR_OK);
    assert_int_equal(unpack(packed.data, packed.len, sizeof(text), &out),
                     ERR_OK);
    assert_int_equal(unpack(packed.data, packed.len, sizeof(text), &out),
                     ERR_LIMIT);
    buf_clear(&packed);
    buf_clear(&out);
}

/* ---- identity and versions ------------------------------------------------ */

static void put_ours(struct world *w, struct resource *r, const char *ident,
                     const char *json, int64_t now_ms)
{
    struct new_version v = { .body = json, .len = strlen(json) };

    assert_int_equal(resource_put(w->db, r, ident, 0, now_ms, &v), ERR_OK);
}

static void assert_body(struct world *w, const struct resource *r, int version,
                        const char *want, int64_t want_ms)
{
    struct buf out;
    int64_t updated_ms = 0;

    buf_init(&out, 1 << 16);
    assert_int_equal(resource_body(w->db, r, version, &out, &updated_ms),
                     ERR_OK);
    assert_string_equal(out.data, want);
    assert_int_equal(updated_ms, want_ms);
    buf_clear(&out);
}

static void versions_are_counted_and_kept(void **state)
{
    struct world *w = world(state);
    struct resource r = { .kind = FHIR_TASK, .fid = "t1" }, found;
    struct buf out;
    int64_t updated_ms;

    assert_int_equal(resource_by_fid(w->db, FHIR_TASK, "t1", &found),
                     ERR_ABSENT);
    put_ours(w, &r, "key", "{\"a\":1}", 5000);
    assert_true(r.id > 0);
    assert_int_equal(r.version, 1);
    put_ours(w, &r, NULL, "{\"a\":2}", 6000);
    put_ours(w, &r, NULL, "{\"a\":3}", 2000); /* the clock went back */
    assert_int_equal(r.version, 3);
    assert_int_equal(r.updated_ms, 6001);
    assert_body(w, &r, 1, "{\"a\":1}", 5000);
    assert_body(w, &r, 2, "{\"a\":2}", 6000);
    assert_body(w, &r, 0, "{\"a\":3}", 6001);
    buf_init(&out, 100);
    assert_int_equal(resource_body(w->db, &r, 4, &out, &updated_ms),
                     ERR_ABSENT);
    buf_clear(&out);

    assert_int_equal(resource_by_fid(w->db, FHIR_TASK, "t1", &found), ERR_OK);
    assert_int_equal(found.id, r.id);
    assert_int_equal(found.version, 3);
    assert_int_equal(resource_by_ident(w->db, FHIR_TASK, "key", &found),
                     ERR_OK);
    assert_string_equal(found.fid, "t1");
    assert_int_equal(resource_get(w->db, r.id, &found), ERR_OK);
    assert_int_equal(found.kind, FHIR_TASK);
    /* another type is another space of names */
    assert_int_equal(resource_by_fid(w->db, FHIR_PATIENT, "t1", &found),
                     ERR_ABSENT);
    assert_int_equal(resource_by_ident(w->db, FHIR_PATIENT, "key", &found),
                     ERR_ABSENT);
}

static void two_of_one_id_cannot_be(void **state)
{
    struct world *w = world(state);
    struct resource a = { .kind = FHIR_TASK, .fid = "t1" };
    struct resource b = { .kind = FHIR_TASK, .fid = "t1" };
    struct new_version v = { .body = "{}", .len = 2 };

    put_ours(w, &a, NULL, "{}", 1);
    assert_int_not_equal(resource_put(w->db, &b, NULL, 0, 1, &v), ERR_OK);
}

static void identifiers_may_be_ambiguous(void **state)
{
    struct world *w = world(state);
    struct resource r;
    struct buf system, value;
    char first[FID_SIZE];

    assert_int_equal(world_post(w, OBS(.identifier = "1", .value = "900")),
                     201);
    snprintf(first, sizeof(first), "%s", world_fid(w, 0));
    assert_int_equal(
        resource_by_identifier(w->db, FHIR_OBSERVATION, IDS "obs", "1", &r),
        ERR_OK);
    assert_string_equal(r.fid, first);
    assert_int_equal(
        resource_by_identifier(w->db, FHIR_OBSERVATION, IDS "other", "1", &r),
        ERR_ABSENT);
    buf_init(&system, 100);
    buf_init(&value, 100);
    assert_int_equal(resource_first_identifier(w->db, r.id, &system, &value),
                     ERR_OK);
    assert_string_equal(system.data, IDS "obs");
    assert_string_equal(value.data, "1");
    buf_clear(&system);
    buf_clear(&value);
    /* some senders give one number to all results of a session */
    assert_int_equal(world_post(w, OBS(.identifier = "1", .value = "12",
                                       .code = "recirculation", .unit = "%")),
                     201);
    assert_int_equal(
        resource_by_identifier(w->db, FHIR_OBSERVATION, IDS "obs", "1", &r),
        ERR_AMBIGUOUS);
}

static void our_ids_are_ids_of_fhir(void **state)
{
    char a[FID_SIZE], b[FID_SIZE];

    (void)state;
    new_fid(a);
    new_fid(b);
    assert_int_equal(strlen(a), 32);
    assert_true(fhir_is_id(a));
    assert_string_not_equal(a, b);
    assert_int_equal(partition_of(1), 1);
    assert_int_equal(partition_of(1024 + 7), 7);
}

/* ---- served back ---------------------------------------------------------- */

static void assert_served(struct world *w, enum fhir_type kind, const char *fid,
                          int version, const char *want)
{
    struct resource r;
    struct buf out;
    int64_t updated_ms;

    buf_init(&out, 1 << 16);
    assert_int_equal(resource_by_fid(w->db, kind, fid, &r), ERR_OK);
    assert_int_equal(
        resource_served(w->db, BASE, &r, version, &out, &updated_ms), ERR_OK);
    assert_string_equal(out.data, want);
    buf_clear(&out);
}

/* Blanks, an order of its own, escapes, and decimals as they were written. */
#define ODD(value)                                                             \
    "\"status\" :  \"final\",\"code\":{\"coding\":[{\"code\":\"access-flow\"," \
    "\"system\":\"" OBS_CODES "\"}],\"text\":\"Fl\\u00fcsse\\n\"},"            \
    "\"subject\":{\n\"reference\":\"Patient/p-1\" },"                          \
    "\"effectiveDateTime\":\"2026-03-04T09:30:00.1230+01:00\","                \
    "\"valueQuantity\":{\"value\":" value ",\"unit\":\"mL/min\","              \
    "\"system\":\"http://unitsofmeasure.org\",\"code\":\"mL/min\"}"
#define META(version, time)                                                    \
    "\"meta\":{\"versionId\":\"" version "\",\"lastUpdated\":\"" time "\"}"

static void every_version_is_served_as_it_came(void **state)
{
    static const char *const values[] = { "2050.0", "1.2E+3", "1200.20" };
    static const char *const sent[] = {
        "{\"id\":\"o1\",\"resourceType\":\"Observation\"," ODD("2050.0") "}",
        "{\"resourceType\":\"Observation\",\"meta\":{\"versionId\":\"77\"},"
        "\"id\":\"o1\", " ODD("1.2E+3") "\n}",
        "\n{\"resourceType\":\"Observation\",\"id\":\"o1\"," ODD("1200.20") "}",
    };
    static const char *const served[] = {
        "{\"resourceType\":\"Observation\",\"id\":\"o1\"," META(
            "1", "2026-03-06T08:12:00.000Z") "," ODD("2050.0") "}",
        "{\"resourceType\":\"Observation\",\"id\":\"o1\"," META(
            "2", "2026-03-06T08:12:01.000Z") "," ODD("1.2E+3") "}",
        "{\"resourceType\":\"Observation\",\"id\":\"o1\"," META(
            "3", "2026-03-06T08:12:02.000Z") "," ODD("1200.20") "}",
    };
    struct world *w = world(state);

    for (size_t i = 0; i < COUNT(sent); i++) {
        ROW(values[i]);
        assert_int_equal(world_put(w, "o1", sent[i]), i == 0 ? 201 : 200);
        world_now_s++;
    }
    for (int i = 0; i < 3; i++)
        assert_served(w, FHIR_OBSERVATION, "o1", i + 1, served[i]);
    assert_served(w, FHIR_OBSERVATION, "o1", 0, served[2]);
}

/* Of a Bundle only its own part is served, under the id that we gave. */
static void an_entry_is_cut_out_of_its_bundle(void **state)
{
    struct world *w = world(state);
    char want[2048], fid[FID_SIZE];

    assert_int_equal(
        world_bundle(w,
                     "{\"resourceType\":\"Bundle\",\"type\":\"batch\","
                     "\"entry\":[{\"resource\":{\"resourceType\":"
                     "\"Observation\"," ODD(
                         "1.20") "},\"request\":{\"method\":\"POST\",\"url\":"
                                 "\"Observation\"}},{\"request\":{\"method\":"
                                 "\"POST\",\"url\":\"Observation\"},"
                                 "\"resource\":{\"resourceType\":"
                                 "\"Observation\",\"id\":\"theirs\"," ODD(
                                     "2050.0") "}}]}"),
        201);
    assert_int_equal(world_status(w, 1), 201);
    snprintf(fid, sizeof(fid), "%s", world_fid(w, 1));
    assert_string_not_equal(fid, "theirs");
    snprintf(want, sizeof(want),
             "{\"resourceType\":\"Observation\",\"id\":\"%s\",%s,%s}", fid,
             META("1", "2026-03-06T08:12:00.000Z"), ODD("2050.0"));
    assert_served(w, FHIR_OBSERVATION, fid, 0, want);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        cmocka_unit_test(what_is_packed_comes_back),
        cmocka_unit_test(an_observation_gets_small),
        cmocka_unit_test(what_is_damaged_is_refused),
        cmocka_unit_test(the_ceiling_holds),
        TEST(versions_are_counted_and_kept),
        TEST(two_of_one_id_cannot_be),
        TEST(identifiers_may_be_ambiguous),
        cmocka_unit_test(our_ids_are_ids_of_fhir),
        TEST(every_version_is_served_as_it_came),
        TEST(an_entry_is_cut_out_of_its_bundle),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
