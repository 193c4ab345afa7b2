#include "tests/hl7_oru_kit.h"

#include <dirent.h>

/*
 * Whatever a message holds: what is made of it is nothing, or a Bundle in which
 * every resource is of the form that FHIR wants.  Messages are the samples with
 * bytes, fields and segments changed.  RANDOM_SEED chooses others.
 */

enum { SAMPLES_MAX = 64, ROUNDS = 4000 };

static struct {
    char *bytes;
    size_t len;
} samples[SAMPLES_MAX];
static size_t sample_count;
static uint64_t seed = 20260304;

static unsigned draw(unsigned below)
{
    seed = seed * 6364136223846793005ULL + 1442695040888963407ULL;
    return (unsigned)(seed >> 33) % below;
}

static int load(void **state)
{
    const char *given = getenv("RANDOM_SEED");
    struct dirent *entry;
    DIR *dir;

    if (given != NULL)
        seed = strtoull(given, NULL, 10);
    print_message("RANDOM_SEED=%llu\n", (unsigned long long)seed);
    assert_int_equal(start(state), 0);
    dir = opendir(TESTS_DIR "/corpus/hl7");
    assert_non_null(dir);
    while ((entry = readdir(dir)) != NULL && sample_count < SAMPLES_MAX) {
        size_t len = strlen(entry->d_name);

        if (len < 4 || strcmp(entry->d_name + len - 4, ".hl7") != 0)
            continue;
        samples[sample_count].bytes =
            load_sample(entry->d_name, &samples[sample_count].len);
        sample_count++;
    }
    closedir(dir);
    assert_true(sample_count >= 5);
    return 0;
}

static int unload(void **state)
{
    for (size_t i = 0; i < sample_count; i++)
        free(samples[i].bytes);
    return stop(state);
}

/* What a value may be replaced by: the odd, the long, the empty. */
static const char *const pieces[] = {
    "",
    "\"\"",
    " ",
    "  ",
    "|",
    "^",
    "~",
    "&",
    "\\",
    "\r",
    "\\.br\\",
    "\\X00\\",
    "\\XC285\\",
    "\xc2\x85",
    "\xc2\xa0",
    "\xe2\x80\xa8",
    "\xf0\x9f\x98\x80",
    "\x01",
    "\x7f",
    "0",
    "-0.0",
    "99999999999999999999",
    ".",
    "1e400",
    "20260304",
    "20260304240000",
    "2026030408",
    "20261025023000",
    "21991231235959.9999+1400",
    "1900",
    "C",
    "D",
    "U",
    "X",
    "CWE",
    "SN",
    "TM",
    "DTM",
    "FT",
    "ED",
    "NM",
    ">^5",
    "^1^-^2",
    "a  b",
    " a",
    "UCUM",
    "mL/min",
    "a\nb",
    "OBX|1|CWE|a||b~c~d||||||C",
    "\rPID|1||7\r",
    "\rOBR|1\r",
    "\rNTE|1||x\r",
};

static size_t mutate(const char *from, size_t len, char *to, size_t size)
{
    unsigned changes = 1 + draw(6);

    memcpy(to, from, len);
    for (unsigned i = 0; i < changes; i++) {
        size_t where = draw((unsigned)len + 1);
        size_t gone = draw(4) == 0 ? 1 + draw(40) : draw(3);
        const char *piece = pieces[draw(COUNT(pieces))];
        size_t more = strlen(piece);

        gone = gone < len - where ? gone : len - where;
        if (len - gone + more >= size)
            continue;
        memmove(to + where + more, to + where + gone, len - where - gone);
        memcpy(to + where, piece, more);
        len = len - gone + more;
    }
    return len;
}

/* Settings matter too. */
static void draw_profile(void)
{
    default_profile();
    profile.access_field = (enum hl7_access_field)draw(4);
    if (draw(2) == 0)
        profile.access_system[0] = '\0';
    profile.numbers_in_text = draw(2) == 0;
    if (draw(2) == 0)
        snprintf(profile.charset, sizeof(profile.charset), "8859/1");
}

static bool can_be_read(const char *bytes, size_t len)
{
    struct hl7_message *m;
    struct hl7_fault fault;

    if (hl7_read(bytes, len, profile.charset, &m, &fault) != ERR_OK)
        return false;
    hl7_free(m);
    return true;
}

static void test_random(void **state)
{
    static char text[1 << 16];
    size_t read = 0, used = 0;

    (void)state;
    for (int i = 0; i < ROUNDS; i++) {
        size_t which = draw((unsigned)sample_count);
        size_t len = mutate(samples[which].bytes, samples[which].len, text,
                            sizeof(text));

        draw_profile();
        if (!can_be_read(text, len))
            continue;
        read++;
        take_bytes(text, len); /* asserts the form of every resource */
        used += oru.bundle.len > 0;
        assert_true(oru.entry_count == 0 || oru.has_patient);
    }
    print_message("%zu could be read, of %zu something was used\n", read, used);
    assert_true(read > ROUNDS / 4 && used > ROUNDS / 8);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(test_random) };

    return cmocka_run_group_tests(tests, load, unload);
}
