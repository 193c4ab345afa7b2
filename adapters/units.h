/*
 * units - from the unit that a sender uses to the one used inside
 *
 * A small table of UCUM codes, not a UCUM parser: what is not in the table is
 * refused, never guessed.  Codes are case-sensitive, without blanks, as FHIR
 * demands of Quantity.code.
 *
 * Source of the factors: UCUM 2.1 definitions; mass of urea nitrogen
 * 28.0134 g/mol (two N), of urea 60.056 g/mol, from standard atomic weights.
 * Checked against an independent UCUM library, see tests/.
 */
#ifndef HEADGATE_ADAPTERS_UNITS_H
#define HEADGATE_ADAPTERS_UNITS_H

#include "planner/quantity.h"

/*
 * units_convert - a value in a unit of the sender, in the unit used inside
 *
 * q        the quantity measured; its row names the unit used inside
 * code     UCUM code, len bytes
 * value    as sent, in that unit
 * out      the value in quantity_info(q)->unit; written only on ERR_OK
 *
 * For blood urea nitrogen and urea, mass and molar concentrations convert by
 * the species that the quantity names.  "1" and "%" convert only for
 * quantities without dimension, and so do annotations ("{ratio}"), which mean
 * 1; an annotation with a digit is refused, for it may hide a factor.
 *
 * ERR_UNKNOWN    the code is not in the table, or is not a UCUM code
 * ERR_CONFLICT   the code is known but of another dimension
 * ERR_RANGE      the value, or the result, is not a finite number
 */
MUST_CHECK enum err units_convert(enum quantity q, const char *code, size_t len,
                                  double value, double *out);

/*
 * units_of_text - the UCUM code that a unit text of everyday use means
 *
 * For senders that give Quantity.unit and no code: "ml/min", "mmHg".  Exact
 * words only; a text that is itself a code of the table means that code.
 * *code points into static memory.  ERR_UNKNOWN if not listed.
 */
MUST_CHECK enum err units_of_text(const char *text, size_t len,
                                  const char **code);

/*
 * units_word_is_other - does a word name another unit than this one?
 *
 * For a person who says what a unit's word means: "psi" is no other word for
 * mm[Hg], whoever uses it.  Words that UCUM (2.1) or everyday use gives to a
 * unit, as they are written or in capitals; a word of no unit is nobody's, and
 * may mean anything.  code: of the table.
 */
bool units_word_is_other(const char *word, const char *code);

/* Is it a code of the table, or an annotation that stands for 1? */
bool units_listed(const char *code, size_t len);

/* For tests and reports: the i-th code of the table, NULL after the last. */
const char *units_code(size_t i);

#endif
