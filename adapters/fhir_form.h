/*
 * fhir_form - the members of a flat JSON object, as if they were parameters of
 * a form
 */
#ifndef HEADGATE_ADAPTERS_FHIR_FORM_H
#define HEADGATE_ADAPTERS_FHIR_FORM_H

#include "planner/err.h"

#include <stddef.h>

/*
 * Visit each member that is a string, and each that is true (as "1"); false
 * and null are as if they were not there.
 *
 * ERR_FORM  not a JSON object, or a member of another type
 */
MUST_CHECK enum err fhir_form_each(const char *json, size_t len,
                                   void (*visit)(void *arg, const char *name,
                                                 const char *value),
                                   void *arg);

#endif
