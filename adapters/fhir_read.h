/*
 * fhir_read - FHIR R4 JSON in: resources and Bundles as structures
 *
 * Reads one body: an Observation, a BodyStructure, a Patient, or a Bundle of
 * them.  Everything that can be said about a resource from its own bytes is
 * said here: form, required elements, the R4 invariants that matter, codes,
 * units, times, plausibility.  What needs the store (which access is meant)
 * is left to the caller.
 *
 * All strings are borrowed from the document and live as long as it.
 *
 * Source of shapes and rules: HL7 FHIR R4 (4.0.1).
 */
#ifndef HEADGATE_ADAPTERS_FHIR_READ_H
#define HEADGATE_ADAPTERS_FHIR_READ_H

#include "adapters/codes.h"
#include "adapters/fhir_time.h"
#include "adapters/outcome.h"
#include "planner/reading.h"

enum fhir_type {
    FHIR_OTHER,
    FHIR_OBSERVATION,
    FHIR_BODY_STRUCTURE,
    FHIR_PATIENT,
    FHIR_TASK,
    FHIR_BUNDLE,
    /* what we make beside a Task; none of them is taken in */
    FHIR_DOCUMENT_REFERENCE,
    FHIR_SERVICE_REQUEST,
    FHIR_FLAG,
    FHIR_PROVENANCE,
    FHIR_LIST /* of a dialysis unit */
};

enum bundle_type {
    BUNDLE_NONE, /* a single resource */
    BUNDLE_BATCH,
    BUNDLE_TRANSACTION,
    BUNDLE_COLLECTION /* a feed: what is unclear is held, not refused */
};

/* A Reference as sent; NULL for what is absent. */
struct fhir_ref {
    const char *literal; /* "Patient/p-1001", "urn:uuid:...", absolute URL;
                            never "#...": contained ones are resolved */
    const char *system, *value; /* of Reference.identifier */
    const char *type, *display;
};

struct fhir_identifier {
    const char *system, *value; /* system may be NULL */
};

/* Why a reading is kept back from the rules. */
enum hold {
    HOLD_NONE = 0,
    HOLD_UNIT,        /* unit missing or not convertible */
    HOLD_CODE,        /* code unclear: codings contradict, or map not equal */
    HOLD_IMPLAUSIBLE, /* outside the hard range, or looks like another unit */
    HOLD_SIDE,        /* the side of code, body site and access disagree, or
                         a side is needed and not said */
    HOLD_ACCESS,      /* which access is meant is not clear */
    HOLD_TIME,        /* in the future; or a sign of emergency that came at
                         once and says that it is old */
    HOLD_VALUE,       /* a sign whose value cannot be read */
    HOLD_OTHERWISE,   /* it says otherwise than a sign of emergency that
                         stands, and is no correction of it; or it came behind
                         the correction of its own key */
    HOLD_COUNT
};
const char *hold_word(enum hold h); /* "unit", "code", "implausible" ... */

enum {
    FHIR_READINGS_MAX = 64,
    FHIR_IDENTIFIERS_MAX = 4,
    FHIR_FOCUS_MAX = 4,
    FHIR_UNMAPPED_MAX = 8
};

struct fhir_reading {
    struct reading reading; /* id and version 0; slot set */
    enum hold hold;
    char hint[64];             /* for a person: "litres?"; "" if none */
    const char *system, *code; /* first coding of what was measured; NULL.
                                  Borrowed from the document */
    const char *region;        /* body site region word, "" if not said */
    bool access_arm; /* the site's map says that the hand is that of the
                           access, so that no side is needed */
    bool unread;     /* a sign of which the value cannot be read: HOLD_VALUE.
                        reading: what was asked for, not present, no value */
};

/* A sign of emergency, or one that may be: nobody could read its value. */
bool fhir_reading_is_urgent(const struct fhir_reading *r);

/* How the resource names its access; the resolver tries them in order. */
enum access_how {
    ACCESS_BY_FOCUS_REF,    /* focus.reference */
    ACCESS_BY_FOCUS_ID,     /* focus.identifier */
    ACCESS_BY_BODYSITE_EXT, /* R4 extension bodySite */
    ACCESS_BY_R5_EXT,       /* R5 cross-version extension bodyStructure */
    ACCESS_BY_CONTAINED,    /* contained BodyStructure (its identifier) */
    ACCESS_BY_SITE,         /* body site and side match one access */
    ACCESS_BY_SOLE,         /* the only active access of the patient */
    ACCESS_BY_IMPLIED,      /* none known: one is implied */
    ACCESS_BY_PERSON        /* somebody has said which */
};
const char *access_how_word(enum access_how h); /* "focus-ref" ... */

struct fhir_access_name {
    enum access_how how;
    struct fhir_ref ref;
};

/* A code that no map has: kept, and not used. */
struct fhir_unmapped {
    const char *system; /* NULL if it was sent without */
    const char *code;
    int slot;      /* of what it names, as of a reading: 0 the value, 1... */
    bool of_value; /* it is the value, not what was measured */
};

struct fhir_observation {
    const char *status; /* as sent */
    enum reading_status reading_status;
    struct fhir_ref subject;
    struct fhir_access_name names[FHIR_FOCUS_MAX]; /* in order of 2.1 */
    size_t name_count;
    struct body_site site;      /* of bodySite */
    struct fhir_time effective; /* start_s == end_s == 0 if absent */
    int64_t issued_s;           /* 0 if absent */
    const char *root_code;      /* "system|code" key of the first coding */
    const char *root_system;
    const char *derived_from[8]; /* literal references */
    size_t derived_count;
    const char *performer; /* display or reference of the first, may be NULL */
    struct fhir_unmapped unmapped[FHIR_UNMAPPED_MAX]; /* the first of them */
    size_t unmapped_count;
    struct fhir_reading *readings; /* at most FHIR_READINGS_MAX; borrowed */
    size_t reading_count;
    bool is_first;    /* set by the intake: nothing was stored of it before */
    bool owners_word; /* set by the intake: a new version of a resource that
                         is known by its id, which its owner may change */
    int64_t live_from_s; /* set by the intake: it came at once, and is of no
                            history; a sign of emergency that ended before this
                            has a time that nobody believes; 0: not so */
};

struct fhir_access {
    struct fhir_ref patient;
    bool active;    /* default true */
    enum sign type; /* SIGN_TYPE_*, SIGN_TYPE_UNKNOWN if not said */
    enum side side;
    const char *region; /* static word, "" if not said */
    const char *text;   /* location.text, else description, else NULL */
};

/* What is said of a death. */
enum fhir_death {
    DEATH_UNSAID,
    DEATH_NO,      /* said not to be dead */
    DEATH_YES,     /* dead */
    DEATH_DOUBTFUL /* something was said that nothing may rest on: a time in
                      the future or before the birth, or no value that can be
                      read */
};

struct fhir_patient {
    const char *family, *given; /* of the first name; NULL if absent */
    const char *name_text;
    const char *unit; /* managingOrganization display, else its identifier or
                         reference; NULL if absent */
    bool active;
    int64_t born_s; /* start of the day of birth at the site; of an incomplete
                       date the last day that it may mean, so that nobody is
                       taken to be older than he may be; INT64_MIN if absent */
    enum fhir_death death;
    char died[FHIR_TIME_SIZE]; /* DEATH_YES: the day at the site, or as much of
                                  it as was said: "2026-11-20", "2026-11",
                                  "2026"; "" the time is not known */
    int64_t died_start_s, died_end_s; /* of that time, end exclusive; INT64_MIN
                                         and INT64_MAX not known */
    int64_t told_s;                   /* when it was read */
    struct fhir_ref replaced_by; /* the Patient that a link of type replaced-by
                                    names, the first; all NULL: none */
    bool of_v2;                  /* set by the intake: made of HL7 v2, in which
                                  what is not said stays as it is */
};

struct json_t;

struct fhir_item {
    enum fhir_type type;
    const char *type_name;
    /* from the Bundle entry; for a single resource the caller fills in */
    const char *method; /* "POST", "PUT"; NULL in a collection */
    const char *url_id; /* id in the entry's request.url of a PUT */
    const char *full_url;
    const char *if_none_exist, *if_match, *if_none_match;
    const char *condition; /* of a PUT to "Type?identifier=..."; else NULL */
    const char *patch;     /* a JSON Patch instead of a resource; else NULL */
    size_t patch_len;
    const char *id;      /* resource.id, NULL if absent */
    size_t offset, len;  /* the resource's bytes in the body */
    struct json_t *tree; /* the resource as read, for fhir_search; borrowed from
                            the document */
    struct fhir_identifier identifiers[FHIR_IDENTIFIERS_MAX];
    size_t identifier_count;
    unsigned char digest[32]; /* SHA-256 of the content without id and meta,
                                 keys sorted, compact */
    /* Every error of the outcome stands for a hold (HOLD_UNIT, HOLD_CODE) of
     * a reading: a direct POST is refused, a feed may keep the item held. */
    bool only_held;
    bool of_search; /* no resource that was found: what a search says of
                       itself; nothing else of the item is read */
    union {
        struct fhir_observation observation;
        struct fhir_access access;
        struct fhir_patient patient;
    } u;
    /* Places are relative to the resource ("Observation.status"), or name the
     * entry where that is at fault ("Bundle.entry[3].request.url"). */
    struct outcome outcome;
};

struct fhir_doc; /* owns the JSON tree and the items */

struct fhir_reader {
    const struct codes *codes;
    const char *base;        /* canonical base of our CodeSystems */
    const char *self;        /* "http://host/fhir" of this service, as the
                                sender calls it; NULL: not known */
    const struct zone *zone; /* of the site */
    int64_t now_s;           /* for times in the future */
    size_t entries_max;
    bool searches; /* a searchset is taken, as a collection */
};

/*
 * fhir_read - read a body
 *
 * The body must outlive the document.  Depth is limited to 64; duplicate
 * keys, NUL bytes and bytes that are not UTF-8 are refused.
 *
 * ERR_FORM    not JSON, not a resource, or a Bundle that cannot be taken
 *             apart: outcome says why; *doc is not set
 * ERR_LIMIT   too many entries: outcome
 * ERR_MEMORY
 *
 * On ERR_OK each item has its own outcome; an item whose outcome refuses must
 * not be used, unless only_held says that it may be kept held.  Of a Task the
 * form alone is checked; whether one is taken here is the caller's affair.
 */
MUST_CHECK enum err fhir_read(const struct fhir_reader *reader,
                              const char *body, size_t len,
                              struct outcome *outcome, struct fhir_doc **doc);
void fhir_doc_free(struct fhir_doc *doc);

enum bundle_type fhir_doc_bundle(const struct fhir_doc *doc);
size_t fhir_doc_count(const struct fhir_doc *doc);
struct fhir_item *fhir_doc_item(struct fhir_doc *doc, size_t i);

/* Is it an id of FHIR: 1 to 64 of A-Z a-z 0-9 - and '.'? */
bool fhir_is_id(const char *text);

/*
 * fhir_respell - stored bytes with another id and meta
 *
 * Writes the resource in json (known to be valid) with the given id and meta
 * (JSON text of the meta object, NULL for none) and every other member byte
 * for byte, so that decimals keep their digits.
 */
MUST_CHECK enum err fhir_respell(const char *json, size_t len, const char *id,
                                 const char *meta, struct buf *out);

#endif
