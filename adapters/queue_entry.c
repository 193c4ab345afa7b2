/* One row of the queue, for people: a margin, and beside it the body. */
#include "adapters/queue_page.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"

#include <stdio.h>
#include <string.h>

enum { MARGIN_AT = 2, MARGIN_COLUMNS = 17, BODY_AT = 20, HANG = 2 };

/* More than this is a mistake somewhere, and would not fit the margin. */
enum { DAYS_SHOWN_MAX = 9999, LINES = 4, LINE_SIZE = 48 };

/* ---- days ----------------------------------------------------------------- */

bool queue_is_put_off(const struct queue_row *row, int64_t now_s)
{
    return row->put_off_until_s > now_s && !row->held && !row->reminder &&
           !row->ground_gone && row->urgency != URGENCY_IMMEDIATE;
}

bool queue_is_death_doubtful(const struct queue_row *row)
{
    return row->died != NULL && !row->deceased;
}

bool queue_is_overdue(const struct queue_row *row, int64_t now_s,
                      const struct zone *zone)
{
    return row->due_s != 0 && !row->ground_gone &&
           !queue_is_put_off(row, now_s) &&
           queue_days(row->due_s, now_s, zone) < 0;
}

bool queue_is_visit(const struct queue_row *row)
{
    return row->reminder &&
           strcmp(row->group, group_word(GROUP_FOLLOW_UP)) == 0;
}

static void write_due(int64_t days, char text[LINE_SIZE])
{
    if (days > DAYS_SHOWN_MAX || days < -DAYS_SHOWN_MAX)
        snprintf(text, LINE_SIZE, "%s", _("see the date"));
    else if (days == 0)
        snprintf(text, LINE_SIZE, "%s", _("due today"));
    else if (days > 0)
        /* TRANSLATORS: d: days.  At most 17 characters with a number of 4 */
        snprintf(text, LINE_SIZE, _("due in %d d"), (int)days);
    else
        /* TRANSLATORS: d: days.  At most 17 characters with a number of 4 */
        snprintf(text, LINE_SIZE, _("overdue %d d"), (int)-days);
}

/* "due in 3 d", "due today", "overdue 2 d", or why there is no day */
static void write_when(const struct queue_row *row,
                       const struct queue_options *o, char text[LINE_SIZE])
{
    /* TRANSLATORS: of the texts to here: at most 17 characters each */
    if (row->held)
        snprintf(text, LINE_SIZE, "%s",
                 row->margin != NULL ? row->margin : _("NOT PLACED"));
    else if (row->ground_gone)
        snprintf(text, LINE_SIZE, "%s", _("to be closed"));
    else if (queue_is_put_off(row, o->now_s))
        snprintf(text, LINE_SIZE, "%s", _("put off until"));
    else if (row->due_s == 0)
        snprintf(text, LINE_SIZE, "%s", _("no date set"));
    else
        write_due(queue_days(row->due_s, o->now_s, o->zone), text);
}

/* The day that the line before speaks of; "" none. */
static void write_date(const struct queue_row *row,
                       const struct queue_options *o, char text[LINE_SIZE])
{
    char date[FHIR_TIME_SIZE] = "";

    if (row->held)
        fhir_date_write(row->opened_s, o->zone, date);
    else if (queue_is_put_off(row, o->now_s))
        fhir_date_write(row->put_off_until_s, o->zone, date);
    else if (row->due_s != 0 && !row->ground_gone)
        fhir_date_write(row->due_s, o->zone, date);
    snprintf(text, LINE_SIZE, "%s", date);
}

/* "since 12 d"; "" not known */
static void write_age(const struct queue_row *row,
                      const struct queue_options *o, char text[LINE_SIZE])
{
    int64_t days = -queue_days(row->opened_s, o->now_s, o->zone);

    text[0] = '\0';
    if (row->opened_s == 0 || days < 0 || days > DAYS_SHOWN_MAX)
        return;
    if (days == 0)
        snprintf(text, LINE_SIZE, "%s", _("since today"));
    else
        /* TRANSLATORS: d: days.  At most 17 characters with a number of 4 */
        snprintf(text, LINE_SIZE, _("since %d d"), (int)days);
}

/* ---- margin and body ------------------------------------------------------ */

/* The margin of an entry runs beside its body, a line for a line. */
struct entry {
    struct queue_page *page;
    char margin[LINES][LINE_SIZE];
    enum queue_style style[LINES];
    size_t count; /* lines of the margin */
    size_t line;
};

static void blanks(struct queue_page *p, size_t count)
{
    buf_printf(p->out, "%*s", (int)count, "");
}

static void entry_line(struct entry *e, enum queue_style style, size_t indent,
                       struct queue_span text)
{
    struct queue_page *p = e->page;
    const char *margin = e->line < e->count ? e->margin[e->line] : "";
    size_t len = strlen(margin), used = queue_text_columns(margin, len);

    if (len > 0 || text.len > 0)
        blanks(p, MARGIN_AT);
    if (len > 0)
        queue_page_put(p, e->style[e->line], margin, len);
    if (text.len > 0) {
        blanks(p, (used < MARGIN_COLUMNS ? BODY_AT - MARGIN_AT - used : 1) +
                      indent);
        queue_page_put(p, style, text.text, text.len);
    }
    buf_puts(p->out, "\n");
    e->line++;
}

static void entry_paragraph(struct entry *e, enum queue_style style)
{
    struct queue_span rest = queue_page_words(e->page), line;
    size_t indent = 0;

    while (queue_text_line(&rest, e->page->columns - BODY_AT - indent, &line)) {
        entry_line(e, style, indent, line);
        indent = HANG;
    }
}

static void add_margin(struct entry *e, enum queue_style style,
                       const char *text)
{
    if (text[0] == '\0' || e->count == LINES)
        return;
    snprintf(e->margin[e->count], LINE_SIZE, "%s", text);
    e->style[e->count++] = style;
}

/* ---- what is said --------------------------------------------------------- */

static void or_else(struct queue_page *p, const char *text, const char *unknown)
{
    size_t before = p->words.len;

    queue_text_clean(&p->words, text);
    if (p->words.len == before)
        buf_puts(&p->words, unknown);
}

static void say_who(struct entry *e, const struct queue_row *row)
{
    struct queue_page *p = e->page;

    queue_page_begin(p, "");
    or_else(p, row->patient_name, _("Name not known"));
    buf_puts(&p->words, " (");
    or_else(p, row->patient_number, _("number not known"));
    buf_puts(&p->words, "); ");
    or_else(p, row->access, _("access not named"));
    buf_puts(&p->words, "; ");
    or_else(p, row->unit, _("unit not known"));
    entry_paragraph(e, BOLD);
}

static void say_labelled(struct entry *e, enum queue_style style,
                         const char *label, const char *text)
{
    size_t before;

    queue_page_begin(e->page, label);
    buf_puts(&e->page->words, " ");
    before = e->page->words.len;
    queue_text_clean(&e->page->words, text);
    if (e->page->words.len > before)
        entry_paragraph(e, style);
}

/* It stands in the queue though the record says that nobody needs it. */
static void say_death(struct entry *e, const struct queue_row *row)
{
    struct queue_page *p = e->page;

    if (row->died == NULL)
        return;
    queue_page_begin(p, "");
    if (!queue_is_death_doubtful(row))
        buf_puts(&p->words, _("Recorded as deceased."));
    else if (row->died[0] != '\0')
        /* TRANSLATORS: a day, a month or a year: 2026-11-20 */
        buf_printf(&p->words,
                   _("RECORDED AS DECEASED ON %s, and something is dated "
                     "later: ask now"),
                   row->died);
    else
        buf_puts(&p->words, _("RECORDED AS DECEASED, and something is dated "
                              "later: ask now"));
    entry_paragraph(e, queue_is_death_doubtful(row) ? ALARM : PLAIN);
}

/* The record has two of him, and says which one counts. */
static void say_replaced(struct entry *e, const struct queue_row *row)
{
    struct queue_page *p = e->page;
    struct buf number;

    if (row->replaced_by == NULL)
        return;
    buf_init(&number, (size_t)4 * QUEUE_TEXT_MAX);
    queue_text_clean(&number, row->replaced_by);
    queue_page_begin(p, "");
    /* TRANSLATORS: the number of a patient */
    buf_printf(&p->words,
               _("This record was replaced by %s: look at both, and have the "
                 "access sent with that one."),
               number.len > 0 ? number.data : "?");
    entry_paragraph(e, WARN);
    buf_clear(&number);
}

/* Whose it is to see to: they have it in hand, or were only asked. */
static void say_owner(struct entry *e, const struct queue_row *row)
{
    struct queue_page *p = e->page;
    struct buf who;

    if (row->owner == NULL)
        return;
    buf_init(&who, (size_t)4 * QUEUE_TEXT_MAX);
    queue_text_clean(&who, row->owner);
    if (who.len > 0) {
        queue_page_begin(p, "");
        /* TRANSLATORS: of both: the name of a person or a place */
        buf_printf(&p->words,
                   row->state == EPISODE_TAKEN
                       ? _("In hand: %s")
                       : _("Handed to: %s, not yet taken"),
                   who.data);
        entry_paragraph(e, PLAIN);
    }
    buf_clear(&who);
}

/* A sentence about people: what they have done, and who. */
static void say_people(struct entry *e, const struct queue_row *row)
{
    struct queue_page *p = e->page;
    char date[FHIR_TIME_SIZE];

    if (queue_is_put_off(row, p->options->now_s)) {
        struct buf who;

        fhir_date_write(row->put_off_until_s, p->options->zone, date);
        buf_init(&who, (size_t)4 * QUEUE_TEXT_MAX);
        queue_text_clean(&who, row->put_off_by != NULL ? row->put_off_by : "");
        queue_page_begin(p, "");
        buf_printf(&p->words, _("Put off until %1$s by %2$s"), date,
                   who.len > 0 ? who.data : _("somebody who is not named"));
        buf_clear(&who);
        entry_paragraph(e, PLAIN);
    }
    say_owner(e, row);
    /* handed over first, so that nobody would close it */
    if (row->ground_gone && row->state != EPISODE_TAKEN) {
        queue_page_begin(p, _("Nobody has it in hand: close it with headgate "
                              "task done"));
        entry_paragraph(e, PLAIN);
    }
    if (row->escalated) {
        queue_page_begin(
            p, row->held ? _("ESCALATED: nobody saw to it within its time")
                         : _("ESCALATED: nobody took it within its time"));
        entry_paragraph(e, WARN);
    }
}

static void say_task(struct entry *e, const struct queue_row *row)
{
    struct queue_page *p = e->page;
    char date[FHIR_TIME_SIZE];

    queue_page_begin(p, "Task ");
    or_else(p, row->task_id, _("not known"));
    if (row->opened_s != 0) {
        fhir_date_write(row->opened_s, p->options->zone, date);
        buf_puts(&p->words, "; ");
        buf_printf(&p->words, _("open since %s"), date);
    }
    if (row->rules[0] != '\0') {
        buf_puts(&p->words, "; ");
        buf_puts(&p->words,
                 strchr(row->rules, ' ') != NULL ? _("rules") : _("rule"));
        buf_puts(&p->words, " ");
        queue_text_clean(&p->words, row->rules);
    }
    if (row->silent) {
        buf_puts(&p->words, "; ");
        buf_puts(&p->words, _("not posted (silent mode)"));
    }
    entry_paragraph(e, DIM);
}

/* It has no Task: who it was sent for is to be found out. */
static void say_held(struct entry *e, const struct queue_row *row)
{
    struct queue_page *p = e->page;

    if (row->input != 0) {
        queue_page_begin(p, "");
        buf_printf(&p->words, _("in quarantine: headgate quarantine show %lld"),
                   (long long)row->input);
        entry_paragraph(e, DIM);
        return;
    }
    queue_page_begin(p, "Observation/");
    or_else(p, row->observation != NULL ? row->observation : "",
            _("not known"));
    buf_puts(&p->words, "; ");
    buf_puts(&p->words, _("kept and not used: see headgate quarantine"));
    entry_paragraph(e, DIM);
}

static void fill_margin(struct entry *e, const struct queue_row *row)
{
    const struct queue_options *o = e->page->options;
    bool overdue = queue_is_overdue(row, o->now_s, o->zone);
    char text[LINE_SIZE];

    write_when(row, o, text);
    add_margin(e, overdue || row->held ? ALARM : BOLD, text);
    write_date(row, o, text);
    add_margin(e, PLAIN, text);
    write_age(row, o, text);
    add_margin(e, PLAIN, text);
    /* TRANSLATORS: at most 17 characters */
    add_margin(e, BOLD, row->state == EPISODE_TAKEN ? _("IN HAND") : "");
}

void queue_entry_write(struct queue_page *p, const struct queue_row *row)
{
    struct entry e = { .page = p };

    fill_margin(&e, row);
    say_who(&e, row);
    say_death(&e, row);
    say_replaced(&e, row);
    say_labelled(&e, PLAIN,
                 queue_is_visit(row) ? _("Record:")
                 : row->reminder     ? _("Measure:")
                                     : _("Seen:"),
                 row->headline);
    say_labelled(&e, PLAIN, _("Suggested:"), row->suggestion);
    say_people(&e, row);
    if (row->held)
        say_held(&e, row);
    else
        say_task(&e, row);
    while (e.line < e.count)
        entry_line(&e, PLAIN, 0, (struct queue_span){ "", 0 });
}
