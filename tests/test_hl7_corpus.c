/*
 * Every file of the corpora of fuzz_hl7 and fuzz_mllp keeps what these promise;
 * the samples (.hl7) are besides messages that can be read.
 */
#include "tests/hl7_kit.h"
#include "tests/test.h"

#include <dirent.h>

enum { FILE_MAX = 1 << 21 };

static char bytes[FILE_MAX];

static size_t read_file(const char *folder, const char *name)
{
    char path[512];
    FILE *file;
    size_t len;

    snprintf(path, sizeof(path), TESTS_DIR "/corpus/%s/%s", folder, name);
    file = fopen(path, "rb");
    assert_non_null(file);
    len = fread(bytes, 1, sizeof(bytes), file);
    fclose(file);
    return len;
}

/* Returns how many files there are. */
static int replay(const char *folder,
                  void (*check)(const char *name, size_t len))
{
    char path[256];
    struct dirent *entry;
    DIR *dir;
    int count = 0;

    snprintf(path, sizeof(path), TESTS_DIR "/corpus/%s", folder);
    dir = opendir(path);
    assert_non_null(dir);
    while ((entry = readdir(dir)) != NULL) {
        if (entry->d_name[0] == '.')
            continue;
        ROW(entry->d_name);
        check(entry->d_name, read_file(folder, entry->d_name));
        count++;
    }
    closedir(dir);
    return count;
}

static int samples;

static void check_sample(const char *name, size_t len)
{
    size_t end = strlen(name);

    check_hl7(bytes, len);
    if (end < 4 || strcmp(name + end - 4, ".hl7") != 0)
        return;
    samples++;
    assert_true(check_message(bytes, len, "ASCII"));
    assert_int_equal(check_batch(bytes, len, 100), 1);
    assert_true(hl7_batch_looks(bytes, len));
}

static void replays_messages(void **state)
{
    (void)state;
    assert_true(replay("hl7", check_sample) >= 12);
    assert_true(samples >= 8);
}

static void check_frame_file(const char *name, size_t len)
{
    (void)name;
    check_stream(bytes, len);
}

static void replays_frames(void **state)
{
    (void)state;
    assert_true(replay("mllp", check_frame_file) >= 5);
}

/* Bytes of a sample changed at random; the seed is fixed. */
static void survives_changes(void **state)
{
    static const char *const names[] = { "symptoms.hl7", "odd-delimiters.hl7",
                                         "machine-pcd01.hl7", "batch" };
    static const char signs[] = "\r\n\0|^~\\&\x0b\x1c#XA\xe4\xc3\xef";
    uint32_t seed = 20261126;

    (void)state;
    for (size_t round = 0; round < 400; round++) {
        size_t len = read_file("hl7", names[round % COUNT(names)]);

        for (size_t change = 0; change <= round % 20; change++) {
            seed = seed * 1664525 + 1013904223;
            bytes[(seed >> 8) % len] = signs[(seed >> 3) % (sizeof(signs) - 1)];
        }
        check_hl7(bytes, len);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(replays_messages),
        cmocka_unit_test(replays_frames),
        cmocka_unit_test(survives_changes),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
