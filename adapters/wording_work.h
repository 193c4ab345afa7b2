/*
 * wording_work - what the files of wording share; private to them
 *
 *     wording.c         headline, suggestion, description
 *     wording_say.c     dates, numbers, readings, templates
 *     wording_seen.c    what was seen, of each rule
 *     wording_signs.c   the signs among it
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

/* What no number outweighs. */
#define WORDING_HAND                                                           \
    "Hand pain, numbness, weakness, colour change or a wound needs "           \
    "assessment whatever the numbers show."

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
 * {within} how soon, {call} whether to phone, and how soon to assess,
 * {asap} how soon what is a matter of days, {repeat} the day by which to measure again; {flow_first} and {flow_last}
 * ask for the access flow, at the start or end of a list, unless one is
 * quoted. */
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

/* Has the group a usable flow beside the ischaemia, which is then quoted? */
bool seen_flow_quoted(const struct wording *w);
/* Does this low flow come with a thrill that is lost? */
bool seen_thrill_lost(const struct wording *w, const struct finding *f);

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

/* ---- signs (wording_signs.c) ------------------------------------------------ */

/* The signs that a finding rests on, with dates or without; how many.  One
 * that was told several times is said once. */
size_t seen_signs(const struct wording *w, const struct finding *f,
                  bool with_dates, const char *before, struct buf *out);

/* ---- the policy (wording_rows.c) ------------------------------------------ */

/* The sources that were named so far, by their place in the policy. */
struct named_sources {
    bool is[POLICY_SOURCES_MAX];
};

/* " (found in the published source: BAS08 GER20)", and notes what it named. */
void say_strength(const struct wording *w, enum param p,
                  struct named_sources *named, struct buf *out);
/* A line for each row that the rule used. */
void say_rows(const struct wording *w, const struct finding *f,
              struct named_sources *named, struct buf *out);
/* The citations of those named. */
void say_sources(const struct wording *w, const struct named_sources *named,
                 struct buf *out);

#endif
