/*
 * worksheet_axis - scales of the charts: where a value stands, which numbers
 * and days are written at an axis, and where labels find room
 *
 * Nothing is drawn here.  Lengths are millimetres of the page.
 */
#ifndef HEADGATE_ADAPTERS_WORKSHEET_AXIS_H
#define HEADGATE_ADAPTERS_WORKSHEET_AXIS_H

#include "adapters/zone.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SHEET_TICKS_MAX = 32, SHEET_TICK_TEXT = 16, SHEET_ROWS_MAX = 4 };

/* A straight scale; from and to may stand either way round. */
struct sheet_scale {
    double from, to;       /* values at the two ends; not equal */
    double from_mm, to_mm; /* where they stand */
};

/* Where a value stands; beyond the ends too. */
double sheet_at(const struct sheet_scale *s, double value);

/*
 * sheet_step - the distance of the numbers at an axis: 1, 2 or 5 times a power
 * of ten, the least that needs no more than most intervals for the span
 *
 * span  above 0; most: at least 1
 *
 * Source: the numbers that people count in; P. Heckbert, Nice numbers for
 * graph labels, Graphics Gems, 1990 (from memory).
 */
double sheet_step(double span, size_t most);

/* Decimals that numbers so far apart need to differ. */
int sheet_decimals(double step);

struct sheet_tick {
    int64_t at_s;
    char label[SHEET_TICK_TEXT]; /* ISO 8601: "2026-11-02", "2026-11", "2026" */
};

/*
 * sheet_ticks - the days at an axis of time, from one local midnight to
 * another: days, Mondays, firsts of months, of quarters, of years
 *
 * most     labels that there is room for, at least 1
 * returns  how many, at most SHEET_TICKS_MAX, all from from_s to to_s; may be 0
 */
size_t sheet_ticks(int64_t from_s, int64_t to_s, const struct zone *zone,
                   size_t most, struct sheet_tick ticks[SHEET_TICKS_MAX]);

/*
 * sheet_spread - move labels apart along one line
 *
 * middle  in rising order; in: where each wants to stand, out: where it does.
 *         No two are nearer than height, and all lie within least..most if
 *         there is room; those that have room stay where they are
 */
void sheet_spread(double *middle, size_t count, double height, double least,
                  double most);

/* A label at a line: one of several that lie near each other along x. */
struct sheet_label {
    double x_mm;         /* of its line */
    double width_mm;     /* of its text */
    size_t first, count; /* which events it tells of */
    int row;             /* 0: nearest to the chart */
    double left_mm;      /* where its text begins */
};

/*
 * sheet_labels - labels in rows, so that none covers another
 *
 * labels   by x, one per event, with x_mm, first and count set
 * measure  the width of the text for these events
 * left, right   ends of the rows
 * returns  how many are left: those for which there is no room are put
 *          together with their nearest neighbour
 */
size_t sheet_labels(struct sheet_label *labels, size_t count, int rows,
                    double left_mm, double right_mm, double gap_mm,
                    double (*measure)(void *arg, size_t first, size_t count),
                    void *arg);

#endif
