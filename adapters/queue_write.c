#include "adapters/queue_write.h"

#include "adapters/catalogue.h"
#include "adapters/civil.h"
#include "adapters/fhir_time.h"
#include "adapters/queue_filter.h"
#include "adapters/queue_page.h"

#include <string.h>

/*
 *     Referral queue on 2026-11-29, 14:05
 *
 *     PHONE NOW - a Task does not replace a call
 *     ------------------------------------------
 *       overdue 1 d       Ada Invented (0001); Left ... fistula; Unit One
 *       2026-11-28        Seen: flow 2240 then 2180 mL/min (limit 2000, ...)
 *       since 8 d         Suggested: Review by the access team of whether the
 *       IN HAND             flow should be reduced.
 *                         Task t-1; open since 2026-11-21; rules HF-1 HF-2
 *       |                 |
 *       margin            body
 */

/* ---- colours and paragraphs ------------------------------------------------ */

static const char *const style_on[] = { [PLAIN] = "",
                                        [BOLD] = "\033[1m",
                                        [DIM] = "\033[2m",
                                        [ALARM] = "\033[1;31m",
                                        [WARN] = "\033[1;33m" };

void queue_page_put(struct queue_page *p, enum queue_style style,
                    const char *text, size_t len)
{
    bool coloured = p->options->colour && style != PLAIN && len > 0;

    if (coloured)
        buf_puts(p->out, style_on[style]);
    buf_add(p->out, text, len);
    if (coloured)
        buf_puts(p->out, "\033[0m");
}

void queue_page_begin(struct queue_page *p, const char *text)
{
    buf_empty(&p->words);
    buf_puts(&p->words, text);
}

struct queue_span queue_page_words(struct queue_page *p)
{
    /* What could not be gathered must not look complete. */
    if (p->words.err != ERR_OK && p->out->err == ERR_OK)
        p->out->err = p->words.err;
    return (struct queue_span){ p->words.data, p->words.len };
}

void queue_page_paragraph(struct queue_page *p, enum queue_style style)
{
    struct queue_span rest = queue_page_words(p), line;

    while (queue_text_line(&rest, p->columns, &line)) {
        queue_page_put(p, style, line.text, line.len);
        buf_puts(p->out, "\n");
    }
}

static void say(struct queue_page *p, enum queue_style style, const char *text)
{
    queue_page_begin(p, text);
    queue_page_paragraph(p, style);
}

/* ---- sections --------------------------------------------------------------- */

/* In the order of reading; the last four do not stand for an urgency. */
static const struct section {
    enum urgency urgency;
    enum queue_style style;
    const char *heading;
    const char *counted; /* in the summary */
} sections[] = {
    { URGENCY_IMMEDIATE, ALARM,
      N_("PHONE NOW - a Task does not replace a call"), N_("To phone now:") },
    { URGENCY_ASAP, WARN, N_("VERY URGENT - by the date shown"),
      N_("Very urgent:") },
    { URGENCY_URGENT, BOLD, N_("URGENT - by the date shown"), N_("Urgent:") },
    { URGENCY_ROUTINE, BOLD, N_("ROUTINE - by the date shown"),
      N_("Routine:") },
    { URGENCY_NOTE, BOLD, N_("REMARKS - no referral"), N_("Remarks:") },
    { URGENCY_NOTE, BOLD,
      N_("MEASURE AGAIN - one measurement beyond a limit is not enough"),
      N_("To measure again:") },
    { URGENCY_NOTE, BOLD, N_("FOLLOW-UP - what a visit after a band records"),
      N_("To follow up:") },
    { URGENCY_NOTE, BOLD,
      N_("GROUND GONE: nothing holds any more, only to be closed"),
      N_("Ground gone, to be closed:") },
    { URGENCY_NOTE, BOLD, N_("PUT OFF - not before the date shown"),
      N_("Put off:") },
};
enum {
    PUT_OFF = COUNT(sections) - 1,
    GONE = PUT_OFF - 1,
    VISITS = GONE - 1,
    REMINDERS = VISITS - 1
};

static size_t section_of(const struct queue_row *row, int64_t now_s)
{
    size_t i = 0;

    if (row->ground_gone)
        return GONE;
    if (row->reminder)
        return queue_is_visit(row) ? VISITS : REMINDERS;
    if (queue_is_put_off(row, now_s))
        return PUT_OFF;
    while (i < REMINDERS - 1 && sections[i].urgency != row->urgency)
        i++;
    return i;
}

static void write_heading(struct queue_page *p, const struct section *s)
{
    struct queue_span rest, line;
    size_t longest = 0;

    queue_page_begin(p, _(s->heading));
    for (rest = queue_page_words(p);
         queue_text_line(&rest, p->columns, &line);) {
        size_t columns = queue_text_columns(line.text, line.len);

        longest = columns > longest ? columns : longest;
    }
    buf_puts(p->out, "\n");
    queue_page_paragraph(p, s->style);
    for (size_t i = 0; i < longest; i++)
        buf_puts(p->out, "-");
    buf_puts(p->out, "\n");
}

/* ---- the page ---------------------------------------------------------------- */

static void write_title(struct queue_page *p)
{
    const struct queue_options *o = p->options;
    int64_t local_s = o->now_s + zone_offset_s(o->zone, o->now_s);
    int64_t in_day_s = local_s - civil_day_of_s(local_s) * DAY_S;
    char date[FHIR_TIME_SIZE];

    fhir_date_write(o->now_s, o->zone, date);
    queue_page_begin(p, "");
    /* TRANSLATORS: a date, and hours and minutes */
    buf_printf(&p->words, _("Referral queue on %1$s, %2$02d:%3$02d"), date,
               (int)(in_day_s / 3600), (int)(in_day_s / 60 % 60));
    queue_page_paragraph(p, BOLD);
}

/* Who looks here must not believe that others were told. */
static void write_silent(struct queue_page *p, const struct queue_row *rows,
                         size_t count)
{
    size_t posted = 0;

    for (size_t i = 0; i < count; i++)
        posted += rows[i].silent || rows[i].held ? 0 : 1;
    queue_page_begin(p, "");
    /* what is held has no Task that could have been */
    if (posted > 0)
        buf_printf(&p->words,
                   _("SILENT MODE: nothing is posted. %zu of these had been "
                     "posted before it began; the others have not."),
                   posted);
    else
        buf_puts(&p->words,
                 _("SILENT MODE: nothing of this has been posted, and nothing "
                   "is. No Task is served, and none goes to a record."));
    queue_page_paragraph(p, ALARM);
}

/* What is not there is said before what is. */
static void write_filter(struct queue_page *p)
{
    const struct queue_options *o = p->options;

    if (o->cut)
        say(p, ALARM,
            _("NOT ALL IS SHOWN: there is more than a list can hold. Ask for "
              "one unit at a time."));
    if (o->filter == NULL || o->hidden == NULL)
        return;
    queue_page_begin(p, "");
    queue_filter_say(o->filter, o->hidden, &p->words);
    queue_page_paragraph(p, o->hidden->phone_now > 0 ? ALARM : WARN);
}

static void write_summary(struct queue_page *p, const struct queue_row *rows,
                          size_t count)
{
    const struct queue_options *o = p->options;
    size_t by_section[COUNT(sections)] = { 0 }, overdue = 0, taken = 0;

    for (size_t i = 0; i < count; i++) {
        by_section[section_of(&rows[i], o->now_s)]++;
        overdue += queue_is_overdue(&rows[i], o->now_s, o->zone) ? 1 : 0;
        taken += rows[i].state == EPISODE_TAKEN ? 1 : 0;
    }
    queue_page_begin(p, "");
    buf_printf(&p->words, _("In the queue: %zu."), count);
    for (size_t i = 0; i < COUNT(sections); i++) {
        if (by_section[i] == 0)
            continue;
        buf_printf(&p->words, " %s %zu.", _(sections[i].counted),
                   by_section[i]);
    }
    buf_puts(&p->words, " ");
    buf_printf(&p->words, _("Overdue: %1$zu. In hand: %2$zu."), overdue, taken);
    buf_puts(p->out, "\n");
    queue_page_paragraph(p, BOLD);
}

static void write_caution(struct queue_page *p, bool any)
{
    if (!any) {
        buf_puts(p->out, "\n");
        say(p, BOLD,
            p->options->filter != NULL
                ? _("Nothing of what was asked for is in the queue.")
                : _("Nothing is in the queue: no referral is open, and nothing "
                    "is to be measured again or followed up."));
    }
    say(p, PLAIN,
        _("That an access or a hand is not flagged does not mean that it is "
          "safe."));
    say(p, PLAIN,
        _("These are suggestions by fixed rules, for decision support: a "
          "qualified clinician decides."));
}

void queue_write_table(const struct queue_row *rows, size_t count,
                       const struct queue_options *options, struct buf *out)
{
    struct queue_page p = { .options = options,
                            .columns = queue_columns(options->columns),
                            .out = out };
    unsigned long before = buf_lost();

    /* Four texts of four bytes a character at most, and what joins them. */
    buf_init(&p.words, (size_t)5 * 4 * QUEUE_TEXT_MAX);
    write_title(&p);
    if (options->silent)
        write_silent(&p, rows, count);
    write_filter(&p);
    for (size_t i = 0; i < count; i++) {
        size_t section = section_of(&rows[i], options->now_s);

        if (i == 0 || section != section_of(&rows[i - 1], options->now_s))
            write_heading(&p, &sections[section]);
        else
            buf_puts(out, "\n");
        queue_entry_write(&p, &rows[i]);
    }
    if (count > 0)
        write_summary(&p, rows, count);
    write_caution(&p, count > 0);
    buf_clear(&p.words);
    buf_keep_whole(out, before);
}
