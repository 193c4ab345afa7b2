#include "service/patients.h"

#include "adapters/queue_text.h"
#include "service/accesses.h"
#include "service/deceased.h"
#include "service/replaced.h"
#include "service/resources.h"

#include <stdio.h>
#include <string.h>

enum { UNIT_NAME_MAX = 4 * QUEUE_TEXT_MAX + 16 };

static bool fits(int written)
{
    return written > 0 && written < ALIAS_SIZE;
}

bool alias_of_literal(const char *literal, char alias[ALIAS_SIZE])
{
    if (literal == NULL || literal[0] == '\0')
        return false;
    return fits(snprintf(alias, ALIAS_SIZE, "r:%s", literal));
}

bool alias_of_identifier(const char *system, const char *value,
                         char alias[ALIAS_SIZE])
{
    if (value == NULL || value[0] == '\0')
        return false;
    return fits(snprintf(alias, ALIAS_SIZE, "i:%s|%s",
                         system != NULL ? system : "", value));
}

static enum err by_alias(struct db *db, const char *alias, int64_t *patient)
{
    enum err e = db_first(db, Q_PATIENT_BY_ALIAS, "s", alias);

    if (e == ERR_OK) {
        *patient = db_int(db, Q_PATIENT_BY_ALIAS, 0);
        db_done(db, Q_PATIENT_BY_ALIAS);
    }
    return e;
}

static enum err add_patient(struct db *db, const char *alias, int64_t *patient)
{
    enum err e = db_new_id(db, patient);

    if (e == ERR_OK)
        e = db_run(db, Q_PATIENT_ADD, "iis", *patient, partition_of(*patient),
                   alias);
    if (e == ERR_OK)
        e = db_run(db, Q_PATIENT_ALIAS_ADD, "si", alias, *patient);
    return e;
}

static enum err is_row(struct db *db, enum query q, int64_t a, int64_t b,
                       bool *there)
{
    enum err e = db_first(db, q, "ii", a, b);

    *there = e == ERR_OK;
    if (e == ERR_OK)
        db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* What no statement of a sender can make one: two resources, or two numbers
 * that one authority gave. */
static enum err are_two_people(struct db *db, int64_t a, int64_t b, bool *two)
{
    enum err e = is_row(db, Q_PATIENT_TWO_RESOURCES, a, b, two);

    return e != ERR_OK || *two ? e
                               : is_row(db, Q_PATIENT_TWO_NUMBERS, a, b, two);
}

enum err patients_differ(struct db *db, int64_t a, int64_t b, bool *differ)
{
    enum err e;

    *differ = false;
    if (a == b)
        return ERR_OK;
    e = are_two_people(db, a, b, differ);
    return e != ERR_OK || *differ
               ? e
               : is_row(db, Q_PATIENT_TWO_LITERALS, a, b, differ);
}

/* Both numbers mean one person: the older one stays.  ERR_CONFLICT, and
 * nothing is changed, if they are two people. */
static enum err unite(struct db *db, int64_t a, int64_t b, int64_t *stays)
{
    static const enum query moves[] = {
        Q_PATIENT_ALIAS_MOVE,    Q_PATIENT_MOVE_ACCESS,  Q_PATIENT_MOVE_HELD,
        Q_PATIENT_MOVE_UNMAPPED, Q_VERDICT_MOVE_PATIENT, Q_READING_MOVE,
        Q_TASK_MOVE_PATIENT,     Q_PATIENT_TAKE_BORN,    Q_DECEASED_MOVE
    };
    int64_t goes = a < b ? b : a;
    bool two;
    enum err e;

    if (a == b) {
        *stays = a;
        return ERR_OK;
    }
    e = are_two_people(db, a, b, &two);
    if (e != ERR_OK || two)
        return e == ERR_OK ? ERR_CONFLICT : e;
    *stays = a < b ? a : b;
    for (size_t i = 0; i < COUNT(moves); i++) {
        e = db_run(db, moves[i], "ii", goes, *stays);
        if (e != ERR_OK)
            return e;
    }
    e = db_run(db, Q_PATIENT_REMOVE, "i", goes);
    if (e == ERR_OK)
        e = access_unite_rivals(db, *stays);
    if (e == ERR_OK)
        e = access_unite_implied(db, *stays);
    /* each access may have gained readings */
    return e == ERR_OK ? db_run(db, Q_NEWS_OF_PATIENT, "i", *stays) : e;
}

/*
 * The patient of this alias.  known is the patient found so far (0 none): the
 * alias joins it, or the two are united.
 */
static enum err join_alias(struct db *db, const char *alias, int64_t *known)
{
    int64_t found;
    enum err e = by_alias(db, alias, &found);

    if (e == ERR_OK && *known != 0)
        return unite(db, *known, found, known);
    if (e == ERR_OK) {
        *known = found;
        return ERR_OK;
    }
    if (e != ERR_ABSENT)
        return e;
    return *known != 0 ? db_run(db, Q_PATIENT_ALIAS_ADD, "si", alias, *known)
                       : add_patient(db, alias, known);
}

enum err patient_of_ref(struct db *db, const struct fhir_ref *ref,
                        int64_t *patient, bool *united)
{
    char alias[ALIAS_SIZE];
    int64_t known = 0, other = 0;
    enum err e;

    *united = false;
    if (alias_of_literal(ref->literal, alias)) {
        e = join_alias(db, alias, &known);
        if (e != ERR_OK)
            return e;
    }
    if (alias_of_identifier(ref->system, ref->value, alias)) {
        e = by_alias(db, alias, &other);
        *united = e == ERR_OK && known != 0 && known != other;
        *patient = known;
        e = join_alias(db, alias, &known);
        if (e != ERR_OK)
            return e;
    }
    if (known == 0)
        return ERR_FORM;
    if (ref->display != NULL) {
        e = db_run(db, Q_PATIENT_SET_NAME, "is", known, ref->display);
        if (e != ERR_OK)
            return e;
    }
    *patient = known;
    return ERR_OK;
}

enum err patient_find(struct db *db, const char *literal, const char *system,
                      const char *value, int64_t *patient)
{
    char alias[ALIAS_SIZE];

    if (alias_of_literal(literal, alias) ||
        alias_of_identifier(system, value, alias))
        return by_alias(db, alias, patient);
    return ERR_ABSENT;
}

static void write_name(const struct fhir_patient *p, char name[160])
{
    if (p->family != NULL && p->given != NULL)
        snprintf(name, 160, "%s, %s", p->family, p->given);
    else if (p->family != NULL || p->given != NULL || p->name_text != NULL)
        snprintf(name, 160, "%s",
                 p->family != NULL  ? p->family
                 : p->given != NULL ? p->given
                                    : p->name_text);
    else
        name[0] = '\0';
}

/* Two resources are two people, until their records say otherwise. */
static enum err check_resource(struct db *db, int64_t patient, int64_t resource)
{
    struct patient p;
    enum err e = patient_get(db, patient, &p);

    if (e == ERR_OK && p.resource != 0 && p.resource != resource)
        return ERR_CONFLICT;
    return e;
}

static enum err set_born(struct db *db, int64_t patient, int64_t born_s)
{
    return born_s != INT64_MIN
               ? db_run(db, Q_PATIENT_SET_BORN, "ii", patient, born_s)
               : ERR_OK;
}

/* A name of one line, as the queue shows it: it is also asked for so. */
static enum err set_unit(struct db *db, int64_t patient, const char *raw)
{
    struct buf clean;
    enum err e;

    if (raw == NULL)
        return ERR_OK;
    buf_init(&clean, UNIT_NAME_MAX);
    queue_text_clean(&clean, raw);
    e = buf_ok(&clean);
    if (e == ERR_OK && clean.len > 0)
        e = db_run(db, Q_PATIENT_SET_UNIT, "is", patient, clean.data);
    buf_clear(&clean);
    return e;
}

/* What a Patient resource says of the person. */
static enum err take_person(struct db *db, const struct fhir_item *item,
                            int64_t resource, int64_t patient)
{
    const struct fhir_patient *said = &item->u.patient;
    char number[ALIAS_SIZE] = "", name[160];
    enum err e;

    write_name(said, name);
    if (item->identifier_count > 0) /* what people call the patient by */
        snprintf(number, sizeof(number), "n:%s", item->identifiers[0].value);
    e = db_run(db, Q_PATIENT_SET, "iiss", patient, resource,
               number[0] != '\0' ? number : NULL,
               name[0] != '\0' ? name : NULL);
    if (e == ERR_OK)
        e = set_unit(db, patient, said->unit);
    if (e == ERR_OK)
        e = set_born(db, patient, said->born_s);
    if (e == ERR_OK)
        e = replaced_take(db, patient, said);
    return e == ERR_OK ? deceased_take(db, patient, said) : e;
}

enum err patient_take(struct db *db, const struct fhir_item *item,
                      const char *fid, int64_t resource, int64_t *patient)
{
    char alias[ALIAS_SIZE], literal[FID_SIZE + 16];
    int64_t known = 0;
    enum err e = ERR_OK;

    snprintf(literal, sizeof(literal), "Patient/%s", fid);
    if (alias_of_literal(literal, alias))
        e = join_alias(db, alias, &known);
    for (size_t i = 0; e == ERR_OK && i < item->identifier_count; i++) {
        if (alias_of_identifier(item->identifiers[i].system,
                                item->identifiers[i].value, alias))
            e = join_alias(db, alias, &known);
    }
    /* a "urn:" names the entry within its Bundle, and nobody outside it */
    if (e == ERR_OK && item->full_url != NULL &&
        strncmp(item->full_url, "urn:", 4) != 0 &&
        alias_of_literal(item->full_url, alias))
        e = join_alias(db, alias, &known);
    if (e == ERR_OK)
        e = check_resource(db, known, resource);
    if (e != ERR_OK)
        return e;
    *patient = known;
    return take_person(db, item, resource, known);
}

static void copy(char *to, size_t size, const char *from)
{
    snprintf(to, size, "%s", from != NULL ? from : "");
}

enum err patient_get(struct db *db, int64_t id, struct patient *p)
{
    const enum query q = Q_PATIENT_GET;
    enum err e = db_first(db, q, "i", id);
    const char *anchor;

    if (e != ERR_OK)
        return e;
    *p = (struct patient){ .id = id, .resource = db_int(db, q, 3) };
    p->born_s = db_is_null(db, q, 4) ? INT64_MIN : db_int(db, q, 4);
    anchor = db_text(db, q, 0);
    p->anchor_is_literal = anchor[0] == 'r';
    copy(p->anchor, sizeof(p->anchor), anchor + 2);
    copy(p->name, sizeof(p->name), db_text(db, q, 1));
    copy(p->unit, sizeof(p->unit), db_text(db, q, 2));
    p->death_measured = db_int(db, q, 6) >= 2;
    p->deceased = !db_is_null(db, q, 5) && !p->death_measured;
    copy(p->died, sizeof(p->died), db_text(db, q, 5));
    p->death_doubtful = db_int(db, q, 6) % 2 != 0;
    db_done(db, q);
    return ERR_OK;
}

/* ---- what was not kept before --------------------------------------------- */

static enum err read_one(struct db *db, const struct fhir_reader *reader,
                         int64_t patient, int64_t resource,
                         patient_said_fn take)
{
    struct resource row;
    struct outcome outcome;
    struct fhir_doc *doc = NULL;
    struct buf body;
    int64_t updated_ms;
    enum err e = resource_get(db, resource, &row);

    buf_init(&body, BODY_MAX);
    outcome_init(&outcome);
    if (e == ERR_OK)
        e = resource_body(db, &row, 0, &body, &updated_ms);
    /* it was read when it came: what cannot be read now is passed over */
    if (e == ERR_OK &&
        fhir_read(reader, body.data, body.len, &outcome, &doc) == ERR_OK &&
        fhir_doc_count(doc) == 1 && fhir_doc_item(doc, 0)->type == FHIR_PATIENT)
        e = take(db, patient, &fhir_doc_item(doc, 0)->u.patient);
    fhir_doc_free(doc);
    buf_clear(&body);
    return e;
}

enum err patients_read(struct db *db, const struct fhir_reader *reader,
                       enum query q, patient_said_fn take)
{
    enum { AT_ONCE = 64 };
    int64_t patients[AT_ONCE], resources[AT_ONCE], last = 0;
    size_t count = AT_ONCE;
    enum err e = ERR_OK;

    while (e == ERR_OK && count == AT_ONCE) {
        count = 0;
        e = db_query(db, q, "ii", last, INT64(AT_ONCE));
        while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
            last = patients[count] = db_int(db, q, 0);
            resources[count++] = db_int(db, q, 1);
        }
        e = e == ERR_ABSENT ? ERR_OK : e;
        for (size_t i = 0; e == ERR_OK && i < count; i++)
            e = read_one(db, reader, patients[i], resources[i], take);
    }
    return e;
}

static enum err take_born(struct db *db, int64_t patient,
                          const struct fhir_patient *said)
{
    return set_born(db, patient, said->born_s);
}

enum err patients_read_born(struct db *db, const struct fhir_reader *reader)
{
    return patients_read(db, reader, Q_PATIENT_UNBORN, take_born);
}

static enum err take_unit(struct db *db, int64_t patient,
                          const struct fhir_patient *said)
{
    return set_unit(db, patient, said->unit);
}

enum err patients_read_units(struct db *db, const struct fhir_reader *reader)
{
    return patients_read(db, reader, Q_PATIENT_STORED, take_unit);
}
