#include "service/replaced.h"

#include "service/names.h"

#include <stdio.h>

enum err replaced_take(struct db *db, int64_t patient,
                       const struct fhir_patient *said)
{
    const struct fhir_ref *by = &said->replaced_by;
    char alias[ALIAS_SIZE];
    bool known;

    if (said->of_v2)
        return ERR_OK;
    known = alias_of_literal(by->literal, alias) ||
            alias_of_identifier(by->system, by->value, alias);
    return db_run(db, Q_REPLACED_SET, "is", patient, known ? alias : NULL);
}

enum err replaced_read(struct db *db, const struct fhir_reader *reader)
{
    return patients_read(db, reader, Q_PATIENT_STORED, replaced_take);
}

enum err replaced_by(struct db *db, int64_t patient, char number[ALIAS_SIZE])
{
    const enum query q = Q_REPLACED_GET;
    enum err e = db_first(db, q, "i", patient);

    number[0] = '\0';
    if (e != ERR_OK)
        return e;
    snprintf(number, ALIAS_SIZE, "%s", short_anchor(db_text(db, q, 0)));
    db_done(db, q);
    return ERR_OK;
}
