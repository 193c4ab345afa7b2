#define _XOPEN_SOURCE 700

#include "service/load_state.h"
#include "tests/test.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

static char folder[] = "/tmp/headgate-load-XXXXXX";
static char path[64], state_path[96];

/* A file of so many bytes that are all different from their neighbours. */
static FILE *make(size_t size)
{
    FILE *file = fopen(path, "w+b");

    assert_non_null(file);
    for (size_t i = 0; i < size; i++)
        fputc((int)('a' + i % 23), file);
    assert_int_equal(fflush(file), 0);
    return file;
}

/* sha256sum of coreutils, of "" and of "abc": FIPS 180-4, appendix B.1. */
static void digests(void **state)
{
    static const unsigned char abc[4] = { 0xba, 0x78, 0x16, 0xbf };
    static const unsigned char nothing[4] = { 0xe3, 0xb0, 0xc4, 0x42 };
    struct load_state s;
    FILE *file = make(3);

    (void)state;
    assert_int_equal(load_state_take(file, 0, &s), ERR_OK);
    assert_memory_equal(s.head, abc, 4);
    assert_memory_equal(s.tail, nothing, 4);
    assert_int_equal(load_state_take(file, 3, &s), ERR_OK);
    assert_memory_equal(s.tail, abc, 4);
    assert_int_equal(s.size, 3);
    assert_int_equal(s.offset, 3);
    fclose(file);
}

static void comes_back_as_it_was(void **state)
{
    struct load_state s = { .lines = 4096,
                            .errors_bytes = 3311,
                            .counts = { 4000, 1, 90, 6 } };
    struct load_state back;
    char beside[128];
    FILE *file = make(200000);

    (void)state;
    assert_int_equal(load_state_take(file, 150000, &s), ERR_OK);
    assert_int_equal(load_state_write(state_path, &s), ERR_OK);
    assert_int_equal(load_state_read(state_path, &back), ERR_OK);
    assert_int_equal(back.size, 200000);
    assert_int_equal(back.offset, 150000);
    assert_int_equal(back.lines, 4096);
    assert_int_equal(back.counts.held, 90);
    assert_int_equal(back.errors_bytes, 3311);
    assert_int_equal(back.modified_ns, s.modified_ns);
    assert_memory_equal(back.head, s.head, LOAD_DIGEST_SIZE);
    assert_memory_equal(back.tail, s.tail, LOAD_DIGEST_SIZE);
    /* nothing is left beside it */
    snprintf(beside, sizeof(beside), "%s.tmp", state_path);
    assert_int_not_equal(access(beside, F_OK), 0);
    fclose(file);
}

/* One byte here and there, and what says that the file is another. */
static void knows_a_changed_file(void **state)
{
    static const struct {
        const char *name;
        long at;
        const char *why;
    } cases[] = {
        { "first byte", 0, "64 KiB" },
        { "last of the head", 65535, "64 KiB" },
        { "between", 65536, "written to" },
        { "first of the tail", 150000 - 1024, "byte 150000" },
        { "last before the offset", 149999, "byte 150000" },
        { "behind the offset", 150000, "written to" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        FILE *file = make(200000);
        struct load_state s;
        struct buf why;
        struct timespec times[2] = { { 1, 0 }, { 1, 0 } };

        ROW(cases[i].name);
        assert_int_equal(futimens(fileno(file), times), 0);
        assert_int_equal(load_state_take(file, 150000, &s), ERR_OK);
        buf_init(&why, 1024);
        assert_int_equal(load_state_fits(file, &s, &why), ERR_OK);
        fseek(file, cases[i].at, SEEK_SET);
        fputc('Z', file);
        fflush(file);
        assert_int_equal(load_state_fits(file, &s, &why), ERR_CONFLICT);
        assert_non_null(strstr(why.data, cases[i].why));
        buf_clear(&why);
        fclose(file);
    }
}

static void knows_another_length(void **state)
{
    FILE *file = make(1000);
    struct load_state s;
    struct buf why;

    (void)state;
    assert_int_equal(load_state_take(file, 1000, &s), ERR_OK);
    fseek(file, 0, SEEK_END);
    fputc('x', file);
    fflush(file);
    buf_init(&why, 1024);
    assert_int_equal(load_state_fits(file, &s, &why), ERR_CONFLICT);
    assert_string_equal(why.data, "it has 1001 bytes now and had 1000");
    buf_clear(&why);
    fclose(file);
}

/* Cut anywhere it is damaged, and nothing is believed of it. */
static void every_truncation(void **state)
{
    char text[1024];
    struct load_state s = { .lines = 1 }, back;
    FILE *file = make(100);
    size_t len;

    (void)state;
    assert_int_equal(load_state_take(file, 50, &s), ERR_OK);
    fclose(file);
    assert_int_equal(load_state_write(state_path, &s), ERR_OK);
    file = fopen(state_path, "rb");
    len = fread(text, 1, sizeof(text), file);
    fclose(file);
    /* the last number may be cut and still be one: its line end tells */
    for (size_t cut = 0; cut + 2 < len; cut++) {
        file = fopen(state_path, "wb");
        fwrite(text, 1, cut, file);
        fclose(file);
        assert_int_equal(load_state_read(state_path, &back), ERR_FORM);
    }
    unlink(state_path);
    assert_int_equal(load_state_read(state_path, &back), ERR_ABSENT);
    assert_int_equal(load_state_write("/nowhere/x", &s), ERR_IO);
}

static void paths(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, 4096);
    assert_int_equal(
        load_state_path("a/b.ndjson", NULL, "a/b.ndjson.errors.ndjson", &out),
        ERR_OK);
    assert_string_equal(out.data, "a/b.ndjson.headgate-load");
    buf_empty(&out);
    assert_int_equal(load_state_path("a/b.ndjson", NULL, "e", &out), ERR_OK);
    assert_string_equal(out.data, "b.ndjson.headgate-load");
    buf_empty(&out);
    assert_int_equal(load_state_path("a/b.ndjson", "/var/s", "e", &out),
                     ERR_OK);
    assert_int_equal(strncmp(out.data, "/var/s/b.ndjson-", 16), 0);
    buf_clear(&out);
}

static int begin(void **state)
{
    (void)state;
    if (mkdtemp(folder) == NULL)
        return 1;
    snprintf(path, sizeof(path), "%s/f", folder);
    snprintf(state_path, sizeof(state_path), "%s.headgate-load", path);
    return 0;
}

static int end(void **state)
{
    (void)state;
    unlink(path);
    unlink(state_path);
    return rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(digests),
        cmocka_unit_test(comes_back_as_it_was),
        cmocka_unit_test(knows_a_changed_file),
        cmocka_unit_test(knows_another_length),
        cmocka_unit_test(every_truncation),
        cmocka_unit_test(paths),
    };

    return cmocka_run_group_tests(tests, begin, end);
}
