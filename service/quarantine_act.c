#include "service/quarantine_act.h"

#include "adapters/fhir_glance.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum err quarantine_refuse(struct quarantine_act *act, int status,
                           const char *format, ...)
{
    char text[1200];
    va_list args;

    va_start(args, format);
    vsnprintf(text, sizeof(text), format, args);
    va_end(args);
    act->status = status;
    buf_empty(&act->text);
    buf_printf(&act->text, "%s.\n", text);
    return ERR_CONFLICT;
}

enum err quarantine_keep(struct db *db, struct quarantine_act *act,
                         int64_t number, enum deed_act deed, const char *detail)
{
    const struct deed done = { .item = number,
                               .act = deed,
                               .detail = detail,
                               .who = act->who,
                               .why = act->why,
                               .now_ms = act->site.now_ms };

    return deed_add(db, &done, &act->deed);
}

void quarantine_act_failed(struct quarantine_act *act)
{
    if (act->verb != QUARANTINE_MAP || act->mapping == 0 || act->kept)
        return;
    if (codes_unlearn(act->site.codes, act->mapping) == ERR_OK)
        act->mapping = 0;
}

enum { CODE_MAX = 4096 };

/* Slots first: nothing may be written while they are read. */
struct said_slots {
    int list[FHIR_READINGS_MAX];
    char reasons[FHIR_READINGS_MAX][16];
    size_t count;
};

static bool is_reason(const char *held, const char *a, const char *b)
{
    return a == NULL || a[0] == '\0' || strcmp(held, a) == 0 ||
           (b != NULL && strcmp(held, b) == 0);
}

static enum err find_slots(struct db *db, int64_t number, const char *reason,
                           const char *or_reason, struct said_slots *slots)
{
    const bool all_that_wait = reason != NULL && reason[0] == '\0';
    const enum query q = Q_VERDICT_SLOTS;
    bool any = false;
    enum err e = db_query(db, q, "i", number);

    slots->count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        const char *held = db_text(db, q, 1);
        bool waits = db_int(db, q, 2) != 0;

        if (!waits && (all_that_wait || (reason != NULL && any)))
            continue; /* the word is for what waits for it */
        if (!is_reason(held, reason, or_reason) ||
            slots->count == COUNT(slots->list))
            continue;
        any = any || waits;
        slots->list[slots->count] = (int)db_int(db, q, 0);
        snprintf(slots->reasons[slots->count++], sizeof(slots->reasons[0]),
                 "%s", held);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* What a component measures, by which a word on it is known later; 0. */
static int64_t code_at(const struct buf *bytes, int slot)
{
    struct buf system, code;
    int64_t number = 0;
    enum err e = bytes->len > 0 ? ERR_OK : ERR_ABSENT;

    buf_init(&system, CODE_MAX);
    buf_init(&code, CODE_MAX);
    for (size_t i = 0; e == ERR_OK && number == 0; i++) {
        buf_empty(&system);
        buf_empty(&code);
        e = fhir_glance_coding(bytes->data, bytes->len, slot, i, &system,
                               &code);
        if (e == ERR_OK)
            number = verdict_code(system.data, code.data);
    }
    buf_clear(&system);
    buf_clear(&code);
    return number;
}

enum err quarantine_say(struct db *db, const struct quarantine_act *act,
                        const struct quarantine_item *item, const char *reason,
                        const char *or_reason,
                        const struct person_verdict *verdict, unsigned *count)
{
    struct said_slots slots;
    struct buf bytes;
    enum err e = find_slots(db, item->number, reason, or_reason, &slots);

    buf_init(&bytes, BODY_MAX);
    if (e == ERR_OK && slots.count > 0)
        e = quarantine_bytes(db, item, &bytes);
    e = e == ERR_ABSENT ? ERR_OK : e;
    for (size_t i = 0; e == ERR_OK && i < slots.count; i++) {
        struct verdict_said said = { .resource = item->number,
                                     .verdict = *verdict,
                                     .reason = slots.reasons[i],
                                     .who = act->who,
                                     .why = act->why,
                                     .now_ms = act->site.now_ms };

        said.verdict.slot = slots.list[i];
        said.verdict.patient = item->patient;
        said.verdict.code = code_at(&bytes, slots.list[i]);
        e = verdict_put(db, &said);
    }
    buf_clear(&bytes);
    *count = (unsigned)slots.count;
    return e;
}

/* ---- never to be used ----------------------------------------------------- */

static enum err discard_held(struct db *db, struct quarantine_act *act,
                             const struct quarantine_item *item)
{
    const struct person_verdict never = { .version = item->row.version,
                                          .acts = VERDICT_DISCARD };
    struct again_count seen = { .looked = 0 };
    unsigned count = 0;
    enum err e = quarantine_say(db, act, item, NULL, NULL, &never, &count);

    if (e == ERR_OK && count == 0)
        return quarantine_refuse(
            act, 409,
            "Nothing of %lld is held, or was put into use by a "
            "person",
            (long long)item->number);
    return e == ERR_OK ? again_resource(db, &act->site.reader, item->number,
                                        NULL, &seen)
                       : e;
}

static enum err discard(struct db *db, struct quarantine_act *act,
                        const struct quarantine_item *item)
{
    enum err e = item->held
                     ? discard_held(db, act, item)
                     : quarantine_close(db, item->number, QUARANTINE_DISCARDED,
                                        act->who, act->why, act->site.now_ms);

    if (e == ERR_ABSENT)
        return quarantine_refuse(act, 409, "%lld has been dealt with already",
                                 (long long)item->number);
    if (e == ERR_OK)
        e = quarantine_keep(db, act, item->number, DEED_DISCARD, "");
    if (e == ERR_OK)
        buf_printf(&act->text,
                   "%lld is discarded: it is not used, and stays readable with "
                   "your name and reason.\nA corrected version is judged "
                   "anew.\n",
                   (long long)item->number);
    return e;
}

/* ---- steps ---------------------------------------------------------------- */

static enum err begin(struct db *db, struct quarantine_act *act)
{
    struct quarantine_item item;
    enum err e;

    if (act->verb == QUARANTINE_RELEASE && strcmp(act->item, "all") == 0)
        return act->as_sent
                   ? quarantine_refuse(act, 400,
                                       "--as-sent is said of one value: name "
                                       "its number")
                   : quarantine_release_all(db, act);
    if (act->verb == QUARANTINE_UNMAP)
        return quarantine_unmap(db, act);
    e = quarantine_find(db, act->item, &item);
    if (e == ERR_FORM)
        return quarantine_refuse(
            act, 400,
            "Name it by its number, as headgate quarantine "
            "prints it");
    if (e == ERR_ABSENT)
        return quarantine_refuse(act, 404, "Nothing has the number %s",
                                 act->item);
    if (e != ERR_OK)
        return e;
    switch (act->verb) {
    case QUARANTINE_MAP:
        return quarantine_map(db, act, &item);
    case QUARANTINE_RELEASE:
        return quarantine_release(db, act, &item);
    case QUARANTINE_DISCARD:
    case QUARANTINE_UNMAP:
        break;
    }
    return discard(db, act, &item);
}

enum err quarantine_act(struct db *db, struct quarantine_act *act)
{
    bool begun = act->begun;
    enum err e;

    act->begun = true;
    act->more = false;
    if (!begun)
        act->status = 200;
    act->kept = begun;
    if (begun && act->verb == QUARANTINE_MAP)
        e = quarantine_sweep(db, act);
    else if (begun && act->verb == QUARANTINE_UNMAP)
        e = quarantine_unmap_more(db, act);
    else if (begun)
        e = quarantine_release_all(db, act);
    else
        e = begin(db, act);
    return e == ERR_OK ? buf_ok(&act->text) : e;
}

/* ---- what a mapping settles ----------------------------------------------- */

/* A message or line that waits for a code or a unit may be readable now. */
static enum err sweep_rows(struct db *db, struct quarantine_act *act)
{
    static const char *const reasons[] = { "unit", "code-unclear",
                                           "code-conflict" };
    enum err e;

    snprintf(act->reason, sizeof(act->reason), "%s", reasons[act->reason_at]);
    e = quarantine_retry_rows(db, act);
    act->reason[0] = '\0'; /* a mapping is of no reason */
    if (e == ERR_OK && !act->more) {
        act->after = 0;
        act->more = ++act->reason_at < COUNT(reasons);
    }
    return e;
}

enum err quarantine_sweep(struct db *db, struct quarantine_act *act)
{
    enum err e;

    if (!act->swept) {
        e = again_mapping(db, &act->site.reader, act->mapping, &act->count,
                          &act->more);
        act->swept = e == ERR_OK && !act->more;
        act->more = e == ERR_OK;
        return e;
    }
    e = sweep_rows(db, act);
    if (e != ERR_OK || act->more)
        return e;
    e = db_run(db, Q_DEED_SETTLED, "ii", act->deed, INT64(act->count.settled));
    if (e == ERR_OK)
        buf_printf(&act->text,
                   "Looked again at %u: %u settled, %u still held; what comes "
                   "from now on is read by it too.\n",
                   act->count.looked, act->count.settled, act->count.held);
    return e;
}
