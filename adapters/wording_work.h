/*
 * wording_work - what the files of wording share; private to them
 *
 *     wording.c              headline, suggestion, description
 *     wording_advice.c       what is suggested, of each rule
 *     wording_advice_rows.c  the sentences of it
 *     wording_say.c          dates, numbers, names, readings
 *     wording_fill.c         sentences with places to fill in
 *     wording_template.c     the same, from tables
 *     wording_words.c        texts behind many others
 *     wording_names.c        the names in the planner's tables
 *     wording_limit.c        limits, each in its unit
 *     wording_seen.c         what was seen: measurements, and of which rule
 *     wording_seen_limit.c   the limit as a sentence
 *     wording_seen_brief.c   the same in the fewest words
 *     wording_seen_*.c       its sentences, by subject
 *     wording_signs.c        the signs among it
 *     wording_late.c         an emergency of long ago
 *     wording_rows.c         the rows of the policy and their sources
 *     wording_used.c         which rows a rule uses
 *     wording_basis.c        what it rests on
 *     wording_until.c        what would end it
 *     wording_caution.c      what was not known, cautions
 *     wording_follow.c       what comes after: update, end
 *     wording_repeat.c       reminders
 *     wording_why.c          why a rule does not hold
 *     wording_takes.c        what each rule looks at, and what it takes
 *     wording_review.c       all of an access
 *     wording_readiness.c    what stands between it and a band plan
 *     wording_plan.c         the band plan of a Task
 */
#ifndef HEADGATE_ADAPTERS_WORDING_WORK_H
#define HEADGATE_ADAPTERS_WORDING_WORK_H

#include "adapters/catalogue.h"
#include "adapters/wording.h"
#include "adapters/wording_fill.h"
#include "adapters/wording_seen.h"
#include "planner/adequacy.h"
#include "planner/series.h"

/* Every text that leaves here ends with this: decision support, no diagnosis. */
const char *words_support(void);
/* What no number outweighs: the complaints of the hand. */
const char *words_hand(void);
/* That nothing is flagged does not mean that all is well. */
const char *words_absence(void);
/* "Phone now: this Task does not replace a call." */
const char *words_phone(void);

/* ---- words (wording_say.c) ---------------------------------------------- */

/* A text from outside: control characters as blanks, cut to be short. */
void say_clean(struct buf *out, const char *text);
/* A name of the planner's tables ("Numb hand") within a sentence: "numb hand",
 * "NYHA class IV" stays.  A language may have a text of its own for it. */
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
/* " mL/min" */
void say_unit(struct buf *out, enum quantity q);
/* To be seen by when, as a sentence of the catalogue in two forms: with
 * "today, {date}", and with "by {date}". */
void say_due(const struct wording *w, const char *today, const char *later,
             struct buf *out);
/* With so many digits that count: 4.5, 2000; for what has no unit of ours. */
void say_plain(struct buf *out, double value, int digits);
/* "33 %": so many decimals; so many digits */
void say_per_cent(struct buf *out, double value, int decimals);
void say_per_cent_plain(struct buf *out, double value, int digits);
/* Between the members of a list: "; ", ", ", ", then ", " and ". */
const char *list_semicolon(void);
const char *list_comma(void);
const char *list_then(void);
const char *list_and(void);
/* "on 2026-11-20", "in 2026-11" */
void say_when(const struct reading *r, const struct zone *zone,
              struct buf *out);

/* "within 30 days": how soon an urgency wants a person to look. */
void say_within(const struct wording *w, enum urgency u, struct buf *out);
/* The same, or "a remark only". */
void say_soon(const struct wording *w, enum urgency u, struct buf *out);
/* The grade in words: "grade 3 (rest pain or motor loss)". */
void say_grade(struct buf *out, enum grade g);
/* "access flow": a quantity within a sentence. */
void say_quantity(struct buf *out, enum quantity q);
/* What a visit is to record, enum visit_item: in full, and for a queue. */
void say_visit(struct buf *out, unsigned items);
void say_visit_brief(struct buf *out, unsigned items);
/* "from 2026-08-10 to 2026-08-20": when a follow-up is due. */
void say_window(const struct wording *w, const struct finding *f,
                struct buf *out);

/*
 * A sentence from a table, in English; it is said in the language of the site:
 *
 *     {limit}       the limit of the rule with its unit
 *     {within}      how soon
 *     {asap}        how soon what is a matter of days
 *     {again}       what to measure again
 *     {repeat}      by when: "by 2026-12-07"
 *     {items}       what a follow-up is to record
 *     {compressed}  the finger pressure with and without compression
 *     {flow_first}  the same after the access flow, unless that is quoted
 *     {flow_last}   the same before it
 *     {disputed}, {no_procedure}, {not_suited}
 *                   sentences that stand behind several others
 */
void say_template(const struct wording *w, const struct finding *f,
                  const char *text, struct buf *out);

/* What a limit is measured in; Q_NONE where it is of no quantity. */
enum quantity say_limit_quantity(enum param p);
/* Is it a share, 0.20 for 20 %? */
bool say_limit_is_share(enum param p);
/* The limit itself: "2000 mL/min", "30 %", "grade 3", "within 30 days". */
void say_limit(const struct wording *w, enum param p, struct buf *out);

/* ---- findings ------------------------------------------------------------ */

/* Is this finding of the group, and to be spoken of? */
bool seen_is_ours(const struct wording *w, const struct finding *f);
/* The most urgent confirmed finding of the group, else the first; NULL if
 * there is none. */
const struct finding *seen_leading(const struct wording *w);

/* Has the group a usable flow beside the ischaemia, which is then quoted? */
bool seen_flow_quoted(const struct wording *w);
/* Does another group's Task tell of this finding, and is it this group's? */
bool seen_is_told_here(const struct wording *w, const struct finding *f);
/* Has another finding of the group told of the same sign?  Said once, it is
 * said. */
bool seen_is_told(const struct wording *w, const struct finding *f);
/* Is the thrill lost, of a low flow or after a band? */
bool seen_thrill_lost(const struct wording *w, const struct finding *f);
/* Does it rest on this sign, or on this flag? */
bool seen_has_sign(const struct wording *w, const struct finding *f,
                   enum sign sign);
bool seen_has_flag(const struct wording *w, const struct finding *f,
                   enum quantity q);
/* The newest reading that says that a band was placed; NULL if none does. */
const struct reading *seen_band(const struct wording *w);
/*
 * An emergency that is told late (wording_late.c): "Seen 20 days ago and
 * reported now (2026-11-25): ask the unit at once whether it was dealt with.",
 * on a line of its own where there is text before; brief: as a part of a line
 * for a queue, "; seen 20 days ago ...".  False, and nothing is said, if the
 * newest sign of any emergency of the group is not older than the time within
 * which a matter of days is seen (general.due_asap_d).
 */
bool seen_late(const struct wording *w, bool brief, struct buf *out);
/* Is the hand so that nothing may be waited for? */
bool seen_hand_emergency(const struct wording *w);

/* ---- the policy (wording_rows.c) ----------------------------------------- */

/* The sources that were named so far, by their place in the policy. */
struct named_sources {
    bool is[POLICY_SOURCES_MAX];
};

/* "found in the published source: BAS08 GER20", and notes what it named. */
void say_strength(const struct wording *w, enum param p,
                  struct named_sources *named, struct buf *out);
/* A row that a rule uses, and a text for it with a {limit}. */
struct used_row {
    enum rule rule;
    enum used {
        ALWAYS,
        IF_SEVERE,
        IF_PLAIN,
        IF_SIGN,
        IF_LOST,        /* the thrill is lost */
        IF_LESSER_SIGN, /* another sign alone */
        IF_NO_SIGN,
        IF_CROSSED, /* it is the limit of the finding */
        IF_SOON,    /* it is how soon the finding asks to be seen */
        IF_DOSE,    /* the finding rests on a dose, ... */
        IF_PUMP,
        IF_SUCTION,
        IF_BLEEDING,
        IF_SIGNS,    /* signs of dysfunction that take several sessions */
        IF_STANDARD, /* standard Kt/V */
        IF_SINGLE_POOL,
        IF_CLOSE, /* visits close to each other */
        IF_SHARE, /* a share of the cardiac output */
        IF_RISEN,
        IF_STILL_HIGH,
        IF_HAND,
        IF_CONTRADICTORY,
        IF_LOW_PRESSURE, /* it was measured at low pressure, and counts not */
        IF_STENOSIS,     /* of the outflow, known and untreated */
        IF_PRESSURE,     /* the usual pressure is known */
        IF_MEASURED,     /* not a lost thrill */
        IF_OPENING,      /* the risk is that of opening the outflow ... */
        IF_RISING        /* ... or of a flow that has risen */
    } when;
    enum param param;
    const char *text; /* of the catalogue */
};
/* The nth row of all; NULL after the last. */
const struct used_row *used_row(size_t n);

/* A line for each row that the rule used. */
void say_rows(const struct wording *w, const struct finding *f,
              struct named_sources *named, struct buf *out);
/* "Source of the limit: found in the published source: BAS08 GER20."; false,
 * and nothing is said, of a rule that has no limit. */
bool say_limit_source(const struct wording *w, const struct finding *f,
                      struct buf *out);
/* One line with the limits of a rule that does not hold, each with the mark
 * and the sources of its row: "Limits: 2000 mL/min or more (F: BAS08 GER20)". */
void say_rule_rows(const struct wording *w, enum rule rule,
                   struct named_sources *named, struct buf *out);
/* What the marks mean. */
void say_marks(struct buf *out);
/* The citations of those named. */
void say_sources(const struct wording *w, const struct named_sources *named,
                 struct buf *out);
/* "Limits: policy version 1 of 2026-11-25; approval: ..." */
void say_policy(const struct wording *w, struct buf *out);

/* ---- blocks of what it rests on ------------------------------------------ */

/* "Readings used: ..." */
void say_readings(const struct wording *w, const struct finding *f,
                  struct buf *out);
/* " (one measurement so far)": what is said behind the name of a rule. */
const char *say_state(const struct finding *f);
/* What would end it. */
void say_until(const struct wording *w, const struct finding *f,
               struct buf *out);
/* What was not known; cautions: of all that is ours. */
void say_unknowns(const struct wording *w, struct buf *out);
void say_cautions(const struct wording *w, struct buf *out);

/* What stands between the access and a band plan. */
void say_readiness(const struct wording *w, const struct readiness *r,
                   struct buf *out);

/* ---- why a rule does not hold (wording_why.c) ---------------------------- */

enum { LOOKED_MAX = 3, TAKES_MAX = 8 };

/* What a rule looks at, and what it takes; {1} is the first row. */
struct takes {
    const char *none; /* why it does not hold where there is none of it */
    enum quantity looks_at[LOOKED_MAX];
    const char *text; /* "It takes ..." */
    enum param params[TAKES_MAX];
};
const struct takes *rule_takes(enum rule rule);

/* Why, without the "No: " before it: "no cardiac output has been recorded."
 * What it takes is left out where the limits beside it say it. */
void why_brief(const struct wording *w, enum rule rule, struct buf *out);

/* ---- what is suggested (wording_advice.c) -------------------------------- */

/* A row for each rule and circumstance; the first that fits counts. */
struct advice {
    enum rule rule;
    enum circumstance {
        ANY,
        NOW,          /* a matter of hours */
        EXTENDED_NOW, /* the same, with one of those below */
        NERVES_NOW,
        SIGN_NOW,
        ELSEWHERE, /* another Task tells of it */
        WITH_SIGN,
        SEVERE,
        A_NOTE,        /* not a ground to refer by itself */
        EXTENDED,      /* extended tissue loss: grade 4b */
        GRADED,        /* the hand was given a grade, without more */
        BESIDE_SIGNS,  /* beside signs of the heart, or a finding of the hand */
        TOLERABLE,     /* of the hand no more than grade 2a is found */
        EMERGENCY,     /* beside tissue loss, an acute hand or new weakness */
        NERVES,        /* beside a suspected neuropathy */
        LOW_FLOW_HAND, /* beside IS-7 */
        LOST,          /* the thrill is lost */
        SWELLING,      /* a swollen arm or face */
        PRESSING,      /* urgent or more */
        BLEEDS,        /* it bleeds now */
        FOR_DOSE,      /* the dose falls as well, and no sign was seen */
        OF_DOSE,
        OF_FLOW,
        STILL_HIGH,
        CONTRADICTORY, /* measurements of one session */
        NO_SIZE,       /* the hand is at risk, and a band is spoken against */
        OPENING,       /* the risk is that of opening the outflow */
        ONE_SO_FAR     /* not confirmed */
    } when;
    const char *leads; /* the sentence of the most urgent rule */
    const char *adds;  /* what it adds to that of another; NULL: nothing */
};
/* The nth row of all; NULL after the last. */
const struct advice *advice_row(size_t n);

/* All that is suggested, of the group. */
void say_suggested(const struct wording *w, struct buf *out);
/* What is suggested: first leads, the others of the group add. */
void advice_say(const struct wording *w, const struct finding *first,
                struct buf *out);
/* Of one finding alone, as if it led. */
void advice_of(const struct wording *w, const struct finding *f,
               struct buf *out);

#endif
