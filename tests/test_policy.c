#include "adapters/policy_file.h"
#include "planner/sign.h"
#include "tests/test.h"

#include <stdbool.h>
#include <unistd.h>

static const char shipped[] = SOURCE_DIR "/config/policy.ini";

static char file_path[64];

static int make_file(void **state)
{
    int fd;

    (void)state;
    snprintf(file_path, sizeof(file_path), "/tmp/policy-XXXXXX");
    fd = mkstemp(file_path);
    return fd < 0 || close(fd) != 0;
}

static int remove_file(void **state)
{
    (void)state;
    return unlink(file_path);
}

/*
 * Write the shipped policy with one change: in this section, the line of
 * this key becomes `line` (NULL: it goes); with key NULL, `line` is added to
 * the section.
 */
static void write_changed(const char *section, const char *key,
                          const char *line)
{
    FILE *from = fopen(shipped, "re"), *to = fopen(file_path, "we");
    char text[512], here[64] = "";
    int changes = 0;

    assert_non_null(from);
    assert_non_null(to);
    while (fgets(text, sizeof(text), from) != NULL) {
        bool head = sscanf(text, "[%60[^]]]", here) == 1;
        size_t len = key != NULL ? strlen(key) : 0;
        bool match = strcmp(here, section) == 0 &&
                     (key != NULL ? strncmp(text, key, len) == 0 &&
                                        strncmp(text + len, " =", 2) == 0
                                  : head);

        changes += match;
        if (!match || key == NULL)
            fputs(text, to);
        if (match && line != NULL)
            fprintf(to, "%s\n", line);
    }
    fclose(from);
    fclose(to);
    assert_int_equal(changes, 1);
}

static enum err read_policy(const char *path, struct policy *p, char *why,
                            size_t size)
{
    struct buf b;
    enum err e;

    buf_init(&b, 4096);
    e = policy_file_read(path, p, &b);
    snprintf(why, size, "%s", b.data);
    buf_clear(&b);
    assert_int_equal(why[0] != '\0', e != ERR_OK);
    return e;
}

/* The published limits, each where its source puts it. */
static void ships_published_limits(void **state)
{
    static const struct {
        const char *name, *section, *key;
        double value;
        const char *mark, *source;
    } cases[] = {
        /* Basile, Nephrol Dial Transplant 2008;23:282: >= 2.0 L/min */
        { "very high flow", "HF-1", "flow_ml_min", 2000, "F",
          "BAS08 GER20 VAE" },
        /* Gerrickens, 3-year results: two consecutive measurements */
        { "twice", "HF-1", "readings", 2, "F", "GER20" },
        /* Adv Chronic Kidney Dis 2020;27:214: > 1.5 L/min */
        { "high flow", "HF-2", "flow_ml_min", 1500, "F", "ACK20 CAS" },
        /* Laranjinha, J Bras Nefrol 2018: 1.0 L/min with Qa/CO > 20 % */
        { "share", "HF-3", "ratio", 0.20, "F", "LAR18 BAS08 GIN23" },
        { "share, severe", "HF-3", "ratio_severe", 0.30, "F", "ACK20" },
        /* Schanzer, Vasc Med 2006: < 60 mmHg, index < 0.4 */
        { "finger pressure", "IS-5", "pressure_mmhg", 60, "F", "SCH06" },
        { "index, severe", "IS-5", "index_severe", 0.4, "F", "SCH06" },
        { "finger pressure, severe", "IS-5", "pressure_severe_mmhg", 30, "P",
          "SCH06" },
        /* Gerrickens, J Vasc Access 2021;22:194: < 0.6 abnormal */
        { "index", "IS-5", "index", 0.6, "F", "GER21" },
        { "grade", "IS-2", "grade", GRADE_4A, "F", "MIC08 THE" },
        { "graft", "LF-1", "flow_ml_min", 600, "F2", "DOQI" },
        { "fistula", "LF-2", "flow_ml_min", 500, "F", "KAR18 CASR" },
        /* more than 3 treatments a year, and > 1.5 L/min: recurrent
         * cephalic-arch stenosis, 220 patients */
        { "treatments", "HF-5", "treatments", 4, "F", "CAS" },
        { "with a flow", "HF-5", "flow_ml_min", 1500, "F", "CAS BWH18" },
        /* J Nephrol 2018: >= 603 mL/min/m^2.7 with >= 2 L/min */
        { "for the body", "HF-6", "flow_per_height", 603, "F", "IDX" },
        /* static pressure tables: graft 0.5, fistula 0.35 */
        { "ratio, graft", "LF-4", "ratio_graft", 0.50, "F", "JASNT" },
        { "ratio, fistula", "LF-4", "ratio_fistula", 0.35, "F2", "K06P" },
        { "recirculation", "LF-5", "recirculation_pct", 10, "F", "REC" },
        { "by dilution", "LF-5", "recirculation_dilution_pct", 5, "F", "CASR" },
        /* KDOQI adequacy 2006: spKt/V 1.2 with Kru < 2, URR 65 % */
        { "dose", "AD-1", "spktv", 1.2, "F", "HD06 HD15" },
        { "urea reduction", "AD-1", "urr_pct", 65, "F", "HD06" },
        { "residual", "AD-1", "kru_ml_min", 2, "F", "HD06" },
        /* KDOQI adequacy 2015: 2.1 a week */
        { "standard dose", "AD-1", "stdktv", 2.1, "F2", "HD15" },
        /* Vaes, J Vasc Surg 2015: > 1 L/min right after the band */
        { "first flow", "PB-1", "close_flow_ml_min", 1000, "F", "VAE" },
        { "urgency", "IS-2", "urgency", URGENCY_IMMEDIATE, "P",
          "THE MIC08 RAD" },
        { "no source", "general", "session_h", 4, "P", "" },
    };
    static struct policy p;
    char why[512];

    (void)state;
    assert_int_equal(read_policy(shipped, &p, why, sizeof(why)), ERR_OK);
    assert_string_equal(p.version, "1");
    assert_string_equal(p.approver, "not approved: defaults as shipped");
    assert_int_equal(strlen(p.date), 10);
    for (size_t i = 0; i < COUNT(cases); i++) {
        enum param row;

        ROW(cases[i].name);
        assert_int_equal(param_by_name(cases[i].section, cases[i].key, &row),
                         ERR_OK);
        assert_near(policy_get(&p, row), cases[i].value, 0);
        assert_string_equal(p.values[row].mark, cases[i].mark);
        assert_string_equal(p.values[row].source, cases[i].source);
    }
}

/* A person who reads a limit can find its paper. */
static void every_source_is_cited(void **state)
{
    static struct policy p;
    char why[512];

    (void)state;
    assert_int_equal(read_policy(shipped, &p, why, sizeof(why)), ERR_OK);
    for (unsigned i = 0; i < PARAM_TOTAL; i++) {
        const char *at = p.values[i].source;

        assert_true(*at != '\0' || strcmp(p.values[i].mark, "P") == 0);
        while (*at != '\0') {
            size_t len = strcspn(at, " ");

            assert_non_null(policy_citation(&p, at, len));
            at += len + strspn(at + len, " ");
        }
    }
    assert_null(policy_citation(&p, "BAS0", 4)); /* not by its beginning */
    assert_null(policy_citation(&p, "BAS08x", 6));
}

static const struct {
    const char *name, *section, *key, *line;
    enum err want;
    const char *why;
} changes[] = {
    { "other limit", "HF-1", "flow_ml_min", "flow_ml_min = 1800 | F | BAS08",
      ERR_OK, "" },
    { "other mark", "HF-1", "flow_ml_min", "flow_ml_min = 1800 | P |", ERR_OK,
      "" },
    { "no blanks", "HF-1", "flow_ml_min", "flow_ml_min=1800|M|BAS08", ERR_OK,
      "" },
    { "remark behind", "HF-1", "flow_ml_min",
      "flow_ml_min = 1800 | P | ; local", ERR_OK, "" },
    { "at the lowest", "general", "session_h", "session_h = 1 | P |", ERR_OK,
      "" },
    { "below the lowest", "general", "session_h", "session_h = 0.99 | P |",
      ERR_CONFIG, "[general] session_h: 0.99 is not between 1 and 12" },
    { "at the highest", "general", "session_h", "session_h = 12 | P |", ERR_OK,
      "" },
    { "above the highest", "general", "session_h", "session_h = 12.01 | P |",
      ERR_CONFIG, "12.01 is not between 1 and 12" },
    { "litres by mistake", "HF-1", "flow_ml_min",
      "flow_ml_min = 2.0 | F | GER20", ERR_CONFIG,
      "[HF-1] flow_ml_min: 2.0 is not between 500 and 8000" },
    { "per cent by mistake", "HF-3", "ratio", "ratio = 20 | F | LAR18",
      ERR_CONFIG, "20 is not between 0.05 and 0.8" },
    { "not a number", "HF-3", "ratio", "ratio = nan | F | LAR18", ERR_CONFIG,
      "nan is not" },
    { "a word", "HF-3", "ratio", "ratio = high | F | LAR18", ERR_CONFIG,
      "high is not a number" },
    { "more behind", "HF-3", "ratio", "ratio = 0.2x | F | LAR18", ERR_CONFIG,
      "0.2x is not a number" },
    { "hexadecimal", "HF-1", "flow_ml_min", "flow_ml_min = 0x7d0 | F | BAS08",
      ERR_CONFIG, "0x7d0 is not a number" },
    { "a word for no number", "HF-1", "flow_ml_min",
      "flow_ml_min = nan | F | BAS08", ERR_CONFIG, "nan is not a number" },
    { "with an exponent", "HF-1", "flow_ml_min",
      "flow_ml_min = 2.0e3 | F | BAS08", ERR_OK, "" },
    { "more than there are", "HF-1", "readings", "readings = 20 | F | GER20",
      ERR_CONFIG, "[HF-1] readings: " },
    { "half a reading", "HF-1", "readings", "readings = 1.5 | F | GER20",
      ERR_CONFIG, "1.5 is not a whole number" },
    { "other urgency", "HF-1", "urgency", "urgency = asap | P |", ERR_OK, "" },
    { "no urgency", "HF-1", "urgency", "urgency = soon | P |", ERR_CONFIG,
      "soon is not one of note routine" },
    { "urgency in numbers", "HF-1", "urgency", "urgency = 2 | P |", ERR_CONFIG,
      "2 is not one of note" },
    { "other grade", "IS-2", "grade", "grade = 4b | F | MIC08", ERR_OK, "" },
    { "no grade", "IS-2", "grade", "grade = 5 | F | MIC08", ERR_CONFIG,
      "5 is not one of" },
    { "grade without a sign", "IS-4", "grade_mild",
      "grade_mild = 0 | F | MIC08", ERR_CONFIG, "[IS-4] grade_mild: 0 is not" },

    { "no mark", "HF-1", "flow_ml_min", "flow_ml_min = 2000 | | BAS08",
      ERR_CONFIG, "the mark is not one of" },
    { "unknown mark", "HF-1", "flow_ml_min", "flow_ml_min = 2000 | F3 | BAS08",
      ERR_CONFIG, "the mark is not one of" },
    { "small mark", "HF-1", "flow_ml_min", "flow_ml_min = 2000 | f | BAS08",
      ERR_CONFIG, "the mark is not one of" },
    { "one bar", "HF-1", "flow_ml_min", "flow_ml_min = 2000 | F", ERR_CONFIG,
      "is not of the form" },
    { "three bars", "HF-1", "flow_ml_min", "flow_ml_min = 2000 | F | A | B",
      ERR_CONFIG, "is not of the form" },
    { "no value", "HF-1", "flow_ml_min", "flow_ml_min = | F | BAS08",
      ERR_CONFIG, "has no value" },
    { "nothing", "HF-1", "flow_ml_min", "flow_ml_min =", ERR_CONFIG,
      "is not of the form" },
    { "found, but where", "HF-1", "flow_ml_min", "flow_ml_min = 2000 | F |",
      ERR_CONFIG, "names no source" },
    { "from memory, of what", "HF-1", "flow_ml_min", "flow_ml_min = 2000 | M |",
      ERR_CONFIG, "names no source" },
    { "unknown source", "HF-1", "flow_ml_min",
      "flow_ml_min = 2000 | F | BAS08 XYZ99", ERR_CONFIG,
      "[HF-1] flow_ml_min: [sources] has no XYZ99" },
    { "unknown source of P", "HF-1", "flow_ml_min",
      "flow_ml_min = 2000 | P | XYZ99", ERR_CONFIG, "has no XYZ99" },

    { "row missing", "HF-1", "flow_ml_min", NULL, ERR_CONFIG,
      "[HF-1] flow_ml_min: is missing" },
    { "row twice", "HF-1", NULL, "flow_ml_min = 2000 | F | BAS08", ERR_CONFIG,
      "[HF-1] flow_ml_min: is given twice" },
    { "row unknown", "HF-1", NULL, "flow_l_min = 2 | F | BAS08", ERR_CONFIG,
      "[HF-1] flow_l_min: is not a row" },
    { "row of another", "HF-1", NULL, "ratio = 0.2 | F | BAS08", ERR_CONFIG,
      "[HF-1] ratio: is not a row" },
    { "no INI", "HF-1", NULL, "flow", ERR_CONFIG, "is not a line of an INI" },

    { "no version", "policy", "version", NULL, ERR_CONFIG,
      "[policy] must give version, approver and date" },
    { "no approver", "policy", "approver", "approver =", ERR_CONFIG,
      "[policy] approver: is empty" },
    { "approver that steers a terminal", "policy", "approver",
      "approver = Lead\033[31m for access", ERR_CONFIG,
      "[policy] approver: has control characters" },
    { "no date", "policy", "date", NULL, ERR_CONFIG, "must give" },
    { "leap day", "policy", "date", "date = 2028-02-29", ERR_OK, "" },
    { "no leap day", "policy", "date", "date = 2026-02-29", ERR_CONFIG,
      "is not a date" },
    { "other date", "policy", "date", "date = 25.11.2026", ERR_CONFIG,
      "is not a date" },
    { "signed year", "policy", "date", "date = -026-11-25", ERR_CONFIG,
      "is not a date" },
    { "head twice", "policy", NULL, "version = 2", ERR_CONFIG, "twice" },
    { "head unknown", "policy", NULL, "author = x", ERR_CONFIG,
      "[policy] author: is not known" },

    { "source gone", "sources", "SCH06", NULL, ERR_CONFIG,
      "[sources] has no SCH06" },
    { "source twice", "sources", NULL, "SCH06 = Again", ERR_CONFIG,
      "[sources] SCH06: is given twice" },
    { "source without a paper", "sources", "SCH06", "SCH06 =", ERR_CONFIG,
      "a citation has" },
    { "source with a long name", "sources", NULL, "ABCDEFGHIJKLMNOP = x",
      ERR_CONFIG, "1 to 15 characters" },
    { "source with a blank", "sources", NULL, "AB C = x", ERR_CONFIG,
      "letters and digits" },

    /* rows that contradict each other */
    { "high above very high", "HF-2", "flow_ml_min", "flow_ml_min = 2001 | P |",
      ERR_CONFIG, "[HF-2] flow_ml_min: contradicts [HF-1] flow_ml_min (line" },
    { "high is very high", "HF-2", "flow_ml_min", "flow_ml_min = 2000 | P |",
      ERR_OK, "" },
    { "low above high", "HF-2", "flow_ml_min", "flow_ml_min = 550 | P |",
      ERR_CONFIG, "[LF-1] flow_ml_min: contradicts" },
    { "severe below plain", "HF-3", "ratio_severe", "ratio_severe = 0.19 | P |",
      ERR_CONFIG, "[HF-3] ratio: contradicts" },
    { "index severe above", "IS-5", "index_severe", "index_severe = 0.61 | P |",
      ERR_CONFIG, "[IS-5] index_severe: contradicts" },
    { "pressure below the severe one", "IS-5", "pressure_mmhg",
      "pressure_mmhg = 29 | P |", ERR_CONFIG,
      "[IS-5] pressure_severe_mmhg: contradicts" },
    { "pressure is the severe one", "IS-5", "pressure_mmhg",
      "pressure_mmhg = 30 | P |", ERR_OK, "" },
    { "grades crossed", "IS-3", "grade", "grade = 4b | P |", ERR_CONFIG,
      "[IS-3] grade: contradicts" },
    { "a gap between high and low", "IS-7", "flow_ml_min",
      "flow_ml_min = 900 | P |", ERR_CONFIG, "contradicts" },
    { "due dates crossed", "general", "due_urgent_d", "due_urgent_d = 31 | P |",
      ERR_CONFIG, "[general] due_urgent_d: contradicts" },
};

static void judges_changes(void **state)
{
    static struct policy p;
    char why[512];

    (void)state;
    for (size_t i = 0; i < COUNT(changes); i++) {
        ROW(changes[i].name);
        write_changed(changes[i].section, changes[i].key, changes[i].line);
        memset(&p, 0x55, sizeof(p));
        assert_int_equal(read_policy(file_path, &p, why, sizeof(why)),
                         changes[i].want);
        if (strstr(why, changes[i].why) == NULL)
            print_error("why: %s\n", why);
        assert_non_null(strstr(why, changes[i].why));
        if (changes[i].want != ERR_OK)
            assert_int_equal(p.version[0], 0x55); /* untouched */
    }
}

/* The message names file and line: the change is on a known one. */
static void names_the_line(void **state)
{
    static struct policy p;
    char why[512], want[128], text[512];
    FILE *file = fopen(shipped, "re");
    int line = 1;

    (void)state;
    assert_non_null(file);
    while (fgets(text, sizeof(text), file) != NULL &&
           strncmp(text, "session_h", 9) != 0)
        line++;
    fclose(file);
    write_changed("general", "session_h", "session_h = 99 | P |");
    assert_int_equal(read_policy(file_path, &p, why, sizeof(why)), ERR_CONFIG);
    snprintf(want, sizeof(want),
             "%s:%d: [general] session_h: 99 is not between 1 and 12",
             file_path, line);
    assert_string_equal(why, want);
}

static void refuses_missing_files(void **state)
{
    static struct policy p;
    char why[512];

    (void)state;
    assert_int_equal(read_policy("/nowhere/p.ini", &p, why, sizeof(why)),
                     ERR_IO);
    assert_string_equal(why, "/nowhere/p.ini: cannot be read");
}

static void limits_the_sources(void **state)
{
    static struct policy p;
    char lines[4096] = "", why[512];

    (void)state;
    assert_int_equal(read_policy(shipped, &p, why, sizeof(why)), ERR_OK);
    for (size_t n = p.source_count; n <= POLICY_SOURCES_MAX; n++) {
        size_t len = strlen(lines);

        write_changed("sources", NULL, lines);
        assert_int_equal(read_policy(file_path, &p, why, sizeof(why)), ERR_OK);
        assert_int_equal(p.source_count, n);
        snprintf(lines + len, sizeof(lines) - len, "X%zu = Paper\n", n);
    }
    write_changed("sources", NULL, lines);
    assert_int_equal(read_policy(file_path, &p, why, sizeof(why)), ERR_CONFIG);
    assert_non_null(strstr(why, "one source too many"));
}

/* Every row of numbers, at both ends of its range and beyond. */
static void keeps_ranges(void **state)
{
    (void)state;
    for (unsigned i = 0; i < PARAM_TOTAL; i++) {
        const struct param_info *info = param_info((enum param)i);
        double step = info->kind == PARAM_COUNT ? 1 : 0.001, value;
        const double values[] = { info->least - step, info->least, info->most,
                                  info->most + step };

        if (info->kind != PARAM_NUMBER && info->kind != PARAM_COUNT)
            continue;
        ROW(info->key);
        for (size_t k = 0; k < COUNT(values); k++) {
            char text[32];

            snprintf(text, sizeof(text), "%.10g", values[k]);
            assert_int_equal(param_read((enum param)i, text, &value),
                             k == 0 || k == 3 ? ERR_RANGE : ERR_OK);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ships_published_limits),
        cmocka_unit_test(every_source_is_cited),
        cmocka_unit_test(judges_changes),
        cmocka_unit_test(names_the_line),
        cmocka_unit_test(refuses_missing_files),
        cmocka_unit_test(limits_the_sources),
        cmocka_unit_test(keeps_ranges),
    };

    return cmocka_run_group_tests(tests, make_file, remove_file);
}
