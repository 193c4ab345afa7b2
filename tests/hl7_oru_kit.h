/* hl7_oru_kit - messages of HL7 v2 and what becomes of them */
#ifndef HEADGATE_TESTS_HL7_ORU_KIT_H
#define HEADGATE_TESTS_HL7_ORU_KIT_H

#include "adapters/fhir_read.h"
#include "adapters/hl7_oru.h"
#include "tests/test.h"

#include <jansson.h>

#define BASE "https://headgate.example/fhir"

static struct zone *zone;
static struct codes *codes;
static struct fhir_reader reader;
static struct hl7_profile profile;

/* What the last call of take() made. */
static struct hl7_message *message;
static struct hl7_oru oru;
static json_t *bundle;
static struct fhir_doc *doc;

static inline void forget(void)
{
    json_decref(bundle);
    fhir_doc_free(doc);
    hl7_oru_clear(&oru);
    hl7_free(message);
    bundle = NULL;
    doc = NULL;
    message = NULL;
}

/* The sender of the samples, an invented unit in Berlin. */
static inline void default_profile(void)
{
    profile = (struct hl7_profile){ .name = "hall-north",
                                    .application = "SESSIONS",
                                    .facility = "HALLN",
                                    .unit = "Hall North",
                                    .zone = zone,
                                    .access_field = HL7_ACCESS_OBX_4,
                                    .access_system =
                                        "https://hall-north.example/access" };
}

static inline int start(void **state)
{
    (void)state;
    assert_int_equal(zone_load("Europe/Berlin", &zone), ERR_OK);
    assert_int_equal(codes_new(BASE, &codes), ERR_OK);
    reader = (struct fhir_reader){ .codes = codes,
                                   .base = BASE,
                                   .zone = zone,
                                   .now_s = 1780315200, /* 1 June 2026 */
                                   .entries_max = HL7_ENTRIES_MAX };
    default_profile();
    return 0;
}

static inline int stop(void **state)
{
    (void)state;
    forget();
    zone_free(zone);
    codes_free(codes);
    return 0;
}

static inline int fresh(void **state)
{
    (void)state;
    default_profile();
    return 0;
}

static inline void dump_issues(void)
{
    for (size_t i = 0; i < oru.issues.count; i++) {
        char place[HL7_PLACE_SIZE];

        hl7_place_write(&oru.issues.list[i].place, place);
        print_message("      %d %d %s %s: %s\n", oru.issues.list[i].severity,
                      oru.issues.list[i].code, oru.issues.list[i].word, place,
                      oru.issues.list[i].text);
    }
}

/* Every entry of the Bundle is of the form that FHIR wants. */
static inline void check_form(void)
{
    static const char *const form[] = { "json-syntax",   "not-a-resource",
                                        "bad-element",   "missing-element",
                                        "bad-value",     "bad-datetime",
                                        "invariant",     "bad-reference",
                                        "not-supported", "too-many" };

    assert_int_equal(fhir_doc_count(doc), oru.entry_count);
    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        const struct outcome *o = &fhir_doc_item(doc, i)->outcome;

        for (size_t k = 0; k < o->count; k++) {
            for (size_t f = 0; f < COUNT(form); f++) {
                if (o->issues[k].severity >= SEV_ERROR &&
                    strcmp(o->issues[k].word, form[f]) == 0)
                    fail_msg("entry %zu: %s at %s: %s", i, form[f],
                             o->issues[k].place, oru.bundle.data);
            }
        }
    }
}

/* Read a message; what comes of it stands in oru, bundle and doc. */
static inline void take_bytes(const char *bytes, size_t len)
{
    struct hl7_fault fault;
    struct outcome outcome;
    json_error_t error;

    forget();
    assert_int_equal(hl7_read(bytes, len, profile.charset, &message, &fault),
                     ERR_OK);
    assert_int_equal(hl7_oru_read(message, &profile, BASE, &oru), ERR_OK);
    if (oru.bundle.len == 0) {
        assert_int_equal(oru.entry_count, 0);
        return;
    }
    bundle = json_loadb(oru.bundle.data, oru.bundle.len, JSON_REJECT_DUPLICATES,
                        &error);
    if (bundle == NULL)
        fail_msg("%s at %d in: %s", error.text, error.position,
                 oru.bundle.data);
    outcome_init(&outcome);
    assert_int_equal(
        fhir_read(&reader, oru.bundle.data, oru.bundle.len, &outcome, &doc),
        ERR_OK);
    check_form();
}

/* A file of tests/corpus/hl7. */
static inline char *load_sample(const char *name, size_t *len)
{
    char path[512];
    char *bytes = malloc(HL7_MESSAGE_MAX);
    FILE *file;

    assert_non_null(bytes);
    snprintf(path, sizeof(path), "%s/corpus/hl7/%s", TESTS_DIR, name);
    file = fopen(path, "rb");
    if (file == NULL)
        fail_msg("%s is missing", path);
    *len = fread(bytes, 1, HL7_MESSAGE_MAX, file);
    fclose(file);
    return bytes;
}

static inline void take_file(const char *name)
{
    size_t len;
    char *bytes = load_sample(name, &len);

    take_bytes(bytes, len);
    free(bytes);
}

#define MSH                                                                    \
    "MSH|^~\\&|SESSIONS|HALLN|HEADGATE|UNIT|20260304123000+0100||ORU^R01|N-1|" \
    "P|2.5.1||||||UNICODE UTF-8\r"
#define PID "PID|1||1001^^^HALLN^MR||Beispiel^Anna||19520714|F\r"
#define OBR "OBR|1||S-1|SESSION|||20260304080000+0100\r"

/* One OBX in an ordinary message around it. */
static inline void take_obx(const char *obx)
{
    char text[8192];
    int len = snprintf(text, sizeof(text), MSH PID OBR "%s\r", obx);

    assert_in_range(len, 1, sizeof(text) - 1);
    take_bytes(text, (size_t)len);
}

static inline void take(const char *text)
{
    take_bytes(text, strlen(text));
}

/* The resource of an entry. */
static inline json_t *resource(size_t entry)
{
    json_t *r = json_object_get(
        json_array_get(json_object_get(bundle, "entry"), entry), "resource");

    if (r == NULL)
        dump_issues();
    assert_non_null(r);
    return r;
}

/* "valueQuantity.value": members and, by number, items; NULL if absent. */
static inline json_t *at(json_t *from, const char *path)
{
    while (from != NULL && *path != '\0') {
        char key[64];
        size_t len = strcspn(path, ".");

        snprintf(key, sizeof(key), "%.*s", (int)len, path);
        from = json_is_array(from) ? json_array_get(from, (size_t)atoi(key))
                                   : json_object_get(from, key);
        path += len + (path[len] == '.');
    }
    return from;
}

static inline const char *text_at(size_t entry, const char *path)
{
    const char *text = json_string_value(at(resource(entry), path));

    return text != NULL ? text : "";
}

static inline void assert_text(size_t entry, const char *path, const char *want)
{
    if (strcmp(text_at(entry, path), want) != 0)
        fail_msg("%s is '%s', not '%s', in %s", path, text_at(entry, path),
                 want, oru.bundle.data);
}

static inline void assert_absent(size_t entry, const char *path)
{
    assert_null(at(resource(entry), path));
}

/* The bytes of the Bundle, for numbers whose digits count. */
static inline void assert_bytes(const char *part)
{
    if (oru.bundle.len == 0 || strstr(oru.bundle.data, part) == NULL)
        fail_msg("%s is not in: %s", part, oru.bundle.data);
}

/* Is the i-th issue this one? */
static inline void assert_issue(size_t i, enum hl7_severity severity,
                                enum hl7_error code, const char *place)
{
    char got[HL7_PLACE_SIZE];

    if (i >= oru.issues.count)
        fail_msg("there are %zu issues", oru.issues.count);
    hl7_place_write(&oru.issues.list[i].place, got);
    if (oru.issues.list[i].severity != severity ||
        oru.issues.list[i].code != code || strcmp(got, place) != 0) {
        dump_issues();
        fail_msg("issue %zu is not %d at %s", i, code, place);
    }
}

#endif
