/*
 * patient_erase - remove all that is kept of one patient, on request
 *
 *     begin -> sift (store thread, some milliseconds at a time between the
 *     commits, reading alone): which messages, of all that came, name the
 *     patient, and what in them is of others
 *           -> one transaction: in those messages everything but what is of
 *     others is made blank, every row of the patient goes from every table, the
 *     lists of the units are made anew, and that it was done is kept
 *           -> the file is written anew and the log emptied, so that no byte
 *     is left in either (the store takes nothing meanwhile: senders wait)
 *
 * A crash before the transaction leaves all as it was; after it the rows are
 * gone, and the next start (or erasure) writes the file anew.
 *
 * Nobody is found by a number alone: what may be the patient's and may be
 * another's stays, and is told (struct erase_left), for a person to look at.
 *
 * What stays: the row that says that it was done, without a datum of the
 * patient; the audit trail, which has numbers and ids alone; what has gone to
 * the record; backups; files in the drop folder and of whoever sent them.
 *
 * A keyed hash (HMAC-SHA256, key of this store) of each name of the patient
 * stays too, so that a late copy is recognised: it is not refused, since it may
 * be of a person who is treated again, but shown (patient_erased_list).  Who
 * has the store has the key: the hash is a pseudonym, not anonymous.
 */
#ifndef HEADGATE_SERVICE_PATIENT_ERASE_H
#define HEADGATE_SERVICE_PATIENT_ERASE_H

#include "adapters/buf.h"
#include "service/audit_request.h"
#include "service/patient_sought.h"

struct service;
struct patient_erasure;

enum { ERASE_WORDS_SIZE = 400, ERASE_NAME_SIZE = 600 };

enum erase_state { ERASE_SIFTING, ERASE_WRITING, ERASE_DONE, ERASE_FAILED };

struct erase_view {
    int64_t number; /* of the erasure, of this process; 0: none yet */
    enum erase_state state;
    int64_t looked, total; /* messages, by number */
    const char *text;      /* done: what was removed; failed: why; never NULL */
};

MUST_CHECK enum err patient_erasure_open(struct service *service,
                                         struct patient_erasure **erasure);

struct erase_wish {
    int64_t patient;
    const char *who, *why; /* copied */
    bool even_if_urgent;   /* see patient_present_is_urgent; else that is looked
                              at once more when all is to go, and nothing is
                              removed */
};

/* asked: whose row the end has in the audit trail, in the transaction of the
 * removal ("patient-erase"); copied.  ERR_DENIED: another one is under way. */
MUST_CHECK enum err patient_erase_begin(struct patient_erasure *erasure,
                                        const struct erase_wish *wish,
                                        const struct audit_request *asked);

/* A file that an earlier erasure has left to be written anew, if there is
 * one. */
void patient_erase_finish(struct patient_erasure *erasure);

bool patient_erase_busy(const struct patient_erasure *erasure);

void patient_erase_look(struct patient_erasure *erasure,
                        struct erase_view *view);

/* After store_close; NULL is ignored. */
void patient_erasure_close(struct patient_erasure *erasure);

/* Who was removed: when, by whom, why, how much, and who is here again. */
MUST_CHECK enum err patient_erased_list(struct db *db, struct buf *out);

/* What an erasure removed. */
enum erase_part {
    ERASE_RESOURCES,
    ERASE_READINGS,
    ERASE_TASKS,
    ERASE_DECISIONS,
    ERASE_MESSAGES, /* of HL7 v2 */
    ERASE_ITEMS,    /* in quarantine */
    ERASE_OUTBOX,   /* deliveries */
    ERASE_JOURNAL,  /* messages of the journal, blanked or removed */
    ERASE_PARTS
};

/*
 * What may be the patient's and was left, since it may be another's: a number
 * whose system is not sure, or a message in which somebody else is, too.  The
 * first of each, the lowest first; counts are of all.
 */
enum erase_left_kind {
    LEFT_ITEMS,    /* in quarantine */
    LEFT_MESSAGES, /* of HL7 v2 that do not stand there */
    LEFT_JOURNAL,
    LEFT_KINDS
};
enum { LEFT_LISTED_MAX = 1000 };
struct erase_left {
    int64_t counts[LEFT_KINDS];
    int64_t ids[LEFT_KINDS][LEFT_LISTED_MAX];
};
/* How many of all kinds. */
int64_t patient_erase_left(const struct erase_left *left);

/* Store thread, in a transaction: the second stage, for tests as well. */
struct erase_rows {
    int64_t patient;
    const char *who, *why;
    int64_t now_ms;
    int64_t mark;     /* as of the sifting, see patient_whole_collect */
    int64_t since_ms; /* when the sifting began; 0: what is of others is not
                         known yet, and is looked for here */
    const struct seeking *seeking; /* to cut messages in which somebody else is,
                                      too; NULL: they are left */
    int64_t counts[ERASE_PARTS];   /* out */
    struct erase_left left;        /* out */
};
MUST_CHECK enum err patient_erase_rows(struct db *db, struct erase_rows *rows);
/* What came of it, once the file was written anew, for people. */
void patient_erase_say(const struct erase_rows *rows, struct buf *out);

/* In the same transaction, after the lists of the units were made anew: their
 * versions that name the patient go, and lines of files that do.  Names were
 * read before the rows went. */
MUST_CHECK enum err patient_erase_lists(const struct seeking *seeking);

/* The first stage, a piece at a time; *more: there is more. */
enum { SIFT_SIEVES = 3 };
struct erase_sift {
    int64_t patient, mark;             /* mark: not 0, of this erasure alone */
    struct patient_names *names;       /* owned by the caller, who frees them */
    const struct hl7_senders *senders; /* NULL: none is known */
    const char *base;                  /* of our URLs; NULL */
    int stage;                         /* 0 at first */
    int64_t last[SIFT_SIEVES];         /* of each table, what was looked at */
    int64_t after, looked, total;
    int64_t newest_resource;
};
MUST_CHECK enum err patient_erase_sift(struct db *db, struct erase_sift *sift,
                                       bool *more);
/* In the transaction of the removal: what has come since, to the end. */
MUST_CHECK enum err patient_erase_sift_rest(struct db *db,
                                            struct erase_sift *sift);
/* Without an erasure: of what is collected, and of messages that stand in
 * quarantine, which are the patient's alone. */
MUST_CHECK enum err patient_sift_known(const struct seeking *seeking);

#endif
