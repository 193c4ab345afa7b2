#include "service/store_prune.h"

#include "adapters/catalogue.h"
#include "planner/reading.h"

#include <stddef.h>

enum { RESOURCES_AT_ONCE = 20000, MS_OF_DAY = 86400000 };

/* ---- what is one table ------------------------------------------------------ */

static const struct {
    enum query count, remove;
    size_t days; /* where the setting is */
} parts[] = {
    [PRUNE_PART_OUTBOX] = { Q_PRUNE_OUTBOX_COUNT, Q_PRUNE_OUTBOX,
                            offsetof(struct config, keep_outbox_d) },
    [PRUNE_PART_DECISIONS] = { Q_PRUNE_DECISIONS_COUNT, Q_PRUNE_DECISIONS,
                               offsetof(struct config, keep_decisions_d) },
    [PRUNE_PART_QUARANTINE] = { Q_PRUNE_QUARANTINE_COUNT, Q_PRUNE_QUARANTINE,
                                offsetof(struct config, keep_quarantine_d) },
    [PRUNE_PART_HL7] = { Q_PRUNE_HL7_COUNT, Q_PRUNE_HL7,
                         offsetof(struct config, keep_hl7_d) },
    [PRUNE_PART_EXPORTS] = { Q_PRUNE_BULK_COUNT, Q_PRUNE_BULK,
                             offsetof(struct config, keep_loads_d) },
};

static int days_of(const struct prune *p, size_t place)
{
    return *(const int *)(const void *)((const char *)p->config + place);
}

static enum err count(struct db *db, enum query q, int64_t before, int64_t *n)
{
    enum err e = db_first(db, q, "i", before);

    if (e == ERR_OK)
        *n = db_int(db, q, 0);
    db_done(db, q);
    return e;
}

/* Some of one part; all of what only is to be counted. */
static enum err prune_part(struct db *db, struct prune *p, int part, bool *any)
{
    int days = days_of(p, parts[part].days);
    int64_t before_ms = p->now_ms - (int64_t)days * MS_OF_DAY;
    enum err e;

    *any = false;
    if (days == 0)
        return ERR_OK;
    if (!p->yes)
        return count(db, parts[part].count, before_ms, &p->counts[part]);
    e = db_run(db, parts[part].remove, "i", before_ms);
    if (e != ERR_OK)
        return e;
    *any = db_changes(db) > 0;
    p->counts[part] += db_changes(db);
    return ERR_OK;
}

/* ---- readings ---------------------------------------------------------------- */

/* What the rules look back on stays, whatever the setting says. */
static int64_t readings_before_s(const struct prune *p)
{
    int back = policy_count(p->policy, P_LOOKBACK_D);
    int days =
        p->config->keep_readings_d > back ? p->config->keep_readings_d : back;

    return p->now_ms / 1000 - (int64_t)days * DAY_S;
}

static enum err run_all(struct db *db, const enum query *list, size_t n)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < n; i++)
        e = db_run(db, list[i], "");
    return e;
}

static enum err begin_readings(struct db *db, struct prune *p)
{
    static const enum query empty[] = { Q_OLD_NO_RESOURCE, Q_OLD_NO_JOURNAL,
                                        Q_OLD_NO_KEPT };
    enum err e = run_all(db, empty, COUNT(empty));

    if (e == ERR_OK)
        e = db_first(db, Q_SIFT_NEWEST, "");
    if (e == ERR_OK)
        p->newest = db_int(db, Q_SIFT_NEWEST, 0);
    db_done(db, Q_SIFT_NEWEST);
    p->began = true;
    return e;
}

static enum err count_readings(struct db *db, struct prune *p)
{
    const enum query q = Q_PRUNE_READINGS_COUNT;
    enum err e =
        db_first(db, q, "iiii", readings_before_s(p), INT64(Q_DOWEL_DIAMETER),
                 INT64(Q_ACCESS_INTERVENTION), INT64(SIGN_BANDED));

    if (e == ERR_OK)
        p->counts[PRUNE_PART_READINGS] = db_int(db, q, 0);
    db_done(db, q);
    return e;
}

/* Some Observations; *any: there were any. */
static enum err remove_readings(struct db *db, struct prune *p, bool *any)
{
    static const enum query rows[] = {
        Q_OLD_JOURNALS,    Q_OLD_SPANS,  Q_OLD_TOKENS,    Q_OLD_VERSIONS,
        Q_OLD_IDENTIFIERS, Q_OLD_ROWS,   Q_OLD_DERIVED,   Q_OLD_VERDICTS,
        Q_OLD_UNMAPPED,    Q_OLD_ORIGIN, Q_OLD_RESOURCES, Q_OLD_NO_RESOURCE
    };
    enum err e = p->began ? ERR_OK : begin_readings(db, p);

    *any = false;
    if (e == ERR_OK)
        e = db_run(db, Q_OLD_FIND, "iiii", readings_before_s(p),
                   INT64(Q_DOWEL_DIAMETER), INT64(Q_ACCESS_INTERVENTION),
                   INT64(SIGN_BANDED));
    if (e != ERR_OK)
        return e;
    *any = db_changes(db) > 0;
    p->counts[PRUNE_PART_READINGS] += db_changes(db);
    return *any ? run_all(db, rows, COUNT(rows)) : ERR_OK;
}

static enum err prune_readings(struct db *db, struct prune *p, bool *any)
{
    *any = false;
    if (p->config->keep_readings_d == 0)
        return ERR_OK;
    return p->yes ? remove_readings(db, p, any) : count_readings(db, p);
}

/* Messages of which nothing is left: what others are in is gone through once,
 * some resources at a time. */
static enum err prune_messages(struct db *db, struct prune *p, bool *any)
{
    enum err e;

    *any = false;
    if (!p->began)
        return ERR_OK;
    e = db_run(db, Q_OLD_KEEP, "ii", p->after, p->after + RESOURCES_AT_ONCE);
    p->after += RESOURCES_AT_ONCE;
    *any = p->after < p->newest;
    if (e != ERR_OK || *any)
        return e;
    e = db_run(db, Q_OLD_MESSAGES, "");
    if (e == ERR_OK)
        p->messages = db_changes(db);
    return e;
}

/* ---- all --------------------------------------------------------------------- */

enum err store_prune(struct db *db, struct prune *p)
{
    bool any = false;
    enum err e;

    if (p->stage < PRUNE_PART_READINGS)
        e = prune_part(db, p, p->stage, &any);
    else if (p->stage == PRUNE_PART_READINGS)
        e = prune_readings(db, p, &any);
    else
        e = prune_messages(db, p, &any);
    if (!any)
        p->stage++;
    p->more = e == ERR_OK && p->stage <= PRUNE_PARTS;
    return e;
}

static void say_part(struct buf *out, const char *what, int days, int64_t n)
{
    if (days == 0)
        /* TRANSLATORS: %s is what is kept: "deliveries of closed Tasks" */
        buf_printf(out, _("%s: kept for ever"), what);
    else
        buf_printf(out, _("%s: %lld older than %d days"), what, (long long)n,
                   days);
    buf_puts(out, "\n");
}

/* As it is without settings. */
static bool is_kept_for_ever(const struct config *c)
{
    return c->keep_outbox_d == 0 && c->keep_decisions_d == 0 &&
           c->keep_quarantine_d == 0 && c->keep_hl7_d == 0 &&
           c->keep_loads_d == 0 && c->keep_readings_d == 0;
}

void store_prune_say(const struct prune *p, int64_t free_bytes, struct buf *out)
{
    const struct config *c = p->config;
    const int64_t *n = p->counts;

    if (is_kept_for_ever(c))
        buf_printf(out, "%s\n",
                   _("The settings (store.keep_*_days) have nothing removed:"));
    else
        buf_printf(out, "%s\n",
                   p->yes ? _("Removed:") : _("Would be removed:"));
    say_part(out, _("deliveries of closed Tasks"), c->keep_outbox_d,
             n[PRUNE_PART_OUTBOX]);
    say_part(out, _("decisions on what is closed"), c->keep_decisions_d,
             n[PRUNE_PART_DECISIONS]);
    say_part(out, _("settled inputs of the quarantine"), c->keep_quarantine_d,
             n[PRUNE_PART_QUARANTINE]);
    say_part(out, _("messages of HL7 v2"), c->keep_hl7_d, n[PRUNE_PART_HL7]);
    say_part(out, _("exports of the record"), c->keep_loads_d,
             n[PRUNE_PART_EXPORTS]);
    say_part(out, _("readings (Observations)"), c->keep_readings_d,
             n[PRUNE_PART_READINGS]);
    if (is_kept_for_ever(c))
        return;
    if (!p->yes) {
        buf_printf(out, "%s\n", _("Nothing was removed; --yes does it."));
        return;
    }
    buf_printf(out,
               _("%lld MB in the file are free and are used again; it gets no "
                 "smaller."),
               (long long)(free_bytes / 1000000));
    buf_puts(out, "\n");
}
