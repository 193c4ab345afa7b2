#include "adapters/hl7.h"
#include "tests/test.h"

#include <time.h>

#define HEAD "MSH|^~\\&|LAB|HALL.EXAMPLE|||20261126||ORU^R01|1|P|2.5.1"

static struct hl7_message *read_text(const char *text, const char *charset)
{
    struct hl7_message *m = NULL;
    struct hl7_fault fault = { .text = "" };
    enum err e = hl7_read(text, strlen(text), charset, &m, &fault);

    if (e != ERR_OK)
        print_error("%s\n", fault.text);
    assert_int_equal(e, ERR_OK);
    return m;
}

/* ---- structure ------------------------------------------------------------ */

/*
 * One segment of a repeated field with components and subcomponents, after HL7
 * v2.5.1, 2.14.9.3 (HD) and 2.A.14 (CX): a number, its authority as HD, its
 * type.
 */
static const char parts[] =
    HEAD "\r"
         "PID|1||1001^^^HALL&2.999.1&ISO^MR~77^^^OTHER|\"\"|a^^c||~x~|^\r"
         "NTE\r"
         "NTE||";

/* The text, and how many there are of what holds it. */
static const struct {
    size_t segment;
    int field, repetition, component, subcomponent;
    const char *text;
    size_t repetitions, components, subcomponents;
} cells[] = {
    { 0, 1, 1, 1, 1, "|", 1, 1, 1 },
    { 0, 2, 1, 1, 1, "^~\\&", 1, 1, 1 },
    { 0, 3, 1, 1, 1, "LAB", 1, 1, 1 },
    { 0, 5, 1, 1, 1, "", 0, 0, 0 },
    { 0, 9, 1, 2, 1, "R01", 1, 2, 1 },
    { 0, 12, 1, 1, 1, "2.5.1", 1, 1, 1 },
    { 0, 13, 1, 1, 1, "", 0, 0, 0 },
    { 1, 1, 1, 1, 1, "1", 1, 1, 1 },
    { 1, 2, 1, 1, 1, "", 0, 0, 0 },
    { 1, 3, 1, 1, 1, "1001", 2, 5, 1 },
    { 1, 3, 1, 2, 1, "", 2, 5, 0 },
    { 1, 3, 1, 4, 1, "HALL", 2, 5, 3 },
    { 1, 3, 1, 4, 3, "ISO", 2, 5, 3 },
    { 1, 3, 1, 4, 4, "", 2, 5, 3 },
    { 1, 3, 1, 5, 1, "MR", 2, 5, 1 },
    { 1, 3, 2, 4, 1, "OTHER", 2, 4, 1 },
    { 1, 3, 3, 1, 1, "", 2, 0, 0 },
    { 1, 4, 1, 1, 1, "\"\"", 1, 1, 1 },
    { 1, 5, 1, 3, 1, "c", 1, 3, 1 },
    { 1, 6, 1, 1, 1, "", 0, 0, 0 },
    { 1, 7, 1, 1, 1, "", 3, 0, 0 },
    { 1, 7, 2, 1, 1, "x", 3, 1, 1 },
    { 1, 7, 3, 1, 1, "", 3, 0, 0 },
    { 1, 8, 1, 1, 1, "", 1, 2, 0 },
    { 1, 9, 1, 1, 1, "", 0, 0, 0 },
    { 2, 1, 1, 1, 1, "", 0, 0, 0 },
    { 9, 1, 1, 1, 1, "", 0, 0, 0 },
    /* Nothing is counted from 0, and nothing is before the first. */
    { 1, 0, 1, 1, 1, "", 0, 0, 0 },
    { 1, 3, 0, 1, 1, "", 2, 0, 0 },
    { 1, 3, 1, 0, 1, "", 2, 5, 0 },
    { 1, 3, 1, 1, -1, "", 2, 5, 1 },
};

static void takes_apart(void **state)
{
    struct hl7_message *m = read_text(parts, "");

    (void)state;
    assert_int_equal(hl7_segments(m), 4);
    assert_string_equal(hl7_name(m, 1), "PID");
    assert_string_equal(hl7_name(m, 4), "");
    assert_int_equal(hl7_fields(m, 0), 12);
    assert_int_equal(hl7_fields(m, 1), 8);
    assert_int_equal(hl7_fields(m, 2), 0);
    assert_int_equal(hl7_fields(m, 3), 2);
    assert_int_equal(hl7_fields(m, 4), 0);
    for (size_t i = 0; i < COUNT(cells); i++) {
        size_t s = cells[i].segment;
        int f = cells[i].field, r = cells[i].repetition;
        int c = cells[i].component, u = cells[i].subcomponent;

        assert_string_equal(hl7_text(m, s, f, r, c, u), cells[i].text);
        assert_int_equal(hl7_repetitions(m, s, f), cells[i].repetitions);
        assert_int_equal(hl7_components(m, s, f, r), cells[i].components);
        assert_int_equal(hl7_subcomponents(m, s, f, r, c),
                         cells[i].subcomponents);
    }
    assert_string_equal(hl7_raw(m, 1, 3, 1), "1001^^^HALL&2.999.1&ISO^MR");
    assert_string_equal(hl7_raw(m, 1, 3, 2), "77^^^OTHER");
    assert_string_equal(hl7_raw(m, 1, 3, 3), "");
    assert_string_equal(hl7_raw(m, 0, 2, 1), "^~\\&");
    assert_string_equal(hl7_field(m, 1, 5), "a");
    assert_true(hl7_is_null(m, 1, 4));
    assert_false(hl7_is_null(m, 1, 2));
    assert_false(hl7_is_null(m, 1, 3));
    hl7_free(m);
    hl7_free(NULL);
}

static void finds_segments(void **state)
{
    struct hl7_message *m =
        read_text(HEAD "\rOBR|1\rOBX|1\rNTE|1\rOBX|2\rOBR|2\rOBX|1\r", "");
    struct hl7_place place = hl7_place_of(m, 6);
    size_t len;

    (void)state;
    assert_int_equal(hl7_find(m, "OBX", 0), 2);
    assert_int_equal(hl7_find(m, "OBX", 3), 4);
    assert_int_equal(hl7_find(m, "ZZZ", 0), 7);
    assert_int_equal(hl7_find(m, "OBX", 99), 7);
    assert_string_equal(place.segment, "OBX");
    assert_int_equal(place.sequence, 3);
    assert_string_equal(hl7_place_of(m, 7).segment, "");
    assert_memory_equal(hl7_head(m, &len), HEAD, strlen(HEAD));
    assert_int_equal(len, strlen(HEAD));
    hl7_free(m);
}

static const struct {
    struct hl7_place place;
    const char *want;
} places[] = {
    { { "", 0, 0, 0, 0, 0 }, "message" },
    { { "OBX", 3, 0, 0, 0, 0 }, "OBX[3]" },
    { { "OBX", 3, 5, 1, 1, 0 }, "OBX[3]-5.1" },
    { { "PID", 1, 3, 2, 4, 1 }, "PID[1]-3[2].4.1" },
    { { "PID", 1, 3, 2, 0, 0 }, "PID[1]-3[2]" },
    { { "PID", 1, 3, 0, 4, 0 }, "PID[1]-3.4" },
    { { "OBX", 20000, 1048576, 1048576, 1048576, 1048576 },
      "OBX[20000]-1048576[1048576].1048576.1048576" },
};

static void writes_places(void **state)
{
    char out[HL7_PLACE_SIZE];

    (void)state;
    for (size_t i = 0; i < COUNT(places); i++) {
        hl7_place_write(&places[i].place, out);
        assert_string_equal(out, places[i].want);
    }
}

/* ---- delimiters ----------------------------------------------------------- */

/* NULL: refused.  Otherwise component, repetition, escape, subcomponent and
 * truncation, "-" for none (HL7 v2.5.1, 2.5.4; truncation 2.7, 2.5.5.2). */
static const struct {
    const char *name, *head, *want;
} delimiters[] = {
    { "recommended", "MSH|^~\\&|A", "|^~\\&-" },
    { "with truncation", "MSH|^~\\&#|A", "|^~\\&#" },
    { "others", "MSH$*!/%$A", "$*!/%-" },
    { "no subcomponent", "MSH|^~\\|A", "|^~\\--" },
    { "neither subcomponent nor escape", "MSH|^~|A", "|^~---" },
    { "no escape", "MSH|^~&|A", "|^~-&-" },
    { "MSH ends there", "MSH|^~\\&", "|^~\\&-" },
    { "twice the same", "MSH|^^\\&|A", NULL },
    { "one alone", "MSH|^|A", NULL },
    { "a fifth the same", "MSH|^~\\&^|A", NULL },
    { "none", "MSH||A", NULL },
    { "too many", "MSH|^~\\&#@|A", NULL },
    { "a letter", "MSH|^~\\T|A", NULL },
    { "a letter parts fields", "MSHA^~\\&A", NULL },
    { "a digit", "MSH|^~\\1|A", NULL },
    { "a blank", "MSH|^~\\ |A", NULL },
    { "a control character", "MSH|^~\\\x01|A", NULL },
    { "not ASCII", "MSH|^~\\\xe4|A", NULL },
    { "cut short", "MSH|^", NULL },
    { "MSH alone", "MSH", NULL },
};

static char or_dash(char c)
{
    return c != '\0' ? c : '-';
}

static void reads_delimiters(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(delimiters); i++) {
        const char *head = delimiters[i].head;
        const struct hl7_delimiters *d;
        struct hl7_message *m;
        struct hl7_fault fault;
        char got[7] = "";
        enum err e;

        ROW(delimiters[i].name);
        e = hl7_read(head, strlen(head), "", &m, &fault);
        assert_int_equal(e, delimiters[i].want != NULL ? ERR_OK : ERR_FORM);
        if (e != ERR_OK) {
            assert_int_equal(fault.place.field, 2);
            continue;
        }
        d = hl7_delimiters(m);
        got[0] = d->field;
        got[1] = d->component;
        got[2] = d->repetition;
        got[3] = or_dash(d->escape);
        got[4] = or_dash(d->subcomponent);
        got[5] = or_dash(d->truncation);
        assert_string_equal(got, delimiters[i].want);
        hl7_free(m);
    }
}

/* ---- ends of segments ----------------------------------------------------- */

/* Segments, line feeds and blank ones counted. */
static const struct {
    const char *name, *end;
    unsigned segments, line_feeds, blank;
} ends[] = {
    { "CR", "\r", 3, 0, 0 },          { "CRLF", "\r\n", 3, 3, 0 },
    { "LF", "\n", 3, 3, 0 },          { "CR twice", "\r\r", 3, 0, 3 },
    { "blanks", "\r \t\r", 3, 0, 3 }, { "LF before CR", "\n\r", 3, 3, 3 },
};

static void passes_ends(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(ends); i++) {
        char text[200];
        struct hl7_message *m;

        ROW(ends[i].name);
        snprintf(text, sizeof(text), "%s%sPID|1%sOBX|1%s", HEAD, ends[i].end,
                 ends[i].end, ends[i].end);
        m = read_text(text, "");
        assert_int_equal(hl7_segments(m), ends[i].segments);
        assert_int_equal(hl7_counts(m)->line_feeds, ends[i].line_feeds);
        assert_int_equal(hl7_counts(m)->blank_segments, ends[i].blank);
        assert_string_equal(hl7_field(m, 2, 1), "1");
        hl7_free(m);
    }
}

/* ---- what is refused ------------------------------------------------------ */

static const struct {
    const char *name, *text;
    size_t len; /* 0: of the text */
    enum err want;
    const char *place;
} faults[] = {
    { "nothing", "", 0, ERR_FORM, "message" },
    { "no MSH", "PID|1\r", 0, ERR_FORM, "message" },
    { "blank before MSH", " " HEAD, 0, ERR_FORM, "message" },
    { "name in small letters", HEAD "\rPID|1\robx|1\r", 0, ERR_FORM, "PID[1]" },
    { "name too long", HEAD "\rPIDX|1\r", 0, ERR_FORM, "MSH[1]" },
    { "name too short", HEAD "\rPI\r", 0, ERR_FORM, "MSH[1]" },
    { "name begins with a digit", HEAD "\r1ID|\r", 0, ERR_FORM, "MSH[1]" },
    { "line feed within a field", HEAD "\rNTE|1||a\nb\r", 0, ERR_FORM,
      "NTE[1]" },
    { "other delimiter", HEAD "\rPID$1\r", 0, ERR_FORM, "MSH[1]" },
    { "a second message", HEAD "\rPID|1\r" HEAD "\r", 0, ERR_FORM, "MSH[2]" },
    { "NUL", HEAD "\rPID|1\rPID|1||\0|\r", sizeof(HEAD) + 15, ERR_FORM,
      "PID[2]-3" },
    { "NUL in MSH", "MSH|^~\\&|\0", 10, ERR_FORM, "MSH[1]-3" },
    { "not ASCII", HEAD "|\xc3\xa4|\rOBX|1\r", 0, ERR_FORM, "MSH[1]-13" },
    { "unknown character set", HEAD "||||||KLINGON\r", 0, ERR_UNKNOWN,
      "MSH[1]-18" },
};

static void names_faults(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(faults); i++) {
        size_t len = faults[i].len > 0 ? faults[i].len : strlen(faults[i].text);
        struct hl7_message *m;
        struct hl7_fault fault = { .text = "" };
        char place[HL7_PLACE_SIZE];

        ROW(faults[i].name);
        assert_int_equal(hl7_read(faults[i].text, len, "", &m, &fault),
                         faults[i].want);
        hl7_place_write(&fault.place, place);
        assert_string_equal(place, faults[i].place);
        assert_string_not_equal(fault.text, "");
    }
}

/* ---- limits and time ------------------------------------------------------ */

/* HEAD, CR and "OBX|" with this piece as often as there is room. */
static size_t fill(char *bytes, size_t size, const char *piece)
{
    size_t len = strlen(HEAD "\rOBX|"), n = strlen(piece);

    memcpy(bytes, HEAD "\rOBX|", len);
    while (len + n <= size) {
        memcpy(bytes + len, piece, n);
        len += n;
    }
    return len;
}

static void keeps_limits(void **state)
{
    char *bytes = malloc(HL7_MESSAGE_MAX + 1);
    struct hl7_message *m;
    struct hl7_fault fault;
    size_t len;

    (void)state;
    len = fill(bytes, HL7_MESSAGE_MAX, "x");
    assert_int_equal(len, HL7_MESSAGE_MAX);
    assert_int_equal(hl7_read(bytes, len, "", &m, &fault), ERR_OK);
    assert_int_equal(strlen(hl7_field(m, 1, 1)), len - strlen(HEAD "\rOBX|"));
    hl7_free(m);
    len = fill(bytes, HL7_MESSAGE_MAX + 1, "x");
    assert_int_equal(hl7_read(bytes, len, "", &m, &fault), ERR_LIMIT);
    /* MSH, the OBX that stands there, and so many more. */
    len = strlen(HEAD "\rOBX|");
    for (int i = 0; i < HL7_SEGMENTS_MAX - 2; i++, len += 5)
        memcpy(bytes + len, "\rOBX|", 5);
    assert_int_equal(hl7_read(bytes, len, "", &m, &fault), ERR_OK);
    assert_int_equal(hl7_segments(m), HL7_SEGMENTS_MAX);
    assert_int_equal(hl7_place_of(m, HL7_SEGMENTS_MAX - 1).sequence,
                     HL7_SEGMENTS_MAX - 1);
    hl7_free(m);
    memcpy(bytes + len, "\rOBX|", 5);
    assert_int_equal(hl7_read(bytes, len + 5, "", &m, &fault), ERR_LIMIT);
    len = fill(bytes, HL7_MESSAGE_MAX, "\xe4|");
    assert_int_equal(hl7_read(bytes, len, "", &m, &fault), ERR_LIMIT);
    assert_non_null(strstr(fault.text, "character set ASCII"));
    free(bytes);
}

/* What could be quadratic takes seconds then: a megabyte of each. */
static void stays_linear(void **state)
{
    static const char *const pieces[] = {
        "|",    "~",    "^",     "&",     "\\",        "\\X41\\",   "\\X41\\a",
        "\r",   "\n",   "|~^&",  "\\a",   "\\.sp20\\", "\rNTE|1||", "\\H\\",
        "\x80", "\xff", "a\xe4", "\xf5&", "\xe4...|"
    };
    char *bytes = malloc(HL7_MESSAGE_MAX);

    (void)state;
    for (size_t i = 0; i < COUNT(pieces); i++) {
        size_t len = fill(bytes, HL7_MESSAGE_MAX, pieces[i]);
        struct hl7_message *m = NULL;
        struct hl7_fault fault;
        clock_t begin = clock();
        enum err e = hl7_read(bytes, len, "", &m, &fault);

        ROW(pieces[i][0] == '\r' ? "segments" : pieces[i]);
        /* So many NTE are more than there may be. */
        assert_int_equal(e, pieces[i][0] == '\r' && pieces[i][1] != '\0'
                                ? ERR_LIMIT
                                : ERR_OK);
        assert_true((clock() - begin) / CLOCKS_PER_SEC < 10);
        hl7_free(m);
    }
    free(bytes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(takes_apart),   cmocka_unit_test(finds_segments),
        cmocka_unit_test(writes_places), cmocka_unit_test(reads_delimiters),
        cmocka_unit_test(passes_ends),   cmocka_unit_test(names_faults),
        cmocka_unit_test(keeps_limits),  cmocka_unit_test(stays_linear),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
