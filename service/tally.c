#include "service/tally.h"

#include "service/silence.h"

#include <stdio.h>
#include <string.h>

enum {
    WEEKS_KEPT = 110, /* two years and a little */
    TEXT_SIZE = 201
};

static const int64_t day_ms = INT64_C(86400000);

int64_t tally_week(int64_t at_ms)
{
    int64_t day = at_ms / day_ms - (at_ms % day_ms < 0 ? 1 : 0);

    /* 1970-01-01 was a Thursday: three days after a Monday */
    return day - ((day % 7 + 7 + 3) % 7);
}

/* What a sender wrote, short enough for a key and without half a character. */
static const char *clip(const char *text, char out[TEXT_SIZE])
{
    size_t len = text != NULL ? strlen(text) : 0;

    if (len >= TEXT_SIZE) {
        len = TEXT_SIZE - 1;
        while (len > 0 && ((unsigned char)text[len] & 0xC0) == 0x80)
            len--;
    }
    if (len > 0)
        memcpy(out, text, len);
    out[len] = '\0';
    return out;
}

/* "OBX[3]-5" as "OBX-5": which one it was is in the sample. */
static void drop_indices(char *place)
{
    char *to = place;

    for (const char *at = place; *at != '\0'; at++) {
        size_t digits = at[0] == '[' ? strspn(at + 1, "0123456789") : 0;

        if (at[0] == '[' && digits > 0 && at[1 + digits] == ']')
            at += digits + 1;
        else
            *to++ = *at;
    }
    *to = '\0';
}

/* Each text as it is kept. */
struct clipped {
    char source[TEXT_SIZE], reason[TEXT_SIZE], what[TEXT_SIZE];
    char place[TEXT_SIZE], unit[TEXT_SIZE], sample[TEXT_SIZE];
};

static enum err add_new(struct db *db, const struct tally_row *row,
                        struct clipped *c, int64_t week)
{
    const enum query q = Q_TALLY_KINDS;
    enum err e = db_first(db, q, "is", week, c->source);

    if (e != ERR_OK)
        return e;
    /* many codes that no map has must not hide what is held */
    if (db_int(db, q, 0) >=
        (row->class == TALLY_UNKNOWN ? TALLY_KINDS_MAX : 2 * TALLY_KINDS_MAX))
        c->what[0] = c->place[0] = '\0';
    db_done(db, q);
    e = db_run(db, Q_TALLY_TRIM, "i", week - INT64(WEEKS_KEPT) * 7);
    if (e != ERR_OK)
        return e;
    return db_run(db, Q_TALLY_ADD, "isissssiiis", week, c->source,
                  INT64(row->class), c->reason, c->what, c->place, c->unit,
                  INT64(row->way), row->count, row->at_ms, c->sample);
}

enum err tally_add(struct db *db, const struct tally_row *row)
{
    int64_t week = tally_week(row->at_ms);
    struct clipped c;
    enum err e;

    clip(row->source, c.source);
    clip(row->reason, c.reason);
    clip(row->what, c.what);
    clip(row->place, c.place);
    drop_indices(c.place);
    clip(row->unit, c.unit);
    clip(row->sample, c.sample);
    e = row->class != TALLY_REFUSED
            ? silence_arrived(db, c.source, c.unit, row->at_ms)
            : ERR_OK;
    if (e != ERR_OK)
        return e;
    e = db_run(db, Q_TALLY_MORE, "isissssiis", week, c.source,
               INT64(row->class), c.reason, c.what, c.place, c.unit, row->count,
               row->at_ms, c.sample);
    return e == ERR_OK && db_changes(db) == 0 ? add_new(db, row, &c, week) : e;
}

const char *tally_class_word(enum tally_class class)
{
    static const char *const words[] = {
        [TALLY_TAKEN] = "taken",
        [TALLY_REFUSED] = "refused",
        [TALLY_QUARANTINED] = "quarantined",
        [TALLY_HELD] = "held",
        [TALLY_UNKNOWN] = "unknown-code",
        [TALLY_TOLERATED] = "tolerated",
    };
    int n = (int)class;

    return n > 0 && n < (int)COUNT(words) ? words[n] : "other";
}

enum err tally_metrics(struct db *db, int64_t now_ms, struct buf *out)
{
    const enum query q = Q_TALLY_SUMS;
    enum err e = db_query(db, q, "i", tally_week(now_ms));

    buf_puts(out, "# HELP headgate_input_total What came in since Monday "
                  "(UTC), by what became of it\n"
                  "# TYPE headgate_input_total counter\n");
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        buf_printf(out, "headgate_input_total{class=\"%s\",way=\"%s\"} %lld\n",
                   tally_class_word((enum tally_class)db_int(db, q, 0)),
                   quarantine_way_word((enum quarantine_way)db_int(db, q, 1)),
                   (long long)db_int(db, q, 2));
    return e == ERR_ABSENT ? ERR_OK : e;
}
