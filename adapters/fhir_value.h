/*
 * fhir_value - one value[x] being decoded; private to fhir_value.c and
 * fhir_quantity.c
 */
#ifndef HEADGATE_ADAPTERS_FHIR_VALUE_H
#define HEADGATE_ADAPTERS_FHIR_VALUE_H

#include "adapters/fhir_json.h"

struct value {
    struct fhir_ctx *c;
    json_t *holder;  /* the Observation or component */
    const char *key; /* "valueQuantity"; NULL if there is no value */
    json_t *json;
    const struct fhir_circumstances *at;
    struct fhir_meaning meaning;
    struct fhir_reading *reading; /* NULL until one is added */
    int slot;
};

/* Add the reading; value NAN, no sign, holds of its circumstances set. */
struct fhir_reading *fhir_value_add(struct value *v);

/* Hold a reading back, unless it is held or withdrawn already. */
void fhir_value_hold(struct fhir_reading *r, enum hold why);

/* An error that a hold stands for; of what is withdrawn, an information. */
void fhir_value_say_held(struct value *v, const char *key, const char *word,
                         const char *text);

/* Numbers: a Quantity, or a count without a unit. */
void fhir_value_quantity(struct value *v);
void fhir_value_integer(struct value *v);

#endif
