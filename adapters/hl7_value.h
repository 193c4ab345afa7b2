/*
 * hl7_value - numbers of HL7 v2, digit for digit as FHIR writes them
 *
 * A number is kept as text: no digit is lost or added, so that 1.20 stays
 * 1.20.  Nothing is guessed: "about 2000", "2,150" and "1E3" are no numbers.
 *
 * Sources: HL7 v2.5.1, 2.A.47 (NM), 2.A.71 (SN); HL7 FHIR R4, decimal; HL7
 * v2-to-FHIR guide, SN to Quantity, Range, Ratio.
 */
#ifndef HEADGATE_ADAPTERS_HL7_VALUE_H
#define HEADGATE_ADAPTERS_HL7_VALUE_H

#include "planner/err.h"

#include <stdbool.h>
#include <stddef.h>

/* Eighteen digits: what R4 asks every receiver to keep. */
enum { HL7_NUMBER_DIGITS = 18, HL7_NUMBER_SIZE = 32, HL7_SN_PARTS = 4 };

/*
 * hl7_number_read - an NM as a FHIR decimal
 *
 * A leading plus and leading zeros go, ".5" becomes "0.5" and "5." becomes
 * "5"; blanks around it are let pass.
 *
 * ERR_FORM   not a number
 * ERR_LIMIT  more than HL7_NUMBER_DIGITS digits
 */
MUST_CHECK enum err hl7_number_read(const char *text,
                                    char out[HL7_NUMBER_SIZE]);

/*
 * hl7_number_in_text - a text that is a number and a unit, and nothing else
 *
 * "2150" or "2150 mL/min".  *unit is a UCUM code, static, or NULL if the text
 * is the number alone.  Only units of units_of_text are known.
 *
 * ERR_FORM, ERR_LIMIT
 */
MUST_CHECK enum err hl7_number_in_text(const char *text,
                                       char number[HL7_NUMBER_SIZE],
                                       const char **unit);

enum hl7_sn_kind {
    HL7_SN_EMPTY,
    HL7_SN_QUANTITY, /* low, perhaps with a comparator */
    HL7_SN_RANGE,    /* low to high, both included */
    HL7_SN_RATIO,    /* low : high */
    HL7_SN_TEXT      /* "2+": a grade, no number to reckon with */
};

struct hl7_sn {
    enum hl7_sn_kind kind;
    const char *comparator; /* of FHIR: "<" "<=" ">=" ">"; NULL none; static */
    char low[HL7_NUMBER_SIZE], high[HL7_NUMBER_SIZE];
    char text[2 * HL7_NUMBER_SIZE];
};

/*
 * hl7_sn_read - a structured numeric
 *
 * parts  its four components: comparator, number, separator, number; "" absent
 * at     out, on an error: which of them is at fault, from 1
 *
 * "<>" has no form in FHIR and is refused, and so is a range whose ends are
 * exchanged.
 *
 * ERR_FORM, ERR_LIMIT as of hl7_number_read
 */
MUST_CHECK enum err hl7_sn_read(const char *const parts[HL7_SN_PARTS],
                                struct hl7_sn *out, int *at);

#endif
