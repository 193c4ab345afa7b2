/*
 * Which stored result a result of the message is a report of, where its key
 * alone does not say so, and what is told of it.
 *
 * HL7 v2.7, 7.4.2.21: an instance identifier (OBX-21) is of one result.  Senders
 * use one again, and nothing that was measured may be lost by that.
 */
#include "service/hl7_intake_work.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    BESIDE_MAX = 20, /* answers that stand beside one result */
    APART_S = DAY_S  /* how far apart a preliminary result and its final one
                        may lie */
};

static const struct fhir_identifier *key_of(const struct fhir_item *item)
{
    return &item->identifiers[0];
}

static bool is_taking_back(const struct fhir_item *item)
{
    enum reading_status s = item->u.observation.reading_status;

    return s == READING_WITHDRAWN || s == READING_CORRECTED;
}

/* The key with which intake.c stores it. */
static enum err find_ident(struct db *db, const struct fhir_item *item,
                           const char *value, struct resource *row)
{
    const char *code = item->u.observation.root_code;
    struct buf ident;
    enum err e;

    buf_init(&ident, 2048);
    buf_printf(&ident, "%s|%s|%s", key_of(item)->system, value,
               code != NULL ? code : "");
    e = buf_ok(&ident);
    if (e == ERR_OK)
        e = resource_by_ident(db, FHIR_OBSERVATION, ident.data, row);
    buf_clear(&ident);
    return e;
}

enum err hl7_find_result(struct db *db, const struct fhir_item *item,
                         struct resource *row)
{
    enum err e = ERR_ABSENT;

    if (item->identifier_count == 0)
        return ERR_ABSENT;
    e = find_ident(db, item, key_of(item)->value, row);
    return e == ERR_ABSENT ? resource_by_identifier(db, FHIR_OBSERVATION,
                                                    key_of(item)->system,
                                                    key_of(item)->value, row)
                           : e;
}

/* ---- one that has another key in the store -------------------------------- */

void hl7_put_key(struct fhir_item *item, const char *value)
{
    struct fhir_identifier own = *key_of(item);

    if (strcmp(own.value, value) == 0)
        return;
    item->identifiers[0].value = value;
    if (item->identifier_count < FHIR_IDENTIFIERS_MAX)
        item->identifiers[item->identifier_count++] = own;
}

enum err hl7_adopt(struct db *db, struct hl7_match *match,
                   struct fhir_item *item, int64_t resource)
{
    const enum query q = Q_RESOURCE_IDENT;
    size_t system = strlen(key_of(item)->system), len;
    const char *ident;
    enum err e = db_first(db, q, "i", resource);

    if (e != ERR_OK)
        return e;
    ident = db_text(db, q, 0);
    if (ident != NULL && strlen(ident) > system &&
        memcmp(ident, key_of(item)->system, system) == 0 &&
        ident[system] == '|') {
        ident += system + 1;
        len = strcspn(ident, "|");
        if (len < sizeof(match->key)) {
            memcpy(match->key, ident, len);
            match->key[len] = '\0';
            hl7_put_key(item, match->key);
        }
    }
    db_done(db, q);
    return ERR_OK;
}

/* When the stored one was measured; *known: it says so. */
static enum err time_of(struct db *db, const struct hl7_intake *in,
                        const struct resource *row, int64_t *start_s,
                        bool *known)
{
    struct fhir_doc *doc = NULL;
    struct outcome outcome;
    struct buf body;
    int64_t updated_ms;
    enum err e;

    *known = false;
    buf_init(&body, BODY_MAX);
    outcome_init(&outcome);
    e = resource_body(db, row, 0, &body, &updated_ms);
    if (e == ERR_OK)
        e = fhir_read(&in->reader, body.data, body.len, &outcome, &doc);
    if (e == ERR_OK && fhir_doc_count(doc) == 1) {
        const struct fhir_time *t =
            &fhir_doc_item(doc, 0)->u.observation.effective;

        *known = t->start_s != 0 || t->end_s != 0;
        *start_s = t->start_s;
    }
    fhir_doc_free(doc);
    buf_clear(&body);
    return e == ERR_FORM ? ERR_OK : e;
}

/*
 * The one that is stored with this instance identifier, at another time or
 * with the key of an earlier release: is this a report of it, or has the
 * sender used the identifier again?
 */
static enum err judge_instance(struct db *db, struct hl7_intake *in, size_t i,
                               const struct resource *row)
{
    struct fhir_item *item = fhir_doc_item(in->doc, i);
    const struct fhir_observation *o = &item->u.observation;
    int64_t start_s = 0;
    bool known, same;
    enum err e;

    if (is_taking_back(item) || in->oru.entries[i].promote)
        return hl7_adopt(db, &in->matches[i], item, row->id);
    e = time_of(db, in, row, &start_s, &known);
    if (e != ERR_OK)
        return e;
    same = known ? start_s == o->effective.start_s
                 : row->status == READING_WITHDRAWN; /* bare, and came first */
    if (known && row->status == READING_PRELIMINARY &&
        o->reading_status == READING_FINAL)
        same = llabs((long long)(start_s - o->effective.start_s)) < APART_S;
    if (same)
        return hl7_adopt(db, &in->matches[i], item, row->id);
    in->matches[i].tie = HL7_REUSED;
    return ERR_OK;
}

static enum err find_instance(struct db *db, struct hl7_intake *in, size_t i)
{
    const struct fhir_item *item = fhir_doc_item(in->doc, i);
    struct resource row;
    enum err e;

    if (item->identifier_count < 2 || in->oru.entries[i].if_known)
        return ERR_OK;
    e = resource_by_identifier(db, FHIR_OBSERVATION,
                               item->identifiers[1].system,
                               item->identifiers[1].value, &row);
    if (e == ERR_OK)
        return judge_instance(db, in, i, &row);
    if (e == ERR_AMBIGUOUS)
        in->matches[i].tie = is_taking_back(item) ? HL7_UNCLEAR : HL7_REUSED;
    return e == ERR_AMBIGUOUS || e == ERR_ABSENT ? ERR_OK : e;
}

enum err hl7_items_match(struct db *db, struct hl7_intake *in, size_t i)
{
    const struct fhir_item *item = fhir_doc_item(in->doc, i);
    const struct hl7_entry *entry = &in->oru.entries[i];
    struct resource row;
    enum err e;

    if (item->identifier_count == 0 || item->type != FHIR_OBSERVATION)
        return ERR_OK;
    e = find_ident(db, item, key_of(item)->value, &row);
    if (e == ERR_ABSENT) {
        e = hl7_find_result(db, item, &row);
        if (e == ERR_ABSENT || e == ERR_AMBIGUOUS)
            return find_instance(db, in, i);
        if (e == ERR_OK)
            e = hl7_adopt(db, &in->matches[i], fhir_doc_item(in->doc, i),
                          row.id);
    }
    if (e == ERR_OK && !entry->promote && !entry->if_known &&
        row.status == READING_FINAL &&
        item->u.observation.reading_status == READING_FINAL)
        e = hl7_compare(db, in, i, &row);
    return e;
}

/* ---- telling of it -------------------------------------------------------- */

static const struct {
    int field;
    enum hl7_severity severity;
    const char *text;
} ties[] = {
    [HL7_REPLACES] = { 5, HL7_WARNING,
                       "Another value than that of the final result of this "
                       "key; it took its place. A correction has status C" },
    [HL7_BESIDE] = { 5, HL7_WARNING,
                     "Another answer than that of the final result of this "
                     "key; both count until status C, D or W takes them back" },
    [HL7_REUSED] = { 21, HL7_WARNING,
                     "This instance identifier came before with another time; "
                     "kept as a result of its own. A correction has status C" },
    [HL7_UNCLEAR] = { 21, HL7_ERROR,
                      "Several results have this instance identifier, and none "
                      "of them this time: which one is meant cannot be told" },
};

/* In the weekly report, so that the unit can mend its feed. */
static enum err count_tie(struct db *db, const struct hl7_intake *in, size_t i)
{
    const struct fhir_observation *o =
        &fhir_doc_item(in->doc, i)->u.observation;
    int field = ties[in->matches[i].tie].field;
    const struct tally_row row = { .at_ms = in->now_ms,
                                   .source = in->profile->name,
                                   .way = in->way,
                                   .class = TALLY_TOLERATED,
                                   .reason = "identity",
                                   .what =
                                       o->root_code != NULL ? o->root_code : "",
                                   .place = field == 21 ? "OBX-21" : "OBX-5",
                                   .unit = "",
                                   .sample = in->control,
                                   .count = 1 };

    return in->again ? ERR_OK : tally_add(db, &row);
}

enum err hl7_items_say_match(struct db *db, struct hl7_intake *in)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < in->oru.entry_count; i++) {
        enum hl7_tie tie = in->matches[i].tie;
        struct hl7_place place = in->oru.entries[i].place;

        if (tie == HL7_NO_TIE || in->matches[i].passed_over)
            continue;
        place.field = ties[tie].field;
        hl7_issue_add(&in->issues, ties[tie].severity, HL7_DUPLICATE_KEY,
                      "identity", &place, "%s", ties[tie].text);
        if (ties[tie].severity != HL7_ERROR)
            e = count_tie(db, in, i); /* errors are counted as such */
    }
    return e;
}

/* ---- what stood beside a result that is taken back ------------------------ */

static enum err withdraw_one(struct db *db, int64_t id,
                             struct hl7_restated *out)
{
    struct resource row;
    enum err e = resource_get(db, id, &row);

    return e == ERR_OK ? hl7_put_status(db, &row, "entered-in-error", out) : e;
}

enum err hl7_items_withdraw(struct db *db, const struct hl7_intake *in,
                            size_t i, struct hl7_restated *out)
{
    const enum query q = Q_HL7_BESIDE;
    const struct fhir_item *item = fhir_doc_item(in->doc, i);
    const struct fhir_identifier *key = key_of(item);
    int64_t ids[BESIDE_MAX];
    size_t count = 0;
    struct buf begin;
    enum err e;

    if (item->type != FHIR_OBSERVATION || item->identifier_count == 0 ||
        in->oru.entries[i].promote || in->matches[i].passed_over ||
        !is_taking_back(item))
        return ERR_OK;
    buf_init(&begin, 2048);
    buf_printf(&begin, "%s|%s~", key->system, key->value);
    e = buf_ok(&begin);
    if (e == ERR_OK)
        e = db_first(db, q, "sssi", key->system, key->value, begin.data,
                     INT64(READING_WITHDRAWN));
    while (e == ERR_OK && count < BESIDE_MAX) {
        ids[count++] = db_int(db, q, 0);
        e = db_next(db, q);
    }
    db_done(db, q);
    buf_clear(&begin);
    e = e == ERR_ABSENT ? ERR_OK : e;
    for (size_t k = 0; e == ERR_OK && k < count; k++)
        e = withdraw_one(db, ids[k], out);
    return e;
}
