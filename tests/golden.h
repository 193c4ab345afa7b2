/*
 * golden - whole documents compared with files in tests/golden
 *
 * GOLDEN=write in the environment rewrites the files; read the difference
 * before keeping it.
 */
#ifndef HEADGATE_TESTS_GOLDEN_H
#define HEADGATE_TESTS_GOLDEN_H

#include "tests/test.h"

enum { GOLDEN_SIZE_MAX = 1 << 20 };

static void golden_path(char path[512], const char *name)
{
    int len = snprintf(path, 512, "%s/golden/%s", TESTS_DIR, name);

    assert_in_range(len, 1, 511);
}

static void golden_write(const char *path, const char *text, size_t len)
{
    FILE *file = fopen(path, "wb");

    assert_non_null(file);
    assert_int_equal(fwrite(text, 1, len, file), len);
    assert_int_equal(fclose(file), 0);
}

/* Is this text the file's, byte for byte? */
static void assert_golden(const char *name, const char *text, size_t len)
{
    const char *mode = getenv("GOLDEN");
    char path[512], *kept;
    size_t kept_len;
    FILE *file;

    golden_path(path, name);
    if (mode != NULL && strcmp(mode, "write") == 0) {
        golden_write(path, text, len);
        return;
    }
    file = fopen(path, "rb");
    if (file == NULL)
        fail_msg("%s is missing: run once with GOLDEN=write", path);
    kept = malloc(GOLDEN_SIZE_MAX);
    assert_non_null(kept);
    kept_len = fread(kept, 1, GOLDEN_SIZE_MAX, file);
    fclose(file);
    if (kept_len != len || memcmp(kept, text, len) != 0) {
        print_error("%s differs; the text is now:\n%.*s\n", path, (int)len,
                    text);
        free(kept);
        fail();
    }
    free(kept);
}

#endif
