/* What was done to the band in this case, and what was measured after it. */
#include "adapters/worksheet_parts.h"

#include <math.h>

static const char *step_words(struct part *p, size_t i)
{
    const struct plan_from *from = p->sheet->plan->from;
    const struct plan_stage *s = &from->in.stages[i];
    struct words *w = &p->words;
    int number = (int)i + 1;

    if (s->step == PLAN_TIED)
        return words_say(w, _("%1$d. tied, %2$s"), number,
                         words_mm(w, s->dowel_mm));
    if (s->step == PLAN_STRETCHED)
        return words_say(w, _("%1$d. balloon %2$s"), number,
                         words_mm(w, from->balloon_mm[i]));
    return words_say(w, _("%d. cut: no band"), number);
}

static const char *found_words(struct part *p, size_t i)
{
    const struct plan_document *d = p->sheet->plan;
    const struct plan_stage *s = &d->from->in.stages[i];
    struct words *w = &p->words;

    if (i >= d->plan->seen_count || s->flow_count == 0)
        return _("not measured");
    if (s->flow_count > 1)
        /* TRANSLATORS: a mean flow, what it is less than before, and the
         * readings: "1730 (31 % less; 1700, 1760)" */
        return words_say(w, _("%1$s (%2$s %% less; %3$s)"),
                         words_number(w, d->plan->seen[i].measured_ml_min, 0),
                         words_number(w, d->plan->seen[i].reduction_pct, 0),
                         words_flows(w, s->flow_ml_min, s->flow_count));
    return words_say(w, _("%1$s (%2$s %% less)"),
                     words_number(w, d->plan->seen[i].measured_ml_min, 0),
                     words_number(w, d->plan->seen[i].reduction_pct, 0));
}

static const char *beside_words(struct part *p, size_t i)
{
    const struct plan_stage *s = &p->sheet->plan->from->in.stages[i];
    struct words *w = &p->words;

    if (s->weak_thrill)
        return _("WEAK OR NO THRILL");
    /* TRANSLATORS: mean pressure and index of the hand after a step */
    return words_say(w, _("%1$s / %2$s"),
                     isnan(s->map_mmhg) ? "-" : words_number(w, s->map_mmhg, 0),
                     isnan(s->index) ? "-" : words_number(w, s->index, 2));
}

static void put_stage(struct part *p, size_t i)
{
    const struct plan_document *d = p->sheet->plan;
    const struct canvas_type type = part_type(p);
    double width_mm = p->width_mm;
    const struct part_cell cells[] = {
        { width_mm * 0.25, step_words(p, i), ALIGN_LEFT, true },
        { width_mm * 0.30, found_words(p, i), ALIGN_LEFT, false },
        { width_mm * 0.25,
          i < d->plan->seen_count
              ? words_narrow_flow(&p->words, &d->plan->seen[i].predicted_ml_min)
              : "",
          ALIGN_LEFT, false },
        { width_mm * 0.20, beside_words(p, i), ALIGN_LEFT,
          d->from->in.stages[i].weak_thrill },
    };

    part_cells(p, &type, cells, COUNT(cells));
}

void sheet_steps(struct part *p)
{
    const struct plan_input *in = &p->sheet->plan->from->in;
    const struct canvas_type small = part_small(p);
    double width_mm = p->width_mm;
    const struct part_cell head[] = {
        { width_mm * 0.25, _("dowel: outer diameter"), ALIGN_LEFT, false },
        { width_mm * 0.30, _("measured mean, mL/min"), ALIGN_LEFT, false },
        { width_mm * 0.25, _("expected, mL/min"), ALIGN_LEFT, false },
        { width_mm * 0.20, _("mmHg / index"), ALIGN_LEFT, false },
    };

    p->words.used = 0;
    part_title(p, _("What was done, and what was measured"));
    part_cells(p, &small, head, COUNT(head));
    for (size_t i = 0; i < in->stage_count; i++)
        put_stage(p, i);
    part_gap(p, 0.8);
}
