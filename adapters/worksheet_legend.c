/* What the marks of the chart of flows mean, and what it does not show. */
#include "adapters/worksheet_chart.h"

#include "adapters/fhir_time.h"

#include <math.h>
#include <string.h>

/* ---- marks ---------------------------------------------------------------- */

enum sample { SAMPLE_MARK, SAMPLE_SMALL, SAMPLE_ARROW, SAMPLE_LIMIT };

/* A row of samples with their words, wrapped. */
struct flow {
    struct canvas *canvas;
    struct box box;
    double x_mm, y_mm;
    bool draw;
};

static void sample(const struct flow *f, enum sample what, enum method method,
                   struct canvas_point at)
{
    struct sheet_point p = { .method = method,
                             .use = what == SAMPLE_SMALL ? SHEET_BLANKED
                                                         : SHEET_USED };

    if (what == SAMPLE_LIMIT) {
        canvas_line(f->canvas, (struct canvas_point){ at.x_mm - 1.8, at.y_mm },
                    (struct canvas_point){ at.x_mm + 4.2, at.y_mm },
                    chart_pen_limit);
        return;
    }
    if (what == SAMPLE_ARROW) {
        at.y_mm += 1;
        chart_arrow(f->canvas, at, 1, 2);
        return;
    }
    chart_point(f->canvas, &p, at, 1.7);
}

static void add_sample(struct flow *f, enum sample what, enum method method,
                       const char *words)
{
    struct canvas_type type = chart_type(ALIGN_LEFT, false);
    double width_mm = chart_width(f->canvas, words);
    double lead_mm = what == SAMPLE_LIMIT ? 6.8 : 2.6;

    if (f->x_mm > f->box.x_mm &&
        f->x_mm + lead_mm + width_mm > f->box.x_mm + f->box.width_mm) {
        f->x_mm = f->box.x_mm;
        f->y_mm += CHART_LINE_MM;
    }
    if (f->draw) {
        double mark_mm = what == SAMPLE_LIMIT ? 1.8 : 1.2;

        sample(f, what, method,
               (struct canvas_point){ f->x_mm + mark_mm, f->y_mm + 1.35 });
        canvas_text(f->canvas, f->x_mm + lead_mm, f->y_mm, &type, words);
    }
    f->x_mm += lead_mm + width_mm + 2.6;
}

/* What of all that may be is on this chart. */
struct on_chart {
    bool method[METHOD_COUNT];
    bool unused, bound;
    enum method unused_method;
};

static void note(const struct sheet_series *s, struct on_chart *on)
{
    for (size_t i = 0; i < s->count; i++) {
        const struct sheet_point *p = &s->points[i];

        on->bound = on->bound || p->bound != BOUND_NONE;
        if (p->use != SHEET_USED) {
            on->unused = true;
            on->unused_method = p->method;
        }
    }
}

static double draw_marks(const struct chart *c, double y_mm, bool draw)
{
    struct flow f = { .canvas = c->canvas,
                      .box = c->box,
                      .x_mm = c->box.x_mm,
                      .y_mm = y_mm,
                      .draw = draw };
    struct on_chart on = { .bound = false };

    for (size_t i = 0; i < c->flow.count; i++)
        on.method[c->flow.points[i].method] = true;
    note(&c->flow, &on);
    for (size_t i = 0; i < c->strip_count; i++)
        note(&c->strips[i].series, &on);
    for (size_t m = 1; m <= METHOD_COUNT; m++) {
        enum method method = (enum method)(m % METHOD_COUNT);

        if (on.method[method])
            add_sample(&f, SAMPLE_MARK, method, chart_method(method));
    }
    if (on.bound)
        add_sample(&f, SAMPLE_ARROW, METHOD_ULTRASOUND_DILUTION,
                   _("more (or, downwards, less) than this"));
    if (on.unused)
        add_sample(&f, SAMPLE_SMALL, on.unused_method,
                   _("small: not used by the rules (preliminary, "
                     "contradictory, or too soon after a treatment)"));
    if (c->h->access_type != SIGN_TYPE_CVC)
        add_sample(&f, SAMPLE_LIMIT, METHOD_UNSTATED,
                   _("limit of the policy, with its rule"));
    return f.x_mm > f.box.x_mm ? f.y_mm + CHART_LINE_MM - y_mm : f.y_mm - y_mm;
}

/* ---- words ---------------------------------------------------------------- */

static void gap(struct buf *out)
{
    if (out->len > 0)
        buf_puts(out, " ");
}

static void say_absent(const struct chart *c, struct buf *out)
{
    struct buf list;

    if (c->absent_count == 0)
        return;
    buf_init(&list, CHART_TEXT_MAX);
    for (size_t i = 0; i < c->absent_count; i++) {
        buf_puts(&list, i > 0 ? ", " : "");
        buf_puts(&list, _(c->absent[i]));
    }
    gap(out);
    /* TRANSLATORS: of an access; a list of quantities with commas */
    buf_printf(out, _("Not recorded: %s."), list.data);
    buf_clear(&list);
}

/* The newest few of what was done before the time that is drawn. */
static void say_before(const struct chart *c, struct buf *out)
{
    enum { MOST = 4 };
    size_t first = c->event_first > MOST ? c->event_first - MOST : 0;
    size_t left = first + c->event_lost;
    struct buf list;

    if (c->event_first == 0 && c->event_lost == 0)
        return;
    buf_init(&list, CHART_TEXT_MAX);
    for (size_t i = first; i < c->event_first; i++) {
        buf_puts(&list, i > first ? ", " : "");
        chart_event_words(c, &c->events[i], true, &list);
    }
    gap(out);
    if (left == 0)
        /* TRANSLATORS: before what the chart shows; a list of treatments
         * with their dates */
        buf_printf(out, _("Earlier than shown: %s."), list.data);
    else if (list.len == 0)
        buf_printf(out,
                   ngettext("Earlier than shown: %zu treatment.",
                            "Earlier than shown: %zu treatments.", left),
                   left);
    else
        buf_printf(
            out,
            ngettext("Earlier than shown: %2$s, and %1$zu treatment before.",
                     "Earlier than shown: %2$s, and %1$zu treatments before.",
                     left),
            left, list.data);
    buf_clear(&list);
}

static void say_thinned(const struct chart *c, struct buf *out)
{
    size_t drawn = c->flow.count, found = c->flow.found;
    size_t undated = c->flow.undated;

    for (size_t i = 0; i < c->strip_count; i++) {
        drawn += c->strips[i].series.count;
        found += c->strips[i].series.found;
        undated += c->strips[i].series.undated;
    }
    if (drawn < found) {
        gap(out);
        buf_printf(out,
                   _("Of %1$zu values %2$zu are drawn; those left out lie "
                     "between the least and the greatest of their days."),
                   found, drawn);
    }
    if (undated > 0) {
        gap(out);
        buf_printf(out,
                   ngettext("Not drawn: %zu value of which only the month or "
                            "the year is known.",
                            "Not drawn: %zu values of which only the month or "
                            "the year is known.",
                            undated),
                   undated);
    }
}

static void say_type(const struct chart *c, struct buf *out)
{
    if (c->h->access_type == SIGN_TYPE_AVF ||
        c->h->access_type == SIGN_TYPE_AVG)
        return;
    gap(out);
    if (c->h->access_type == SIGN_TYPE_CVC)
        buf_puts(out, _("A catheter: no limits of flow apply."));
    else
        buf_puts(out, _("The type of the access is not known: limits that "
                        "differ between fistula and graft are not drawn."));
}

static void say_target(const struct chart *c, struct buf *out)
{
    if (c->target == NULL || c->target->lead != PLAN_BY_HAND)
        return;
    gap(out);
    buf_printf(out,
               _("The plan steers by the hand: its target is a finger index "
                 "of at least %s, with the flow above the floor."),
               chart_number(c->target->index_least, 1).text);
}

double chart_legend(const struct chart *c, double y_mm, bool draw)
{
    struct canvas_type type = chart_type(ALIGN_LEFT, false);
    double height_mm = draw_marks(c, y_mm, draw);
    struct buf text;

    buf_init(&text, CHART_TEXT_MAX);
    say_absent(c, &text);
    say_target(c, &text);
    say_type(c, &text);
    say_before(c, &text);
    say_thinned(c, &text);
    type.width_mm = c->box.width_mm;
    type.most_lines = 3;
    if (draw)
        height_mm += canvas_text(c->canvas, c->box.x_mm, y_mm + height_mm,
                                 &type, text.data);
    else
        height_mm += canvas_measure(c->canvas, &type, text.data, NULL);
    buf_clear(&text);
    return height_mm;
}
