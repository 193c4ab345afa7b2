/*
 * The list of a unit, from readings to a resource in a real store.
 *
 * Shape, codes and the rules lst-1 (a reason for being empty only where it is),
 * lst-2 (nothing deleted in a list that is worked on) and lst-3 (a date only in
 * such a list): HL7 FHIR R4 (4.0.1), List.  Whole Lists are checked against
 * independent validators in peers/queue.mjs.
 */
#include "adapters/fhir_list.h"
#include "service/patients.h"
#include "service/queue.h"
#include "service/unit_list.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <jansson.h>

enum { A_DAY = 86400 };

#define WEST "Corvane West"
#define EAST "Corvane East"

static void person_named(struct world *w, int n, const char *unit, int status)
{
    char json[512], id[16];

    snprintf(id, sizeof(id), "p-%d", n);
    snprintf(json, sizeof(json),
             "{\"resourceType\":\"Patient\",\"id\":\"%s\",\"identifier\":[{"
             "\"system\":\"" IDS "patient\",\"value\":\"%d\"}],\"name\":[{"
             "\"family\":\"Invented %d\"}],\"managingOrganization\":{"
             "\"display\":\"%s\"}}",
             id, 1000 + n, n, unit);
    assert_int_equal(world_put(w, id, json), status);
}

static void person(struct world *w, int n, const char *unit)
{
    char id[16], number[16], patient[32];

    person_named(w, n, unit, 201);
    snprintf(id, sizeof(id), "acc-%d", n);
    snprintf(number, sizeof(number), "A-%d", n);
    snprintf(patient, sizeof(patient), "Patient/p-%d", n);
    assert_int_equal(
        world_put(w, id,
                  ACC(.id = id, .identifier = number, .patient = patient)),
        201);
}

static void number(struct world *w, int n, const char *value, double ago_h)
{
    char patient[32], access[32];

    snprintf(patient, sizeof(patient), "Patient/p-%d", n);
    snprintf(access, sizeof(access), "BodyStructure/acc-%d", n);
    assert_int_equal(world_post(w, OBS(.value = value, .patient = patient,
                                       .access = access, .ago_h = ago_h)),
                     201);
    world_review(w);
}

static void high_flow(struct world *w, int n)
{
    number(w, n, "2240", 8 * DAYS);
    number(w, n, "2310", 0);
}

static void ulcer(struct world *w, int n)
{
    char patient[32], access[32];

    snprintf(patient, sizeof(patient), "Patient/p-%d", n);
    snprintf(access, sizeof(access), "BodyStructure/acc-%d", n);
    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "hand-ulcer",
                          .patient = patient, .access = access)),
        201);
    world_review(w);
}

/* A low finger pressure with a cold hand, once: to be measured again. */
static void finger(struct world *w, int n)
{
    char patient[32], access[32];

    snprintf(patient, sizeof(patient), "Patient/p-%d", n);
    snprintf(access, sizeof(access), "BodyStructure/acc-%d", n);
    assert_int_equal(
        world_post(w, OBS(.code = "hand-symptom", .sign = "coldness",
                          .patient = patient, .access = access)),
        201);
    assert_int_equal(world_post(w, OBS(.code = "digital-pressure",
                                       .value = "45", .unit = "mm[Hg]",
                                       .patient = patient, .access = access)),
                     201);
    world_review(w);
}

/* ---- looking ------------------------------------------------------------------ */

static bool keep_as(struct world *w, bool record, bool silent, bool anew)
{
    const struct unit_list_options o = { .base = BASE,
                                         .zone = w->zone,
                                         .record = record,
                                         .silent = silent,
                                         .now_ms = world_now_ms };
    bool told = false;

    assert_int_equal(unit_list_keep(w->db, &o, anew, &told), ERR_OK);
    return told;
}

static void keep(struct world *w)
{
    (void)keep_as(w, false, false, false);
}

/* The newest version of a unit's list; NULL: there is none. */
static json_t *list_of(struct world *w, const char *unit, int *version)
{
    struct resource r;
    struct buf out;
    int64_t updated_ms;
    json_t *root;
    enum err e = db_first(w->db, Q_UNIT_LIST_GET, "s", unit);

    if (version != NULL)
        *version = 0;
    if (e == ERR_ABSENT)
        return NULL;
    assert_int_equal(e, ERR_OK);
    assert_int_equal(resource_get(w->db, db_int(w->db, Q_UNIT_LIST_GET, 0), &r),
                     ERR_OK);
    db_done(w->db, Q_UNIT_LIST_GET);
    assert_int_equal(r.kind, FHIR_LIST);
    buf_init(&out, 1 << 20);
    assert_int_equal(resource_body(w->db, &r, 0, &out, &updated_ms), ERR_OK);
    root = json_loads(out.data, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(root);
    buf_clear(&out);
    if (version != NULL)
        *version = r.version;
    return root;
}

static const char *text_at(json_t *root, const char *path)
{
    char step[32];

    while (*path != '\0') {
        size_t len = strcspn(path, ".");

        snprintf(step, sizeof(step), "%.*s", (int)len, path);
        root = json_is_array(root)
                   ? json_array_get(root, (size_t)(step[0] - '0'))
                   : json_object_get(root, step);
        path += len + (path[len] == '.' ? 1 : 0);
    }
    return json_string_value(root);
}

static size_t entries_of(struct world *w, const char *unit)
{
    json_t *list = list_of(w, unit, NULL);
    size_t count = json_array_size(json_object_get(list, "entry"));

    json_decref(list);
    return count;
}

static int version_of(struct world *w, const char *unit)
{
    int version;

    json_decref(list_of(w, unit, &version));
    return version;
}

/* ---- what is on it -------------------------------------------------------------- */

static void says_who_why_and_since_when(void **state)
{
    static const struct {
        const char *path, *want;
    } facts[] = {
        { "resourceType", "List" },
        { "status", "current" },
        { "mode", "working" }, /* lst-3: its entries have dates */
        { "identifier.0.system", BASE "/NamingSystem/unit-list" },
        { "identifier.0.value", WEST },
        { "code.coding.0.system", BASE "/CodeSystem/av-task" },
        { "code.coding.0.code", "unit-list" },
        { "source.type", "Device" },
        { "orderedBy.coding.0.code", "priority" },
        { "entry.0.item.reference", "Patient/p-2" }, /* more urgent */
        { "entry.0.flag.coding.0.code", "hand-ischaemia" },
        { "entry.1.item.reference", "Patient/p-1" },
        { "entry.1.item.display", "Invented 1" },
        { "entry.1.flag.coding.0.system", BASE "/CodeSystem/av-task" },
        { "entry.1.flag.coding.0.code", "high-flow" },
        { "entry.1.date", "2026-03-06T08:12:00Z" },
        { "entry.2.item.reference", "Patient/p-4" }, /* to measure again */
        { "entry.2.flag.coding.0.code", "repeat-digital-pressure" },
        { "entry.2.date", "2026-03-06T08:12:00Z" },
    };
    struct world *w = world(state);
    json_t *list;

    person(w, 1, WEST);
    person(w, 2, WEST);
    person(w, 3, EAST);
    person(w, 4, WEST);
    high_flow(w, 1);
    ulcer(w, 2);
    high_flow(w, 3);
    finger(w, 4);
    keep(w);
    list = list_of(w, WEST, NULL);
    assert_int_equal(json_array_size(json_object_get(list, "entry")), 3);
    for (size_t i = 0; i < COUNT(facts); i++) {
        const char *got = text_at(list, facts[i].path);

        ROW(facts[i].path);
        assert_non_null(got);
        assert_string_equal(got, facts[i].want);
    }
    assert_non_null(strstr(text_at(list, "entry.1.flag.text"),
                           "2310 mL/min (limit 2000, HF-1)"));
    assert_non_null(
        strstr(text_at(list, "note.0.text"), "a qualified clinician decides"));
    assert_null(json_object_get(list, "emptyReason")); /* lst-1 */
    assert_null(json_object_get(list, "subject"));     /* it is of many */
    json_decref(list);
    assert_int_equal(entries_of(w, EAST), 1);
}

/* The same people as `headgate queue --unit`, in the same order. */
static void shows_whom_the_queue_shows(void **state)
{
    struct world *w = world(state);
    struct queue_wish wish = { .unit = WEST };
    struct buf out;
    const char *at;
    json_t *list;

    for (int n = 1; n <= 6; n++)
        person(w, n, n % 2 == 0 ? WEST : EAST);
    high_flow(w, 2);
    high_flow(w, 3);
    ulcer(w, 4);
    high_flow(w, 6);
    ulcer(w, 6); /* two reasons: there twice */
    keep(w);
    buf_init(&out, 1 << 20);
    wish.options.now_s = world_now_s;
    wish.options.zone = w->zone;
    assert_int_equal(queue_read(w->db, &wish, 0, &out), ERR_OK);
    list = list_of(w, WEST, NULL);
    at = out.data;
    for (size_t i = 0; i < json_array_size(json_object_get(list, "entry"));
         i++) {
        const char *end = strchr(at, '\n');
        json_t *row = json_loadb(at, (size_t)(end - at), 0, NULL);
        char path[64];

        snprintf(path, sizeof(path), "entry.%zu.item.display", i);
        assert_string_equal(text_at(row, "patient"), text_at(list, path));
        json_decref(row);
        at = end + 1;
    }
    assert_int_equal(strncmp(at, "{\"kind\":\"not-shown\"", 19), 0);
    json_decref(list);
    buf_clear(&out);
}

/* ---- when it changes ------------------------------------------------------------ */

static void a_version_for_each_change_alone(void **state)
{
    struct world *w = world(state);
    json_t *list;

    person(w, 1, WEST);
    keep(w);
    assert_int_equal(version_of(w, WEST), 0); /* nobody, and never was */
    high_flow(w, 1);
    keep(w);
    assert_int_equal(version_of(w, WEST), 1);
    keep(w);
    (void)keep_as(w, false, false, true); /* after a start */
    world_now_s += 2 * A_DAY;
    keep(w);
    assert_int_equal(version_of(w, WEST), 1);
    world_person(w, "refer-flow-review", "accepted");
    keep(w);
    list = list_of(w, WEST, NULL);
    assert_non_null(strstr(text_at(list, "entry.0.flag.text"), "In hand."));
    json_decref(list);
    assert_int_equal(version_of(w, WEST), 2);
    world_person(w, "refer-flow-review", "completed");
    keep(w);
    list = list_of(w, WEST, NULL);
    assert_null(json_object_get(list, "entry"));
    assert_non_null(strstr(text_at(list, "emptyReason.text"),
                           "does not mean that all are safe"));
    assert_string_equal(text_at(list, "status"), "current");
    json_decref(list);
    assert_int_equal(version_of(w, WEST), 3);
}

/* Who changes the unit changes the list. */
static void people_move(void **state)
{
    struct world *w = world(state);

    person(w, 1, WEST);
    high_flow(w, 1);
    keep(w);
    assert_int_equal(entries_of(w, WEST), 1);
    person_named(w, 1, EAST, 200);
    keep(w);
    assert_int_equal(entries_of(w, WEST), 0);
    assert_int_equal(entries_of(w, EAST), 1);
}

/* Whose unit is not known is in the queue alone. */
static void nobody_without_a_unit(void **state)
{
    struct world *w = world(state);

    assert_int_equal(world_post(w, OBS(.code = "hand-symptom",
                                       .sign = "hand-ulcer", .person = "2002")),
                     201);
    world_review(w);
    keep(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM unit_list"), 0);
}

/* ---- silent mode, and the record ------------------------------------------------ */

/* A line feed and a mark of writing direction (U+202E) in the name of a unit
 * are shown to nobody, and nobody could type them. */
static void an_odd_name_is_kept_as_it_is_shown(void **state)
{
    struct world *w = world(state);
    struct buf why;
    json_t *list;

    person(w, 1, "Corvane\\n\\u202eWest ");
    high_flow(w, 1);
    keep(w);
    list = list_of(w, WEST, NULL);
    assert_non_null(list);
    assert_string_equal(text_at(list, "identifier.0.value"), WEST);
    assert_non_null(strstr(text_at(list, "title"), ", " WEST));
    json_decref(list);
    buf_init(&why, 65536);
    assert_int_equal(queue_unit_known(w->db, WEST, &why), ERR_OK);
    buf_clear(&why);
    assert_int_equal(world_count(w, "SELECT count(DISTINCT unit) FROM patient"),
                     1);
}

/* A store of before has the name as it was sent. */
static void odd_names_of_before_are_read(void **state)
{
    struct world *w = world(state);

    person(w, 1, "Corvane\\n\\u202eWest");
    assert_int_equal(db_run(w->db, Q_PATIENT_SET_UNIT, "is",
                            (int64_t)world_count(w, "SELECT id FROM patient"),
                            "Corvane\n\xe2\x80\xaeWest"),
                     ERR_OK);
    assert_int_equal(patients_read_units(w->db, &w->reader), ERR_OK);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM patient WHERE unit = '" WEST "'"),
        1);
}

/* Whoever is dead is on no list, though somebody has a Task in hand. */
static void the_dead_are_on_none(void **state)
{
    struct world *w = world(state);

    person(w, 1, WEST);
    person(w, 2, WEST);
    high_flow(w, 1);
    high_flow(w, 2);
    keep(w);
    assert_int_equal(entries_of(w, WEST), 2);
    world_person(w, "refer-flow-review", "accepted");
    world_review(w);
    assert_int_equal(
        world_put(w, "p-2",
                  "{\"resourceType\":\"Patient\",\"id\":\"p-2\","
                  "\"identifier\":[{\"system\":\"" IDS "patient\",\"value\":"
                  "\"1002\"}],\"managingOrganization\":{\"display\":\"" WEST
                  "\"},\"deceasedBoolean\":true}"),
        200);
    world_review(w);
    keep(w);
    assert_int_equal(entries_of(w, WEST), 1);
}

static void silent_mode_keeps_none(void **state)
{
    struct world *w = world(state);
    json_t *list;

    person(w, 1, WEST);
    person(w, 2, EAST);
    high_flow(w, 1);
    keep(w); /* live */
    w->review.silent = true;
    high_flow(w, 2);
    assert_false(keep_as(w, true, true, true));
    assert_int_equal(version_of(w, EAST), 0);
    list = list_of(w, WEST, NULL);
    assert_string_equal(text_at(list, "status"), "retired");
    assert_null(json_object_get(list, "entry"));
    json_decref(list);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 0);
    /* and after it: current again, but for what was never posted */
    w->review.silent = false;
    (void)keep_as(w, false, false, true);
    list = list_of(w, WEST, NULL);
    assert_string_equal(text_at(list, "status"), "current");
    assert_int_equal(json_array_size(json_object_get(list, "entry")), 1);
    json_decref(list);
    assert_int_equal(version_of(w, EAST), 0);
}

static void goes_to_the_record_if_it_is_to(void **state)
{
    struct world *w = world(state);

    person(w, 1, WEST);
    high_flow(w, 1);
    assert_false(keep_as(w, false, false, false));
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 0);
    /* the setting comes later: what there is goes, once */
    assert_true(keep_as(w, true, false, true));
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM outbox WHERE state = 0 AND wanted"
                       " = 1 AND key = '" WEST "' AND task IS NULL"),
        1);
    assert_false(keep_as(w, true, false, true));
    world_person(w, "refer-flow-review", "accepted");
    assert_true(keep_as(w, true, false, false));
    assert_int_equal(world_count(w, "SELECT wanted FROM outbox"), 2);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 1);
}

/* ---- the writer ------------------------------------------------------------------ */

static void more_than_a_list_holds_is_said(void **state)
{
    const struct fhir_list_entry entry = { .patient = { .literal =
                                                            "Patient/p-1" },
                                           .code = "high-flow",
                                           .text = "flow 2240" };
    const struct fhir_list list = { .base = BASE,
                                    .id = "l-1",
                                    .unit = WEST,
                                    .entries = &entry,
                                    .count = 1,
                                    .left_out = 12 };
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 20);
    assert_int_equal(fhir_list_write(&list, &out), ERR_OK);
    assert_non_null(strstr(out.data, "NOT ALL ARE HERE: 12 more"));
    buf_clear(&out);
    buf_init(&out, 100);
    assert_int_equal(fhir_list_write(&list, &out), ERR_LIMIT);
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define TEST(name)                                                             \
    cmocka_unit_test_setup_teardown(name, world_start, world_stop)
        TEST(says_who_why_and_since_when),
        TEST(shows_whom_the_queue_shows),
        TEST(a_version_for_each_change_alone),
        TEST(people_move),
        TEST(nobody_without_a_unit),
        TEST(an_odd_name_is_kept_as_it_is_shown),
        TEST(odd_names_of_before_are_read),
        TEST(the_dead_are_on_none),
        TEST(silent_mode_keeps_none),
        TEST(goes_to_the_record_if_it_is_to),
        cmocka_unit_test(more_than_a_list_holds_is_said),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
