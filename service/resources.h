/*
 * resources - what came and what we made, by identity and version
 *
 * Store thread only.  The bytes of what came stand once, in the journal; a
 * version says where in it they lie.  What we make (Tasks) is kept with the
 * version itself.  What is put or served is seen for the audit trail, see
 * audit_whom.h.
 */
#ifndef HEADGATE_SERVICE_RESOURCES_H
#define HEADGATE_SERVICE_RESOURCES_H

#include "adapters/buf.h"
#include "adapters/fhir_read.h"
#include "service/db.h"

enum message_source {
    SOURCE_HTTP = 1, /* a direct POST or PUT */
    SOURCE_FEED = 2  /* a file, a collection: what is unclear is held */
};

/* BODY_MAX: no message is larger; the range of http.body_max ends here. */
enum {
    FID_SIZE = 72,
    BODY_MAX = 8 * 1024 * 1024,
    /* A Task as a person may send it, and with what is added to it here. */
    TASK_TAKEN_MAX = 1024 * 1024,
    TASK_MAX = 2 * TASK_TAKEN_MAX
};

struct resource {
    int64_t id; /* 0: not stored */
    enum fhir_type kind;
    char fid[FID_SIZE]; /* id in FHIR */
    int version;
    int64_t updated_ms;
    int status;       /* enum reading_status for an Observation, else 0 */
    int64_t issued_s; /* Observation.issued, 0 if not said */
};

/* The partition of an access or patient. */
int64_t partition_of(int64_t id);

/* Look up: ERR_ABSENT if there is none. */
MUST_CHECK enum err resource_by_fid(struct db *db, enum fhir_type kind,
                                    const char *fid, struct resource *r);
/* The same, as it is served: a Task that was never posted is not there. */
MUST_CHECK enum err resource_shown(struct db *db, enum fhir_type kind,
                                   const char *fid, struct resource *r);
/* By the key of its first identifier (see resource_ident). */
MUST_CHECK enum err resource_by_ident(struct db *db, enum fhir_type kind,
                                      const char *ident, struct resource *r);
MUST_CHECK enum err resource_get(struct db *db, int64_t id, struct resource *r);
/* By any identifier; ERR_AMBIGUOUS if several have it. system may be "". */
MUST_CHECK enum err resource_by_identifier(struct db *db, enum fhir_type kind,
                                           const char *system,
                                           const char *value,
                                           struct resource *r);
/* The first identifier of a resource; ERR_ABSENT. */
MUST_CHECK enum err resource_first_identifier(struct db *db, int64_t id,
                                              struct buf *system,
                                              struct buf *value);

/* Keep a message; *seq is its number. */
MUST_CHECK enum err journal_add(struct db *db, enum message_source source,
                                int64_t received_ms, const char *body,
                                size_t len, int64_t *seq);

/* A message as it came, appended to out (empty, of at least BODY_MAX). */
MUST_CHECK enum err journal_read(struct db *db, int64_t seq, struct buf *out);

struct search_site;

/* One new version of a resource: where its bytes are. */
struct new_version {
    int64_t journal;             /* 0: body counts */
    size_t start, len;           /* in the journal's message */
    const unsigned char *digest; /* 32 bytes; NULL for ours */
    const char *body;            /* the bytes; kept here where they are ours */
    int64_t patient;             /* whose it is, where known: for the trail */
    const struct search_site *site; /* of the dates and references in body;
                                       NULL: dates are those of UTC */
};

/*
 * resource_put - add (r->id 0: id, fid and kind given by the caller's r
 * except id) or update with the next version; r is brought up to date
 *
 * ident  identity key to store with it; NULL for none or unchanged
 */
MUST_CHECK enum err resource_put(struct db *db, struct resource *r,
                                 const char *ident, int64_t part,
                                 int64_t now_ms, const struct new_version *v);

/* Is this content already the newest version? */
MUST_CHECK enum err resource_is_same(struct db *db, const struct resource *r,
                                     const unsigned char digest[32],
                                     bool *same);

/*
 * resource_body - the bytes of a version as they came, appended to out
 *
 * version     0: the newest
 * updated_ms  out: of that version
 * ERR_ABSENT  no such version
 */
MUST_CHECK enum err resource_body(struct db *db, const struct resource *r,
                                  int version, struct buf *out,
                                  int64_t *updated_ms);

/* The same with id and meta written anew, as it is served. */
MUST_CHECK enum err resource_served(struct db *db, const char *base,
                                    const struct resource *r, int version,
                                    struct buf *out, int64_t *updated_ms);

/* An id for what we name ourselves: 32 hexadecimal digits, the first twelve
 * of the time, the rest random. */
void new_fid(char fid[FID_SIZE]);

/* "urn:uuid:..." of an id that is 32 hexadecimal digits. */
void resource_urn(const char *fid, char urn[48]);

#endif
