/*
 * worksheet_parts - titles, paragraphs and rows, one below the other; private
 * to worksheet_*.c
 *
 * A column is run through twice by the same code: once to learn how high it
 * is, once to draw it.
 */
#ifndef HEADGATE_ADAPTERS_WORKSHEET_PARTS_H
#define HEADGATE_ADAPTERS_WORKSHEET_PARTS_H

#include "adapters/plan_say.h"
#include "adapters/worksheet_work.h"

/* ---- columns ------------------------------------------------------------------- */

/* How tight a page is set. */
struct sheet_fit {
    double history_mm; /* least height of the chart; 0: there is no room */
    double rung_mm;    /* height of a size in the ladder chart */
    double row_mm;     /* least height of a row of the card */
    double card_pt, text_pt, small_pt;
    bool run_on;     /* limits and sources as paragraphs */
    bool steps_left; /* what was done stands below the ladder */
};

struct part {
    struct canvas *canvas;
    const struct worksheet *sheet;
    struct sheet_fit fit;
    bool draw; /* else only measured */
    double x_mm, y_mm, width_mm;
    /* Where it ends: what does not fit goes to the next column, if there is
     * one, or is left out and counted.  INFINITY: it has no end. */
    double bottom_mm;
    struct box next;   /* the next column; its width 0: there is none */
    const char *title; /* of what is being put; NULL: none */
    bool is_cut;
    bool hand_shown, missing_shown; /* all of it has found its place */
    struct words words;
};

/* The type of most of the page; of what is least important. */
struct canvas_type part_type(const struct part *p);
struct canvas_type part_small(const struct part *p);

/* The type of what is to be read from a metre away. */
struct canvas_type part_large(double size_pt, bool bold);

/* Room for so much below?  Goes to the next column for it. */
bool part_room(struct part *p, double height_mm);
void part_gap(struct part *p, double height_mm);
/* To the next column, if there is one. */
void part_next(struct part *p);
/* Goes to the next column if all of this fits there, and not here. */
void part_whole(struct part *p, void (*put)(struct part *p));
void part_title(struct part *p, const char *title);
/* A paragraph through the width of the column. */
void part_text(struct part *p, const struct canvas_type *type,
               const char *text);

enum part_tick { TICK_DASH, TICK_OPEN, TICK_MET, TICK_MISSING };
/* A paragraph with a sign before it; TICK_DASH: of a list. */
void part_item(struct part *p, const struct canvas_type *type,
               enum part_tick tick, const char *text);

/* Cells of a table beside each other, each in its width; returns whether it
 * was set. */
struct part_cell {
    double width_mm;
    const char *text;
    enum canvas_align align;
    bool bold;
};
bool part_cells(struct part *p, const struct canvas_type *type,
                const struct part_cell *cells, size_t count);
void part_rule(struct part *p, double width_mm);

/* ---- the parts ------------------------------------------------------------------- */

void sheet_head(struct part *p);
void sheet_warnings(struct part *p);
void sheet_refusal(struct part *p);
void sheet_target(struct part *p);
void sheet_steps(struct part *p);
void sheet_what_now(struct part *p);
void sheet_card(struct part *p);
void sheet_hand(struct part *p);
void sheet_outflow(struct part *p);
/* What is missing, cautions, limits and sources, through two columns. */
void sheet_small(struct part *p);
/* Said where something was cut; as high as SHEET_MORE_MM. */
#define SHEET_MORE_MM 3.2
void sheet_more(struct part *p);
void sheet_foot(struct part *p);

#endif
