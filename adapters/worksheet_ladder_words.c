/* What the lines and marks of the ladder mean, and what has no row. */
#include "adapters/worksheet_ladder.h"

#include <math.h>

/* ---- above the rows -------------------------------------------------------- */

static double head_width(void *arg, size_t first, size_t count)
{
    const struct ladder_heads *h = arg;

    (void)count; /* never put together: there are as many rows */
    return chart_width(h->l->canvas, h->text[first].data);
}

/* The text stands, and goes over the middle of its place. */
static void add_head(struct ladder_heads *h, double flow_ml_min)
{
    size_t i = h->count++;
    double half_mm = chart_width(h->l->canvas, h->text[i].data) / 2;

    h->list[i] =
        (struct sheet_label){ .x_mm = sheet_at(&h->l->x, flow_ml_min) - half_mm,
                              .first = i,
                              .count = 1 };
    for (; i > 0 && h->list[i - 1].x_mm > h->list[i].x_mm; i--) {
        struct sheet_label one = h->list[i];

        h->list[i] = h->list[i - 1];
        h->list[i - 1] = one;
    }
}

static void write_heads(struct ladder_heads *h)
{
    const struct plan_target *t = &h->l->plan->target;

    buf_printf(&h->text[h->count], _("floor %s"),
               chart_number(t->floor_ml_min, 0).text);
    add_head(h, t->floor_ml_min);
    if (ladder_by_flow(h->l)) {
        buf_printf(&h->text[h->count], _("target %1$s to %2$s"),
                   chart_number(words_flow_shown(t->low_ml_min), 0).text,
                   chart_number(words_flow_shown(t->high_ml_min), 0).text);
        add_head(h, (t->low_ml_min + t->high_ml_min) / 2);
    }
    /* TRANSLATORS: the flow before the band, mL/min */
    buf_printf(&h->text[h->count], _("baseline %s"),
               chart_number(h->l->plan->baseline_ml_min, 0).text);
    add_head(h, h->l->plan->baseline_ml_min);
}

double ladder_heads_make(struct ladder_heads *h)
{
    const struct ladder *l = h->l;
    int rows = 0;

    for (size_t i = 0; i < LADDER_HEADS; i++)
        buf_init(&h->text[i], CHART_TEXT_MAX);
    write_heads(h);
    h->count = sheet_labels(h->list, h->count, LADDER_HEADS, l->x.from_mm - 2,
                            l->x.to_mm + 3, 1.5, head_width, h);
    for (size_t i = 0; i < h->count; i++)
        rows = h->list[i].row >= rows ? h->list[i].row + 1 : rows;
    return CHART_LINE_MM * rows + 0.6;
}

void ladder_heads_draw(struct ladder_heads *h)
{
    struct canvas_type type = chart_type(ALIGN_LEFT, false);

    for (size_t i = 0; i < h->count; i++) {
        double y_mm = h->l->y_mm - CHART_LINE_MM * (h->list[i].row + 1);

        canvas_text(h->l->canvas, h->list[i].left_mm, y_mm, &type,
                    h->text[h->list[i].first].data);
    }
    for (size_t i = 0; i < LADDER_HEADS; i++)
        buf_clear(&h->text[i]);
}

/* ---- below them ------------------------------------------------------------ */

static void gap(struct buf *out)
{
    if (out->len > 0)
        buf_puts(out, " ");
}

/* A stage that has no row of its own. */
static void say_stage(const struct ladder *l, size_t stage, struct buf *out)
{
    const struct plan_stage *s = &l->d->from->in.stages[stage];
    double flow = l->plan->seen[stage].measured_ml_min;
    struct chart_number n = chart_number(flow, 0);

    if (s->step == PLAN_TIED &&
        ladder_row(l, s->dowel_mm) < l->plan->rung_count)
        return;
    gap(out);
    if (!isfinite(flow))
        buf_printf(out, _("Step %zu: no flow was measured."), stage + 1);
    else if (s->step == PLAN_TIED)
        buf_printf(out,
                   _("Step %1$zu, %2$s mm, which is not on this ladder: "
                     "%3$s mL/min."),
                   stage + 1, chart_mm(s->dowel_mm).text, n.text);
    else if (s->step == PLAN_STRETCHED)
        buf_printf(out, _("Step %1$zu, band stretched: %2$s mL/min."),
                   stage + 1, n.text);
    else
        buf_printf(out, _("Step %1$zu, band cut: %2$s mL/min."), stage + 1,
                   n.text);
}

static bool any_seen(const struct ladder *l)
{
    for (size_t i = 0; i < l->plan->seen_count; i++) {
        if (isfinite(l->plan->seen[i].measured_ml_min))
            return true;
    }
    return false;
}

static bool any_refused(const struct ladder *l)
{
    for (size_t i = 0; i < l->plan->rung_count; i++) {
        if (!plan_rung_keeps(l->d, &l->plan->rungs[i]))
            return true;
    }
    return false;
}

static void say_marks(const struct ladder *l, struct buf *out)
{
    /* TRANSLATORS: 5 and 95 of a hundred such accesses lie below the ends */
    buf_puts(out, _("Bar: expected flow in mL/min, 5th to 95th percentile; "
                    "thick mark: median."));
    if (isfinite(ladder_named_mm(l))) {
        gap(out);
        buf_puts(out, _("Framed: the size that this plan names."));
    }
    if (any_refused(l)) {
        gap(out);
        buf_puts(out, _("Striped: beyond the limits of chance of this site."));
    }
    if (any_seen(l)) {
        gap(out);
        buf_puts(out, _("Diamond: measured, with the number of the step."));
    }
}

static void say_all(const struct ladder *l, struct buf *out)
{
    if (!ladder_by_flow(l)) {
        buf_printf(out,
                   _("Steered by the hand, not by a range of flow: in target "
                     "means a finger index of at least %s with the flow "
                     "above the floor."),
                   chart_number(l->plan->target.index_least, 1).text);
        gap(out);
    }
    say_marks(l, out);
    for (size_t i = 0; i < l->plan->seen_count; i++)
        say_stage(l, i, out);
}

double ladder_words(const struct ladder *l, double y_mm, bool draw)
{
    struct canvas_type type = chart_type(ALIGN_LEFT, false);
    struct buf text;
    double height_mm;

    buf_init(&text, CHART_TEXT_MAX);
    say_all(l, &text);
    type.width_mm = l->box.width_mm;
    type.most_lines = (int)fmax(1, l->words_mm / CHART_LINE_MM);
    if (draw)
        height_mm = canvas_text(l->canvas, l->box.x_mm, y_mm, &type, text.data);
    else
        height_mm = canvas_measure(l->canvas, &type, text.data, NULL);
    buf_clear(&text);
    return height_mm;
}
