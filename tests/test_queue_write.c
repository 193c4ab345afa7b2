#include "adapters/queue_text.h"
#include "adapters/queue_write.h"
#include "tests/golden.h"

#include <jansson.h>
#include <stdbool.h>

/* 2026-11-29, 14:05 in Berlin, which is an hour ahead of UTC then. */
static const int64_t now_s = 1795957500;
static const int64_t day_s = 86400;

static struct zone *berlin;

#define ACCESS_TEAM                                                            \
    "Review by the access team, together with cardiology if the heart is "     \
    "affected, of whether the flow should be reduced: measure the cardiac "    \
    "output in the same session as the flow, arrange echocardiography, and "   \
    "examine the heart and the hand."

/* Every name here is invented. */
static size_t fill(struct queue_row rows[16])
{
    const struct queue_row all[] = {
        { .urgency = URGENCY_IMMEDIATE,
          .patient_name = "Orla Finch",
          .patient_number = "1007",
          .unit = "Corvane West",
          .access = "Left upper-arm fistula A-1007",
          .headline = "tissue loss, grade 4a (limited tissue loss) (limit 4a, "
                      "IS-2); flow 2310 mL/min, high",
          .suggestion = "Assessment today by a vascular or access surgeon.",
          .task_id = "t-0001",
          .rules = "IS-2 IS-6",
          .group = "hand",
          .opened_s = now_s - day_s,
          .due_s = now_s - 16 * 3600 },
        { .urgency = URGENCY_ASAP,
          .state = EPISODE_TAKEN,
          .patient_name = "J\xc3\xbcrgen Vo\xc3\x9fkamp",
          .patient_number = "1012",
          .unit = "Corvane East",
          .access = "Right forearm graft A-1012",
          .headline = "rest pain, grade 3 (limit 3, IS-3); flow not known",
          .suggestion = "Assessment of the hand within 48 hours; finger "
                        "pressure with and without compression of the access.",
          .task_id = "t-0002",
          .rules = "IS-3",
          .group = "hand",
          .opened_s = now_s - day_s,
          .due_s = now_s },
        { .urgency = URGENCY_URGENT,
          .patient_name = "",
          .patient_number = "Patient/p-1044",
          .unit = "",
          .access = "",
          .headline = "flow 2120 then 2095 mL/min (limit 2000, HF-1)",
          .suggestion = "",
          .task_id = "t-0003",
          .rules = "HF-1",
          .group = "flow",
          .opened_s = now_s - 13 * day_s,
          .due_s = now_s + day_s },
        { .urgency = URGENCY_URGENT,
          .patient_name = "Mara Quill",
          .patient_number = "1001",
          .unit = "Corvane West",
          .access = "Left upper-arm fistula A-1001",
          .headline = "flow 2240 then 2180 mL/min (limit 2000, HF-1)",
          .suggestion = ACCESS_TEAM,
          .task_id = "t-0004",
          .rules = "HF-1 HF-3",
          .group = "flow",
          .opened_s = now_s - 11 * day_s,
          .due_s = now_s + 3 * day_s },
        { .urgency = URGENCY_ROUTINE,
          .patient_name = "Tobias Wren",
          .patient_number = "1030",
          .unit = "Corvane East",
          .access = "Right upper-arm fistula A-1030",
          .headline = "flow 1640 then 1610 mL/min (limit 1500, HF-2)",
          .suggestion = "Measure the cardiac output in the same session as the "
                        "flow, examine the heart and the hand, and repeat the "
                        "flow in 3 months.",
          .task_id = "t-0005",
          .rules = "HF-2",
          .group = "flow",
          .opened_s = now_s - 2 * day_s,
          .due_s = now_s + 28 * day_s },
        { .reminder = true,
          .patient_name = "Nora Pell",
          .patient_number = "1052",
          .unit = "Corvane West",
          .access = "Left forearm fistula A-1052",
          .headline = "access flow, by 2026-12-13. One measurement so far: "
                      "2050 mL/min on 2026-11-27 (limit 2000, HF-1)",
          .suggestion = "",
          .task_id = "t-0006",
          .rules = "",
          .group = "flow",
          .due_s = now_s + 14 * day_s },
        { .reminder = true,
          .patient_name = "Ansel Roe",
          .patient_number = "1061",
          .unit = "Corvane East",
          .access = "Left upper-arm fistula A-1061",
          .headline = "visit 30 days after the band of 2026-10-30: hand, "
                      "access flow",
          .suggestion = "",
          .task_id = "t-0007",
          .rules = "",
          .group = "follow-up",
          .due_s = now_s + 2 * day_s },
    };

    memcpy(rows, all, sizeof(all));
    return COUNT(all);
}

static void table(const struct queue_row *rows, size_t count, int columns,
                  bool colour, struct buf *out)
{
    const struct queue_options options = {
        .columns = columns, .colour = colour, .now_s = now_s, .zone = berlin
    };

    buf_empty(out);
    queue_write_table(rows, count, &options, out);
    assert_int_equal(buf_ok(out), ERR_OK);
}

static void whole_tables(void **state)
{
    static const struct {
        const char *name;
        int columns;
        bool colour, empty;
    } cases[] = {
        { "queue_60.txt", 60, false, false },
        { "queue_100.txt", 0, false, false },
        { "queue_200.txt", 200, false, false },
        { "queue_colour.txt", 80, true, false },
        { "queue_empty.txt", 80, false, true },
        { "queue_empty_60.txt", 60, false, true },
    };
    struct queue_row rows[16];
    size_t count = fill(rows);
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 20);
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        table(rows, cases[i].empty ? 0 : count, cases[i].columns,
              cases[i].colour, &out);
        assert_golden(cases[i].name, out.data, out.len);
    }
    buf_clear(&out);
}

/* Whoever looks must not believe that others were told. */
static void silent_mode_is_said(void **state)
{
    static const struct {
        const char *name;
        int columns;
        bool empty, one_posted;
    } cases[] = {
        { "queue_silent.txt", 80, false, false },
        { "queue_silent_60.txt", 60, false, true },
        { "queue_silent_empty.txt", 80, true, false },
    };
    struct queue_row rows[16];
    size_t count = fill(rows);
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 20);
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct queue_options options = { .columns = cases[i].columns,
                                         .silent = true,
                                         .now_s = now_s,
                                         .zone = berlin };

        ROW(cases[i].name);
        for (size_t k = 0; k < count; k++)
            rows[k].silent = k > 0 || !cases[i].one_posted;
        buf_empty(&out);
        queue_write_table(rows, cases[i].empty ? 0 : count, &options, &out);
        assert_int_equal(buf_ok(&out), ERR_OK);
        assert_golden(cases[i].name, out.data, out.len);
    }
    buf_clear(&out);
}

/* ---- what holds at every width ------------------------------------------ */

/* Without escapes: ESC [ ... m */
static void strip(struct buf *out, const char *text)
{
    buf_empty(out);
    while (*text != '\0') {
        if (*text == '\033') {
            text += strcspn(text, "m") + 1;
            continue;
        }
        buf_add(out, text++, 1);
    }
}

/* The words alone, in order, without the margin: what a reader reads on. */
static void body_words(struct buf *out, const char *text)
{
    buf_empty(out);
    while (*text != '\0') {
        size_t len = strcspn(text, "\n");
        size_t from = text[0] == ' ' ? (len < 20 ? len : 20) : 0;

        for (size_t i = from; i < len; i++) {
            if (text[i] != ' ')
                buf_add(out, text + i, 1);
        }
        text += len + (text[len] == '\n' ? 1 : 0);
    }
}

static void check_lines(const char *text, size_t columns)
{
    while (*text != '\0') {
        size_t len = strcspn(text, "\n");

        if (queue_text_columns(text, len) > columns)
            fail_msg("longer than %zu: %.*s", columns, (int)len, text);
        assert_true(len == 0 || text[len - 1] != ' ');
        assert_int_equal(text[len], '\n');
        text += len + 1;
    }
}

static void every_width(void **state)
{
    struct queue_row rows[16];
    size_t count = fill(rows);
    struct buf plain, colour, stripped, words, first;

    (void)state;
    buf_init(&plain, 1 << 20);
    buf_init(&colour, 1 << 20);
    buf_init(&stripped, 1 << 20);
    buf_init(&words, 1 << 20);
    buf_init(&first, 1 << 20);
    for (int columns = 60; columns <= 200; columns++) {
        table(rows, count, columns, false, &plain);
        check_lines(plain.data, (size_t)columns);
        assert_null(strchr(plain.data, '\033'));
        table(rows, count, columns, true, &colour);
        strip(&stripped, colour.data);
        assert_true(colour.len > plain.len);
        assert_string_equal(stripped.data, plain.data);
        /* Rules under headings are as long as these, so go without them. */
        body_words(columns == 60 ? &first : &words, plain.data);
        if (columns > 60)
            assert_string_equal(strstr(words.data, "Orla"),
                                strstr(first.data, "Orla"));
    }
    buf_clear(&plain);
    buf_clear(&colour);
    buf_clear(&stripped);
    buf_clear(&words);
    buf_clear(&first);
}

static void width_is_brought_into_range(void **state)
{
    static const struct {
        const char *name;
        int columns, as;
    } cases[] = {
        { "not a terminal", 0, 100 }, { "negative", -5, 60 },
        { "too narrow", 59, 60 },     { "least", 60, 60 },
        { "most", 200, 200 },         { "too wide", 5000, 200 },
    };
    struct queue_row rows[16];
    size_t count = fill(rows);
    struct buf got, want;

    (void)state;
    buf_init(&got, 1 << 20);
    buf_init(&want, 1 << 20);
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        table(rows, count, cases[i].columns, false, &got);
        table(rows, count, cases[i].as, false, &want);
        assert_string_equal(got.data, want.data);
    }
    buf_clear(&got);
    buf_clear(&want);
}

/* A sign that nobody could place stands first, what only waits to be closed
 * last; neither has a day that could have passed. */
static void held_and_gone(void **state)
{
    static const char *const in_order[] = {
        "\nPHONE NOW - a Task does not replace a call\n",
        "  NOT PLACED        ",
        "access not named",
        "  2026-11-29        Seen: a sign of emergency that could not be "
        "placed",
        "Suggested: ask the unit now",
        "Observation/o-1; kept and not used: see headgate quarantine",
        "\nGROUND GONE: nothing holds any more, only to be closed\n",
        "  to be closed      Orla Finch",
        "  since 1 d         Seen: ",
        "  IN HAND           ",
        "In the queue: 2. To phone now: 1. Ground gone, to be closed: 1. "
        "Overdue: 0. In hand: 1."
    };
    struct queue_row rows[16];
    struct buf out;
    const char *at;

    (void)state;
    fill(rows);
    rows[1] = rows[0];
    rows[1].state = EPISODE_TAKEN;
    rows[1].ground_gone = true;
    rows[1].rules = "";
    rows[0].held = true;
    rows[0].access = rows[0].rules = rows[0].group = rows[0].task_id = "";
    rows[0].headline = "a sign of emergency that could not be placed: Motor "
                       "weakness (it is not clear which access is meant)";
    rows[0].suggestion = "ask the unit now";
    rows[0].observation = "o-1";
    rows[0].opened_s = now_s;
    rows[0].due_s = 0;
    buf_init(&out, 1 << 20);
    table(rows, 2, 100, false, &out);
    at = out.data;
    for (size_t i = 0; i < COUNT(in_order); i++) {
        at = strstr(at, in_order[i]);
        if (at == NULL)
            fail_msg("%s is not, or not in its place, in:\n%s", in_order[i],
                     out.data);
    }
    assert_null(strstr(out.data, "overdue "));
    buf_empty(&out);
    queue_write_json(&rows[0], now_s, berlin, &out);
    assert_non_null(strstr(out.data, "{\"kind\":\"held-emergency\",\"urgency\":"
                                     "\"immediate\""));
    assert_non_null(strstr(out.data, "\"observation\":\"o-1\""));
    assert_non_null(strstr(out.data, "\"task\":null"));
    buf_empty(&out);
    queue_write_json(&rows[1], now_s, berlin, &out);
    assert_non_null(strstr(out.data, "\"state\":\"taken\""));
    assert_non_null(strstr(out.data, "\"ground_gone\":true"));
    buf_clear(&out);
}

/* ---- one row ------------------------------------------------------------ */

static struct queue_row bare(void)
{
    return (struct queue_row){ .urgency = URGENCY_ROUTINE,
                               .state = EPISODE_OPEN,
                               .patient_name = "",
                               .patient_number = "",
                               .unit = "",
                               .access = "",
                               .headline = "",
                               .suggestion = "",
                               .task_id = "",
                               .rules = "",
                               .group = "" };
}

/* Midnight there is at 23:00 UTC: 9 h 55 min after now_s. */
static const struct {
    const char *name;
    int64_t due_s; /* from now; INT64_MIN: none */
    const char *want;
} due_cases[] = {
    { "the last second of today", 35699, "due today" },
    { "the first of tomorrow", 35700, "due in 1 d" },
    { "three days", 3 * 86400, "due in 3 d" },
    { "earlier today", -50699, "due today" }, /* 00:00:01 */
    { "midnight", -50700, "due today" },
    { "yesterday", -50701, "overdue 1 d" },
    { "two days ago", -2 * 86400, "overdue 2 d" },
    { "fits the margin", -9999 * 86400LL, "overdue 9999 d" },
    { "does not fit", -10000 * 86400LL, "see the date" },
    { "none", INT64_MIN, "no date set" },
};

static void says_when(void **state)
{
    struct queue_row row = bare();
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 20);
    for (size_t i = 0; i < COUNT(due_cases); i++) {
        char line[64];

        ROW(due_cases[i].name);
        row.due_s =
            due_cases[i].due_s == INT64_MIN ? 0 : now_s + due_cases[i].due_s;
        table(&row, 1, 80, false, &out);
        snprintf(line, sizeof(line), "\n  %-18sName not known (number",
                 due_cases[i].want);
        if (strstr(out.data, line) == NULL)
            fail_msg("%s", out.data);
        assert_int_equal(strstr(out.data, "Overdue: 1.") != NULL,
                         strstr(due_cases[i].want, "overdue") != NULL ||
                             due_cases[i].due_s == -10000 * 86400LL);
    }
    buf_clear(&out);
}

static const struct {
    const char *name;
    enum urgency urgency;
    bool reminder;
    const char *want;
} headings[] = {
    { "immediate", URGENCY_IMMEDIATE, false,
      "\nPHONE NOW - a Task does not replace a call\n" },
    { "asap", URGENCY_ASAP, false, "\nVERY URGENT - by the date shown\n" },
    { "urgent", URGENCY_URGENT, false, "\nURGENT - by the date shown\n" },
    { "routine", URGENCY_ROUTINE, false, "\nROUTINE - by the date shown\n" },
    { "note", URGENCY_NOTE, false, "\nREMARKS - no referral\n" },
    { "reminder", URGENCY_IMMEDIATE, true, "\nMEASURE AGAIN - " },
};

static void says_how_urgent(void **state)
{
    struct queue_row row = bare();
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 20);
    for (size_t i = 0; i < COUNT(headings); i++) {
        ROW(headings[i].name);
        row.urgency = headings[i].urgency;
        row.reminder = headings[i].reminder;
        table(&row, 1, 100, false, &out);
        for (size_t k = 0; k < COUNT(headings); k++)
            assert_int_equal(strstr(out.data, headings[k].want) != NULL,
                             k == i);
        assert_non_null(strstr(out.data, "a qualified clinician decides."));
    }
    buf_clear(&out);
}

static void failure_is_kept(void **state)
{
    struct queue_row rows[16];
    size_t count = fill(rows);
    const struct queue_options options = { .now_s = now_s, .zone = berlin };
    struct buf out;

    (void)state;
    buf_init(&out, 500);
    queue_write_table(rows, count, &options, &out);
    assert_int_equal(buf_ok(&out), ERR_LIMIT);
    buf_empty(&out);
    for (size_t i = 0; i < count; i++)
        queue_write_json(&rows[i], now_s, berlin, &out);
    assert_int_equal(buf_ok(&out), ERR_LIMIT);
    buf_clear(&out);
}

/* ---- text --------------------------------------------------------------- */

static const struct {
    const char *name, *text, *want;
} clean_cases[] = {
    { "as it is", "Mara Quill", "Mara Quill" },
    { "blanks", "  Mara \t\n Quill ", "Mara Quill" },
    { "only blanks", " \r\n ", "" },
    { "umlaut", "J\xc3\xbcrgen", "J\xc3\xbcrgen" },
    { "four bytes", "\xf0\x9f\x91\x8d", "\xf0\x9f\x91\x8d" },
    { "escape", "a\033[31mb\x7f", "a [31mb" },
    { "C1 control",
      "a\xc2\x9b"
      "31mb",
      "a 31mb" },
    { "line separator",
      "a\xe2\x80\xa8"
      "b",
      "a b" },
    { "right to left override",
      "12\xe2\x80\xae"
      "34",
      "1234" },
    { "no width, at the start", "\xef\xbb\xbfMara", "Mara" },
    { "no-break blank stays", "2\xc2\xa0mL", "2\xc2\xa0mL" },
    { "stray byte",
      "a\x80"
      "b",
      "a?b" },
    { "cut short", "a\xe2\x82", "a??" },
    { "longer than needed", "\xc0\xaf", "??" },
    { "longer than needed, three", "\xe0\x80\xaf", "???" },
    { "surrogate", "\xed\xa0\x80", "???" },
    { "beyond Unicode", "\xf4\x90\x80\x80", "????" },
};

static void cleans(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 20);
    for (size_t i = 0; i < COUNT(clean_cases); i++) {
        ROW(clean_cases[i].name);
        buf_empty(&out);
        queue_text_clean(&out, clean_cases[i].text);
        assert_string_equal(out.data, clean_cases[i].want);
    }
    buf_clear(&out);
}

/* Who has it, and who was only asked, are not the same. */
static void whose_it_is(void **state)
{
    struct queue_row rows[16];
    struct buf out;

    (void)state;
    fill(rows);
    rows[0].state = EPISODE_TAKEN;
    rows[0].owner = "Vascular \xe2\x80\xae"
                    "clinic";
    buf_init(&out, 1 << 20);
    table(rows, 1, 100, false, &out);
    assert_non_null(strstr(out.data, "In hand: Vascular clinic\n"));
    assert_null(strstr(out.data, "Handed to"));
    rows[0].state = EPISODE_OPEN;
    table(rows, 1, 100, false, &out);
    assert_non_null(
        strstr(out.data, "Handed to: Vascular clinic, not yet taken\n"));
    assert_null(strstr(out.data, "In hand: V"));
    buf_clear(&out);
}

/* Bytes by RFC 3629: none too long, no surrogate, nothing beyond U+10FFFF. */
static void utf8_is_told(void **state)
{
    static const struct {
        const char *text;
        bool is;
    } rows[] = {
        { "", true },
        { "R. Sample", true },
        { "\xc3\x84rztin", true },
        { "\xf0\x9f\x98\x80", true },
        { "X\xff\xfe", false },
        { "\xc3", false },
        { "\xc0\xaf", false },
        { "\xed\xa0\x80", false },
        { "\xf4\x90\x80\x80", false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++)
        assert_int_equal(queue_text_is_utf8(rows[i].text), rows[i].is);
}

static void long_text_is_cut(void **state)
{
    struct buf in, out;

    (void)state;
    buf_init(&in, 1 << 20);
    buf_init(&out, 1 << 20);
    for (int i = 0; i < QUEUE_TEXT_MAX; i++)
        buf_puts(&in, "\xc3\xa9");
    queue_text_clean(&out, in.data);
    assert_string_equal(out.data, in.data);
    buf_puts(&in, "x");
    buf_empty(&out);
    queue_text_clean(&out, in.data);
    assert_int_equal(out.len, 2 * QUEUE_TEXT_MAX + 3);
    assert_string_equal(out.data + out.len - 3, "...");
    buf_clear(&in);
    buf_clear(&out);
}

static const struct {
    const char *name;
    size_t columns;
    const char *text, *want; /* lines with a bar between */
} wrap_cases[] = {
    { "nothing", 10, "", "" },
    { "fits", 10, "Mara Quill", "Mara Quill" },
    { "one too many", 9, "Mara Quill", "Mara|Quill" },
    { "code points, not bytes", 6, "\xc3\xbc\xc3\xbc\xc3\xbc \xc3\xbc\xc3\xbc",
      "\xc3\xbc\xc3\xbc\xc3\xbc \xc3\xbc\xc3\xbc" },
    { "long word is cut", 4, "abcdefghij", "abcd|efgh|ij" },
    { "long word after another", 4, "ab cdefgh", "ab|cdef|gh" },
    { "not within a character", 2, "\xc3\xbc\xc3\xbc\xc3\xbc",
      "\xc3\xbc\xc3\xbc|\xc3\xbc" },
    { "not before a combining mark", 2, "abe\xcc\x81", "ab|e\xcc\x81" },
    { "a mark has no width", 3, "abe\xcc\x81", "abe\xcc\x81" },
    { "number and unit", 14, "flow 2180 mL/min high", "flow|2180 mL/min|high" },
    { "unit with a comma", 14, "flow 2180 mL/min, high",
      "flow|2180 mL/min,|high" },
    { "number and unit too long", 6, "2180 mL/min", "2180|mL/min" },
    { "no unit", 9, "grade 3 pain", "grade 3|pain" },
};

static void wraps_pages(void **state)
{
    static const char page[] =
        "short\n\n"
        "  what stands a little further in is continued a little further in "
        "than that\n"
        "no feed at the end";
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 20);
    queue_page_wrap(page, strlen(page), 60, &out);
    assert_string_equal(
        out.data, "short\n\n"
                  "  what stands a little further in is continued a little\n"
                  "    further in than that\n"
                  "no feed at the end\n");
    buf_empty(&out);
    queue_page_wrap(page, strlen(page), 0, &out); /* a hundred columns */
    assert_non_null(strstr(out.data, "further in than that\n"));
    assert_non_null(strstr(out.data, "  what stands a little further in is "
                                     "continued a little further in than"));
    buf_clear(&out);
}

static void wraps(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 20);
    for (size_t i = 0; i < COUNT(wrap_cases); i++) {
        struct queue_span rest = { wrap_cases[i].text,
                                   strlen(wrap_cases[i].text) };
        struct queue_span line;

        ROW(wrap_cases[i].name);
        buf_empty(&out);
        while (queue_text_line(&rest, wrap_cases[i].columns, &line)) {
            buf_puts(&out, out.len > 0 ? "|" : "");
            buf_add(&out, line.text, line.len);
        }
        assert_string_equal(out.data, wrap_cases[i].want);
    }
    buf_clear(&out);
}

/* A name that tries to be a terminal's command, or longer than a line. */
static void hostile_rows(void **state)
{
    struct queue_row row = bare();
    struct buf out, name;

    (void)state;
    buf_init(&out, 1 << 20);
    buf_init(&name, 1 << 20);
    for (int i = 0; i < 3000; i++)
        buf_puts(&name, "w");
    row.patient_name = "Ada\033]0;title\007\r\nPHONE NOW\n";
    row.access = name.data;
    row.headline = "\xff\xfe";
    for (int columns = 60; columns <= 200; columns += 7) {
        table(&row, 1, columns, false, &out);
        check_lines(out.data, (size_t)columns);
        assert_null(strchr(out.data, '\033'));
        assert_null(strchr(out.data, '\r'));
        assert_null(strstr(out.data, "\nPHONE"));
    }
    buf_clear(&out);
    buf_clear(&name);
}

/* ---- for programs ------------------------------------------------------- */

static void json_lines(void **state)
{
    struct queue_row rows[16];
    size_t count = fill(rows);
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 20);
    for (size_t i = 0; i < count; i++)
        queue_write_json(&rows[i], now_s, berlin, &out);
    rows[0] = bare();
    rows[0].patient_name = "Zo\xc3\xab \"Zed\"\n";
    rows[0].due_s = now_s - day_s;
    queue_write_json(&rows[0], now_s, berlin, &out);
    assert_int_equal(buf_ok(&out), ERR_OK);
    assert_golden("queue_json.txt", out.data, out.len);
    buf_clear(&out);
}

/* Every member in every row, whatever is known. */
static void json_members(void **state)
{
    static const char *const members[] = {
        "kind",
        "urgency",
        "state",
        "patient",
        "patient_number",
        "unit",
        "access",
        "seen",
        "rules",
        "suggestion",
        "due",
        "due_days",
        "group",
        "opened",
        "task",
        "silent",
        "ground_gone",
        "observation",
        "open_days",
        "owner",
        "put_off_until",
        "put_off_by",
        "escalated",
        "input",
        "recorded_deceased",
        "replaced_by",
        "deceased",
        "death_doubtful",
    };
    struct queue_row rows[16];
    size_t count = fill(rows);
    struct buf out;

    (void)state;
    buf_init(&out, 1 << 20);
    rows[count++] = bare();
    for (size_t i = 0; i < count; i++) {
        json_t *root;

        buf_empty(&out);
        queue_write_json(&rows[i], now_s, berlin, &out);
        assert_int_equal(out.data[out.len - 1], '\n');
        assert_ptr_equal(strchr(out.data, '\n'), out.data + out.len - 1);
        root = json_loads(out.data, JSON_REJECT_DUPLICATES, NULL);
        assert_non_null(root);
        assert_int_equal(json_object_size(root), COUNT(members));
        for (size_t k = 0; k < COUNT(members); k++)
            assert_non_null(json_object_get(root, members[k]));
        json_decref(root);
    }
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whole_tables),
        cmocka_unit_test(silent_mode_is_said),
        cmocka_unit_test(every_width),
        cmocka_unit_test(width_is_brought_into_range),
        cmocka_unit_test(says_when),
        cmocka_unit_test(says_how_urgent),
        cmocka_unit_test(held_and_gone),
        cmocka_unit_test(failure_is_kept),
        cmocka_unit_test(cleans),
        cmocka_unit_test(whose_it_is),
        cmocka_unit_test(utf8_is_told),
        cmocka_unit_test(long_text_is_cut),
        cmocka_unit_test(wraps),
        cmocka_unit_test(wraps_pages),
        cmocka_unit_test(hostile_rows),
        cmocka_unit_test(json_lines),
        cmocka_unit_test(json_members),
    };
    int failed;

    if (zone_load("Europe/Berlin", &berlin) != ERR_OK)
        return 1;
    failed = cmocka_run_group_tests(tests, NULL, NULL);
    zone_free(berlin);
    return failed;
}
