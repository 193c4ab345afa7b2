/*
 * patients - who is meant: references and identifiers of one person
 *
 * Store thread only.  A patient is known by aliases: the literal references
 * that senders use ("Patient/p-1001") and business identifiers.  Two that
 * turn out to be one person (a Patient resource carries the identifier of
 * one and the id of the other) become one.
 */
#ifndef HEADGATE_SERVICE_PATIENTS_H
#define HEADGATE_SERVICE_PATIENTS_H

#include "adapters/fhir_read.h"
#include "service/db.h"

enum { ALIAS_SIZE = 600 };

/* "r:Patient/p-1001" or "i:system|value"; false if it does not fit, or the
 * reference says neither. */
bool alias_of_literal(const char *literal, char alias[ALIAS_SIZE]);
bool alias_of_identifier(const char *system, const char *value,
                         char alias[ALIAS_SIZE]);

/*
 * patient_of_ref - the patient a reference means, made known if new
 *
 * united        out: two that were known have become one
 * ERR_FORM      the reference says neither a literal nor an identifier, or is
 *               longer than an alias may be
 * ERR_CONFLICT  its literal and its identifier mean two people; *patient is
 *               that of the literal, and nothing was changed
 */
MUST_CHECK enum err patient_of_ref(struct db *db, const struct fhir_ref *ref,
                                   int64_t *patient, bool *united);

/* Are these known to be two people?  What is known of one by references and
 * of the other by numbers may be one person. */
MUST_CHECK enum err patients_differ(struct db *db, int64_t a, int64_t b,
                                    bool *differ);

/* The patient a search names, not made known: ERR_ABSENT. */
MUST_CHECK enum err patient_find(struct db *db, const char *literal,
                                 const char *system, const char *value,
                                 int64_t *patient);

/*
 * Take over a Patient resource (fid its id here).
 *
 * ERR_CONFLICT  it would make two people one: each has a resource, or a
 *               number of the same system; the caller undoes what was done
 */
MUST_CHECK enum err patient_take(struct db *db, const struct fhir_item *item,
                                 const char *fid, int64_t resource,
                                 int64_t *patient);

/* What a Patient resource says is taken over once more, for something that was
 * not kept when it came.  q gives rows of patient and resource beyond ?1, at
 * most ?2. */
typedef enum err (*patient_said_fn)(struct db *db, int64_t patient,
                                    const struct fhir_patient *said);
MUST_CHECK enum err patients_read(struct db *db,
                                  const struct fhir_reader *reader,
                                  enum query q, patient_said_fn take);

/* The birth dates of Patient resources that came before they were kept. */
MUST_CHECK enum err patients_read_born(struct db *db,
                                       const struct fhir_reader *reader);

/* The names of units that came before they were kept as they are shown. */
MUST_CHECK enum err patients_read_units(struct db *db,
                                        const struct fhir_reader *reader);

struct patient {
    int64_t id;
    char anchor[ALIAS_SIZE]; /* the alias it was first known by, without
                                "r:" or "i:" */
    bool anchor_is_literal;
    char name[160]; /* "" if not known */
    char unit[160];
    int64_t resource;          /* 0 if no Patient resource has come */
    int64_t born_s;            /* see fhir_patient; INT64_MIN if not known */
    bool deceased;             /* known to be dead, and nothing speaks against
                                  it, see deceased.h */
    char died[FHIR_TIME_SIZE]; /* since when, see fhir_patient; "" not known */
    bool death_measured;       /* recorded as dead, and measured after that: not
                            acted upon; deceased is false then */
    bool death_doubtful; /* something was said of a death that nothing may rest
                            on; deceased is as it was before */
};
MUST_CHECK enum err patient_get(struct db *db, int64_t id, struct patient *p);

#endif
