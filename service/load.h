/*
 * load - what the files of `headgate load` share; private to them
 *
 *     command_load.c  arguments, summary, exit status
 *     load_file.c     one file: opened, gone on with, ended
 *     load_lines.c    its lines, or the one document it is
 *     load_hl7.c      its messages of HL7 v2
 *     load_send.c     a body to the service, and what becomes of each entry
 *     load_say.c      what a person sees, and the error file
 *     load_state.c    where a load has come
 */
#ifndef HEADGATE_SERVICE_LOAD_H
#define HEADGATE_SERVICE_LOAD_H

#include "adapters/error_lines.h"
#include "adapters/feed.h"
#include "adapters/fhir_answer.h"
#include "adapters/progress.h"
#include "service/command.h"
#include "service/load_state.h"

enum {
    LOAD_ENTRIES_AT_ONCE = 250,
    LOAD_BYTES_AT_ONCE = 1024 * 1024,
    LOAD_DOCUMENT_MAX = 8 * 1024 * 1024,
    LOAD_ANSWER_MAX = 64 * 1024 * 1024,
    LOAD_ENTRIES_MAX = 5000,
    LOAD_REFUSALS_SHOWN = 20,
    LOAD_REASONS_MAX = 48, /* there are fewer words of outcome.h */
    LOAD_PATH_MAX = 8192
};

struct load_reason {
    char word[40]; /* of fhir_answer; "" none was given */
    uint64_t count;
};

struct load_reasons {
    struct load_reason list[LOAD_REASONS_MAX];
    size_t count;
};

/* Messages of HL7 v2, each in one of these. */
struct load_messages {
    uint64_t taken;    /* all of it; something may be held */
    uint64_t repeated; /* came before, with the same content */
    uint64_t faulty;   /* kept in quarantine; what is good in it is used */
    uint64_t rejected; /* not kept; or no message at all */
};

struct load {
    struct session session;
    struct progress progress;
    const struct args *args;
    const char *base; /* canonical, of our CodeSystems */
    struct fhir_answer *answers;
    /* of all files of this run */
    struct load_counts counts;     /* resources of FHIR */
    struct load_reasons reasons;   /* of those that were refused */
    struct load_messages messages; /* of HL7 v2 */
    struct load_reasons faults;    /* the first one of each message */
    struct load_counts results;    /* that stand in the messages */
    bool saw_hl7;                  /* a file of messages was begun */
    uint64_t lines, bytes;         /* that this run has taken */
    unsigned long refusals_shown;
    bool broken;  /* no use in going on */
    bool misused; /* broken, and by what stands on the command line */

    /* the file that is being loaded */
    const char *path, *name; /* name: for a person */
    FILE *file;
    struct load_state state; /* as far as it has been acknowledged */
    struct buf state_path;   /* len 0: it cannot be gone on with */
    bool goes_on;            /* this file, from where it was stopped */
    bool marked;             /* it has a state that can be gone on with */
    struct buf errors_path;  /* len 0: refusals are only shown */
    struct buf line;         /* of the error file, being written */
    const struct feed_parcel *parcel; /* being sent */
    size_t next_fault;                /* of it, not told yet */
    FILE *errors;                     /* NULL before the first of them */
};

/* The number of the signal that asked to stop; 0: none. */
int load_stopped(void);

/* ---- load_file.c ---------------------------------------------------------- */

void load_file(struct load *l, const char *path);
/* All before offset, which is behind that many lines, is acknowledged. */
void load_mark(struct load *l, uint64_t offset, uint64_t lines);

/* ---- load_lines.c, load_hl7.c --------------------------------------------- */

void load_lines(struct load *l, struct feed *feed);
void load_document(struct load *l, struct feed *feed);
void load_hl7(struct load *l, struct feed *feed);

/* ---- load_send.c ---------------------------------------------------------- */

/* Lines that were gathered, each answer counted. */
void load_send_parcel(struct load *l, const struct feed_parcel *parcel);
/* A body as it is, of which every entry stands at that place. */
void load_send_whole(struct load *l, const struct buf *body,
                     const struct error_place *place, bool lone_is_all);
/*
 * One body there; its answer is appended to out.  False: nothing more can be
 * sent, and it has been said why.
 */
bool load_call(struct load *l, const char *path, const char *content_type,
               const char *accept, const char *body, size_t len, long *status,
               struct buf *out);

/* ---- load_say.c ----------------------------------------------------------- */

/* A resource that was refused by us: counted, shown, and put into the error
 * file. */
void load_refuse(struct load *l, const struct error_place *place,
                 const char *word, const char *text);
/* The same of what should be a message of HL7 v2. */
void load_reject(struct load *l, const struct error_place *place,
                 const char *word, const char *text);
/* A message of HL7 v2 that the service found fault with: shown. */
void load_show_fault(struct load *l, const struct error_place *place,
                     const char *word, const char *text, const char *where);
/* What stands in l->line, into the error file. */
void load_put_line(struct load *l);
/* One that was answered; answer and i as in error_answer_write. */
void load_count(struct load *l, const struct fhir_answer *a,
                const struct error_answer *answer, size_t i,
                const struct error_place *place);
/* The file cannot be read on; errno as it was then. */
void load_say_unreadable(struct load *l, enum err e);
/* Open the error file, to go on after that many bytes; false: said why. */
bool load_errors_open(struct load *l, uint64_t keep);
void load_errors_close(struct load *l);
/* On standard output, when all is done. */
void load_print_summary(const struct load *l, int64_t spent_ms);

int64_t load_now_ms(void);

#endif
