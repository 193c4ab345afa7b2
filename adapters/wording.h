/*
 * wording - findings in words: what a person reads on a Task and in the queue
 *
 * All sentences that headgate says to people about an access stand here.
 * Each suggestion says who and which access, what was seen and when, the
 * limit and its source with the strength of it, what is suggested, by when,
 * and that it is decision support.  Numbers are rounded to what a person may
 * rely on.
 */
#ifndef HEADGATE_ADAPTERS_WORDING_H
#define HEADGATE_ADAPTERS_WORDING_H

#include "adapters/buf.h"
#include "planner/readiness.h"
#include "planner/rules.h"
#include "planner/triage.h"

struct zone;

/* A ceiling of a buf that every text below keeps to. */
enum { WORDING_SIZE_MAX = 65536 };

struct wording {
    const struct history *history;
    const struct policy *policy;
    const struct findings *findings;
    enum group group;
    const struct zone *zone;  /* dates are those of the site */
    const char *access_label; /* "Left upper-arm fistula A-0101" */
    int64_t due_s;            /* to be seen by */
    const char *plan;         /* what wording_plan_attached() says of the band
                                 plan of the Task; NULL: it carries none */
};

/* One line for a queue: "flow 2240 then 2180 mL/min (limit 2000, HF-1)". */
void wording_headline(const struct wording *w, struct buf *out);

/* What is suggested, one sentence: of the most urgent rule, then what the
 * other rules of the group add. */
void wording_suggestion(const struct wording *w, struct buf *out);

/* Task.description: access, what was seen, limit, suggestion, by when, the
 * source of the limit with its strength, what would end it; for immediate
 * urgency it starts "Phone now: this Task does not replace a call." */
void wording_description(const struct wording *w, struct buf *out);

/* The note of a new Task: rule by rule what it rests on with the source
 * and the strength of it, what was unknown, what would change it, cautions. */
void wording_basis(const struct wording *w, struct buf *out);

/* The note added when later evidence joins. */
void wording_update(const struct wording *w, const struct verdict *verdict,
                    struct buf *out);

/* Why a suggestion ends: statusReason (short) and note (with the date). */
void wording_end(const struct wording *w, const struct verdict *verdict,
                 struct buf *reason, struct buf *note);

/* One line for a queue: what to measure again, and what was seen once; or
 * which visit after a band is due, and what it is to record. */
void wording_repeat_headline(const struct wording *w, const struct finding *f,
                             struct buf *out);

/* The reminder: what to measure again, or to record at a visit, from when to
 * when, and why. */
void wording_repeat(const struct wording *w, const struct finding *f,
                    struct buf *out);

/* Why a reminder has ended: statusReason and note. */
void wording_repeat_end(const struct verdict *verdict, struct buf *out);

/* The note added when the day of a reminder has passed. */
void wording_overdue(const struct wording *w, const struct finding *f,
                     struct buf *out);

/*
 * The band plan of a Task, see fhir_plan.h:
 *
 *     line      "provisional, first a 4 mm dowel ...; missing: ..."; of a case
 *               the newest step, what was measured, and what comes next
 *     attached  the same as a sentence of a description
 *     renewed   a note; change: of fhir_plan_change()
 *     gone      a note: why it no longer holds; why: NULL, or the reason where
 *               the document does not tell it
 *
 * d->plan is set but for gone, where it may be NULL.
 */
struct plan_document;
void wording_plan_line(const struct plan_document *d, struct buf *out);
void wording_plan_attached(const struct plan_document *d, struct buf *out);
void wording_plan_renewed(const struct plan_document *d, const char *change,
                          struct buf *out);
void wording_plan_gone(const struct plan_document *d, const char *why,
                       struct buf *out);

/* What is said for the reason where the hand is an emergency. */
const char *wording_plan_emergency(void);
#define WORDING_PLAN_EMERGENCY wording_plan_emergency()

/* A note beside the end of a Task that carries the plan of a finished case;
 * with the blank before it. */
const char *wording_plan_record(void);
#define WORDING_PLAN_RECORD wording_plan_record()

/* The same, of any other plan. */
const char *wording_plan_ended(void);
#define WORDING_PLAN_ENDED wording_plan_ended()

/* Why a rule does not hold: what was last seen, the limit, and what would
 * make it hold.  One or two sentences. */
void wording_why(const struct wording *w, enum rule rule, struct buf *out);

/*
 * The whole of what is known of an access, for a person who asks: first the
 * rules that hold, or have one reading so far, with what they rest on; then in
 * two lines each why the others do not hold; what stands between the access
 * and a band plan; sources.  w->group and w->due_s are not read.
 */
void wording_review(const struct wording *w, const struct readiness *readiness,
                    struct buf *out);

/* A limit for a person: "2000 mL/min", "30 %", "grade 3", "within 30 days". */
void wording_limit(const struct wording *w, enum param p, struct buf *out);

/* The UCUM unit that the number of a row is in; NULL where it has none that
 * says enough (grades, urgencies, counts): it is then said in words. */
const char *wording_limit_unit(enum param p);

/* Who answers for the limits: "approved by: access board", or, where the
 * approver's row says so, "NOT APPROVED (defaults as shipped)". */
void wording_approver(const char *approver, struct buf *out);

/* The strength of a source by its mark: "P" as "default proposed without a
 * direct source". */
const char *wording_mark(const char *mark);

/* What of a session is kept and not used, since it contradicts itself; one
 * sentence or two. */
struct contradiction;
void wording_contradiction(const struct history *h, const struct zone *zone,
                           const struct contradiction *c, struct buf *out);

/*
 * A name of the planner's tables (a quantity, a sign, a method, a rule) in the
 * language of the site.  adapters/wording_names.c lists them for translators.
 */
const char *wording_name(const char *display);
/* The nth name of that list, in English; NULL after the last. */
const char *wording_name_row(size_t n);

/* One reading for the display of a reference: "2240 mL/min on 2026-10-25,
 * ultrasound dilution, final". */
void wording_reading(const struct reading *r, const struct zone *zone,
                     struct buf *out);

#endif
