#include "adapters/queue_write.h"

#include "adapters/civil.h"
#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"

#include <stdio.h>
#include <string.h>

/*
 *     Referral queue on 2026-11-29, 14:05
 *
 *     PHONE NOW - a Task does not replace a call
 *     ------------------------------------------
 *       1 day overdue     Ada Invented (0001); Left ... fistula; Unit One
 *       2026-11-28        Seen: flow 2240 then 2180 mL/min (limit 2000, ...)
 *       IN HAND           Suggested: Review by the access team of whether the
 *                           flow should be reduced.
 *                         Task t-1, open since 2026-11-21. Rules: HF-1 HF-2
 *       |                 |
 *       margin            body
 */
enum { MARGIN_AT = 2, MARGIN_COLUMNS = 17, BODY_AT = 20, HANG = 2 };

/* More than this is a mistake somewhere, and would not fit the margin. */
enum { DAYS_SHOWN_MAX = 9999 };

/* ---- colours ------------------------------------------------------------ */

enum style { PLAIN, BOLD, DIM, ALARM, WARN };

static const char *const style_on[] = { [PLAIN] = "",
                                        [BOLD] = "\033[1m",
                                        [DIM] = "\033[2m",
                                        [ALARM] = "\033[1;31m",
                                        [WARN] = "\033[1;33m" };

struct page {
    const struct queue_options *options;
    size_t columns;
    struct buf *out;
    struct buf words; /* the paragraph being written, as clean text */
};

static void put(struct page *p, enum style style, const char *text, size_t len)
{
    bool coloured = p->options->colour && style != PLAIN && len > 0;

    if (coloured)
        buf_puts(p->out, style_on[style]);
    buf_add(p->out, text, len);
    if (coloured)
        buf_puts(p->out, "\033[0m");
}

static void blanks(struct page *p, size_t count)
{
    buf_printf(p->out, "%*s", (int)count, "");
}

/* ---- days --------------------------------------------------------------- */

static bool is_overdue(const struct queue_row *row,
                       const struct queue_options *o)
{
    return row->due_s != 0 && !row->ground_gone &&
           queue_days(row->due_s, o->now_s, o->zone) < 0;
}

/* "in 3 days", "today", "2 days overdue" */
static void write_when(const struct queue_row *row,
                       const struct queue_options *o, char text[32])
{
    int64_t days, shown;

    if (row->held || row->ground_gone || row->due_s == 0) {
        snprintf(text, 32, "%s",
                 row->held          ? "NOT PLACED"
                 : row->ground_gone ? "to be closed"
                                    : "no date set");
        return;
    }
    days = queue_days(row->due_s, o->now_s, o->zone);
    shown = days < 0 ? -days : days;
    if (shown > DAYS_SHOWN_MAX)
        snprintf(text, 32, "see the date");
    else if (days == 0)
        snprintf(text, 32, "today");
    else
        snprintf(text, 32, "%s%d %s%s", days < 0 ? "" : "in ", (int)shown,
                 shown == 1 ? "day" : "days", days < 0 ? " overdue" : "");
}

/* ---- sections ----------------------------------------------------------- */

/* In the order of reading; the last three do not stand for an urgency. */
static const struct section {
    enum urgency urgency;
    enum style style;
    const char *heading;
    const char *counted; /* in the summary */
} sections[] = {
    { URGENCY_IMMEDIATE, ALARM, "PHONE NOW - a Task does not replace a call",
      "to phone now" },
    { URGENCY_ASAP, WARN, "VERY URGENT - by the date shown", "very urgent" },
    { URGENCY_URGENT, BOLD, "URGENT - by the date shown", "urgent" },
    { URGENCY_ROUTINE, BOLD, "ROUTINE - by the date shown", "routine" },
    { URGENCY_NOTE, BOLD, "REMARKS - no referral", "remarks" },
    { URGENCY_NOTE, BOLD,
      "MEASURE AGAIN - one measurement beyond a limit is "
      "not enough",
      "to measure again" },
    { URGENCY_NOTE, BOLD, "FOLLOW-UP - what a visit after a band records",
      "to follow up" },
    { URGENCY_NOTE, BOLD,
      "IN HAND, GROUND GONE: to be closed by whoever has it",
      "in hand with their ground gone" },
};
enum { GONE = COUNT(sections) - 1, VISITS = GONE - 1, REMINDERS = VISITS - 1 };

static bool is_visit(const struct queue_row *row)
{
    return row->reminder &&
           strcmp(row->group, group_word(GROUP_FOLLOW_UP)) == 0;
}

static size_t section_of(const struct queue_row *row)
{
    size_t i = 0;

    if (row->ground_gone)
        return GONE;
    if (row->reminder)
        return is_visit(row) ? VISITS : REMINDERS;
    while (i < REMINDERS - 1 && sections[i].urgency != row->urgency)
        i++;
    return i;
}

/* ---- paragraphs --------------------------------------------------------- */

/* The margin of an entry runs beside its body, a line for a line. */
struct entry {
    struct page *page;
    const char *margin[3];
    enum style style[3];
    size_t line;
};

static void entry_line(struct entry *e, enum style style, size_t indent,
                       struct queue_span text)
{
    struct page *p = e->page;
    const char *margin = e->line < COUNT(e->margin) ? e->margin[e->line] : "";
    size_t used = strlen(margin);

    if (used > 0 || text.len > 0)
        blanks(p, MARGIN_AT);
    if (used > 0)
        put(p, e->style[e->line], margin, used);
    if (text.len > 0) {
        blanks(p, BODY_AT - MARGIN_AT - used + indent);
        put(p, style, text.text, text.len);
    }
    buf_puts(p->out, "\n");
    e->line++;
}

/* Start the words of a paragraph; the caller adds to page->words. */
static void begin(struct page *p, const char *text)
{
    buf_empty(&p->words);
    buf_puts(&p->words, text);
}

static struct queue_span words(struct page *p)
{
    /* What could not be gathered must not look complete. */
    if (p->words.err != ERR_OK && p->out->err == ERR_OK)
        p->out->err = p->words.err;
    return (struct queue_span){ p->words.data, p->words.len };
}

static void entry_paragraph(struct entry *e, enum style style)
{
    struct queue_span rest = words(e->page), line;
    size_t indent = 0;

    while (queue_text_line(&rest, e->page->columns - BODY_AT - indent, &line)) {
        entry_line(e, style, indent, line);
        indent = HANG;
    }
}

/* A paragraph from the left edge. */
static void page_paragraph(struct page *p, enum style style)
{
    struct queue_span rest = words(p), line;

    while (queue_text_line(&rest, p->columns, &line)) {
        put(p, style, line.text, line.len);
        buf_puts(p->out, "\n");
    }
}

/* ---- an entry ----------------------------------------------------------- */

static void or_else(struct page *p, const char *text, const char *unknown)
{
    size_t before = p->words.len;

    queue_text_clean(&p->words, text);
    if (p->words.len == before)
        buf_puts(&p->words, unknown);
}

static void say_who(struct entry *e, const struct queue_row *row)
{
    struct page *p = e->page;

    begin(p, "");
    or_else(p, row->patient_name, "Name not known");
    buf_puts(&p->words, " (");
    or_else(p, row->patient_number, "number not known");
    buf_puts(&p->words, "); ");
    or_else(p, row->access, "access not named");
    buf_puts(&p->words, "; ");
    or_else(p, row->unit, "unit not known");
    entry_paragraph(e, BOLD);
}

static void say_labelled(struct entry *e, const char *label, const char *text)
{
    size_t before;

    begin(e->page, label);
    before = e->page->words.len;
    queue_text_clean(&e->page->words, text);
    if (e->page->words.len > before)
        entry_paragraph(e, PLAIN);
}

static void say_task(struct entry *e, const struct queue_row *row)
{
    struct page *p = e->page;
    char date[FHIR_TIME_SIZE];

    begin(p, "Task ");
    or_else(p, row->task_id, "not known");
    if (row->opened_s != 0) {
        fhir_date_write(row->opened_s, p->options->zone, date);
        buf_printf(&p->words, ", open since %s", date);
    }
    if (row->rules[0] != '\0') {
        buf_puts(&p->words,
                 strchr(row->rules, ' ') != NULL ? "; rules " : "; rule ");
        queue_text_clean(&p->words, row->rules);
    }
    if (row->silent)
        buf_puts(&p->words, "; not posted (silent mode)");
    entry_paragraph(e, DIM);
}

/* It has no Task: who it was sent for is to be found out. */
static void say_held(struct entry *e, const struct queue_row *row)
{
    struct page *p = e->page;

    begin(p, "Observation/");
    or_else(p, row->observation != NULL ? row->observation : "", "not known");
    buf_puts(&p->words, ", kept and not used: see headgate quarantine");
    entry_paragraph(e, DIM);
}

static void write_entry(struct page *p, const struct queue_row *row)
{
    const struct queue_options *o = p->options;
    char when[32], date[FHIR_TIME_SIZE] = "";
    bool overdue = is_overdue(row, o);
    struct entry e = { .page = p,
                       .margin = { when, date, "" },
                       .style = { overdue || row->held ? ALARM : BOLD, PLAIN,
                                  BOLD } };

    write_when(row, o, when);
    if (row->held)
        fhir_date_write(row->opened_s, o->zone, date);
    else if (row->due_s != 0 && !row->ground_gone)
        fhir_date_write(row->due_s, o->zone, date);
    if (row->state == EPISODE_TAKEN)
        e.margin[date[0] != '\0' ? 2 : 1] = "IN HAND";
    say_who(&e, row);
    say_labelled(&e,
                 is_visit(row)   ? "Record: "
                 : row->reminder ? "Measure: "
                                 : "Seen: ",
                 row->headline);
    say_labelled(&e, "Suggested: ", row->suggestion);
    if (row->held)
        say_held(&e, row);
    else
        say_task(&e, row);
    while (e.line < COUNT(e.margin) && e.margin[e.line][0] != '\0')
        entry_line(&e, PLAIN, 0, (struct queue_span){ "", 0 });
}

/* ---- the page ----------------------------------------------------------- */

static void write_heading(struct page *p, const struct section *s)
{
    struct queue_span rest, line;
    size_t longest = 0;

    begin(p, s->heading);
    for (rest = words(p); queue_text_line(&rest, p->columns, &line);)
        longest = line.len > longest ? line.len : longest;
    buf_puts(p->out, "\n");
    page_paragraph(p, s->style);
    for (size_t i = 0; i < longest; i++)
        buf_puts(p->out, "-");
    buf_puts(p->out, "\n");
}

static void write_title(struct page *p)
{
    const struct queue_options *o = p->options;
    int64_t local_s = o->now_s + zone_offset_s(o->zone, o->now_s);
    int64_t in_day_s = local_s - civil_day_of_s(local_s) * DAY_S;
    char date[FHIR_TIME_SIZE];

    fhir_date_write(o->now_s, o->zone, date);
    begin(p, "");
    buf_printf(&p->words, "Referral queue on %s, %02d:%02d", date,
               (int)(in_day_s / 3600), (int)(in_day_s / 60 % 60));
    page_paragraph(p, BOLD);
}

/* Who looks here must not believe that others were told. */
static void write_silent(struct page *p, const struct queue_row *rows,
                         size_t count)
{
    size_t posted = 0;

    for (size_t i = 0; i < count; i++)
        posted += rows[i].silent || rows[i].held ? 0 : 1;
    /* what is held has no Task that could have been */
    begin(p, "SILENT MODE: nothing of this has been posted, and nothing is. "
             "No Task is served, and none goes to a record.");
    if (posted > 0) {
        begin(p, "SILENT MODE: nothing is posted.");
        buf_printf(&p->words,
                   " %zu of these had been posted before it began; the others "
                   "have not.",
                   posted);
    }
    page_paragraph(p, ALARM);
}

static void write_summary(struct page *p, const struct queue_row *rows,
                          size_t count)
{
    size_t by_section[COUNT(sections)] = { 0 }, overdue = 0, taken = 0;
    const char *between = ": ";

    for (size_t i = 0; i < count; i++) {
        by_section[section_of(&rows[i])]++;
        overdue += is_overdue(&rows[i], p->options) ? 1 : 0;
        taken += rows[i].state == EPISODE_TAKEN ? 1 : 0;
    }
    begin(p, "");
    buf_printf(&p->words, "%zu in the queue", count);
    for (size_t i = 0; i < COUNT(sections); i++) {
        if (by_section[i] == 0)
            continue;
        buf_printf(&p->words, "%s%zu %s", between, by_section[i],
                   sections[i].counted);
        between = ", ";
    }
    buf_printf(&p->words, ". Overdue: %zu. In hand: %zu.", overdue, taken);
    buf_puts(p->out, "\n");
    page_paragraph(p, BOLD);
}

static void write_caution(struct page *p, bool any)
{
    if (!any) {
        begin(p, "Nothing is in the queue: no referral is open, and nothing "
                 "is to be measured again or followed up.");
        buf_puts(p->out, "\n");
        page_paragraph(p, BOLD);
    }
    begin(p, "That an access or a hand is not flagged does not mean that it "
             "is safe.");
    page_paragraph(p, PLAIN);
    begin(p, "These are suggestions by fixed rules, for decision support: a "
             "qualified clinician decides.");
    page_paragraph(p, PLAIN);
}

void queue_write_table(const struct queue_row *rows, size_t count,
                       const struct queue_options *options, struct buf *out)
{
    struct page p = { .options = options,
                      .columns = queue_columns(options->columns),
                      .out = out };

    /* Four texts of four bytes a character at most, and what joins them. */
    buf_init(&p.words, (size_t)5 * 4 * QUEUE_TEXT_MAX);
    write_title(&p);
    if (options->silent)
        write_silent(&p, rows, count);
    for (size_t i = 0; i < count; i++) {
        size_t section = section_of(&rows[i]);

        if (i == 0 || section != section_of(&rows[i - 1]))
            write_heading(&p, &sections[section]);
        else
            buf_puts(out, "\n");
        write_entry(&p, &rows[i]);
    }
    if (count > 0)
        write_summary(&p, rows, count);
    write_caution(&p, count > 0);
    buf_clear(&p.words);
}
