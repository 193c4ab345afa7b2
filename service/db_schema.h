/*
 * db_schema - the tables of a store: made, recognised, brought up to date
 *
 * Private to db.c.  Of SQLite it knows the words of SQL alone.
 */
#ifndef HEADGATE_SERVICE_DB_SCHEMA_H
#define HEADGATE_SERVICE_DB_SCHEMA_H

#include "service/db.h"

/* SQL: where a Task t stands in the line of what goes to the record.  Used in
 * schema.h and statements.h. */
#define TASK_PLACE                                                             \
    "CASE t.priority WHEN 'stat' THEN 0 WHEN 'asap' THEN 1 "                   \
    "WHEN 'urgent' THEN 2 ELSE 3 END"

/*
 * SQL: what is old enough to be pruned (?1: a moment), see store_prune.h.  Used
 * in statements.h, to count it and to remove it.
 */
#define PRUNE_OPEN                                                             \
    "(SELECT task FROM episode WHERE state IN (1, 2) UNION "                   \
    "SELECT task FROM repeat WHERE state IN (1, 2))"
#define PRUNE_OUTBOX                                                           \
    "outbox WHERE task IN (SELECT t.resource FROM task t JOIN resource r ON "  \
    "r.id = t.resource WHERE r.updated_ms < ?1 AND t.status IN ('completed', " \
    "'rejected', 'cancelled', 'failed', 'entered-in-error') AND t.resource "   \
    "NOT IN " PRUNE_OPEN " AND NOT EXISTS (SELECT 1 FROM outbox o WHERE "      \
    "o.task = t.resource AND (o.state NOT IN (1, 4) OR (o.state = 1 AND "      \
    "o.sent < o.wanted))))"
#define PRUNE_DECISIONS                                                        \
    "decision WHERE at_ms < ?1 AND (task IS NULL OR task NOT IN " PRUNE_OPEN   \
    ") AND EXISTS (SELECT 1 FROM decision n WHERE n.access = "                 \
    "decision.access AND n.grp = decision.grp AND n.number = "                 \
    "decision.number AND n.reminder = decision.reminder AND n.id > "           \
    "decision.id) AND NOT EXISTS (SELECT 1 FROM episode e WHERE e.access = "   \
    "decision.access AND e.grp = decision.grp AND e.number = "                 \
    "decision.number AND e.state IN (1, 2))"
#define PRUNE_QUARANTINE "quarantine WHERE state > 0 AND done_ms < ?1"
#define PRUNE_HL7                                                              \
    "hl7_message WHERE received_ms < ?1 AND NOT EXISTS (SELECT 1 FROM "        \
    "quarantine q WHERE q.message = hl7_message.id AND q.state = 0) AND NOT "  \
    "EXISTS (SELECT 1 FROM held h JOIN version v ON v.resource = h.resource "  \
    "WHERE v.journal = hl7_message.journal AND v.journal > 0)"
#define PRUNE_BULK                                                             \
    "bulk WHERE ended_ms > 0 AND ended_ms < ?1 AND id < (SELECT max(id) FROM " \
    "bulk)"
/* What states a lasting fact of an access, by the numbers of enum quantity
 * (readings_load.c holds the two together): the dowel of a band, that it was
 * released, stretched, its form, and what else was done to the access.  The
 * index reading_standing of the schema has the same words, and is used only
 * where a statement has them too.  No list: the engine would make a table of
 * it for each reading that is added. */
#define STANDING_FACTS "(quantity BETWEEN 9 AND 12 OR quantity = 24)"
/* Observations (?1: seconds) all of whose readings are older, none of which is
 * held, explains what is open or states a lasting fact, of accesses that never
 * had a band (?2 to ?4: what tells of one). */
#define PRUNE_READINGS                                                         \
    "reading g WHERE g.start_s < ?1 AND g.end_s < ?1 AND NOT EXISTS (SELECT "  \
    "1 FROM reading n WHERE n.resource = g.resource AND (n.start_s >= ?1 OR "  \
    "n.end_s >= ?1)) AND g.resource NOT IN (SELECT resource FROM held) AND "   \
    "g.resource NOT IN (SELECT v.resource FROM evidence v JOIN episode e ON "  \
    "e.access = v.access AND e.grp = v.grp AND e.number = v.number WHERE "     \
    "e.state IN (1, 2)) AND g.resource NOT IN (SELECT trigger FROM repeat "    \
    "WHERE state IN (1, 2)) AND g.resource NOT IN (SELECT resource FROM "      \
    "reading WHERE " STANDING_FACTS                                            \
    ") AND g.owner NOT IN (SELECT DISTINCT b.owner FROM "                      \
    "reading b WHERE b.quantity = ?2 OR (b.quantity = ?3 AND b.sign = ?4))"

/* Run statements that take no arguments and return nothing. */
MUST_CHECK enum err db_exec(struct db *db, const char *text);

/* The number that a query gives; ERR_ABSENT: no row. */
MUST_CHECK enum err db_number(struct db *db, const char *text, int64_t *out);

/*
 * schema_recognise - before anything is changed: is it empty, or a store of
 * ours?
 *
 * ERR_UNKNOWN  a database of another program
 */
MUST_CHECK enum err schema_recognise(struct db *db, bool *is_new);

/* All tables of a new store, in one transaction. */
MUST_CHECK enum err schema_create(struct db *db);

/* Of which version the tables are; ERR_UNKNOWN: it does not say, ERR_CONFLICT:
 * of a newer one, or of one that there never was. */
MUST_CHECK enum err schema_version(struct db *db, int64_t *version);

/* The tables of this connection alone, in which work is prepared (see
 * patient_whole.h, store_prune.h): they are gone with it. */
MUST_CHECK enum err schema_working(struct db *db);

/*
 * schema_upgrade - a store of this version is left alone; an older one is
 * brought up to date in place, step by step, in one transaction
 *
 * An upgrade also marks each access as having news: the rules may have become
 * more, and what they look at.
 *
 * ERR_UNKNOWN   it does not say of which version it is
 * ERR_CONFLICT  of a newer one, or of one that there never was
 */
MUST_CHECK enum err schema_upgrade(struct db *db);

#endif
