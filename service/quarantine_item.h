/*
 * quarantine_item - one thing that a person has named by its number: an
 * Observation of which something is held, or a whole input in quarantine
 *
 * Store thread only.
 */
#ifndef HEADGATE_SERVICE_QUARANTINE_ITEM_H
#define HEADGATE_SERVICE_QUARANTINE_ITEM_H

#include "service/hl7_senders.h"
#include "service/quarantine.h"
#include "service/resources.h"
#include "service/verdicts.h"

/* By what things are read again; all borrowed. */
struct quarantine_site {
    struct fhir_reader reader;
    struct codes *codes; /* the reader's, for adding to it */
    const struct hl7_senders *senders;
    const char *record; /* base of the record; "" none */
    const struct zone *zone;
    bool merge_implied;
    int64_t now_ms;
};

struct quarantine_item {
    int64_t number;
    bool held; /* an Observation; else a row of quarantine */
    /* of an Observation */
    struct resource row;
    unsigned held_count;
    int64_t patient; /* whose what is held is; 0 nobody known */
    /* of a row */
    int64_t at_ms, file, line, start, message, done_ms;
    enum quarantine_way way;
    enum quarantine_state state;
    enum fhir_type kind;
    int status;
    char source[128], reason[64], place[160], text[256], remote[FID_SIZE];
    char who[VERDICT_WORDS_SIZE], why[VERDICT_WORDS_SIZE];
};

/*
 * quarantine_find - by "4711", or "Observation/ID"
 *
 * ERR_ABSENT  neither a row nor an Observation; ERR_FORM  not a name of one
 */
MUST_CHECK enum err quarantine_find(struct db *db, const char *name,
                                    struct quarantine_item *item);

/*
 * The bytes as they came, appended to out: of the message, of the row, or of
 * the Observation.  ERR_ABSENT  they were not kept
 */
MUST_CHECK enum err quarantine_bytes(struct db *db,
                                     const struct quarantine_item *item,
                                     struct buf *out);

/* The message of HL7 v2 of which this Observation's version was made; 0. */
MUST_CHECK enum err quarantine_message_of(struct db *db,
                                          const struct resource *row,
                                          int64_t *message);

/* Stored: add at the end. */
enum deed_act {
    DEED_MAP_CODE = 1,
    DEED_MAP_UNIT,
    DEED_PLACE, /* an access or a side was said */
    DEED_RELEASE,
    DEED_AS_SENT,
    DEED_DISCARD,
    DEED_UNDISCARD,
    DEED_UNMAP, /* item: the mapping; known to statements.h as 8 */
    /* item: the Task; detail: to whom, or until when */
    DEED_TASK_TAKE,
    DEED_TASK_HAND,
    DEED_TASK_PUT_OFF,
    DEED_TASK_DECLINE,
    DEED_TASK_DONE,
    DEED_ACCESS_MERGE /* item: the access that was merged; detail: into which */
};
const char *deed_word(enum deed_act act);

struct deed {
    int64_t item;
    enum deed_act act;
    const char *detail; /* what it was mapped to, or put to; "" */
    unsigned settled;
    const char *who, *why;
    int64_t now_ms;
};
/* Keep what a person did; number: of the deed, may be NULL. */
MUST_CHECK enum err deed_add(struct db *db, const struct deed *deed,
                             int64_t *number);

#endif
