#include "service/queue.h"

#include "adapters/catalogue.h"
#include "adapters/queue_text.h"
#include "service/audit_whom.h"
#include "service/names.h"
#include "service/queue_rows.h"
#include "service/silence.h"

#include <stdio.h>
#include <string.h>

/* ---- what was asked for ----------------------------------------------------- */

enum { UNITS_SHOWN = 50 };

/* Which accesses a name means; none is no error here. */
static enum err find_accesses(struct db *db, enum query q,
                              struct queue_wish *wish)
{
    enum err e = db_query(db, q, "si", wish->access, INT64(QUEUE_ACCESSES_MAX));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (wish->filter.access_count < QUEUE_ACCESSES_MAX)
            wish->accesses[wish->filter.access_count++] = db_int(db, q, 0);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err want_access(struct db *db, struct queue_wish *wish,
                            struct buf *why)
{
    enum err e = find_accesses(db, Q_ACCESS_NAMED, wish);

    if (e == ERR_OK && wish->filter.access_count == 0)
        e = find_accesses(db, Q_ACCESS_OF_NAMED, wish);
    if (e != ERR_OK || wish->filter.access_count > 0)
        return e;
    buf_puts(why, _("No access and no patient is called so."));
    buf_puts(why, "\n");
    return ERR_ABSENT;
}

/* A mistyped name must not read as a unit without patients. */
enum err queue_unit_known(struct db *db, const char *unit, struct buf *why)
{
    const enum query q = Q_UNIT_NAMES;
    bool known = false;
    size_t listed = 0;
    struct buf names;
    enum err e = db_query(db, q, "i", INT64(UNITS_MAX));

    buf_init(&names, 65536);
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        const char *name = db_text(db, q, 0);

        known = known || queue_is_unit(name, unit);
        if (listed++ >= UNITS_SHOWN)
            continue;
        buf_puts(&names, "  ");
        queue_text_clean(&names, name);
        buf_puts(&names, "\n");
    }
    db_done(db, q);
    if (e == ERR_ABSENT && !known) {
        buf_puts(why, listed == 0 ? _("No unit of a patient is known yet.")
                                  : _("No patient is of a unit of this name. "
                                      "Units that are known:"));
        buf_puts(why, "\n");
        buf_add(why, names.data, names.len);
    }
    buf_clear(&names);
    return known && e == ERR_ABSENT ? ERR_OK : e;
}

/* The wish as a filter; what it names has to be there. */
static enum err resolve(struct db *db, struct queue_wish *wish, struct buf *why)
{
    struct queue_filter *f = &wish->filter;
    enum err e = ERR_OK;

    f->access_count = 0;
    f->accesses = wish->accesses;
    f->unit = NULL;
    f->no_unit = wish->unit[0] != '\0' && queue_asks_no_unit(wish->unit);
    if (wish->unit[0] != '\0' && !f->no_unit) {
        f->unit = wish->unit;
        e = queue_unit_known(db, wish->unit, why);
    }
    f->access = wish->access[0] != '\0' ? wish->access : NULL;
    return e == ERR_OK && f->access != NULL ? want_access(db, wish, why) : e;
}

/* ---- the answer --------------------------------------------------------------- */

static const char *or_empty(const char *text)
{
    return text != NULL ? text : "";
}

/* Nothing of it could be used: nobody knows what is in it. */
static enum err write_inputs_count(struct db *db, struct buf *out)
{
    const enum query q = Q_QUARANTINE_OPEN_COUNT;
    enum err e = db_first(db, q, "");
    long long open = e == ERR_OK ? (long long)db_int(db, q, 0) : 0;

    db_done(db, q);
    if (open > 0)
        buf_printf(out,
                   _("In quarantine, not taken in: %lld; see headgate "
                     "quarantine.\n"),
                   open);
    return e;
}

/* A sign of emergency may be among what nobody could place. */
static enum err write_held_count(struct db *db, struct buf *out)
{
    const enum query q = Q_HELD_BY_QUANTITY;
    long long held = 0, signs = 0;
    enum err e = db_query(db, q, "");

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        enum quantity quantity = (enum quantity)db_int(db, q, 0);

        held += db_int(db, q, 1);
        if (quantity_info(quantity)->kind != VALUE_NUMBER)
            signs += db_int(db, q, 1);
    }
    if (e == ERR_ABSENT)
        e = write_inputs_count(db, out);
    if (held > 0)
        buf_printf(out,
                   _("Held back and not used: %1$lld, of them signs of hand or "
                     "access: %2$lld; see headgate quarantine.\n"),
                   held, signs);
    return e;
}

/* ---- whom it leaves out ------------------------------------------------------- */

/* By name: he was asked for. */
static enum err name_dead(struct db *db, int64_t access, struct buf *out)
{
    const enum query q = Q_DECEASED_OF_ACCESS;
    struct buf name, number;
    const char *died;
    enum err e = db_first(db, q, "i", access);

    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    died = db_text(db, q, 2);
    buf_init(&name, (size_t)5 * QUEUE_TEXT_MAX);
    buf_init(&number, (size_t)5 * QUEUE_TEXT_MAX);
    queue_text_clean(&name, or_empty(db_text(db, q, 0)));
    queue_text_clean(&number, short_anchor(db_text(db, q, 1)));
    /* TRANSLATORS: a name and a number of the patient, then of the first of
     * the two a day, a month or a year */
    if (died[0] != '\0')
        buf_printf(out,
                   _("Left out: %1$s (%2$s), recorded as deceased on %3$s: "
                     "nothing is suggested. If that is wrong, have it put "
                     "right in the record.\n"),
                   name.len > 0 ? name.data : _("Name not known"),
                   number.len > 0 ? number.data : _("number not known"), died);
    else
        buf_printf(out,
                   _("Left out: %1$s (%2$s), recorded as deceased: nothing is "
                     "suggested. If that is wrong, have it put right in the "
                     "record.\n"),
                   name.len > 0 ? name.data : _("Name not known"),
                   number.len > 0 ? number.data : _("number not known"));
    buf_clear(&name);
    buf_clear(&number);
    db_done(db, q);
    return ERR_OK;
}

static enum err count_dead(struct db *db, const struct queue_filter *f,
                           struct buf *out)
{
    const enum query q = Q_DECEASED_LEFT;
    unsigned long dead = 0;
    enum err e = db_query(db, q, "");

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        const char *unit = or_empty(db_text(db, q, 0));

        if (db_int(db, q, 1) == 0 &&
            (f->unit == NULL || queue_is_unit(f->unit, unit)) &&
            (!f->no_unit || unit[0] == '\0'))
            dead++;
    }
    if (dead > 0)
        buf_printf(out,
                   ngettext("Left out: %lu patient who is recorded as "
                            "deceased.\n",
                            "Left out: %lu patients who are recorded as "
                            "deceased.\n",
                            dead),
                   dead);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err write_dead(struct db *db, const struct queue_filter *f,
                           struct buf *out)
{
    enum err e = ERR_OK;

    if (f->access == NULL)
        return count_dead(db, f, out);
    for (size_t i = 0; e == ERR_OK && i < f->access_count; i++)
        e = name_dead(db, f->accesses[i], out);
    return e;
}

/* ---- all of it ---------------------------------------------------------------- */

static void write(const struct queue_rows *l, size_t count,
                  const struct queue_wish *wish,
                  const struct queue_hidden *hidden, struct buf *out)
{
    struct queue_options options = wish->options;
    bool filtered = queue_filter_any(&wish->filter);

    options.cut = l->cut;
    options.filter = filtered ? &wish->filter : NULL;
    options.hidden = hidden;
    if (wish->table) {
        queue_write_table(l->rows, count, &options, out);
        return;
    }
    for (size_t i = 0; i < count; i++)
        queue_write_json(&l->rows[i], options.now_s, options.zone, out);
    if (filtered || l->cut)
        queue_filter_json(&wish->filter, hidden, out);
}

/* For the audit trail: who is shown. */
static enum err see(struct db *db, const struct queue_row *rows, size_t count)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = audit_saw(db, AUDIT_SAW_PATIENT, rows[i].patient_id);
    return e;
}

enum err queue_read(struct db *db, struct queue_wish *wish, int64_t held_from_s,
                    struct buf *out)
{
    const struct queue_options *o = &wish->options;
    struct queue_hidden hidden = { .rows = 0 };
    struct queue_rows l = { .err = ERR_OK };
    size_t count;
    enum err e = resolve(db, wish, out);

    if (e == ERR_OK)
        e = queue_rows_read(db, held_from_s, o->now_s, &l);
    if (e == ERR_OK) {
        count = queue_filter_apply(&wish->filter, l.rows, l.count, o->now_s,
                                   o->zone, &hidden);
        e = see(db, l.rows, count);
        write(&l, count, wish, &hidden, out);
        if (wish->table && e == ERR_OK)
            e = write_held_count(db, out);
        if (wish->table && e == ERR_OK)
            e = write_dead(db, &wish->filter, out);
        if (wish->table && e == ERR_OK)
            e = silence_say(db, o->now_s * 1000, wish->feed_limit_d,
                            wish->filter.unit, out);
    }
    queue_rows_clear(&l);
    return e == ERR_OK ? buf_ok(out) : e;
}

enum err queue_mark(struct db *db, const struct queue_options *options,
                    char mark[QUEUE_MARK_SIZE])
{
    const enum query q = Q_QUEUE_CHANGE;
    enum err e = db_first(db, q, "i", options->now_s);

    if (e != ERR_OK)
        return e;
    /* what passes by time alone: a day that is due, one put off until then */
    snprintf(mark, QUEUE_MARK_SIZE, "W/\"%lld-%lld-%lld-%d\"",
             (long long)db_int(db, q, 0), (long long)db_int(db, q, 1),
             (long long)queue_days(options->now_s, 0, options->zone),
             options->silent ? 1 : 0);
    db_done(db, q);
    return ERR_OK;
}
