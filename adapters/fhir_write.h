/*
 * fhir_write - FHIR R4 JSON out
 *
 * Everything that headgate emits.  Output is valid R4 by construction and by
 * test against independent validators.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_WRITE_H
#define HEADGATE_ADAPTERS_FHIR_WRITE_H

#include "adapters/buf.h"
#include "adapters/fhir_plan.h"
#include "adapters/fhir_read.h"
#include "adapters/outcome.h"

/* An OperationOutcome.  prefix: put before each place ("Bundle.entry[3].
 * resource"), NULL for none: with a prefix, the leading resource type of a
 * place is replaced by it.  An outcome without issues says "all ok". */
void fhir_write_outcome(const char *base, const struct outcome *o,
                        const char *prefix, struct buf *out);

/* The response to one Bundle entry. */
struct fhir_response {
    int status;           /* 201 */
    const char *location; /* "Observation/o1/_history/1"; NULL for none */
    const char *etag;     /* W/"1"; NULL for none */
    int64_t modified_ms;  /* 0 for none */
    const struct outcome *outcome; /* NULL or empty: none is written */
};
/* batch-response or transaction-response (also used, as batch-response, for
 * a collection). */
void fhir_write_bundle_response(const char *base, bool transaction,
                                const struct fhir_response *responses,
                                size_t count, struct buf *out);

/*
 * A searchset or history: begin, entries, end, into one buffer that nothing
 * else is written to in between.
 *
 * total     negative: not known, not said
 * next_url  NULL: the last page
 * mode      "match", "include", "outcome"; NULL in a history, where the entry
 *           says instead which version it is (from the meta of json)
 */
struct fhir_link {
    const char *relation, *url; /* url NULL: this one is left out */
};
void fhir_write_bundle_begin(const char *type, long long total,
                             const struct fhir_link *links, size_t count,
                             struct buf *out);
void fhir_write_searchset_begin(const char *type, long long total,
                                const char *self_url, const char *next_url,
                                struct buf *out);
void fhir_write_searchset_entry(const char *full_url, const char *json,
                                size_t len, const char *mode, bool first,
                                struct buf *out);
void fhir_write_searchset_end(struct buf *out);

/* meta of a stored version: {"versionId":"3","lastUpdated":"..."}; tag: a
 * code of CodeSystem av-task, NULL for none. */
void fhir_write_meta(const char *base, int version, int64_t updated_ms,
                     const char *tag, struct buf *out);

/* A reference as emitted: literal or logical; display may be NULL. */
struct fhir_out_ref {
    const char *literal;        /* "Patient/p-1001"; NULL: logical */
    const char *system, *value; /* identifier of a logical reference */
    const char *type, *display;
    const char *version; /* of a literal: "/_history/" and this follow it; NULL:
                            whatever is the newest */
};

enum fhir_input_kind {
    INPUT_TRIGGER,   /* ref: a reading it rests on */
    INPUT_THRESHOLD, /* value + unit of UCUM, or text */
    INPUT_DUE,       /* date: when to measure again */
    /* never in inputs[]: see plan, worksheet and access of struct fhir_task */
    INPUT_PLAN,
    INPUT_WORKSHEET,
    INPUT_ACCESS
};
struct fhir_task_input {
    enum fhir_input_kind kind;
    struct fhir_out_ref ref;
    double value;     /* THRESHOLD; NAN: text instead */
    const char *unit; /* UCUM code, also shown as the unit's text */
    const char *text; /* THRESHOLD as text; DUE: YYYY-MM-DD */
};

enum { TASK_INPUTS_MAX = 80 };

struct fhir_task {
    const char *base, *id;
    const char *key;     /* identifier value: NamingSystem/task-key */
    const char *episode; /* groupIdentifier value: NamingSystem/episode */
    const char *rule;    /* "HF-1": instantiatesUri <base>/rules/HF-1|v */
    const char *policy_version;
    const char *status;        /* "requested", "cancelled" */
    bool put_off;              /* requested, and a person has put it off */
    const char *status_reason; /* NULL for none */
    const char *priority;      /* routine urgent asap stat */
    const char *code; /* of CodeSystem av-task: refer-flow-review ... */
    const char *code_display;
    const char *reason_code; /* of CodeSystem av-task: high-flow ... */
    const char *reason_display;
    const char *description;
    const char *note; /* text of a note to add; NULL for none */
    bool narrative;   /* with a text (R4, Narrative) made from these words */
    struct fhir_out_ref focus, patient, requester, reason;
    const char *part_of; /* "Task/..." or NULL */
    int64_t authored_ms, modified_ms;
    int64_t start_s, due_s; /* restriction.period */
    size_t input_count;
    struct fhir_task_input inputs[TASK_INPUTS_MAX];
    const struct fhir_plan *plan; /* NULL: none, or none that is new */
    bool plan_gone;               /* amending: take out the one that is there */
    struct fhir_out_ref worksheet; /* the plan as a document, only beside plan;
                                      literal NULL: there is none */
    struct fhir_out_ref access; /* where focus is a ServiceRequest; literal and
                                   value NULL: the focus is the access */
};

/* The Task as first put to people (meta is not written: see fhir_respell). */
MUST_CHECK enum err fhir_task_write(const struct fhir_task *t, struct buf *out);

/*
 * fhir_task_amend - an existing Task with what is new
 *
 * touched  false: ours alone: description, priority, reasons, restriction,
 *          instantiatesUri and status (with statusReason, and businessStatus
 *          unless a person gave it another) are replaced by those of t; what t does not say (NULL, or a due_s
 *          of 0) stays as it is, but for statusReason, which goes with status.
 *          true: a person has changed it: only inputs and a note are added.
 * A narrative that we made is made anew from what the Task then says; one that
 * a person wrote stays.
 * Inputs of t that are not there yet (same kind and same reference or value)
 * are appended in both cases; if t->note is not NULL it is appended;
 * lastModified becomes t->modified_ms (never before authoredOn).  The plan is
 * ours whoever has the Task, and so is its document: t->plan with t->worksheet
 * takes the place of what is there, t->plan_gone takes it out, and with neither
 * it stays.
 *
 * ERR_FORM   json is not a Task
 */
MUST_CHECK enum err fhir_task_amend(const char *json, size_t len,
                                    const struct fhir_task *t, bool touched,
                                    struct buf *out);

/*
 * fhir_task_merge - bring a Task of ours to a record that may have changed it
 *
 * ours    our newest version; theirs  the record's newest
 * If theirs is still "requested": ours, with their id (and without meta),
 * keeping notes, owner, businessStatus and inputs that only they have.
 * Else theirs, with the inputs and notes of ours that it lacks.
 * The plan and its document are always as in ours: replaced, or taken out.
 * *same is true if theirs already says all this (nothing to send).
 */
MUST_CHECK enum err fhir_task_merge(const char *ours, size_t ours_len,
                                    const char *theirs, size_t theirs_len,
                                    bool *same, struct buf *out);

/*
 * fhir_task_yield - ours, with what a person changed in theirs
 *
 * sent  our version that the record got last
 * Where the priority of theirs is other than it was sent, a person has changed
 * it, and it stands, unless ours has risen above both.  Before fhir_task_merge,
 * as long as nobody has taken the Task in hand.
 *
 * ERR_FORM  one of them is no Task
 */
MUST_CHECK enum err fhir_task_yield(const char *ours, size_t ours_len,
                                    const char *sent, size_t sent_len,
                                    const char *theirs, size_t theirs_len,
                                    struct buf *out);

/* What we follow of a Task: its status word and whether it is known. */
struct fhir_task_view {
    char id[72];
    char status[24];
    char priority[16]; /* "" if none */
    char reason[200];  /* statusReason text or display, "" if none */
};
MUST_CHECK enum err fhir_task_view(const char *json, size_t len,
                                   struct fhir_task_view *view);

/*
 * fhir_localise - for a record: replace references that only we know
 *
 * Every "reference" in json (a resource of any type) is given to map(); it
 * fills a reference to be written instead (literal or logical), or returns
 * false to leave it, byte for byte.  display and type are kept.
 *
 * Of a reference to a version ("Task/t1/_history/1") map() is given what
 * stands before "/_history/"; if its literal has such a version there, it says
 * which in out->version, and the new reference is to that version
 * ("Task/77/_history/2").  With version NULL, as it is preset, or a logical
 * reference, none is named: ours mean nothing there.  out->version counts for
 * nothing where json named no version.
 */
typedef bool (*fhir_map_ref_fn)(void *arg, const char *literal,
                                struct fhir_out_ref *out);
MUST_CHECK enum err fhir_localise(const char *json, size_t len,
                                  fhir_map_ref_fn map, void *arg,
                                  struct buf *out);

/*
 * fhir_task_person_update - may a person's PUT replace this Task?
 *
 * Checks form and R4 rules of Task (status and intent required and in their
 * value sets, inv-1), and that identifier, intent, for, focus, code and
 * authoredOn are unchanged and the status change is one that Task allows:
 * requested -> received accepted rejected cancelled; received, accepted ->
 * ready in-progress on-hold rejected completed failed cancelled; ...; final
 * states only change to entered-in-error.  Problems go to o with places.
 */
void fhir_task_person_update(const char *old_json, size_t old_len,
                             const char *new_json, size_t new_len,
                             struct outcome *o);

struct fhir_capability {
    const char *base, *version, *url;
    int64_t date_s;
    bool needs_token;
};
/* CapabilityStatement of exactly what is served: see fhir_served.h and
 * fhir_search.h, by which the routes and the search go as well. */
void fhir_write_capability(const struct fhir_capability *c, struct buf *out);

/*
 * fhir_sole_match - the id of the only match of a search by identifier, for
 * looking up in a record; system "": an identifier without one
 *
 * ERR_ABSENT     none; ERR_AMBIGUOUS several
 * ERR_CONFLICT   one that does not have the identifier: the server passes over
 *                what it is asked, and whom it shows is somebody else
 * ERR_FORM       no answer to a search
 */
MUST_CHECK enum err fhir_sole_match(const char *json, size_t len,
                                    const char *system, const char *value,
                                    char id[72]);

#endif
