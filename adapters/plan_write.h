/*
 * plan_write - a band plan for programs and for people
 *
 * plan_json  one object on one line, as config/plan.schema.json describes it.
 *            What is not known is null.  Numbers are rounded to what a person
 *            may rely on: flow 1 mL/min, probability 0.001, pressure 0.1 mmHg,
 *            index 0.01, reduction 0.1 %, diameters as they were given.  The
 *            last member, sha256, is the digest of the document without it:
 *            of the bytes before its comma, and the closing brace.
 *
 * plan_text  for the operator, at most PLAN_TEXT_COLUMNS wide.
 *
 * Neither holds what changes with the clock: equal readings and policy, equal
 * bytes.  Decision support: both say so.
 */
#ifndef HEADGATE_ADAPTERS_PLAN_WRITE_H
#define HEADGATE_ADAPTERS_PLAN_WRITE_H

#include "adapters/buf.h"
#include "adapters/zone.h"
#include "planner/plan_from.h"

enum {
    PLAN_TEXT_COLUMNS = 80,
    PLAN_DOCUMENT_MAX = 262144 /* a ceiling of a buf that both keep to */
};

struct plan_document {
    const struct plan_from *from;
    const struct plan *plan;        /* NULL if none is offered */
    const struct plan_fault *fault; /* of PLAN_UNFIT; else NULL */
    const struct history *history;  /* what from's grounds point into */
    const struct policy *policy;
    const struct zone *zone; /* times are those of the site */
    const char *access;      /* label: "Left upper-arm fistula A-0101" */
    const char *patient;     /* text only: for people; NULL: not printed */
    /* "Observation/..." of each of from's grounds; NULL, or NULL for one:
     * not known here */
    const char *const *references;
};

/* Append; errors are those of the buf, see buf_ok(). */
void plan_json(const struct plan_document *d, struct buf *out);
void plan_text(const struct plan_document *d, struct buf *out);
/* During a case: what was done, what now, the card, and what speaks against
 * relying on it; or why there is no plan. */
void plan_text_case(const struct plan_document *d, struct buf *out);

#endif
