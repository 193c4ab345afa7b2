/*
 * codes_rows - the rows behind codes.h; private to the codes files and to
 * fhir_codesystem, which publishes our own codes
 */
#ifndef HEADGATE_ADAPTERS_CODES_ROWS_H
#define HEADGATE_ADAPTERS_CODES_ROWS_H

#include "adapters/codes.h"

#include <stdatomic.h>

/* The question whose answer is an integer stage, 0 to 4; see sign_of_stage. */
#define CODES_STAGE "steal-stage"

/* Most rows of a map: the shipped ones and the site's. */
enum { CODES_ROWS_MAX = 50000 };

/* Longest system, code and exact text of a row; a longer text would never be
 * found, for no longer one is looked up. */
enum { CODES_SYSTEM_MAX = 512, CODES_CODE_MAX = 256, CODES_WORDS_MAX = 127 };

enum codes_target {
    TARGET_OBSERVATION, /* av-observation: a quantity, question or sign */
    TARGET_METHOD,      /* av-method */
    TARGET_SITE,        /* av-site: "left", "hand", "left-upper-arm" */
    TARGET_UNIT         /* UCUM; of what codes_is_unit alone */
};

enum codes_use {
    USE_EQUAL, /* means the target */
    USE_STORE, /* is near it: kept, not used */
    USE_IGNORE /* is known, and not for us */
};

/* Who says so: later ones add to what earlier ones said. */
enum codes_origin { CODES_SHIPPED, CODES_OF_FILE, CODES_LEARNT };

struct codes_row {
    const char *system, *code; /* of the sender */
    enum codes_target kind;
    const char *target; /* code of the target's CodeSystem; NULL if none */
    enum codes_use use;
    enum side side;
    bool needs_hand;
    bool access_arm;
    const char *unit; /* default; NULL none */
    int64_t from_s;   /* INT64_MIN: always */
    int64_t id;       /* see codes_line */
};

/* A row in the map, with its strings behind it. */
struct codes_kept {
    struct codes_row row;
    enum codes_origin origin;
    atomic_bool gone;        /* taken back: whoever looks passes it over */
    struct codes_kept *next; /* of the same bucket; set before it is there */
    char strings[];
};

enum { CODES_BUCKETS = 4096 };

/*
 * Codes of our own CodeSystems are looked up in the tables of the planner;
 * all others in a table of lists.  A row is never taken out once it is in its
 * list, and nothing of it changes but the mark that it has been taken back; it
 * gets there by one store of an atomic pointer.  So whoever reads meanwhile
 * sees the list before or after, and needs no lock.
 */
struct codes {
    char *observation, *method, *type, *site; /* URLs of our CodeSystems */
    const struct zone *zone;                  /* borrowed; NULL: UTC */
    size_t count; /* of rows; looked at by whoever adds alone */
    _Atomic(struct codes_kept *) buckets[CODES_BUCKETS];
};

/* What is wrong with a row, for a person: in which of the columns of a CSV
 * file, and what. */
struct codes_fault {
    size_t row;         /* of those that were to be added */
    const char *column; /* static; "target" */
    char text[320];
};

extern const struct codes_row codes_shipped[];
extern const size_t codes_shipped_count;

/* What a URL of a CodeSystem is a target for; ERR_UNKNOWN if none of ours. */
MUST_CHECK enum err codes_target_of(const struct codes *codes,
                                    const char *system,
                                    enum codes_target *kind);

/* The row of a source code that counts at a time; NULL if there is none. */
const struct codes_row *codes_row_find(const struct codes *codes,
                                       const char *system, const char *code,
                                       int64_t at_s);

/* Whether a code of av-observation is known, for the code or for a value. */
bool codes_observation_known(const char *code);
/* What it means as Observation.code. */
struct code_entry codes_entry_of(const char *code);

/* ASCII letters to lower case, in place. */
void codes_to_lower(char *text);

/*
 * codes_row_check - a row by itself: its target, unit and arm
 *
 * fault  out: column and text, on an error
 */
MUST_CHECK enum err codes_row_check(const struct codes *codes,
                                    const struct codes_row *row,
                                    struct codes_fault *fault);

/*
 * codes_add_rows - add rows, all or none; their strings are copied
 *
 * fault  out, on an error that has one: which row is wrong, and how; its row
 *        is `count` where the error is about none of them
 *
 * ERR_UNKNOWN   the target of a row is not a code of its CodeSystem
 * ERR_CONFLICT  a source code is mapped twice, or is one of our own; a unit
 *               or arm that does not fit
 * ERR_FORM      a system or code that is empty, too long, or not printable
 * ERR_LIMIT, ERR_MEMORY
 */
MUST_CHECK enum err codes_add_rows(struct codes *codes,
                                   const struct codes_row *rows, size_t count,
                                   enum codes_origin origin,
                                   struct codes_fault *fault);

/* What codes_add_rows would say of one row by itself; *there: the map has it
 * already.  Adds nothing. */
MUST_CHECK enum err codes_try_row(const struct codes *codes,
                                  const struct codes_row *row,
                                  enum codes_origin origin, bool *there,
                                  struct codes_fault *fault);

/*
 * codes_row_of_line - the texts of a CSV row as a row; borrowed from line
 *
 * ERR_UNKNOWN, ERR_FORM: see fault
 */
MUST_CHECK enum err codes_row_of_line(const struct codes_line *line,
                                      struct codes_row *row,
                                      struct codes_fault *fault);

/* The i-th region of av-site, as it is spelt after a side: "upper arm"; NULL
 * beyond the last. */
const char *codes_region(size_t i);

/* "left upper arm" or "left-upper-arm": a side, a region, or both. */
MUST_CHECK enum err codes_parse_site(const char *text, struct body_site *site);

#endif
