/*
 * patient_sought - is a patient named in what came?
 *
 * Store thread only.  What came is taken apart by the readers of its form, so
 * that escapes and the delimiters of a message hide nobody:
 *
 *     JSON      identifiers, references, and conditions in URLs
 *     HL7 v2    PID, by what is known of the sender (patient_sought_hl7.c)
 *     neither   bytes that cannot be taken apart: never more than perhaps
 *
 * Somebody is named by system and number, or by reference.  An equal number
 * whose system is not said, or is one that nobody here is known by, may be the
 * patient's or another's: perhaps.  One that is another patient's name here is
 * not the patient's.
 */
#ifndef HEADGATE_SERVICE_PATIENT_SOUGHT_H
#define HEADGATE_SERVICE_PATIENT_SOUGHT_H

#include "adapters/buf.h"
#include "service/hl7_senders.h"
#include "service/patient_names.h"

enum sought { SOUGHT_NOT, SOUGHT_PERHAPS, SOUGHT_SURE };

struct seeking {
    struct db *db; /* who else is called so */
    const struct patient_names *names;
    const struct hl7_senders *senders; /* NULL: none is known */
    const char *base;                  /* of our URLs; "" */
};

struct found {
    enum sought how;
    /* of a message of HL7 v2 */
    bool others; /* somebody else is in it */
    bool apart;  /* so is the patient, and which part is whose is sure */
};

/* source: of a message of HL7 v2, the name of its sender's section */
MUST_CHECK enum err patient_sought(const struct seeking *s, const char *source,
                                   const char *bytes, size_t len,
                                   struct found *found);

/*
 * patient_sought_without - a message of HL7 v2 with what is of others alone
 *
 * A PID and what follows it, up to the next, are left out where they are the
 * patient's.  What stands before the first PID stays.
 *
 * ERR_CONFLICT  it is not sure which part is whose, see found.apart
 */
MUST_CHECK enum err patient_sought_without(const struct seeking *s,
                                           const char *source,
                                           const char *bytes, size_t len,
                                           struct buf *out);

/* ---- shared by the parts ---------------------------------------------------- */

/* The first place of these bytes; NULL: nowhere. */
const char *patient_sought_bytes(const char *text, size_t len, const char *word,
                                 size_t size);
/* Cut off what stands before the next mark; *rest is what stands behind, NULL
 * after the last.  NULL: there is no more. */
char *patient_sought_part(char **rest, char mark);

/* How surely these are the patient's; value alone says no more than perhaps,
 * and only where a person is named. */
MUST_CHECK enum err patient_sought_number(const struct seeking *s,
                                          const char *system, const char *value,
                                          enum sought *how);
/* Is it the name of somebody else here? */
MUST_CHECK enum err patient_sought_owned(const struct seeking *s,
                                         const char *system, const char *value,
                                         bool *owned);
/* ERR_FORM: it cannot be taken apart. */
MUST_CHECK enum err patient_sought_hl7(const struct seeking *s,
                                       const char *source, const char *bytes,
                                       size_t len, struct found *found);
MUST_CHECK enum err patient_sought_json(const struct seeking *s,
                                        const char *bytes, size_t len,
                                        struct found *found);

#endif
