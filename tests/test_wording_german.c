/*
 * The texts in German: whole Tasks are kept in tests/golden; of every scenario
 * of the English tests it is asked that no English is left in between, and that
 * each number of the English text stands in the German one, with a comma before
 * its decimals (Unicode CLDR, de, symbols/decimal).
 *
 * The language of a process is set once: what is English is made first.
 */
#include "adapters/catalogue.h"
#include "planner/adequacy.h"
#include "tests/golden.h"
#include "tests/wording_scenarios.h"

#include <ctype.h>

enum { TEXTS_MAX = 4, NUMBERS_MAX = 1200, NUMBER_SIZE = 24 };

/* ---- all that is said of a history --------------------------------------------- */

static const struct {
    const char *title;
    text_fn say;
} says[TEXTS_MAX] = { { "headline", wording_headline },
                      { "suggestion", wording_suggestion },
                      { "description", wording_description },
                      { "basis", wording_basis } };

static void say_reminders(const struct world *w, struct buf *out)
{
    for (size_t i = 0; i < w->findings.count; i++) {
        const struct finding *f = &w->findings.list[i];

        if (f->repeat_of == Q_NONE && f->rule != RULE_PB_1)
            continue;
        wording_repeat_headline(&w->wording, f, out);
        buf_puts(out, "\n");
        wording_repeat(&w->wording, f, out);
        buf_puts(out, "\n");
        wording_overdue(&w->wording, f, out);
        buf_puts(out, "\n");
    }
}

/* Made of each: what is new, and each way to end. */
static void say_follow(const struct world *w, struct buf *out)
{
    struct verdict verdict = { .raised = true,
                               .again = true,
                               .corrected = true,
                               .unanswered = true,
                               .escalated = true,
                               .new_evidence = 2 };

    verdict.episode = w->verdict.episode;
    wording_update(&w->wording, &verdict, out);
    for (int r = END_CLEARED; r <= END_ELSEWHERE; r++) {
        struct buf reason;

        verdict.reason = (enum end_reason)r;
        buf_init(&reason, WORDING_SIZE_MAX);
        buf_puts(out, "\n");
        wording_end(&w->wording, &verdict, &reason, out);
        assert_non_null(strstr(out->data, reason.data));
        buf_clear(&reason);
    }
    buf_puts(out, "\n");
}

static void say_all(struct world *w, struct buf *out)
{
    struct episode none = { .flow_ml_min = NAN };
    struct readiness readiness;

    judge(w, &none);
    for (size_t i = 0; i < TEXTS_MAX; i++)
        put(out, says[i].title, says[i].say, &w->wording);
    buf_puts(out, "== reminders\n");
    say_reminders(w, out);
    buf_puts(out, "== follow\n");
    say_follow(w, out);
    buf_puts(out, "== why\n");
    for (int r = 0; r < RULE_COUNT; r++) {
        wording_why(&w->wording, (enum rule)r, out);
        buf_puts(out, "\n");
    }
    readiness_assess(&w->history, &policy, &w->findings, &readiness);
    wording_review(&w->wording, &readiness, out);
}

/* ---- the texts of both languages ------------------------------------------------- */

enum { ALL = COUNT(group_scenarios) + COUNT(rule_scenarios) };

static char *english[ALL], *german[ALL];

static const char *name_of(size_t n)
{
    return n < COUNT(group_scenarios)
               ? group_scenarios[n].file
               : rule_scenarios[n - COUNT(group_scenarios)].file;
}

static void set_up_nth(struct world *w, size_t n)
{
    if (n < COUNT(group_scenarios)) {
        const struct group_scenario *s = &group_scenarios[n];

        set_up(w, s->events, s->type, s->group, NOW);
    } else {
        const struct rule_scenario *s =
            &rule_scenarios[n - COUNT(group_scenarios)];

        set_up(w, s->events, s->type, rule_info(s->rule)->group, NOW);
    }
}

static void say_each(char *texts[ALL])
{
    for (size_t n = 0; n < ALL; n++) {
        struct world w;
        struct buf text;

        ROW(name_of(n));
        buf_init(&text, 8 * WORDING_SIZE_MAX);
        set_up_nth(&w, n);
        say_all(&w, &text);
        texts[n] = buf_take(&text);
        assert_non_null(texts[n]);
    }
}

static int start_both(void **state)
{
    start(state);
    say_each(english);
    assert_int_equal(catalogue_open("de", NULL), ERR_OK);
    say_each(german);
    return 0;
}

static int stop_both(void **state)
{
    for (size_t n = 0; n < ALL; n++) {
        free(english[n]);
        free(german[n]);
    }
    return stop(state);
}

/* ---- tests ---------------------------------------------------------------------- */

/* Whole Tasks, to be read by somebody whose language it is. */
static void test_golden(void **state)
{
    static const char *const kept[] = { "wording-high-flow-heart.txt",
                                        "wording-weakness.txt",
                                        "wording-rest-pain-low-flow.txt",
                                        "wording-low-flow-swelling.txt",
                                        "wording-rule-is8-opening.txt",
                                        "wording-rule-pb3-hand.txt",
                                        "wording-rule-ad1.txt" };

    (void)state;
    for (size_t i = 0; i < COUNT(kept); i++) {
        char name[80];
        const char *end;
        size_t n = 0;

        while (n < ALL && strcmp(name_of(n), kept[i]) != 0)
            n++;
        assert_in_range(n, 0, ALL - 1);
        ROW(kept[i]);
        snprintf(name, sizeof(name), "wording-german-%s",
                 kept[i] + strlen("wording-"));
        /* of one all that may follow it, the rest is alike */
        end = strstr(german[n], i == 0 ? "== why\n" : "== reminders\n");
        assert_golden(name, german[n], (size_t)(end - german[n]));
    }
}

/* "BAS08: Basile et al. ...": a source is cited in its own language. */
static bool is_citation(const char *line)
{
    size_t len = strspn(line, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789");

    return len >= 2 && line[len] == ':';
}

/* Words that every English sentence is made of. */
static void check_line(const char *line, size_t len)
{
    static const char *const words[] = { " the ", " and ",  " of ",   " is ",
                                         " has ", " with ", " by ",   " not ",
                                         " to ",  " or ",   " than ", " at " };
    char copy[8192];

    assert_in_range(len, 0, sizeof(copy) - 1);
    memcpy(copy, line, len);
    copy[len] = '\0';
    if (is_citation(copy))
        return;
    for (size_t i = 0; i < COUNT(words); i++) {
        if (strstr(copy, words[i]) != NULL)
            fail_msg("\"%s\" in: %s", words[i], copy);
    }
}

static void test_no_english(void **state)
{
    (void)state;
    for (size_t n = 0; n < ALL; n++) {
        const char *line = german[n];

        ROW(name_of(n));
        while (*line != '\0') {
            size_t len = strcspn(line, "\n");

            check_line(line, len);
            line += len + (line[len] == '\n' ? 1 : 0);
        }
    }
}

/* Numbers with their decimals, a point for either mark. */
static size_t numbers_of(const char *text, char numbers[][NUMBER_SIZE])
{
    size_t count = 0;

    while (*text != '\0') {
        size_t len = 0;

        if (!isdigit((unsigned char)*text)) {
            text++;
            continue;
        }
        while (isdigit((unsigned char)text[len]) ||
               ((text[len] == '.' || text[len] == ',') &&
                isdigit((unsigned char)text[len + 1])))
            len++;
        assert_in_range(count, 0, NUMBERS_MAX - 1);
        assert_in_range(len, 1, NUMBER_SIZE - 1);
        for (size_t i = 0; i < len; i++)
            numbers[count][i] = (char)(text[i] == ',' ? '.' : text[i]);
        numbers[count++][len] = '\0';
        text += len;
    }
    return count;
}

static int compare(const void *a, const void *b)
{
    return strcmp(a, b);
}

static void test_same_numbers(void **state)
{
    static char mine[NUMBERS_MAX][NUMBER_SIZE], his[NUMBERS_MAX][NUMBER_SIZE];

    (void)state;
    for (size_t n = 0; n < ALL; n++) {
        size_t a = numbers_of(english[n], mine), b = numbers_of(german[n], his);

        ROW(name_of(n));
        qsort(mine, a, NUMBER_SIZE, compare);
        qsort(his, b, NUMBER_SIZE, compare);
        for (size_t i = 0; i < (a < b ? a : b); i++) {
            if (strcmp(mine[i], his[i]) != 0)
                fail_msg("%s in English, %s in German", mine[i], his[i]);
        }
        assert_int_equal(a, b);
    }
}

/* ---- names ----------------------------------------------------------------------- */

static void check_name(const char *name)
{
    size_t n = 0;
    const char *row;

    if (name[0] == '\0')
        return;
    while ((row = wording_name_row(n)) != NULL && strcmp(row, name) != 0)
        n++;
    if (row == NULL)
        fail_msg("\"%s\" is not in wording_names.c", name);
    if (wording_name(name) == name)
        fail_msg("\"%s\" is not in the catalogue", name);
}

/* Every name of the planner's tables is in the catalogue. */
static void test_names(void **state)
{
    (void)state;
    for (int q = 0; q < QUANTITY_COUNT; q++)
        check_name(quantity_info((enum quantity)q)->display);
    for (int s = 0; s < SIGN_COUNT; s++)
        check_name(sign_info((enum sign)s)->display);
    for (int m = 0; m < METHOD_COUNT; m++)
        check_name(method_display((enum method)m));
    for (int f = 0; f < EKTV_FORM_COUNT; f++)
        check_name(ektv_form_display((enum ektv_form)f));
    for (int r = 0; r < RULE_COUNT; r++)
        check_name(rule_info((enum rule)r)->name);
    assert_string_equal(wording_name(""), "");
}

/* A call is asked for in the first line wherever it is in English. */
static void test_phone(void **state)
{
    (void)state;
    for (size_t n = 0; n < ALL; n++) {
        ROW(name_of(n));
        assert_int_equal(
            strstr(german[n], "\nSofort telefonieren: Dieser Task ersetzt "
                              "keinen Anruf.\n") != NULL,
            strstr(english[n],
                   "\nPhone now: this Task does not replace a call.\n") !=
                NULL);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_golden),       cmocka_unit_test(test_no_english),
        cmocka_unit_test(test_same_numbers), cmocka_unit_test(test_names),
        cmocka_unit_test(test_phone),
    };

    return cmocka_run_group_tests(tests, start_both, stop_both);
}
