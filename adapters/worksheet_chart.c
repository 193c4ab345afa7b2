/* Pens, marks and numbers of the charts. */
#include "adapters/worksheet_chart.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

const struct canvas_pen chart_pen_axis = { 0.2, 0.0, DASH_NONE };
const struct canvas_pen chart_pen_grid = { 0.1, 0.8, DASH_NONE };
const struct canvas_pen chart_pen_limit = { 0.2, 0.0, DASH_LONG };
const struct canvas_pen chart_pen_event = { 0.2, 0.35, DASH_NONE };
const struct canvas_pen chart_pen_course = { 0.15, 0.3, DASH_NONE };
const struct canvas_pen chart_pen_floor = { 0.7, 0.0, DASH_NONE };

struct chart_number chart_number(double value, int decimals)
{
    struct chart_number n = { "?" };
    struct buf text;

    if (!isfinite(value))
        return n;
    buf_init(&text, sizeof(n.text));
    catalogue_number(&text, value, decimals);
    if (buf_ok(&text) == ERR_OK)
        snprintf(n.text, sizeof(n.text), "%s", text.data);
    buf_clear(&text);
    return n;
}

struct chart_number chart_short(double value)
{
    int decimals = 0;

    while (decimals < 2 && fabs(value * pow(10, decimals) -
                                round(value * pow(10, decimals))) > 1e-6)
        decimals++;
    return chart_number(value, decimals);
}

struct chart_number chart_mm(double mm)
{
    return chart_number(mm, fabs(10.0 * mm - round(10.0 * mm)) < 0.05 ? 1 : 2);
}

struct canvas_type chart_type(enum canvas_align align, bool bold)
{
    return (struct canvas_type){
        .size_pt = SHEET_SMALL_PT, .bold = bold, .narrow = true, .align = align
    };
}

double chart_width(struct canvas *canvas, const char *text)
{
    struct canvas_type type = chart_type(ALIGN_LEFT, false);
    double width_mm = 0;

    canvas_measure(canvas, &type, text, &width_mm);
    return width_mm;
}

/* More values than this stand close together; more than that touch. */
#define CROWD 60
#define CLOUD 400

/* ---- marks ---------------------------------------------------------------- */

static const struct {
    enum canvas_mark used, unused;
    const char *words;
} method_marks[METHOD_COUNT] = {
    [METHOD_UNSTATED] = { MARK_PLUS, MARK_PLUS, N_("method not stated") },
    [METHOD_ULTRASOUND_DILUTION] = { MARK_DISC, MARK_CIRCLE,
                                     N_("ultrasound dilution") },
    [METHOD_THERMODILUTION] = { MARK_SQUARE_FULL, MARK_SQUARE,
                                N_("thermodilution") },
    [METHOD_IONIC_DIALYSANCE] = { MARK_DIAMOND, MARK_DIAMOND,
                                  N_("ionic dialysance") },
    [METHOD_CONSTANT_INFUSION] = { MARK_CROSS, MARK_CROSS,
                                   N_("constant infusion") },
    [METHOD_DUPLEX] = { MARK_TRIANGLE_FULL, MARK_TRIANGLE,
                        N_("duplex ultrasound") },
};

enum canvas_mark chart_mark(enum method method, bool used)
{
    return used ? method_marks[method].used : method_marks[method].unused;
}

const char *chart_method(enum method method)
{
    return _(method_marks[method].words);
}

void chart_arrow(struct canvas *canvas, struct canvas_point at, double sign,
                 double long_mm)
{
    const double head_mm = 0.8;
    struct canvas_pen pen = { 0.25, 0, DASH_NONE };
    struct canvas_point tip = { at.x_mm, at.y_mm - sign * long_mm };
    struct canvas_point head[] = {
        { tip.x_mm - head_mm * 0.7, tip.y_mm + sign * head_mm },
        tip,
        { tip.x_mm + head_mm * 0.7, tip.y_mm + sign * head_mm },
    };

    canvas_line(canvas, at, tip, pen);
    canvas_path(canvas, head, COUNT(head), pen);
}

void chart_point(struct canvas *canvas, const struct sheet_point *p,
                 struct canvas_point at, double size_mm)
{
    bool used = p->use == SHEET_USED;

    if (p->bound == BOUND_ABOVE || p->bound == BOUND_AT_LEAST)
        chart_arrow(canvas, at, 1, 2.6);
    else if (p->bound != BOUND_NONE)
        chart_arrow(canvas, at, -1, 2.6);
    canvas_mark(canvas, at, used ? size_mm : 0.65 * size_mm,
                chart_mark(p->method, used));
}

static struct canvas_point place(const struct sheet_point *p,
                                 const struct sheet_scale *x,
                                 const struct sheet_scale *y)
{
    return (struct canvas_point){ sheet_at(x, (double)p->at_s),
                                  sheet_at(y, p->value) };
}

/* How far the values of one session lie apart, where that matters. */
static void spread(struct canvas *canvas, const struct sheet_point *p,
                   const struct sheet_scale *x, const struct sheet_scale *y)
{
    double x_mm = sheet_at(x, (double)p->at_s);

    if (p->use == SHEET_APART && p->most > p->least)
        canvas_line(canvas,
                    (struct canvas_point){ x_mm, sheet_at(y, p->least) },
                    (struct canvas_point){ x_mm, sheet_at(y, p->most) },
                    chart_pen_course);
}

void chart_series(struct canvas *canvas, const struct sheet_series *s,
                  const struct sheet_scale *x, const struct sheet_scale *y,
                  double size_mm)
{
    /* Many values make a cloud: small marks, and no lines across it. */
    bool is_cloud = s->count > CLOUD;

    if (s->count > CROWD)
        size_mm *= fmax(0.45, sqrt(CROWD / (double)s->count));
    for (size_t i = 0; i < s->count; i++) {
        const struct sheet_point *p = &s->points[i];

        spread(canvas, p, x, y);
        if (p->before != SHEET_NO_POINT && !is_cloud)
            canvas_line(canvas, place(&s->points[p->before], x, y),
                        place(p, x, y), chart_pen_course);
    }
    for (size_t i = 0; i < s->count; i++)
        chart_point(canvas, &s->points[i], place(&s->points[i], x, y), size_mm);
}

#define LEAD_MM 2.0

/* ---- labels at the right -------------------------------------------------- */

/* In the order of their places, as sheet_spread() wants them. */
void chart_side_add(struct chart_side *side, double y_mm, bool bold,
                    const char *format, ...)
{
    struct chart_side_label l = { .y_mm = y_mm, .bold = bold };
    size_t at = side->count;
    va_list args;

    if (side->count == CHART_SIDE_MAX)
        return;
    va_start(args, format);
    vsnprintf(l.text, sizeof(l.text), format, args);
    va_end(args);
    for (; at > 0 && side->labels[at - 1].y_mm > y_mm; at--)
        side->labels[at] = side->labels[at - 1];
    side->labels[at] = l;
    side->count++;
}

void chart_side_draw(struct canvas *canvas, struct chart_side *side,
                     double x_mm, double width_mm, struct box within)
{
    double middle[CHART_SIDE_MAX];

    for (size_t i = 0; i < side->count; i++)
        middle[i] = side->labels[i].y_mm;
    sheet_spread(middle, side->count, CHART_LINE_MM - 0.2, within.y_mm - 1.2,
                 within.y_mm + within.height_mm + 1.2);
    for (size_t i = 0; i < side->count; i++) {
        struct canvas_type type = chart_type(ALIGN_LEFT, side->labels[i].bold);

        if (fabs(middle[i] - side->labels[i].y_mm) > 0.5)
            canvas_line(canvas,
                        (struct canvas_point){ x_mm, side->labels[i].y_mm },
                        (struct canvas_point){ x_mm + LEAD_MM, middle[i] },
                        chart_pen_course);
        type.width_mm = width_mm - LEAD_MM - 0.4;
        type.most_lines = 1;
        canvas_text(canvas, x_mm + LEAD_MM + 0.4, middle[i] - 1.25, &type,
                    side->labels[i].text);
    }
}
