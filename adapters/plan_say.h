/*
 * plan_say - the sentences that a plan is told in, on the page of the worksheet
 * and as text, each in one place; private to plan_text*.c and worksheet_*.c
 *
 *     plan_say.c          numbers, dates and names in the form of the language
 *     plan_say_head.c     which access, from what, how far it may be relied on
 *     plan_say_target.c   what to aim at, and why
 *     plan_say_outflow.c  what opening the outflow would do
 *     plan_say_rests.c    what is missing; limits and their sources
 *
 * All text is of the catalogue and borrowed: from it, from the document, or
 * from the words that were given.
 */
#ifndef HEADGATE_ADAPTERS_PLAN_SAY_H
#define HEADGATE_ADAPTERS_PLAN_SAY_H

#include "adapters/catalogue.h"
#include "adapters/plan_words.h"

/* ---- words ------------------------------------------------------------------ */

/* Texts that live until used is set to 0; when it is full, "" comes back and
 * full is set. */
struct words {
    char text[16384];
    size_t used;
    bool full;
};

const char *words_say(struct words *w, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* "1250", "0.62"; _("not known") of a NAN */
const char *words_number(struct words *w, double value, int decimals);
/*
 * A flow that is estimated or aimed at, to 10 mL/min: a plan knows none more
 * finely, and its JSON holds the whole number, of which a half is rounded up.
 * Printed as they are: what was
 * measured, the limits of the site with the floor, and the borders of the card,
 * which lie on its own steps of 25 mL/min, so that one row ends where the next
 * begins and the row of a flow is the one that programs find.
 */
const char *words_flow(struct words *w, double flow_ml_min);
double words_flow_shown(double flow_ml_min);
struct plan_range words_shown(const struct plan_range *flow_ml_min);
/* "4.0 mm", "3.25 mm": never broken between lines */
const char *words_mm(struct words *w, double mm);
/* "70 (60 to 82)" */
const char *words_range(struct words *w, const struct plan_range *r,
                        int decimals);
/* The same of flows that are estimated, as words_flow() has them. */
const char *words_flow_range(struct words *w, const struct plan_range *r);
/* "70 (60-82)", in a narrow table; and of flows that are estimated */
const char *words_narrow(struct words *w, const struct plan_range *r,
                         int decimals);
const char *words_narrow_flow(struct words *w, const struct plan_range *r);
/* "<1", "12", ">99": a chance in per cent */
const char *words_chance(struct words *w, double chance);
/* "2026-03-05", and "2026-03-05 09:02" */
const char *words_date(struct words *w, const struct zone *zone, int64_t at_s);
const char *words_minute(struct words *w, const struct zone *zone,
                         int64_t at_s);
/* Of a reading, as much of it as is known: "2026-03". */
const char *words_day(struct words *w, const struct zone *zone,
                      const struct reading *r);
/* The minute of a reading, or as much of it as is known. */
const char *words_time(struct words *w, const struct zone *zone,
                       const struct reading *r);
/* What somebody typed: on one line, and unable to turn the text around it. */
const char *words_typed(struct words *w, const char *text);
/* "a, b, c" */
const char *words_flows(struct words *w, const double *flow_ml_min,
                        size_t count);

/* ---- head --------------------------------------------------------------------- */

const char *plan_say_type(enum sign type);
const char *plan_say_side(enum side side);
/* Where the access is fed, or is taken to be. */
const char *plan_say_fed(bool forearm);
/* Readings of the baseline, their day, and whether they are from the table. */
const char *plan_say_baseline(struct words *w, const struct plan_document *d);
const char *plan_say_method(struct words *w, const struct plan_document *d);
const char *plan_say_pressure(struct words *w, const struct plan_document *d);
/* Every other value that the plan was made from; "": none is known. */
const char *plan_say_with(struct words *w, const struct plan_document *d);
const char *plan_say_valid(struct words *w, const struct plan_document *d);
/* Why there is no plan: a reason at a time from *i = 0 on, as a sentence; NULL:
 * no more. */
const char *plan_say_refusal(struct words *w, const struct plan_document *d,
                             size_t *i);

/* ---- target ------------------------------------------------------------------- */

const char *plan_say_target(struct words *w, const struct plan_document *d);
/* "" where there is no flow to steer to, or the hand leads. */
const char *plan_say_share(struct words *w, const struct plan_document *d);
const char *plan_say_why(struct words *w, const struct plan_document *d);
const char *plan_say_floor(struct words *w, const struct plan_document *d);
const char *plan_say_floor_why(struct words *w, const struct plan_document *d);
/* How often to measure: after each tie, and the baseline; "": not at all. */
const char *plan_say_readings(struct words *w, const struct plan_document *d);
const char *plan_say_readings_before(struct words *w,
                                     const struct plan_document *d);

/* ---- sizes ---------------------------------------------------------------------- */

/* The flow of each size by the fourth power of the diameter alone, and that it
 * is no prediction. */
const char *plan_say_fourth_power(struct words *w,
                                  const struct plan_document *d);
/* The chance of an index of risk with each size; "": not known. */
const char *plan_say_index_low(struct words *w, const struct plan_document *d);

/* ---- outflow -------------------------------------------------------------------- */

/* What the stenosis takes, what opening it does to the flow and to the hand. */
const char *plan_say_lesion(struct words *w, const struct plan_document *d);
/* The index before, and the sizes that hold the flow or come to the target;
 * "": not known, or none. */
const char *plan_say_index_before(struct words *w,
                                  const struct plan_document *d);
const char *plan_say_holding(struct words *w, const struct plan_document *d);
const char *plan_say_zone(struct words *w, const struct plan_document *d);

/* ---- what it rests on ------------------------------------------------------------- */

/* A condition of plan_phrases(PLAN_PHRASES_CONDITION), as it stands in this
 * plan: only what of it is missing. */
const char *plan_say_condition(const struct plan_document *d,
                               enum condition condition);
/* The limits that concern this plan, from *i = 0 on; NULL: no more. */
struct plan_limit {
    const char *name, *value, *unit;
    const char *mark, *source; /* source: "": none */
};
bool plan_next_limit(struct words *w, const struct plan_document *d, size_t *i,
                     struct plan_limit *limit);
/* The sources that those name, the same way: key and what it stands for. */
bool plan_next_source(const struct plan_document *d, size_t *i,
                      const char **key, const char **citation);
/* Who answers for the limits. */
const char *plan_say_approval(struct words *w, const struct policy *policy);

#endif
