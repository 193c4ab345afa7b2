/* What to aim at, and why. */
#include "adapters/worksheet_parts.h"

void sheet_target(struct part *p)
{
    const struct plan_document *d = p->sheet->plan;
    struct canvas_type big = part_large(12, true),
                       line = part_large(8.5, false);
    struct canvas_type floor = part_large(8.5, true), small = part_small(p);
    struct words *w = &p->words;

    w->used = 0;
    part_title(p, _("Target"));
    part_text(p, &big, plan_say_target(w, d));
    part_text(p, &line, plan_say_share(w, d));
    part_text(p, &floor, plan_say_floor(w, d));
    part_text(p, &small, plan_say_floor_why(w, d));
    part_text(p, &small, plan_say_why(w, d));
    part_gap(p, 0.8);
}
