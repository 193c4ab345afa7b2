/*
 * hl7_profile - what is known of a sender of HL7 v2 beforehand
 *
 * Senders differ in what the standard leaves to agreement: whose numbers they
 * send, what their local codes are called, in which zone their clocks are.
 */
#ifndef HEADGATE_ADAPTERS_HL7_PROFILE_H
#define HEADGATE_ADAPTERS_HL7_PROFILE_H

#include "adapters/hl7.h"
#include "adapters/zone.h"

/* Where the access stands, if the sender names it. */
enum hl7_access_field {
    HL7_ACCESS_NONE,
    HL7_ACCESS_OBX_4,  /* sub-id */
    HL7_ACCESS_OBX_20, /* observation site */
    HL7_ACCESS_OBR_15  /* specimen source, its site: 2.3 to 2.5 */
};

/* What a message with bad content is answered (it is quarantined either
 * way). */
enum hl7_bad_content { HL7_BAD_AE, HL7_BAD_AA, HL7_BAD_AR };

enum { HL7_SYSTEMS_MAX = 16, HL7_PROFILE_TEXT = 256 };

struct hl7_profile {
    char name[64];                  /* of the settings: "hall-north" */
    char application[64];           /* MSH-3.1; "" any */
    char facility[64];              /* MSH-4.1; "" any */
    char unit[128];                 /* whose patients, for people; "" name */
    char charset[HL7_CHARSET_SIZE]; /* of an empty MSH-18; "" ASCII */
    const struct zone *zone;        /* of times without one */
    /* Which of the repeats of PID-3 counts: PID-3.4.1 and PID-3.5; "" any */
    char patient_authority[64], patient_type[8];
    char patient_system[HL7_PROFILE_TEXT]; /* URI of these numbers */
    enum hl7_access_field access_field;
    char access_system[HL7_PROFILE_TEXT]; /* URI; "": it is a body site */
    /* OBX-3.3 and the like to URI, beyond the standard's names */
    struct {
        char name[16];
        char uri[HL7_PROFILE_TEXT];
    } systems[HL7_SYSTEMS_MAX];
    size_t system_count;
    bool numbers_in_text; /* ST and TX that are a whole number, with unit */
    bool accept_test;     /* MSH-11 T and D */
    enum hl7_bad_content bad_content;
};

/*
 * hl7_system_uri - the URI of a coding system as OBX-3.3 names it
 *
 * The profile's own rows first; then LN, SCT, MDC, UCUM and the like, and
 * HL7nnnn; whatever else is "urn:headgate:hl7:PROFILE:NAME", so that a code
 * map can name it.  "" stays "urn:headgate:hl7:PROFILE:".
 */
void hl7_system_uri(const struct hl7_profile *profile, const char *name,
                    struct buf *out);

/* "urn:headgate:hl7:PROFILE:NAME", whatever the name means elsewhere. */
void hl7_profile_urn(const struct hl7_profile *profile, const char *name,
                     struct buf *out);

/* Whose number a message says that one in PID-3 is; each "" if not said. */
struct hl7_number_space {
    const char *authority;              /* PID-3.4 */
    const char *application, *facility; /* MSH-3, MSH-4 */
};

/*
 * hl7_patient_system - the system of a patient's number
 *
 * That of the settings; else "urn:headgate:hl7:PROFILE:patient", and behind
 * it, so that equal numbers of two halls are two people:
 *
 *     ":AUTHORITY"            where PID-3.4 names one and the settings do not
 *     ":APPLICATION:FACILITY" where it names none, and the profile may be that
 *                             of several halls (it has no facility)
 */
void hl7_patient_system(const struct hl7_profile *profile,
                        const struct hl7_number_space *space, struct buf *out);

/* meta.source of what came from this sender: "BASE/hl7/PROFILE". */
void hl7_profile_source(const struct hl7_profile *profile, const char *base,
                        struct buf *out);

/* A text as part of a URI: unreserved characters as they are, the bytes of
 * others in hexadecimal (RFC 3986, 2.1). */
void hl7_url_part(const char *text, struct buf *out);

#endif
