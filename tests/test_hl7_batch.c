#include "adapters/hl7.h"
#include "adapters/hl7_batch.h"
#include "tests/source_kit.h"
#include "tests/test.h"

#define A      "MSH|^~\\&|A"
#define B      "MSH|^~\\&|B"
#define VT     "\x0b"
#define FS     "\x1c"
#define BOM    "\xef\xbb\xbf"
#define NUMBER "^~\\&|SENDER"

/*
 * A file and what is found: number, line, where it begins and ends, how many
 * bytes; "!" before what is no message.  Counted by hand.
 *
 * Source: HL7 v2.5.1, 2.10.3 (a file of batches of messages).
 */
static const struct {
    const char *name, *file, *want;
} cases[] = {
    { "nothing", "", "" },
    { "one", A "\rPID|1\r", "1:1@0-17=17" },
    { "one without its last end", A "\rPID|1", "1:1@0-16=16" },
    { "two, CR", A "\rPID|1\r" B "\rPID|2\r", "1:1@0-17=17 2:3@17-34=17" },
    { "two, LF", A "\nPID|1\n" B "\nPID|2\n", "1:1@0-17=17 2:3@17-34=17" },
    { "two, CRLF", A "\r\nPID|1\r\n" B "\r\n", "1:1@0-19=19 2:3@19-31=12" },
    { "blank lines between", A "\r\r\n \n" B "\r", "1:1@0-15=11 2:4@15-26=11" },
    { "blank lines before", "\r\n\r\n" A "\r", "1:3@4-15=11" },
    { "byte order mark", BOM A "\r", "1:1@3-14=11" },
    { "byte order mark later", A "\r" BOM B "\r", "1:1@0-25=25" },
    { "batch", "BHS|" NUMBER "\r" A "\r" B "\rBTS|2\r",
      "1:2@16-27=11 2:3@27-38=11" },
    { "file", "FHS|" NUMBER "\rBHS|" NUMBER "\r" A "\rBTS|1\rFTS|1\r",
      "1:3@32-43=11" },
    { "batch that counts wrong", "BHS|" NUMBER "\r" A "\rBTS|2\r",
      "1:2@16-27=11 !1:3@27-33" },
    { "batch that counts no number", "BHS|" NUMBER "\r" A "\rBTS|x\r",
      "1:2@16-27=11 !1:3@27-33" },
    { "batch that does not count", "BHS|" NUMBER "\r" A "\rBTS\rFTS||ok\r",
      "1:2@16-27=11" },
    { "batch whose begin is not there", A "\rBTS|7\r", "1:1@0-11=11" },
    { "two batches",
      "BHS|" NUMBER "\r" A "\rBTS|1\rBHS|" NUMBER "\r" B "\rBTS|1|a comment\r",
      "1:2@16-27=11 2:5@49-60=11" },
    { "file that counts wrong",
      "FHS|" NUMBER "\rBHS|" NUMBER "\r" A "\rBTS|1\rFTS|2",
      "1:3@32-43=11 !1:5@49-54" },
    { "file without batches", "FHS|" NUMBER "\r" A "\rFTS|1\r",
      "1:2@16-27=11" },
    { "other delimiters", "BHS$*!/%$S\r" A "\rBTS$1$all\r", "1:2@11-22=11" },
    { "frames", VT A "\rPID|1\r" FS "\r" VT B "\r" FS "\r",
      "1:1@1-19=17 2:4@21-33=11" },
    { "frames with lines between", VT A "\r" FS "\r\n" VT B "\r" FS "\r\n",
      "1:1@1-13=11 2:3@16-28=11" },
    { "frames that end in nothing more", VT A "\r" FS VT B "\r" FS,
      "1:1@1-13=11 2:2@14-26=11" },
    { "a batch in a frame", VT "BHS|" NUMBER "\r" A "\r" B "\rBTS|2\r" FS "\r",
      "1:2@17-28=11 2:3@28-39=11" },
    { "a frame that does not end", VT A "\r" VT B "\r" FS "\r",
      "!1:1@1-12 2:2@13-25=11" },
    { "a frame that the file ends", VT A "\rPI", "!1:1@1-14" },
    { "text before", "hello\r\nworld\r\n" A "\r", "!0:1@0-14 1:3@14-25=11" },
    { "text after a frame", VT A "\r" FS "\rPID|1\r" A "\r",
      "1:1@1-13=11 !1:3@14-20 2:4@20-31=11" },
    { "segments without a message", "BHS|" NUMBER "\rPID|1\rBTS|0\r",
      "!0:2@16-22" },
    { "text alone", "{\"resourceType\":\"Bundle\"}", "!0:1@0-25" },
    { "a name that only begins so", A "\rMSHX|1\rBTSX|1\r", "1:1@0-25=25" },
    { "MSH at the end", A "\rMSH", "1:1@0-11=11 2:2@11-14=3" },
};

static void add_found(struct buf *out, enum err e,
                      const struct hl7_batch_message *m)
{
    buf_printf(out, "%s%s%d:%d@%d-%d", out->len > 0 ? " " : "",
               e == ERR_OK ? "" : "!", (int)m->number, (int)m->line,
               (int)m->offset, (int)m->end);
    if (e == ERR_OK)
        buf_printf(out, "=%d", (int)m->len);
}

static void finds_messages(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, 1000);
    for (size_t i = 0; i < COUNT(cases); i++) {
        const char *file = cases[i].file;

        ROW(cases[i].name);
        for (size_t piece = 1; piece <= strlen(file) + 1; piece++) {
            struct source s = { file, strlen(file), 0, piece, SIZE_MAX };
            struct hl7_batch_message m;
            struct hl7_batch *batch;
            enum err e;

            buf_empty(&out);
            assert_int_equal(hl7_batch_new(source_read, &s, 0, &batch), ERR_OK);
            while ((e = hl7_batch_next(batch, &m)) != ERR_ABSENT) {
                assert_true(e == ERR_OK || e == ERR_FORM);
                assert_int_equal(e == ERR_OK, m.bytes != NULL);
                assert_int_equal(e == ERR_OK, m.problem == NULL);
                if (e == ERR_OK)
                    assert_memory_equal(m.bytes, file + m.offset, m.len);
                add_found(&out, e, &m);
            }
            assert_string_equal(out.data, cases[i].want);
            assert_int_equal(hl7_batch_next(batch, &m), ERR_ABSENT);
            hl7_batch_free(batch);
        }
    }
    buf_clear(&out);
}

/* HL7 v2.7, 2.5.1: a segment ends with a carriage return.  One that the file
 * ends instead may be half of what it was. */
static void sees_what_was_cut_off(void **state)
{
    static const struct {
        const char *name, *file;
        bool cut;
    } rows[] = {
        { "whole", A "\rPID|1\r", false },
        { "whole, of a text file", A "\nPID|1\r\n", false },
        { "cut", A "\rPID|1", true },
        { "cut, with blanks", A "\rPID|1 ", true },
        { "a trailer behind it", A "\rPID|1\rBTS|1", false },
        { "a frame ends it", VT A "\rPID|1" FS "\r", false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct source s = { rows[i].file, strlen(rows[i].file), 0, 7,
                            SIZE_MAX };
        struct hl7_batch_message m;
        struct hl7_batch *batch;

        ROW(rows[i].name);
        assert_int_equal(hl7_batch_new(source_read, &s, 0, &batch), ERR_OK);
        assert_int_equal(hl7_batch_next(batch, &m), ERR_OK);
        assert_int_equal(m.cut, rows[i].cut);
        hl7_batch_free(batch);
    }
}

/* From the end of any message on, what is left is found as before. */
static void resumes(void **state)
{
    static const char file[] =
        "BHS|" NUMBER "\r" A "\rPID|1\r" VT B "\r" FS "\r" A "\rBTS|9\r";
    struct source s = { file, strlen(file), 0, 7, SIZE_MAX };
    struct hl7_batch_message first, m;
    struct hl7_batch *batch;

    (void)state;
    assert_int_equal(hl7_batch_new(source_read, &s, 0, &batch), ERR_OK);
    assert_int_equal(hl7_batch_next(batch, &first), ERR_OK);
    hl7_batch_free(batch);
    s.at = (size_t)first.end;
    assert_int_equal(hl7_batch_new(source_read, &s, first.end, &batch), ERR_OK);
    assert_int_equal(hl7_batch_next(batch, &m), ERR_OK);
    assert_int_equal(m.number, 1);
    assert_int_equal(m.offset, strstr(file, B) - file);
    assert_int_equal(hl7_batch_next(batch, &m), ERR_OK);
    assert_int_equal(m.offset, strstr(strstr(file, B), A) - file);
    /* The batch's count is not judged by a part of it. */
    assert_int_equal(hl7_batch_next(batch, &m), ERR_ABSENT);
    hl7_batch_free(batch);
}

/* ---- limits --------------------------------------------------------------- */

/* A file of any size: one message of len bytes between two small ones. */
struct big {
    size_t len, at;
    char filler; /* of its second line, or of all lines: '\r' */
};

static const char small[] = A "\rPID|1\r";

static enum err read_big(void *arg, char *data, size_t size, size_t *got)
{
    struct big *b = arg;
    size_t n = strlen(small), i;

    for (i = 0; i < size && b->at < 2 * n + b->len; i++, b->at++) {
        size_t in = b->at - n;

        if (b->at < n)
            data[i] = small[b->at];
        else if (in >= b->len)
            data[i] = small[in - b->len];
        else
            data[i] = in < strlen(B "\rZZZ|") ? (B "\rZZZ|")[in]
                      : in + 1 == b->len      ? '\r'
                                              : b->filler;
    }
    *got = i;
    return ERR_OK;
}

static const struct {
    const char *name;
    size_t len;
    char filler;
    enum err want;
} bigs[] = {
    { "as long as may be", HL7_MESSAGE_MAX, 'x', ERR_OK },
    { "one more", HL7_MESSAGE_MAX + 1, 'x', ERR_LIMIT },
    { "five times", 5 * HL7_MESSAGE_MAX, 'x', ERR_LIMIT },
    { "five times, in lines", 5 * HL7_MESSAGE_MAX, '\r', ERR_LIMIT },
};

static void keeps_limits(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(bigs); i++) {
        struct big big = { bigs[i].len, 0, bigs[i].filler };
        struct hl7_batch_message m;
        struct hl7_batch *batch;

        ROW(bigs[i].name);
        assert_int_equal(hl7_batch_new(read_big, &big, 0, &batch), ERR_OK);
        assert_int_equal(hl7_batch_next(batch, &m), ERR_OK);
        assert_int_equal(hl7_batch_next(batch, &m), bigs[i].want);
        assert_int_equal(m.number, 2);
        assert_int_equal(m.offset, strlen(small));
        assert_int_equal(m.end, strlen(small) + bigs[i].len);
        assert_int_equal(m.bytes != NULL, bigs[i].want == ERR_OK);
        assert_int_equal(hl7_batch_next(batch, &m), ERR_OK);
        assert_int_equal(m.number, 3);
        assert_int_equal(m.len, strlen(small));
        assert_int_equal(hl7_batch_next(batch, &m), ERR_ABSENT);
        hl7_batch_free(batch);
    }
}

static void tells_of_failed_reads(void **state)
{
    static const char file[] = A "\r" B "\rPID|1\r";
    struct source s = { file, strlen(file), 0, 5, 15 };
    struct hl7_batch_message m;
    struct hl7_batch *batch;

    (void)state;
    assert_int_equal(hl7_batch_new(source_read, &s, 0, &batch), ERR_OK);
    assert_int_equal(hl7_batch_next(batch, &m), ERR_OK);
    assert_int_equal(hl7_batch_next(batch, &m), ERR_IO);
    assert_int_equal(hl7_batch_next(batch, &m), ERR_IO);
    hl7_batch_free(batch);
    hl7_batch_free(NULL);
}

static const struct {
    const char *text;
    bool want;
} looks[] = {
    { A, true },
    { BOM A, true },
    { "\r\n" VT A, true },
    { "FHS|^~\\&", true },
    { "BHS$*!/%", true },
    { "MSHA|", false },
    { "MSH", false },
    { "MSH\r", false },
    { "{\"MSH\":1}", false },
    { "PID|1", false },
    { "", false },
    { BOM, false },
    { "BTS|1", false },
    { "system,code", false },
};

static void looks_ahead(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(looks); i++)
        assert_int_equal(hl7_batch_looks(looks[i].text, strlen(looks[i].text)),
                         looks[i].want);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_messages),
        cmocka_unit_test(sees_what_was_cut_off),
        cmocka_unit_test(resumes),
        cmocka_unit_test(keeps_limits),
        cmocka_unit_test(tells_of_failed_reads),
        cmocka_unit_test(looks_ahead),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
