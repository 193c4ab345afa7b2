/* Which stored resource an item is, and whose. */
#include "service/intake_work.h"

#include "service/again.h"
#include "service/patients.h"
#include "service/readings.h"

#include <stdio.h>
#include <string.h>

/*
 * The key that tells two deliveries of one thing: its first identifier, and
 * for an Observation also what it measures, since some senders give one
 * number to all results of a session.
 */
static void write_ident(const struct fhir_item *item, char ident[IDENT_SIZE])
{
    const struct fhir_identifier *first = &item->identifiers[0];
    const char *code =
        item->type == FHIR_OBSERVATION && item->u.observation.root_code != NULL
            ? item->u.observation.root_code
            : "";
    int n;

    ident[0] = '\0';
    if (item->identifier_count == 0)
        return;
    n = snprintf(ident, IDENT_SIZE, "%s|%s|%s",
                 first->system != NULL ? first->system : "", first->value,
                 code);
    if (n >= IDENT_SIZE)
        ident[0] = '\0';
}

/*
 * A withdrawal without a code may have come before its result: the result is
 * then known by its identifier alone, and takes that place.
 */
static enum err find_withdrawn(struct db *db, const struct fhir_item *item,
                               struct resource *row)
{
    const enum query q = Q_RESOURCE_BARE;
    const struct fhir_identifier *first = &item->identifiers[0];
    int64_t id;
    enum err err;

    if (item->type != FHIR_OBSERVATION ||
        (item->method != NULL && strcmp(item->method, "PUT") == 0))
        return ERR_ABSENT; /* the id tells */
    err = db_first(db, q, "issi", INT64(item->type),
                   first->system != NULL ? first->system : "", first->value,
                   INT64(READING_WITHDRAWN));
    if (err != ERR_OK)
        return err;
    id = db_int(db, q, 0);
    db_done(db, q);
    return resource_get(db, id, row);
}

/*
 * What this entry is known by, other than its id.  A withdrawal may be
 * stripped to the bone: without a code its identifier alone tells which
 * result it means, and must not become the key of that result.
 */
static enum err find_by_identifier(struct db *db, struct entry *e,
                                   struct resource *row)
{
    const struct fhir_item *item = e->item;
    const struct fhir_identifier *first = &item->identifiers[0];
    enum err err;

    write_ident(item, e->ident);
    if (e->ident[0] == '\0')
        return ERR_ABSENT;
    if (item->type != FHIR_OBSERVATION ||
        item->u.observation.root_code != NULL ||
        item->u.observation.reading_status != READING_WITHDRAWN) {
        err = resource_by_ident(db, item->type, e->ident, row);
        return err == ERR_ABSENT ? find_withdrawn(db, item, row) : err;
    }
    e->ident[0] = '\0';
    err = resource_by_identifier(db, item->type,
                                 first->system != NULL ? first->system : "",
                                 first->value, row);
    if (err == ERR_AMBIGUOUS) {
        if (item->method != NULL && strcmp(item->method, "PUT") == 0)
            return ERR_ABSENT; /* the id tells */
        outcome_add(&e->item->outcome, SEV_ERROR, "identity", "",
                    "Several results have this identifier; the code is needed "
                    "to tell which one is withdrawn");
        entry_refuse(e, 409);
        return ERR_ABSENT;
    }
    return err;
}

enum err entry_identify(struct db *db, struct entry *e)
{
    struct fhir_item *item = e->item;
    const char *fid = e->fid[0] != '\0' ? e->fid
                      : item->method != NULL && strcmp(item->method, "PUT") == 0
                          ? item->url_id
                      : item->method == NULL ? item->id
                                             : NULL;
    struct resource by_ident = { .id = 0 };
    enum err err = find_by_identifier(db, e, &by_ident);

    if (err != ERR_OK && err != ERR_ABSENT)
        return err;
    e->row = (struct resource){ .kind = item->type };
    if (fid == NULL || (item->method == NULL && by_ident.id != 0)) {
        e->row = by_ident.id != 0 ? by_ident : e->row;
        return ERR_OK;
    }
    err = resource_by_fid(db, item->type, fid, &e->row);
    if (err == ERR_ABSENT) {
        e->row = (struct resource){ .kind = item->type };
        snprintf(e->row.fid, FID_SIZE, "%s", fid);
        err = ERR_OK;
    }
    if (err == ERR_OK && by_ident.id != 0 && by_ident.id != e->row.id) {
        outcome_add(&item->outcome, SEV_ERROR, "identity", "",
                    "Another resource already has this identifier");
        entry_refuse(e, 409);
    }
    return err;
}

bool entry_is_out_of_order(const struct entry *e)
{
    const struct fhir_observation *o = &e->item->u.observation;
    bool said = o->issued_s != 0 && e->row.issued_s != 0;

    if (e->item->type != FHIR_OBSERVATION || e->row.id == 0 ||
        o->reading_status == READING_WITHDRAWN)
        return false;
    if (e->item->method != NULL && strcmp(e->item->method, "PUT") == 0)
        return false;
    if (said && o->issued_s < e->row.issued_s)
        return true;
    if (o->reading_status == READING_CORRECTED)
        return false;
    if (o->reading_status == READING_PRELIMINARY &&
        e->row.status != READING_PRELIMINARY &&
        e->row.status != READING_WITHDRAWN)
        return true;
    /* HL7 v2, table 0085: a final result is changed by a corrected one alone;
     * and many a sender says the time of sending, which a repeat has anew */
    return (e->row.status == READING_CORRECTED ||
            e->row.status == READING_WITHDRAWN) &&
           (e->in->v2 || !said || o->issued_s <= e->row.issued_s);
}

enum err entry_clash(struct entry *e, const char *place, const char *text)
{
    outcome_add(&e->item->outcome, SEV_ERROR, "identity", place, "%s", text);
    entry_refuse(e, 409);
    return ERR_CONFLICT;
}

/*
 * The reference of its subject means one person and its number another.  A
 * sender who can be told is told; in a feed the Observation is kept, and no
 * rule sees it before a person has looked.
 */
static enum err two_people(struct entry *e)
{
    struct fhir_observation *o = &e->item->u.observation;
    const char *text = "The reference and the identifier mean two people";

    if (e->item->type == FHIR_BODY_STRUCTURE)
        return entry_clash(e, "BodyStructure.patient", text);
    if (e->in->source != SOURCE_FEED)
        return entry_clash(e, "Observation.subject", text);
    outcome_add(&e->item->outcome, SEV_WARNING, "identity",
                "Observation.subject", "%s: kept, not used", text);
    for (size_t i = 0; i < o->reading_count; i++) {
        if (o->readings[i].hold == HOLD_NONE)
            o->readings[i].hold = HOLD_ACCESS;
    }
    return ERR_OK;
}

enum err entry_patient(struct db *db, struct entry *e, int64_t *patient)
{
    struct fhir_item *item = e->item;
    char literal[FID_SIZE + 16];
    struct fhir_ref ref = { .literal = literal };
    bool united;
    enum err err;

    if (item->type == FHIR_PATIENT && e->row.fid[0] == '\0')
        new_fid(e->row.fid);
    snprintf(literal, sizeof(literal), "Patient/%s", e->row.fid);
    if (item->type == FHIR_OBSERVATION)
        ref = item->u.observation.subject;
    else if (item->type == FHIR_BODY_STRUCTURE)
        ref = item->u.access.patient;
    err = patient_of_ref(db, &ref, patient, &united);
    if (err == ERR_CONFLICT)
        return two_people(e);
    if (err == ERR_OK && united)
        err = again_patient(db, e->in->reader, *patient);
    if (err == ERR_FORM && e->row.id != 0 && item->type == FHIR_OBSERVATION &&
        item->u.observation.reading_status == READING_WITHDRAWN) {
        *patient = 0; /* stripped to the bone: what it withdraws is known */
        return ERR_OK;
    }
    if (err == ERR_FORM) {
        outcome_add(&item->outcome, SEV_ERROR, "no-subject",
                    item->type == FHIR_OBSERVATION ? "Observation.subject"
                                                   : "BodyStructure.patient",
                    "The reference names nobody: a literal reference or an "
                    "identifier is needed");
        entry_refuse(e, 422);
        return ERR_OK;
    }
    return err;
}
