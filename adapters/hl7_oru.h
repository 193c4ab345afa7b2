/*
 * hl7_oru - an unsolicited result (ORU^R01) as a FHIR Bundle
 *
 *     MSH PID { OBR { OBX NTE } } --> batch Bundle of Patient and Observations
 *
 * What is measured, in which unit, whose, and of which access is judged by
 * the same code that judges FHIR; here one form becomes the other, and what
 * cannot become anything is named with its place.
 *
 * Sources: HL7 v2.5.1 chapter 7; HL7 v2-to-FHIR implementation guide (OBX to
 * Observation; table 0085 to Observation.status); HL7 FHIR R4.
 */
#ifndef HEADGATE_ADAPTERS_HL7_ORU_H
#define HEADGATE_ADAPTERS_HL7_ORU_H

#include "adapters/hl7_profile.h"

/* Codes of table 0357. */
enum hl7_error {
    HL7_SEQUENCE = 100,
    HL7_MISSING = 101,
    HL7_DATA_TYPE = 102,
    HL7_TABLE_VALUE = 103,
    HL7_TOO_LONG = 104,
    HL7_MESSAGE_TYPE = 200,
    HL7_EVENT = 201,
    HL7_PROCESSING_ID = 202,
    HL7_VERSION = 203,
    HL7_UNKNOWN_KEY = 204,
    HL7_DUPLICATE_KEY = 205,
    HL7_LOCKED = 206,
    HL7_INTERNAL = 207
};

enum hl7_severity { HL7_INFORMATION, HL7_WARNING, HL7_ERROR };

enum { HL7_ISSUES_MAX = 20 };

struct hl7_issue {
    enum hl7_severity severity;
    enum hl7_error code;
    const char *word; /* stable, of outcome.h; static */
    struct hl7_place place;
    char text[200]; /* for a person; no value of a patient */
};

struct hl7_issues {
    size_t count, errors;
    size_t dropped; /* beyond the ceiling; counted in errors all the same */
    struct hl7_issue list[HL7_ISSUES_MAX];
};

void hl7_issue_add(struct hl7_issues *issues, enum hl7_severity severity,
                   enum hl7_error code, const char *word,
                   const struct hl7_place *place, const char *format, ...)
    __attribute__((format(printf, 6, 7)));

/*
 * hl7_admit - is it a message that is taken here at all?
 *
 * Type, event, version (2.3 to 2.8), processing id.  ERR_OK, or ERR_DENIED
 * with an error in issues: it is to be rejected (AR, CR).
 */
MUST_CHECK enum err hl7_admit(const struct hl7_message *message,
                              const struct hl7_profile *profile,
                              struct hl7_issues *issues);

/* Which part of the Bundle came from where. */
struct hl7_entry {
    struct hl7_place place; /* of its OBX, or of PID */
    bool promote;  /* a preliminary result that is stored becomes final (OBX-11
                     U without a value) */
    bool if_known; /* to be left out where no resource has this identifier: the
                      message names a coded result anew, and a value that it
                      had before and has no longer must not stay */
    bool damaged;  /* of a Patient: what is only shown has bytes that are not of
                      the character set; what is known is better */
};
enum {
    HL7_ENTRIES_MAX = 5000,
    HL7_REPETITIONS_MAX = 10 /* of a coded value; each is an Observation */
};

struct hl7_oru {
    struct buf bundle; /* JSON; len 0: nothing of it can be used */
    struct hl7_entry *entries;
    size_t entry_count;
    size_t left_out;   /* OBX that are no entry, for an error that is said
                                 of it, of its order or of its patient; not those
                                 that say that there is no result */
    bool has_patient;  /* entry 0 is the Patient */
    char control[200]; /* MSH-10 */
    struct hl7_issues issues; /* errors: what is not in the Bundle */
};

/*
 * hl7_oru_read - everything of the message that has a form in FHIR
 *
 * base  canonical base of our CodeSystems and identifiers
 *
 * A patient number that cannot be found leaves out all that is that patient's
 * (of the only one: the Bundle is empty); a bad OBX leaves out that one alone.
 *
 * Each Observation has an identifier of system
 * "BASE/NamingSystem/hl7-result", equal for every report of the same result: a
 * digest of MSH-3, MSH-4, the patient's number, OBX-3, the time and OBX-21;
 * without OBX-21, of OBR-3 and OBX-4 in its place.  With OBX-21 a second
 * identifier of the same system is a digest without the time: by it whoever
 * has a store finds what a withdrawal without a time, or a correction of the
 * time, means.  Results of one message that do not differ in any of these are
 * told apart by their order, in which those of status I, N and O have their
 * places too.  Of a coded value with repetitions the second and later end in
 * "#2", "#3" and so on.
 * What corrects or withdraws a coded value also withdraws the repetitions that
 * it does not have (entries with if_known).
 *
 * Status is that of OBX-11, issued OBR-22, else MSH-7.  What is withdrawn has
 * no value.
 *
 * ERR_LIMIT   more than HL7_ENTRIES_MAX results
 * ERR_MEMORY
 */
MUST_CHECK enum err hl7_oru_read(const struct hl7_message *message,
                                 const struct hl7_profile *profile,
                                 const char *base, struct hl7_oru *out);
void hl7_oru_clear(struct hl7_oru *oru);

/*
 * hl7_oru_number - whose number a repetition of PID-3 is, and which
 *
 * The system and the number that the Bundle would have of it.  False: it is
 * none that counts for this sender, or too long; both are then empty.
 *
 * segment  of a PID; repetition: from 1
 */
bool hl7_oru_number(const struct hl7_message *message,
                    const struct hl7_profile *profile, size_t segment,
                    int repetition, struct buf *system, struct buf *number);

#endif
