/* Released: read again by what is known today. */
#include "service/quarantine_act.h"

#include "adapters/quarantine_text.h"
#include "service/held.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { AT_ONCE = 50 };

static enum err keep(struct db *db, const struct quarantine_act *act,
                     int64_t number, enum deed_act deed)
{
    const struct deed done = { .item = number,
                               .act = deed,
                               .detail = "",
                               .settled = 1,
                               .who = act->who,
                               .why = act->why,
                               .now_ms = act->site.now_ms };

    return deed_add(db, &done, NULL);
}

enum err quarantine_say_left(struct db *db, const struct quarantine_item *item,
                             struct buf *out)
{
    const enum query q = Q_HELD_SLOTS;
    enum err e = db_query(db, q, "i", item->number);

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        enum quantity quantity = (enum quantity)db_int(db, q, 2);
        struct quarantine_line line = { .number = item->number,
                                        .held = true,
                                        .reason = db_text(db, q, 1),
                                        .hint = db_text(db, q, 3) };

        buf_printf(out, "%s stays held: %s\n    To mend it: ",
                   held_words(quantity, (enum sign)db_int(db, q, 5)),
                   held_reason_words(quantity, line.reason));
        quarantine_write_mend(&line, out);
        buf_puts(out, "\n");
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- one ------------------------------------------------------------------ */

/* The holds that this settles: what was sent is right as it stands. */
static const char *const right_as_sent[] = { "implausible", "time",
                                             "otherwise" };

/* Does a hold stay that the word was to settle? */
static enum err is_for_nothing(struct db *db, int64_t number, bool *nothing)
{
    const enum query q = Q_HELD_SLOTS;
    enum err e = db_query(db, q, "i", number);

    *nothing = false;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        for (size_t i = 0; i < COUNT(right_as_sent); i++) {
            if (strcmp(right_as_sent[i], db_text(db, q, 1)) == 0)
                *nothing = true;
        }
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* A person may know better than a range, but not that blood flowed backwards:
 * what cannot be is not released, whoever says so. */
static enum err check_values(struct db *db, struct quarantine_act *act,
                             const struct quarantine_item *item)
{
    struct outcome outcome;
    struct fhir_doc *doc = NULL;
    const struct fhir_observation *o = NULL;
    struct buf bytes;
    enum err e;

    outcome_init(&outcome);
    buf_init(&bytes, BODY_MAX);
    e = quarantine_bytes(db, item, &bytes);
    if (e == ERR_OK)
        e = fhir_read(&act->site.reader, bytes.data, bytes.len, &outcome, &doc);
    if (e == ERR_OK && fhir_doc_count(doc) > 0)
        o = &fhir_doc_item(doc, 0)->u.observation;
    for (size_t i = 0; o != NULL && e == ERR_OK && i < o->reading_count; i++) {
        const struct reading *r = &o->readings[i].reading;
        const struct quantity_info *info = quantity_info(r->quantity);

        if (info->kind == VALUE_NUMBER && !isnan(r->value) &&
            !quantity_can_be(r->quantity, r->value))
            e = quarantine_refuse(act, 409,
                                  "%s cannot be what was sent: it has to be "
                                  "corrected where it comes from, or discarded",
                                  info->display);
    }
    if (doc != NULL)
        fhir_doc_free(doc);
    buf_clear(&bytes);
    /* bytes that are not there or cannot be read say nothing against it */
    return e == ERR_ABSENT || e == ERR_FORM || e == ERR_LIMIT ? ERR_OK : e;
}

/* The value is right, somebody says; or a discard is taken back. */
static enum err say_word(struct db *db, struct quarantine_act *act,
                         const struct quarantine_item *item,
                         enum deed_act *deed)
{
    const struct person_verdict right = { .version = item->row.version,
                                          .acts = VERDICT_AS_SENT };
    unsigned count = 0;
    enum err e = verdict_lift(db, item->number);

    *deed = e == ERR_OK ? DEED_UNDISCARD : DEED_RELEASE;
    if (e == ERR_OK) /* and is held again, if it was */
        e = again_resource(db, &act->site.reader, item->number, NULL,
                           &act->count);
    e = e == ERR_ABSENT ? ERR_OK : e;
    act->count = (struct again_count){ .looked = 0 };
    if (e != ERR_OK || !act->as_sent)
        return e;
    *deed = DEED_AS_SENT;
    e = check_values(db, act, item);
    for (size_t i = 0; e == ERR_OK && i < COUNT(right_as_sent); i++) {
        unsigned one = 0;

        e = quarantine_say(db, act, item, right_as_sent[i], NULL, &right, &one);
        count += one;
    }
    if (e == ERR_OK && count == 0)
        return quarantine_refuse(act, 409,
                                 "No value of %lld is held as implausible, for "
                                 "its time, or because it says otherwise than "
                                 "before",
                                 (long long)item->number);
    return e;
}

static enum err release_held(struct db *db, struct quarantine_act *act,
                             const struct quarantine_item *item)
{
    enum deed_act deed;
    enum err e = say_word(db, act, item, &deed);

    if (e != ERR_OK)
        return e;
    e = again_resource(db, &act->site.reader, item->number, NULL, &act->count);
    if (e != ERR_OK)
        return e;
    if (act->count.settled == 0 && act->as_sent && act->count.held > 0) {
        bool nothing;

        /* said of the value; what else is not clear can be said after it */
        e = is_for_nothing(db, item->number, &nothing);
        if (e == ERR_OK && !nothing) {
            buf_printf(&act->text,
                       "Your word on %lld is kept, and is not all that it "
                       "needs.\n",
                       (long long)item->number);
            e = quarantine_say_left(db, item, &act->text);
            return e == ERR_OK ? keep(db, act, item->number, deed) : e;
        }
    }
    if (e == ERR_OK && act->count.settled == 0 && deed != DEED_UNDISCARD) {
        if (act->count.held == 0)
            return quarantine_refuse(act, 409,
                                     "Nothing of %lld is held, and nothing "
                                     "more of it can be used",
                                     (long long)item->number);
        e = quarantine_say_left(db, item, &act->text);
        act->status = 409;
        return e == ERR_OK ? ERR_CONFLICT : e;
    }
    if (e != ERR_OK)
        return e;
    buf_printf(&act->text, "%lld is %s.\n", (long long)item->number,
               act->count.settled > 0
                   ? "released; its access is reviewed as after any reading"
                   : "no longer discarded");
    e = quarantine_say_left(db, item, &act->text);
    return e == ERR_OK ? keep(db, act, item->number, deed) : e;
}

/* Read by quarantine_again; *taken: it is done with. */
static enum err retry_row(struct db *db, const struct quarantine_act *act,
                          const struct quarantine_item *item, bool *taken,
                          struct buf *why)
{
    enum err e = quarantine_again(db, &act->site, item, taken, why);

    if (e == ERR_OK && *taken)
        e = db_run(db, Q_QUARANTINE_WHO, "iissi", item->number,
                   INT64(QUARANTINE_RELEASED), act->who, act->why,
                   act->site.now_ms);
    if (e == ERR_OK && *taken)
        e = keep(db, act, item->number, DEED_RELEASE);
    return e == ERR_OK && *taken ? quarantine_trim(db, act->site.now_ms) : e;
}

static enum err release_row(struct db *db, struct quarantine_act *act,
                            const struct quarantine_item *item)
{
    struct buf why;
    bool taken = false;
    enum err e = ERR_OK;

    if (item->state == QUARANTINE_RELEASED ||
        item->state == QUARANTINE_CAME_AGAIN)
        return quarantine_refuse(act, 409, "%lld has been dealt with already",
                                 (long long)item->number);
    if (act->as_sent)
        return quarantine_refuse(act, 400,
                                 "--as-sent is for a value that is held as "
                                 "implausible; %lld is a whole input",
                                 (long long)item->number);
    buf_init(&why, 1000);
    if (item->state == QUARANTINE_DISCARDED)
        e = db_run(db, Q_QUARANTINE_REOPEN, "i", item->number);
    if (e == ERR_OK && item->state == QUARANTINE_DISCARDED)
        e = keep(db, act, item->number, DEED_UNDISCARD);
    if (e == ERR_OK)
        e = retry_row(db, act, item, &taken, &why);
    if (e == ERR_OK && taken) {
        act->count.settled++;
        buf_printf(&act->text,
                   "%lld is released: it was taken in, and is reviewed as any "
                   "other.\n",
                   (long long)item->number);
    } else if (e == ERR_OK) {
        act->status = 409;
        buf_printf(&act->text, "%lld stays in quarantine: %s\n",
                   (long long)item->number, why.data);
    }
    buf_clear(&why);
    return e;
}

enum err quarantine_release(struct db *db, struct quarantine_act *act,
                            const struct quarantine_item *item)
{
    return item->held ? release_held(db, act, item)
                      : release_row(db, act, item);
}

/* ---- all of them ---------------------------------------------------------- */

static enum err release_next(struct db *db, struct quarantine_act *act,
                             int64_t number)
{
    struct quarantine_item item;
    unsigned before = act->count.settled;
    struct buf why;
    char name[32];
    bool taken = false;
    enum err e;

    snprintf(name, sizeof(name), "%lld", (long long)number);
    e = quarantine_find(db, name, &item);
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    if (item.held) {
        e = again_resource(db, &act->site.reader, number, NULL, &act->count);
        return e == ERR_OK && act->count.settled > before
                   ? keep(db, act, number, DEED_RELEASE)
                   : e;
    }
    buf_init(&why, 1000);
    e = retry_row(db, act, &item, &taken, &why);
    buf_clear(&why);
    act->count.looked++;
    act->count.settled += taken ? 1 : 0;
    act->count.held += taken ? 0 : 1;
    return e;
}

/* Open rows after this number. */
static enum err list_rows(struct db *db, const char *reason, int64_t after,
                          int64_t *list, size_t most, size_t *count)
{
    const enum query q = Q_QUARANTINE_NUMBERS;
    enum err e = db_query(db, q, "isi", after, reason, INT64(most));

    *count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (*count < most)
            list[(*count)++] = db_int(db, q, 0);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err quarantine_retry_rows(struct db *db, struct quarantine_act *act)
{
    int64_t list[AT_ONCE];
    size_t count = 0;
    enum err e = list_rows(db, act->reason, act->after, list, AT_ONCE, &count);

    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        act->after = list[i];
        e = release_next(db, act, list[i]);
    }
    act->more = e == ERR_OK && count == AT_ONCE;
    return e;
}

/* Numbers grow with time: both lists together in the order of arrival. */
enum err quarantine_release_all(struct db *db, struct quarantine_act *act)
{
    const char *reason = act->reason[0] != '\0' ? act->reason : NULL;
    int64_t held[AT_ONCE], rows[AT_ONCE];
    size_t held_count = 0, row_count = 0, h = 0, r = 0;
    enum err e =
        again_list_held(db, reason, act->after, held, AT_ONCE, &held_count);

    if (e == ERR_OK)
        e = list_rows(db, reason, act->after, rows, AT_ONCE, &row_count);
    while (e == ERR_OK && h + r < AT_ONCE &&
           (h < held_count || r < row_count)) {
        bool is_held = h < held_count && (r == row_count || held[h] < rows[r]);

        act->after = is_held ? held[h++] : rows[r++];
        e = release_next(db, act, act->after);
    }
    act->more = e == ERR_OK && (h < held_count || r < row_count ||
                                held_count == AT_ONCE || row_count == AT_ONCE);
    if (e == ERR_OK && !act->more)
        buf_printf(&act->text,
                   "Looked again at %u: %u released, %u stay%s as before.\n",
                   act->count.looked, act->count.settled,
                   act->count.looked - act->count.settled,
                   act->count.looked - act->count.settled == 1 ? "s" : "");
    return e;
}
