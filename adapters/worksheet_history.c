/*
 * The chart of flows: time to the right, mL/min upwards from nothing.
 *
 *     labels of what was done           in rows, none over another
 *     flows, limits, treatments         the target at the right edge
 *     strips                            with the same axis of time
 *     days
 *     what the marks mean
 */
#include "adapters/plan_say.h"
#include "adapters/worksheet_chart.h"

#include <math.h>
#include <string.h>

#define LEFT_MM       24.0 /* names and numbers */
#define RIGHT_MM      30.0 /* the target, and limits in words */
#define TARGET_MM     3.5
#define TIME_MM       3.4 /* the days */
#define LEAST_FLOW_MM 12.0
#define LEAST_SPAN_D  21

/* ---- the time that is drawn ----------------------------------------------- */

static void reach(const struct sheet_series *s, int64_t *from_s, int64_t *to_s)
{
    if (s->count == 0)
        return;
    if (s->points[0].at_s < *from_s)
        *from_s = s->points[0].at_s;
    if (s->points[s->count - 1].at_s > *to_s)
        *to_s = s->points[s->count - 1].at_s;
}

/* What was done a little before the first value belongs to it; what was done
 * long before would leave the chart empty, and is said in words. */
static void take_in_events(struct chart *c)
{
    int64_t room_s = (c->to_s - c->from_s) / 4;

    room_s = room_s > 30LL * DAY_S ? room_s : 30LL * DAY_S;
    c->event_first = c->event_count;
    while (c->event_first > 0 &&
           c->events[c->event_first - 1].at_s >= c->from_s - room_s)
        c->event_first--;
    if (c->event_first < c->event_count &&
        c->events[c->event_first].at_s < c->from_s)
        c->from_s = c->events[c->event_first].at_s;
}

static void set_time(struct chart *c)
{
    int64_t least_s = (int64_t)LEAST_SPAN_D * DAY_S;

    c->from_s = c->to_s = c->h->now_s;
    reach(&c->flow, &c->from_s, &c->to_s);
    for (size_t i = 0; i < c->strip_count; i++)
        reach(&c->strips[i].series, &c->from_s, &c->to_s);
    take_in_events(c);
    if (c->to_s - c->from_s < least_s)
        c->from_s = c->to_s - least_s;
    /* Nothing stands on the axis itself. */
    c->from_s -= (c->to_s - c->from_s) / 50;
    c->to_s += (c->to_s - c->from_s) / 100;
    c->x = (struct sheet_scale){ (double)c->from_s, (double)c->to_s,
                                 c->box.x_mm + LEFT_MM,
                                 c->box.x_mm + c->box.width_mm - RIGHT_MM };
}

static void draw_time(const struct chart *c)
{
    struct canvas_type type = chart_type(ALIGN_CENTRE, false);
    struct sheet_tick ticks[SHEET_TICKS_MAX];
    double room_mm = c->x.to_mm - c->x.from_mm;
    size_t count = sheet_ticks(c->from_s, c->to_s, c->zone,
                               (size_t)(room_mm / 13.0), ticks);

    type.width_mm = 14;
    for (size_t i = 0; i < count; i++) {
        double x_mm = sheet_at(&c->x, (double)ticks[i].at_s);

        canvas_line(c->canvas, (struct canvas_point){ x_mm, c->y_mm },
                    (struct canvas_point){ x_mm, c->bottom_mm },
                    chart_pen_grid);
        canvas_line(c->canvas, (struct canvas_point){ x_mm, c->bottom_mm },
                    (struct canvas_point){ x_mm, c->bottom_mm + 0.8 },
                    chart_pen_axis);
        canvas_text(c->canvas, x_mm - type.width_mm / 2, c->bottom_mm + 0.8,
                    &type, ticks[i].label);
    }
}

/* ---- flows ---------------------------------------------------------------- */

static bool by_flow(const struct chart *c)
{
    return c->target != NULL && c->target->lead != PLAN_BY_HAND;
}

/* As high as the values, the target and the floor, and then to the next limit
 * above these, if there is one: what they are near to is seen. */
static double highest(const struct chart *c, const struct sheet_limit *limits,
                      size_t limit_count)
{
    double top = 0, next = INFINITY;

    for (size_t i = 0; i < c->flow.count; i++)
        top = fmax(top, c->flow.points[i].most);
    if (c->target != NULL && isfinite(c->target->floor_ml_min))
        top = fmax(top, c->target->floor_ml_min);
    if (by_flow(c) && isfinite(c->target->high_ml_min))
        top = fmax(top, c->target->high_ml_min);
    for (size_t i = 0; i < limit_count; i++) {
        if (c->flow.count == 0)
            top = fmax(top, limits[i].value);
        else if (limits[i].value >= top)
            next = fmin(next, limits[i].value);
    }
    return isfinite(next) ? fmax(top, next) : fmax(top, 500);
}

static struct sheet_scale flow_scale(double top, double y_mm, double height_mm,
                                     double *step)
{
    size_t most = (size_t)fmax(2, fmin(8, height_mm / 3.6));

    /* Room above the highest for its mark, and the arrow of a bound. */
    top *= 1.0 + 3.0 / height_mm;
    *step = sheet_step(top, most);
    return (struct sheet_scale){ 0, top, y_mm + height_mm, y_mm };
}

static void draw_grid(const struct chart *c, const struct sheet_scale *y,
                      double step)
{
    struct canvas_type type = chart_type(ALIGN_RIGHT, false);

    type.width_mm = 9;
    for (int i = 0; i * step <= y->to; i++) {
        double value = i * step;
        double y_mm = sheet_at(y, value);

        canvas_line(c->canvas, (struct canvas_point){ c->x.from_mm, y_mm },
                    (struct canvas_point){ c->x.to_mm, y_mm }, chart_pen_grid);
        canvas_text(c->canvas, c->x.from_mm - 9.7,
                    value > 0 ? y_mm - 1.3 : y_mm - 2.2, &type,
                    chart_number(value, 0).text);
    }
}

static void draw_caption(const struct chart *c)
{
    struct canvas_type type = chart_type(ALIGN_LEFT, true);

    type.width_mm = LEFT_MM - 7.5;
    /* TRANSLATORS: name of the axis of a chart, in two or three short lines */
    canvas_text(c->canvas, c->box.x_mm, c->y_mm - 1, &type,
                _("Access flow, mL/min"));
}

static void draw_limits(const struct chart *c, const struct sheet_scale *y,
                        const struct sheet_limit *limits, size_t count,
                        struct chart_side *side)
{
    for (size_t i = 0; i < count; i++) {
        const char *rule = rule_info(limits[i].rule)->id;
        struct chart_number value = chart_number(limits[i].value, 0);
        double y_mm = sheet_at(y, limits[i].value);

        if (y_mm < y->to_mm) {
            /* TRANSLATORS: a rule and its limit, which lies above the chart */
            chart_side_add(side, y->to_mm - 1, false, _("%1$s %2$s (higher)"),
                           rule, value.text);
            continue;
        }
        canvas_line(c->canvas, (struct canvas_point){ c->x.from_mm, y_mm },
                    (struct canvas_point){ c->x.to_mm + TARGET_MM, y_mm },
                    chart_pen_limit);
        chart_side_add(side, y_mm, false, "%s %s", rule, value.text);
    }
}

static void draw_target(const struct chart *c, const struct sheet_scale *y,
                        struct chart_side *side)
{
    const struct plan_target *t = c->target;
    double x_mm = c->x.to_mm, floor_mm;

    if (t == NULL)
        return;
    if (by_flow(c) && t->high_ml_min > t->low_ml_min) {
        double top_mm = sheet_at(y, t->high_ml_min);
        struct box zone = { x_mm, top_mm, TARGET_MM,
                            sheet_at(y, t->low_ml_min) - top_mm };

        canvas_area(c->canvas, zone, FILL_RISING);
        canvas_frame(c->canvas, zone, chart_pen_axis);
        /* TRANSLATORS: the range of flow that a plan wants, mL/min */
        chart_side_add(side, zone.y_mm + zone.height_mm / 2, true,
                       _("target %1$s to %2$s"),
                       chart_number(words_flow_shown(t->low_ml_min), 0).text,
                       chart_number(words_flow_shown(t->high_ml_min), 0).text);
    }
    if (!isfinite(t->floor_ml_min))
        return;
    floor_mm = sheet_at(y, t->floor_ml_min);
    canvas_line(c->canvas, (struct canvas_point){ x_mm, floor_mm },
                (struct canvas_point){ x_mm + TARGET_MM, floor_mm },
                chart_pen_floor);
    /* TRANSLATORS: the least flow that a plan leaves, mL/min */
    chart_side_add(side, floor_mm, true, _("floor %s"),
                   chart_number(t->floor_ml_min, 0).text);
}

static void draw_none(const struct chart *c, double height_mm)
{
    struct canvas_type type = chart_type(ALIGN_CENTRE, false);

    if (c->flow.count > 0)
        return;
    type.size_pt = SHEET_TEXT_PT;
    type.italic = true;
    type.width_mm = c->x.to_mm - c->x.from_mm;
    canvas_text(c->canvas, c->x.from_mm, c->y_mm + height_mm / 2 - 1.5, &type,
                _("No access flow is recorded."));
}

static void draw_flows(const struct chart *c, double height_mm)
{
    struct sheet_limit limits[SHEET_LIMITS_MAX];
    size_t count = sheet_limits(c->h, c->policy, Q_ACCESS_FLOW, limits);
    struct chart_side side = { .count = 0 };
    struct box within = { c->x.from_mm, c->y_mm, c->x.to_mm - c->x.from_mm,
                          height_mm };
    double step;
    struct sheet_scale y =
        flow_scale(highest(c, limits, count), c->y_mm, height_mm, &step);

    draw_grid(c, &y, step);
    draw_limits(c, &y, limits, count, &side);
    draw_target(c, &y, &side);
    chart_side_draw(c->canvas, &side, c->x.to_mm + TARGET_MM,
                    RIGHT_MM - TARGET_MM, within);
    canvas_line(c->canvas, (struct canvas_point){ c->x.from_mm, c->y_mm },
                (struct canvas_point){ c->x.from_mm, c->y_mm + height_mm },
                chart_pen_axis);
    canvas_line(c->canvas,
                (struct canvas_point){ c->x.from_mm, c->y_mm + height_mm },
                (struct canvas_point){ c->x.to_mm, c->y_mm + height_mm },
                chart_pen_axis);
    chart_series(c->canvas, &c->flow, &c->x, &y, 1.9);
    draw_none(c, height_mm);
}

/* ---- all of it ------------------------------------------------------------ */

static void thin(struct chart *c)
{
    /* Two columns for each millimetre: a mark is about two wide. */
    size_t columns = (size_t)(2.0 * (c->x.to_mm - c->x.from_mm));

    sheet_series_thin(&c->flow, c->from_s, c->to_s, columns);
    for (size_t i = 0; i < c->strip_count; i++)
        sheet_series_thin(&c->strips[i].series, c->from_s, c->to_s, columns);
}

static void draw(struct chart *c)
{
    struct chart_labels labels = { .c = c };
    double end_mm = c->box.y_mm + c->box.height_mm, flow_mm;
    int rows;

    set_time(c);
    thin(c);
    rows = chart_labels_make(&labels);
    c->y_mm = c->box.y_mm + CHART_LINE_MM * rows + 1.2;
    c->legend_mm = end_mm - chart_legend(c, 0, false);
    flow_mm = c->legend_mm - TIME_MM - chart_strips_height(c) - c->y_mm;
    flow_mm = fmax(flow_mm, LEAST_FLOW_MM);
    c->bottom_mm = c->y_mm + flow_mm + chart_strips_height(c);
    draw_time(c);
    draw_caption(c);
    chart_events_draw(c, &labels);
    draw_flows(c, flow_mm);
    chart_strips_draw(c, c->y_mm + flow_mm);
    chart_legend(c, c->legend_mm, true);
}

static void say_no_memory(struct canvas *canvas, struct box box)
{
    struct canvas_type type = chart_type(ALIGN_LEFT, false);

    type.width_mm = box.width_mm;
    canvas_text(canvas, box.x_mm, box.y_mm, &type,
                _("There was not enough memory to draw the flows."));
}

void sheet_history(struct canvas *canvas, const struct worksheet *sheet,
                   struct box box)
{
    const struct plan_document *d = sheet->plan;
    struct chart c = { .canvas = canvas,
                       .sheet = sheet,
                       .h = d->history,
                       .policy = d->policy,
                       .zone = d->zone,
                       .target = d->plan != NULL ? &d->plan->target : NULL,
                       .box = box };
    enum err e = sheet_series_make(c.h, c.policy, Q_ACCESS_FLOW, &c.flow);

    if (e == ERR_OK)
        e = chart_strips_load(&c);
    c.event_count =
        sheet_events(c.h, c.events, SHEET_EVENTS_MAX, &c.event_lost);
    canvas_clip(canvas, box);
    if (e == ERR_OK)
        draw(&c);
    else
        say_no_memory(canvas, box);
    canvas_unclip(canvas);
    sheet_series_clear(&c.flow);
    for (size_t i = 0; i < c.strip_count; i++)
        sheet_series_clear(&c.strips[i].series);
}
