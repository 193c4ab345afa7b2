/*
 * codes_rows - the rows behind codes.h; private to the codes files and to
 * fhir_codesystem, which publishes our own codes
 */
#ifndef HEADGATE_ADAPTERS_CODES_ROWS_H
#define HEADGATE_ADAPTERS_CODES_ROWS_H

#include "adapters/codes.h"

/* The system under which the exact words of a site's map stand. */
#define CODES_TEXT "urn:headgate:text"

/* The question whose answer is an integer stage, 0 to 4; see sign_of_stage. */
#define CODES_STAGE "steal-stage"

/* Most rows of a map: the shipped ones and the site's. */
enum { CODES_ROWS_MAX = 50000 };

enum codes_target {
    TARGET_OBSERVATION, /* av-observation: a quantity, question or sign */
    TARGET_METHOD,      /* av-method */
    TARGET_SITE         /* av-site: "left", "hand", "left-upper-arm" */
};

enum codes_use {
    USE_EQUAL, /* means the target */
    USE_STORE, /* is near it: kept, not used */
    USE_IGNORE /* is known, and not for us */
};

struct codes_row {
    const char *system, *code; /* of the sender */
    enum codes_target kind;
    const char *target; /* code of the target's CodeSystem; NULL if none */
    enum codes_use use;
    enum side side;
    bool needs_hand;
};

/* A row in the map, with the memory that holds its strings. */
struct codes_kept {
    struct codes_row row;
    char *block;
};

/*
 * Codes of our own CodeSystems are looked up in the tables of the planner;
 * all others in one array of rows sorted by system and code.
 */
struct codes {
    char *observation, *method, *type, *site; /* URLs of our CodeSystems */
    struct codes_kept *rows;
    size_t count;
};

extern const struct codes_row codes_shipped[];
extern const size_t codes_shipped_count;

/* What a URL of a CodeSystem is a target for; ERR_UNKNOWN if none of ours. */
MUST_CHECK enum err codes_target_of(const struct codes *codes,
                                    const char *system,
                                    enum codes_target *kind);

/* The row of a source code; NULL if there is none. */
const struct codes_row *codes_row_find(const struct codes *codes,
                                       const char *system, const char *code);

/* Whether a code of av-observation is known, for the code or for a value. */
bool codes_observation_known(const char *code);

/* ASCII letters to lower case, in place. */
void codes_to_lower(char *text);

/*
 * codes_add_rows - add rows, all or none; their strings are copied
 *
 * at  out, on an error that has one: the row that is wrong
 *
 * ERR_UNKNOWN   the target of a row is not a code of its CodeSystem
 * ERR_CONFLICT  a source code is mapped twice, or is one of our own
 * ERR_LIMIT, ERR_MEMORY
 */
MUST_CHECK enum err codes_add_rows(struct codes *codes,
                                   const struct codes_row *rows, size_t count,
                                   size_t *at);

/* The i-th region of av-site, as it is spelt after a side: "upper arm"; NULL
 * beyond the last. */
const char *codes_region(size_t i);

/* "left upper arm" or "left-upper-arm": a side, a region, or both. */
MUST_CHECK enum err codes_parse_site(const char *text, struct body_site *site);

#endif
