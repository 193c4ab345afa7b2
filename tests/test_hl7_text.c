#include "adapters/hl7.h"
#include "tests/test.h"

#define HEAD "MSH|^~\\&#|LAB|HALL.EXAMPLE|||20261126||ORU^R01|1|P|2.7.1"

/*
 * A value as it comes and as it reads, and how many escapes are counted as
 * unknown.  Sources: HL7 v2.5.1, 2.7 (use of escape sequences); HL7 v2.7.1 for
 * \P\.  Numbers of sections and the example of highlighting are from memory.
 */
static const struct {
    const char *name, *value, *want;
    unsigned unknown;
} cases[] = {
    { "none", "plain", "plain", 0 },
    /* 2.7.4: the delimiters of the message */
    { "field", "a\\F\\b", "a|b", 0 },
    { "component", "a\\S\\b", "a^b", 0 },
    { "subcomponent", "a\\T\\b", "a&b", 0 },
    { "repetition", "a\\R\\b", "a~b", 0 },
    { "escape", "a\\E\\b", "a\\b", 0 },
    { "truncation", "a\\P\\b", "a#b", 0 },
    { "delimiters, one after the other", "\\F\\\\S\\\\E\\", "|^\\", 0 },
    { "an escape that gives one is not read again", "\\E\\F\\E\\", "\\F\\", 0 },
    /* 2.7.3, its example */
    { "highlighting", "TOTAL CHOLESTEROL \\H\\240*\\N\\ [90 - 200]",
      "TOTAL CHOLESTEROL 240* [90 - 200]", 0 },
    /* 2.7.6: .sp without a number is .br */
    { "new line", "one\\.br\\two", "one\ntwo", 0 },
    { "space", "one\\.sp\\two", "one\ntwo", 0 },
    { "spaces", "one\\.sp3\\two", "one\n\n\ntwo", 0 },
    { "spaces with a sign", "one\\.sp+2\\two", "one\n\ntwo", 0 },
    { "as many as there may be", "\\.sp20\\.",
      "\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n\n.", 0 },
    { "too many", "\\.sp21\\", "\\.sp21\\", 1 },
    { "no number", "\\.spx\\", "\\.spx\\", 1 },
    { "none at all", "\\.sp0\\", "\\.sp0\\", 1 },
    /* 2.7.6, begin of its figure: what only arranges text stays */
    { "indentation", "\\.in+4\\\\.ti-4\\ 1. within normal limits.",
      "\\.in+4\\\\.ti-4\\ 1. within normal limits.", 2 },
    /* 2.7.5 */
    { "hexadecimal", "\\X41\\", "A", 0 },
    { "hexadecimal, no character", "a\\X00\\b", "a\\X00\\b", 1 },
    { "hexadecimal, not of the set", "a\\XFF\\b", "a\\XFF\\b", 1 },
    { "hexadecimal, several", "\\X0D0A\\", "\r\n", 0 },
    { "hexadecimal, small letters", "\\X6a6B\\", "jk", 0 },
    { "hexadecimal gives no delimiter", "a\\X7C\\b", "a|b", 0 },
    { "odd digits", "\\X414\\", "\\X414\\", 1 },
    { "no digits", "\\X\\", "\\X\\", 1 },
    { "no hexadecimal digit", "\\X4G\\", "\\X4G\\", 1 },
    { "another escape between", "\\X41\\\\H\\\\X42\\", "AB", 0 },
    /* 2.7.2 and 2.7.7: left to whom they tell something */
    { "single-byte set", "\\C2842\\", "\\C2842\\", 0 },
    { "multi-byte set", "\\M244253\\", "\\M244253\\", 0 },
    { "our own", "\\Z01\\", "\\Z01\\", 0 },
    { "set without digits", "\\Cab\\", "\\Cab\\", 1 },
    /* unknown, and open: nothing is lost */
    { "unknown", "a\\Q\\b", "a\\Q\\b", 1 },
    { "small letter", "a\\f\\b", "a\\f\\b", 1 },
    { "empty", "a\\\\b", "a\\\\b", 1 },
    { "a path", "C:\\temp\\file", "C:\\temp\\file", 1 },
    { "open", "5 \\ 6", "5 \\ 6", 1 },
    { "open at the end", "5\\", "5\\", 1 },
    { "good, then open", "\\F\\\\F", "|\\F", 1 },
};

static struct hl7_message *read_value(const char *head, const char *value)
{
    char text[300];
    struct hl7_message *m = NULL;
    struct hl7_fault fault;

    snprintf(text, sizeof(text), "%s\rNTE|1||%s\r", head, value);
    assert_int_equal(hl7_read(text, strlen(text), "UNICODE UTF-8", &m, &fault),
                     ERR_OK);
    return m;
}

static void resolves_escapes(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct hl7_message *m = read_value(HEAD, cases[i].value);

        ROW(cases[i].name);
        assert_string_equal(hl7_field(m, 1, 3), cases[i].want);
        assert_string_equal(hl7_raw(m, 1, 3, 1), cases[i].value);
        assert_int_equal(hl7_counts(m)->unknown_escapes, cases[i].unknown);
        hl7_free(m);
    }
}

/* The signs are those of MSH-2; what it lacks is not resolved. */
static const struct {
    const char *name, *head, *value, *want;
    unsigned unknown;
} heads[] = {
    { "others", "MSH$*!/%$A", "/F//S//R//T//E/|^", "$*!%/|^", 0 },
    { "no escape", "MSH|^~&|A", "a\\F\\b", "a\\F\\b", 0 },
    { "no subcomponent", "MSH|^~\\|A", "a\\T\\b&c", "a\\T\\b&c", 1 },
    { "no truncation", "MSH|^~\\&|A", "a\\P\\b", "a\\P\\b", 1 },
};

static void follows_the_head(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(heads); i++) {
        char text[100];
        struct hl7_message *m = NULL;
        struct hl7_fault fault;

        ROW(heads[i].name);
        snprintf(text, sizeof(text), "%s\rNTE%c%s\r", heads[i].head,
                 heads[i].head[3], heads[i].value);
        assert_int_equal(hl7_read(text, strlen(text), "", &m, &fault), ERR_OK);
        assert_string_equal(hl7_field(m, 1, 1), heads[i].want);
        assert_int_equal(hl7_counts(m)->unknown_escapes, heads[i].unknown);
        hl7_free(m);
    }
}

/* Splitting comes first (2.7.4: they stand for what is text). */
static void splits_before(void **state)
{
    struct hl7_message *m = read_value(HEAD, "a\\S\\b^c\\R\\d~e\\T\\f&g");

    (void)state;
    assert_int_equal(hl7_repetitions(m, 1, 3), 2);
    assert_int_equal(hl7_components(m, 1, 3, 1), 2);
    assert_string_equal(hl7_text(m, 1, 3, 1, 1, 1), "a^b");
    assert_string_equal(hl7_text(m, 1, 3, 1, 2, 1), "c~d");
    assert_string_equal(hl7_text(m, 1, 3, 2, 1, 1), "e&f");
    assert_string_equal(hl7_text(m, 1, 3, 2, 1, 2), "g");
    hl7_free(m);
}

/* MSH-2 is full of escapes and has none. */
static void leaves_the_signs(void **state)
{
    struct hl7_message *m = read_value("MSH|^~\\&|\\F\\", "");

    (void)state;
    assert_string_equal(hl7_field(m, 0, 2), "^~\\&");
    assert_string_equal(hl7_field(m, 0, 3), "|");
    assert_int_equal(hl7_counts(m)->unknown_escapes, 0);
    hl7_free(m);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(resolves_escapes),
        cmocka_unit_test(follows_the_head),
        cmocka_unit_test(splits_before),
        cmocka_unit_test(leaves_the_signs),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
