/*
 * wording_seen - what was seen, in words: the parts of such sentences, and the
 * sentence of each rule; private to the files of wording
 */
#ifndef HEADGATE_ADAPTERS_WORDING_SEEN_H
#define HEADGATE_ADAPTERS_WORDING_SEEN_H

#include "adapters/wording.h"
#include "planner/series.h"

/* ---- what was seen (wording_seen.c) -------------------------------------- */

enum { SEEN_MAX = 4 }; /* measurements shown of a row of them */

/*
 * The sessions' values of a quantity that a finding rests on, sent or
 * computed.
 *
 * points  out, oldest first; of seen_points the newest SEEN_MAX
 * total   out: how many there are
 */
size_t seen_all(const struct wording *w, const struct finding *f,
                enum quantity q, struct point points[EVIDENCE_MAX]);
size_t seen_points(const struct wording *w, const struct finding *f,
                   enum quantity q, struct point points[SEEN_MAX],
                   size_t *total);

/* A sentence with dates, method and limit. */
void seen_sentence(const struct wording *w, const struct finding *f,
                   struct buf *out);
/* What is said where the flow beside an ischaemia is not known. */
void seen_flow_unknown(const struct wording *w, struct buf *out);
/* The same in the fewest words. */
void seen_brief(const struct wording *w, const struct finding *f,
                struct buf *out);

/* ---- parts of such sentences --------------------------------------------- */

/* "2240 mL/min on 2026-10-25 (mean of 2)" */
void seen_say_point(const struct wording *w, enum quantity q,
                    const struct point *p, double limit, struct buf *out);
/* "2240 mL/min on 2026-10-25, then 2180 mL/min on 2026-11-20" */
void seen_say_list(const struct wording *w, enum quantity q,
                   const struct point *points, size_t count, double limit,
                   bool with_method, struct buf *out);
/* The same of all that a finding rests on; how many. */
size_t seen_say_points(const struct wording *w, const struct finding *f,
                       enum quantity q, double limit, bool with_method,
                       struct buf *out);
double seen_limit(const struct wording *w, enum param p);
/* How a limit is crossed: reached (a grade too), gone below, exceeded. */
enum beyond { OR_MORE, BELOW, MORE_THAN };
/* A limit with it: "2000 mL/min or more", "below 500 mL/min" */
void say_beyond(const struct wording *w, enum param p, enum beyond beyond,
                struct buf *out);
/* "2 readings in a row"; nothing, where one is enough */
enum counted { READINGS, SAMPLES, SESSIONS };
void say_in_a_row(int needed, enum counted what, struct buf *out);
/*
 * The sentence of the limit, after a blank: "Limit at this site: 2000 mL/min or
 * more, 2 readings in a row (HF-1)."
 *
 * f          NULL: the rule is said by a later sentence
 * limit      what the limit is
 * confirmed  what it takes; empty: once is enough
 *
 * Both are freed.
 */
void seen_limit_is(const struct finding *f, struct buf *limit,
                   struct buf *confirmed, struct buf *out);
/* The same of a row of the policy. */
void seen_site_limit(const struct wording *w, const struct finding *f,
                     enum param p, enum beyond beyond, struct buf *out);
/* The same with how often it takes. */
void seen_site_limit_times(const struct wording *w, const struct finding *f,
                           enum param p, enum beyond beyond, int needed,
                           enum counted what, struct buf *out);
/* A sentence with {signs}, after a blank: "Signs: NYHA class III on
 * 2026-11-13."; nothing, where the finding rests on none. */
void seen_signs_sentence(const struct wording *w, const struct finding *f,
                         const char *text, struct buf *out);
/* "; NYHA class III": the same for a queue */
void seen_signs_too(const struct wording *w, const struct finding *f,
                    struct buf *out);
/* ": 33.1 %, 36.2 % and 38 %": how far the newest of the points are from the
 * baseline, with one decimal; up: above it */
void seen_say_changes(const struct finding *f, const struct point *points,
                      size_t count, bool up, struct buf *out);
/* "2240 then 2180 mL/min": the newest few */
void seen_brief_row(const struct wording *w, const struct finding *f,
                    enum quantity q, double limit, size_t most,
                    struct buf *out);
/* The same of two; " (HF-1)", " (limit 2000, HF-1)" */
void seen_brief_points(const struct wording *w, const struct finding *f,
                       enum quantity q, double limit, struct buf *out);
void seen_brief_rule(const struct finding *f, struct buf *out);
void seen_brief_limit(const struct wording *w, const struct finding *f,
                      struct buf *out);
/* "after the band of 2026-08-01", "after the band" */
void seen_after(const struct wording *w, struct buf *out);
/* The pump flow prescribed at the time, mL/min; NAN if it is not known. */
double seen_prescribed(const struct wording *w, int64_t at_s);
/* What a finding on the dose is about: single-pool or standard Kt/V, or the
 * urea reduction. */
enum quantity seen_dose_quantity(const struct finding *f);
/* Doses that fell by more than fall from the baseline; how many, and how many
 * of points come before them. */
size_t seen_dose_fallen(const struct wording *w, const struct finding *f,
                        double fall, struct point points[EVIDENCE_MAX],
                        size_t *before);

/* ---- sentences by subject (wording_seen_*.c) ----------------------------- */

void seen_flow(const struct wording *w, const struct finding *f,
               struct buf *out);
void seen_flow_brief(const struct wording *w, const struct finding *f,
                     struct buf *out);
void seen_beside(const struct wording *w, const struct finding *f,
                 struct buf *out);
void seen_share(const struct wording *w, const struct finding *f,
                struct buf *out);
void seen_share_brief(const struct wording *w, const struct finding *f,
                      struct buf *out);
void seen_heart(const struct wording *w, const struct finding *f,
                struct buf *out);
void seen_heart_brief(const struct wording *w, const struct finding *f,
                      struct buf *out);
void seen_treated(const struct wording *w, const struct finding *f,
                  struct buf *out);
void seen_treated_brief(const struct wording *w, const struct finding *f,
                        struct buf *out);
void seen_height(const struct wording *w, const struct finding *f,
                 struct buf *out);
void seen_height_brief(const struct wording *w, const struct finding *f,
                       struct buf *out);
void seen_fall(const struct wording *w, const struct finding *f,
               struct buf *out);
void seen_fall_brief(const struct wording *w, const struct finding *f,
                     struct buf *out);
void seen_nerves(const struct wording *w, const struct finding *f,
                 struct buf *out);
void seen_nerves_brief(const struct wording *w, const struct finding *f,
                       struct buf *out);
void seen_grade(const struct wording *w, const struct finding *f,
                struct buf *out);
void seen_grade_brief(const struct wording *w, const struct finding *f,
                      struct buf *out);
void seen_finger(const struct wording *w, const struct finding *f,
                 struct buf *out);
void seen_finger_brief(const struct wording *w, const struct finding *f,
                       struct buf *out);
void seen_predicted(const struct wording *w, const struct finding *f,
                    struct buf *out);
void seen_predicted_brief(const struct wording *w, const struct finding *f,
                          struct buf *out);
/* Is this one of what is foreseen, and beyond the limit? */
bool seen_is_predicted(const struct wording *w, enum prediction_of of);
void seen_ratio(const struct wording *w, const struct finding *f,
                struct buf *out);
void seen_ratio_brief(const struct wording *w, const struct finding *f,
                      struct buf *out);
void seen_recirculation(const struct wording *w, const struct finding *f,
                        struct buf *out);
void seen_recirculation_brief(const struct wording *w, const struct finding *f,
                              struct buf *out);
void seen_dysfunction(const struct wording *w, const struct finding *f,
                      struct buf *out);
void seen_dysfunction_brief(const struct wording *w, const struct finding *f,
                            struct buf *out);
void seen_dose(const struct wording *w, const struct finding *f,
               struct buf *out);
void seen_dose_brief(const struct wording *w, const struct finding *f,
                     struct buf *out);
void seen_dose_fall(const struct wording *w, const struct finding *f,
                    struct buf *out);
void seen_dose_fall_brief(const struct wording *w, const struct finding *f,
                          struct buf *out);
void seen_follow_up(const struct wording *w, const struct finding *f,
                    struct buf *out);
void seen_follow_up_brief(const struct wording *w, const struct finding *f,
                          struct buf *out);
void seen_tight(const struct wording *w, const struct finding *f,
                struct buf *out);
void seen_tight_brief(const struct wording *w, const struct finding *f,
                      struct buf *out);
void seen_loose(const struct wording *w, const struct finding *f,
                struct buf *out);
void seen_loose_brief(const struct wording *w, const struct finding *f,
                      struct buf *out);
void seen_rise(const struct wording *w, const struct finding *f,
               struct buf *out);
void seen_rise_brief(const struct wording *w, const struct finding *f,
                     struct buf *out);
void seen_bleeding(const struct wording *w, const struct finding *f,
                   struct buf *out);
void seen_infection(const struct wording *w, const struct finding *f,
                    struct buf *out);
void seen_signs_brief(const struct wording *w, const struct finding *f,
                      struct buf *out);
/* ---- signs (wording_signs.c) --------------------------------------------- */

/* The signs that a finding rests on, with dates or without, as a list; how
 * many.  One that was told several times is said once. */
size_t seen_signs(const struct wording *w, const struct finding *f,
                  bool with_dates, struct buf *out);
/* The procedures among it, with dates; how many. */
size_t seen_done(const struct wording *w, const struct finding *f,
                 struct buf *out);

#endif
