#include "adapters/hl7_profile.h"

#include "adapters/codes.h"

#include <string.h>

/*
 * Names of table 0396 and the URIs by which FHIR knows the same systems (HL7
 * FHIR R4, terminologies; HL7 Terminology).  A name whose URI is not certain
 * has no row: it stays a name of its sender's.
 */
static const struct {
    const char *name, *uri;
} standard[] = {
    { "LN", CODES_LOINC },
    { "SCT", CODES_SCT },
    { "MDC", CODES_MDC },
    { "UCUM", CODES_UCUM },
    { "I9", "http://hl7.org/fhir/sid/icd-9-cm" },
    { "I9C", "http://hl7.org/fhir/sid/icd-9-cm" },
    { "I9CDX", "http://hl7.org/fhir/sid/icd-9-cm" },
    { "I10", "http://hl7.org/fhir/sid/icd-10" },
    { "I10C", "http://hl7.org/fhir/sid/icd-10-cm" },
    { "C4", "http://www.ama-assn.org/go/cpt" },
    { "CVX", "http://hl7.org/fhir/sid/cvx" },
    { "NDC", "http://hl7.org/fhir/sid/ndc" },
    { "RXNORM", "http://www.nlm.nih.gov/research/umls/rxnorm" },
    { "DCM", "http://dicom.nema.org/resources/ontology/DCM" },
    { "ISO3166_1", "urn:iso:std:iso:3166" },
};

static const char table_uri[] = "http://terminology.hl7.org/CodeSystem/v2-";

/* "HL70078": a table of HL7's own. */
static bool is_table(const char *name)
{
    return strlen(name) == 7 && strncmp(name, "HL7", 3) == 0 &&
           strspn(name + 3, "0123456789") == 4;
}

/* A part of a URN: what may not stand there as it is, in hexadecimal (RFC 3986,
 * 2.1 and 2.3). */
static void put_part(struct buf *out, const char *text)
{
    static const char plain[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                "abcdefghijklmnopqrstuvwxyz0123456789-._~";

    for (; *text != '\0'; text++) {
        if (strchr(plain, *text) != NULL)
            buf_add(out, text, 1);
        else
            buf_printf(out, "%%%02X", (unsigned)(unsigned char)*text);
    }
}

void hl7_profile_urn(const struct hl7_profile *profile, const char *name,
                     struct buf *out)
{
    buf_puts(out, "urn:headgate:hl7:");
    put_part(out, profile->name);
    buf_puts(out, ":");
    put_part(out, name);
}

void hl7_system_uri(const struct hl7_profile *profile, const char *name,
                    struct buf *out)
{
    for (size_t i = 0; i < profile->system_count; i++) {
        if (strcmp(profile->systems[i].name, name) == 0) {
            buf_puts(out, profile->systems[i].uri);
            return;
        }
    }
    for (size_t i = 0; i < COUNT(standard); i++) {
        if (strcmp(standard[i].name, name) == 0) {
            buf_puts(out, standard[i].uri);
            return;
        }
    }
    if (is_table(name)) {
        buf_puts(out, table_uri);
        buf_puts(out, name + 3);
        return;
    }
    hl7_profile_urn(profile, name, out);
}

void hl7_patient_system(const struct hl7_profile *profile,
                        const struct hl7_number_space *space, struct buf *out)
{
    if (profile->patient_system[0] != '\0') {
        buf_puts(out, profile->patient_system);
        return;
    }
    hl7_profile_urn(profile, "patient", out);
    if (profile->patient_authority[0] != '\0')
        return; /* it is the same for all */
    if (space->authority[0] != '\0') {
        buf_puts(out, ":");
        put_part(out, space->authority);
    } else if (profile->facility[0] == '\0' &&
               (space->application[0] != '\0' || space->facility[0] != '\0')) {
        buf_puts(out, ":");
        put_part(out, space->application);
        buf_puts(out, ":");
        put_part(out, space->facility);
    }
}

void hl7_profile_source(const struct hl7_profile *profile, const char *base,
                        struct buf *out)
{
    buf_puts(out, base);
    buf_puts(out, "/hl7/");
    put_part(out, profile->name);
}

void hl7_url_part(const char *text, struct buf *out)
{
    put_part(out, text);
}
