/*
 * quarantine - what came and could not be taken in, kept whole
 *
 * Store thread only.  A reading that is in the store and that no rule sees is
 * "held" (held.h); what could not even become a resource stands here: a
 * message of HL7 v2 with a bad segment, a line of a file, an entry of the
 * record.  Nothing of it is lost, and nothing is used before a person or a
 * later, better message has dealt with it.
 */
#ifndef HEADGATE_SERVICE_QUARANTINE_H
#define HEADGATE_SERVICE_QUARANTINE_H

#include "adapters/fhir_read.h"
#include "service/db.h"

/* Stored: add at the end. */
enum quarantine_way {
    QUARANTINE_POLL = 1,
    QUARANTINE_HOOK,
    QUARANTINE_BULK,
    QUARANTINE_BY_ID,
    QUARANTINE_HL7,
    QUARANTINE_FILE,
    QUARANTINE_HTTP
};

enum quarantine_state {
    QUARANTINE_OPEN,
    QUARANTINE_RELEASED,
    QUARANTINE_DISCARDED,
    QUARANTINE_CAME_AGAIN
};

/* Open rows; beyond them the store refuses.  Of what has a sign of emergency in
 * it so many more are kept. */
enum { QUARANTINE_MAX = 50000, QUARANTINE_URGENT_MAX = 5000 };

struct quarantine_row {
    int64_t at_ms;
    enum quarantine_way way;
    const char *source;        /* profile, client, folder; "record" */
    enum fhir_type kind;       /* FHIR_OTHER: not known, or HL7 v2 */
    const char *remote;        /* its id at the record; NULL */
    int64_t file, line, start; /* where it stood in a file; 0 */
    int status;                /* that a direct POST would have got; 0 */
    const char *reason;        /* a word of outcome.h, static */
    const char *place;         /* in it: "OBX[3]-5", "Observation.status" */
    const char *text;          /* for a person; no value of a patient */
    int64_t message;           /* of hl7_message; 0 none */
    bool urgent;               /* a sign of emergency may be in it */
    bool carries;        /* one was read in it, and is kept only with it */
    const char *patient; /* the number that it names; NULL: none */
    const char *body;    /* NULL: it is with the message, or nowhere */
    size_t len;
};

/*
 * quarantine_add - keep it; *id: its number, one of the store's own
 *
 * What a sender sends again byte for byte, and still waits here or was
 * discarded, is not added twice: *id is then the number it has.
 *
 * ERR_LIMIT  QUARANTINE_MAX are open, and it has no such sign, or there is no room
 *            for that either: the sender must not be told that it was kept
 */
MUST_CHECK enum err quarantine_add(struct db *db,
                                   const struct quarantine_row *row,
                                   int64_t *id);

/* The same; *fresh: it was not there yet, and is to be counted. */
MUST_CHECK enum err quarantine_add_new(struct db *db,
                                       const struct quarantine_row *row,
                                       int64_t *id, bool *fresh);

/* What was quarantined of this message is dealt with. */
MUST_CHECK enum err quarantine_close_message(struct db *db, int64_t message,
                                             enum quarantine_state state,
                                             int64_t now_ms);

/* What waits of this resource of the record is dealt with: it came again;
 * but for one row, 0 none. */
MUST_CHECK enum err quarantine_close_remote(struct db *db, enum fhir_type kind,
                                            const char *remote, int64_t but,
                                            int64_t now_ms);

/*
 * quarantine_close - a person's word, or what came of looking again
 *
 * ERR_ABSENT  no such row is open
 */
MUST_CHECK enum err quarantine_close(struct db *db, int64_t id,
                                     enum quarantine_state state,
                                     const char *who, const char *why,
                                     int64_t now_ms);

/* What has been dealt with is kept for 180 days, and the newest 20000. */
MUST_CHECK enum err quarantine_trim(struct db *db, int64_t now_ms);

/* "poll", "hl7" ... : static, safe for a metric. */
const char *quarantine_way_word(enum quarantine_way way);

#endif
