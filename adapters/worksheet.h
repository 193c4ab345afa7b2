/*
 * worksheet - the plan and the history of an access on one printable page
 *
 * For whoever stands at the table: who and which access, flows over time with
 * methods told apart, limits and interventions; below them pressures and
 * Kt/V; each dowel with its uncertainty against the target zone; what to do at
 * each measured flow; the hand; what opening the outflow would do, with and
 * without a band; what is missing; the sources of the limits; cautions;
 * version and time.  One page, A4 or Letter, black on white.
 *
 * Without a plan the page says why there is none and shows the history.  What
 * does not fit is cut with a word that says so, never silently and never in
 * the card, the target or a warning.
 *
 * Words come from the catalogue (catalogue.h), numbers in its form.  Decision
 * support: the page says so at its top.
 */
#ifndef HEADGATE_ADAPTERS_WORKSHEET_H
#define HEADGATE_ADAPTERS_WORKSHEET_H

#include "adapters/canvas.h"
#include "adapters/plan_write.h"
#include "planner/rules.h"

enum { WORKSHEET_MAX = 4194304 }; /* a ceiling of a buf that a page keeps to */

/* All text is borrowed, UTF-8; NULL or "": not known, and said to be so. */
struct worksheet {
    const struct plan_document *plan; /* its history, policy and zone are those
                                         of the page; plan->plan NULL: none */
    const struct findings *findings;  /* what holds now; NULL: not looked at */
    const char *patient_name, *patient_number;
    const char *born; /* "1957-03-02" */
    const char *unit; /* where the patient is dialysed */
    const char *access;
    const char *seen; /* of the leading suggestion, one line; NULL: none */
    int64_t made_s;   /* when the page is made */
    enum canvas_paper paper;
};

/*
 * worksheet_draw - append the page
 *
 * ERR_MEMORY, ERR_LIMIT, ERR_IO  of canvas_close()
 */
MUST_CHECK enum err worksheet_draw(const struct worksheet *sheet,
                                   enum canvas_form form, struct buf *out);

#endif
