/* Pseudo-terminals are in the XSI part of POSIX. */
#define _XOPEN_SOURCE 700

#include "adapters/progress.h"
#include "planner/err.h"
#include "tests/test.h"

#include <fcntl.h>
#include <unistd.h>

/*
 * Worked by hand: left = spent * (total - done) / done; the bar has what the
 * other parts leave of one column less than the terminal.
 */
static const struct {
    const char *name, *file;
    uint64_t total, done;
    int columns;
    int64_t spent_ms;
    const char *want;
} cases[] = {
    { "nothing yet", "feed.ndjson", 28400000, 0, 80, 0,
      "feed.ndjson    0 % [...........................................] "
      "0.0 of 28.4 MB" },
    { "part, with a guess", "feed.ndjson", 28400000, 14200000, 80, 8000,
      "feed.ndjson   50 % [===========...........] "
      "14.2 of 28.4 MB, 1.8 MB/s, 8 s left" },
    { "too early for a guess", "feed.ndjson", 28400000, 14200000, 80, 1999,
      "feed.ndjson   50 % [=====================.....................] "
      "14.2 of 28.4 MB" },
    { "all", "feed.ndjson", 28400000, 28400000, 80, 60000,
      "feed.ndjson  100 % [==============================] "
      "28.4 of 28.4 MB, 473.3 kB/s" },
    { "more than all", "feed.ndjson", 1000, 2000, 60, 60000,
      "feed.ndjson  100 % [==============] 1.0 of 1.0 kB, 0.0 kB/s" },
    { "minutes", "a", 4000000000, 1000000000, 60, 60000,
      "a   25 % [==.........] 1.0 of 4.0 GB, 16.7 MB/s, 3 min left" },
    { "narrow: no bar", "feed-of-the-year.ndjson", 28400000, 14200000, 40, 8000,
      "ar.ndjson   50 % 14.2 of 28.4 MB" },
    { "size not known", "-", 0, 123456, 80, 8000, "-  123.5 kB, 15.4 kB/s" },
    { "empty file", "e", 0, 0, 80, 0, "e  0.0 kB" },
    { "not ASCII, cut", "J\xc3\xbcrgen\xc3\xbcgen.ndjson", 1000, 0, 60, 0,
      "gen\xc3\xbcgen.ndjson    0 % [.....................] 0.0 of 1.0 kB" },
    { "control character", "a\033b", 1000, 0, 40, 0,
      "a?b    0 % [............] 0.0 of 1.0 kB" },
};

/* What was done before is no work of this run: 3 MB in 4 s, 9 MB to go. */
static void goes_on_from_somewhere(void **state)
{
    struct progress p = { .name = "a",
                          .total_bytes = 28000000,
                          .from_bytes = 16000000,
                          .columns = 80 };
    char text[PROGRESS_TEXT_SIZE];

    (void)state;
    progress_text(&p, 19000000, 4000, text);
    assert_non_null(strstr(text, " 19.0 of 28.0 MB, 750.0 kB/s, 12 s left"));
    progress_text(&p, 16000000, 4000, text);
    assert_null(strstr(text, "left"));
}

static size_t columns_of(const char *text)
{
    size_t columns = 0;

    for (; *text != '\0'; text++)
        columns += ((unsigned char)*text & 0xc0) != 0x80 ? 1 : 0;
    return columns;
}

static void writes_the_line(void **state)
{
    char text[PROGRESS_TEXT_SIZE];

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct progress p = { .name = cases[i].file,
                              .total_bytes = cases[i].total,
                              .columns = cases[i].columns,
                              .start_ms = 5000 };
        size_t columns =
            progress_text(&p, cases[i].done, 5000 + cases[i].spent_ms, text);

        ROW(cases[i].name);
        assert_string_equal(text, cases[i].want);
        assert_int_equal(columns, columns_of(text));
        assert_true(columns < (size_t)cases[i].columns);
    }
}

/* Any numbers at any width: it never wraps, and never runs over. */
static void keeps_its_width(void **state)
{
    static const uint64_t sizes[] = {
        0, 1, 999, 999999, 1000000, 999999999, UINT64_MAX / 3, UINT64_MAX
    };
    char text[PROGRESS_TEXT_SIZE];

    (void)state;
    for (size_t i = 0; i < COUNT(sizes) * COUNT(sizes); i++) {
        for (int columns = 40; columns <= 100; columns++) {
            struct progress p = { .name = "a-long-name-of-a-feed.ndjson",
                                  .total_bytes = sizes[i % COUNT(sizes)],
                                  .columns = columns };
            size_t used =
                progress_text(&p, sizes[i / COUNT(sizes)], 360000, text);

            assert_int_equal(used, columns_of(text));
            assert_true(used < (size_t)columns);
        }
    }
}

static void silent_without_a_terminal(void **state)
{
    FILE *file = tmpfile();
    struct progress p;

    (void)state;
    assert_non_null(file);
    progress_start(&p, file, "feed.ndjson", 1000, 0, 0);
    for (int64_t ms = 0; ms < 1000; ms += 10)
        progress_update(&p, (uint64_t)ms, ms);
    progress_clear(&p);
    assert_int_equal(ftell(file), 0);
    fclose(file);
}

/* ---- a terminal: the far side of a pseudo-terminal ------------------------- */

static FILE *terminal(int *near)
{
    const char *name;
    FILE *file;

    *near = posix_openpt(O_RDWR | O_NOCTTY);
    if (*near < 0 || grantpt(*near) != 0 || unlockpt(*near) != 0)
        return NULL;
    name = ptsname(*near);
    file = name != NULL ? fopen(name, "r+") : NULL;
    return file;
}

/*
 * The next len bytes that were written to it; the kernel hands them over in
 * pieces.  Returns how often a line began.
 */
static size_t shown(int near, char *text, size_t len)
{
    size_t at = 0, count = 0;

    while (at < len) {
        ssize_t got = read(near, text + at, len - at);

        assert_true(got > 0);
        at += (size_t)got;
    }
    text[len] = '\0';
    for (size_t i = 0; i < len; i++)
        count += text[i] == '\r' ? 1 : 0;
    return count;
}

static void writes_now_and_then(void **state)
{
    enum { LINE = 59 + 1 }; /* with the return before it */
    char text[1024];
    struct progress p;
    int near;
    FILE *file = terminal(&near);

    (void)state;
    if (file == NULL)
        skip(); /* no pseudo-terminals here */
    progress_start(&p, file, "feed.ndjson", 1000, 60, 7000);
    progress_clear(&p); /* nothing is there, so nothing is cleared */
    /* A thousand updates in a second: at 0, 100, ... 900 ms. */
    for (int64_t ms = 0; ms < 1000; ms++)
        progress_update(&p, (uint64_t)ms, 7000 + ms);
    progress_clear(&p);
    progress_clear(&p);
    fputs("done", file);
    fflush(file);
    assert_int_equal(shown(near, text, 10 * LINE), 10);
    assert_non_null(strstr(text, "\rfeed.ndjson   90 % ["));
    assert_null(strchr(text, '\n'));
    assert_null(strchr(text, '\033'));
    /* Cleared once, and nothing between that and what comes next. */
    assert_int_equal(shown(near, text, LINE + 1 + 4), 2);
    assert_int_equal(strspn(text + 1, " "), LINE - 1);
    assert_string_equal(text + LINE, "\rdone");
    fclose(file);
    close(near);
}

static void width_is_brought_into_range(void **state)
{
    static const struct {
        const char *name;
        int columns, as;
    } widths[] = {
        { "not known", 0, 80 },   { "narrow", 20, 40 },
        { "least", 40, 40 },      { "most", 100, 100 },
        { "too wide", 500, 100 }, { "negative", -1, 40 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(widths); i++) {
        struct progress p;

        ROW(widths[i].name);
        progress_start(&p, stderr, "a", 10, widths[i].columns, 0);
        assert_int_equal(p.columns, widths[i].as);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(writes_the_line),
        cmocka_unit_test(goes_on_from_somewhere),
        cmocka_unit_test(keeps_its_width),
        cmocka_unit_test(silent_without_a_terminal),
        cmocka_unit_test(writes_now_and_then),
        cmocka_unit_test(width_is_brought_into_range),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
