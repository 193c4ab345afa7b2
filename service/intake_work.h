/*
 * intake_work - one item on its way in; private to intake*.c
 *
 *     intake.c            the way of a message, and of each item in it
 *     intake_identity.c   which stored resource it is, and whose
 *     intake_condition.c  what the sender makes it depend on
 *     intake_late.c       what came behind its own correction
 *     intake_refs.c       items that refer to each other
 */
#ifndef HEADGATE_SERVICE_INTAKE_WORK_H
#define HEADGATE_SERVICE_INTAKE_WORK_H

#include "service/intake.h"

enum { IDENT_SIZE = 900 };

struct entry {
    struct intake *in;
    struct fhir_item *item;
    struct intake_result *result;
    struct resource row; /* of what is stored; id 0: new */
    char ident[IDENT_SIZE];
    char fid[FID_SIZE]; /* found by a condition; "" none */
    bool beside;        /* kept beside the result that stands, see entry_late */
};

void entry_refuse(struct entry *e, int status);
/* Answer with what is already there. */
void entry_found(struct entry *e, int status);

/* Which stored resource is this one?  row.id stays 0 for a new one; where that
 * is not clear the entry is refused. */
MUST_CHECK enum err entry_identify(struct db *db, struct entry *e);

/*
 * A report that comes after a newer one of itself must not bring back what
 * was put right: one issued before that one, one that is preliminary after
 * the final one, a first report after its correction or withdrawal.  A
 * withdrawal always counts, and a PUT is the owner's word, and stands.
 */
bool entry_is_out_of_order(const struct entry *e);

/* Whose it is; a Patient is known by its own id.  *patient 0: of a withdrawal
 * that names nobody.  Refuses what is of nobody, or of two. */
MUST_CHECK enum err entry_patient(struct db *db, struct entry *e,
                                  int64_t *patient);

/* Refuse it, since it says of who or what it is otherwise than is known:
 * ERR_CONFLICT, and what was put is to be undone. */
MUST_CHECK enum err entry_clash(struct entry *e, const char *place,
                                const char *text);

/*
 * entry_condition - If-None-Exist of a create, and what stands behind the "?"
 * of an update: which stored resource is meant (e->fid), or whether there is
 * anything to be done.  *done: the entry is answered.
 *
 * Source: HL7 FHIR R4 (4.0.1), http.html, 3.1.0.8.1 and 3.1.0.4.3.
 */
MUST_CHECK enum err entry_condition(struct db *db, struct entry *e, bool *done);

/*
 * entry_late - an Observation that came behind its own correction, or behind a
 * newer report, and is not used
 *
 * A sign of emergency in it is not dropped: it becomes a resource of its own,
 * under a key that its content makes, and all of it is held.
 *
 * dropped  out: there is nothing in it that people have to see
 */
MUST_CHECK enum err entry_late(struct db *db, struct entry *e, bool *dropped);

/* If-Match and If-None-Match, against the row that was identified; refuses. */
void entry_match(struct entry *e);

#endif
