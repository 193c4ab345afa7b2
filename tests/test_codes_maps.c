/* Code maps of the configuration, and what people added while it ran. */
#include "service/maps.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <unistd.h>

#define HEADER                                                                 \
    "source_system,source_code,target,unit_default,arm_rule,valid_from\n"

static char folder[] = "/tmp/headgate-test-XXXXXX";

static void put(const char *name, const char *text, char path[256])
{
    FILE *f;

    snprintf(path, 256, "%s/%s", folder, name);
    f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fputs(text, f) >= 0, 1);
    assert_int_equal(fclose(f), 0);
}

static enum err load(const char *name, const char *text, struct codes **codes,
                     struct buf *why)
{
    static struct config config; /* large */
    char path[256];
    enum err e;

    put(name, text, path);
    memset(&config, 0, sizeof(config));
    snprintf(config.fhir_base, sizeof(config.fhir_base), "%s", BASE);
    snprintf(config.zone, sizeof(config.zone), "Europe/Berlin");
    snprintf(config.maps[0], sizeof(config.maps[0]), "%s", path);
    config.map_count = 1;
    e = maps_load(&config, codes, why);
    unlink(path);
    return e;
}

static const char concept_map[] =
    "\n {\"resourceType\":\"ConceptMap\",\"group\":[{\"source\":\"u:s\","
    "\"target\":\"" BASE "/CodeSystem/av-observation\",\"element\":[{\"code\":"
    "\"A\",\"target\":[{\"code\":\"qb\",\"equivalence\":\"equal\"}]}]}]}";

/* What a file is: by its name, else by what it begins with. */
static const struct {
    const char *name, *file, *text;
    enum err want;
    const char *why;
} files[] = {
    { "CSV by name", "map.csv", HEADER "u:s,A,qb,,,\n", ERR_OK, "" },
    { "JSON by name", "map.json", concept_map, ERR_OK, "" },
    { "CSV by content", "map", HEADER "u:s,A,qb,,,\n", ERR_OK, "" },
    { "JSON by content", "map.txt", concept_map, ERR_OK, "" },
    { "JSON that is called CSV", "map.csv", concept_map, ERR_FORM, "line 2" },
    { "CSV that is called JSON", "map.json", HEADER, ERR_FORM, "not JSON" },
    { "the file and the line are named", "a.csv", HEADER "u:s,A,x,,,\n",
      ERR_UNKNOWN, "/a.csv: line 2, target: target code is not known" },
};

static void test_files(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(files); i++) {
        struct codes *codes = NULL;
        struct buf why;

        ROW(files[i].name);
        buf_init(&why, 4096);
        assert_int_equal(load(files[i].file, files[i].text, &codes, &why),
                         files[i].want);
        assert_non_null(strstr(why.data, files[i].why));
        assert_int_equal(codes_find(codes, "u:s", "A", CODES_NEWEST).meaning,
                         files[i].want == ERR_OK ? CODE_QUANTITY
                                                 : CODE_UNKNOWN);
        buf_clear(&why);
        codes_free(codes);
    }
}

/* The example for sites is one that can be used. */
static void test_example(void **state)
{
    static struct config config; /* large */
    struct codes *codes = NULL;
    struct code_entry e;
    struct buf why;

    (void)state;
    snprintf(config.fhir_base, sizeof(config.fhir_base), "%s", BASE);
    snprintf(config.zone, sizeof(config.zone), "UTC");
    snprintf(config.maps[0], sizeof(config.maps[0]),
             SOURCE_DIR "/config/demo/hall-d.csv");
    snprintf(config.maps[1], sizeof(config.maps[1]),
             SOURCE_DIR "/config/demo/site-c.json");
    config.map_count = 2;
    buf_init(&why, 4096);
    if (maps_load(&config, &codes, &why) != ERR_OK)
        fail_msg("%s", why.data);
    e = codes_find(codes, "https://hall-d.example/codes", "RECIRC",
                   1772323199); /* 2026-02-28T23:59:59Z */
    assert_int_equal(e.meaning, CODE_STORE);
    e = codes_find(codes, "https://hall-d.example/codes", "RECIRC", 1772323200);
    assert_int_equal(e.quantity, Q_RECIRCULATION);
    assert_string_equal(e.unit, "%");
    buf_clear(&why);
    codes_free(codes);
}

static const struct codes_line lines[] = {
    { "u:s", "A", "access-flow", "mL/min", "", INT64_MIN, 0 },
    { "u:s", "A", "qb", "", "", 1772784720, 0 },
    { "u:s", "FP", "digital-pressure", "mm[Hg]", "access", INT64_MIN, 0 },
    { CODES_UNIT, "ccm/min", "mL/min", "", "", INT64_MIN, 0 },
};

static struct codes *fresh(const char *csv)
{
    struct codes *codes = NULL;
    struct buf why;

    buf_init(&why, 1000);
    assert_int_equal(codes_new(BASE, &codes), ERR_OK);
    if (csv != NULL)
        assert_int_equal(codes_add_csv(codes, csv, strlen(csv), &why), ERR_OK);
    buf_clear(&why);
    return codes;
}

static void store_all(struct world *w)
{
    int64_t id;

    for (size_t i = 0; i < COUNT(lines); i++)
        assert_int_equal(maps_store(w->db, &lines[i], "c.lead", "new hall",
                                    INT64_C(1772784720000), &id),
                         ERR_OK);
}

/* What is stored is known again after a start, with its columns. */
static void test_stored(void **state)
{
    struct world *w = *state;
    struct codes *codes = fresh(NULL);
    struct code_entry e;
    struct buf why;

    buf_init(&why, 4096);
    assert_int_equal(maps_learn_stored(w->db, codes, &why), ERR_OK);
    assert_int_equal(codes_find(codes, "u:s", "A", 0).meaning, CODE_UNKNOWN);
    store_all(w);
    assert_int_equal(maps_learn_stored(w->db, codes, &why), ERR_OK);
    e = codes_find(codes, "u:s", "A", 0);
    assert_int_equal(e.quantity, Q_ACCESS_FLOW);
    assert_string_equal(e.unit, "mL/min");
    assert_int_equal(codes_find(codes, "u:s", "A", 1772784720).quantity,
                     Q_PUMP_FLOW);
    assert_true(codes_find(codes, "u:s", "FP", 0).access_arm);
    assert_string_equal(codes_unit_text(codes, "ccm/min", 0), "mL/min");
    /* once more is harmless */
    assert_int_equal(maps_learn_stored(w->db, codes, &why), ERR_OK);
    assert_int_equal(why.len, 0);
    buf_clear(&why);
    codes_free(codes);
}

/* A file that has come to say the same is fine; another meaning is not. */
static void test_stored_against_a_file(void **state)
{
    struct world *w = *state;
    struct codes *same =
        fresh(HEADER "u:s,FP,digital-pressure,mm[Hg],access,\n");
    struct codes *other = fresh(HEADER "u:s,FP,digital-pressure,kPa,access,\n");
    struct buf why;

    buf_init(&why, 4096);
    store_all(w);
    assert_int_equal(maps_learn_stored(w->db, same, &why), ERR_OK);
    assert_int_equal(maps_learn_stored(w->db, other, &why), ERR_CONFLICT);
    assert_non_null(strstr(why.data, "mapping "));
    assert_non_null(strstr(why.data, "code 'FP' of u:s, added 2026-03-06"));
    assert_non_null(strstr(why.data, "by a file, to 'digital-pressure'"));
    assert_non_null(strstr(why.data, "Make the file say the same"));
    buf_clear(&why);
    codes_free(same);
    codes_free(other);
}

static enum err learn_into(struct db *db, void *arg)
{
    struct buf why;
    enum err e;

    buf_init(&why, 4096);
    e = maps_learn_stored(db, arg, &why);
    buf_clear(&why);
    return e;
}

/* A store whose rows contradict a file is not opened for anybody, and is left
 * as it was. */
static void test_store_is_not_opened(void **state)
{
    struct world *w = *state;
    struct codes *other = fresh(HEADER "u:s,FP,digital-pressure,kPa,access,\n");
    struct store_work work = { .run = NULL,
                               .arg = other,
                               .prepare = learn_into };
    struct store *store = NULL;
    uv_loop_t loop;

    store_all(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM mapping"), 4);
    db_close(w->db);
    w->db = NULL;
    assert_int_equal(uv_loop_init(&loop), 0);
    assert_int_equal(store_open(&loop, w->path, &work, NULL, NULL, &store),
                     ERR_CONFLICT);
    assert_null(store);
    assert_int_equal(uv_loop_close(&loop), 0);
    assert_int_equal(db_open(w->path, &w->db), ERR_OK);
    assert_int_equal(db_run(w->db, Q_BEGIN, ""), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM mapping"), 4);
    codes_free(other);
}

/*
 * The arm rule "access", with a store: a finger pressure whose side is sent,
 * while that of the only access is not known, is held; not where the site says
 * that it is the hand of the access.
 */
static void test_arm_of_access(void **state)
{
    struct world *w = *state;
    static const char *const codes_of[] = { "PLAIN", "OF-ACCESS" };
    static const char csv[] = HEADER "u:s,PLAIN,digital-pressure,mm[Hg],,\n"
                                     "u:s,OF-ACCESS,digital-pressure,mm[Hg],"
                                     "access,\n";
    struct buf why, body;

    buf_init(&why, 1000);
    buf_init(&body, 4000);
    assert_int_equal(codes_add_csv(w->codes, csv, strlen(csv), &why), ERR_OK);
    assert_int_equal(
        world_post(w, "{\"resourceType\":\"BodyStructure\",\"identifier\":[{"
                      "\"system\":\"" IDS "access\",\"value\":\"A-1\"}],"
                      "\"patient\":{\"reference\":\"Patient/p1\"}}"),
        201);
    for (size_t i = 0; i < COUNT(codes_of); i++) {
        ROW(codes_of[i]);
        buf_empty(&body);
        buf_printf(&body,
                   "{\"resourceType\":\"Observation\",\"status\":\"final\","
                   "\"code\":{\"coding\":[{\"system\":\"u:s\",\"code\":\"%s\"}]"
                   "},\"subject\":{\"reference\":\"Patient/p1\"},"
                   "\"effectiveDateTime\":\"2026-03-05T10:00:00Z\","
                   "\"bodySite\":{\"text\":\"left hand\"},"
                   "\"valueQuantity\":{\"value\":90}}",
                   codes_of[i]);
        assert_int_equal(world_post(w, body.data), 201);
        assert_int_equal(world_count(w, "SELECT count(*) FROM held"), 1);
        assert_int_equal(world_count(w, "SELECT count(*) FROM reading"),
                         i == 0 ? 0 : 1);
    }
    buf_clear(&body);
    buf_clear(&why);
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) != NULL ? 0 : -1;
}

static int remove_folder(void **state)
{
    (void)state;
    return rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_files),
        cmocka_unit_test(test_example),
        cmocka_unit_test_setup_teardown(test_stored, world_start, world_stop),
        cmocka_unit_test_setup_teardown(test_stored_against_a_file, world_start,
                                        world_stop),
        cmocka_unit_test_setup_teardown(test_store_is_not_opened, world_start,
                                        world_stop),
        cmocka_unit_test_setup_teardown(test_arm_of_access, world_start,
                                        world_stop),
    };

    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
