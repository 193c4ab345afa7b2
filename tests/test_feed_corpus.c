/* The corpus of the fuzz target as an ordinary test: see fuzz_feed.c. */
#include "tests/fuzz_feed.c"

#include "tests/test.h"

#include <dirent.h>
#include <stdio.h>

enum { SEED_MAX = 1 << 20 };

static void replay(const char *path)
{
    static uint8_t data[SEED_MAX];
    FILE *file = fopen(path, "rb");
    size_t len;

    assert_non_null(file);
    len = fread(data, 1, sizeof(data), file);
    fclose(file);
    LLVMFuzzerTestOneInput(data, len);
}

static void every_seed(void **state)
{
    DIR *dir = opendir(TESTS_DIR "/corpus/feed");
    struct dirent *entry;
    size_t seeds = 0;

    (void)state;
    assert_non_null(dir);
    while ((entry = readdir(dir)) != NULL) {
        char path[1024];

        if (entry->d_name[0] == '.')
            continue;
        snprintf(path, sizeof(path), TESTS_DIR "/corpus/feed/%s",
                 entry->d_name);
        ROW(entry->d_name);
        replay(path);
        seeds++;
    }
    closedir(dir);
    assert_true(seeds >= 20);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(every_seed) };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
