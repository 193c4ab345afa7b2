/* What came behind its own correction, or behind a newer report of itself. */
#include "service/intake_work.h"

#include "adapters/fhir_said.h"
#include "service/readings_stand.h"

#include <openssl/evp.h>
#include <stdio.h>

/* Is a sign of emergency in it that is not in use as it is? */
static enum err is_new_sign(struct db *db, const struct entry *e, bool *sign)
{
    const struct fhir_observation *o = &e->item->u.observation;
    enum err err = ERR_OK;

    *sign = false;
    for (size_t i = 0; err == ERR_OK && i < o->reading_count; i++) {
        bool has = false;

        if (!fhir_reading_is_urgent(&o->readings[i]))
            continue;
        err = stand_has(db, e->row.id, &o->readings[i], &has);
        *sign = *sign || !has;
    }
    return err;
}

/* "system|value~0a1b2c3d|code": what it says is part of its key, so that the
 * same that comes again, reported anew, is the same. */
static enum err write_key(struct entry *e)
{
    const struct fhir_item *item = e->item;
    const struct fhir_identifier own = { "urn:headgate:late", e->row.fid };
    const struct fhir_identifier *first =
        item->identifier_count > 0 ? &item->identifiers[0] : &own;
    const char *code = item->u.observation.root_code;
    unsigned char d[EVP_MAX_MD_SIZE];
    struct buf said;
    enum err err;
    int n;

    buf_init(&said, BODY_MAX);
    err = fhir_said_value(e->in->body + item->offset, item->len, &said);
    if (err == ERR_OK && EVP_Digest(said.len > 0 ? said.data : "", said.len, d,
                                    NULL, EVP_sha256(), NULL) != 1)
        err = ERR_MEMORY;
    buf_clear(&said);
    if (err != ERR_OK)
        return err;
    n = snprintf(e->ident, IDENT_SIZE, "%s|%s~%02x%02x%02x%02x|%s",
                 first->system != NULL ? first->system : "", first->value, d[0],
                 d[1], d[2], d[3], code != NULL ? code : "");
    if (n >= IDENT_SIZE)
        e->ident[0] = '\0'; /* without a key, rather than not at all */
    return ERR_OK;
}

static enum err put_beside(struct db *db, struct entry *e, bool *dropped)
{
    struct fhir_observation *o = &e->item->u.observation;
    struct resource row;
    enum err err = write_key(e);

    if (err == ERR_OK)
        err = e->ident[0] != '\0'
                  ? resource_by_ident(db, FHIR_OBSERVATION, e->ident, &row)
                  : ERR_ABSENT;
    *dropped = err == ERR_OK;
    if (err == ERR_OK) {
        e->row = row;
        outcome_add(&e->item->outcome, SEV_INFORMATION, "duplicate", "",
                    "Already stored; nothing has changed");
    }
    if (err != ERR_ABSENT)
        return err;
    e->row = (struct resource){ .kind = FHIR_OBSERVATION };
    e->beside = true;
    for (size_t i = 0; i < o->reading_count; i++) {
        if (o->readings[i].hold == HOLD_VALUE)
            continue;
        o->readings[i].hold = HOLD_OTHERWISE;
        snprintf(o->readings[i].hint, sizeof(o->readings[i].hint),
                 "it came behind its own correction");
    }
    return ERR_OK;
}

enum err entry_late(struct db *db, struct entry *e, bool *dropped)
{
    bool sign;
    enum err err = is_new_sign(db, e, &sign);

    *dropped = true;
    if (err == ERR_OK && sign) {
        *dropped = false;
        return put_beside(db, e, dropped);
    }
    outcome_add(&e->item->outcome, SEV_WARNING, "out-of-order", "",
                "Came after its own correction or withdrawal, or after a newer "
                "report, which stands; not used");
    return err;
}
