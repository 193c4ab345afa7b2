/*
 * companions - what stands beside a Task: which there are, new versions of them
 *
 * Store thread only.  A companion is a resource of ours like a Task; a row of
 * companion says to which Task it belongs, and one of outbox that the record
 * should have it.
 */
#ifndef HEADGATE_SERVICE_COMPANIONS_H
#define HEADGATE_SERVICE_COMPANIONS_H

#include "adapters/canvas.h"
#include "service/resources.h"

/* What is made beside each Task, by the settings record.*; a Task that was made
 * in silent mode has none. */
struct companion_options {
    bool documents;  /* a DocumentReference of the plan that it carries */
    bool worksheets; /* the worksheet in it, PDF */
    enum canvas_paper paper;
    bool proposals; /* a ServiceRequest, which becomes the focus */
    bool flags;     /* a Flag while a finding stands, see suggest_companion.c */
    bool provenance;   /* where the Task comes from */
    size_t inline_max; /* bytes of a document, before base64 */
};

enum { COMPANION_KEY_SIZE = 96 };

struct companion {
    int64_t task;
    enum fhir_type kind;
    struct resource row;          /* id 0: there is none yet */
    char key[COMPANION_KEY_SIZE]; /* value of its identifier; "" a Provenance */
};

/* The one of this kind; row.id is 0 if there is none. */
MUST_CHECK enum err companion_get(struct db *db, int64_t task,
                                  enum fhir_type kind, struct companion *c);

/*
 * companion_put - a new version, or a new one (row.id 0, with a fid)
 *
 * c       task, kind, row and key; row is brought up to date.  A new one takes
 *         the place of one of the same kind, which stays a resource
 * part    partition of the access
 * record  it goes to the record, too: at once, if it is one that goes by itself
 *         and its Task is there, else with its Task
 */
MUST_CHECK enum err companion_put(struct db *db, struct companion *c,
                                  int64_t part, int64_t now_ms,
                                  const struct buf *json, bool record);

/* The newest version, appended to out. */
MUST_CHECK enum err companion_body(struct db *db, const struct companion *c,
                                   struct buf *out);

/* The Flag of a Task, if it has one, says no longer that a finding stands;
 * record as above. */
MUST_CHECK enum err companion_end_flag(struct db *db, int64_t task,
                                       int64_t part, int64_t now_ms,
                                       bool record);

/* The same because a person, here or at the record, has ended the Task: the
 * record is told if it was to have the Flag. */
MUST_CHECK enum err companion_follow(struct db *db, int64_t task,
                                     int64_t now_ms);

/* Silent mode has ended, or there is a record for the first time: what belongs
 * to a Task that goes there goes there, too. */
MUST_CHECK enum err companion_catch_up(struct db *db, int64_t now_ms);

#endif
