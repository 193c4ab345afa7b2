#include "adapters/hl7.h"
#include "adapters/hl7_charset.h"
#include "tests/test.h"

#define LOST "\xef\xbf\xbd" /* U+FFFD */
#define HEAD "MSH|^~\\&|LAB|HALL.EXAMPLE|||20261126||ORU^R01|1|P|2.5.1||||||"

/*
 * Bytes of a set and their characters.  Sources: the mapping tables of Unicode
 * for ISO 8859 (unicode.org, MAPPINGS/ISO8859); RFC 1468 for ISO 2022-JP; RFC
 * 3629 for UTF-8; the others are rows of the sets' own standards, from memory.
 */
static const struct {
    const char *name, *charset, *bytes, *want; /* NULL: U+FFFD, and told */
} cases[] = {
    { "ASCII", "ASCII", "abc", "abc" },
    { "ASCII has 128", "ASCII", "\xe4", NULL },
    { "none stated", "", "\xe4", NULL },
    { "Latin 1", "8859/1", "\xe4\xdf\xa4", "\xc3\xa4\xc3\x9f\xc2\xa4" },
    { "Latin 2", "8859/2", "\xb1", "\xc4\x85" }, /* U+0105 */
    { "Latin 3", "8859/3", "\xa1", "\xc4\xa6" }, /* U+0126 */
    { "Latin 3 has gaps", "8859/3", "\xa5", NULL },
    { "Latin 4", "8859/4", "\xa2", "\xc4\xb8" },      /* U+0138 */
    { "Cyrillic", "8859/5", "\xb4", "\xd0\x94" },     /* U+0414 */
    { "Arabic", "8859/6", "\xc7", "\xd8\xa7" },       /* U+0627 */
    { "Greek", "8859/7", "\xe1", "\xce\xb1" },        /* U+03B1 */
    { "Hebrew", "8859/8", "\xe0", "\xd7\x90" },       /* U+05D0 */
    { "Turkish", "8859/9", "\xfd", "\xc4\xb1" },      /* U+0131 */
    { "Latin 10", "8859/10", "\xa1", "\xc4\x84" },    /* U+0104 */
    { "Thai", "8859/11", "\xa1", "\xe0\xb8\x81" },    /* U+0E01 */
    { "Baltic", "8859/13", "\xa1", "\xe2\x80\x9d" },  /* U+201D */
    { "Celtic", "8859/14", "\xa1", "\xe1\xb8\x82" },  /* U+1E02 */
    { "Latin 9", "8859/15", "\xa4", "\xe2\x82\xac" }, /* U+20AC */
    { "UTF-8", "UNICODE UTF-8", "\xc3\xa4\xe2\x82\xac\xf0\x9f\xa9\xba",
      "\xc3\xa4\xe2\x82\xac\xf0\x9f\xa9\xba" },
    { "UTF-8, overlong", "UNICODE UTF-8", "\xc0\xbc", NULL },
    { "UTF-8, surrogate", "UNICODE UTF-8", "\xed\xa0\x80", NULL },
    { "UTF-8, beyond the last", "UNICODE UTF-8", "\xf4\x90\x80\x80", NULL },
    { "UTF-8, cut short", "UNICODE UTF-8", "\xe2\x82", NULL },
    { "UTF-8, Latin 1 sent instead", "UNICODE UTF-8", "J\xf6rg", NULL },
    { "Unicode in single bytes", "UNICODE", "\xc3\xa4", "\xc3\xa4" },
    /* "Nihon": F| and K\ are bytes of its two characters, and no delimiters */
    { "Japanese", "ISO IR87", "\x1b$BF|K\\\x1b(Bx",
      "\xe6\x97\xa5\xe6\x9c\xacx" },
    { "Chinese", "GB 18030-2000", "\xd6\xd0", "\xe4\xb8\xad" }, /* U+4E2D */
    { "Korean", "KS X 1001", "\xb0\xa1", "\xea\xb0\x80" },      /* U+AC00 */
    { "Taiwanese", "BIG-5", "\xa4\xa4", "\xe4\xb8\xad" },       /* U+4E2D */
    { "Taiwanese with a delimiter's byte", "BIG-5", "\xb3\x5c",
      "\xe8\xa8\xb1" }, /* U+8A31 */
    { "Windows", "CP1252", "\x80", "\xe2\x82\xac" },
    { "Windows has gaps", "CP1252", "\x81", NULL },
};

static void decodes(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        char text[200], place[HL7_PLACE_SIZE];
        struct hl7_message *m = NULL;
        struct hl7_fault fault;
        enum err e;

        ROW(cases[i].name);
        snprintf(text, sizeof(text), "%s%s\rOBX|1|ST|x||%s|y\r", HEAD,
                 cases[i].charset, cases[i].bytes);
        e = hl7_read(text, strlen(text), "", &m, &fault);
        assert_int_equal(e, ERR_OK);
        assert_int_equal(hl7_damages(m, 1), cases[i].want == NULL);
        if (cases[i].want == NULL) {
            struct hl7_place at = hl7_damage(m, 1, 0);

            hl7_place_write(&at, place);
            assert_string_equal(place, "OBX[1]-5.1");
            assert_non_null(strstr(hl7_field(m, 1, 5), LOST));
        } else {
            assert_string_equal(hl7_field(m, 1, 5), cases[i].want);
        }
        assert_string_equal(hl7_field(m, 1, 6), "y");
        hl7_free(m);
    }
}

/* The same bytes as hexadecimal escapes are the same characters (HL7 v2.5.1,
 * 2.7.5): all of a value in one, and each byte in its own. */
static void decodes_escapes(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const char *bytes = cases[i].bytes;
        char one[100] = "\\X", each[200] = "", text[800];
        struct hl7_message *m = NULL;
        struct hl7_fault fault;

        if (cases[i].want == NULL)
            continue;
        ROW(cases[i].name);
        for (size_t k = 0; bytes[k] != '\0'; k++) {
            snprintf(one + strlen(one), 3, "%02X", (unsigned char)bytes[k]);
            snprintf(each + strlen(each), 6, "\\X%02x\\",
                     (unsigned char)bytes[k]);
        }
        snprintf(text, sizeof(text), "%s%s\rOBX|%s\\|%s|a%sb\r", HEAD,
                 cases[i].charset, one, each, each);
        assert_int_equal(hl7_read(text, strlen(text), "", &m, &fault), ERR_OK);
        assert_string_equal(hl7_field(m, 1, 1), cases[i].want);
        assert_string_equal(hl7_field(m, 1, 2), cases[i].want);
        assert_memory_equal(hl7_field(m, 1, 3) + 1, cases[i].want,
                            strlen(cases[i].want));
        hl7_free(m);
    }
}

/* What the set of a message is: MSH-18, or what is set for none, or the mark.
 * The field is 0xE4 0xB8 0x80: one character of UTF-8, three of Latin 1. */
static const struct {
    const char *name, *before, *field, *charset;
    enum err want;
    const char *text;
} choices[] = {
    { "stated", "", "UNICODE UTF-8", "8859/1", ERR_OK, "\xe4\xb8\x80" },
    { "stated otherwise", "", "8859/1", "UNICODE UTF-8", ERR_OK,
      "\xc3\xa4\xc2\xb8\xc2\x80" },
    { "set for none", "", "", "UNICODE UTF-8", ERR_OK, "\xe4\xb8\x80" },
    { "nothing set", "", "", NULL, ERR_OK, LOST },
    { "first of several", "", "UNICODE UTF-8~ISO IR87", "", ERR_OK,
      "\xe4\xb8\x80" },
    { "first of several is empty", "", "~ISO IR87", "8859/1", ERR_OK,
      "\xc3\xa4\xc2\xb8\xc2\x80" },
    { "byte order mark", "\xef\xbb\xbf", "", "8859/1", ERR_OK, "\xe4\xb8\x80" },
    { "byte order mark, and stated", "\xef\xbb\xbf", "8859/1", "", ERR_OK,
      "\xc3\xa4\xc2\xb8\xc2\x80" },
    { "as senders spell it", "", "UTF-8", "", ERR_OK, "\xe4\xb8\x80" },
    { "small letters", "", "utf8", "", ERR_OK, "\xe4\xb8\x80" },
    { "with ISO", "", "ISO-8859-1", "", ERR_OK, "\xc3\xa4\xc2\xb8\xc2\x80" },
    { "by ISO's register", "", "ISO IR100", "", ERR_OK,
      "\xc3\xa4\xc2\xb8\xc2\x80" },
    { "unknown", "", "8859/77", "", ERR_UNKNOWN, "" },
    { "two bytes for each", "", "UNICODE UTF-16", "", ERR_UNKNOWN, "" },
    { "other delimiters", "", "ISO IR14", "", ERR_UNKNOWN, "" },
    { "unknown, set for none", "", "", "nothing", ERR_UNKNOWN, "" },
};

static void chooses(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(choices); i++) {
        char text[200];
        struct hl7_message *m = NULL;
        struct hl7_fault fault;

        ROW(choices[i].name);
        snprintf(text, sizeof(text), "%s%s%s\rNTE|\xe4\xb8\x80\r",
                 choices[i].before, HEAD, choices[i].field);
        assert_int_equal(
            hl7_read(text, strlen(text), choices[i].charset, &m, &fault),
            choices[i].want);
        if (m != NULL)
            assert_string_equal(hl7_field(m, 1, 1), choices[i].text);
        hl7_free(m);
    }
}

/* Every name that is listed can be used on this machine. */
static void opens_all(void **state)
{
    size_t count = 0;

    (void)state;
    for (; hl7_charset_listed(count) != NULL; count++) {
        const char *name = hl7_charset_listed(count);
        struct hl7_charset charset;

        ROW(name);
        assert_int_equal(hl7_charset_open(name, strlen(name), &charset),
                         ERR_OK);
        hl7_charset_close(&charset);
    }
    assert_true(count >= 15);
}

/* In Big5 0xB3 0x7C is one character: the "|" in it parts no fields. */
static void masks_characters(void **state)
{
    static const char text[] =
        "MSH|^~\\&|\xb3\x7c|B|||||ORU^R01|7|P|2.5.1\rPID|1\r";
    struct hl7_message *m = NULL;
    struct hl7_fault fault;
    size_t len;

    (void)state;
    assert_int_equal(hl7_read(text, strlen(text), "BIG-5", &m, &fault), ERR_OK);
    assert_string_equal(hl7_field(m, 0, 4), "B");
    assert_string_equal(hl7_field(m, 0, 10), "7");
    hl7_head(m, &len);
    assert_int_equal(strlen(hl7_head_mask(m)), len);
    assert_memory_equal(hl7_head_mask(m), "MSH|^~\\&|xx|B|", 14);
    hl7_free(m);
}

/*
 * Where bytes are that are not of the set.  The texts are those of Python's
 * codecs with errors="replace", each segment by itself, U+FFFD in a row counted
 * once; that these agree on messages drawn at random is shown by
 * tests/peers/hl7.py.
 */
static const struct {
    const char *name, *charset, *rest; /* behind MSH; PID and OBX */
    const char *five;                  /* PID-5 as it stands then */
    const char *pid[3], *obx[3];       /* places; NULL: no more */
} spots[] = {
    { "none",
      "8859/1",
      "PID|||||M\xfcller\rOBX|1\r",
      "M\xc3\xbcller",
      { 0 },
      { 0 } },
    { "the sender's own U+FFFD is none",
      "UNICODE UTF-8",
      "PID|||||M" LOST "ller\rOBX|1\r",
      "M" LOST "ller",
      { 0 },
      { 0 } },
    { "ASCII that was none",
      "ASCII",
      "PID|||||M\xfcller^J\xf6rg\rOBX|\xff\r",
      "M" LOST "ller^J" LOST "rg",
      { "PID[1]-5.1", "PID[1]-5.2" },
      { "OBX[1]-1.1" } },
    { "in a row",
      "UNICODE UTF-8",
      "PID|||||M\xfc\xff\xfeller\rOBX|1\r",
      "M" LOST "ller",
      { "PID[1]-5.1" },
      { 0 } },
    { "cut short by a delimiter",
      "UNICODE UTF-8",
      "PID|||||a\xe2\x82^b\xf0\x9f|x\rOBX|1\r",
      "a" LOST "^b" LOST,
      { "PID[1]-5.1", "PID[1]-5.2" },
      { 0 } },
    { "cut short by the end of the segment",
      "UNICODE UTF-8",
      "PID|||||a\xe2\x82\rOBX|\xac\r",
      "a" LOST,
      { "PID[1]-5.1" },
      { "OBX[1]-1.1" } },
    { "beyond the last, twice",
      "UNICODE UTF-8",
      "PID|||||\xf4\x90\x80\x80x\xf8y\rOBX|1\r",
      LOST "x" LOST "y",
      { "PID[1]-5.1" },
      { 0 } },
    { "in a repetition",
      "ASCII",
      "PID|||||a~b^\xe4\rOBX|1\r",
      "a",
      { "PID[1]-5[2].2" },
      { 0 } },
    { "a blank line that shifts",
      "ISO IR87",
      "\x1b$B\rPID|||||a\rOBX|1\r",
      "a",
      { 0 },
      { 0 } },
    { "a shift that never ends",
      "ISO IR87",
      "PID|||||\x1b$BF|K\\\rOBX|1|x\r",
      "\xe6\x97\xa5\xe6\x9c\xac",
      { "PID[1]" },
      { 0 } },
    { "and swallows the delimiters",
      "ISO IR87",
      "PID|||||\x1b$BF|K\\|MR\rOBX|1|x\r",
      NULL,
      { "", "PID[1]" },
      { 0 } },
    { "a shift that ends in another set",
      "ISO IR87",
      "PID|||||\x1b$BF|K\\\x1b(J\rOBX|1\r",
      "\xe6\x97\xa5\xe6\x9c\xac",
      { "PID[1]" },
      { 0 } },
    { "half a character, and back",
      "ISO IR87",
      "PID|||||\x1b$BF|K\x1b(Bx^y\rOBX|1\r",
      "\xe6\x97\xa5" LOST "x^y",
      { "PID[1]-5.1" },
      { 0 } },
    { "half a character before a delimiter",
      "KS X 1001",
      "PID|||||\xb0\xa1\xb0|x\rOBX|1\r",
      "\xea\xb0\x80" LOST,
      { "PID[1]-5.1" },
      { 0 } },
};

static void check_spots(const struct hl7_message *m, size_t segment,
                        const char *const want[3])
{
    size_t count = 0;

    while (count < 3 && want[count] != NULL)
        count++;
    assert_int_equal(hl7_damages(m, segment), count);
    for (size_t i = 0; i < count; i++) {
        struct hl7_place at = hl7_damage(m, segment, i);
        char place[HL7_PLACE_SIZE];

        hl7_place_write(&at, place);
        if (want[i][0] != '\0') /* "": somewhere */
            assert_string_equal(place, want[i]);
    }
}

static void tells_places(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(spots); i++) {
        char text[300];
        struct hl7_message *m = NULL;
        struct hl7_fault fault;

        ROW(spots[i].name);
        snprintf(text, sizeof(text), "%s%s\r%s", HEAD, spots[i].charset,
                 spots[i].rest);
        assert_int_equal(hl7_read(text, strlen(text), "", &m, &fault), ERR_OK);
        assert_int_equal(hl7_segments(m), 3);
        if (spots[i].five != NULL)
            assert_string_equal(hl7_raw(m, 1, 5, 1), spots[i].five);
        check_spots(m, 1, spots[i].pid);
        check_spots(m, 2, spots[i].obx);
        assert_int_equal(hl7_counts(m)->damage,
                         hl7_damages(m, 1) + hl7_damages(m, 2));
        hl7_free(m);
    }
}

/* In MSH, and in the name of a segment, they leave nothing to go by. */
static void refuses_heads(void **state)
{
    static const struct {
        const char *text, *place;
    } heads[] = {
        { "MSH|^~\\&|L\xe4|B|||||ORU^R01|7|P|2.5.1\rPID|1\r", "MSH[1]-3" },
        { "MSH|^~\\&|L|B|||||ORU^R01|7|P|2.5.1|\xff\rPID|1\r", "MSH[1]-13" },
        { "MSH|^~\\&|L|B|||||ORU^R01|7|P|2.5.1\rPI\xe4|1\r", "MSH[1]" },
        { "MSH|^~\\&|L|B|||||ORU^R01|7|P|2.5.1\rPID\xe4|1\r", "MSH[1]" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(heads); i++) {
        struct hl7_message *m = NULL;
        struct hl7_fault fault;
        char place[HL7_PLACE_SIZE];

        ROW(heads[i].text);
        assert_int_equal(
            hl7_read(heads[i].text, strlen(heads[i].text), "", &m, &fault),
            ERR_FORM);
        hl7_place_write(&fault.place, place);
        assert_string_equal(place, heads[i].place);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(decodes),          cmocka_unit_test(decodes_escapes),
        cmocka_unit_test(chooses),          cmocka_unit_test(opens_all),
        cmocka_unit_test(masks_characters), cmocka_unit_test(tells_places),
        cmocka_unit_test(refuses_heads),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
