#include "adapters/backtest_table.h"

#include "adapters/fhir_time.h"
#include "adapters/wording.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/*
 *     Back test: 2025-11-26 to 2026-11-25, readings in order of arrival
 *
 *     Data      3341 resources stored ...
 *     Policy    version 2 of 2026-11-25, approved by: ...
 *
 *     (tables)
 *
 *     Events    41 recorded ...
 *     |         |
 *     margin    body
 */
enum { MARGIN = 10 };

/* ---- the lines above and below -------------------------------------------- */

/* Words in the body of a paragraph, broken between words; what begins with
 * a mark stays with the word before. */
struct paragraph {
    struct buf *out;
    int column;
};

static void paragraph_start(struct paragraph *g, struct buf *out,
                            const char *margin)
{
    *g = (struct paragraph){ out, MARGIN };
    buf_printf(out, "%-*s", MARGIN, margin);
}

static void paragraph_word(struct paragraph *g, const char *word, size_t len)
{
    if (g->column > MARGIN && g->column + (int)len + 1 > BACKTEST_COLUMNS) {
        buf_printf(g->out, "\n%*s", MARGIN, "");
        g->column = MARGIN;
    }
    if (g->column > MARGIN && strchr(";,.", word[0]) == NULL) {
        buf_puts(g->out, " ");
        g->column++;
    }
    buf_add(g->out, word, len);
    g->column += (int)len;
}

__attribute__((format(printf, 2, 3))) static void paragraph_say(
    struct paragraph *g, const char *format, ...)
{
    char text[512];
    va_list args;

    va_start(args, format);
    vsnprintf(text, sizeof(text), format, args);
    va_end(args);
    for (const char *at = text; *at != '\0';) {
        size_t len = strcspn(at, " ");

        if (len > 0)
            paragraph_word(g, at, len);
        at += len;
        at += strspn(at, " ");
    }
}

static void paragraph_end(struct paragraph *g)
{
    buf_puts(g->out, "\n");
}

/* " (unit 8, access 4)" of what was counted; nothing if nothing was. */
static void say_words(struct paragraph *g, const struct backtest_word *words)
{
    char text[512] = "";
    size_t len = 0;

    for (size_t i = 0; i < BACKTEST_WORDS_MAX && words[i].word != NULL; i++) {
        int n = snprintf(text + len, sizeof(text) - len, "%s%s %lu",
                         i > 0 ? ", " : "(", words[i].word, words[i].count);

        if (n < 0 || (size_t)n >= sizeof(text) - len - 1)
            break;
        len += (size_t)n;
    }
    if (len > 0)
        paragraph_say(g, "%s)", text);
}

static void put_fate(const struct backtest_page *p)
{
    const struct backtest_fate *f = &p->data->fate;
    struct paragraph g;

    paragraph_start(&g, p->out, "Data");
    paragraph_say(&g, "%lu resources stored, %lu of them held and not used",
                  f->stored, f->held);
    say_words(&g, f->held_words);
    paragraph_say(&g, "; %lu already there; %lu refused", f->there, f->refused);
    say_words(&g, f->refused_words);
    if (f->unreadable > 0)
        paragraph_say(&g, "; %lu unreadable", f->unreadable);
    if (f->late > 0)
        paragraph_say(&g, "; %lu that arrived after the end left out", f->late);
    paragraph_end(&g);
}

static void put_seen(const struct backtest_page *p)
{
    const struct backtest_data *d = p->data;
    struct paragraph g;

    paragraph_start(&g, p->out, "Seen");
    paragraph_say(&g, "%lu patients, %lu accesses, %.1f patient-months.",
                  d->patients, d->accesses, d->patient_months);
    if (!isnan(d->delay_d))
        paragraph_say(&g,
                      "Readings came %.1f days after they were measured "
                      "(median).",
                      d->delay_d);
    paragraph_say(&g,
                  "Nobody acts in a back test: a suggestion stays open until "
                  "later readings end it.");
    if (d->effective)
        paragraph_say(&g, "Readings are taken to have arrived when they were "
                          "measured.");
    paragraph_end(&g);
    if (!d->is_export)
        return;
    paragraph_start(&g, p->out, "WARNING");
    paragraph_say(&g, "all arrivals lie on one day: lead times and delays mean "
                      "nothing; --arrival effective takes the time of the "
                      "reading instead.");
    paragraph_end(&g);
}

static void put_policy(const struct backtest_page *p, size_t k)
{
    const struct backtest_report *r = p->reports[k];
    struct paragraph g;
    struct buf approver;

    buf_init(&approver, WORDING_SIZE_MAX);
    wording_approver(r->approver, &approver);
    paragraph_start(&g, p->out,
                    p->report_count == 1 ? "Policy"
                    : k == 0             ? "Left"
                                         : "Right");
    paragraph_say(&g, "%sversion %s of %s, %s",
                  p->report_count == 1 ? "" : "policy ", r->version, r->date,
                  approver.data);
    buf_clear(&approver);
    if (r->given_up > 0)
        paragraph_say(&g, "; %lu reviews failed and were given up",
                      r->given_up);
    paragraph_end(&g);
}

static void put_head(const struct backtest_page *p)
{
    char first[FHIR_TIME_SIZE], until[FHIR_TIME_SIZE];

    fhir_date_write(p->data->first_s, p->zone, first);
    fhir_date_write(p->data->until_s, p->zone, until);
    buf_printf(p->out, "Back test: %s to %s, readings in order of arrival\n\n",
               first, until);
    put_fate(p);
    put_seen(p);
    for (size_t k = 0; k < p->report_count; k++)
        put_policy(p, k);
    buf_puts(p->out, "\n");
}

static void put_quiet(const struct backtest_page *p)
{
    struct paragraph g;
    bool any = false;

    for (int n = 0; n < RULE_COUNT; n++) {
        enum rule r = rule_by_order(n);

        if (!backtest_is_quiet(p, (struct backtest_line){ (int)r, -1 }))
            continue;
        if (!any)
            paragraph_start(&g, p->out, "Quiet");
        any = true;
        paragraph_say(&g, "%s", rule_info(r)->id);
    }
    if (any) {
        paragraph_say(&g, "said nothing.");
        paragraph_end(&g);
    }
}

static void put_events(const struct backtest_page *p)
{
    struct paragraph g;

    paragraph_start(&g, p->out, "Events");
    paragraph_say(&g,
                  "%lu recorded since the first arrival (interventions, lost "
                  "thrills, admissions for heart failure);",
                  p->data->events);
    if (p->report_count == 1)
        paragraph_say(&g, "%lu", p->reports[0]->unforeseen);
    else
        paragraph_say(&g, "%lu (left) and %lu (right)",
                      p->reports[0]->unforeseen, p->reports[1]->unforeseen);
    paragraph_say(&g,
                  "of them without a suggestion on the access in the %d days "
                  "before.",
                  BACKTEST_LEAD_D);
    paragraph_end(&g);
}

static void put_legend(const struct backtest_page *p)
{
    static const char *const rows[][2] = {
        { "raised", "suggestions; for a rule those in which it held when they "
                    "were raised (several may)" },
        { "later", "the rule joined a suggestion that was open" },
        { "/100pm", "raised per 100 patient-months; a patient counts from the "
                    "first arrival to the end" },
        { "imm...", "the highest urgency reached: immediate, asap, urgent, "
                    "routine" },
        { "again", "raised within 90 days of the end of one like it" },
        { "wdr...", "ended: a reading was withdrawn or corrected; cleared by "
                    "later readings; for another" },
        { "", "reason (opposite problem, new stage, access not in use or "
              "merged); open at the end" },
        { "rem", "reminders to measure again" },
        { "lead", "median days from a suggestion to the first event on the "
                  "access within 365 days" },
        { "event", "suggestions that such an event followed" },
    };

    for (size_t i = 0; i < COUNT(rows); i++)
        buf_printf(p->out, "%-*s%s\n", MARGIN, rows[i][0], rows[i][1]);
}

void backtest_text(const struct backtest_data *data,
                   const struct backtest_report *report,
                   const struct backtest_report *against,
                   const struct zone *zone, struct buf *out)
{
    struct backtest_page p = { .data = data,
                               .reports = { report, against },
                               .report_count = against != NULL ? 2 : 1,
                               .zone = zone,
                               .out = out };

    put_head(&p);
    backtest_tables(&p);
    put_quiet(&p);
    put_events(&p);
    buf_puts(out, "\n");
    put_legend(&p);
}
