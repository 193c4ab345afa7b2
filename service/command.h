/*
 * command - the verbs of the command line, and what they share
 *
 * Each returns the exit status: 0 done, 1 something was refused or failed,
 * 2 the command line or the configuration is wrong.
 */
#ifndef HEADGATE_SERVICE_COMMAND_H
#define HEADGATE_SERVICE_COMMAND_H

#include "adapters/http_client.h"
#include "service/config.h"
#include "service/service.h"

/* What several help texts say. */
#define HELP_TO                                                                \
    "  --to URL           another service: http://HOST:PORT or https://HOST\n" \
    "  --token-file FILE  the token for it, in the first line of a file\n"     \
    "  --ca FILE          who signs its certificate (PEM)\n"
#define HELP_STATUS                                                            \
    "Exit status: 0 done; 1 it was refused or has failed; 2 the command line " \
    "or\nthe configuration is wrong.\n"

int command_serve(int argc, char **argv);
int command_load(int argc, char **argv);
int command_queue(int argc, char **argv);
int command_quarantine(int argc, char **argv);
int command_task(int argc, char **argv);
int command_access(int argc, char **argv);
int command_review(int argc, char **argv);
int command_plan(int argc, char **argv);
int command_case(int argc, char **argv);
int command_technique(int argc, char **argv);
int command_decisions(int argc, char **argv);
int command_outbox(int argc, char **argv);
int command_store(int argc, char **argv);
int command_patient(int argc, char **argv);
int command_check(int argc, char **argv);
int command_backtest(int argc, char **argv);
int command_fetch(int argc, char **argv);
int command_report(int argc, char **argv);
int command_audit(int argc, char **argv);

/* Ask the record what it can, and print what will and will not work there. */
bool check_record(const struct config *config);

/* Print what the settings say of senders of HL7 v2; false: the service would
 * not start with them, or no sender would get a connection. */
bool check_hl7(const struct config *config);
/* How this service is listened to, and the files for that; until when each
 * certificate is good.  false: it cannot work so. */
bool check_listener(const struct config *config);
/* A list that has run out lets nobody in, and one that is about to is said.
 * word: at the beginning of the line; section: of its setting; false: it has. */
bool check_lists(const struct config *config, const char *word,
                 const char *section, int64_t end_s);

enum { ARGS_SETS_MAX = 64, ARGS_FILES_MAX = 1024, ARGS_RULES_MAX = 32 };

struct args {
    const char *config;              /* --config FILE; NULL: none */
    const char *sets[ARGS_SETS_MAX]; /* --set section.key=value */
    int set_count;
    bool json;                         /* --json */
    bool timeline;                     /* --timeline */
    const char *to;                    /* --to URL: a service elsewhere */
    const char *out;                   /* --to FILE */
    const char *token;                 /* --token-file FILE */
    const char *ca;                    /* --ca FILE: who signs --to */
    const char *policy, *against;      /* --policy FILE, --against FILE */
    const char *until;                 /* --until DATE */
    const char *arrival;               /* --arrival sent|effective */
    const char *since;                 /* --since DATE */
    const char *from, *access;         /* --from FILE, --access NAME */
    const char *prior, *target;        /* --prior NAME, --target WORDS */
    const char *code;                  /* --code [SYSTEM|]CODE */
    const char *dowels;                /* --dowels SIZES */
    const char *pdf, *svg;             /* --pdf FILE, --svg FILE */
    const char *method;                /* --method CODE */
    bool on_table;                     /* --on-table */
    bool use, drop;                    /* --use, --drop */
    bool offline, quick, codes;        /* --offline, --quick, --codes */
    const char *reason, *unit;         /* --reason WORD, --unit NAME or UCUM */
    const char *arm, *side;            /* --arm RULE, --side SIDE */
    const char *week;                  /* --week 2026-W47 */
    bool as_sent;                      /* --as-sent */
    const char *by;                    /* --by NAME */
    const char *why;                   /* --why TEXT */
    const char *whom;                  /* --whom NAME */
    const char *over;                  /* --over NAME */
    const char *group, *types;         /* --group ID, --types TYPE,... */
    const char *before, *fhir;         /* --to DATE, --fhir FILE */
    const char *anchor, *patient;      /* --anchor HASH, --patient NUMBER */
    bool bulk, all, cancel;            /* --bulk, --all, --cancel */
    const char *errors, *state;        /* --errors FILE, --state FOLDER */
    const char *sender;                /* --sender NAME */
    bool resume, quiet;                /* --resume, --quiet */
    bool errors_held;                  /* --errors-held */
    const char *rules[ARGS_RULES_MAX]; /* --rule ID, each */
    int rule_count;
    bool watch, digest;  /* --watch, --digest */
    bool yes;            /* --yes */
    const char *name;    /* --name NAME, of a patient */
    bool even_if_urgent; /* --even-if-urgent */
    const char *files[ARGS_FILES_MAX];
    int file_count;
};

/*
 * Read the arguments after the verb.  Prints what is wrong and returns false;
 * --help or -h prints help to standard output, sets *helped and returns false.
 *
 * allowed  letters of what may be given; each has to stand in help:
 *          a  --from, --to DATE, --fhir, --anchor, --patient
 *          b  --policy, --against, --until, --arrival
 *          c  --all
 *          e  --name, --even-if-urgent
 *          f  files
 *          g  --whom, --over, --until
 *          i  --by
 *          j  --json
 *          k  --use, --drop, --by
 *          l  --errors, --state, --sender, --resume, --quiet, --errors-held
 *          m  --method
 *          n  --to FILE
 *          o  --offline, --quick, --codes
 *          p  --from, --access, --prior, --target, --dowels, --on-table, --pdf,
 *             --svg
 *          q  --reason, --unit, --target, --code, --arm, --from, --access,
 *             --side, --as-sent
 *          r  --week, --unit
 *          s  --since
 *          t  --to URL, --token-file, --ca
 *          u  --unit, --state, --rule, --access, --week, --watch, --digest
 *          v  --yes
 *          w  --by, --why
 *          x  --bulk, --group, --types, --all, --cancel
 *          y  --timeline
 */
bool args_read(struct args *args, int argc, char **argv, const char *allowed,
               const char *help, bool *helped);

/* The configuration that the arguments name; prints what is wrong. */
bool args_config(const struct args *args, struct config *config);

/* May a service run on it?  See config_check_listener; prints what is wrong. */
bool args_listener(const struct args *args, const struct config *config);

/*
 * A talk with a service: the one that runs on this store, the one of --to,
 * or, if none runs, one within this process for as long as the command takes.
 */
struct session {
    uv_loop_t loop;
    struct service *own; /* NULL: another process serves */
    struct http_client *client;
    char socket_path[CONFIG_TEXT_SIZE + 8]; /* "" with url */
    char url[CONFIG_TEXT_SIZE];             /* base, without trailing slash */
    char authorization[1024];               /* header line, or "" */
    const char *reason;                     /* why the last call failed; NULL */
    bool history; /* what it sends is a history: X-Headgate-History */
};

/*
 * Prints what is wrong and returns the exit status, 0 if it is open.
 *
 * may_create  a store that does not exist yet is made; else that is an error:
 *             a mistyped path must not read as an empty queue
 */
int session_open(struct session *s, const struct args *args,
                 const struct config *config, bool may_create);
void session_close(struct session *s);
/* The same, but a service that runs is asked, or none: nothing is opened here,
 * and that nobody answers shows in the calls. */
int session_open_client(struct session *s, const struct args *args,
                        const struct config *config);

/* One request to the service that the arguments name; its answer is printed.
 * Returns the exit status. */
int command_call(const struct args *args, const char *method, const char *path);
/* Append a value of a query, with its bytes escaped. */
void command_escape(struct buf *path, const char *value);

/* Print why a session_call did not do what was asked. */
void session_complain(const struct session *s, long status, enum err e);
/* The same, in the words of the answer where it has some: a text, or an
 * OperationOutcome. */
void session_complain_of(const struct session *s, long status, enum err e,
                         const struct buf *answer);

/*
 * One request, waited for.  path follows the base ("/fhir", "/queue");
 * the answer's body is appended to out.  *status is 0 if no answer came.
 */
enum err session_call(struct session *s, const char *method, const char *path,
                      const char *body, size_t len, long *status,
                      struct buf *out);
/* GET, unless what the service has is still what it was: etag in: of the
 * answer before, "" none; out: of this one.  304 for the same. */
enum { SESSION_ETAG_SIZE = 128 };
enum err session_get_if(struct session *s, const char *path,
                        char etag[SESSION_ETAG_SIZE], long *status,
                        struct buf *out);
/* The same with a body of another media type than FHIR's, and with what is
 * taken as an answer; accept may be NULL. */
enum err session_call_as(struct session *s, const char *method,
                         const char *path, const char *content_type,
                         const char *accept, const char *body, size_t len,
                         long *status, struct buf *out);

#endif
