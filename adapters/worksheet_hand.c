/* The hand, as predicted, and what opening the outflow would do to it. */
#include "adapters/worksheet_parts.h"

#include <math.h>

#define TABLE_MM 13.0 /* of the table of what opening does: not broken */

/* ---- hand ------------------------------------------------------------------- */

#define SIZE_MM 13.0 /* the first column */

enum { HAND_COLUMNS = 5 };

/* Of the rest of the width. */
static const double shares[HAND_COLUMNS - 1] = { 0.30, 0.19, 0.19, 0.32 };

/* As large as five columns allow. */
#define TABLE_PT 6.5

static struct canvas_type table_type(const struct part *p)
{
    struct canvas_type type = part_type(p);

    type.size_pt = fmin(type.size_pt, TABLE_PT);
    return type;
}

static void put_columns(struct part *p, const struct canvas_type *type,
                        const char *const text[HAND_COLUMNS])
{
    double rest_mm = p->width_mm - SIZE_MM;
    struct part_cell cells[HAND_COLUMNS] = { { SIZE_MM, text[0], ALIGN_LEFT,
                                               true } };

    for (size_t i = 0; i < COUNT(shares); i++)
        cells[i + 1] = (struct part_cell){ .width_mm = rest_mm * shares[i],
                                           .text = text[i + 1],
                                           .align = ALIGN_LEFT };
    part_cells(p, type, cells, COUNT(cells));
}

static void put_rung(struct part *p, const struct plan_rung *r)
{
    const struct canvas_type type = table_type(p);
    struct words *w = &p->words;
    size_t used = w->used;
    const char *const text[] = { words_mm(w, r->dowel_mm),
                                 words_narrow_flow(w, &r->flow_ml_min),
                                 words_narrow(w, &r->hand_pressure_mmhg, 0),
                                 words_narrow(w, &r->hand_lowest_mmhg, 0),
                                 words_narrow(w, &r->index, 2) };

    put_columns(p, &type, text);
    w->used = used;
}

/* As it is, without a band. */
static void put_none(struct part *p)
{
    const struct plan *plan = p->sheet->plan->plan;
    const struct canvas_type type = table_type(p);
    struct words *w = &p->words;
    const char *const text[] = { _("no band"),
                                 words_number(w, plan->baseline_ml_min, 0),
                                 words_narrow(w, &plan->hand_now_mmhg, 0), "",
                                 words_narrow(w, &plan->index_now, 2) };

    put_columns(p, &type, text);
}

/* What is said of all sizes at once. */
static void put_of_all(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct canvas_type small = part_small(p);

    part_text(p, &small,
              _("Middle value, and in brackets the range that holds 90 of 100 "
                "such accesses; at the lowest usual pressure on dialysis. What "
                "the hand shows outweighs these figures."));
    if ((d->plan->missing & PLAN_NO_INDEX) != 0)
        part_text(p, &small,
                  _("The index of this hand was never measured: these are "
                    "figures of hands in general, and wide."));
    part_text(p, &small, plan_say_index_low(&p->words, d));
    part_text(p, &small, plan_say_fourth_power(&p->words, d));
}

void sheet_hand(struct part *p)
{
    const struct plan *plan = p->sheet->plan->plan;
    const struct canvas_type small = part_small(p);
    const char *const head[] = { _("band"), _("flow, mL/min"),
                                 _("hand, mean mmHg"), _("at lowest usual"),
                                 _("index, finger over other arm") };

    p->words.used = 0;
    part_title(p, _("Flow and hand, as predicted: no arm is called safe"));
    put_columns(p, &small, head);
    part_rule(p, 0.15);
    put_none(p);
    for (size_t i = 0; i < plan->rung_count; i++)
        put_rung(p, &plan->rungs[i]);
    put_of_all(p);
    part_gap(p, 0.8);
}

/* ---- outflow ------------------------------------------------------------------- */

/* With or without a band after opening. */
struct after {
    const char *label;
    const struct plan_range *flow, *index;
    double low, falls; /* chances */
};

static void put_after(struct part *p, const struct after *a)
{
    const struct canvas_type type = part_type(p);
    double rest_mm = p->width_mm - 17.0;
    struct words *w = &p->words;
    const struct part_cell cells[] = {
        { 17.0, a->label, ALIGN_LEFT, true },
        { rest_mm * 0.365, words_narrow_flow(w, a->flow), ALIGN_LEFT, false },
        { rest_mm * 0.365, words_narrow(w, a->index, 2), ALIGN_LEFT, false },
        { rest_mm * 0.135, words_chance(w, a->low), ALIGN_LEFT, false },
        { rest_mm * 0.135, words_chance(w, a->falls), ALIGN_LEFT, false },
    };

    part_cells(p, &type, cells, COUNT(cells));
}

static void put_after_head(struct part *p)
{
    const struct plan_limits *l = &p->sheet->plan->from->in.limits;
    const struct canvas_type small = part_small(p);
    double rest_mm = p->width_mm - 17.0;
    struct words *w = &p->words;
    const struct part_cell cells[] = {
        { 17.0, _("after opening"), ALIGN_LEFT, false },
        { rest_mm * 0.365, _("flow, mL/min"), ALIGN_LEFT, false },
        { rest_mm * 0.365, _("index of the hand"), ALIGN_LEFT, false },
        /* TRANSLATORS: head of a narrow column of chances in per cent, of an
         * index below a limit */
        { rest_mm * 0.135,
          words_say(w, _("%% below %s"), words_number(w, l->risk_index, 2)),
          ALIGN_LEFT, false },
        /* TRANSLATORS: the same, of a fall of the index */
        { rest_mm * 0.135,
          words_say(w, _("%% fall > %s"), words_number(w, l->risk_fall, 2)),
          ALIGN_LEFT, false },
    };

    part_cells(p, &small, cells, COUNT(cells));
    part_rule(p, 0.15);
}

static void put_table(struct part *p, const struct plan_outflow *o)
{
    struct words *w = &p->words;
    struct after after = { _("no band"), &o->flow_ml_min, &o->index,
                           o->p_index_low, o->p_index_falls };

    put_after_head(p);
    put_after(p, &after);
    if (isfinite(o->holding_dowel_mm)) {
        after =
            (struct after){ words_say(w, _("band %s"),
                                      words_mm(w, o->holding_dowel_mm)),
                            &o->holding_flow_ml_min, &o->holding_index,
                            o->holding_p_index_low, o->holding_p_index_falls };
        put_after(p, &after);
    }
}

void sheet_outflow(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct plan_outflow *o = &d->plan->outflow;
    struct canvas_type type = part_type(p);

    if (!o->known)
        return;
    p->words.used = 0;
    part_title(p, _("If the outflow stenosis is opened (provisional)"));
    if (o->flagged) {
        struct canvas_type bold = type;

        bold.bold = true;
        part_text(p, &bold,
                  _("THE HAND IS AT RISK: plan the band before the stenosis is "
                    "opened."));
    }
    part_text(p, &type,
              _("First open it, then measure a pair of flows, then choose the "
                "size: the flow of today is not the flow of then."));
    part_text(p, &type, plan_say_lesion(&p->words, d));
    if (o->by_pressure && part_room(p, TABLE_MM))
        put_table(p, o);
    part_text(p, &type, plan_say_index_before(&p->words, d));
    part_text(p, &type, plan_say_holding(&p->words, d));
    part_text(p, &type, plan_say_zone(&p->words, d));
    part_gap(p, 0.8);
}
