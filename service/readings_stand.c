#include "service/readings_stand.h"

#include "service/held.h"

#include <limits.h>
#include <stdio.h>
#include <string.h>

static struct stand_reading used_row(struct db *db, int64_t resource)
{
    const enum query q = Q_READING_STANDING;

    return (struct stand_reading){
        .owner = db_int(db, q, 0),
        .reading = { .id = resource,
                     .start_s = db_int(db, q, 1),
                     .quantity = (enum quantity)db_int(db, q, 2),
                     .slot = (int)db_int(db, q, 3),
                     .version = (int)db_int(db, q, 4),
                     .status = (enum reading_status)db_int(db, q, 5),
                     .end_s = db_int(db, q, 6),
                     .precision = (enum precision)db_int(db, q, 7),
                     .value = db_double(db, q, 8),
                     .bound = (enum bound)db_int(db, q, 9),
                     .sign = (enum sign)db_int(db, q, 10),
                     .present = db_int(db, q, 11) != 0,
                     .method = (enum method)db_int(db, q, 12),
                     .side = (enum side)db_int(db, q, 13) },
        .how = db_int(db, q, 14)
    };
}

static enum err read_used(struct db *db, int64_t resource, int version,
                          struct stand *s)
{
    const enum query q = Q_READING_STANDING;
    enum err e = db_query(db, q, "ii", resource, INT64(version));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        struct stand_reading one = used_row(db, resource);

        if (s->used_count < FHIR_READINGS_MAX &&
            one.reading.status != READING_WITHDRAWN &&
            reading_is_emergency(&one.reading))
            s->used[s->used_count++] = one;
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum hold hold_of(const char *word)
{
    for (int h = HOLD_NONE + 1; word != NULL && h < HOLD_COUNT; h++) {
        if (strcmp(hold_word((enum hold)h), word) == 0)
            return (enum hold)h;
    }
    return HOLD_NONE;
}

static enum err read_held(struct db *db, int64_t resource, struct stand *s)
{
    const enum query q = Q_HELD_STANDING;
    enum err e = db_query(db, q, "i", resource);

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        struct stand_held *h = &s->held[s->held_count];
        const char *hint = db_text(db, q, 3);

        if (s->held_count == FHIR_READINGS_MAX)
            continue;
        s->held_count++;
        *h = (struct stand_held){ .slot = (int)db_int(db, q, 0),
                                  .hold = hold_of(db_text(db, q, 1)),
                                  .quantity = (enum quantity)db_int(db, q, 2),
                                  .sign = (enum sign)db_int(db, q, 4),
                                  .emergency = db_int(db, q, 5) != 0,
                                  .version = (int)db_int(db, q, 6),
                                  .live = db_int(db, q, 7) != 0 };
        snprintf(h->hint, sizeof(h->hint), "%s", hint != NULL ? hint : "");
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err stand_read(struct db *db, int64_t resource, int version,
                    struct stand *s)
{
    enum err e;

    s->version = version;
    s->used_count = s->held_count = 0;
    e = read_used(db, resource, version, s);
    return e == ERR_OK ? read_held(db, resource, s) : e;
}

enum err stand_has(struct db *db, int64_t resource,
                   const struct fhir_reading *fr, bool *has)
{
    struct stand s = { .used_count = 0 };
    enum err e = read_used(db, resource, INT_MAX, &s);

    *has = false;
    for (size_t i = 0; i < s.used_count; i++) {
        const struct reading *r = &s.used[i].reading;

        *has = *has || (!fr->unread && r->quantity == fr->reading.quantity &&
                        r->sign == fr->reading.sign);
    }
    return e;
}

/* ---- what would end it ------------------------------------------------------ */

/* Is this about what stands?  A question's no, and one that could not be read,
 * are about its own sign alone. */
static bool is_about(const struct reading *r, const struct reading *stands)
{
    if (r->quantity != stands->quantity)
        return false;
    return quantity_info(r->quantity)->kind != VALUE_CODE ||
           r->sign == SIGN_NONE || r->present || r->sign == stands->sign;
}

static bool is_restated(const struct fhir_observation *o,
                        const struct reading *stands)
{
    for (size_t i = 0; i < o->reading_count; i++) {
        const struct fhir_reading *fr = &o->readings[i];

        if (fr->hold != HOLD_VALUE && fr->hold != HOLD_CODE &&
            fr->reading.quantity == stands->quantity &&
            fr->reading.sign == stands->sign &&
            reading_is_emergency(&fr->reading))
            return true;
    }
    return false;
}

static bool is_correction(const struct fhir_observation *o)
{
    return o->owners_word || o->reading_status == READING_CORRECTED;
}

static void note_before(enum quantity quantity, enum sign sign, char hint[64])
{
    snprintf(hint, 64, "before: %s", held_words(quantity, sign));
}

/* What was in use before, and is not said again. */
static const struct reading *find_used(const struct stand *s,
                                       const struct fhir_observation *o,
                                       const struct fhir_reading *fr)
{
    for (size_t i = 0; i < s->used_count; i++) {
        const struct reading *r = &s->used[i].reading;

        if (is_about(&fr->reading, r) && !is_restated(o, r))
            return r;
    }
    return NULL;
}

/* What was held before, and was more than a value that nobody could read. */
static const struct stand_held *find_held(const struct stand *s,
                                          const struct fhir_observation *o,
                                          const struct fhir_reading *fr)
{
    for (size_t i = 0; i < s->held_count; i++) {
        const struct stand_held *h = &s->held[i];
        struct reading r = { .quantity = h->quantity,
                             .sign = h->sign,
                             .present = true };
        bool before = h->version > 0 && h->version < s->version;

        if (!is_about(&fr->reading, &r) || !h->emergency)
            continue;
        if (h->hold == HOLD_OTHERWISE ||
            (before && h->hold != HOLD_VALUE && !is_restated(o, &r)))
            return h;
    }
    return NULL;
}

static bool was_held(const struct stand *s, const struct fhir_reading *fr,
                     enum hold hold)
{
    for (size_t i = 0; i < s->held_count; i++) {
        const struct stand_held *h = &s->held[i];

        if (h->slot == fr->reading.slot && h->version == s->version &&
            h->hold == hold)
            return true;
    }
    return false;
}

static void judge_time(const struct stand *s, const struct fhir_observation *o,
                       struct fhir_reading *fr)
{
    bool old = o->live_from_s != 0 && fr->reading.end_s < o->live_from_s;

    if (fr->hold == HOLD_NONE && reading_is_emergency(&fr->reading) &&
        (old || was_held(s, fr, HOLD_TIME)))
        fr->hold = HOLD_TIME;
}

void stand_judge(const struct stand *s, const struct fhir_observation *o,
                 struct fhir_reading *fr)
{
    const struct reading *used = find_used(s, o, fr);
    const struct stand_held *held = find_held(s, o, fr);
    bool free = is_correction(o) && !was_held(s, fr, HOLD_OTHERWISE);

    if (fr->reading.status == READING_WITHDRAWN)
        return;
    if (used != NULL)
        note_before(used->quantity, used->sign, fr->hint);
    else if (held != NULL && held->hint[0] != '\0')
        snprintf(fr->hint, sizeof(fr->hint), "%s", held->hint);
    else if (held != NULL)
        note_before(held->quantity, held->sign, fr->hint);
    if ((used != NULL && !free && fr->hold != HOLD_VALUE) ||
        (held != NULL && (!free || fr->unread)))
        fr->hold = HOLD_OTHERWISE;
    judge_time(s, o, fr);
}

bool stand_is_live(const struct stand *s, const struct fhir_observation *o,
                   const struct fhir_reading *fr)
{
    bool live = o->live_from_s != 0;

    for (size_t i = 0; i < s->held_count; i++)
        live = live || (s->held[i].slot == fr->reading.slot && s->held[i].live);
    return live;
}

bool stand_is_ended(const struct fhir_observation *o,
                    const struct reading *stands,
                    const struct readings_fate *fate)
{
    bool any = false;

    for (size_t i = 0; i < o->reading_count; i++) {
        if (!is_about(&o->readings[i].reading, stands))
            continue;
        any = true;
        if (!fate->is_used[i])
            return false;
    }
    return any;
}

bool stand_is_shown(const struct fhir_observation *o,
                    const struct reading *stands)
{
    for (size_t i = 0; i < o->reading_count; i++) {
        if (is_about(&o->readings[i].reading, stands))
            return true;
    }
    return false;
}
