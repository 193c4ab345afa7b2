#include "tests/hl7_oru_kit.h"

#include "tests/golden.h"

/*
 * Every sample as a whole: the Bundle, and what is said about the rest.  That
 * the Bundles are valid R4 is judged by software that is not ours:
 * tests/peers/validate.mjs over tests/golden/hl7-*.json.
 */

static void assert_golden_bundle(const char *name)
{
    char file[64];
    char *text;

    snprintf(file, sizeof(file), "hl7-%s.json", name);
    /* the bytes themselves: digits must not pass through a float */
    text = malloc(oru.bundle.len + 2);
    assert_non_null(text);
    snprintf(text, oru.bundle.len + 2, "%s\n", oru.bundle.data);
    assert_golden(file, text, oru.bundle.len + 1);
    free(text);
}

static void assert_golden_issues(const char *name)
{
    struct buf text;
    char file[64];

    buf_init(&text, 1 << 16);
    for (size_t i = 0; i < oru.entry_count; i++) {
        const struct hl7_entry *entry = &oru.entries[i];
        char place[HL7_PLACE_SIZE];

        hl7_place_write(&entry->place, place);
        buf_printf(&text, "entry %zu of %s%s%s\n", i, place,
                   entry->promote ? ", promotes" : "",
                   entry->if_known ? ", if known" : "");
    }
    for (size_t i = 0; i < oru.issues.count; i++) {
        static const char *const words[] = { "information", "warning",
                                             "error" };
        const struct hl7_issue *issue = &oru.issues.list[i];
        char place[HL7_PLACE_SIZE];

        hl7_place_write(&issue->place, place);
        buf_printf(&text, "%s %d %s %s: %s\n", words[issue->severity],
                   issue->code, issue->word, place, issue->text);
    }
    assert_int_equal(buf_ok(&text), ERR_OK);
    snprintf(file, sizeof(file), "hl7-%s.txt", name);
    assert_golden(file, text.data, text.len);
    buf_clear(&text);
}

struct sample {
    const char *name;
    bool used; /* something of it becomes a resource */
};

/* The settings that fit the sample's sender. */
static void settings(const char *name)
{
    default_profile();
    if (strncmp(name, "oru-", 4) != 0) {
        snprintf(profile.patient_type, sizeof(profile.patient_type), "%s",
                 strcmp(name, "old-version") == 0 ? "" : "MR");
    } else if (strcmp(name, "oru-old") != 0) {
        snprintf(profile.patient_authority, sizeof(profile.patient_authority),
                 "HALLN");
    }
    if (strcmp(name, "machine-pcd01") == 0)
        profile.access_field = HL7_ACCESS_NONE; /* OBX-4 is the device's tree */
    if (strcmp(name, "old-version") == 0 || strcmp(name, "oru-old") == 0) {
        profile.access_field = HL7_ACCESS_OBR_15;
        profile.access_system[0] = '\0';
    }
    if (strcmp(name, "oru-symptoms") == 0)
        profile.numbers_in_text = true;
}

static void test_samples(void **state)
{
    static const struct sample samples[] = {
        { "corrections", true },    { "enhanced-latin1", true },
        { "machine-pcd01", true },  { "must-fail", false },
        { "odd-delimiters", true }, { "old-version", true },
        { "oru-bad", true },        { "oru-correction", true },
        { "oru-old", true },        { "oru-session", true },
        { "oru-symptoms", true },   { "session-results", true },
        { "symptoms", true },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(samples); i++) {
        struct hl7_issues issues = { .count = 0 };
        char file[64];

        ROW(samples[i].name);
        snprintf(file, sizeof(file), "%s.hl7", samples[i].name);
        settings(samples[i].name);
        take_file(file);
        assert_int_equal(hl7_admit(message, &profile, &issues), ERR_OK);
        assert_int_equal(oru.bundle.len > 0, samples[i].used);
        assert_golden_issues(samples[i].name);
        if (samples[i].used)
            assert_golden_bundle(samples[i].name);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(test_samples) };

    return cmocka_run_group_tests(tests, start, stop);
}
