/* The ladder: what was measured after each tie. */
#include "adapters/worksheet_ladder.h"

#include <math.h>

#define SAME_MM 0.005
#define NEAR_MM 4.5 /* nearer numbers of two marks would lie on each other */

/* Where the mark of a stage stands; false: it has none. */
static bool stage_at(const struct ladder *l, size_t stage,
                     struct canvas_point *at)
{
    const struct plan_stage *s = &l->d->from->in.stages[stage];
    size_t row = ladder_row(l, s->dowel_mm);

    if (s->step != PLAN_TIED || row == l->plan->rung_count ||
        !isfinite(l->plan->seen[stage].measured_ml_min))
        return false;
    at->x_mm = sheet_at(&l->x, l->plan->seen[stage].measured_ml_min);
    at->y_mm = ladder_row_y(l, row) + l->row_mm / 2;
    return true;
}

static bool stages_meet(const struct ladder *l, size_t a, size_t b)
{
    struct canvas_point at, other;

    return stage_at(l, a, &at) && stage_at(l, b, &other) &&
           fabs(at.y_mm - other.y_mm) < SAME_MM &&
           fabs(at.x_mm - other.x_mm) < NEAR_MM;
}

/* The number of a stage, with those of later ones that stand where it does;
 * an earlier one has said it: nothing. */
static void stage_words(const struct ladder *l, size_t stage, struct buf *out)
{
    for (size_t i = 0; i < stage; i++) {
        if (stages_meet(l, i, stage))
            return;
    }
    for (size_t i = stage; i < l->plan->seen_count; i++) {
        if (i == stage || stages_meet(l, stage, i))
            buf_printf(out, "%s%s", i > stage ? ", " : "",
                       chart_number((double)i + 1, 0).text);
    }
}

/* What was measured after each tie, with its number. */
void ladder_stage(const struct ladder *l, size_t stage)
{
    struct canvas_type type = chart_type(ALIGN_LEFT, true);
    struct canvas_point at;
    struct buf words;

    if (!stage_at(l, stage, &at))
        return;
    canvas_area(l->canvas,
                (struct box){ at.x_mm - 1.3, at.y_mm - 1.3, 2.6, 2.6 },
                FILL_WHITE);
    canvas_mark(l->canvas, at, 2.2, MARK_DIAMOND);
    canvas_mark(l->canvas, at, 1.6, MARK_PLUS);
    buf_init(&words, CHART_TEXT_MAX);
    stage_words(l, stage, &words);
    canvas_text(l->canvas, at.x_mm + 1.5, at.y_mm - 1.3, &type, words.data);
    buf_clear(&words);
}
