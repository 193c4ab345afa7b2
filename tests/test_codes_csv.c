#include "adapters/codes.h"
#include "tests/test.h"

#define BASE "https://headgate.example/fhir"
#define NOW  CODES_NEWEST
#define HEADER                                                                 \
    "source_system,source_code,target,unit_default,arm_rule,valid_from\n"
#define UNIT_C "https://unit-c.example/codes"

static struct codes *fresh(void)
{
    struct codes *codes = NULL;

    assert_int_equal(codes_new(BASE, &codes), ERR_OK);
    return codes;
}

/* Rows that are taken or refused.  The format: RFC 4180; the columns are this
 * project's own. */
static const struct {
    const char *name, *text;
    enum err want;
    const char *why;
} tables[] = {
    { "plain", HEADER "u:s,A,access-flow,mL/min,,\n", ERR_OK, "" },
    { "header alone", HEADER, ERR_OK, "" },
    { "three columns are enough",
      "source_system,source_code,target\nu:s,A,qb\n", ERR_OK, "" },
    { "any order, with a note",
      "target,note,source_code,source_system\nqb,\"pump, set\",A,u:s\n", ERR_OK,
      "" },
    { "byte order mark", "\xef\xbb\xbf" HEADER "u:s,A,qb,,,\n", ERR_OK, "" },
    { "CRLF, no end of line at the end",
      "source_system,source_code,target\r\nu:s,A,qb", ERR_OK, "" },
    { "blank lines", HEADER "\n\nu:s,A,qb,,,\n\n", ERR_OK, "" },
    { "a comma and a quote in a code", HEADER "u:s,\"A,\"\"B\"\"\",qb,,,\n",
      ERR_OK, "" },
    { "a code beyond ASCII", HEADER "u:s,Fl\xc3\xbcss,qb,,,\n", ERR_OK, "" },
    { "a method", HEADER "u:s,A,duplex,,,\n", ERR_OK, "" },
    { "a body site", HEADER "u:s,A,left-upper-arm,,,\n", ERR_OK, "" },
    { "a value", HEADER "u:s,A,pain-at-rest,,,\n", ERR_OK, "" },
    { "store and ignore", HEADER "u:s,A,store,,,\nu:s,B,ignore,,,\n", ERR_OK,
      "" },
    { "two dates",
      HEADER "u:s,A,qb,,,2020-01-01\nu:s,A,access-flow,,,2026-03-01\n", ERR_OK,
      "" },
    { "a unit for a code of LOINC",
      HEADER "http://loinc.org,8480-6,systolic-pressure,mm[Hg],,\n", ERR_OK,
      "" },
    { "an arm for a code of LOINC",
      HEADER "http://loinc.org,8480-6,systolic-pressure,,left,\n", ERR_OK, "" },
    { "a unit word", HEADER "urn:headgate:unit,Milliliter/Min,mL/min,,,\n",
      ERR_OK, "" },
    { "a unit word that means what it does anyway",
      HEADER "urn:headgate:unit,mmHg,mm[Hg],,,\n", ERR_OK, "" },

    { "a unit word that UCUM gives to the same unit",
      HEADER "urn:headgate:unit,Torr,mm[Hg],,,\n", ERR_OK, "" },
    { "a yes and a no", HEADER "u:s,J,yes,,,\nu:s,K,no,,,\n", ERR_OK, "" },
    { "words of an answer",
      HEADER "urn:headgate:text,Ja,present,,,\n"
             "urn:headgate:text,nein,absent,,,\n",
      ERR_OK, "" },

    /* UCUM 2.1: [psi] is 6894.76 Pa, atm 101325 Pa, mm[Hg] 133.322 Pa; mg is a
     * thousandth of g */
    { "psi is no mm[Hg]", HEADER "urn:headgate:unit,psi,mm[Hg],,,\n",
      ERR_CONFLICT, "'psi' is the word of another unit than 'mm[Hg]'" },
    { "nor in capitals", HEADER "urn:headgate:unit,PSI,mm[Hg],,,\n",
      ERR_CONFLICT, "'PSI' is the word of another unit" },
    { "an atmosphere is no mbar", HEADER "urn:headgate:unit,atm,mbar,,,\n",
      ERR_CONFLICT, "'atm' is the word of another unit" },
    { "mg is no g", HEADER "urn:headgate:unit,mg,g,,,\n", ERR_CONFLICT,
      "'mg' is the word of another unit" },
    { "of one code alone neither",
      HEADER "urn:headgate:unit:u:s|P,psi,mm[Hg],,,\n", ERR_CONFLICT,
      "'psi' is the word of another unit" },

    { "empty", "", ERR_FORM, "line 1: a header is needed" },
    { "no header", "u:s,A,qb\n", ERR_FORM,
      "line 1: column 1, 'u:s', is not one of source_system" },
    { "a column that is needed", "source_system,target\n", ERR_FORM,
      "line 1, source_code: this column is missing" },
    { "unknown column", "source_system,source_code,target,units\n", ERR_FORM,
      "line 1: column 4, 'units', is not one of" },
    { "capitals in a column", "Source_system,source_code,target\n", ERR_FORM,
      "column 1" },
    { "a column twice", "source_system,source_code,target,target\n",
      ERR_CONFLICT, "line 1, target: a column twice" },
    { "semicolons", "source_system;source_code;target\n", ERR_FORM,
      "line 1: column 1, 'source_system;source_code;target', is not" },
    { "too few fields", HEADER "u:s,A,qb,,,\nu:s,B,qb\n", ERR_FORM,
      "line 3: 3 fields, and the header has 6" },
    { "too many fields", HEADER "u:s,A,qb,,,,\n", ERR_FORM,
      "line 2: 7 fields" },
    { "lines are those of the file",
      HEADER "\n\nu:s,A,qb,,,\n\nu:s,B,flow,,,\n", ERR_UNKNOWN,
      "line 6, target: target code is not known here" },
    { "a line break within a field counts",
      "source_system,source_code,target,note\nu:s,A,qb,\"a\nb\"\nu:s,B,x,\n",
      ERR_UNKNOWN, "line 4, target" },
    { "unknown target", HEADER "u:s,A,flow,,,\n", ERR_UNKNOWN,
      "line 2, target: target code is not known" },
    { "no target", HEADER "u:s,A,,,,\n", ERR_UNKNOWN,
      "line 2, target: is empty; say 'ignore'" },
    { "no system", HEADER ",A,qb,,,\n", ERR_FORM, "line 2, source_system" },
    { "no code", HEADER "u:s,,qb,,,\n", ERR_FORM, "line 2, source_code" },
    { "a blank before a code", HEADER "u:s, A,qb,,,\n", ERR_FORM,
      "line 2, source_code" },
    { "a blank behind a target", HEADER "u:s,A,qb ,,,\n", ERR_UNKNOWN,
      "line 2, target" },
    { "same source twice", HEADER "u:s,A,qb,,,\nu:s,A,qb,,,\n", ERR_CONFLICT,
      "line 3, source_code: this code is mapped already" },
    { "same source twice from one date",
      HEADER "u:s,A,qb,,,2026-03-01\nu:s,A,access-flow,,,2026-03-01\n",
      ERR_CONFLICT, "line 3, source_code" },
    { "mapped from the start", HEADER "http://loinc.org,8480-6,spktv,,,\n",
      ERR_CONFLICT, "line 2, source_code: this code is mapped already, from" },
    /* pump flow is never access flow, from whatever date on */
    { "mapped from the start, and a date",
      HEADER "urn:iso:std:iso:11073:10101,158740,access-flow,,,2026-03-01\n",
      ERR_CONFLICT, "line 2, source_code: this code is mapped already, from" },
    { "ignored from the start", HEADER "http://loinc.org,70960-0,spktv,,,\n",
      ERR_CONFLICT, "mapped already" },
    { "the other side of a term",
      HEADER "http://loinc.org,8560-5,digital-pressure,,left,\n", ERR_CONFLICT,
      "mapped already" },
    { "our own code",
      HEADER BASE "/CodeSystem/av-observation,qb,access-flow,,,\n",
      ERR_CONFLICT, "line 2, source_system" },
    { "a unit of another dimension", HEADER "u:s,A,access-flow,mL,,\n",
      ERR_CONFLICT, "line 2, unit_default: 'mL' is not a UCUM code" },
    { "a unit in words", HEADER "u:s,A,systolic-pressure,mmHg,,\n",
      ERR_CONFLICT, "line 2, unit_default" },
    { "a unit of a sign", HEADER "u:s,A,thrill,1,,\n", ERR_CONFLICT,
      "line 2, unit_default: the target is not a number" },
    { "a unit of a panel", HEADER "u:s,A,session-panel,1,,\n", ERR_CONFLICT,
      "unit_default" },
    { "a unit of a method", HEADER "u:s,A,duplex,mL/min,,\n", ERR_CONFLICT,
      "unit_default" },
    { "a unit of what is ignored", HEADER "u:s,A,ignore,mL/min,,\n",
      ERR_CONFLICT, "unit_default" },
    { "an arm that is none", HEADER "u:s,A,digital-pressure,,both,\n",
      ERR_UNKNOWN, "line 2, arm_rule: is not one of left, right, access" },
    { "an arm of the heart", HEADER "u:s,A,cardiac-output,,left,\n",
      ERR_CONFLICT, "line 2, arm_rule: the target is not measured at an arm" },
    { "an arm of a value", HEADER "u:s,A,nyha-3,,left,\n", ERR_CONFLICT,
      "arm_rule" },
    { "an arm of a body site", HEADER "u:s,A,hand,,left,\n", ERR_CONFLICT,
      "arm_rule" },
    { "the access arm of a cuff", HEADER "u:s,A,systolic-pressure,,access,\n",
      ERR_CONFLICT, "line 2, arm_rule: 'access' is for" },
    { "30 February", HEADER "u:s,A,qb,,,2026-02-30\n", ERR_FORM,
      "line 2, valid_from: is not a date" },
    { "a month", HEADER "u:s,A,qb,,,2026-02\n", ERR_FORM, "valid_from" },
    { "the day first", HEADER "u:s,A,qb,,,01.03.2026\n", ERR_FORM,
      "valid_from" },
    { "a time", HEADER "u:s,A,qb,,,2026-03-01T00:00:00Z\n", ERR_FORM,
      "valid_from" },
    { "a unit word to a quantity", HEADER "urn:headgate:unit,foo,qb,,,\n",
      ERR_UNKNOWN, "line 2, target" },
    { "a unit word that has another meaning",
      HEADER "urn:headgate:unit,mmHg,kPa,,,\n", ERR_CONFLICT,
      "line 2, source_code: this unit is read as 'mm[Hg]' without a map" },
    { "a text to a quantity", HEADER "urn:headgate:text,flow,access-flow,,,\n",
      ERR_UNKNOWN,
      "line 2, target: exact words are mapped to a method, a body site" },
    { "texts differ by case only",
      HEADER "urn:headgate:text,Echo,duplex,,,\n"
             "urn:headgate:text,ECHO,duplex,,,\n",
      ERR_CONFLICT, "line 3" },
    { "bytes of another character set", HEADER "u:s,Fl\xfcss,qb,,,\n", ERR_FORM,
      "line 2: bytes that are not UTF-8" },
    { "a tab in a code", HEADER "u:s,A\tB,qb,,,\n", ERR_FORM,
      "line 2, source_code" },
    { "a quote that never closes", HEADER "u:s,\"A,qb,,,\nu:s,B,qb,,,\n",
      ERR_FORM, "line 2, field 2: a quote that is never closed" },
    { "text behind a quote", HEADER "u:s,\"A\"B,qb,,,\n", ERR_FORM,
      "line 2, field 2: a quote within a field" },
    { "a quote in the middle", HEADER "u:s,A\"B,qb,,,\n", ERR_FORM,
      "line 2, field 2" },
};

static void test_tables(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(tables); i++) {
        struct codes *codes = fresh();
        struct buf why;
        enum err e;

        ROW(tables[i].name);
        buf_init(&why, 1000);
        e = codes_add_csv(codes, tables[i].text, strlen(tables[i].text), &why);
        assert_int_equal(e, tables[i].want);
        if (strstr(why.data, tables[i].why) == NULL)
            print_error("%s\n", why.data);
        assert_non_null(strstr(why.data, tables[i].why));
        /* A refused file leaves no trace, not even of its good rows. */
        if (e != ERR_OK) {
            assert_true(why.len > 0);
            assert_false(codes_listed(codes, "u:s", "A", NOW));
        }
        assert_int_equal(codes_find(codes, CODES_LOINC, "8480-6", NOW).quantity,
                         Q_SYSTOLIC_PRESSURE);
        buf_clear(&why);
        codes_free(codes);
    }
}

static void add(struct codes *codes, const char *text)
{
    struct buf why;

    buf_init(&why, 1000);
    if (codes_add_csv(codes, text, strlen(text), &why) != ERR_OK)
        fail_msg("%s", why.data);
    buf_clear(&why);
}

static void test_columns_are_used(void **state)
{
    struct codes *codes = fresh();
    struct code_entry e;

    (void)state;
    add(codes, HEADER UNIT_C
        ",FLOW,access-flow,L/min,,\n" UNIT_C
        ",FP,digital-pressure,mm[Hg],access,\n" UNIT_C
        ",FPL,digital-pressure,,left,\n" UNIT_C ",NEAR,store,,,\n" UNIT_C
        ",FAR,ignore,,,\n" UNIT_C ",US,ultrasound-dilution,,,\n" UNIT_C
        ",LOA,left-upper-arm,,,\n" UNIT_C ",ULC,hand-ulcer,,,\n"
        "urn:headgate:text,Li. Arm,left-arm,,,\n"
        "urn:headgate:text,Messung A,duplex,,,\n"
        "urn:headgate:unit,ccm/min,mL/min,,,\n"
        "http://loinc.org,8560-5,digital-pressure,kPa,,\n");
    e = codes_find(codes, UNIT_C, "FLOW", NOW);
    assert_int_equal(e.quantity, Q_ACCESS_FLOW);
    assert_string_equal(e.unit, "L/min");
    assert_false(e.access_arm);
    assert_string_equal(codes_entry_word(&e), "access-flow");
    e = codes_find(codes, UNIT_C, "FP", NOW);
    assert_true(e.access_arm);
    assert_int_equal(e.side, SIDE_UNKNOWN);
    e = codes_find(codes, UNIT_C, "FPL", NOW);
    assert_int_equal(e.side, SIDE_LEFT);
    assert_null(e.unit);
    assert_int_equal(codes_find(codes, UNIT_C, "NEAR", NOW).meaning,
                     CODE_STORE);
    assert_int_equal(codes_find(codes, UNIT_C, "FAR", NOW).meaning,
                     CODE_IGNORE);
    assert_int_equal(codes_method(codes, UNIT_C, "US", NOW),
                     METHOD_ULTRASOUND_DILUTION);
    assert_int_equal(codes_site(codes, UNIT_C, "LOA", NOW).side, SIDE_LEFT);
    assert_int_equal(codes_find(codes, UNIT_C, "ULC", NOW).meaning,
                     CODE_QUESTION);
    assert_int_equal(codes_site_text(codes, "li. arm", NOW).side, SIDE_LEFT);
    assert_int_equal(codes_method_text(codes, "MESSUNG a", NOW), METHOD_DUPLEX);
    assert_true(codes_listed(codes, CODES_TEXT, "LI. ARM", NOW));
    assert_string_equal(codes_unit_text(codes, "ccm/min", NOW), "mL/min");
    assert_null(codes_unit_text(codes, "CCM/MIN", NOW)); /* case counts */
    /* what refines a row from the start keeps the side of its term */
    e = codes_find(codes, CODES_LOINC, "8560-5", NOW);
    assert_int_equal(e.side, SIDE_RIGHT);
    assert_string_equal(e.unit, "kPa");
    codes_free(codes);
}

/* 2026-03-29 is the day on which clocks in Berlin change: it begins at 23:00
 * UTC (IANA zone database, Europe/Berlin, UTC+1 until 01:00 UTC of that day). */
/* A sender's own yes and no: words of a text, whatever the case. */
static void test_answers(void **state)
{
    struct codes *codes = fresh();

    (void)state;
    add(codes, HEADER "urn:headgate:text,Ja,present,,,\n"
                      "urn:headgate:text,nein,no,,,\n"
                      "u:s,J,yes,,,\n");
    assert_int_equal(codes_answer_text(codes, " JA ", NOW),
                     SIGN_THRILL_PRESENT);
    assert_int_equal(codes_answer_text(codes, "Nein", NOW), SIGN_THRILL_ABSENT);
    assert_int_equal(codes_answer_text(codes, "ja, stark", NOW), SIGN_NONE);
    assert_int_equal(codes_answer_text(codes, "", NOW), SIGN_NONE);
    assert_int_equal(codes_answer_text(codes, NULL, NOW), SIGN_NONE);
    assert_int_equal(codes_sign(codes, Q_THRILL, "u:s", "J", NOW),
                     SIGN_THRILL_PRESENT);
    codes_free(codes);
}

static void test_dates(void **state)
{
    const int64_t utc_s = 1774742400; /* 2026-03-29T00:00:00Z */
    struct codes *codes = fresh();
    struct zone *zone = NULL;

    (void)state;
    add(codes, HEADER "u:s,A,qb,,,2020-01-01\n"
                      "u:s,A,access-flow,,,2026-03-29\n");
    assert_int_equal(codes_find(codes, "u:s", "A", 0).meaning, CODE_UNKNOWN);
    assert_int_equal(codes_find(codes, "u:s", "A", utc_s - 1).quantity,
                     Q_PUMP_FLOW);
    assert_int_equal(codes_find(codes, "u:s", "A", utc_s).quantity,
                     Q_ACCESS_FLOW);
    assert_int_equal(codes_find(codes, "u:s", "A", NOW).quantity,
                     Q_ACCESS_FLOW);
    assert_int_equal(zone_load("Europe/Berlin", &zone), ERR_OK);
    codes_set_zone(codes, zone);
    add(codes, HEADER "u:s,B,qb,,,2026-03-29\n");
    codes_set_zone(codes, NULL);
    zone_free(zone);
    assert_int_equal(codes_find(codes, "u:s", "B", utc_s - 3601).meaning,
                     CODE_UNKNOWN);
    assert_int_equal(codes_find(codes, "u:s", "B", utc_s - 3600).quantity,
                     Q_PUMP_FLOW);
    /* a row from always may be followed by one from a date, in another file */
    add(codes, HEADER "u:s,C,qb,,,\n");
    add(codes, HEADER "u:s,C,ignore,,,2026-03-29\n");
    assert_int_equal(codes_find(codes, "u:s", "C", 0).quantity, Q_PUMP_FLOW);
    assert_int_equal(codes_find(codes, "u:s", "C", NOW).meaning, CODE_IGNORE);
    codes_free(codes);
}

static void test_row_limit(void **state)
{
    enum { ROWS = 50000 }; /* that a map holds, with the shipped ones */
    struct codes *codes = fresh();
    struct buf text, why;

    (void)state;
    buf_init(&text, 1 << 24);
    buf_init(&why, 1000);
    buf_puts(&text, HEADER);
    for (int i = 0; i < ROWS; i++)
        buf_printf(&text, "u:s,%d,qb,,,\n", i);
    assert_int_equal(codes_add_csv(codes, text.data, text.len, &why),
                     ERR_LIMIT);
    assert_non_null(strstr(why.data, "too many rows"));
    assert_false(codes_listed(codes, "u:s", "0", NOW));
    buf_empty(&text);
    buf_puts(&text, HEADER);
    for (int i = 0; i < ROWS - 100; i++)
        buf_printf(&text, "u:s,%d,qb,,,\n", i);
    assert_int_equal(codes_add_csv(codes, text.data, text.len, &why), ERR_OK);
    for (int i = 0; i < ROWS - 100; i++) {
        char code[16];

        snprintf(code, sizeof(code), "%d", i);
        if (codes_find(codes, "u:s", code, NOW).quantity != Q_PUMP_FLOW)
            fail_msg("%s is not found", code);
    }
    buf_clear(&why);
    buf_clear(&text);
    codes_free(codes);
}

/* ---- learning -------------------------------------------------------------- */

static enum err learn(struct codes *codes, const char *code, const char *target,
                      const char *unit, int64_t from_s, const char *want)
{
    struct codes_line line = { "u:s", code, target, unit, "", from_s, 0 };
    struct buf why;
    enum err may, e;

    buf_init(&why, 1000);
    may = codes_may_learn(codes, &line, &why);
    if (strstr(why.data, want) == NULL)
        fail_msg("'%s' is not in '%s'", want, why.data);
    buf_empty(&why);
    e = codes_learn(codes, &line, &why);
    assert_int_equal(may, e);
    assert_non_null(strstr(why.data, want));
    buf_clear(&why);
    return e;
}

static void test_learn(void **state)
{
    struct codes *codes = fresh();

    (void)state;
    add(codes, HEADER "u:s,FILE,qb,,,\n");
    assert_int_equal(learn(codes, "A", "access-flow", "mL/min", INT64_MIN, ""),
                     ERR_OK);
    assert_string_equal(codes_find(codes, "u:s", "A", NOW).unit, "mL/min");
    /* once more the same is no error; another meaning is */
    assert_int_equal(learn(codes, "A", "access-flow", "mL/min", INT64_MIN, ""),
                     ERR_OK);
    assert_int_equal(learn(codes, "A", "access-flow", "L/min", INT64_MIN,
                           "source_code: this code is mapped already, by a "
                           "person, to 'access-flow'"),
                     ERR_CONFLICT);
    assert_int_equal(learn(codes, "A", "qb", "", 1000, ""), ERR_OK);
    assert_int_equal(codes_find(codes, "u:s", "A", 999).quantity,
                     Q_ACCESS_FLOW);
    assert_int_equal(codes_find(codes, "u:s", "A", 1000).quantity, Q_PUMP_FLOW);
    /* what stands in a file is changed there, whatever the date */
    assert_int_equal(learn(codes, "FILE", "access-flow", "", 1000,
                           "source_code: this code is mapped already, by a "
                           "file, to 'qb'"),
                     ERR_CONFLICT);
    assert_int_equal(learn(codes, "FILE", "qb", "", INT64_MIN, ""), ERR_OK);
    assert_int_equal(codes_find(codes, "u:s", "FILE", NOW).quantity,
                     Q_PUMP_FLOW);
    assert_int_equal(learn(codes, "B", "flow", "", INT64_MIN,
                           "target: target code is not known"),
                     ERR_UNKNOWN);
    assert_int_equal(learn(codes, "B", "qb", "mL", INT64_MIN, "unit_default"),
                     ERR_CONFLICT);
    assert_false(codes_listed(codes, "u:s", "B", NOW));
    codes_free(codes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_tables), cmocka_unit_test(test_columns_are_used),
        cmocka_unit_test(test_dates),  cmocka_unit_test(test_row_limit),
        cmocka_unit_test(test_learn),  cmocka_unit_test(test_answers),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
