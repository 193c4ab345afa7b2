/*
 * hl7_intake - a message of HL7 v2 on its way into the store
 *
 *     bytes --> hl7_intake_read --> hl7_intake_apply --> answer
 *               (any thread)        (store thread, one transaction)
 *
 * Used by the MLLP listener, by POST /hl7, by files, and when a person
 * releases a message from quarantine.  The message is kept as it came, with
 * what it was answered; what can be used of it is used at once, and if
 * something cannot, the whole of it stands in quarantine besides.
 */
#ifndef HEADGATE_SERVICE_HL7_INTAKE_H
#define HEADGATE_SERVICE_HL7_INTAKE_H

#include "adapters/hl7_ack.h"
#include "service/intake.h"
#include "service/quarantine.h"

/* What is to be told of a result and one that is stored. */
enum hl7_tie {
    HL7_NO_TIE,
    HL7_REPLACES, /* another final value under its key, which it replaces */
    HL7_BESIDE,   /* another final answer, which stands beside */
    HL7_REUSED,   /* OBX-21 of a result at another time */
    HL7_UNCLEAR   /* takes back one of several that have this OBX-21 */
};

enum { HL7_STORED_KEY_SIZE = 64 };

struct hl7_match {
    enum hl7_tie tie;
    bool passed_over;              /* refused, there already, or too late */
    char key[HL7_STORED_KEY_SIZE]; /* under which it is stored; "" its own */
};

struct hl7_intake {
    /* in, for both */
    const char *bytes; /* borrowed; must outlive it */
    size_t len;
    const struct hl7_profile *profile; /* NULL: nobody known sent it */
    const char *receivers; /* of mllp.receiver; NULL: any (a file, a person) */
    struct fhir_reader reader;
    enum quarantine_way way;
    int64_t line, start; /* of a file; 0 */
    bool merge_implied;
    int64_t live_from_s; /* see intake.h */
    int64_t now_ms;
    bool again; /* released: a repeat is read anew */
    /* between the two; private */
    struct hl7_message *message;
    bool rejected; /* not kept: wrong type, receiver, sender ... */
    char application[64], facility[64], control[200];
    struct hl7_oru oru;
    struct fhir_doc *doc;
    struct intake_result *results;
    struct hl7_match *matches; /* one for each entry */
    struct buf before;         /* the message of the store looked at last */
    int64_t before_journal;    /* its number; 0 none */
    unsigned char digest[32];
    /* out */
    struct hl7_wants wants;
    enum hl7_answer answer; /* AA, AE, AR; of what was kept, id is not 0 */
    struct hl7_issues issues;
    int64_t id;         /* of hl7_message; 0: not kept (AR) */
    bool repeated;      /* it had come before, with the same content */
    bool news;          /* accesses have news: wake the review */
    bool quarantined;   /* it stands in quarantine, with what is usable of it
                         in use */
    size_t held_errors; /* of issues.errors: of results that are held for it,
                           and for which nothing stands in quarantine */
    unsigned stored, there, held, refused; /* results; refused: also those
                           that could not become anything (OBX left out) */
};

/* Take it apart.  Nothing that is wrong with the message is an error: it is
 * in issues, and apply deals with it.  ERR_MEMORY. */
MUST_CHECK enum err hl7_intake_read(struct hl7_intake *in);

/*
 * hl7_intake_apply - store_job run function (arg is a struct hl7_intake)
 *
 * Errors are those of the store alone, and ERR_LIMIT where the quarantine is
 * full: then nothing was kept, and nothing may be acknowledged.
 */
enum err hl7_intake_apply(struct db *db, void *arg);

void hl7_intake_clear(struct hl7_intake *in);

#endif
