/*
 * The published CodeSystems: the file in config/fhir, and that what is in it
 * is what the program understands and sends.
 */
#include "adapters/fhir_codesystem.h"

#include "adapters/codes.h"
#include "adapters/fhir_answer.h"
#include "adapters/task_codes.h"
#include "tests/fhir_kit.h"

#include <dirent.h>

static struct codes *codes;
static json_t *bundle;

static int publish(void **state)
{
    start(state);
    if (fhir_write_codesystems(BASE, &out) != ERR_OK ||
        codes_new(BASE, &codes) != ERR_OK)
        return 1;
    bundle = json_loadb(out.data, out.len, JSON_REJECT_DUPLICATES, NULL);
    return bundle == NULL;
}

static int withdraw(void **state)
{
    json_decref(bundle);
    codes_free(codes);
    return stop(state);
}

static const char *text_of(json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));

    if (text == NULL)
        fail_msg("%s is missing", key);
    return text;
}

static const char *url_of(const char *name)
{
    static char url[128];

    snprintf(url, sizeof(url), BASE "/CodeSystem/%s", name);
    return url;
}

/* The CodeSystem with this URL; NULL if it is not published. */
static json_t *system_of(const char *url)
{
    json_t *entry;
    size_t i;

    json_array_foreach(json_object_get(bundle, "entry"), i, entry)
    {
        json_t *system = json_object_get(entry, "resource");

        if (strcmp(text_of(system, "url"), url) == 0)
            return system;
    }
    return NULL;
}

/* The concepts of a system of ours, which must be there. */
static json_t *concepts_of(const char *name)
{
    json_t *system = system_of(url_of(name));

    if (system == NULL)
        fail_msg("%s is not published", name);
    return json_object_get(system, "concept");
}

/* NULL if there is none. */
static json_t *concept_of(json_t *concepts, const char *code)
{
    json_t *concept;
    size_t i;

    json_array_foreach(concepts, i, concept)
    {
        if (strcmp(text_of(concept, "code"), code) == 0)
        return concept;
    }
    return NULL;
}

/* The code is there, with these words; definition: part of it. */
static void assert_concept(const char *system, const char *code,
                           const char *display, const char *definition)
{
    json_t *concept = concept_of(concepts_of(system), code);

    if (concept == NULL)
        fail_msg("%s is not in %s", code, system);
    assert_string_equal(text_of(concept, "display"), display);
    if (definition != NULL &&
        strstr(text_of(concept, "definition"), definition) == NULL)
        fail_msg("%s: %s", code, text_of(concept, "definition"));
}

/* ---- the file ------------------------------------------------------------ */

static void ships_them(void **state)
{
    (void)state;
    check_out();
    assert_golden("../../config/fhir/codesystems.json", out.data, out.len);
}

static void has_a_ceiling(void **state)
{
    struct buf small;

    (void)state;
    buf_init(&small, out.len - 1);
    assert_int_equal(fhir_write_codesystems(BASE, &small), ERR_LIMIT);
    buf_clear(&small);
    buf_init(&small, out.len);
    assert_int_equal(fhir_write_codesystems(BASE, &small), ERR_OK);
    buf_clear(&small);
}

/* The base is the site's; nothing of the default one stays. */
static void follows_the_base(void **state)
{
    struct buf other;

    (void)state;
    buf_init(&other, 1 << 20);
    assert_int_equal(fhir_write_codesystems("https://site.example/f", &other),
                     ERR_OK);
    assert_non_null(strstr(other.data, "\"fullUrl\":\"https://site.example/f/"
                                       "CodeSystem/av-task\""));
    assert_non_null(strstr(other.data, "\"url\":\"https://site.example/f/"
                                       "CodeSystem/av-task\""));
    assert_null(strstr(other.data, "headgate.example"));
    buf_clear(&other);
}

/* ---- each system --------------------------------------------------------- */

/* Is it a name that a machine can use?  Invariant csd-0 of CodeSystem:
 * https://hl7.org/fhir/R4/codesystem.html#invs */
static bool is_machine_name(const char *name)
{
    static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                  "abcdefghijklmnopqrstuvwxyz0123456789_";

    return name[0] >= 'A' && name[0] <= 'Z' && strlen(name) <= 255 &&
           name[strspn(name, letters)] == '\0';
}

static void check_concept(json_t *concepts, size_t at)
{
    json_t *concept = json_array_get(concepts, at);
    const char *code = text_of(concept, "code");
    const char *definition =
        json_string_value(json_object_get(concept, "definition"));

    text_of(concept, "display");
    if (concept_of(concepts, code) != concept)
        fail_msg("%s is there twice", code);
    /* type code of FHIR: no blanks at the ends and no two in a row; ours
     * have none at all */
    assert_int_equal(strcspn(code, " \t\n"), strlen(code));
    if (definition != NULL && definition[strlen(definition) - 1] != '.')
        fail_msg("the definition of %s was cut: %s", code, definition);
}

static void systems_are_whole(void **state)
{
    static const char *const names[] = { "av-observation", "av-method",
                                         "av-access-type", "av-site",
                                         "av-task",        "av-task-io",
                                         "av-error" };

    (void)state;
    assert_int_equal(json_array_size(json_object_get(bundle, "entry")),
                     COUNT(names));
    for (size_t i = 0; i < COUNT(names); i++) {
        json_t *system = system_of(url_of(names[i]));
        json_t *concepts = concepts_of(names[i]);

        ROW(names[i]);
        assert_string_equal(text_of(system, "id"), names[i]);
        assert_string_equal(text_of(system, "version"), "1");
        assert_string_equal(text_of(system, "status"), "active");
        assert_string_equal(text_of(system, "content"), "complete");
        assert_true(json_is_false(json_object_get(system, "experimental")));
        assert_true(json_is_true(json_object_get(system, "caseSensitive")));
        assert_true(is_machine_name(text_of(system, "name")));
        text_of(system, "title");
        assert_int_equal(json_integer_value(json_object_get(system, "count")),
                         json_array_size(concepts));
        assert_true(json_array_size(concepts) > 0);
        for (size_t k = 0; k < json_array_size(concepts); k++)
            check_concept(concepts, k);
    }
}

/* Worked by hand from the tables: one of each form. */
static void says_what_is_meant(void **state)
{
    static const struct {
        const char *system, *code, *display, *definition;
    } cases[] = {
        { "av-observation", "access-flow", "Access blood flow (Qa)",
          "A number in the unit mL/min (UCUM) or one that converts to it, of "
          "one access." },
        { "av-observation", "haematocrit", "Haematocrit",
          "in the unit 1 (UCUM) or one that converts to it, of the patient." },
        { "av-observation", "urr", "Urea reduction ratio", "unit % (UCUM)" },
        { "av-observation", "band-released", "Band released",
          "Yes or no (valueBoolean), of one access." },
        { "av-observation", "hand-symptom", "Ischaemic hand symptom or sign",
          "A code that is a value of hand-symptom (valueCodeableConcept), of "
          "the hand of one arm." },
        { "av-observation", "session-panel", "Dialysis session panel",
          "Carries components; not a reading by itself." },
        { "av-observation", "steal-stage", "Steal stage",
          "0 as 0, 1 as 1, 2 as 2b, 3 as 3, 4 as 4a." },
        { "av-observation", "numbness", "Numb hand",
          "A value of hand-symptom; where no grade is stated, hand ischaemia "
          "grade 2a. Also a question (valueBoolean)." },
        { "av-observation", "nyha-3", "NYHA class III",
          "A value of heart-failure-sign." },
        { "av-method", "duplex", "duplex ultrasound", NULL },
        { "av-access-type", "avg", "Arteriovenous graft", NULL },
        { "av-site", "left", "Left", NULL },
        { "av-site", "hand", "Hand", NULL },
        { "av-site", "right-upper-arm", "Right upper arm", NULL },
        { "av-site", "left-index-finger", "Left index finger", NULL },
        { "av-task", "refer-low-flow-review",
          "Suggest examination for low access flow", "flow too low" },
        { "av-task", "repeat-digital-pressure", "Measure again to confirm",
          "measure again: Finger systolic pressure." },
        { "av-task", "awaiting-review", "Awaiting review", NULL },
        { "av-task-io", "due", "Day by which to measure again", "valueDate" },
        { "av-error", "unit", "Unit unknown, or not one of this quantity",
          "Issue type code-invalid; HTTP status 422 where it refuses." },
        { "av-error", "held", "Held for a person",
          "Issue type incomplete; information or warning." },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].code);
        assert_concept(cases[i].system, cases[i].code, cases[i].display,
                       cases[i].definition);
    }
}

/* ---- nothing is missing --------------------------------------------------- */

static void has_every_quantity_and_sign(void **state)
{
    (void)state;
    for (int q = 1; q < QUANTITY_COUNT; q++) {
        const struct quantity_info *info = quantity_info((enum quantity)q);

        assert_concept("av-observation", info->code, info->display, info->unit);
    }
    for (int s = 1; s < SIGN_COUNT; s++) {
        const struct sign_info *info = sign_info((enum sign)s);

        assert_concept("av-observation", info->code, info->display,
                       quantity_info(info->quantity)->code);
        if (info->quantity == Q_ACCESS_TYPE)
            assert_concept("av-access-type", info->code, info->display, NULL);
    }
    for (int m = 1; m < METHOD_COUNT; m++)
        assert_concept("av-method", method_code((enum method)m),
                       method_display((enum method)m), NULL);
}

static void has_every_code_of_tasks(void **state)
{
    char code[TASK_CODE_SIZE];

    (void)state;
    for (int g = 0; g < GROUP_COUNT; g++) {
        const struct task_code *referral = task_code_referral((enum group)g);
        const struct task_code *reason = task_code_reason((enum group)g);

        assert_concept("av-task", referral->code, referral->display, NULL);
        assert_concept("av-task", reason->code, reason->display, NULL);
    }
    assert_concept("av-task", "machine-suggested", "Suggested by a machine",
                   "a qualified clinician decides");
    task_code_repeat(Q_CARDIAC_OUTPUT, code);
    assert_string_equal(code, "repeat-cardiac-output");
    assert_concept("av-task", code, TASK_REPEAT_DISPLAY, "Cardiac output");
}

static void has_the_words_of_answers(void **state)
{
    (void)state;
    for (int w = 0; w < ANSWER_WORD_COUNT; w++) {
        ROW(answer_word((enum answer_word)w));
        assert_non_null(concept_of(concepts_of("av-error"),
                                   answer_word((enum answer_word)w)));
    }
}

/* ---- what is published is understood -------------------------------------- */

/* As Observation.code, or as the value of some coded quantity. */
static bool observation_understood(const char *code)
{
    const char *url = url_of("av-observation");

    if (codes_find(codes, url, code, CODES_NEWEST).meaning != CODE_UNKNOWN)
        return true;
    for (int q = 1; q < QUANTITY_COUNT; q++) {
        if (codes_sign(codes, (enum quantity)q, url, code, CODES_NEWEST) !=
            SIGN_NONE)
            return true;
    }
    return false;
}

static bool method_understood(const char *code)
{
    return codes_method(codes, url_of("av-method"), code, CODES_NEWEST) !=
           METHOD_UNSTATED;
}

static bool type_understood(const char *code)
{
    return codes_sign(codes, Q_ACCESS_TYPE, url_of("av-access-type"), code,
                      CODES_NEWEST) != SIGN_NONE;
}

/* Also that a side in the code is the side that is read. */
static bool site_understood(const char *code)
{
    struct body_site site =
        codes_site(codes, url_of("av-site"), code, CODES_NEWEST);
    enum side want = strncmp(code, "left", 4) == 0    ? SIDE_LEFT
                     : strncmp(code, "right", 5) == 0 ? SIDE_RIGHT
                                                      : SIDE_UNKNOWN;

    return site.side == want &&
           (site.region[0] != '\0' || strchr("lr", code[0]) != NULL);
}

static void understands_them(void **state)
{
    static const struct {
        const char *system;
        bool (*understood)(const char *code);
    } cases[] = {
        { "av-observation", observation_understood },
        { "av-method", method_understood },
        { "av-access-type", type_understood },
        { "av-site", site_understood },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        json_t *concept;
        size_t k;

        ROW(cases[i].system);
        assert_false(cases[i].understood("no-such-code"));
        json_array_foreach(concepts_of(cases[i].system), k, concept)
        {
            if (!cases[i].understood(text_of(concept, "code")))
                fail_msg("%s is not understood", text_of(concept, "code"));
        }
    }
}

/* ---- what is sent is published -------------------------------------------- */

/* Every coding of our systems below a value; returns how many there are. */
static size_t check_codings(json_t *value, const char *file)
{
    const char *system = json_string_value(json_object_get(value, "system"));
    const char *code = json_string_value(json_object_get(value, "code"));
    const char *key;
    size_t found = 0, i;
    json_t *item;

    json_array_foreach(value, i, item)
    {
        found += check_codings(item, file);
    }
    json_object_foreach(value, key, item)
    {
        found += check_codings(item, file);
    }
    if (system == NULL || code == NULL ||
        strncmp(system, BASE "/CodeSystem/", strlen(BASE "/CodeSystem/")) != 0)
        return found;
    item = system_of(system);
    item = concept_of(json_object_get(item, "concept"), code);
    if (item == NULL)
        fail_msg("%s: %s of %s is not published", file, code, system);
    if (json_object_get(value, "display") != NULL)
        assert_string_equal(text_of(value, "display"),
                            text_of(item, "display"));
    return found + 1;
}

static size_t check_golden(const char *name)
{
    char path[1024];
    size_t found;
    json_t *root;

    snprintf(path, sizeof(path), "%s/golden/%s", TESTS_DIR, name);
    root = json_load_file(path, JSON_REJECT_DUPLICATES, NULL);
    if (root == NULL)
        fail_msg("%s is not JSON", path);
    found = check_codings(root, name);
    json_decref(root);
    return found;
}

static void golden_codes_are_published(void **state)
{
    DIR *folder = opendir(TESTS_DIR "/golden");
    size_t tasks = 0, codings = 0;
    struct dirent *entry;

    (void)state;
    assert_non_null(folder);
    while ((entry = readdir(folder)) != NULL) {
        const char *dot = strrchr(entry->d_name, '.');

        if (dot == NULL || strcmp(dot, ".json") != 0)
            continue;
        if (strncmp(entry->d_name, "task-", 5) == 0)
            tasks++;
        codings += check_golden(entry->d_name);
    }
    closedir(folder);
    /* a search that found nothing would pass as well */
    assert_true(tasks >= 6);
    assert_true(codings >= 6 * 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ships_them),
        cmocka_unit_test(has_a_ceiling),
        cmocka_unit_test(follows_the_base),
        cmocka_unit_test(systems_are_whole),
        cmocka_unit_test(says_what_is_meant),
        cmocka_unit_test(has_every_quantity_and_sign),
        cmocka_unit_test(has_every_code_of_tasks),
        cmocka_unit_test(has_the_words_of_answers),
        cmocka_unit_test(understands_them),
        cmocka_unit_test(golden_codes_are_published),
    };

    return cmocka_run_group_tests(tests, publish, withdraw);
}
