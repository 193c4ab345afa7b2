#include "adapters/buf.h"
#include "adapters/csv_file.h"
#include "tests/test.h"

/*
 * What comes out is written as "line:field|field;".  Sources: RFC 4180,
 * section 2, its own examples where a row says so; UTF-8 by RFC 3629.
 */
static const struct {
    const char *name, *text;
    size_t len; /* 0: of the text */
    enum err want;
    const char *got;    /* rows */
    size_t line, field; /* of the fault */
} cases[] = {
    { "RFC 4180, 2.1", "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", 0, ERR_OK,
      "1:aaa|bbb|ccc;2:zzz|yyy|xxx;", 0, 0 },
    { "RFC 4180, 2.2", "aaa,bbb,ccc\r\nzzz,yyy,xxx", 0, ERR_OK,
      "1:aaa|bbb|ccc;2:zzz|yyy|xxx;", 0, 0 },
    { "RFC 4180, 2.5", "\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", 0, ERR_OK,
      "1:aaa|bbb|ccc;2:zzz|yyy|xxx;", 0, 0 },
    { "RFC 4180, 2.6", "\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx", 0, ERR_OK,
      "1:aaa|b\r\nbb|ccc;3:zzz|yyy|xxx;", 0, 0 },
    { "RFC 4180, 2.7", "\"aaa\",\"b\"\"bb\",\"ccc\"", 0, ERR_OK,
      "1:aaa|b\"bb|ccc;", 0, 0 },
    { "RFC 4180, 2.4: blanks belong to a field", " a , b\n", 0, ERR_OK,
      "1: a | b;", 0, 0 },
    { "line feeds alone", "a,b\nc,d\n", 0, ERR_OK, "1:a|b;2:c|d;", 0, 0 },
    { "empty fields", ",\na,\n", 0, ERR_OK, "1:|;2:a|;", 0, 0 },
    { "blank lines", "\n\na\n\r\nb\n", 0, ERR_OK, "3:a;5:b;", 0, 0 },
    { "nothing", "", 0, ERR_OK, "", 0, 0 },
    { "an empty field in quotes", "\"\"\n", 0, ERR_OK, "1:;", 0, 0 },
    { "byte order mark",
      "\xef\xbb\xbf"
      "a,b\n",
      0, ERR_OK, "1:a|b;", 0, 0 },
    { "a mark alone", "\xef\xbb\xbf", 0, ERR_OK, "", 0, 0 },
    { "two, three and four bytes", "\xc3\xbc,\xe2\x82\xac,\xf0\x9f\xa9\xb8\n",
      0, ERR_OK, "1:\xc3\xbc|\xe2\x82\xac|\xf0\x9f\xa9\xb8;", 0, 0 },
    { "a quote in a bare field", "a,b\"c\n", 0, ERR_FORM, "", 1, 2 },
    { "text behind a quote", "x,y\na,\"b\"c\n", 0, ERR_FORM, "1:x|y;", 2, 2 },
    { "a quote that never closes", "x\n\"a\nb\nc", 0, ERR_FORM, "1:x;", 2, 1 },
    { "a NUL", "a,b\nc\0d\n", 8, ERR_FORM, "", 2, 0 },
    { "Latin-1", "a\nb\xfc\n", 0, ERR_FORM, "", 2, 0 },
    { "an overlong form", "\xc0\xaf\n", 0, ERR_FORM, "", 1, 0 },
    { "an overlong form of three", "\xe0\x80\xaf\n", 0, ERR_FORM, "", 1, 0 },
    { "a surrogate", "\xed\xa0\x80\n", 0, ERR_FORM, "", 1, 0 },
    { "above U+10FFFF", "\xf4\x90\x80\x80\n", 0, ERR_FORM, "", 1, 0 },
    { "a character cut short", "a\xe2\x82", 0, ERR_FORM, "", 1, 0 },
    { "UTF-16",
      "\xff\xfe"
      "a\0\n\0",
      6, ERR_FORM, "", 1, 0 },
};

static enum err on_row(void *arg, const struct csv_row *row)
{
    struct buf *out = arg;

    buf_printf(out, "%zu:", row->line);
    for (size_t i = 0; i < row->count; i++)
        buf_printf(out, "%s%s", i > 0 ? "|" : "", row->fields[i]);
    buf_puts(out, ";");
    return ERR_OK;
}

static void test_cases(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct csv_fault fault;
        struct buf out;
        size_t len = cases[i].len > 0 ? cases[i].len : strlen(cases[i].text);

        ROW(cases[i].name);
        buf_init(&out, 10000);
        assert_int_equal(
            csv_file_read(cases[i].text, len, on_row, &out, &fault),
            cases[i].want);
        assert_string_equal(out.data, cases[i].got);
        assert_int_equal(fault.line, cases[i].line);
        assert_int_equal(fault.field, cases[i].field);
        assert_true((fault.text != NULL) == (cases[i].want != ERR_OK));
        buf_clear(&out);
    }
}

static enum err stop(void *arg, const struct csv_row *row)
{
    int *count = arg;

    (void)row;
    return ++*count == 2 ? ERR_DENIED : ERR_OK;
}

static void test_limits(void **state)
{
    struct csv_fault fault;
    struct buf text, out;
    int count = 0;

    (void)state;
    buf_init(&text, 1 << 20);
    buf_init(&out, 1 << 20);
    for (int i = 0; i < CSV_FIELDS_MAX - 1; i++)
        buf_puts(&text, ",");
    assert_int_equal(csv_file_read(text.data, text.len, on_row, &out, &fault),
                     ERR_OK);
    buf_puts(&text, ",");
    assert_int_equal(csv_file_read(text.data, text.len, on_row, &out, &fault),
                     ERR_LIMIT);
    assert_int_equal(fault.field, CSV_FIELDS_MAX + 1);
    buf_empty(&text);
    for (int i = 0; i < CSV_FIELD_SIZE - 1; i++)
        buf_puts(&text, "x");
    assert_int_equal(csv_file_read(text.data, text.len, on_row, &out, &fault),
                     ERR_OK);
    buf_puts(&text, "x");
    assert_int_equal(csv_file_read(text.data, text.len, on_row, &out, &fault),
                     ERR_LIMIT);
    assert_string_equal(fault.text, "a field is too long");
    /* whoever takes the rows may end it */
    assert_int_equal(csv_file_read("a\nb\nc\n", 6, stop, &count, &fault),
                     ERR_DENIED);
    assert_int_equal(count, 2);
    assert_null(fault.text);
    buf_clear(&text);
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_cases),
        cmocka_unit_test(test_limits),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
