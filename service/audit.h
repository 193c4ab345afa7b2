/*
 * audit - who did what with patient data: rows that are added and never changed
 *
 *     audit.c          a row added, the chain walked
 *     audit_whom.c     of whom a row is
 *     audit_list.c     rows for people and programs, and as AuditEvents
 *     audit_request.c  the row of an HTTP request
 *     audit_doors.c    who was not let in: added up, and bounded
 *     audit_start.c    start, stop, and what the service works by
 *     audit_watch.c    the chain walked in the background
 *     audit_words.c    what is wrong with it, for people
 *
 * Store thread only (but for audit_doors.h).  A row is written in the
 * transaction of what it records: neither is ever there without the other.
 *
 * Each row holds the hash of the row before it and its own, SHA-256 (FIPS
 * 180-4) over this text, in which every field is written as its length in
 * bytes, a colon, its bytes and a line feed:
 *
 *     "headgate-audit-1\n"
 *     seq at_ms kind actor scope who action type key patient outcome detail
 *     patients
 *     the hash of the row before, as 64 hexadecimal digits ("0" * 64: none)
 *
 * So a row that is changed, added or taken away within the chain shows.  The
 * chain alone proves nothing against one who writes all of it anew from some
 * row on, or cuts off its end: against that its last hash is kept elsewhere
 * (headgate audit head) and looked for in it (headgate audit verify --anchor).
 *
 * A cut shows of itself as far as lists of the rows that are gone (see below)
 * are still there.  No row takes the number of one of them: the next one comes
 * behind them, and the gap stays in the chain for each walk to name.
 *
 * patient is the one whom the row is of.  Of several it is 0; patients then says
 * how many, and the SHA-256 of their list, which stands in audit_patient, and a
 * walk compares the two; of more than AUDIT_PATIENTS_MAX no list is kept.  See
 * audit_whom.h.
 *
 * No field holds a value of a patient: a patient is a number of this store,
 * things are named by ids, a search by the names of its parameters.
 */
#ifndef HEADGATE_SERVICE_AUDIT_H
#define HEADGATE_SERVICE_AUDIT_H

#include "service/audit_whom.h"
#include "service/db.h"

enum {
    AUDIT_HASH_SIZE = 32,
    AUDIT_HEX_SIZE = 2 * AUDIT_HASH_SIZE + 1,
    AUDIT_TEXT_MAX = 512, /* bytes of a text; what is longer is cut */
    AUDIT_STEP_ROWS = 4000
};

/* As AuditEvent.outcome has it. */
enum audit_outcome {
    AUDIT_DONE = 0,
    AUDIT_REFUSED = 4, /* what was asked for could not be, or was not there */
    AUDIT_FAILED = 8   /* a fault on our side */
};

/*
 * One row.  Texts are borrowed; NULL is as "".
 *
 * kind     who acts: "token", "signed" (a JWT), "anonymous", "local" (the Unix
 *          socket), "hl7", "folder", "record", "service"
 * actor    its name: of the token, the client, the sender's section; "uid 1000"
 * scope    the right that it had to have, "system/Task.u"; "" none
 * who      the person, as the caller says; not proven
 * action   a word of the program: "read", "task-take"
 * type     what kind of thing: "Task", "queue"
 * key      which one: an id, a number; never a patient's own number
 * patient  number of this store (patient.id); 0: none, several or not known
 * whom     several; where it is not NULL it counts, and patient does not.  NULL
 *          in a row that is read, see audit_whom_read
 * patients as the store has it, of a row that is read; audit_note sets it
 * detail   what else is to be known: counts, the names of parameters
 */
struct audit_entry {
    int64_t at_ms;
    const char *kind, *actor, *scope, *who, *action, *type, *key, *detail;
    int64_t patient;
    const struct audit_whom *whom;
    const char *patients;
    enum audit_outcome outcome;
};

/* Add a row; errors are those of the store. */
MUST_CHECK enum err audit_note(struct db *db, const struct audit_entry *entry);

/* A row as it is read; texts are borrowed until the next is. */
struct audit_row {
    int64_t seq;
    struct audit_entry entry;
    unsigned char prev[AUDIT_HASH_SIZE], hash[AUDIT_HASH_SIZE];
    bool formed; /* its fields are of the form that we write */
};

/* Read rows of db_query(db, Q_AUDIT_ROWS, "ii", after, count) with db_next. */
void audit_row_get(struct db *db, struct audit_row *row);

/* The last row: its number, 0 for none, and its hash. */
MUST_CHECK enum err audit_head(struct db *db, int64_t *seq,
                               unsigned char hash[AUDIT_HASH_SIZE]);

/* A walk along the chain, in steps. */
struct audit_walk {
    int64_t after;                         /* the row walked to; 0 at first */
    unsigned char hash[AUDIT_HASH_SIZE];   /* of that row; zeros at first */
    bool anchored;                         /* an anchor is looked for ... */
    unsigned char anchor[AUDIT_HASH_SIZE]; /* ... of this hash */
    uint64_t until_ns; /* of uv_hrtime: a step ends then; 0: by rows alone */
    /* out */
    int64_t anchor_seq; /* where it was found; 0: not yet */
    int64_t broken;     /* the first row that is wrong; 0: none */
    const char *why;    /* a word of the program: "missing" (rows before it),
                           "changed" (its content), "chain" (the hash of the
                           row before it), "form", "patients" (their list),
                           "cut" (it and those behind it are gone: lists of
                           them are there), "stray" (lists of rows of which
                           there never was one; broken is 1) */
    bool more;          /* there may be rows behind */
};

/* The next AUDIT_STEP_ROWS rows, or those for which there is time; one at
 * least. */
MUST_CHECK enum err audit_walk_step(struct db *db, struct audit_walk *walk);

void audit_hex(const unsigned char hash[AUDIT_HASH_SIZE],
               char hex[AUDIT_HEX_SIZE]);
/* false: it is no hash of 64 hexadecimal digits */
bool audit_unhex(const char *hex, unsigned char hash[AUDIT_HASH_SIZE]);

#endif
