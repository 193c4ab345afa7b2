/*
 * planning - the band plan of an access, from its history to a document
 *
 *     look (history, findings) --> plan_from --> plan_make --> JSON, text, page
 *
 * One thread each: the working memory of the planner, some 30 MB, is allocated
 * with the first plan and used again.
 */
#ifndef HEADGATE_SERVICE_PLANNING_H
#define HEADGATE_SERVICE_PLANNING_H

#include "adapters/fhir_time.h"
#include "adapters/plan_write.h"
#include "adapters/worksheet.h"
#include "planner/plan_from.h"
#include "service/review.h"

/* What is said where the site's prior is asked for and none is in use. */
#define PLANNING_NO_SITE                                                       \
    "prior: this site has none in use, see headgate technique"

struct planning;

MUST_CHECK enum err planning_open(struct planning **planning);
/* The working memory, for what is predicted without a plan; ERR_MEMORY. */
MUST_CHECK enum err planning_work(struct planning *planning,
                                  struct plan_work **work);
void planning_close(struct planning *planning); /* NULL does nothing */

struct planned {
    bool offered;          /* from.offer == PLAN_OFFERED: plan is set */
    struct plan_from from; /* the input, its readings, why there is none */
    struct plan plan;
    struct plan_fault fault; /* from.offer == PLAN_UNFIT: which and why */
};

/*
 * planning_wish - what a person wants, from words; NULL: as usual
 *
 * prior   "default", "reference", or "site": technique_site, which stands for
 *         the numbers that planning_make() finds in the store
 * target  "share", "window", "hand", or a reduction in per cent: "50-60"
 * dowels  outer diameters, mm: "5,4.5,4"
 * table   "1": the flows of the newest session were measured on the table
 * why     out: which word is wrong, and how it is written
 *
 * ERR_FORM
 */
MUST_CHECK enum err planning_wish(const char *prior, const char *target,
                                  const char *dowels, const char *table,
                                  struct plan_wish *wish, struct buf *why);

/*
 * planning_make - as a person wants it
 *
 * db    whose prior of the site is used where one is in use and no other was
 *       asked for; see technique_plan_prior()
 * look  of this review; its findings are those of its history
 * wish  NULL: nobody asked, so none is offered where there is no ground
 * out   out->from.in.prior may point into planning: it holds until the next
 *       plan
 *
 * ERR_ABSENT  the site's prior was asked for, and none is in use
 * ERR_MEMORY  the working memory
 */
MUST_CHECK enum err planning_make(struct planning *planning, struct db *db,
                                  const struct review *review,
                                  const struct look *look,
                                  const struct plan_wish *wish,
                                  struct planned *out);

/*
 * planning_ask, planning_answer - the same in two steps
 *
 * The first reads the store and says whether a plan is offered, and from what;
 * the second needs neither the store nor the look, and takes some milliseconds:
 * any one thread, with a planning of its own.
 *
 * site  room for the site's prior, to live as long as *out is used
 */
MUST_CHECK enum err planning_ask(struct db *db, const struct review *review,
                                 const struct look *look,
                                 const struct plan_wish *wish,
                                 struct prior *site, struct planned *out);
MUST_CHECK enum err planning_answer(struct planning *planning,
                                    struct planned *planned);

/* ---- its documents -------------------------------------------------------------- */

enum { PLANNING_REFERENCE_SIZE = FID_SIZE + 24 };

/* What people call the access and whoever it belongs to, without control
 * characters; what the store calls the readings. */
struct planning_names {
    struct buf access, patient, number, unit; /* "" not known */
    char born[FHIR_TIME_SIZE];                /* as it was sent; "" not known */
    /* of planned->from.grounds; NULL: they are not named */
    char (*references)[PLANNING_REFERENCE_SIZE];
};

/* refer: name each reading as it is called here ("Observation/..."); in a store
 * that is thrown away such a name says nothing.  On an error nothing is to be
 * cleared. */
MUST_CHECK enum err planning_names_load(struct db *db, const struct look *look,
                                        const struct planned *planned,
                                        bool refer, struct planning_names *n);
void planning_names_clear(struct planning_names *n);

/* What a document is written of; all borrowed. */
struct planning_paper {
    const struct policy *policy;
    const struct zone *zone;
    const struct look *look;
    const struct planned *planned;
    const struct planning_names *names;
};

/*
 * planning_json, planning_text - append the document; any thread
 *
 * The JSON holds nothing that changes with the clock: equal readings and
 * policy give equal bytes, and its last member is the SHA-256 of the rest.
 */
MUST_CHECK enum err planning_json(const struct planning_paper *p,
                                  struct buf *out);
MUST_CHECK enum err planning_text(const struct planning_paper *p,
                                  struct buf *out);
/* The part of it that is looked at during a case, see plan_text_case(). */
MUST_CHECK enum err planning_case(const struct planning_paper *p,
                                  struct buf *out);

/* The same where no plan can be made because of a value: how a line that was
 * typed is found and taken back. */
void planning_way_out(struct buf *out);

/* What a page says beside the plan, and how it is set. */
struct planning_page {
    enum canvas_form form;
    enum canvas_paper paper;
    int64_t made_s; /* the time that it says it was made, UTC */
};

/* Append the worksheet; ERR_IO: a library refused, see worksheet_draw().  Any
 * thread. */
MUST_CHECK enum err planning_sheet(const struct planning_paper *p,
                                   const struct planning_page *page,
                                   struct buf *out);

#endif
