#include "adapters/backtest_table.h"

#include <math.h>
#include <stdio.h>

/*
 *                raised later /100pm  imm asap  urg rout ...
 *     ----------------------------------------------------
 *       HF-1          3     1   0.45    -    -    1    2
 *     flow            4     1   0.60    -    -    1    3
 *     |          |
 *     label      cells of the first policy | cells of the second
 *
 * What said nothing has no line.
 */
enum { LABEL_COLUMNS = 11, CELL_SIZE = 32 };

enum cell {
    CELL_RAISED,
    CELL_JOINED,
    CELL_RATE,
    CELL_IMMEDIATE,
    CELL_ASAP,
    CELL_URGENT,
    CELL_ROUTINE,
    CELL_REPEATS,
    CELL_WITHDRAWN,
    CELL_CLEARED,
    CELL_ENDED_ELSE,
    CELL_OPEN,
    CELL_REMINDERS,
    CELL_LEAD,
    CELL_WITH_EVENT,
    CELL_CHANGE, /* of what is raised, from the first policy to the second */
    CELL_COUNT
};

static const struct {
    const char *title;
    int columns; /* with the blank before it */
} cells[CELL_COUNT] = {
    [CELL_RAISED] = { "raised", 7 },    [CELL_JOINED] = { "later", 6 },
    [CELL_RATE] = { "/100pm", 7 },      [CELL_IMMEDIATE] = { "imm", 5 },
    [CELL_ASAP] = { "asap", 5 },        [CELL_URGENT] = { "urg", 5 },
    [CELL_ROUTINE] = { "rout", 5 },     [CELL_REPEATS] = { "again", 6 },
    [CELL_WITHDRAWN] = { "wdr", 5 },    [CELL_CLEARED] = { "clr", 5 },
    [CELL_ENDED_ELSE] = { "oth", 5 },   [CELL_OPEN] = { "open", 5 },
    [CELL_REMINDERS] = { "rem", 5 },    [CELL_LEAD] = { "lead", 6 },
    [CELL_WITH_EVENT] = { "event", 6 }, [CELL_CHANGE] = { "change", 7 }
};

/* One table: the cells of the first policy, then those of the second. */
struct table {
    const enum cell *cells;
    size_t count;
    bool change; /* a last column: what the second policy changes */
};

/* ---- cells ---------------------------------------------------------------- */

static void write_count(char text[CELL_SIZE], unsigned long count)
{
    if (count == 0)
        snprintf(text, CELL_SIZE, "-");
    else
        snprintf(text, CELL_SIZE, "%lu", count);
}

static const struct backtest_count *count_of(const struct backtest_report *r,
                                             struct backtest_line line)
{
    if (line.rule >= 0)
        return &r->rules[line.rule];
    return line.group >= 0 ? &r->groups[line.group] : &r->all;
}

static void write_cell(const struct backtest_page *p,
                       const struct backtest_report *r,
                       struct backtest_line line, enum cell cell,
                       char text[CELL_SIZE])
{
    const struct backtest_count *c = count_of(r, line);
    const unsigned long counts[CELL_COUNT] = {
        [CELL_RAISED] = c->raised,
        [CELL_JOINED] = c->joined,
        [CELL_IMMEDIATE] = c->by_urgency[URGENCY_IMMEDIATE],
        [CELL_ASAP] = c->by_urgency[URGENCY_ASAP],
        [CELL_URGENT] = c->by_urgency[URGENCY_URGENT],
        [CELL_ROUTINE] = c->by_urgency[URGENCY_ROUTINE],
        [CELL_REPEATS] = c->repeats,
        [CELL_WITHDRAWN] = c->withdrawn,
        [CELL_CLEARED] = c->cleared,
        [CELL_ENDED_ELSE] = c->ended_else,
        [CELL_OPEN] = c->open,
        [CELL_REMINDERS] = c->reminders,
        [CELL_WITH_EVENT] = c->with_event
    };

    snprintf(text, CELL_SIZE, "-");
    if (cell == CELL_RATE && c->raised > 0 && p->data->patient_months > 0.0)
        snprintf(text, CELL_SIZE, "%.2f",
                 (double)c->raised * 100.0 / p->data->patient_months);
    else if (cell == CELL_LEAD && !isnan(c->lead_d))
        snprintf(text, CELL_SIZE, "%.0f", c->lead_d);
    else if (cell != CELL_RATE && cell != CELL_LEAD &&
             (cell != CELL_REMINDERS || line.rule < 0 || r->reminders_by_rule))
        write_count(text, counts[cell]);
}

static void write_change(const struct backtest_page *p,
                         struct backtest_line line, char text[CELL_SIZE])
{
    unsigned long before = count_of(p->reports[0], line)->raised;
    unsigned long after = count_of(p->reports[1], line)->raised;

    if (before == after)
        snprintf(text, CELL_SIZE, "=");
    else
        snprintf(text, CELL_SIZE, "%+ld", (long)after - (long)before);
}

/* ---- tables --------------------------------------------------------------- */

static void put_right(struct buf *out, const char *text, int columns)
{
    buf_printf(out, " %*s", columns - 1, text); /* columns never touch */
}

static int table_columns(const struct backtest_page *p, const struct table *t)
{
    int columns = LABEL_COLUMNS;

    for (size_t k = 0; k < p->report_count; k++) {
        for (size_t i = 0; i < t->count; i++)
            columns += cells[t->cells[i]].columns;
    }
    if (p->report_count > 1)
        columns += 2; /* the line between them */
    return columns + (t->change ? cells[CELL_CHANGE].columns : 0);
}

static void put_rule(struct buf *out, int columns)
{
    for (int i = 0; i < columns; i++)
        buf_puts(out, "-");
    buf_puts(out, "\n");
}

static void put_titles(const struct backtest_page *p, const struct table *t)
{
    buf_printf(p->out, "%-*s", LABEL_COLUMNS, "");
    for (size_t k = 0; k < p->report_count; k++) {
        if (k > 0)
            buf_puts(p->out, " |");
        for (size_t i = 0; i < t->count; i++)
            put_right(p->out, cells[t->cells[i]].title,
                      cells[t->cells[i]].columns);
    }
    if (t->change)
        put_right(p->out, cells[CELL_CHANGE].title, cells[CELL_CHANGE].columns);
    buf_puts(p->out, "\n");
    put_rule(p->out, table_columns(p, t));
}

static void put_line(const struct backtest_page *p, const struct table *t,
                     const char *label, struct backtest_line line)
{
    char text[CELL_SIZE];

    buf_printf(p->out, "%-*.*s", LABEL_COLUMNS, LABEL_COLUMNS, label);
    for (size_t k = 0; k < p->report_count; k++) {
        if (k > 0)
            buf_puts(p->out, " |");
        for (size_t i = 0; i < t->count; i++) {
            write_cell(p, p->reports[k], line, t->cells[i], text);
            put_right(p->out, text, cells[t->cells[i]].columns);
        }
    }
    if (t->change) {
        write_change(p, line, text);
        put_right(p->out, text, cells[CELL_CHANGE].columns);
    }
    buf_puts(p->out, "\n");
}

bool backtest_is_quiet(const struct backtest_page *p, struct backtest_line line)
{
    for (size_t k = 0; k < p->report_count; k++) {
        const struct backtest_count *c = count_of(p->reports[k], line);

        if (c->raised > 0 || c->joined > 0 || c->reminders > 0)
            return false;
    }
    return true;
}

static void put_table(const struct backtest_page *p, const struct table *t)
{
    char label[LABEL_COLUMNS + 1];

    put_titles(p, t);
    for (int g = 0; g < GROUP_COUNT; g++) {
        for (int n = 0; n < RULE_COUNT; n++) {
            enum rule r = rule_by_order(n);
            const struct rule_info *info = rule_info(r);

            if (info->group != (enum group)g ||
                backtest_is_quiet(p, (struct backtest_line){ (int)r, g }))
                continue;
            snprintf(label, sizeof(label), "  %s", info->id);
            put_line(p, t, label, (struct backtest_line){ (int)r, g });
        }
        if (!backtest_is_quiet(p, (struct backtest_line){ -1, g }))
            put_line(p, t, group_word((enum group)g),
                     (struct backtest_line){ -1, g });
    }
    put_rule(p->out, table_columns(p, t));
    put_line(p, t, "all", (struct backtest_line){ -1, -1 });
    buf_puts(p->out, "\n");
}

void backtest_tables(const struct backtest_page *p)
{
    static const enum cell one[] = {
        CELL_RAISED,    CELL_JOINED,  CELL_RATE,       CELL_IMMEDIATE,
        CELL_ASAP,      CELL_URGENT,  CELL_ROUTINE,    CELL_REPEATS,
        CELL_WITHDRAWN, CELL_CLEARED, CELL_ENDED_ELSE, CELL_OPEN,
        CELL_REMINDERS, CELL_LEAD,    CELL_WITH_EVENT
    };
    static const enum cell first[] = { CELL_RAISED, CELL_RATE,   CELL_IMMEDIATE,
                                       CELL_ASAP,   CELL_URGENT, CELL_ROUTINE,
                                       CELL_LEAD };
    static const enum cell second[] = { CELL_JOINED,     CELL_REPEATS,
                                        CELL_WITHDRAWN,  CELL_CLEARED,
                                        CELL_ENDED_ELSE, CELL_OPEN,
                                        CELL_REMINDERS,  CELL_WITH_EVENT };
    static const struct table alone = { one, COUNT(one), false };
    static const struct table beside[] = { { first, COUNT(first), true },
                                           { second, COUNT(second), false } };

    if (p->report_count == 1) {
        put_table(p, &alone);
        return;
    }
    for (size_t i = 0; i < COUNT(beside); i++)
        put_table(p, &beside[i]);
}
