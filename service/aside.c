#include "service/aside.h"

#include "adapters/aside_text.h"
#include "service/app.h"
#include "service/audit_whom.h"
#include "service/names.h"

enum { STATE_ASIDE = 2, STATE_GIVEN_UP = 4 };

#define UNIT_LIST "unit-list" /* TASK_CODE_UNIT_LIST */

static struct aside_line line_of(struct db *db, enum query q)
{
    return (struct aside_line){
        .row = db_int(db, q, 0),
        .type = type_word((enum fhir_type)db_int(db, q, 1)),
        .fid = db_text(db, q, 2),
        .remote = db_text(db, q, 3),
        .status = (long)db_int(db, q, 4),
        .tries = (int)db_int(db, q, 5),
        .aside_ms = db_int(db, q, 6),
        .answer = db_text(db, q, 7),
        .given_up = db_int(db, q, 8) == STATE_GIVEN_UP,
        .who = db_text(db, q, 9),
        .why = db_text(db, q, 10),
        /* the list of a unit goes with no Task */
        .code = db_is_null(db, q, 11) ? UNIT_LIST : db_text(db, q, 11),
        .access = access_words(db_text(db, q, 12), db_text(db, q, 13)),
        .patient = short_anchor(db_text(db, q, 14))
    };
}

static enum err count_state(struct db *db, int64_t state, size_t *count)
{
    const enum query q = Q_OUTBOX_COUNTS;
    enum err e = db_query(db, q, "");

    *count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (db_int(db, q, 0) == state)
            *count = (size_t)db_int(db, q, 1);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err write_rows(struct db *db, bool json, int64_t state,
                           int64_t most, const struct zone *zone, size_t *count,
                           struct buf *out)
{
    const enum query q = Q_OUTBOX_ASIDE;
    enum err e = db_query(db, q, "ii", state, most);

    *count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        struct aside_line line = line_of(db, q);

        if (json)
            aside_json_write(&line, out);
        else
            aside_text_write(&line, zone, out);
        (*count)++;
        e = audit_saw(db, AUDIT_SAW_RESOURCE, line.row);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err aside_read(struct db *db, bool json, bool given_up, int64_t most,
                    const struct zone *zone, struct buf *out)
{
    const int64_t state = given_up ? STATE_GIVEN_UP : STATE_ASIDE;
    size_t count, all = 0;
    enum err e = write_rows(db, json, state, most, zone, &count, out);

    if (e == ERR_OK)
        e = count_state(db, state, &all);
    if (e != ERR_OK)
        return e;
    if (json && all > count)
        buf_printf(out, "{\"more\":%zu}\n", all - count);
    if (!json && count == 0)
        buf_puts(out, given_up ? "Nothing was given up.\n"
                               : "Nothing is put aside: all that was to go to "
                                 "the record is there or on its way.\n");
    if (!json && count > 0 && all > count)
        buf_printf(out,
                   "\nNot shown: %zu more.  All of them: headgate outbox "
                   "--all%s\n",
                   all - count, given_up ? " given-up" : "");
    if (!json && count > 0 && !given_up)
        buf_puts(out, "\nMend the cause, then: headgate outbox retry ROW (or "
                      "all). Or: headgate outbox discard ROW --by NAME --why "
                      "TEXT.\n");
    return buf_ok(out);
}

/* ERR_ABSENT: no row, or in none of these states. */
static enum err expect_state(struct db *db, int64_t row, bool or_given_up)
{
    enum err e = db_first(db, Q_OUTBOX_STATE, "i", row);
    int64_t state = e == ERR_OK ? db_int(db, Q_OUTBOX_STATE, 0) : 0;

    db_done(db, Q_OUTBOX_STATE);
    if (e != ERR_OK)
        return e;
    return state == STATE_ASIDE || (or_given_up && state == STATE_GIVEN_UP)
               ? ERR_OK
               : ERR_ABSENT;
}

enum err aside_again(struct db *db, int64_t row, int64_t now_ms, size_t *count)
{
    enum err e;

    *count = 1;
    if (row == 0) {
        e = count_state(db, STATE_ASIDE, count);
        return e == ERR_OK ? db_run(db, Q_OUTBOX_AGAIN_ALL, "i", now_ms) : e;
    }
    e = expect_state(db, row, true);
    return e == ERR_OK ? db_run(db, Q_OUTBOX_AGAIN, "ii", row, now_ms) : e;
}

enum err aside_give_up(struct db *db, int64_t row, const char *who,
                       const char *why)
{
    enum err e = expect_state(db, row, false);

    return e == ERR_OK ? db_run(db, Q_OUTBOX_GIVE_UP, "iss", row, who, why) : e;
}
