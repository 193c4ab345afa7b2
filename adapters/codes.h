/*
 * codes - which code of which system means which quantity, sign, side, method
 *
 * Accept many, emit one.  The map holds the rows shipped with the program
 * (codes of our own CodeSystems, and codes of open standards that their
 * publishers print) and the rows that a site adds by ConceptMap files.  A
 * code that is not in the map is not guessed.
 */
#ifndef HEADGATE_ADAPTERS_CODES_H
#define HEADGATE_ADAPTERS_CODES_H

#include "adapters/buf.h"
#include "planner/reading.h"

#define CODES_LOINC "http://loinc.org"
#define CODES_MDC   "urn:iso:std:iso:11073:10101"
#define CODES_SCT   "http://snomed.info/sct"
#define CODES_UCUM  "http://unitsofmeasure.org"

struct codes;

enum code_meaning {
    CODE_UNKNOWN,  /* not in the map */
    CODE_QUANTITY, /* what is measured; side may come with it */
    CODE_QUESTION, /* a yes-or-no question about one sign */
    CODE_STAGE,    /* an integer steal stage, 0..4 */
    CODE_IGNORE,   /* known, and not for us (peritoneal Kt/V, say) */
    CODE_STORE     /* known to a site map, but not equal: kept, not used */
};

struct code_entry {
    enum code_meaning meaning;
    enum quantity quantity;
    enum sign sign;  /* CODE_QUESTION */
    enum side side;  /* of a finger pressure whose term names it */
    bool needs_hand; /* means a finger only where the body site says so */
};

/*
 * codes_new - the shipped rows
 *
 * base  canonical base of our CodeSystems, e.g. "https://headgate.example/fhir"
 */
MUST_CHECK enum err codes_new(const char *base, struct codes **codes);
void codes_free(struct codes *codes);

/*
 * codes_add_concept_map - add a site's map (FHIR R4 ConceptMap, JSON)
 *
 * Targets are codes of CodeSystem av-observation, of av-method, or of av-site
 * (a side, a region, or both: "left", "hand", "left-upper-arm").  The whole
 * file is refused, and the map stays as it was, for: an unknown target, the
 * same source code twice (in the file or already mapped), not a ConceptMap.
 * equivalence equal or equivalent maps; wider, narrower, inexact and the
 * like keep the reading without using it; unmatched is an explicit ignore.
 * Keys of text without a system: group.source "urn:headgate:text" maps exact
 * words (ASCII case ignored) of bodySite.text and method.text.
 *
 * why  out: what is wrong and where, for a person
 *
 * ERR_FORM, ERR_UNKNOWN, ERR_CONFLICT, ERR_LIMIT (too many rows), ERR_MEMORY
 */
MUST_CHECK enum err codes_add_concept_map(struct codes *codes, const char *json,
                                          size_t len, struct buf *why);

/*
 * codes_add_csv - add a site's map as CSV (RFC 4180, UTF-8, a header row)
 *
 *     source_system,source_code,target,unit_default,arm_rule,valid_from
 *
 * target        a code of av-observation, av-method or av-site, "store" (kept,
 *               not used) or "ignore"
 * unit_default  UCUM code, for values that come without a unit; may be empty
 * arm_rule      "left", "right", "access" (the arm of the access), or empty
 * valid_from    date from which on the code means this, by the time of the
 *               measurement; empty: always.  One source code may stand in
 *               several rows that begin at different dates.
 *
 * Refused as a whole, as a ConceptMap is; why names the line.
 */
MUST_CHECK enum err codes_add_csv(struct codes *codes, const char *text,
                                  size_t len, struct buf *why);

/* A row that a person adds while the service runs; the same columns. */
struct codes_line {
    const char *system, *code, *target;
    const char *unit, *arm; /* "" none */
    int64_t from_s;         /* INT64_MIN: always */
};

/*
 * codes_learn - add one row; others may be reading the map at this moment
 *
 * One thread at a time may add.  Errors as of codes_add_csv.
 */
MUST_CHECK enum err codes_learn(struct codes *codes,
                                const struct codes_line *line, struct buf *why);

/* What an Observation.code coding means. */
struct code_entry codes_find(const struct codes *codes, const char *system,
                             const char *code);

/* The sign that a coded value means, for a quantity; SIGN_NONE if unknown. */
enum sign codes_sign(const struct codes *codes, enum quantity q,
                     const char *system, const char *code);

/* Methods: by coding of av-method or a site's map, or by exact text. */
enum method codes_method(const struct codes *codes, const char *system,
                         const char *code);
enum method codes_method_text(const struct codes *codes, const char *text);

/* A body site: its side, and whether it is a hand or finger; region is a
 * static word: "hand", "finger", "forearm", "upper-arm", "arm", "thigh",
 * "chest" or "" if not said. */
struct body_site {
    enum side side;
    const char *region;
};
struct body_site codes_site(const struct codes *codes, const char *system,
                            const char *code);
/* Exact words, ASCII case ignored: "left arm", "right hand". */
struct body_site codes_site_text(const struct codes *codes, const char *text);

#endif
