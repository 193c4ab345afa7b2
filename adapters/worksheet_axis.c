#include "adapters/worksheet_axis.h"

#include "adapters/civil.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

double sheet_at(const struct sheet_scale *s, double value)
{
    return s->from_mm +
           (value - s->from) / (s->to - s->from) * (s->to_mm - s->from_mm);
}

/* ---- numbers -------------------------------------------------------------- */

double sheet_step(double span, size_t most)
{
    static const double nice[] = { 1, 2, 5, 10 };
    double least = span / (double)most;
    double power = pow(10.0, floor(log10(least)));

    /* Rounding of the logarithm may leave it one power too high. */
    if (power > least)
        power /= 10.0;
    for (size_t i = 0; i < sizeof(nice) / sizeof(nice[0]); i++) {
        if (nice[i] * power >= least * (1 - 1e-9))
            return nice[i] * power;
    }
    return 20.0 * power;
}

int sheet_decimals(double step)
{
    int decimals = 0;

    while (decimals < 6 && step < 0.999) {
        step *= 10.0;
        decimals++;
    }
    return decimals;
}

/* ---- days ----------------------------------------------------------------- */

enum tick_form { TICK_DAY, TICK_MONTH, TICK_YEAR };

struct calendar_step {
    int days, months; /* one of them */
    enum tick_form form;
};

static const struct calendar_step calendar_steps[] = {
    { 1, 0, TICK_DAY },    { 2, 0, TICK_DAY },     { 7, 0, TICK_DAY },
    { 14, 0, TICK_DAY },   { 0, 1, TICK_MONTH },   { 0, 2, TICK_MONTH },
    { 0, 3, TICK_MONTH },  { 0, 6, TICK_MONTH },   { 0, 12, TICK_YEAR },
    { 0, 24, TICK_YEAR },  { 0, 60, TICK_YEAR },   { 0, 120, TICK_YEAR },
    { 0, 240, TICK_YEAR }, { 0, 1200, TICK_YEAR },
};

/* 1970-01-05 was a Monday, ISO 8601. */
enum { MONDAY = 4 };

static int64_t floor_div(int64_t a, int64_t b)
{
    return a / b - (a % b < 0);
}

/* The nth of the steps: days since 1970-01-01. */
static int64_t step_day(const struct calendar_step *step, int64_t n)
{
    int64_t month;

    if (step->days > 0)
        return n * step->days + (step->days >= 7 ? MONDAY : 0);
    month = n * step->months;
    return civil_to_day((int)floor_div(month, 12),
                        (int)(month - 12 * floor_div(month, 12)) + 1, 1);
}

/* The last of the steps that is not after a day. */
static int64_t step_before(const struct calendar_step *step, int64_t day)
{
    struct civil c = civil_of_day(day);

    if (step->days > 0)
        return floor_div(day - (step->days >= 7 ? MONDAY : 0), step->days);
    return floor_div((int64_t)c.year * 12 + c.month - 1, step->months);
}

static void write_tick(struct sheet_tick *tick, enum tick_form form,
                       const struct civil *c)
{
    if (form == TICK_DAY)
        snprintf(tick->label, SHEET_TICK_TEXT, "%04d-%02d-%02d",
                 c->year % 10000, c->month % 100, c->day % 100);
    else if (form == TICK_MONTH)
        snprintf(tick->label, SHEET_TICK_TEXT, "%04d-%02d", c->year % 10000,
                 c->month % 100);
    else
        snprintf(tick->label, SHEET_TICK_TEXT, "%04d", c->year % 10000);
}

static size_t ticks_of(const struct calendar_step *step, int64_t from_s,
                       int64_t to_s, const struct zone *zone,
                       struct sheet_tick *ticks, size_t max)
{
    int64_t day = civil_day_of_s(from_s + zone_offset_s(zone, from_s));
    size_t count = 0;

    for (int64_t n = step_before(step, day);; n++) {
        int64_t at_day = step_day(step, n);
        int64_t at_s = zone_utc_s(zone, at_day * DAY_S);
        struct civil c = civil_of_day(at_day);

        if (at_s > to_s)
            return count;
        if (at_s < from_s)
            continue;
        if (count == max)
            return max + 1;
        ticks[count].at_s = at_s;
        write_tick(&ticks[count++], step->form, &c);
    }
}

size_t sheet_ticks(int64_t from_s, int64_t to_s, const struct zone *zone,
                   size_t most, struct sheet_tick ticks[SHEET_TICKS_MAX])
{
    size_t max = most < SHEET_TICKS_MAX ? most : SHEET_TICKS_MAX;

    for (size_t i = 0; i < sizeof(calendar_steps) / sizeof(calendar_steps[0]);
         i++) {
        size_t n = ticks_of(&calendar_steps[i], from_s, to_s, zone, ticks, max);

        if (n <= max)
            return n;
    }
    return 0;
}

/* ---- labels along a line -------------------------------------------------- */

void sheet_spread(double *middle, size_t count, double height, double least,
                  double most)
{
    double place = most - height / 2;

    /* Up from below, each clear of the one before; then down from above. */
    for (size_t i = 0; i < count; i++) {
        double lowest = i == 0 ? least + height / 2 : middle[i - 1] + height;

        middle[i] = fmax(middle[i], lowest);
    }
    for (size_t i = count; i-- > 0; place = middle[i] - height)
        middle[i] = fmin(middle[i], place);
}

/* ---- labels in rows ------------------------------------------------------- */

/* To the right of its line, or to the left where the row ends before. */
static void stand(struct sheet_label *l, double left_mm, double right_mm)
{
    l->left_mm = l->x_mm;
    if (l->left_mm + l->width_mm > right_mm)
        l->left_mm = right_mm - l->width_mm;
    if (l->left_mm < left_mm)
        l->left_mm = left_mm;
}

/* The row of a label: above all that begin before its text ends, so that
 * their lines, which come from the chart, stop below it. */
static int row_of(const struct sheet_label *labels, size_t count, size_t i,
                  double gap_mm)
{
    double end_mm = labels[i].left_mm + labels[i].width_mm + gap_mm;
    int row = 0;

    for (size_t k = i + 1; k < count; k++) {
        bool near = labels[k].left_mm < end_mm || labels[k].x_mm < end_mm;

        if (near && labels[k].row >= row)
            row = labels[k].row + 1;
    }
    return row;
}

/* From the right to the left; the label that finds no row, count if all do. */
static size_t fill_rows(struct sheet_label *labels, size_t count, int rows,
                        double left_mm, double right_mm, double gap_mm)
{
    for (size_t i = count; i-- > 0;) {
        stand(&labels[i], left_mm, right_mm);
        labels[i].row = row_of(labels, count, i, gap_mm);
        if (labels[i].row >= rows)
            return i;
    }
    return count;
}

/* The label at i, and the one after it, become one. */
static size_t put_together(struct sheet_label *labels, size_t count, size_t i)
{
    labels[i].count += labels[i + 1].count;
    memmove(labels + i + 1, labels + i + 2, (count - i - 2) * sizeof(*labels));
    return count - 1;
}

size_t sheet_labels(struct sheet_label *labels, size_t count, int rows,
                    double left_mm, double right_mm, double gap_mm,
                    double (*measure)(void *arg, size_t first, size_t count),
                    void *arg)
{
    size_t stuck, at;

    rows = rows < SHEET_ROWS_MAX ? rows : SHEET_ROWS_MAX;
    for (size_t i = 0; i < count; i++)
        labels[i].width_mm = measure(arg, labels[i].first, labels[i].count);
    while ((stuck = fill_rows(labels, count, rows, left_mm, right_mm, gap_mm)) <
               count &&
           count > 1) {
        /* The neighbour is nearer on one side or on the other. */
        at = stuck + 1 == count ? stuck - 1 : stuck;
        if (stuck > 0 && at == stuck &&
            labels[stuck].x_mm - labels[stuck - 1].x_mm <
                labels[stuck + 1].x_mm - labels[stuck].x_mm)
            at = stuck - 1;
        count = put_together(labels, count, at);
        labels[at].width_mm = measure(arg, labels[at].first, labels[at].count);
    }
    return count;
}
