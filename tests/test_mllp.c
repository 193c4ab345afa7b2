#include "adapters/mllp.h"
#include "tests/test.h"

/*
 * A stream, what comes of it, and the counts: frames, bytes outside, begun
 * anew, without the last CR, too long.  "VT" is 0x0B, "FS" 0x1C.  What comes:
 * each frame in brackets, "!" behind one that is too long, "?" behind one that
 * was settled at the end, "(open)" if the other side is to go on.
 *
 * Source: HL7 v2.5.1, appendix C, C.4.3 (the form of a block); the rows beyond
 * the first are its likely violations, whose answer is ours.
 */
#define VT "\x0b"
#define FS "\x1c"

static const struct {
    const char *name, *stream, *want;
    unsigned counts[5];
} cases[] = {
    { "one", VT "abc" FS "\r", "[abc]", { 1, 0, 0, 0, 0 } },
    { "two", VT "a" FS "\r" VT "b" FS "\r", "[a][b]", { 2, 0, 0, 0, 0 } },
    { "nothing in it", VT FS "\r", "[]", { 1, 0, 0, 0, 0 } },
    { "nothing", "", "", { 0, 0, 0, 0, 0 } },
    { "lines between",
      "\r\n" VT "a" FS "\r\n\r\n" VT "b" FS "\r\n",
      "[a][b]",
      { 2, 0, 0, 0, 0 } },
    { "text between",
      "x" VT "a" FS "\ryz" VT "b" FS "\r",
      "[a][b]",
      { 2, 3, 0, 0, 0 } },
    { "an end outside", FS "\r" VT "a" FS "\r", "[a]", { 1, 1, 0, 0, 0 } },
    { "begun anew", VT "ab" VT "c" FS "\r", "[c]", { 1, 0, 1, 0, 0 } },
    { "begun twice", VT VT "c" FS "\r", "[c]", { 1, 0, 1, 0, 0 } },
    { "without CR, then another",
      VT "a" FS VT "b" FS "\r",
      "[a][b]",
      { 2, 0, 0, 1, 0 } },
    { "without CR, then LF",
      VT "a" FS "\n" VT "b" FS "\r",
      "[a][b]",
      { 2, 0, 0, 1, 0 } },
    { "without CR, then text", VT "a" FS "x", "[a]", { 1, 1, 0, 1, 0 } },
    { "without CR at the end", VT "a" FS, "[a]?", { 1, 0, 0, 1, 0 } },
    { "FS twice", VT "a" FS FS "\r", "[a]", { 1, 1, 0, 1, 0 } },
    { "open", VT "ab", "(open)", { 0, 0, 0, 0, 0 } },
    { "as long as may be",
      VT "12345678" FS "\r",
      "[12345678]",
      { 1, 0, 0, 0, 0 } },
    { "too long", VT "123456789" FS "\r", "[12345678]!", { 0, 0, 0, 0, 1 } },
    { "far too long, then a good one",
      VT "1234567890123456789012345" FS "\r" VT "a" FS "\r",
      "[12345678]![a]",
      { 1, 0, 0, 0, 1 } },
    { "too long, then begun anew",
      VT "1234567890" VT "a" FS "\r",
      "[12345678]![a]",
      { 1, 0, 0, 0, 1 } },
    { "too long and open",
      VT "1234567890",
      "[12345678]!(open)",
      { 0, 0, 0, 0, 1 } },
    { "CR and LF are text inside",
      VT "a\rb\n" FS "\r",
      "[a\rb\n]",
      { 1, 0, 0, 0, 0 } },
};

static void run_stream(struct mllp *m, const char *stream, size_t piece,
                       struct buf *out)
{
    size_t len = strlen(stream);

    for (size_t at = 0, used; at < len; at += used) {
        size_t given = len - at < piece ? len - at : piece;
        enum err e = mllp_feed(m, stream + at, given, &used);

        assert_true(used <= given);
        if (e == ERR_ABSENT) {
            assert_int_equal(used, given);
            continue;
        }
        assert_true(e == ERR_OK || e == ERR_LIMIT);
        buf_printf(out, "[%s]%s", m->frame.data, e == ERR_OK ? "" : "!");
    }
    if (mllp_settle(m) == ERR_OK)
        buf_printf(out, "[%s]?", m->frame.data);
    if (mllp_is_open(m))
        buf_puts(out, "(open)");
}

static void takes_frames(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, 1000);
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        for (size_t piece = 1; piece <= strlen(cases[i].stream) + 1; piece++) {
            struct mllp m;

            mllp_init(&m, 8);
            buf_empty(&out);
            run_stream(&m, cases[i].stream, piece, &out);
            assert_string_equal(out.data, cases[i].want);
            assert_int_equal(m.counts.frames, cases[i].counts[0]);
            assert_int_equal(m.counts.outside, cases[i].counts[1]);
            assert_int_equal(m.counts.restarted, cases[i].counts[2]);
            assert_int_equal(m.counts.unended, cases[i].counts[3]);
            assert_int_equal(m.counts.too_long, cases[i].counts[4]);
            mllp_clear(&m);
        }
    }
    buf_clear(&out);
}

/* A frame is told of before the CR that ends it has come only if asked. */
static void waits_for_the_end(void **state)
{
    struct mllp m;
    size_t used;

    (void)state;
    mllp_init(&m, 100);
    assert_false(mllp_is_open(&m));
    assert_int_equal(mllp_settle(&m), ERR_ABSENT);
    assert_int_equal(mllp_feed(&m, VT "abc", 4, &used), ERR_ABSENT);
    assert_true(mllp_is_open(&m));
    assert_int_equal(mllp_settle(&m), ERR_ABSENT);
    assert_int_equal(mllp_feed(&m, FS, 1, &used), ERR_ABSENT);
    assert_true(mllp_is_open(&m));
    assert_int_equal(mllp_settle(&m), ERR_OK);
    assert_string_equal(m.frame.data, "abc");
    assert_false(mllp_is_open(&m));
    /* The CR that comes late is nothing. */
    assert_int_equal(mllp_feed(&m, "\r" VT "d" FS "\r", 5, &used), ERR_OK);
    assert_string_equal(m.frame.data, "d");
    assert_int_equal(m.counts.outside, 0);
    mllp_clear(&m);
}

/* A byte of zero is a byte like others. */
static void keeps_zeros(void **state)
{
    struct mllp m;
    size_t used;

    (void)state;
    mllp_init(&m, 100);
    assert_int_equal(mllp_feed(&m, VT "a\0b" FS "\r", 6, &used), ERR_OK);
    assert_int_equal(m.frame.len, 3);
    assert_memory_equal(m.frame.data, "a\0b", 3);
    mllp_clear(&m);
}

/* What a long frame needed is given back. */
static void gives_memory_back(void **state)
{
    size_t len = 200 * 1024, used;
    char *bytes = malloc(len + 3);
    struct mllp m;

    (void)state;
    memset(bytes, 'x', len + 3);
    bytes[0] = '\x0b';
    memcpy(bytes + len + 1, FS "\r", 2);
    mllp_init(&m, 1 << 20);
    assert_int_equal(mllp_feed(&m, bytes, len + 3, &used), ERR_OK);
    assert_int_equal(m.frame.len, len);
    assert_int_equal(mllp_feed(&m, "\r", 1, &used), ERR_ABSENT);
    assert_int_equal(m.frame.size, 0);
    mllp_clear(&m);
    free(bytes);
}

static void wraps(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, 100);
    mllp_wrap("MSA|AA", 6, &out);
    assert_string_equal(out.data, VT "MSA|AA" FS "\r");
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(takes_frames), cmocka_unit_test(waits_for_the_end),
        cmocka_unit_test(keeps_zeros),  cmocka_unit_test(gives_memory_back),
        cmocka_unit_test(wraps),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
