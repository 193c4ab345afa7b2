/* What now, and what to do at each measured flow. */
#include "adapters/plan_alarm.h"
#include "adapters/plan_band.h"
#include "adapters/worksheet_parts.h"

#include <math.h>

#define SAME_PRESSURE_PCT (100.0 * PLAN_SAME_PRESSURE)
#define SAME_MM           0.005

#define RANGE_MM 3.95 /* column of flows, for each point of type */
#define PAD_MM   0.9

/* ---- one action ------------------------------------------------------------------ */

static const char *loosen_words(struct part *p, double dowel_mm)
{
    if (isnan(dowel_mm))
        return _("Cut the band (no looser size), measure");
    return words_say(&p->words, _("Cut, tie over %s, measure"),
                     words_mm(&p->words, dowel_mm));
}

/* standing_mm: of the band that is in place; NAN */
static const char *action_words(struct part *p, enum plan_action action,
                                double dowel_mm, double standing_mm)
{
    struct words *w = &p->words;

    switch (action) {
    case PLAN_ACCEPT:
        return _("Accept, if all checks hold");
    case PLAN_TIGHTEN:
        if (fabs(dowel_mm - standing_mm) < SAME_MM)
            return words_say(w, _("Same %s, tighter knot, measure"),
                             words_mm(w, dowel_mm));
        return words_say(w, _("Tie anew over %s, measure"),
                         words_mm(w, dowel_mm));
    case PLAN_LOOSEN:
        return loosen_words(p, dowel_mm);
    case PLAN_STRETCH:
        if (isnan(standing_mm))
            return _("Stretch: balloon 1 mm above dowel, measure");
        return words_say(w, _("Stretch: %s balloon, measure"),
                         words_mm(w, standing_mm + 1.0));
    case PLAN_REMEASURE:
    case PLAN_ACTION_COUNT:
        break;
    }
    return _("Measure again before acting");
}

/* ---- what now ---------------------------------------------------------------------- */

static const char *now_words(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    const struct plan_input *in = &d->from->in;
    struct plan_what_now now = plan_what_now(d);
    struct words *w = &p->words;
    const char *what;

    if (in->stage_count == 0)
        return isnan(d->plan->first_dowel_mm)
                   ? _("No size is named: see the warnings.")
                   : words_say(w, _("First tie: over %s, then measure"),
                               words_mm(w, d->plan->first_dowel_mm));
    if (!now.known)
        return _("No advice: see the warnings.");
    if (in->stages[in->stage_count - 1].weak_thrill)
        return words_say(w, _("Weak or no thrill, loosen now: %s"),
                         loosen_words(p, now.dowel_mm));
    if (now.reason == PLAN_REASON_UNMEASURED)
        return _("Measure now");
    if (now.reason == PLAN_REASON_OUTSIDE)
        return _("Not as predicted: measure again, look at the knot");
    if (now.reason == PLAN_REASON_PRESSURE)
        return _("Restore the mean pressure, measure again");
    if (now.action == PLAN_REMEASURE && now.reason != PLAN_REASON_FLOW)
        return _("No band is in place: tie none before the inflow is seen");
    what = action_words(p, now.action, now.dowel_mm, plan_standing_mm(in));
    if (now.reason == PLAN_REASON_LADDER_ENDS)
        /* TRANSLATORS: %s is what to do: "Accept, if all checks hold" */
        return words_say(w, _("Now, above the target, no smaller dowel: %s"),
                         what);
    /* TRANSLATORS: %s is what to do: "Tie anew over 3.5 mm, measure" */
    return words_say(w, _("Now: %s"), what);
}

/* What stands above the flow, and why to measure again. */
static void put_said(struct part *p, void (*say)(const struct plan_document *d,
                                                 struct buf *out))
{
    const struct canvas_type type = part_large(8, true);
    struct buf text;

    buf_init(&text, 4096);
    say(p->sheet->plan, &text);
    while (text.len > 0 && text.data[text.len - 1] == '\n')
        text.data[--text.len] = '\0';
    if (text.len > 0 && buf_ok(&text) == ERR_OK)
        part_text(p, &type, text.data);
    buf_clear(&text);
}

void sheet_what_now(struct part *p)
{
    struct canvas_type big = part_large(12, true), type = part_large(8, false);
    double top_mm = p->y_mm, x_mm = p->x_mm, width_mm = p->width_mm;

    p->words.used = 0;
    part_gap(p, PAD_MM);
    p->x_mm += 1.6;
    p->width_mm -= 3.2;
    put_said(p, plan_alarm_say);
    part_text(p, &big, now_words(p));
    put_said(p, plan_again_say);
    part_text(p, &type, plan_say_readings(&p->words, p->sheet->plan));
    part_text(p, &type, plan_say_readings_before(&p->words, p->sheet->plan));
    part_gap(p, PAD_MM - 0.4);
    p->x_mm = x_mm;
    p->width_mm = width_mm;
    if (p->draw)
        canvas_frame(p->canvas,
                     (struct box){ x_mm, top_mm, width_mm, p->y_mm - top_mm },
                     (struct canvas_pen){ .width_mm = 0.5 });
    part_gap(p, 1.4);
}

/* ---- the card ------------------------------------------------------------------------ */

/* What a row says, and how it looks. */
struct row {
    const char *range, *act;
    const char *more; /* in a smaller type below; "" */
    double range_mm, act_mm, more_mm, all_mm;
};

static const char *range_words(struct part *p, const struct plan_row *r)
{
    struct words *w = &p->words;

    if (r->emergency)
        return words_say(w, _("below %s"), words_number(w, r->to_ml_min, 0));
    if (isfinite(r->to_ml_min))
        return words_say(w, _("%1$s to below %2$s"),
                         words_number(w, r->from_ml_min, 0),
                         words_number(w, r->to_ml_min, 0));
    return words_say(w, _("%s or more"), words_number(w, r->from_ml_min, 0));
}

static double range_width(const struct part *p)
{
    return RANGE_MM * p->fit.card_pt;
}

static struct canvas_type range_type(const struct part *p)
{
    struct canvas_type type = part_large(p->fit.card_pt, true);

    type.width_mm = range_width(p) - 2.0 * PAD_MM;
    return type;
}

static struct canvas_type act_type(const struct part *p,
                                   const struct plan_row *r)
{
    struct canvas_type type = part_large(p->fit.card_pt, r->emergency);

    type.width_mm = p->width_mm - range_width(p) - 2.0 * PAD_MM;
    return type;
}

/* What is done at once is not small. */
static double more_pt(const struct part *p, const struct plan_row *r)
{
    return r->emergency ? p->fit.card_pt - 1.0 : 7.5;
}

static struct row row_words(struct part *p, const struct plan_row *r)
{
    const struct canvas_type left = range_type(p);
    const struct canvas_type right = act_type(p, r);
    struct canvas_type below = right;
    struct row row = { .range = range_words(p, r), .more = "" };

    below.size_pt = more_pt(p, r);
    row.act = r->emergency ? words_say(&p->words, _("LOOSEN NOW: %s"),
                                       loosen_words(p, r->dowel_mm))
                           : action_words(p, r->action, r->dowel_mm,
                                          p->sheet->plan->plan->card_dowel_mm);
    if (r->emergency)
        row.more = _("ALSO AT ANY FLOW: thrill weak or lost");
    else if (r->ladder_ends)
        row.more = _("above the target; no smaller dowel is possible");
    else if (r->above_target)
        row.more = _("above the target, by too little for another tie");
    row.range_mm = canvas_measure(p->canvas, &left, row.range, NULL);
    row.act_mm = canvas_measure(p->canvas, &right, row.act, NULL);
    row.more_mm = canvas_measure(p->canvas, &below, row.more, NULL);
    row.all_mm = fmax(fmax(row.range_mm, row.act_mm + row.more_mm) +
                          (p->fit.row_mm < 4.5 ? 0.2 : 0.6),
                      p->fit.row_mm);
    return row;
}

static void draw_row(struct part *p, const struct plan_row *r,
                     const struct row *row)
{
    const struct canvas_type left = range_type(p);
    const struct canvas_type right = act_type(p, r);
    struct canvas_type below = right;
    struct box box = { p->x_mm, p->y_mm, p->width_mm, row->all_mm };
    double act_mm = row->act_mm + row->more_mm;

    below.size_pt = more_pt(p, r);
    if (r->action == PLAN_ACCEPT && !r->emergency && !r->above_target)
        canvas_area(p->canvas, box, FILL_LIGHT);
    canvas_text(p->canvas, p->x_mm + PAD_MM,
                p->y_mm + (row->all_mm - row->range_mm) / 2.0, &left,
                row->range);
    canvas_text(p->canvas, p->x_mm + range_width(p) + PAD_MM,
                p->y_mm + (row->all_mm - act_mm) / 2.0, &right, row->act);
    canvas_text(p->canvas, p->x_mm + range_width(p) + PAD_MM,
                p->y_mm + (row->all_mm - act_mm) / 2.0 + row->act_mm, &below,
                row->more);
    canvas_frame(p->canvas, box, (struct canvas_pen){ .width_mm = 0.2 });
}

static void put_row(struct part *p, const struct plan_row *r)
{
    size_t used = p->words.used;
    struct row row = row_words(p, r);

    if (p->draw)
        draw_row(p, r, &row);
    p->y_mm += row.all_mm;
    p->words.used = used;
}

static void put_head(struct part *p)
{
    const struct plan *plan = p->sheet->plan->plan;
    struct canvas_type type = part_large(8, false);
    const struct part_cell cells[] = {
        { range_width(p), _("measured flow, mL/min"), ALIGN_LEFT, false },
        { p->width_mm - range_width(p),
          _("what to do (mm: dowel, outer diameter)"), ALIGN_LEFT, false },
    };

    part_title(p, plan->readings_advised > 1
                      ? words_say(&p->words,
                                  _("After tying over %1$s: by the mean of "
                                    "%2$d readings"),
                                  words_mm(&p->words, plan->card_dowel_mm),
                                  plan->readings_advised)
                      : words_say(&p->words,
                                  _("After tying over %s: by the measured "
                                    "flow"),
                                  words_mm(&p->words, plan->card_dowel_mm)));
    part_cells(p, &type, cells, COUNT(cells));
    part_gap(p, 0.2);
}

/* Two items beside each other. */
static void put_two(struct part *p, const struct canvas_type *type,
                    const char *left, const char *right)
{
    struct part beside = *p;

    p->width_mm /= 2.0;
    beside.x_mm += p->width_mm;
    beside.width_mm = p->width_mm;
    part_item(p, type, TICK_OPEN, left);
    part_item(&beside, type, TICK_OPEN, right);
    p->y_mm = fmax(p->y_mm, beside.y_mm);
    p->width_mm *= 2.0;
}

/* What must hold before a flow is accepted, each with a box to tick. */
static void put_checks(struct part *p)
{
    const struct plan_input *in = &p->sheet->plan->from->in;
    struct canvas_type type = part_large(8.5, false),
                       head = part_large(8.5, true);
    struct words *w = &p->words;
    double near = PLAN_SAME_PRESSURE;

    part_text(p, &head, _("Accept only if:"));
    put_two(p, &type, _("thrill is present"), _("the hand is not worse"));
    part_item(p, &type, TICK_OPEN,
              words_say(w, _("finger pressure at least %s mmHg"),
                        words_number(w, in->limits.pressure_least_mmhg, 0)));
    if (isnan(in->map_mmhg))
        part_item(p, &type, TICK_OPEN,
                  words_say(w,
                            _("mean pressure within %s %% of that at the "
                              "baseline (not recorded: measure it first)"),
                            words_number(w, SAME_PRESSURE_PCT, 0)));
    else
        part_item(
            p, &type, TICK_OPEN,
            words_say(w,
                      _("mean pressure %1$s to %2$s mmHg (within %3$s %% "
                        "of %4$s at the baseline)"),
                      words_number(w, ceil((1.0 - near) * in->map_mmhg), 0),
                      words_number(w, floor((1.0 + near) * in->map_mmhg), 0),
                      words_number(w, SAME_PRESSURE_PCT, 0),
                      words_number(w, in->map_mmhg, 0)));
}

void sheet_card(struct part *p)
{
    const struct plan *plan = p->sheet->plan->plan;
    struct canvas_type small = part_small(p);
    double top_mm, emergency_mm = 0;
    bool stretches = false;

    if (plan->row_count == 0)
        return;
    p->words.used = 0;
    put_head(p);
    top_mm = p->y_mm;
    for (size_t i = 0; i < plan->row_count; i++) {
        put_row(p, &plan->rows[i]);
        stretches = stretches || plan->rows[i].action == PLAN_STRETCH;
        if (plan->rows[i].emergency)
            emergency_mm = p->y_mm - top_mm;
    }
    if (p->draw && emergency_mm > 0)
        canvas_frame(p->canvas,
                     (struct box){ p->x_mm, top_mm, p->width_mm, emergency_mm },
                     (struct canvas_pen){ .width_mm = 1.0 });
    part_gap(p, 1.0);
    put_checks(p);
    part_text(p, &small,
              _("A range holds its lower end and not its upper. No border is "
                "sharp: near one, measure once more."));
    if (stretches)
        part_text(p, &small, _("A fresh suture stretches least predictably."));
}
