/*
 * Every SQL statement of the program.  Included with QUERY(name, sql)
 * defined; no guard on purpose.  Only SQL that other engines also have.
 */

/* One statement, one row. */
/* clang-format off */
QUERY(Q_BEGIN, "BEGIN IMMEDIATE")
QUERY(Q_COMMIT, "COMMIT")
QUERY(Q_ROLLBACK, "ROLLBACK")
QUERY(Q_SAVE, "SAVEPOINT job")
QUERY(Q_RELEASE, "RELEASE job")
QUERY(Q_UNDO, "ROLLBACK TO job")

QUERY(Q_SAVE_ENTRY, "SAVEPOINT entry")
QUERY(Q_RELEASE_ENTRY, "RELEASE entry")
QUERY(Q_UNDO_ENTRY, "ROLLBACK TO entry")

QUERY(Q_META_GET, "SELECT v FROM meta WHERE k = ?1")
QUERY(Q_META_PUT, "INSERT INTO meta(k, v) VALUES(?1, ?2) ON CONFLICT(k) DO UPDATE SET v = excluded.v")

/* journal: every accepted message as it came */
QUERY(Q_JOURNAL_ADD, "INSERT INTO journal(seq, part, received_ms, source, bytes, body) VALUES(?1, 0, ?2, ?3, ?4, ?5)")
QUERY(Q_JOURNAL_GET, "SELECT bytes, body FROM journal WHERE seq = ?1")

/* resources: identity and newest version */
QUERY(Q_RESOURCE_BY_FID, "SELECT id, ver, updated_ms, status, issued_s FROM resource WHERE kind = ?1 AND fid = ?2")
QUERY(Q_RESOURCE_BY_IDENT, "SELECT id, ver, updated_ms, status, issued_s, fid FROM resource WHERE kind = ?1 AND ident = ?2")
QUERY(Q_RESOURCE_GET, "SELECT kind, fid, ver, updated_ms, status, issued_s FROM resource WHERE id = ?1")
QUERY(Q_RESOURCE_ADD, "INSERT INTO resource(id, part, kind, fid, ident, ver, updated_ms, status, issued_s) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)")
QUERY(Q_RESOURCE_SET, "UPDATE resource SET ver = ?2, updated_ms = ?3, status = ?4, issued_s = ?5, ident = coalesce(?6, ident) WHERE id = ?1")
QUERY(Q_RESOURCE_IDENT_FIND, "SELECT resource FROM identifier WHERE kind = ?1 AND system = ?2 AND value = ?3 LIMIT 2")
QUERY(Q_RESOURCE_IDENT_ADD, "INSERT INTO identifier(kind, system, value, resource) VALUES(?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING")
QUERY(Q_RESOURCE_IDENT_FIRST, "SELECT system, value FROM identifier WHERE resource = ?1 LIMIT 1")
QUERY(Q_VERSION_ADD, "INSERT INTO version(resource, ver, part, updated_ms, journal, start, len, digest, body) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)")
QUERY(Q_VERSION_GET, "SELECT updated_ms, journal, start, len, body FROM version WHERE resource = ?1 AND ver = ?2")
QUERY(Q_VERSION_LIST, "SELECT ver, updated_ms FROM version WHERE resource = ?1 ORDER BY ver DESC")
QUERY(Q_VERSION_DIGEST, "SELECT digest FROM version WHERE resource = ?1 AND ver = ?2")

/* patients */
QUERY(Q_PATIENT_BY_ALIAS, "SELECT patient FROM patient_alias WHERE alias = ?1")
QUERY(Q_PATIENT_ALIAS_ADD, "INSERT INTO patient_alias(alias, patient) VALUES(?1, ?2) ON CONFLICT(alias) DO NOTHING")
QUERY(Q_PATIENT_ALIAS_MOVE, "UPDATE patient_alias SET patient = ?2 WHERE patient = ?1")
QUERY(Q_PATIENT_ADD, "INSERT INTO patient(id, part, anchor) VALUES(?1, ?2, ?3)")
QUERY(Q_PATIENT_SET, "UPDATE patient SET resource = ?2, number = coalesce(?3, number), name = coalesce(?4, name), unit = coalesce(?5, unit) WHERE id = ?1")
QUERY(Q_PATIENT_SET_NAME, "UPDATE patient SET name = ?2 WHERE id = ?1 AND name IS NULL")
QUERY(Q_PATIENT_GET, "SELECT anchor, name, unit, resource FROM patient WHERE id = ?1")
QUERY(Q_NEWS_OF_PATIENT, "INSERT INTO news(access, part, since_ms) SELECT id, part, 0 FROM access WHERE patient = ?1 AND merged IS NULL ON CONFLICT(access) DO NOTHING")
QUERY(Q_PATIENT_REMOVE, "DELETE FROM patient WHERE id = ?1")
QUERY(Q_PATIENT_MOVE_ACCESS, "UPDATE access SET patient = ?2 WHERE patient = ?1")
QUERY(Q_PATIENT_MOVE_HELD, "UPDATE held SET patient = ?2 WHERE patient = ?1")
QUERY(Q_TASK_MOVE_PATIENT, "UPDATE task SET patient = ?2 WHERE patient = ?1")
QUERY(Q_READING_MOVE, "UPDATE reading SET owner = ?2 WHERE owner = ?1")

/* accesses */
QUERY(Q_ACCESS_BY_ALIAS, "SELECT access FROM access_alias WHERE alias = ?1")
QUERY(Q_ACCESS_ALIAS_ADD, "INSERT INTO access_alias(alias, access) VALUES(?1, ?2) ON CONFLICT(alias) DO NOTHING")
QUERY(Q_ACCESS_ALIAS_DROP, "DELETE FROM access_alias WHERE access = ?1")
QUERY(Q_ACCESS_STOP, "UPDATE access SET active = 0 WHERE id = ?1")
QUERY(Q_ACCESS_ALIAS_MOVE, "UPDATE access_alias SET access = ?2 WHERE access = ?1")
QUERY(Q_ACCESS_ADD, "INSERT INTO access(id, part, patient, anchor, type, side, region, active, implied) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, 1, ?8)")
QUERY(Q_ACCESS_SET, "UPDATE access SET resource = ?2, patient = ?3, type = ?4, side = ?5, region = ?6, label = ?7, active = ?8, implied = 0 WHERE id = ?1")
QUERY(Q_ACCESS_SET_TYPE, "UPDATE access SET type = ?2 WHERE id = ?1")
QUERY(Q_ACCESS_GET, "SELECT patient, anchor, type, side, region, label, active, implied, resource, merged FROM access WHERE id = ?1")
QUERY(Q_ACCESS_OF_PATIENT, "SELECT id, type, side, region, active, implied FROM access WHERE patient = ?1 AND merged IS NULL AND active = 1 ORDER BY id")
QUERY(Q_ACCESS_MERGE, "UPDATE access SET merged = ?2, active = 0 WHERE id = ?1")
QUERY(Q_ACCESS_REMERGE, "UPDATE access SET merged = ?2 WHERE merged = ?1")
QUERY(Q_EPISODE_MOVE, "UPDATE episode SET access = ?2 WHERE access = ?1 AND NOT EXISTS (SELECT 1 FROM episode e WHERE e.access = ?2 AND e.grp = episode.grp)")
QUERY(Q_EVIDENCE_MOVE, "UPDATE evidence SET access = ?2 WHERE access = ?1 AND NOT EXISTS (SELECT 1 FROM evidence e WHERE e.access = ?2 AND e.grp = evidence.grp)")
QUERY(Q_REPEAT_MOVE, "UPDATE repeat SET access = ?2 WHERE access = ?1 AND NOT EXISTS (SELECT 1 FROM repeat e WHERE e.access = ?2 AND e.grp = repeat.grp)")
QUERY(Q_TASK_MOVE_ACCESS, "UPDATE task SET access = ?2 WHERE access = ?1")
QUERY(Q_ACCESS_MERGED_INTO, "SELECT id FROM access WHERE merged = ?1")
QUERY(Q_ACCESS_OF_RESOURCE, "SELECT id FROM access WHERE resource = ?1")
QUERY(Q_ACCESS_COUNT, "SELECT count(*) FROM access WHERE merged IS NULL AND active = 1")

/* readings, clustered by owner (access or patient) and time */
QUERY(Q_READING_ADD, "INSERT INTO reading(owner, reviewed, start_s, quantity, resource, slot, part, ver, status, end_s, precision, value, bound, sign, present, method, side, how) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18)")
QUERY(Q_READING_OWNERS, "SELECT DISTINCT owner FROM reading WHERE resource = ?1 AND reviewed = 1")
QUERY(Q_READING_REMOVE, "DELETE FROM reading WHERE resource = ?1")
QUERY(Q_READING_LIST, "SELECT start_s, quantity, resource, slot, ver, status, end_s, precision, value, bound, sign, present, method, side FROM reading WHERE owner = ?1 AND reviewed = 1 AND start_s >= ?2 ORDER BY start_s DESC, resource DESC, slot DESC LIMIT ?3")
QUERY(Q_READING_EQUAL, "SELECT resource FROM reading WHERE owner = ?1 AND reviewed = ?2 AND start_s = ?3 AND quantity = ?4 AND end_s = ?5 AND method = ?6 AND sign = ?7 AND present = ?8 AND side = ?9 AND bound = ?10 AND (value = ?11 OR (value IS NULL AND ?11 IS NULL)) AND resource IN (SELECT id FROM resource WHERE resource.id = reading.resource AND ident IS NULL) LIMIT 1")
QUERY(Q_READING_WITHDRAW, "UPDATE reading SET status = ?2 WHERE resource = ?1")
QUERY(Q_DERIVED_ADD, "INSERT INTO derived(source, resource) VALUES(?1, ?2) ON CONFLICT DO NOTHING")
QUERY(Q_DERIVED_REMOVE, "DELETE FROM derived WHERE resource = ?1")
QUERY(Q_DERIVED_LIST, "SELECT resource FROM derived WHERE source = ?1")

/* held back: readings that nobody may use before a person has looked */
QUERY(Q_HELD_ADD, "INSERT INTO held(resource, slot, part, patient, reason, quantity, hint, since_ms) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8) ON CONFLICT(resource, slot) DO UPDATE SET reason = excluded.reason, hint = excluded.hint")
QUERY(Q_HELD_REMOVE, "DELETE FROM held WHERE resource = ?1")
QUERY(Q_HELD_LIST, "SELECT h.resource, h.slot, h.reason, h.quantity, h.hint, h.since_ms, r.fid, p.name, coalesce(p.number, p.anchor), p.unit FROM held h JOIN resource r ON r.id = h.resource LEFT JOIN patient p ON p.id = h.patient ORDER BY h.since_ms, h.resource, h.slot LIMIT ?1")
QUERY(Q_HELD_EQUAL, "SELECT r.id FROM held h JOIN resource r ON r.id = h.resource JOIN version v ON v.resource = r.id AND v.ver = r.ver WHERE h.patient = ?1 AND v.digest = ?2 AND r.ident IS NULL LIMIT 1")
QUERY(Q_HELD_COUNT, "SELECT count(*) FROM held")

/* news: accesses to review */
QUERY(Q_NEWS_ADD, "INSERT INTO news(access, part, since_ms) VALUES(?1, ?2, ?3) ON CONFLICT(access) DO NOTHING")
QUERY(Q_NEWS_LIST, "SELECT access FROM news WHERE since_ms <= ?1 ORDER BY since_ms, access LIMIT ?2")
QUERY(Q_NEWS_LATER, "UPDATE news SET since_ms = ?2 WHERE access = ?1")
QUERY(Q_NEWS_COUNT, "SELECT count(*) FROM news")
QUERY(Q_NEWS_REMOVE, "DELETE FROM news WHERE access = ?1")

/* what was put to people */
QUERY(Q_EPISODE_LAST, "SELECT number, state, urgency, rules, grade, flow, closed_s, task FROM episode WHERE access = ?1 AND grp = ?2 ORDER BY number DESC LIMIT 1")
QUERY(Q_EPISODE_PUT, "INSERT INTO episode(access, grp, number, part, state, urgency, rules, grade, flow, closed_s, task, opened_s, due_s, headline, suggestion) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15) ON CONFLICT(access, grp, number) DO UPDATE SET state = excluded.state, urgency = excluded.urgency, rules = excluded.rules, grade = excluded.grade, flow = excluded.flow, closed_s = excluded.closed_s, due_s = excluded.due_s, headline = excluded.headline, suggestion = excluded.suggestion")
QUERY(Q_EPISODE_STATE, "UPDATE episode SET state = ?2, closed_s = ?3 WHERE task = ?1")
QUERY(Q_EPISODE_RULES, "UPDATE episode SET rules = ?2 WHERE task = ?1")
QUERY(Q_EPISODE_OF_TASK, "SELECT access, grp, number, state FROM episode WHERE task = ?1")
QUERY(Q_EPISODE_TIMES, "SELECT opened_s, due_s FROM episode WHERE task = ?1")
QUERY(Q_EPISODE_QUEUE, "SELECT e.access, e.grp, e.state, e.urgency, e.rules, e.opened_s, e.due_s, e.headline, e.suggestion, r.fid, a.label, a.anchor, p.name, coalesce(p.number, p.anchor), p.unit FROM episode e JOIN resource r ON r.id = e.task JOIN access a ON a.id = e.access JOIN patient p ON p.id = a.patient WHERE e.state IN (1, 2) ORDER BY e.urgency DESC, e.due_s, e.access, e.grp")
QUERY(Q_EVIDENCE_LIST, "SELECT resource, ver, slot, at_s FROM evidence WHERE access = ?1 AND grp = ?2 AND number = ?3 ORDER BY at_s, resource, slot")
QUERY(Q_EVIDENCE_ADD, "INSERT INTO evidence(access, grp, number, resource, slot, ver, at_s) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT(access, grp, number, resource, slot) DO UPDATE SET ver = excluded.ver, at_s = excluded.at_s")
QUERY(Q_EVIDENCE_REMOVE, "DELETE FROM evidence WHERE access = ?1 AND grp = ?2 AND number = ?3")
QUERY(Q_REPEAT_LAST, "SELECT number, state, trigger, task FROM repeat WHERE access = ?1 AND grp = ?2 ORDER BY number DESC LIMIT 1")
QUERY(Q_REPEAT_PUT, "INSERT INTO repeat(access, grp, number, part, state, trigger, task, due_s, headline) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9) ON CONFLICT(access, grp, number) DO UPDATE SET state = excluded.state")
QUERY(Q_REPEAT_STATE, "UPDATE repeat SET state = ?2 WHERE task = ?1")
QUERY(Q_REPEAT_OF_TASK, "SELECT access, grp, number, state FROM repeat WHERE task = ?1")
QUERY(Q_REPEAT_QUEUE, "SELECT e.access, e.grp, e.state, e.due_s, e.headline, r.fid, a.label, a.anchor, p.name, coalesce(p.number, p.anchor), p.unit FROM repeat e JOIN resource r ON r.id = e.task JOIN access a ON a.id = e.access JOIN patient p ON p.id = a.patient WHERE e.state IN (1, 2) ORDER BY e.due_s, e.access, e.grp")
QUERY(Q_DECISION_ADD, "INSERT INTO decision(id, part, access, grp, number, at_ms, act, reason, policy, task, task_ver, rules, evidence, reminder) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)")

/* tasks for searching on our own endpoint */
QUERY(Q_TASK_PUT, "INSERT INTO task(resource, part, patient, access, status, priority, code, key) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8) ON CONFLICT(resource) DO UPDATE SET status = excluded.status, priority = excluded.priority")
QUERY(Q_TASK_STATUS, "UPDATE task SET status = ?2, priority = ?3 WHERE resource = ?1")
QUERY(Q_TASK_GET, "SELECT patient, access, status, priority, code, key FROM task WHERE resource = ?1")
QUERY(Q_TASK_SEARCH, "SELECT t.resource, r.fid, r.ver, r.updated_ms FROM task t JOIN resource r ON r.id = t.resource WHERE t.resource > ?1 AND (?2 IS NULL OR instr(?2, ',' || r.fid || ',') > 0) AND (?3 IS NULL OR instr(?3, ',' || t.key || ',') > 0) AND (?4 IS NULL OR instr(?4, ',' || t.status || ',') > 0) AND (?5 IS NULL OR instr(?5, ',' || t.priority || ',') > 0) AND (?6 IS NULL OR instr(?6, ',' || t.code || ',') > 0) AND r.updated_ms >= ?7 AND r.updated_ms < ?8 ORDER BY t.resource LIMIT ?9")
QUERY(Q_TASK_SEARCH_PATIENT, "SELECT t.resource, r.fid, r.ver, r.updated_ms FROM task t JOIN resource r ON r.id = t.resource WHERE t.resource > ?1 AND (?2 IS NULL OR instr(?2, ',' || r.fid || ',') > 0) AND (?3 IS NULL OR instr(?3, ',' || t.key || ',') > 0) AND (?4 IS NULL OR instr(?4, ',' || t.status || ',') > 0) AND (?5 IS NULL OR instr(?5, ',' || t.priority || ',') > 0) AND (?6 IS NULL OR instr(?6, ',' || t.code || ',') > 0) AND r.updated_ms >= ?7 AND r.updated_ms < ?8 AND t.patient = ?10 ORDER BY t.resource LIMIT ?9")
QUERY(Q_TASK_TOTAL, "SELECT count(*) FROM task t JOIN resource r ON r.id = t.resource WHERE t.resource > ?1 AND (?2 IS NULL OR instr(?2, ',' || r.fid || ',') > 0) AND (?3 IS NULL OR instr(?3, ',' || t.key || ',') > 0) AND (?4 IS NULL OR instr(?4, ',' || t.status || ',') > 0) AND (?5 IS NULL OR instr(?5, ',' || t.priority || ',') > 0) AND (?6 IS NULL OR instr(?6, ',' || t.code || ',') > 0) AND r.updated_ms >= ?7 AND r.updated_ms < ?8 AND ?9 = 0")
QUERY(Q_TASK_TOTAL_PATIENT, "SELECT count(*) FROM task t JOIN resource r ON r.id = t.resource WHERE t.resource > ?1 AND (?2 IS NULL OR instr(?2, ',' || r.fid || ',') > 0) AND (?3 IS NULL OR instr(?3, ',' || t.key || ',') > 0) AND (?4 IS NULL OR instr(?4, ',' || t.status || ',') > 0) AND (?5 IS NULL OR instr(?5, ',' || t.priority || ',') > 0) AND (?6 IS NULL OR instr(?6, ',' || t.code || ',') > 0) AND r.updated_ms >= ?7 AND r.updated_ms < ?8 AND ?9 = 0 AND t.patient = ?10")

/* deliveries: the version the record should have, and the one it has */
QUERY(Q_OUTBOX_WANT, "INSERT INTO outbox(resource, part, wanted, sent, tries, due_ms, state) VALUES(?1, ?2, ?3, 0, 0, ?4, 0) ON CONFLICT(resource) DO UPDATE SET wanted = excluded.wanted, state = 0, tries = 0, due_ms = CASE WHEN outbox.state = 0 AND outbox.due_ms > excluded.due_ms THEN outbox.due_ms ELSE excluded.due_ms END")
QUERY(Q_OUTBOX_DUE, "SELECT resource FROM outbox WHERE state = 0 AND due_ms <= ?1 ORDER BY due_ms, resource LIMIT ?2")
QUERY(Q_OUTBOX_GET, "SELECT o.wanted, o.tries, o.remote, t.patient, t.access, t.key FROM outbox o JOIN task t ON t.resource = o.resource WHERE o.resource = ?1")
QUERY(Q_OUTBOX_FOUND, "UPDATE outbox SET remote = ?2 WHERE resource = ?1")
QUERY(Q_OUTBOX_NEXT, "SELECT min(due_ms) FROM outbox WHERE state = 0 AND due_ms > ?1")
QUERY(Q_OUTBOX_SENT, "UPDATE outbox SET sent = ?2, tries = 0, answer = NULL, status = ?3, state = CASE WHEN wanted <= ?2 THEN 1 ELSE 0 END WHERE resource = ?1")
QUERY(Q_OUTBOX_RETRY, "UPDATE outbox SET tries = ?2, due_ms = ?3, status = ?4 WHERE resource = ?1")
QUERY(Q_OUTBOX_DEAD, "UPDATE outbox SET state = 2, status = ?2, answer = ?3 WHERE resource = ?1")
QUERY(Q_LOOKUP_GET, "SELECT reference FROM lookup WHERE type = ?1 AND system = ?2 AND value = ?3 AND checked_ms >= ?4")
QUERY(Q_LOOKUP_PUT, "INSERT INTO lookup(type, system, value, reference, checked_ms) VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT(type, system, value) DO UPDATE SET reference = excluded.reference, checked_ms = excluded.checked_ms")
QUERY(Q_OUTBOX_COUNTS, "SELECT state, count(*) FROM outbox GROUP BY state")
/* clang-format on */
