/*
 * worksheet_work - what the files of the worksheet share; private to them
 *
 *     worksheet.c          the page: which part stands where
 *     worksheet_parts.c    titles, tables, paragraphs
 *     worksheet_head.c     who, which access, what was seen, state of the plan
 *     worksheet_target.c   what to aim at, and why
 *     worksheet_steps.c    what was done
 *     worksheet_card.c     what now, what to do at each measured flow
 *     worksheet_hand.c     the hand; opening the outflow
 *     worksheet_small.c    what is missing, sources, cautions, foot
 *     worksheet_series.c   what the charts show, from the history
 *     worksheet_axis.c     scales, ticks, grids
 *     worksheet_history.c  flows over time, pressures and Kt/V below; its parts:
 *                          see worksheet_chart.h
 *     worksheet_ladder.c   each dowel against the zone; _words: its marks
 */
#ifndef HEADGATE_ADAPTERS_WORKSHEET_WORK_H
#define HEADGATE_ADAPTERS_WORKSHEET_WORK_H

#include "adapters/catalogue.h"
#include "adapters/worksheet.h"

/* Least size of type that is read at arm's length, and in print. */
#define SHEET_CARD_PT  10.0
#define SHEET_TEXT_PT  7.5
#define SHEET_SMALL_PT 6.0

/* Each draws within its box and nowhere else, and says in words where it has
 * nothing to show. */
void sheet_history(struct canvas *canvas, const struct worksheet *sheet,
                   struct box box);
void sheet_ladder(struct canvas *canvas, const struct worksheet *sheet,
                  struct box box);

#endif
