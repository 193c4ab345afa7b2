/* worksheet_ladder - what the files of the ladder share; private to them */
#ifndef HEADGATE_ADAPTERS_WORKSHEET_LADDER_H
#define HEADGATE_ADAPTERS_WORKSHEET_LADDER_H

#include "adapters/plan_say.h"
#include "adapters/worksheet_chart.h"

struct ladder {
    struct canvas *canvas;
    const struct plan_document *d;
    const struct plan *plan;
    struct box box;
    struct sheet_scale x;
    double step;
    double y_mm, row_mm; /* of the first row */
    double end_mm;       /* below the last */
    double words_mm;     /* room for words below the rows */
};

/* Is there a range of flow that the plan steers to? */
bool ladder_by_flow(const struct ladder *l);
/* The size that the plan names; NAN: none. */
double ladder_named_mm(const struct ladder *l);
/* The row of a size; the number of rows if it is not on the ladder. */
size_t ladder_row(const struct ladder *l, double dowel_mm);
/* Its upper edge. */
double ladder_row_y(const struct ladder *l, size_t row);
/* What was measured after a tie, with its number. */
void ladder_stage(const struct ladder *l, size_t stage);
/* Two diameters that people call the same. */
bool ladder_is_size(double a_mm, double b_mm);

/* Above the rows, in rows of their own: what the band and the lines are. */
enum { LADDER_HEADS = 3 };
struct ladder_heads {
    const struct ladder *l;
    struct buf text[LADDER_HEADS];
    struct sheet_label list[LADDER_HEADS]; /* first: the place of its text */
    size_t count;
};
/* Once the scale is set; returns the height that they need. */
double ladder_heads_make(struct ladder_heads *h);
/* And clears them. */
void ladder_heads_draw(struct ladder_heads *h);

/* What the marks mean, below the rows; draw false: only its height. */
double ladder_words(const struct ladder *l, double y_mm, bool draw);

#endif
