/*
 * hl7_oru_work - what the files of hl7_oru share; private to them
 *
 *     hl7_oru.c          issues; PID, OBR and OBX in their order
 *     hl7_oru_admit.c    is the message taken at all?
 *     hl7_oru_patient.c  PID: which number counts; Patient
 *     hl7_oru_result.c   OBX: status, time, identity
 *     hl7_oru_value.c    OBX-5, by its data type
 *     hl7_oru_write.c    Observation
 *     hl7_oru_note.c     NTE
 *     hl7_oru_damage.c   bytes that are not of the character set
 *     hl7_oru_put.c      texts, concepts, quantities in JSON
 *
 * An OBX is read into struct oru_result first; only if nothing is wrong with
 * it is anything written.
 */
#ifndef HEADGATE_ADAPTERS_HL7_ORU_WORK_H
#define HEADGATE_ADAPTERS_HL7_ORU_WORK_H

#include "adapters/hl7_oru.h"
#include "adapters/hl7_time.h"
#include "adapters/hl7_value.h"

enum {
    ORU_CODE_MAX = 200,     /* bytes of a code or a coding system's name */
    ORU_NUMBER_MAX = 200,   /* of a patient's number */
    ORU_SPACE_MAX = 64,     /* of whose number it is */
    ORU_TEXT_MAX = 16384,   /* of a value that is a text */
    ORU_DISPLAY_MAX = 1000, /* of what is only shown; longer is cut */
    ORU_NOTE_MAX = 4000,    /* of one comment */
    ORU_NOTES_MAX = 20,     /* after one OBX */
    ORU_KEY_SIZE = 33,      /* hexadecimal digits and NUL */
    ORU_URI_MAX = 4096,     /* of a URI put together here */
    ORU_SCRATCH_MAX = 2 * HL7_MESSAGE_MAX,
    ORU_BUNDLE_MAX = 24 * 1024 * 1024
};

struct oru_key {
    char text[ORU_KEY_SIZE];
};

struct oru {
    const struct hl7_message *message;
    const struct hl7_profile *profile;
    const char *base;
    struct hl7_oru *out;
    size_t entry_size;
    struct buf source;        /* meta.source */
    char sent[HL7_TIME_SIZE]; /* MSH-7 as an instant; "" */
    struct hl7_here here;
    /* the patient */
    size_t pid;          /* its segment */
    bool pid_there;      /* there was one */
    bool has_number;     /* and it names one */
    bool patient_is_put; /* in the Bundle */
    bool order_damaged;  /* said of its OBR; its results are left out */
    struct buf system, number;
    /* the order */
    size_t obr; /* its segment; SIZE_MAX: none */
    /* keys of results so far, to tell apart those that are equal */
    struct oru_key *keys;
    size_t key_count, key_size;
    bool said_containment; /* that OBX-4 names no access */
    struct buf value;      /* of the result at hand, where it is a text */
    struct buf text, id;   /* scratch */
    enum err err;
};

enum oru_kind {
    ORU_NONE,   /* nothing is said of the value, and nothing need be */
    ORU_ABSENT, /* why says why */
    ORU_QUANTITY,
    ORU_RANGE,
    ORU_RATIO,
    ORU_CONCEPT, /* CWE and its like */
    ORU_CODE,    /* IS, ID */
    ORU_STRING,  /* in oru.value */
    ORU_DATE_TIME,
    ORU_PERIOD, /* an hour */
    ORU_CLOCK
};

struct oru_value {
    enum oru_kind kind;
    const char *why;        /* ORU_ABSENT; static */
    const char *comparator; /* NULL none */
    char low[HL7_NUMBER_SIZE], high[HL7_NUMBER_SIZE];
    const char *unit; /* found in the text itself; NULL: OBX-6; static */
    struct hl7_time time;
    char clock[HL7_TIME_SIZE];
    size_t repetitions; /* ORU_CONCEPT, ORU_CODE: up to the last one */
};

struct oru_result {
    size_t segment; /* of the OBX */
    struct hl7_place place;
    char letter;        /* of table 0085, after OBR-25 too */
    const char *status; /* of FHIR */
    const char *remark; /* about the status, for people; NULL none */
    bool none;          /* the status says that there is no result */
    bool withdrawn, corrected, promote;
    bool has_time, has_end;
    struct hl7_time time, end;
    char issued[HL7_TIME_SIZE]; /* "" none */
    struct oru_key key;
    bool has_instance; /* OBX-21 */
    struct oru_key instance;
    struct oru_value value;
};

/* ---- issues, at a segment ---------------------------------------------- */

/* The place of a field in a segment; 0 for what is not that deep. */
struct hl7_place oru_place(const struct oru *o, size_t segment, int field,
                           int repetition, int component);
/* An error: counts, and the caller leaves the thing out. */
void oru_error(struct oru *o, const struct hl7_place *place,
               enum hl7_error code, const char *word, const char *text);
void oru_warn(struct oru *o, const struct hl7_place *place, enum hl7_error code,
              const char *word, const char *text);

/* ---- texts ------------------------------------------------------------- */

/* A value; `""` is as good as nothing. */
const char *oru_text(const struct oru *o, size_t segment, int field,
                     int repetition, int component);
const char *oru_field(const struct oru *o, size_t segment, int field);
/* Something to read in it, after what JSON cannot show has gone? */
bool oru_says(const char *text);
/* A text with the usual blank in place of the others of Unicode. */
void oru_add_plain(struct buf *out, const char *text);
/* Fit for FHIR's type code, and not too long? */
bool oru_is_code(const char *text);
/* Neither components nor subcomponents. */
bool oru_is_simple(const struct oru *o, size_t segment, int field,
                   int repetition);
/* A repetition as a text: its parts, with the delimiters that stood between
 * them. */
void oru_whole(const struct oru *o, size_t segment, int field, int repetition,
               struct buf *out);

/* Read a time of a field; says what is wrong with it.  Warnings of clocks that
 * change are said too. */
bool oru_read_time(struct oru *o, size_t segment, int field, int repetition,
                   struct hl7_time *out);

/* ---- parts ------------------------------------------------------------- */

/* A new PID: finds its number; says what is wrong. */
void oru_patient(struct oru *o, size_t segment);
/* The Patient, if it is not in the Bundle yet. */
void oru_put_patient(struct oru *o);

/* An OBX, and the comments after it. */
void oru_result(struct oru *o, size_t segment);
/* OBX-5 into r->value; false: said what is wrong. */
bool oru_read_value(struct oru *o, struct oru_result *r);
/* Anything in this repetition of OBX-5 that a concept can be made of? */
bool oru_names_something(const struct oru *o, const struct oru_result *r,
                         int repetition);
/* May it have, or have had, repetitions that are results of their own? */
bool oru_may_repeat(const struct oru *o, const struct oru_result *r);
/* The comments (NTE) after an OBX: warns of those that are cut or left out;
 * writes them, after what is to be said about the status. */
void oru_check_notes(struct oru *o, size_t segment);
void oru_put_notes(struct oru *o, const struct oru_result *r);
/* The entries of a result. */
void oru_put_result(struct oru *o, const struct oru_result *r);

/* A new entry: its place in the list.  Sets o->err beyond HL7_ENTRIES_MAX. */
struct hl7_entry *oru_entry(struct oru *o, struct hl7_place place);

/* Bytes that are not of the character set, in PID-3, in what an order and a
 * result are known by, in a value: each says so, as an error. */
bool oru_is_patient_damaged(struct oru *o, size_t segment);
bool oru_is_order_damaged(struct oru *o, size_t segment);
bool oru_is_result_damaged(struct oru *o, size_t segment);
bool oru_is_value_damaged(struct oru *o, size_t segment);
/* Such bytes in what else PID says; nothing is said. */
bool oru_is_person_damaged(const struct oru *o);
/* Warns of the others, once for each segment. */
void oru_warn_damage(struct oru *o);

/* ---- JSON -------------------------------------------------------------- */

/* An object or list that is not written if nothing is put into it. */
struct oru_mark {
    size_t before, inside;
};
struct oru_mark oru_open(struct buf *b, const char *key, char bracket);
void oru_close(struct buf *b, struct oru_mark mark, char bracket);

/* A text that is only shown: cut at ORU_DISPLAY_MAX. */
void oru_put_display(struct buf *b, const char *key, const char *text);
/* "entry" and what goes before a resource of this type, with meta.source. */
void oru_put_begin(struct oru *o, const char *type);
/* The request: a POST, on condition that nobody has the identifier, if not
 * NULL. */
void oru_put_end(struct oru *o, const char *type, const char *system,
                 const char *number);
/* A Reference by identifier. */
void oru_put_logical(struct buf *b, const char *key, const char *type,
                     const char *system, const char *value);

/* A CodeableConcept of the components from `first` on: code, text, system,
 * twice; text of the ninth (2.5 and later). */
void oru_put_concept(struct oru *o, const char *key, size_t segment, int field,
                     int repetition);
/* The same of one component whose subcomponents are code, text, system. */
void oru_put_concept_in(struct oru *o, const char *key, size_t segment,
                        int field, int component);
/* A code alone, of the sender's own. */
void oru_put_code(struct oru *o, const char *key, const char *code);

/* Does OBX-6 name a unit, and as its alternate another one? */
bool oru_units_differ(const struct oru *o, size_t segment);
/* value, comparator and unit of OBX-6 (or this UCUM code). */
void oru_put_quantity(struct oru *o, const char *key, size_t segment,
                      const char *comparator, const char *number,
                      const char *unit);

#endif
