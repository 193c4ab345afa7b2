/*
 * fhir_companion - what goes to a record beside a Task
 *
 *     DocumentReference  the plan that the Task carries: the worksheet, a text
 *                        to read, and data
 *     ServiceRequest     what the Task suggests, as a proposal: never an order
 *     Flag               a line on the patient's chart while a finding stands
 *     Provenance         who made the Task, of which readings, by which rule
 *
 * Each is valid R4 and says, where people read it, that it is decision support.
 * Source of shapes, code systems and their meaning: HL7 FHIR R4 (4.0.1).
 *
 *     fhir_companion.c        the writers
 *     fhir_companion_merge.c  ours and the record's become one
 */
#ifndef HEADGATE_ADAPTERS_FHIR_COMPANION_H
#define HEADGATE_ADAPTERS_FHIR_COMPANION_H

#include "adapters/fhir_write.h"

/* What is said alike in all of them; strings are borrowed for the call. */
struct fhir_companion {
    const char *base, *id;
    const char *key; /* identifier value, NamingSystem/task-key; not of a
                        Provenance, which has none in R4 */
    struct fhir_out_ref patient, access, author, task;
    int64_t at_ms; /* date, authoredOn, period.start, recorded */
};

enum { FHIR_REASONS_MAX = TASK_INPUTS_MAX };

/* A plan as a document.  data that is NULL is left out. */
struct fhir_document {
    struct fhir_companion of;
    const char *title;
    const char *sheet; /* the worksheet, PDF; NULL: left out */
    size_t sheet_len;
    const char *text; /* for people, UTF-8; NULL: none is written */
    size_t text_len;
    const char *json; /* for programs; NULL: left out */
    size_t json_len;
    const char *replaces; /* "DocumentReference/...": of before; NULL: none */
};

/*
 * fhir_document_write - a DocumentReference, status current, docStatus
 * preliminary: a person has not signed it
 *
 * In content, as far as they are there: the worksheet (application/pdf), the
 * text (text/plain; charset=utf-8), the data (application/json); all inline,
 * with size in bytes and hash (base64 of SHA-1, as R4 says of Attachment.hash).
 *
 * ERR_RANGE  there is none of them; ERR_LIMIT, ERR_MEMORY of the buffer
 */
MUST_CHECK enum err fhir_document_write(const struct fhir_document *d,
                                        struct buf *out);

/*
 * fhir_document_retire - the same document, no longer to be gone by
 *
 * status becomes superseded, description says why.  Of the three words that R4
 * has, current would be untrue and entered-in-error would say that it should
 * never have been: it was right when it was made.  A plan that is made later
 * for the same Task is another DocumentReference, which replaces this one.
 *
 * ERR_FORM  json is no DocumentReference
 */
MUST_CHECK enum err fhir_document_retire(const char *json, size_t len,
                                         const char *why, struct buf *out);

struct fhir_proposal {
    struct fhir_companion of;
    const char *code, *code_display; /* of CodeSystem av-task */
    const char *text;                /* what is suggested, for people */
    const char *priority;
    size_t reason_count;
    struct fhir_out_ref reasons[FHIR_REASONS_MAX]; /* Observations */
};

/* A ServiceRequest, intent proposal, status draft. */
MUST_CHECK enum err fhir_proposal_write(const struct fhir_proposal *p,
                                        struct buf *out);
/* The same, status revoked, with a note.  ERR_FORM: no ServiceRequest. */
MUST_CHECK enum err fhir_proposal_revoke(const char *json, size_t len,
                                         const char *why, int64_t at_ms,
                                         struct buf *out);

struct fhir_flag {
    struct fhir_companion of;
    const char *code, *code_display; /* of CodeSystem av-task: the reason */
};

/* A Flag, status active. */
MUST_CHECK enum err fhir_flag_write(const struct fhir_flag *f, struct buf *out);
/* The same, inactive, with the end of its period (never before its start); one
 * that has ended stays as it is.  ERR_FORM: no Flag. */
MUST_CHECK enum err fhir_flag_end(const char *json, size_t len, int64_t at_ms,
                                  struct buf *out);

struct fhir_source {
    struct fhir_companion of;     /* task: with its version */
    struct fhir_out_ref document; /* literal NULL: none */
    const char *rule, *policy_version;
    size_t source_count;
    struct fhir_out_ref sources[FHIR_REASONS_MAX]; /* with their versions */
};

/* A Provenance, activity CREATE, of a Task and its document. */
MUST_CHECK enum err fhir_provenance_write(const struct fhir_source *s,
                                          struct buf *out);

/*
 * fhir_companion_merge - bring one of ours to a record that may have changed it
 *
 * type    FHIR_DOCUMENT_REFERENCE, _SERVICE_REQUEST, _FLAG, _PROVENANCE or
 *         _LIST (see fhir_list.h), whose entries are always ours
 * ours    our newest version, in the words of the record (fhir_localise)
 * theirs  the record's newest
 *
 * Theirs is the base: its id and what only it has stay, byte for byte; what
 * ours says takes the place of what it says.  meta and the narrative are left
 * out: the server writes the one, and the other would tell of before.  But
 *     a ServiceRequest that is no draft there has been taken up by a person, a
 *     Flag that is not active there was ended, a DocumentReference that is not
 *     current there was put aside: nothing is to be sent
 *     a DocumentReference that a person has signed (docStatus other than
 *     preliminary) stays as it is but for its status, which may become
 *     superseded
 *     a Provenance is written once: nothing is to be sent
 * *same is true if there is nothing to send; out is then what they have.
 *
 * ERR_FORM  one of the two is no resource of this type
 */
MUST_CHECK enum err fhir_companion_merge(enum fhir_type type, const char *ours,
                                         size_t ours_len, const char *theirs,
                                         size_t theirs_len, bool *same,
                                         struct buf *out);

#endif
