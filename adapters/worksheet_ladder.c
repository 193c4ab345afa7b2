/*
 * The ladder: each dowel, what flow it is expected to leave, and where the
 * target and the floor lie.
 *
 *     dowel | flow, 5 to 95 of a hundred, the middle one thick | how much less
 *           |                                                  | chances
 *
 * Loosest first, as the operator would go.
 */
#include "adapters/worksheet_ladder.h"

#include <math.h>
#include <string.h>

#define DOWEL_MM   14.0 /* its size, and the mark of the one that is named */
#define LESS_MM    13.5 /* how much less flow, with its range */
#define CHANCE_MM  9.8  /* one of three columns of numbers */
#define HEAD_MM    (3 * CHART_LINE_MM) /* a row for each of HEADS */
#define AXIS_MM    3.4
#define ROW_MOST   7.5
#define ROW_LEAST  2.8
#define LESS_PT    6.5
#define BAR_SHARE  0.5 /* of a row */
#define SAME_MM    0.005
#define CHANCE_PCT 100.0

bool ladder_by_flow(const struct ladder *l)
{
    return l->plan->target.lead != PLAN_BY_HAND;
}

double ladder_named_mm(const struct ladder *l)
{
    return l->d->from->in.stage_count > 0 ? plan_what_now(l->d).dowel_mm
                                          : l->plan->first_dowel_mm;
}

bool ladder_is_size(double a, double b)
{
    return fabs(a - b) < SAME_MM;
}

double ladder_row_y(const struct ladder *l, size_t row)
{
    return l->y_mm + (double)row * l->row_mm;
}

/* ---- what lies behind all rows -------------------------------------------- */

static double highest(const struct ladder *l)
{
    const struct plan *plan = l->plan;
    double top = fmax(plan->baseline_ml_min, plan->target.floor_ml_min);

    if (ladder_by_flow(l))
        top = fmax(top, plan->target.high_ml_min);
    for (size_t i = 0; i < plan->rung_count; i++)
        top = fmax(top, plan->rungs[i].flow_ml_min.p95);
    for (size_t i = 0; i < plan->seen_count; i++)
        top = fmax(top, plan->seen[i].measured_ml_min); /* not of a NAN */
    return top;
}

static void set_scale(struct ladder *l)
{
    double from_mm = l->box.x_mm + DOWEL_MM;
    double to_mm = l->box.x_mm + l->box.width_mm - LESS_MM - 3 * CHANCE_MM - 2;
    size_t most = (size_t)fmax(2, (to_mm - from_mm) / 11.0);

    l->x = (struct sheet_scale){ 0, highest(l) * 1.04, from_mm, to_mm };
    l->step = sheet_step(l->x.to, most);
}

static void vertical(const struct ladder *l, double flow_ml_min,
                     struct canvas_pen pen)
{
    double x_mm = sheet_at(&l->x, flow_ml_min);

    canvas_line(l->canvas, (struct canvas_point){ x_mm, l->y_mm },
                (struct canvas_point){ x_mm, l->end_mm }, pen);
}

static void draw_axis(const struct ladder *l)
{
    struct canvas_type type = chart_type(ALIGN_CENTRE, false);

    type.width_mm = 12;
    for (int i = 0; i * l->step <= l->x.to; i++) {
        double flow = i * l->step;

        vertical(l, flow, chart_pen_grid);
        canvas_text(l->canvas, sheet_at(&l->x, flow) - 6, l->end_mm + 0.4,
                    &type, chart_number(flow, 0).text);
    }
    canvas_line(l->canvas, (struct canvas_point){ l->x.from_mm, l->end_mm },
                (struct canvas_point){ l->x.to_mm, l->end_mm }, chart_pen_axis);
}

static void draw_target(const struct ladder *l)
{
    const struct plan_target *t = &l->plan->target;
    double low_mm = sheet_at(&l->x, t->low_ml_min);
    double high_mm = sheet_at(&l->x, t->high_ml_min);

    if (ladder_by_flow(l) && high_mm > low_mm)
        canvas_area(l->canvas,
                    (struct box){ low_mm, l->y_mm, high_mm - low_mm,
                                  l->end_mm - l->y_mm },
                    FILL_LIGHT);
}

static void draw_lines(const struct ladder *l)
{
    struct canvas_pen edge = { 0.15, 0.3, DASH_DOTS };

    if (ladder_by_flow(l)) {
        vertical(l, l->plan->target.low_ml_min, edge);
        vertical(l, l->plan->target.high_ml_min, edge);
    }
    vertical(l, l->plan->baseline_ml_min, chart_pen_limit);
    vertical(l, l->plan->target.floor_ml_min, chart_pen_floor);
}

/* Twelve sizes in a low box leave no room for the larger type. */
static double row_pt(const struct ladder *l)
{
    return l->row_mm < 3.6 ? SHEET_SMALL_PT : SHEET_TEXT_PT;
}

/* ---- rows ----------------------------------------------------------------- */

static void draw_bar(const struct ladder *l, const struct plan_rung *r,
                     double y_mm, bool allowed)
{
    double height_mm = BAR_SHARE * l->row_mm;
    double low_mm = sheet_at(&l->x, r->flow_ml_min.p05);
    double mid_mm = sheet_at(&l->x, r->flow_ml_min.p50);
    struct box bar = { low_mm, y_mm + (l->row_mm - height_mm) / 2,
                       sheet_at(&l->x, r->flow_ml_min.p95) - low_mm,
                       height_mm };
    struct canvas_pen middle = { 0.9, 0, DASH_NONE };

    canvas_area(l->canvas, bar, FILL_WHITE);
    if (!allowed)
        canvas_area(l->canvas, bar, FILL_FALLING);
    else
        canvas_area(l->canvas, bar, FILL_MIDDLE);
    canvas_frame(l->canvas, bar, chart_pen_axis);
    canvas_line(l->canvas, (struct canvas_point){ mid_mm, bar.y_mm - 0.5 },
                (struct canvas_point){ mid_mm, bar.y_mm + height_mm + 0.5 },
                middle);
}

/* Where a column of chances begins. */
static double chance_x(const struct ladder *l, int column)
{
    return l->x.to_mm + 2 + LESS_MM + column * CHANCE_MM;
}

static void draw_less(const struct ladder *l, double y_mm,
                      const struct plan_rung *r, bool bold)
{
    struct canvas_type type = chart_type(ALIGN_RIGHT, bold);
    struct words w;

    w.used = 0;
    w.full = false;
    type.size_pt = fmin(row_pt(l), LESS_PT);
    type.width_mm = LESS_MM;
    canvas_text(l->canvas, l->x.to_mm + 2, y_mm, &type,
                words_narrow(&w, &r->reduction_pct, 0));
}

static void draw_chance(const struct ladder *l, double y_mm, int column,
                        double chance, bool bold)
{
    struct canvas_type type = chart_type(ALIGN_RIGHT, bold);
    const char *text;
    struct chart_number n = chart_number(CHANCE_PCT * chance, 0);

    /* As the text of a plan has it: what is rounded is not certain. */
    text = chance > 0 && chance < 0.01   ? _("<1")
           : chance > 0.99 && chance < 1 ? _(">99")
                                         : n.text;
    type.size_pt = row_pt(l);
    type.width_mm = CHANCE_MM - 2;
    canvas_text(l->canvas, chance_x(l, column), y_mm, &type, text);
}

static void draw_rung(const struct ladder *l, size_t row)
{
    const struct plan_rung *r = &l->plan->rungs[row];
    bool named = ladder_is_size(r->dowel_mm, ladder_named_mm(l));
    double y_mm = ladder_row_y(l, row),
           text_mm = y_mm + l->row_mm / 2 - row_pt(l) * 0.21;
    struct canvas_type type = chart_type(ALIGN_RIGHT, named);
    struct canvas_pen pen = { 0.4, 0, DASH_NONE };
    struct buf size;

    buf_init(&size, CHART_TEXT_MAX);
    buf_printf(&size, _("%s mm"), chart_mm(r->dowel_mm).text);
    type.size_pt = row_pt(l);
    type.width_mm = DOWEL_MM - 2;
    canvas_text(l->canvas, l->box.x_mm, text_mm, &type, size.data);
    buf_clear(&size);
    draw_bar(l, r, y_mm, plan_rung_keeps(l->d, r));
    draw_less(l, text_mm, r, named);
    draw_chance(l, text_mm, 0, r->p_in_zone, named);
    draw_chance(l, text_mm, 1, r->p_too_tight, named);
    draw_chance(l, text_mm, 2, r->p_below_floor, named);
    if (named)
        canvas_frame(l->canvas,
                     (struct box){ l->box.x_mm + 0.3, y_mm + 0.1,
                                   l->box.width_mm - 0.6, l->row_mm - 0.2 },
                     pen);
}

size_t ladder_row(const struct ladder *l, double dowel_mm)
{
    size_t row = 0;

    while (row < l->plan->rung_count &&
           !ladder_is_size(l->plan->rungs[row].dowel_mm, dowel_mm))
        row++;
    return row;
}

static void draw_columns(const struct ladder *l)
{
    struct canvas_type type = chart_type(ALIGN_RIGHT, false);
    const char *const names[] = {
        /* TRANSLATORS: head of a narrow column, chance in per cent */
        _("in target, %"),
        /* TRANSLATORS: head of a narrow column, chance in per cent */
        _("too tight, %"),
        /* TRANSLATORS: head of a narrow column, chance in per cent */
        _("below floor, %")
    };

    type.width_mm = CHANCE_MM - 2;
    for (int i = 0; i < 3; i++) {
        double height_mm = canvas_measure(l->canvas, &type, names[i], NULL);

        canvas_text(l->canvas, chance_x(l, i), l->y_mm - 0.5 - height_mm, &type,
                    names[i]);
    }
    type.width_mm = LESS_MM;
    /* TRANSLATORS: head of a narrow column: how much less flow, per cent */
    canvas_text(l->canvas, l->x.to_mm + 2, l->y_mm - 0.5 - CHART_LINE_MM, &type,
                _("less by, %"));
    type.width_mm = DOWEL_MM - 2;
    /* TRANSLATORS: head of a column: outer diameter of the dowel */
    canvas_text(l->canvas, l->box.x_mm, l->y_mm - 0.5 - CHART_LINE_MM, &type,
                _("dowel"));
}

/* ---- all of it ------------------------------------------------------------ */

static void draw_ladder(struct ladder *l)
{
    struct ladder_heads heads = { .l = l };
    double head_mm, room_mm;

    set_scale(l);
    head_mm = fmax(HEAD_MM, ladder_heads_make(&heads));
    room_mm = l->box.height_mm - head_mm - AXIS_MM - 0.4;
    l->words_mm = room_mm - ROW_LEAST * (double)l->plan->rung_count;
    room_mm -= ladder_words(l, 0, false);
    l->row_mm = room_mm / (double)l->plan->rung_count;
    l->row_mm = fmax(ROW_LEAST, fmin(ROW_MOST, l->row_mm));
    l->y_mm = l->box.y_mm + head_mm;
    l->end_mm = ladder_row_y(l, l->plan->rung_count);
    draw_target(l);
    draw_axis(l);
    draw_lines(l);
    ladder_heads_draw(&heads);
    draw_columns(l);
    for (size_t i = 0; i < l->plan->rung_count; i++)
        draw_rung(l, i);
    for (size_t i = 0; i < l->plan->seen_count; i++)
        ladder_stage(l, i);
    ladder_words(l, l->end_mm + AXIS_MM + 0.4, true);
}

static void say_none(struct canvas *canvas, struct box box, const char *text)
{
    struct canvas_type type = chart_type(ALIGN_LEFT, false);

    type.size_pt = SHEET_TEXT_PT;
    type.italic = true;
    type.width_mm = box.width_mm;
    canvas_text(canvas, box.x_mm, box.y_mm, &type, text);
}

void sheet_ladder(struct canvas *canvas, const struct worksheet *sheet,
                  struct box box)
{
    struct ladder l = { .canvas = canvas,
                        .d = sheet->plan,
                        .plan = sheet->plan->plan,
                        .box = box };

    canvas_clip(canvas, box);
    if (l.plan == NULL)
        say_none(canvas, box, _("There is no plan, and no sizes to compare."));
    else if (l.plan->rung_count == 0)
        say_none(canvas, box, _("The plan holds no sizes to compare."));
    else
        draw_ladder(&l);
    canvas_unclip(canvas);
}
