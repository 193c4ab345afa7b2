/*
 * check_codes - what a sample of a sender's messages would be taken for
 *
 *     FHIR JSON, NDJSON, HL7 v2, CSV --> uses of codes and units --> a table,
 *     and the rows that are missing in the site's code map
 *
 * Needs no store and no service; changes nothing.  What comes out holds codes,
 * words of body sites and methods, units and counts: no value of a patient.
 */
#ifndef HEADGATE_SERVICE_CHECK_CODES_H
#define HEADGATE_SERVICE_CHECK_CODES_H

#include "service/config.h"

/*
 * check_codes - read the files, print the table to standard output
 *
 * files  names, "-" is standard input; what a file is, is seen from its
 *        content.  A CSV file has the columns system, code, and optionally
 *        unit and display, in any order; each line is one use.
 * json   one JSON object instead of the table
 *
 * Returns the exit status: 0 everything is mapped and every unit fits, 1
 * something is missing, 2 a file, the configuration or a map cannot be used.
 */
int check_codes(const struct config *config, const char *const *files,
                int count, bool json);

#endif
