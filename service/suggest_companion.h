/*
 * suggest_companion - what goes beside a Task, made and kept up with it
 *
 * Store thread only, within the transaction of a review; private to suggest*.c.
 *
 *     DocumentReference  beside a Task with a plan: a new version with each new
 *                        plan, superseded when the plan is taken out.  A plan
 *                        that comes back later is a new document, which replaces
 *                        the one before: a person may have put that one aside
 *     ServiceRequest     of every Task: becomes its focus, and the access an
 *                        input; as urgent as the Task, and revoked where we end
 *                        it, unless a person has the Task in hand
 *     Flag               of the groups that whoever touches the arm should know
 *                        of; ended when the finding ends, or a person ends the
 *                        Task (episode_follow)
 *     Provenance         of every Task as it was first made
 *
 * Which of them are made is set by review->companions; those that are there are
 * kept up also where that has changed.  A Task that was made silently has none.
 */
#ifndef HEADGATE_SERVICE_SUGGEST_COMPANION_H
#define HEADGATE_SERVICE_SUGGEST_COMPANION_H

#include "adapters/fhir_companion.h"
#include "service/companions.h"
#include "service/suggest_work.h"

/* Between the two calls: what is to be stored when the Task is. */
struct beside_task {
    bool none;                 /* of a Task that was made silently */
    char key[65];              /* of the Task */
    struct companion document; /* fid set: to be stored, as it says in json */
    struct buf json;           /* of the document */
    struct companion retired;  /* id set: the document that is superseded */
    char document_ref[DRAFT_REF_SIZE], order_ref[DRAFT_REF_SIZE];
    char order_fid[FID_SIZE]; /* "" none is made */
};

/*
 * Before the Task is written: the draft gets the references, and a note where
 * the document is too long.
 *
 * task  0: a new one
 */
MUST_CHECK enum err beside_prepare(struct suggest *s, struct draft *d,
                                   int64_t task, struct beside_task *b);

/* After it is stored, as row; touched: a person has it in hand. */
MUST_CHECK enum err beside_store(struct suggest *s, struct draft *d,
                                 const struct resource *row, bool is_new,
                                 bool touched, struct beside_task *b);

void beside_clear(struct beside_task *b);

/* ---- between the files ----------------------------------------------------- */

/* Does the record get what is made now? */
bool beside_goes_out(const struct suggest *s);
/* Who, of what, when: as the Task of the draft says. */
struct fhir_companion beside_common(const struct draft *d,
                                    const struct companion *c);
/* suggest_document.c: the two steps for the document. */
MUST_CHECK enum err beside_document(struct suggest *s, struct draft *d,
                                    struct beside_task *b);
MUST_CHECK enum err beside_store_document(struct suggest *s,
                                          const struct resource *row,
                                          struct beside_task *b);

#endif
