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
#include "adapters/zone.h"
#include "planner/reading.h"

#define CODES_LOINC "http://loinc.org"
#define CODES_MDC   "urn:iso:std:iso:11073:10101"
#define CODES_SCT   "http://snomed.info/sct"
#define CODES_UCUM  "http://unitsofmeasure.org"
/* HL7 v2 table 0136, yes/no indicator */
#define CODES_YES_NO "http://terminology.hl7.org/CodeSystem/v2-0136"

/* The systems under which a site's words stand: exact texts of body sites and
 * methods (ASCII case ignored), and exact texts of units (case counts). */
#define CODES_TEXT "urn:headgate:text"
#define CODES_UNIT "urn:headgate:unit"
/* Words of a unit may be those of one code alone, that is of who sends it and
 * of what is measured: CODES_UNIT, ":", its system, "|", the code.  Such a row
 * goes before one of CODES_UNIT. */
enum { CODES_SCOPE_SIZE = 800 };
bool codes_is_unit(const char *system); /* is it of either form? */

/*
 * codes_unit_scope - the system of the words of one code, as above
 *
 * ERR_LIMIT  system or code is longer than a map may have them
 * ERR_FORM   either is missing
 */
MUST_CHECK enum err codes_unit_scope(const char *system, const char *code,
                                     char out[CODES_SCOPE_SIZE]);

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
    enum sign sign;   /* CODE_QUESTION */
    enum side side;   /* of a finger pressure whose term names it, or by rule */
    bool needs_hand;  /* means a finger only where the body site says so */
    bool access_arm;  /* the measured hand is that of the access: no side is
                        needed */
    const char *unit; /* UCUM code of values that come without a unit; NULL:
                         there is none.  Borrowed from the map */
};

/* For a look-up that has no time of a measurement: the newest rows. */
#define CODES_NEWEST INT64_MAX

/*
 * codes_new - the shipped rows
 *
 * base  canonical base of our CodeSystems, e.g. "https://headgate.example/fhir"
 */
MUST_CHECK enum err codes_new(const char *base, struct codes **codes);
void codes_free(struct codes *codes);

/* The zone of the dates in files that are added from now on, borrowed until
 * the next call; NULL: UTC, as at the start. */
void codes_set_zone(struct codes *codes, const struct zone *zone);

/*
 * codes_add_concept_map - add a site's map (FHIR R4 ConceptMap, JSON)
 *
 * Targets are codes of CodeSystem av-observation, of av-method, or of av-site
 * (a side, a region, or both: "left", "hand", "left-upper-arm").  The whole
 * file is refused, and the map stays as it was, for: an unknown target, the
 * same source code twice (in the file or already mapped), not a ConceptMap,
 * one that is retired, and what would change the meaning of a row and is not
 * understood here (dependsOn, product, group.unmatched, a modifierExtension).
 * equivalence equal or equivalent maps; wider, narrower, inexact and the
 * like keep the reading without using it; unmatched is an explicit ignore.
 * Keys of text without a system: group.source CODES_TEXT maps exact words of
 * bodySite.text and method.text; CODES_UNIT those of a unit to a code of
 * CODES_UCUM.
 *
 * why  out: what is wrong and where, for a person
 *
 * ERR_FORM, ERR_UNKNOWN, ERR_CONFLICT, ERR_LIMIT (too many rows), ERR_MEMORY
 *
 * Source: HL7 FHIR R4 (4.0.1), ConceptMap, value set
 * concept-map-equivalence.
 */
MUST_CHECK enum err codes_add_concept_map(struct codes *codes, const char *json,
                                          size_t len, struct buf *why);

/*
 * codes_add_csv - add a site's map as CSV (RFC 4180, UTF-8, a header row)
 *
 *     source_system,source_code,target,unit_default,arm_rule,valid_from
 *
 * Columns stand in any order; the first three are needed, the others and
 * "note" (for people, not read) may be left out.
 *
 * source_system  URI as it is sent; CODES_TEXT: exact words of a body site or
 *                method; CODES_UNIT: those of a unit, of all senders and codes,
 *                or of one code (see CODES_SCOPE_SIZE)
 * target         a code of av-observation, av-method or av-site, "store"
 *                (kept, not used) or "ignore"; of a unit a UCUM code
 * unit_default   UCUM code, for values that come without a unit; may be empty
 * arm_rule       "left", "right", "access" (the arm of the access), or empty
 * valid_from     date from which on the code means this, by the time of the
 *                measurement; empty: always.  One source code may stand in
 *                several rows that begin at different dates.
 *
 * Refused as a whole, as a ConceptMap is; also for a unit that does not fit
 * what the target measures, an arm of what has none, and a date that does not
 * exist.  why names line and column.
 *
 * A code that is mapped from the start may be given again with the same
 * target, to add a unit or an arm; with another target it is refused.
 */
MUST_CHECK enum err codes_add_csv(struct codes *codes, const char *text,
                                  size_t len, struct buf *why);

/* A row that a person adds while the service runs; the same columns. */
struct codes_line {
    const char *system, *code, *target;
    const char *unit, *arm; /* "" none */
    int64_t from_s;         /* INT64_MIN: always */
    int64_t id;             /* by which it can be taken back; 0: it cannot */
};

/*
 * codes_learn - add one row; others may be reading the map at this moment
 *
 * One thread at a time may add.  A row that is there already, with all its
 * columns, is no error and changes nothing.  A code that stands in a file, or
 * is mapped from the start to another target, is refused whatever the date:
 * the file is where it is to be changed.
 *
 * Errors as of codes_add_csv; why names the column.
 */
MUST_CHECK enum err codes_learn(struct codes *codes,
                                const struct codes_line *line, struct buf *why);
/* Would codes_learn take it?  Changes nothing; any thread may ask. */
MUST_CHECK enum err codes_may_learn(const struct codes *codes,
                                    const struct codes_line *line,
                                    struct buf *why);

/*
 * codes_unlearn - what codes_learn added under this id counts no more; others
 * may be reading the map at this moment
 *
 * A row that it stood before counts again: an earlier one of the same code, or
 * that from the start.  What a look-up has lent stays readable.  The row keeps
 * its place among those that a map may hold until the map is freed.
 *
 * ERR_ABSENT  no row that counts has this id
 */
MUST_CHECK enum err codes_unlearn(struct codes *codes, int64_t id);

/*
 * Each look-up takes at_s, the time of the measurement (UTC, seconds since
 * 1970-01-01): of several rows of a code the one counts that began last
 * before or at it.  CODES_NEWEST where there is no such time.
 */

/* What an Observation.code coding means. */
struct code_entry codes_find(const struct codes *codes, const char *system,
                             const char *code, int64_t at_s);

/* Is there any row for it, if only to say that it is ignored? */
bool codes_listed(const struct codes *codes, const char *system,
                  const char *code, int64_t at_s);

/* The sign that a coded value means, for a quantity; SIGN_NONE if unknown. */
enum sign codes_sign(const struct codes *codes, enum quantity q,
                     const char *system, const char *code, int64_t at_s);

/* The answer to a yes-or-no code that a site's exact words (CODES_TEXT; blanks
 * around them and ASCII case ignored) mean: SIGN_THRILL_PRESENT for yes,
 * SIGN_THRILL_ABSENT for no; SIGN_NONE if no row says. */
enum sign codes_answer_text(const struct codes *codes, const char *text,
                            int64_t at_s);

/* Methods: by coding of av-method or a site's map, or by exact text. */
enum method codes_method(const struct codes *codes, const char *system,
                         const char *code, int64_t at_s);
enum method codes_method_text(const struct codes *codes, const char *text,
                              int64_t at_s);

/* A body site: its side, and whether it is a hand or finger; region is a
 * static word: "hand", "finger", "forearm", "upper-arm", "arm", "thigh",
 * "chest" or "" if not said. */
struct body_site {
    enum side side;
    const char *region;
};
struct body_site codes_site(const struct codes *codes, const char *system,
                            const char *code, int64_t at_s);
/* Exact words, ASCII case ignored: "left arm", "right hand". */
struct body_site codes_site_text(const struct codes *codes, const char *text,
                                 int64_t at_s);

/* The UCUM code that a unit text of this site means, where units_of_text does
 * not know it; NULL if no row says.  Borrowed from the map. */
const char *codes_unit_text(const struct codes *codes, const char *text,
                            int64_t at_s);
/* The same where a value of this code has it: what is said of the code alone
 * goes before what is said of all. */
const char *codes_unit_of(const struct codes *codes, const char *system,
                          const char *code, const char *text, int64_t at_s);

/* A body site as a code of av-site: "left-upper-arm"; "" if it says nothing. */
enum { CODES_SITE_SIZE = 32 };
void codes_site_word(const struct body_site *site, char out[CODES_SITE_SIZE]);

/* Words that a code_entry is told to people in: "access-flow" for its
 * quantity, question or stage, "ignore", "store"; "" for CODE_UNKNOWN. */
const char *codes_entry_word(const struct code_entry *entry);

#endif
