#include "adapters/codes_rows.h"

/*
 * The codes of open standards that are mapped from the start.
 *
 * LOINC and MDC rows were seen in public sources that print the code systems
 * (HL7 FHIR R4 core definitions and examples, public guides of device and
 * intensive-care interoperability) unless a row says "second-hand": such a
 * row is to be checked again against a licensed copy before clinical use.
 *
 * SNOMED CT needs a licence in many countries; a site without one must not
 * send these codes, and nothing here depends on them.  Only sides and two
 * body sites are mapped.
 *
 * A code of a blood pump is pump flow, never access flow, whatever its
 * display says: both are some hundred mL/min, and one for the other is the
 * dangerous mistake.  There is no confirmed standard code for access flow.
 */
#define ROW(of_system, of_code, of_kind, to, how)                              \
    .system = (of_system), .code = (of_code), .kind = (of_kind),               \
    .target = (to), .use = (how), .from_s = INT64_MIN
#define OBSERVATION(system, code, target)                                      \
    {                                                                          \
        ROW(system, code, TARGET_OBSERVATION, target, USE_EQUAL)               \
    }
#define FINGER(system, code, of_side)                                          \
    {                                                                          \
        ROW(system, code, TARGET_OBSERVATION, "digital-pressure", USE_EQUAL),  \
            .side = (of_side)                                                  \
    }
#define IF_HAND(system, code, target)                                          \
    {                                                                          \
        ROW(system, code, TARGET_OBSERVATION, target, USE_EQUAL),              \
            .needs_hand = true                                                 \
    }
#define STORE(system, code, target)                                            \
    {                                                                          \
        ROW(system, code, TARGET_OBSERVATION, target, USE_STORE)               \
    }
#define IGNORE(system, code)                                                   \
    {                                                                          \
        ROW(system, code, TARGET_OBSERVATION, NULL, USE_IGNORE)                \
    }
#define SITE(system, code, target)                                             \
    {                                                                          \
        ROW(system, code, TARGET_SITE, target, USE_EQUAL)                      \
    }

/* clang-format off: one row, one line */
const struct codes_row codes_shipped[] = {
    /* blood pressure */
    OBSERVATION(CODES_LOINC, "85354-9",
                "session-panel"), /* carries components only */
    OBSERVATION(CODES_LOINC, "8480-6", "systolic-pressure"),
    OBSERVATION(CODES_LOINC, "8462-4", "diastolic-pressure"),
    OBSERVATION(CODES_LOINC, "8478-0", "mean-pressure"),
    OBSERVATION(CODES_MDC, "150017", "systolic-pressure"),
    OBSERVATION(CODES_MDC, "150018", "diastolic-pressure"),
    OBSERVATION(CODES_MDC, "150019", "mean-pressure"),
    OBSERVATION(CODES_MDC, "150020",
                "session-panel"), /* non-invasive, carries components only */
    OBSERVATION(CODES_MDC, "150021", "systolic-pressure"),
    OBSERVATION(CODES_MDC, "150022", "diastolic-pressure"),
    OBSERVATION(CODES_MDC, "150023", "mean-pressure"),
    OBSERVATION(
        CODES_MDC, "150301",
        "systolic-pressure"), /* cuff; second-hand, re-check against a licensed copy */
    OBSERVATION(
        CODES_MDC, "150302",
        "diastolic-pressure"), /* cuff; second-hand, re-check against a licensed copy */
    OBSERVATION(
        CODES_MDC, "150303",
        "mean-pressure"), /* cuff; second-hand, re-check against a licensed copy */

    /* heart */
    OBSERVATION(CODES_LOINC, "8741-1", "cardiac-output"),
    OBSERVATION(CODES_LOINC, "8737-9",
                "cardiac-output"), /* by indicator dilution */
    OBSERVATION(CODES_MDC, "150276", "cardiac-output"),
    IGNORE(CODES_MDC, "149772"), /* cardiac index, must not be read as output */

    /* finger pressure: the term names finger and side */
    FINGER(CODES_LOINC, "8560-5", SIDE_RIGHT), /* index finger */
    FINGER(CODES_LOINC, "8571-2", SIDE_LEFT),  /* ring finger */
    FINGER(CODES_LOINC, "8574-6", SIDE_RIGHT), /* thumb */

    /* oxygen saturation tells of the hand only where it was taken there */
    IF_HAND(CODES_LOINC, "59408-5", "finger-oxygen-saturation"),
    IF_HAND(CODES_LOINC, "2708-6", "finger-oxygen-saturation"),
    IF_HAND(CODES_MDC, "150456", "finger-oxygen-saturation"),

    OBSERVATION(
        CODES_LOINC, "75325-1",
        "hand-symptom"), /* symptom, the value says which; second-hand, re-check against a licensed copy */

    /* dose */
    OBSERVATION(
        CODES_LOINC, "70965-9",
        "spktv"), /* Daugirdas II; second-hand, re-check against a licensed copy */
    OBSERVATION(CODES_LOINC, "70966-7",
                "spktv"),           /* urea kinetic model, single pool */
    IGNORE(CODES_LOINC, "70960-0"), /* Kt/V of peritoneal dialysis */
    OBSERVATION(CODES_LOINC, "11065-0", "bun-pre"),
    OBSERVATION(CODES_LOINC, "11064-3", "bun-post"),
    STORE(CODES_LOINC, "3094-0",
          "bun-pre"), /* urea nitrogen, before or after not said */
    OBSERVATION(CODES_LOINC, "70956-8", "treatment-time"),
    STORE(CODES_LOINC, "68489-4",
          "treatment-time"), /* hours per session: as prescribed */
    OBSERVATION(
        CODES_MDC, "158720",
        "treatment-time"), /* second-hand, re-check against a licensed copy */
    OBSERVATION(
        CODES_MDC, "159032",
        "uf-volume"), /* removed; second-hand, re-check against a licensed copy */
    IGNORE(
        CODES_MDC,
        "159028"), /* target of ultrafiltration; second-hand, re-check against a licensed copy */
    OBSERVATION(CODES_LOINC, "29463-7", "body-weight"),
    OBSERVATION(CODES_LOINC, "3141-9", "body-weight"),
    OBSERVATION(
        CODES_MDC, "188736",
        "body-weight"), /* second-hand, re-check against a licensed copy */

    /* dialysis machine */
    OBSERVATION(
        CODES_MDC, "158740",
        "qb"), /* measured; second-hand, re-check against a licensed copy */
    OBSERVATION(CODES_MDC, "158743",
                "qb"), /* mean; second-hand, re-check against a licensed copy */
    OBSERVATION(
        CODES_MDC, "16935956",
        "qb"), /* setting; second-hand, re-check against a licensed copy */
    OBSERVATION(
        CODES_MDC, "158744",
        "arterial-line-pressure"), /* second-hand, re-check against a licensed copy */
    OBSERVATION(
        CODES_MDC, "158776",
        "venous-line-pressure"), /* second-hand, re-check against a licensed copy */

    /* sides and body sites */
    SITE(CODES_SCT, "419161000", "left"),  /* unilateral left */
    SITE(CODES_SCT, "419465000", "right"), /* unilateral right */
    SITE(CODES_SCT, "368208006",
         "left-upper-arm"), /* from memory, re-check against a licensed copy */
    SITE(CODES_SCT, "368209003",
         "right-upper-arm"), /* from memory, re-check against a licensed copy */
};
/* clang-format on */

const size_t codes_shipped_count = COUNT(codes_shipped);
