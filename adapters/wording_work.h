/*
 * wording_work - what the files of wording share; private to them
 *
 *     wording.c         headline, suggestion, description
 *     wording_say.c     dates, numbers, readings, templates
 *     wording_seen.c    what was seen, of each rule
 *     wording_rows.c    the rows of the policy and their sources
 *     wording_basis.c   what it rests on
 *     wording_follow.c  what comes after: update, end, reminder
 */
#ifndef HEADGATE_ADAPTERS_WORDING_WORK_H
#define HEADGATE_ADAPTERS_WORDING_WORK_H

#include "adapters/wording.h"

/* Every text that leaves here ends with this. */
#define WORDING_SUPPORT                                                        \
    "Decision support from fixed rules, not a diagnosis: a qualified "         \
    "clinician must examine the patient and decide, and local policy stands "  \
    "above it."

/* ---- words (wording_say.c) ---------------------------------------------- */

/* A text from outside: control characters as blanks, cut to be short. */
void say_clean(struct buf *out, const char *text);
/* Within a sentence: "Numb hand" is "numb hand", "NYHA class IV" stays. */
void say_lower(struct buf *out, const char *text);
void say_date(const struct wording *w, int64_t at_s, struct buf *out);

/*
 * A number as a person may rely on it, without its unit.  It is never shown
 * as equal to a limit that it is not equal to.
 *
 * limit  NAN for none
 */
void say_number(struct buf *out, enum quantity q, double value, double limit);
/* With its bound and unit: "more than 4000 mL/min". */
void say_value(struct buf *out, enum quantity q, double value, enum bound bound,
               double limit);
/* "to be seen by 2026-12-25", "to be seen today, 2026-11-25" */
void say_by(const struct wording *w, struct buf *out);
/* "on 2026-11-20", "in 2026-11" */
void say_when(const struct reading *r, const struct zone *zone,
              struct buf *out);

/* "within 30 days": how soon an urgency wants a person to look. */
void say_within(const struct wording *w, enum urgency u, struct buf *out);
/* The grade in words: "grade 3 (rest pain or motor loss)". */
void say_grade(struct buf *out, enum grade g);

/* A sentence from a table: {limit} the limit of the rule with its unit,
 * {within} how soon, {call} whom to assess and whether to phone, {repeat} the day by which to measure again. */
void say_template(const struct wording *w, const struct finding *f,
                  const char *text, struct buf *out);

/* What a limit is measured in; Q_NONE for a grade or a share. */
enum quantity say_limit_quantity(enum param p);
/* The limit itself: "2000 mL/min", "30 %", "grade 3". */
void say_limit(const struct wording *w, enum param p, struct buf *out);

/* ---- findings ------------------------------------------------------------ */

/* Is this finding of the group, and to be spoken of? */
bool seen_is_ours(const struct wording *w, const struct finding *f);
/* The most urgent confirmed finding of the group, else the first; NULL if
 * there is none. */
const struct finding *seen_leading(const struct wording *w);

/* ---- what was seen (wording_seen.c) ---------------------------------------- */

enum { SEEN_MAX = 4 }; /* measurements shown of a row of them */

/*
 * The newest sessions' values of a quantity that a finding rests on.
 *
 * points  out: at most SEEN_MAX, oldest first
 * total   out: how many there are
 */
size_t seen_points(const struct wording *w, const struct finding *f,
                   enum quantity q, struct point points[SEEN_MAX],
                   size_t *total);

/* A sentence with dates, method and limit. */
void seen_sentence(const struct wording *w, const struct finding *f,
                   struct buf *out);
/* The same in the fewest words. */
void seen_brief(const struct wording *w, const struct finding *f,
                struct buf *out);

/* ---- the policy (wording_rows.c) ------------------------------------------ */

/* The sources that were named so far, by their place in the policy. */
struct named_sources {
    bool is[POLICY_SOURCES_MAX];
};

/* A line for each row that the rule used. */
void say_rows(const struct wording *w, const struct finding *f,
              struct named_sources *named, struct buf *out);
/* The citations of those named. */
void say_sources(const struct wording *w, const struct named_sources *named,
                 struct buf *out);

#endif
