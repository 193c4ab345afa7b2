/*
 * fhir_value - one value[x] being decoded; private to fhir_value.c,
 * fhir_sign.c, fhir_flag.c and fhir_quantity.c
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

/* For whoever is to add it to a map. */
void fhir_value_note_unmapped(struct value *v, const char *system,
                              const char *code, bool of_value);

/* ---- fhir_sign.c ---------------------------------------------------------- */

/* Is a sign asked for, or a state: nothing that is a number? */
bool fhir_value_is_sign(const struct value *v);
/* A sign whose value cannot be read: a reading without a value, held.  why: the
 * end of a sentence. */
void fhir_value_unread(struct value *v, const char *why);
/* There is no value; reason: dataAbsentReason, NULL if there is none either. */
void fhir_value_absent(struct value *v, json_t *reason);
/* Note the first coding of the value, which no map has. */
void fhir_value_unmapped(struct value *v);
/* The number of a Quantity where no unit speaks against it; NAN: none. */
double fhir_value_plain(json_t *quantity);
/* The value of a yes-or-no code (fhir_flag.c), and that of any other sign. */
void fhir_value_flag(struct value *v);
void fhir_value_sign(struct value *v);

/* Numbers: a Quantity, or a count without a unit. */
void fhir_value_quantity(struct value *v);
void fhir_value_integer(struct value *v);

#endif
