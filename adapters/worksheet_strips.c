/* The strips below the flows: pressures, the finger, the dose. */
#include "adapters/worksheet_chart.h"

#include <math.h>
#include <string.h>

#define STRIP_MM     5.4
#define STRIP_GAP_MM 0.9

/* Of the finger the index stands before the pressure: it says the same without
 * the arm's pressure in it. */
static const struct strip_row {
    enum quantity quantity, instead; /* where there is none of the first */
    const char *name, *instead_name;
    const char *thing;
    int decimals, instead_decimals;
} strip_rows[] = {
    { Q_MEAN_PRESSURE, Q_NONE,
      /* TRANSLATORS: name of a strip of a chart, at most two short lines */
      N_("Mean pressure, mmHg"), NULL,
      /* TRANSLATORS: member of the list in "Not recorded: %s." */
      N_("mean arterial pressure"), 0, 0 },
    { Q_STATIC_PRESSURE_RATIO, Q_NONE,
      /* TRANSLATORS: name of a strip of a chart, at most two short lines */
      N_("Static pressure ratio"), NULL,
      /* TRANSLATORS: member of the list in "Not recorded: %s." */
      N_("static pressure ratio"), 1, 0 },
    { Q_DIGITAL_BRACHIAL_INDEX, Q_DIGITAL_PRESSURE,
      /* TRANSLATORS: name of a strip of a chart, at most two short lines;
       * finger pressure over arm pressure */
      N_("Finger index"),
      /* TRANSLATORS: name of a strip of a chart, at most two short lines */
      N_("Finger pressure, mmHg"),
      /* TRANSLATORS: member of the list in "Not recorded: %s." */
      N_("finger pressure or index"), 1, 0 },
    { Q_SPKTV, Q_NONE,
      /* TRANSLATORS: name of a strip of a chart, at most two short lines */
      N_("Kt/V, single pool"), NULL,
      /* TRANSLATORS: member of the list in "Not recorded: %s." */
      N_("single-pool Kt/V"), 1, 0 },
};
_Static_assert(COUNT(strip_rows) == CHART_STRIPS_MAX, "one strip for each row");

/* ---- load ----------------------------------------------------------------- */

static enum err load_row(struct chart *c, const struct strip_row *row)
{
    struct chart_strip *strip = &c->strips[c->strip_count];
    enum err e =
        sheet_series_make(c->h, c->policy, row->quantity, &strip->series);

    strip->name = row->name;
    strip->thing = row->thing;
    strip->decimals = row->decimals;
    if (e == ERR_OK && strip->series.count == 0 && row->instead != Q_NONE) {
        sheet_series_clear(&strip->series);
        e = sheet_series_make(c->h, c->policy, row->instead, &strip->series);
        strip->name = row->instead_name;
        strip->decimals = row->instead_decimals;
    }
    if (e != ERR_OK)
        return e;
    if (strip->series.count == 0) {
        sheet_series_clear(&strip->series);
        c->absent[c->absent_count++] = row->thing;
        return ERR_OK;
    }
    strip->limit_count =
        sheet_limits(c->h, c->policy, strip->series.quantity, strip->limits);
    c->strip_count++;
    return ERR_OK;
}

enum err chart_strips_load(struct chart *c)
{
    enum err e = ERR_OK;

    for (size_t i = 0; i < COUNT(strip_rows) && e == ERR_OK; i++)
        e = load_row(c, &strip_rows[i]);
    return e;
}

double chart_strips_height(const struct chart *c)
{
    return (double)c->strip_count * (STRIP_MM + STRIP_GAP_MM);
}

/* ---- draw ----------------------------------------------------------------- */

/* From a round number below all that is shown to one above it. */
static struct sheet_scale scale_of(const struct chart_strip *s, double y_mm)
{
    struct sheet_scale y = { INFINITY, -INFINITY, y_mm + STRIP_MM, y_mm };
    double step;

    for (size_t i = 0; i < s->series.count; i++) {
        y.from = fmin(y.from, s->series.points[i].least);
        y.to = fmax(y.to, s->series.points[i].most);
    }
    for (size_t i = 0; i < s->limit_count; i++) {
        y.from = fmin(y.from, s->limits[i].value);
        y.to = fmax(y.to, s->limits[i].value);
    }
    step = sheet_step(fmax(y.to - y.from, fmax(fabs(y.to) * 0.05, 1e-3)), 2);
    y.from = floor(y.from / step + 1e-9) * step;
    y.to = ceil(y.to / step - 1e-9) * step;
    if (y.to <= y.from)
        y.to = y.from + step;
    return y;
}

static void draw_name(const struct chart *c, const struct chart_strip *s,
                      double y_mm)
{
    struct canvas_type type = chart_type(ALIGN_LEFT, false);

    type.width_mm = c->x.from_mm - c->box.x_mm - 6.2;
    type.most_lines = 2;
    canvas_text(c->canvas, c->box.x_mm, y_mm, &type, _(s->name));
}

static void draw_ends(const struct chart *c, const struct chart_strip *s,
                      const struct sheet_scale *y)
{
    struct canvas_type type = chart_type(ALIGN_RIGHT, false);
    int decimals = s->decimals;

    if (decimals < sheet_decimals(y->to - y->from))
        decimals = sheet_decimals(y->to - y->from);
    type.width_mm = 5.4;
    canvas_text(c->canvas, c->x.from_mm - 6.0, y->to_mm - 0.3, &type,
                chart_number(y->to, decimals).text);
    canvas_text(c->canvas, c->x.from_mm - 6.0, y->from_mm - 2.2, &type,
                chart_number(y->from, decimals).text);
}

static void draw_limits(const struct chart *c, const struct chart_strip *s,
                        const struct sheet_scale *y)
{
    struct chart_side side = { .count = 0 };
    struct box within = { c->x.from_mm, y->to_mm, c->x.to_mm - c->x.from_mm,
                          y->from_mm - y->to_mm };

    for (size_t i = 0; i < s->limit_count; i++) {
        double at_mm = sheet_at(y, s->limits[i].value);

        canvas_line(c->canvas, (struct canvas_point){ c->x.from_mm, at_mm },
                    (struct canvas_point){ c->x.to_mm, at_mm },
                    chart_pen_limit);
        /* TRANSLATORS: a rule and its limit: "HF-1 2000" */
        chart_side_add(&side, at_mm, false, "%s %s",
                       rule_info(s->limits[i].rule)->id,
                       chart_short(s->limits[i].value).text);
    }
    chart_side_draw(c->canvas, &side, c->x.to_mm,
                    c->box.x_mm + c->box.width_mm - c->x.to_mm, within);
}

static void draw_strip(const struct chart *c, const struct chart_strip *s,
                       double y_mm)
{
    struct sheet_scale y = scale_of(s, y_mm);
    struct box within = { c->x.from_mm, y_mm, c->x.to_mm - c->x.from_mm,
                          STRIP_MM };

    draw_name(c, s, y_mm);
    draw_ends(c, s, &y);
    canvas_frame(c->canvas, within, chart_pen_grid);
    draw_limits(c, s, &y);
    chart_series(c->canvas, &s->series, &c->x, &y, 1.1);
}

void chart_strips_draw(struct chart *c, double y_mm)
{
    for (size_t i = 0; i < c->strip_count; i++) {
        y_mm += STRIP_GAP_MM;
        draw_strip(c, &c->strips[i], y_mm);
        y_mm += STRIP_MM;
    }
    c->bottom_mm = y_mm;
}
