/*
 * fhir_codesystem - our own codes, published as FHIR R4 CodeSystems
 *
 * Everything comes from the tables that the program itself uses, so what is
 * published is what is understood and sent:
 *
 *     av-observation  planner/quantity.c, planner/sign.c and steal-stage
 *     av-method       planner/reading.c
 *     av-access-type  the signs of quantity access-type
 *     av-site         the sides and the regions of adapters/codes.c
 *     av-task         adapters/task_codes.c and planner/quantity.c
 *     av-task-io      adapters/task_codes.c
 *     av-error        adapters/outcome.c
 */
#ifndef HEADGATE_ADAPTERS_FHIR_CODESYSTEM_H
#define HEADGATE_ADAPTERS_FHIR_CODESYSTEM_H

#include "adapters/buf.h"

/*
 * fhir_write_codesystems - a collection Bundle of all CodeSystems
 *
 * base  canonical base, without a slash at its end; each CodeSystem is
 *       <base>/CodeSystem/NAME
 * out   the Bundle is appended: one line for each CodeSystem and for each
 *       concept, so that versions can be compared
 *
 * ERR_LIMIT, ERR_MEMORY  of the buffer
 */
MUST_CHECK enum err fhir_write_codesystems(const char *base, struct buf *out);

#endif
