#include "adapters/codes_rows.h"

/*
 * The codes of open standards that are mapped from the start.
 *
 * A row stands here only if its code was seen, with its meaning, where the
 * code system or a guide of HL7 publishes it: HL7 FHIR R4 (4.0.1), core
 * definitions and examples; HL7's guides of point-of-care devices (uv-pocd)
 * and of chronic conditions (us-mcc); the pages of loinc.org and copies of
 * LOINC 2.82.  Codes that were seen in the works of others alone are rows of
 * config/maps/second-hand.csv, which a site switches on once it has checked
 * them.  SNOMED CT needs a licence in many countries: its codes are rows of
 * config/maps/snomed-ct.csv, and nothing here depends on them.
 *
 * A code of a blood pump is pump flow, never access flow, whatever its
 * display says: both are some hundred mL/min, and one for the other is the
 * dangerous mistake.  So the three rows of pump flow stay here although they
 * are second-hand: no map can give them another meaning.  There is no
 * confirmed standard code for access flow.
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

/* clang-format off: one row, one line */
const struct codes_row codes_shipped[] = {
    /* blood pressure: FHIR R4 vital signs; MDC: uv-pocd */
    OBSERVATION(CODES_LOINC, "85354-9", "session-panel"), /* components only */
    OBSERVATION(CODES_LOINC, "8480-6", "systolic-pressure"),
    OBSERVATION(CODES_LOINC, "8462-4", "diastolic-pressure"),
    OBSERVATION(CODES_LOINC, "8478-0", "mean-pressure"),
    OBSERVATION(CODES_MDC, "150017", "systolic-pressure"),
    OBSERVATION(CODES_MDC, "150018", "diastolic-pressure"),
    OBSERVATION(CODES_MDC, "150019", "mean-pressure"),
    OBSERVATION(CODES_MDC, "150020", "session-panel"), /* components only */
    OBSERVATION(CODES_MDC, "150021", "systolic-pressure"),
    OBSERVATION(CODES_MDC, "150022", "diastolic-pressure"),
    OBSERVATION(CODES_MDC, "150023", "mean-pressure"),

    /* heart: LOINC 2.82; MDC: uv-pocd */
    OBSERVATION(CODES_LOINC, "8741-1", "cardiac-output"),
    OBSERVATION(CODES_LOINC, "8737-9", "cardiac-output"), /* by dilution */
    OBSERVATION(CODES_MDC, "150276", "cardiac-output"),
    IGNORE(CODES_MDC, "149772"), /* cardiac index, never to be read as output */

    /* finger pressure: the term names finger and side; LOINC 2.82 */
    FINGER(CODES_LOINC, "8560-5", SIDE_RIGHT), /* index finger */
    FINGER(CODES_LOINC, "8571-2", SIDE_LEFT),  /* ring finger */
    FINGER(CODES_LOINC, "8574-6", SIDE_RIGHT), /* thumb */

    /* oxygen saturation tells of the hand only where it was taken there:
     * FHIR R4 vital signs; MDC: uv-pocd */
    IF_HAND(CODES_LOINC, "59408-5", "finger-oxygen-saturation"),
    IF_HAND(CODES_LOINC, "2708-6", "finger-oxygen-saturation"),
    IF_HAND(CODES_MDC, "150456", "finger-oxygen-saturation"),

    /* the value says which: examples of us-mcc */
    OBSERVATION(CODES_LOINC, "75325-1", "hand-symptom"),

    /* dose: LOINC 2.82 */
    OBSERVATION(CODES_LOINC, "70966-7", "spktv"), /* kinetic, single pool */
    IGNORE(CODES_LOINC, "70960-0"),               /* of peritoneal dialysis */
    OBSERVATION(CODES_LOINC, "11065-0", "bun-pre"),
    OBSERVATION(CODES_LOINC, "11064-3", "bun-post"),
    STORE(CODES_LOINC, "3094-0", "bun-pre"), /* before or after: not said */
    OBSERVATION(CODES_LOINC, "70956-8", "treatment-time"),
    STORE(CODES_LOINC, "68489-4", "treatment-time"),    /* as prescribed */
    OBSERVATION(CODES_LOINC, "29463-7", "body-weight"), /* FHIR R4 */
    OBSERVATION(CODES_LOINC, "3141-9", "body-weight"),

    /* blood pump: second-hand, kept here as a guard (see above); the numbers
     * agree with each other: 16935956 is 2^24 + 158740, as settings are, and
     * 158743 is 158740 + 3, as means are */
    OBSERVATION(CODES_MDC, "158740", "qb"),   /* measured */
    OBSERVATION(CODES_MDC, "158743", "qb"),   /* mean */
    OBSERVATION(CODES_MDC, "16935956", "qb"), /* setting */
};
/* clang-format on */

const size_t codes_shipped_count = COUNT(codes_shipped);
