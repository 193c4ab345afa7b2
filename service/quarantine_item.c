#include "service/quarantine_item.h"

#include "service/pack.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void copy(char *to, size_t size, const char *text)
{
    snprintf(to, size, "%s", text != NULL ? text : "");
}

static enum err find_row(struct db *db, int64_t number,
                         struct quarantine_item *item)
{
    const enum query q = Q_QUARANTINE_GET;
    enum err e = db_first(db, q, "i", number);

    if (e != ERR_OK)
        return e;
    *item = (struct quarantine_item){
        .number = number,
        .at_ms = db_int(db, q, 0),
        .way = (enum quarantine_way)db_int(db, q, 1),
        .kind = (enum fhir_type)db_int(db, q, 3),
        .file = db_int(db, q, 5),
        .line = db_int(db, q, 6),
        .start = db_int(db, q, 7),
        .status = (int)db_int(db, q, 8),
        .message = db_int(db, q, 12),
        .state = (enum quarantine_state)db_int(db, q, 15),
        .done_ms = db_int(db, q, 18),
    };
    copy(item->source, sizeof(item->source), db_text(db, q, 2));
    copy(item->remote, sizeof(item->remote), db_text(db, q, 4));
    copy(item->reason, sizeof(item->reason), db_text(db, q, 9));
    copy(item->place, sizeof(item->place), db_text(db, q, 10));
    copy(item->text, sizeof(item->text), db_text(db, q, 11));
    copy(item->who, sizeof(item->who), db_text(db, q, 16));
    copy(item->why, sizeof(item->why), db_text(db, q, 17));
    db_done(db, q);
    return ERR_OK;
}

static enum err find_observation(struct db *db, const char *name,
                                 int64_t number, struct quarantine_item *item)
{
    const enum query q = Q_HELD_OF;
    enum err e;

    *item = (struct quarantine_item){ .held = true };
    e = number > 0 ? resource_get(db, number, &item->row)
                   : resource_by_fid(db, FHIR_OBSERVATION, name, &item->row);
    if (e == ERR_OK && item->row.kind != FHIR_OBSERVATION)
        e = ERR_ABSENT;
    if (e != ERR_OK)
        return e;
    item->number = item->row.id;
    e = db_first(db, q, "i", item->number);
    if (e == ERR_OK) {
        item->held_count = (unsigned)db_int(db, q, 0);
        item->patient = db_int(db, q, 1);
    }
    db_done(db, q);
    return e;
}

enum err quarantine_find(struct db *db, const char *name,
                         struct quarantine_item *item)
{
    static const char type[] = "Observation/";
    char *end = NULL;
    long long number;
    enum err e;

    if (strncmp(name, type, strlen(type)) == 0)
        return fhir_is_id(name + strlen(type))
                   ? find_observation(db, name + strlen(type), 0, item)
                   : ERR_FORM;
    number = strtoll(name, &end, 10);
    if (end == name || *end != '\0' || number < 1)
        return ERR_FORM;
    e = find_row(db, number, item);
    return e == ERR_ABSENT ? find_observation(db, NULL, number, item) : e;
}

/* Packed bytes of a row of this query: length, then body. */
static enum err unpack_row(struct db *db, enum query q, int column,
                           struct buf *out)
{
    size_t packed_len, bytes = (size_t)db_int(db, q, column);
    const void *packed = db_blob(db, q, column + 1, &packed_len);
    enum err e = packed != NULL && packed_len > 0
                     ? unpack(packed, packed_len, bytes, out)
                     : ERR_ABSENT;

    db_done(db, q);
    return e == ERR_FORM ? ERR_STORE : e;
}

enum err quarantine_bytes(struct db *db, const struct quarantine_item *item,
                          struct buf *out)
{
    int64_t updated_ms;
    enum err e;

    if (item->held)
        return resource_body(db, &item->row, 0, out, &updated_ms);
    if (item->message != 0) {
        e = db_first(db, Q_HL7_BYTES, "i", item->message);
        return e == ERR_OK ? unpack_row(db, Q_HL7_BYTES, 0, out) : e;
    }
    e = db_first(db, Q_QUARANTINE_GET, "i", item->number);
    return e == ERR_OK ? unpack_row(db, Q_QUARANTINE_GET, 13, out) : e;
}

enum err quarantine_message_of(struct db *db, const struct resource *row,
                               int64_t *message)
{
    const enum query q = Q_HL7_OF_RESOURCE;
    enum err e = db_first(db, q, "ii", row->id, INT64(row->version));

    *message = e == ERR_OK ? db_int(db, q, 0) : 0;
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

const char *deed_word(enum deed_act act)
{
    static const char *const words[] = {
        [DEED_MAP_CODE] = "mapped a code",
        [DEED_MAP_UNIT] = "mapped a unit",
        [DEED_PLACE] = "said which access or side it is",
        [DEED_RELEASE] = "released",
        [DEED_AS_SENT] = "released as it was sent",
        [DEED_DISCARD] = "discarded",
        [DEED_UNDISCARD] = "took the discard back",
        [DEED_UNMAP] = "took the mapping back",
        [DEED_TASK_TAKE] = "took it in hand",
        [DEED_TASK_HAND] = "handed it over",
        [DEED_TASK_PUT_OFF] = "put it off",
        [DEED_TASK_DECLINE] = "declined it",
        [DEED_TASK_DONE] = "said that it is done",
        [DEED_ACCESS_MERGE] = "merged it into another access",
    };
    int n = (int)act;

    return n > 0 && n < (int)COUNT(words) ? words[n] : "";
}

enum err deed_add(struct db *db, const struct deed *deed, int64_t *number)
{
    int64_t id = 0;
    enum err e = db_new_id(db, &id);

    if (e == ERR_OK)
        e = db_run(db, Q_DEED_ADD, "iiiisiss", id, deed->now_ms, deed->item,
                   INT64(deed->act), deed->detail, INT64(deed->settled),
                   deed->who, deed->why);
    if (e == ERR_OK && number != NULL)
        *number = id;
    return e;
}
