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
QUERY(Q_RESOURCE_BARE, "SELECT r.id FROM identifier i JOIN resource r ON r.id = i.resource WHERE i.kind = ?1 AND i.system = ?2 AND i.value = ?3 AND r.ident IS NULL AND r.status = ?4 LIMIT 1")
QUERY(Q_RESOURCE_IDENT_ADD, "INSERT INTO identifier(kind, system, value, resource) VALUES(?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING")
QUERY(Q_RESOURCE_IDENT_FIRST, "SELECT system, value FROM identifier WHERE resource = ?1 LIMIT 1")
QUERY(Q_RESOURCE_IDENT, "SELECT ident FROM resource WHERE id = ?1")
QUERY(Q_VERSION_ADD, "INSERT INTO version(resource, ver, part, updated_ms, journal, start, len, digest, body) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)")
QUERY(Q_VERSION_GET, "SELECT updated_ms, journal, start, len, body FROM version WHERE resource = ?1 AND ver = ?2")
QUERY(Q_VERSION_AT, "SELECT resource FROM version WHERE updated_ms = ?1 AND journal > 0 AND journal = ?2 AND start = ?3 LIMIT 1")
QUERY(Q_VERSION_DIGEST, "SELECT digest FROM version WHERE resource = ?1 AND ver = ?2")

/* codes that a person has mapped while the service ran */
QUERY(Q_MAPPING_LIST, "SELECT id, at_ms, system, code, target, unit, arm, from_s FROM mapping m WHERE NOT EXISTS (SELECT 1 FROM deed d WHERE d.item = m.id AND d.act = 8) ORDER BY id")
QUERY(Q_MAPPING_ADD, "INSERT INTO mapping(id, at_ms, system, code, target, unit, arm, from_s, who, why) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)")

/* patients */
QUERY(Q_PATIENT_BY_ALIAS, "SELECT patient FROM patient_alias WHERE alias = ?1")
QUERY(Q_PATIENT_ALIAS_ADD, "INSERT INTO patient_alias(alias, patient) VALUES(?1, ?2) ON CONFLICT(alias) DO NOTHING")
QUERY(Q_PATIENT_ALIAS_MOVE, "UPDATE patient_alias SET patient = ?2 WHERE patient = ?1")
QUERY(Q_PATIENT_ADD, "INSERT INTO patient(id, part, anchor) VALUES(?1, ?2, ?3)")
QUERY(Q_PATIENT_SET, "UPDATE patient SET resource = ?2, number = coalesce(?3, number), name = coalesce(?4, name), unit = coalesce(?5, unit) WHERE id = ?1")
QUERY(Q_PATIENT_SET_BORN, "UPDATE patient SET born_s = ?2 WHERE id = ?1")
QUERY(Q_PATIENT_TAKE_BORN, "UPDATE patient SET born_s = coalesce(born_s, (SELECT p.born_s FROM patient p WHERE p.id = ?1)) WHERE id = ?2")
QUERY(Q_PATIENT_UNBORN, "SELECT id, resource FROM patient WHERE resource IS NOT NULL AND born_s IS NULL AND id > ?1 ORDER BY id LIMIT ?2")
QUERY(Q_PATIENT_SET_NAME, "UPDATE patient SET name = ?2 WHERE id = ?1 AND name IS NULL")
QUERY(Q_PATIENT_GET, "SELECT anchor, name, unit, resource, born_s FROM patient WHERE id = ?1")
QUERY(Q_PATIENT_NUMBER, "SELECT coalesce(number, anchor) FROM patient WHERE id = ?1")
QUERY(Q_NEWS_OF_PATIENT, "INSERT INTO news(access, part, since_ms) SELECT id, part, 1 FROM access WHERE patient = ?1 AND merged IS NULL ON CONFLICT(access) DO UPDATE SET since_ms = 1")
QUERY(Q_PATIENT_TWO_RESOURCES, "SELECT 1 FROM patient a JOIN patient b ON b.id = ?2 WHERE a.id = ?1 AND a.resource IS NOT NULL AND b.resource IS NOT NULL")
QUERY(Q_PATIENT_TWO_NUMBERS, "SELECT 1 FROM patient_alias a JOIN patient_alias b ON b.patient = ?2 AND substr(b.alias, 1, instr(b.alias, '|')) = substr(a.alias, 1, instr(a.alias, '|')) WHERE a.patient = ?1 AND substr(a.alias, 1, 2) = 'i:' AND substr(a.alias, 1, 3) <> 'i:|' LIMIT 1")
QUERY(Q_PATIENT_TWO_LITERALS, "SELECT 1 FROM patient_alias a JOIN patient_alias b ON b.patient = ?2 AND substr(b.alias, 1, 2) = 'r:' WHERE a.patient = ?1 AND substr(a.alias, 1, 2) = 'r:' LIMIT 1")
QUERY(Q_PATIENT_REMOVE, "DELETE FROM patient WHERE id = ?1")
QUERY(Q_PATIENT_MOVE_ACCESS, "UPDATE access SET patient = ?2 WHERE patient = ?1")
QUERY(Q_PATIENT_MOVE_HELD, "UPDATE held SET patient = ?2 WHERE patient = ?1")
QUERY(Q_PATIENT_MOVE_UNMAPPED, "UPDATE unmapped SET patient = ?2 WHERE patient = ?1")
QUERY(Q_TASK_MOVE_PATIENT, "UPDATE task SET patient = ?2 WHERE patient = ?1")
QUERY(Q_READING_MOVE, "UPDATE reading SET owner = ?2 WHERE owner = ?1")

/* accesses */
QUERY(Q_ACCESS_BY_ALIAS, "SELECT access FROM access_alias WHERE alias = ?1")
QUERY(Q_ACCESS_ALIAS_ADD, "INSERT INTO access_alias(alias, access) VALUES(?1, ?2) ON CONFLICT(alias) DO NOTHING")
QUERY(Q_ACCESS_ALIAS_DROP, "DELETE FROM access_alias WHERE alias = ?1")
QUERY(Q_RIVAL_ADD, "INSERT INTO rival(access, part, known) VALUES(?1, ?2, ?3) ON CONFLICT(access) DO NOTHING")
QUERY(Q_RIVAL_MOVE, "UPDATE rival SET known = ?2 WHERE known = ?1")
QUERY(Q_RIVAL_OF, "SELECT a.id FROM rival r JOIN access a ON a.id = r.access WHERE r.known = ?1 AND a.patient = ?2 AND a.merged IS NULL LIMIT 1")
QUERY(Q_RIVAL_LIST, "SELECT r.access, r.known FROM access a JOIN rival r ON r.access = a.id JOIN access k ON k.id = r.known WHERE a.patient = ?1 AND a.merged IS NULL AND a.resource IS NULL AND k.patient = ?1 AND k.merged IS NULL")
QUERY(Q_ACCESS_ALIAS_MOVE, "UPDATE access_alias SET access = ?2 WHERE access = ?1")
QUERY(Q_ACCESS_ADD, "INSERT INTO access(id, part, patient, anchor, type, side, region, active, implied) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, 1, ?8)")
QUERY(Q_ACCESS_SET, "UPDATE access SET resource = ?2, patient = ?3, type = ?4, side = ?5, region = ?6, label = ?7, active = ?8, implied = 0 WHERE id = ?1")
QUERY(Q_ACCESS_GET, "SELECT patient, anchor, type, side, region, label, active, implied, resource, merged FROM access WHERE id = ?1")
QUERY(Q_ACCESS_NAMES_OF_PATIENT, "SELECT s.alias FROM access a JOIN access_alias s ON s.access = a.id WHERE a.patient = ?1 AND a.merged IS NULL AND a.implied = 0 AND a.id <> ?2 ORDER BY a.id LIMIT 200")
QUERY(Q_ACCESS_OF_PATIENT, "SELECT id, type, side, region, active, implied FROM access WHERE patient = ?1 AND merged IS NULL AND active = 1 ORDER BY id")
QUERY(Q_ACCESS_BEFORE, "SELECT 1 FROM access WHERE patient = ?1 AND id < ?2 AND merged IS NULL AND active = 1 AND type <> ?3 LIMIT 1")
QUERY(Q_ACCESS_NAMED, "SELECT a.id, a.label, a.anchor, a.active, p.name, coalesce(p.number, p.anchor) FROM access a JOIN patient p ON p.id = a.patient WHERE a.merged IS NULL AND (a.label = ?1 OR a.id IN (SELECT access FROM access_alias WHERE alias = 'r:' || ?1 OR alias = 'r:BodyStructure/' || ?1 OR alias = 'i:' || ?1 OR (substr(alias, 1, 2) = 'i:' AND substr(alias, length(alias) - length(?1)) = '|' || ?1))) ORDER BY a.id LIMIT ?2")
QUERY(Q_ACCESS_OF_NAMED, "SELECT a.id, a.label, a.anchor, a.active, p.name, coalesce(p.number, p.anchor) FROM access a JOIN patient p ON p.id = a.patient WHERE a.merged IS NULL AND a.active = 1 AND p.id IN (SELECT patient FROM patient_alias WHERE alias = 'r:' || ?1 OR alias = 'r:Patient/' || ?1 OR alias = 'i:' || ?1 OR (substr(alias, 1, 2) = 'i:' AND substr(alias, length(alias) - length(?1)) = '|' || ?1)) ORDER BY a.id LIMIT ?2")
/* by its number, by which one that was merged is found too, or by a name */
QUERY(Q_ACCESS_CALLED, "SELECT a.id FROM access a WHERE (a.id = CAST(?1 AS INTEGER) AND CAST(a.id AS TEXT) = ?1) OR (a.merged IS NULL AND (a.label = ?1 OR a.id IN (SELECT access FROM access_alias WHERE alias = 'r:' || ?1 OR alias = 'r:BodyStructure/' || ?1 OR alias = 'i:' || ?1 OR (substr(alias, 1, 2) = 'i:' AND substr(alias, length(alias) - length(?1)) = '|' || ?1)))) ORDER BY a.id LIMIT 2")
QUERY(Q_ACCESS_WITH_NAME, "SELECT a.id FROM access a WHERE a.merged IS NULL AND (a.label = ?1 OR a.id IN (SELECT access FROM access_alias WHERE alias = 'r:' || ?1 OR alias = 'r:BodyStructure/' || ?1 OR alias = 'i:' || ?1 OR (substr(alias, 1, 2) = 'i:' AND substr(alias, length(alias) - length(?1)) = '|' || ?1))) ORDER BY a.id LIMIT 2")
QUERY(Q_ACCESS_LIST_NAMED, "SELECT a.id, a.label, a.anchor, a.side, a.region, a.active, a.implied, coalesce(a.resource, 0), (SELECT count(*) FROM reading r WHERE r.owner = a.id) + (SELECT count(*) FROM reading r JOIN access m ON m.id = r.owner WHERE m.merged = a.id), (SELECT count(*) FROM episode e WHERE e.access = a.id AND e.state IN (1, 2)), p.name, coalesce(p.number, p.anchor) FROM access a JOIN patient p ON p.id = a.patient WHERE a.merged IS NULL AND p.id IN (SELECT patient FROM patient_alias WHERE alias = 'r:' || ?1 OR alias = 'r:Patient/' || ?1 OR alias = 'i:' || ?1 OR (substr(alias, 1, 2) = 'i:' AND substr(alias, length(alias) - length(?1)) = '|' || ?1)) ORDER BY p.id, a.id LIMIT ?2")
QUERY(Q_READING_COUNT_OF, "SELECT count(*) FROM reading WHERE owner = ?1 OR owner IN (SELECT id FROM access WHERE merged = ?1)")
QUERY(Q_CASE_ENTRIES, "SELECT i.value, r.start_s, r.quantity, r.value, r.sign FROM reading r JOIN identifier i ON i.resource = r.resource AND i.system = ?1 WHERE r.owner IN (?2, ?3) AND r.reviewed IN (0, 1) AND r.start_s >= ?4 AND r.status <> 3 ORDER BY r.resource, r.slot")
QUERY(Q_ACCESS_MERGE, "UPDATE access SET merged = ?2, active = 0 WHERE id = ?1")
QUERY(Q_ACCESS_REMERGE, "UPDATE access SET merged = ?2 WHERE merged = ?1")
QUERY(Q_EPISODE_MOVE, "UPDATE episode SET access = ?2 WHERE access = ?1 AND NOT EXISTS (SELECT 1 FROM episode e WHERE e.access = ?2 AND e.grp = episode.grp)")
QUERY(Q_EVIDENCE_MOVE, "UPDATE evidence SET access = ?2 WHERE access = ?1 AND NOT EXISTS (SELECT 1 FROM evidence e WHERE e.access = ?2 AND e.grp = evidence.grp)")
QUERY(Q_REPEAT_MOVE, "UPDATE repeat SET access = ?2 WHERE access = ?1 AND NOT EXISTS (SELECT 1 FROM repeat e WHERE e.access = ?2 AND e.grp = repeat.grp)")
QUERY(Q_TASK_MOVE_ACCESS, "UPDATE task SET access = ?2 WHERE access = ?1")
QUERY(Q_ACCESS_MERGED_INTO, "SELECT id FROM access WHERE merged = ?1")
QUERY(Q_ACCESS_OF_RESOURCE, "SELECT id FROM access WHERE resource = ?1")
QUERY(Q_ACCESS_ALL, "SELECT id FROM access WHERE merged IS NULL ORDER BY id LIMIT ?1")
QUERY(Q_ACCESS_COUNT, "SELECT count(*) FROM access WHERE merged IS NULL AND active = 1")

/* readings, clustered by owner (access or patient) and time */
QUERY(Q_READING_ADD, "INSERT INTO reading(owner, reviewed, start_s, quantity, resource, slot, part, ver, status, end_s, precision, value, bound, sign, present, method, side, how) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18)")
QUERY(Q_READING_KEEP, "INSERT OR IGNORE INTO reading(owner, reviewed, start_s, quantity, resource, slot, part, ver, status, end_s, precision, value, bound, sign, present, method, side, how) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18)")
QUERY(Q_READING_NEWEST, "SELECT start_s FROM reading WHERE status <> ?1 ORDER BY start_s DESC LIMIT 1")
QUERY(Q_READING_OWNERS, "SELECT DISTINCT owner FROM reading WHERE resource = ?1 AND reviewed = 1")
QUERY(Q_READING_PLACED, "SELECT (SELECT count(*) FROM reading WHERE resource = ?1), (SELECT count(*) FROM held WHERE resource = ?1)")
QUERY(Q_READING_REMOVE, "DELETE FROM reading WHERE resource = ?1")
/* newest first, in the order of the key: it is read as far as there is room */
QUERY(Q_READING_LIST, "SELECT start_s, quantity, resource, slot, ver, status, end_s, precision, value, bound, sign, present, method, side FROM reading WHERE owner = ?1 AND reviewed = 1 AND start_s >= ?2 ORDER BY start_s DESC, quantity DESC, resource DESC, slot DESC")
QUERY(Q_READING_GROUND, "SELECT DISTINCT v.resource, v.slot FROM evidence v JOIN episode e ON e.access = v.access AND e.grp = v.grp AND e.number = v.number WHERE v.access = ?1 AND e.state IN (1, 2) LIMIT ?2")
QUERY(Q_READING_EQUAL, "SELECT resource FROM reading WHERE owner = ?1 AND reviewed = ?2 AND start_s = ?3 AND quantity = ?4 AND end_s = ?5 AND method = ?6 AND sign = ?7 AND present = ?8 AND side = ?9 AND bound = ?10 AND (value = ?11 OR (value IS NULL AND ?11 IS NULL)) AND resource IN (SELECT id FROM resource WHERE resource.id = reading.resource AND ident IS NULL) LIMIT 1")
QUERY(Q_READING_WITHDRAW, "UPDATE reading SET status = ?2 WHERE resource = ?1")
QUERY(Q_DERIVED_ADD, "INSERT INTO derived(source, resource) VALUES(?1, ?2) ON CONFLICT DO NOTHING")
QUERY(Q_DERIVED_REMOVE, "DELETE FROM derived WHERE resource = ?1")
QUERY(Q_DERIVED_LIST, "SELECT resource FROM derived WHERE source = ?1")

/* held back: readings that nobody may use before a person has looked */
QUERY(Q_HELD_ADD, "INSERT INTO held(resource, slot, part, patient, reason, quantity, hint, since_ms, sign, at_s, emergency, ver, live) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13) ON CONFLICT(resource, slot) DO UPDATE SET reason = excluded.reason, hint = excluded.hint, sign = excluded.sign, at_s = excluded.at_s, emergency = excluded.emergency, ver = excluded.ver, live = excluded.live")
QUERY(Q_HELD_STANDING, "SELECT slot, reason, quantity, hint, sign, emergency, ver, live FROM held WHERE resource = ?1 ORDER BY slot")
QUERY(Q_READING_STANDING, "SELECT owner, start_s, quantity, slot, ver, status, end_s, precision, value, bound, sign, present, method, side, how FROM reading WHERE resource = ?1 AND ver < ?2 ORDER BY slot")
QUERY(Q_HELD_REMOVE, "DELETE FROM held WHERE resource = ?1")
QUERY(Q_REMARK_CLEAR, "DELETE FROM remark WHERE access = ?1")
QUERY(Q_REMARK_ADD, "INSERT INTO remark(access, n, part, at_s, text) VALUES(?1, ?2, ?3, ?4, ?5)")
QUERY(Q_REMARK_LIST, "SELECT m.text, p.name, coalesce(p.number, p.anchor), p.unit, a.label, a.anchor FROM remark m JOIN access a ON a.id = m.access JOIN patient p ON p.id = a.patient ORDER BY m.at_s DESC, m.access, m.n LIMIT ?1")
QUERY(Q_HELD_LIST, "SELECT h.resource, h.slot, h.reason, h.quantity, h.hint, h.since_ms, r.fid, p.name, coalesce(p.number, p.anchor), p.unit, h.sign, h.emergency FROM held h JOIN resource r ON r.id = h.resource LEFT JOIN patient p ON p.id = h.patient ORDER BY h.since_ms, h.resource, h.slot LIMIT ?1")
QUERY(Q_HELD_EMERGENCIES, "SELECT h.reason, h.quantity, h.sign, h.since_ms, r.fid, p.name, coalesce(p.number, p.anchor), p.unit, h.hint FROM held h JOIN resource r ON r.id = h.resource LEFT JOIN patient p ON p.id = h.patient WHERE h.emergency = 1 AND (h.at_s >= ?1 OR h.live = 1) ORDER BY h.since_ms DESC, h.resource DESC, h.slot LIMIT ?2")
QUERY(Q_HELD_OF_PATIENT, "SELECT count(*), coalesce(sum(emergency), 0) FROM held WHERE patient = ?1")
QUERY(Q_HELD_UNJUDGED, "SELECT resource, patient, min(since_ms) FROM held WHERE emergency IS NULL AND resource > ?1 GROUP BY resource ORDER BY resource LIMIT ?2")
QUERY(Q_HELD_EQUAL, "SELECT r.id FROM held h JOIN resource r ON r.id = h.resource JOIN version v ON v.resource = r.id AND v.ver = r.ver WHERE h.patient = ?1 AND v.digest = ?2 AND r.ident IS NULL LIMIT 1")
QUERY(Q_HELD_UNCLEAR, "SELECT resource, min(since_ms) FROM held WHERE patient = ?1 AND reason IN ('access', 'side') GROUP BY resource ORDER BY resource LIMIT ?2")
QUERY(Q_HELD_COUNT, "SELECT count(*) FROM held")
QUERY(Q_HELD_BY_QUANTITY, "SELECT quantity, count(*) FROM held GROUP BY quantity")

/* news: accesses to review */
/* 0: of the backlog, which waits behind all that has come since; what has come is never put back there */
QUERY(Q_NEWS_ADD, "INSERT INTO news(access, part, since_ms) VALUES(?1, ?2, CASE WHEN ?3 > 0 THEN ?3 ELSE 1 END) ON CONFLICT(access) DO UPDATE SET since_ms = CASE WHEN news.since_ms > 0 AND news.since_ms < excluded.since_ms THEN news.since_ms ELSE excluded.since_ms END")
QUERY(Q_NEWS_AHEAD, "INSERT INTO news(access, part, since_ms) VALUES(?1, ?2, ?3) ON CONFLICT(access) DO UPDATE SET since_ms = min(since_ms, excluded.since_ms)")
QUERY(Q_NEWS_OF_ALL, "INSERT INTO news(access, part, since_ms) SELECT id, part, 0 FROM access WHERE merged IS NULL ON CONFLICT(access) DO UPDATE SET since_ms = 0")
QUERY(Q_NEWS_OF_POLICY, "INSERT INTO news(access, part, since_ms) SELECT id, part, 0 FROM access WHERE merged IS NULL ON CONFLICT(access) DO UPDATE SET since_ms = CASE WHEN news.since_ms > 0 AND news.since_ms <= ?1 THEN news.since_ms ELSE 0 END")
QUERY(Q_NEWS_OF_SILENT, "INSERT INTO news(access, part, since_ms) SELECT o.access, o.part, 0 FROM (SELECT e.access, e.part FROM episode e JOIN task t ON t.resource = e.task WHERE t.silent = 1 AND e.state IN (1, 2) UNION SELECT r.access, r.part FROM repeat r JOIN task t ON t.resource = r.task WHERE t.silent = 1 AND r.state IN (1, 2)) o WHERE true ON CONFLICT(access) DO UPDATE SET since_ms = CASE WHEN news.since_ms > 0 AND news.since_ms <= ?1 THEN news.since_ms ELSE 0 END")
QUERY(Q_NEWS_LIST, "SELECT access FROM (SELECT access, since_ms, 0 AS place FROM (SELECT access, since_ms FROM news WHERE since_ms > 0 AND since_ms <= ?1 ORDER BY since_ms, access LIMIT ?2) came UNION ALL SELECT access, since_ms, 1 AS place FROM (SELECT access, since_ms FROM news WHERE since_ms <= 0 ORDER BY since_ms, access LIMIT ?2) backlog) due ORDER BY place, since_ms, access LIMIT ?2")
QUERY(Q_NEWS_LATER, "UPDATE news SET since_ms = ?2 WHERE access = ?1")
QUERY(Q_NEWS_COUNT, "SELECT count(*) FROM news WHERE since_ms <= ?1")
QUERY(Q_NEWS_REMOVE, "DELETE FROM news WHERE access = ?1")

/* what was put to people */
QUERY(Q_EPISODE_LAST, "SELECT number, state, urgency, rules, grade, flow, closed_s, task, occasion, announced_s, coalesce(put_off_s, 0), escalated FROM episode WHERE access = ?1 AND grp = ?2 ORDER BY number DESC LIMIT 1")
QUERY(Q_EPISODE_PUT, "INSERT INTO episode(access, grp, number, part, state, urgency, rules, grade, flow, closed_s, task, opened_s, due_s, headline, suggestion, occasion, announced_s, escalated) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?19) ON CONFLICT(access, grp, number) DO UPDATE SET state = excluded.state, urgency = excluded.urgency, rules = excluded.rules, grade = excluded.grade, flow = excluded.flow, closed_s = excluded.closed_s, due_s = excluded.due_s, headline = excluded.headline, suggestion = excluded.suggestion, occasion = excluded.occasion, announced_s = excluded.announced_s, put_off_s = nullif(?18, 0), put_off_by = CASE WHEN ?18 = 0 THEN NULL ELSE put_off_by END, escalated = excluded.escalated")
/* 2: EPISODE_TAKEN */
QUERY(Q_EPISODE_STATE, "UPDATE episode SET state = ?2, closed_s = ?3, taken_s = CASE WHEN ?2 = 2 THEN coalesce(taken_s, ?3) ELSE taken_s END, put_off_s = CASE WHEN ?2 = 1 THEN put_off_s ELSE NULL END, put_off_by = CASE WHEN ?2 = 1 THEN put_off_by ELSE NULL END WHERE task = ?1")
QUERY(Q_EPISODE_OWNER, "UPDATE episode SET owner = nullif(?2, '') WHERE task = ?1")
QUERY(Q_EPISODE_PUT_OFF, "UPDATE episode SET put_off_s = ?2, put_off_by = ?3 WHERE task = ?1 AND state = 1")
QUERY(Q_EPISODE_BACK, "UPDATE episode SET put_off_s = NULL, put_off_by = NULL, announced_s = ?2 WHERE task = ?1")
QUERY(Q_EPISODE_OF_TASK, "SELECT state, urgency, coalesce(owner, '') FROM episode WHERE task = ?1")
/* what waits for people of an access and of those merged into it: suggestions, then reminders */
QUERY(Q_TASKS_OF_ACCESS, "SELECT r.fid, e.headline, 0 AS reminder FROM episode e JOIN resource r ON r.id = e.task JOIN task t ON t.resource = e.task WHERE e.access IN (SELECT id FROM access WHERE id = ?1 OR merged = ?1) AND e.state IN (1, 2) AND t.silent = 0 UNION ALL SELECT r.fid, e.headline, 1 FROM repeat e JOIN resource r ON r.id = e.task JOIN task t ON t.resource = e.task WHERE e.access IN (SELECT id FROM access WHERE id = ?1 OR merged = ?1) AND e.state IN (1, 2) AND t.silent = 0 ORDER BY 3, 1 LIMIT ?2")
QUERY(Q_EPISODE_TIMES, "SELECT opened_s, due_s FROM episode WHERE task = ?1")
QUERY(Q_EPISODE_QUEUE, "SELECT e.access, e.grp, e.state, e.urgency, e.rules, e.opened_s, e.due_s, e.headline, e.suggestion, r.fid, a.label, a.anchor, p.name, coalesce(p.number, p.anchor), p.unit, t.silent, e.put_off_s, e.put_off_by, e.owner, e.escalated, p.id FROM episode e JOIN resource r ON r.id = e.task JOIN task t ON t.resource = e.task JOIN access a ON a.id = e.access JOIN patient p ON p.id = a.patient WHERE e.state IN (1, 2) ORDER BY e.urgency DESC, e.due_s, e.access, e.grp")
QUERY(Q_EVIDENCE_LIST, "SELECT resource, ver, slot, at_s FROM evidence WHERE access = ?1 AND grp = ?2 AND number = ?3 ORDER BY at_s, resource, slot")
QUERY(Q_EVIDENCE_ADD, "INSERT INTO evidence(access, grp, number, resource, slot, ver, at_s) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT(access, grp, number, resource, slot) DO UPDATE SET ver = excluded.ver, at_s = excluded.at_s")
QUERY(Q_EVIDENCE_REMOVE, "DELETE FROM evidence WHERE access = ?1 AND grp = ?2 AND number = ?3")
QUERY(Q_REPEAT_LAST, "SELECT number, state, trigger, task, occasion, overdue, due_s FROM repeat WHERE access = ?1 AND grp = ?2 ORDER BY number DESC LIMIT 1")
QUERY(Q_REPEAT_PUT, "INSERT INTO repeat(access, grp, number, part, state, trigger, task, due_s, headline, occasion, overdue) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11) ON CONFLICT(access, grp, number) DO UPDATE SET state = excluded.state, overdue = excluded.overdue")
QUERY(Q_EPISODE_ESCALATED, "SELECT count(*) FROM episode WHERE state = 1 AND escalated = 1")
QUERY(Q_EPISODE_OF_ACCESS, "SELECT e.grp, e.number, e.state, e.urgency, e.opened_s, e.due_s, r.fid, t.silent FROM episode e JOIN resource r ON r.id = e.task JOIN task t ON t.resource = e.task WHERE e.access = ?1 AND e.state IN (1, 2) ORDER BY e.grp, e.number")
QUERY(Q_EPISODE_CLOSED, "SELECT e.grp, e.number, e.state, e.closed_s, r.fid FROM episode e JOIN resource r ON r.id = e.task WHERE e.access = ?1 AND e.state IN (?2, ?3, ?4) AND e.number = (SELECT max(n.number) FROM episode n WHERE n.access = e.access AND n.grp = e.grp) ORDER BY e.grp")
QUERY(Q_REPEAT_OF_ACCESS, "SELECT e.grp, e.number, e.state, e.overdue, e.due_s, r.fid, t.silent FROM repeat e JOIN resource r ON r.id = e.task JOIN task t ON t.resource = e.task WHERE e.access = ?1 AND e.state IN (1, 2) ORDER BY e.grp, e.number")
/* what the queue shows has changed when this has, see schema.h; ?1: what was put off until later than this */
QUERY(Q_QUEUE_CHANGE, "SELECT n, (SELECT count(*) FROM episode WHERE put_off_s > ?1) FROM queue_change")
QUERY(Q_UNIT_NAMES, "SELECT DISTINCT unit FROM patient WHERE unit IS NOT NULL AND unit <> '' ORDER BY unit LIMIT ?1")
/* the week of each unit: what was decided (?1, ?2: ms), what people did (s); of the Tasks as they stand */
QUERY(Q_DIGEST_DECISIONS, "SELECT d.act, d.reason, d.rules, p.unit FROM decision d JOIN access a ON a.id = d.access JOIN patient p ON p.id = a.patient WHERE d.at_ms >= ?1 AND d.at_ms < ?2 AND d.reminder = 0 AND d.act IN (?3, ?4) AND NOT (d.act = ?4 AND d.how = ?5) ORDER BY d.id")
QUERY(Q_DIGEST_TAKEN, "SELECT e.taken_s - e.opened_s, p.unit FROM episode e JOIN access a ON a.id = e.access JOIN patient p ON p.id = a.patient WHERE e.taken_s >= ?1 AND e.taken_s < ?2 ORDER BY e.taken_s")
QUERY(Q_DIGEST_CLOSED, "SELECT e.state, e.task, p.unit FROM episode e JOIN access a ON a.id = e.access JOIN patient p ON p.id = a.patient WHERE e.closed_s >= ?1 AND e.closed_s < ?2 AND e.state IN (?3, ?4, ?5) ORDER BY e.closed_s, e.task")
QUERY(Q_DIGEST_OPEN, "SELECT e.due_s, e.state, e.rules, p.unit FROM episode e JOIN access a ON a.id = e.access JOIN patient p ON p.id = a.patient WHERE e.state IN (1, 2) ORDER BY e.task")
QUERY(Q_DIGEST_REMINDERS, "SELECT p.unit FROM repeat e JOIN access a ON a.id = e.access JOIN patient p ON p.id = a.patient WHERE e.state IN (1, 2) AND e.due_s >= ?1 AND e.due_s < ?2 ORDER BY e.task")
/* the lists of the units */
QUERY(Q_UNIT_LIST_GET, "SELECT resource, digest, status FROM unit_list WHERE unit = ?1")
QUERY(Q_UNIT_LIST_PUT, "INSERT INTO unit_list(unit, part, resource, digest, status) VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT(unit) DO UPDATE SET digest = excluded.digest, status = excluded.status")
QUERY(Q_UNIT_LIST_UNITS, "SELECT unit FROM unit_list UNION SELECT unit FROM patient WHERE unit IS NOT NULL AND unit <> '' ORDER BY 1 LIMIT ?1")
QUERY(Q_UNIT_LIST_UNSENT, "SELECT l.resource, l.part, r.ver, l.unit FROM unit_list l JOIN resource r ON r.id = l.resource LEFT JOIN outbox o ON o.resource = l.resource WHERE o.resource IS NULL OR o.wanted < r.ver ORDER BY l.unit LIMIT 1")
QUERY(Q_OUTBOX_WANT_LIST, "INSERT INTO outbox(resource, part, wanted, sent, tries, due_ms, state, place, key) VALUES(?1, ?2, ?3, 0, 0, ?4, 0, 4, ?5) ON CONFLICT(resource) DO UPDATE SET wanted = excluded.wanted, tries = 0, state = 0, who = NULL, why = NULL, aside_ms = NULL, due_ms = CASE WHEN outbox.state = 0 AND outbox.due_ms > excluded.due_ms THEN outbox.due_ms ELSE excluded.due_ms END")
QUERY(Q_REPEAT_STATE, "UPDATE repeat SET state = ?2 WHERE task = ?1")
QUERY(Q_REPEAT_QUEUE, "SELECT e.access, e.grp, e.state, e.due_s, e.headline, r.fid, a.label, a.anchor, p.name, coalesce(p.number, p.anchor), p.unit, t.silent, p.id, (SELECT v.updated_ms / 1000 FROM version v WHERE v.resource = e.task AND v.ver = 1) FROM repeat e JOIN resource r ON r.id = e.task JOIN task t ON t.resource = e.task JOIN access a ON a.id = e.access JOIN patient p ON p.id = a.patient WHERE e.state IN (1, 2) ORDER BY CASE WHEN e.grp = ?1 THEN 1 ELSE 0 END, e.due_s, e.access, e.grp")
QUERY(Q_DECISION_ADD, "INSERT INTO decision(id, part, access, grp, number, at_ms, act, reason, policy, task, task_ver, rules, evidence, reminder, urgency, how, silent) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17)")
QUERY(Q_DECISION_LIST, "SELECT d.at_ms, d.grp, d.number, d.act, d.reason, d.how, d.reminder, d.rules, d.urgency, d.policy, d.silent, r.fid, a.label, a.anchor, p.name, coalesce(p.number, p.anchor) FROM decision d JOIN access a ON a.id = d.access JOIN patient p ON p.id = a.patient LEFT JOIN resource r ON r.id = d.task WHERE d.at_ms >= ?1 ORDER BY d.at_ms, d.id LIMIT ?2")

/* the technique of the site: what a person switched, and the accesses that had a band */
QUERY(Q_TECHNIQUE_ADD, "INSERT INTO technique(id, part, at_ms, act, who, model, cases, ties, stretches, prior, evidence) VALUES(?1, ?1 % 1024, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)")
QUERY(Q_TECHNIQUE_LAST, "SELECT at_ms, act, who, model, cases, ties, stretches, prior FROM technique ORDER BY id DESC LIMIT 1")
QUERY(Q_TECHNIQUE_ACCESSES, "SELECT coalesce(a.merged, a.id) AS found, max(r.start_s) AS newest_s FROM reading r JOIN access a ON a.id = r.owner WHERE (r.quantity = ?1 OR (r.quantity = ?2 AND r.sign = ?3)) AND r.status < ?4 GROUP BY found ORDER BY newest_s DESC, found")

/* tasks for searching on our own endpoint */
QUERY(Q_TASK_PUT, "INSERT INTO task(resource, part, patient, access, status, priority, code, key, silent) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9) ON CONFLICT(resource) DO UPDATE SET status = excluded.status, priority = excluded.priority")
QUERY(Q_TASK_STATUS, "UPDATE task SET status = ?2, priority = ?3 WHERE resource = ?1")
QUERY(Q_TASK_GET, "SELECT patient, access, status, priority, code, key, silent FROM task WHERE resource = ?1")

/* what resources are found by */
QUERY(Q_SOUGHT_FORGET, "DELETE FROM search_token WHERE resource = ?1")
QUERY(Q_SOUGHT_FORGET_SPANS, "DELETE FROM search_span WHERE resource = ?1")
QUERY(Q_SOUGHT_TOKEN, "INSERT INTO search_token(resource, name, value, system, updated_ms) VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING")
QUERY(Q_SOUGHT_SPAN, "INSERT INTO search_span(resource, name, from_ms, to_ms) VALUES(?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING")
QUERY(Q_SOUGHT_OLD, "SELECT r.id, r.kind, r.fid, r.ver, r.updated_ms, v.journal, v.start, v.len FROM version v JOIN resource r ON r.id = v.resource AND r.ver = v.ver ORDER BY v.journal, v.start, v.resource")
QUERY(Q_SOUGHT_ALIASES, "SELECT b.alias FROM patient_alias a JOIN patient_alias b ON b.patient = a.patient WHERE a.alias = ?1 ORDER BY b.alias LIMIT ?2")
QUERY(Q_SOUGHT_ALIASES_OF_NUMBER, "SELECT b.alias FROM search_token s JOIN patient p ON p.resource = s.resource JOIN patient_alias b ON b.patient = p.id WHERE s.name = ?1 AND s.value = ?2 ORDER BY b.alias LIMIT ?3")
QUERY(Q_SOUGHT_OF, "SELECT value FROM search_token WHERE resource = ?1 AND name = ?2 ORDER BY value LIMIT ?3")
QUERY(Q_SOUGHT_BY, "SELECT r.id, r.kind, r.fid, r.ver, r.updated_ms FROM search_token s JOIN resource r ON r.id = s.resource WHERE s.name = ?1 AND s.value = ?2 ORDER BY r.id LIMIT ?3")

/* versions, newest first; ours stand with the version, what came stands in the journal */
QUERY(Q_HISTORY_ONE, "SELECT v.resource, v.ver, v.updated_ms, r.fid FROM version v JOIN resource r ON r.id = v.resource WHERE v.resource = ?1 AND v.updated_ms >= ?2 AND v.ver < ?3 AND NOT EXISTS (SELECT 1 FROM version n WHERE n.resource = v.resource AND n.ver = v.ver + 1 AND n.updated_ms <= ?4) AND v.updated_ms < ?5 ORDER BY v.ver DESC LIMIT ?6")
QUERY(Q_HISTORY_ONE_COUNT, "SELECT count(*) FROM version v WHERE v.resource = ?1 AND v.updated_ms >= ?2 AND NOT EXISTS (SELECT 1 FROM version n WHERE n.resource = v.resource AND n.ver = v.ver + 1 AND n.updated_ms <= ?3) AND v.updated_ms < ?4")
QUERY(Q_HISTORY_OURS, "SELECT v.resource, v.ver, v.updated_ms, r.fid FROM version v JOIN resource r ON r.id = v.resource WHERE v.journal = 0 AND r.kind = ?1 AND v.updated_ms >= ?2 AND (v.updated_ms, v.resource) < (?3, ?4) AND NOT EXISTS (SELECT 1 FROM version n WHERE n.resource = v.resource AND n.ver = v.ver + 1 AND n.updated_ms <= ?5) AND v.updated_ms < ?6 AND NOT EXISTS (SELECT 1 FROM task t WHERE t.resource = v.resource AND t.silent = 1) ORDER BY v.updated_ms DESC, v.resource DESC LIMIT ?7")
QUERY(Q_HISTORY_CAME, "SELECT v.resource, v.ver, v.updated_ms, r.fid FROM version v JOIN resource r ON r.id = v.resource WHERE v.journal > 0 AND r.kind = ?1 AND v.updated_ms >= ?2 AND (v.updated_ms, v.resource) < (?3, ?4) AND NOT EXISTS (SELECT 1 FROM version n WHERE n.resource = v.resource AND n.ver = v.ver + 1 AND n.updated_ms <= ?5) AND v.updated_ms < ?6 ORDER BY v.updated_ms DESC, v.resource DESC LIMIT ?7")

/* deliveries: the version the record should have, and the one it has */
QUERY(Q_OUTBOX_WANT, "INSERT INTO outbox(resource, part, wanted, sent, tries, due_ms, state, place, task, key) VALUES(?1, ?2, ?3, 0, 0, ?4, 0, coalesce((SELECT " TASK_PLACE " FROM task t WHERE t.resource = ?1), 3), ?1, (SELECT t.key FROM task t WHERE t.resource = ?1)) ON CONFLICT(resource) DO UPDATE SET wanted = excluded.wanted, place = excluded.place, state = 0, tries = 0, who = NULL, why = NULL, aside_ms = NULL, due_ms = CASE WHEN outbox.state = 0 AND outbox.due_ms > excluded.due_ms THEN outbox.due_ms ELSE excluded.due_ms END")
/* What goes with a Task.  A document or an order that the record has not yet is sent by the delivery of the Task (state 3);
   alone (?7 is 1): a flag or a Provenance, by itself once the Task is there. */
QUERY(Q_OUTBOX_WANT_BESIDE, "INSERT INTO outbox(resource, part, wanted, sent, tries, due_ms, state, place, task, key) VALUES(?1, ?2, ?3, 0, 0, ?4, CASE WHEN ?7 = 1 AND EXISTS (SELECT 1 FROM outbox t WHERE t.resource = ?5 AND t.remote IS NOT NULL) THEN 0 ELSE 3 END, 4, ?5, ?6) ON CONFLICT(resource) DO UPDATE SET wanted = excluded.wanted, tries = 0, who = NULL, why = NULL, aside_ms = NULL, state = CASE WHEN outbox.remote IS NOT NULL THEN 0 ELSE excluded.state END, due_ms = CASE WHEN outbox.state = 0 AND outbox.due_ms > excluded.due_ms THEN outbox.due_ms ELSE excluded.due_ms END")
QUERY(Q_COMPANION_GET, "SELECT resource, key FROM companion WHERE task = ?1 AND kind = ?2")
QUERY(Q_COMPANION_PUT, "INSERT INTO companion(task, kind, resource, part, key) VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT(task, kind) DO UPDATE SET resource = excluded.resource, key = excluded.key")
QUERY(Q_COMPANION_PLACE, "SELECT c.part, o.resource IS NOT NULL FROM companion c LEFT JOIN outbox o ON o.resource = c.resource WHERE c.resource = ?1")
/* after Q_OUTBOX_CATCH_UP: what is beside a Task that the record has, or will have; ?2, ?3: kinds that go by themselves */
QUERY(Q_COMPANION_CATCH_UP, "INSERT INTO outbox(resource, part, wanted, sent, tries, due_ms, state, place, task, key) SELECT c.resource, c.part, r.ver, 0, 0, ?1, CASE WHEN c.kind IN (?2, ?3) AND t.remote IS NOT NULL THEN 0 ELSE 3 END, 4, c.task, c.key FROM companion c JOIN resource r ON r.id = c.resource JOIN outbox t ON t.resource = c.task LEFT JOIN outbox o ON o.resource = c.resource WHERE o.resource IS NULL OR o.wanted < r.ver ON CONFLICT(resource) DO UPDATE SET aside_ms = NULL, who = NULL, why = NULL, wanted = excluded.wanted, tries = 0, state = CASE WHEN outbox.remote IS NOT NULL THEN 0 ELSE excluded.state END, due_ms = excluded.due_ms")
QUERY(Q_OUTBOX_DUE, "SELECT resource, tries FROM outbox WHERE state = 0 AND +due_ms <= ?1 ORDER BY place, due_ms, resource LIMIT ?2")
QUERY(Q_OUTBOX_GET, "SELECT o.wanted, o.tries, o.remote, o.key, o.status, o.task, o.look_ms, o.twin, r.kind, o.aside_ms, o.sent FROM outbox o JOIN resource r ON r.id = o.resource WHERE o.resource = ?1")
QUERY(Q_OUTBOX_REMOTE, "SELECT remote, version FROM outbox WHERE resource = ?1 AND remote IS NOT NULL")
/* documents and orders of a Task that the record has not, and has not refused */
QUERY(Q_OUTBOX_BESIDE, "SELECT c.kind, c.resource, o.key FROM companion c JOIN outbox o ON o.resource = c.resource WHERE c.task = ?1 AND c.kind IN (?2, ?3) AND o.remote IS NULL AND o.state = 3 ORDER BY c.kind LIMIT ?4")
QUERY(Q_OUTBOX_FOUND, "UPDATE outbox SET version = CASE WHEN remote = ?2 THEN coalesce(version, ?3) ELSE ?3 END, remote = ?2 WHERE resource = ?1")
QUERY(Q_OUTBOX_NEXT, "SELECT min(due_ms) FROM outbox WHERE state = 0 AND due_ms > ?1")
QUERY(Q_OUTBOX_SENT, "UPDATE outbox SET sent = ?2, tries = 0, answer = NULL, aside_ms = NULL, who = NULL, why = NULL, status = ?3, look_ms = CASE WHEN look_ms <= ?4 THEN 0 ELSE look_ms END, twin = CASE WHEN look_ms <= ?4 THEN 0 ELSE twin END, state = CASE WHEN wanted <= ?2 AND look_ms <= ?4 THEN 1 ELSE 0 END WHERE resource = ?1")
/* the Task is there: flags and Provenances may follow */
QUERY(Q_OUTBOX_WAKE, "UPDATE outbox SET state = 0, due_ms = ?2 WHERE task = ?1 AND state = 3 AND resource IN (SELECT c.resource FROM companion c WHERE c.task = ?1 AND c.kind IN (?3, ?4))")
QUERY(Q_OUTBOX_LOOK, "UPDATE outbox SET look_ms = ?2, twin = max(twin, ?3), due_ms = CASE WHEN state = 0 AND tries > 0 THEN due_ms ELSE min(due_ms, ?2) END, state = 0 WHERE resource = ?1 AND state IN (0, 1, 2, 4) AND remote IS NOT NULL")
/* what was taken for it is somebody else's */
QUERY(Q_OUTBOX_LOST, "UPDATE outbox SET remote = NULL, version = NULL WHERE resource = ?1")
QUERY(Q_OUTBOX_RETRY, "UPDATE outbox SET tries = ?2, due_ms = ?3, status = ?4 WHERE resource = ?1")
/* ?5: the version that was refused; a newer one is due */
QUERY(Q_OUTBOX_DEAD, "UPDATE outbox SET state = CASE WHEN wanted > ?5 THEN 0 ELSE 2 END, status = ?2, answer = ?3, aside_ms = CASE WHEN wanted > ?5 THEN NULL ELSE ?4 END WHERE resource = ?1")
/* not with its Task: by itself, later */
QUERY(Q_OUTBOX_ALONE, "UPDATE outbox SET state = 0, tries = 1, due_ms = ?2, status = ?3 WHERE resource = ?1 AND state = 3")
/* read there, for people may have changed it, and as much put aside as before */
QUERY(Q_OUTBOX_STILL_DEAD, "UPDATE outbox SET state = CASE WHEN who IS NULL THEN 2 ELSE 4 END, look_ms = CASE WHEN look_ms <= ?2 THEN 0 ELSE look_ms END WHERE resource = ?1")
QUERY(Q_OUTBOX_REVIVE, "UPDATE outbox SET state = 0, tries = 0, aside_ms = NULL, due_ms = ?1 WHERE state IN (0, 2) AND status IN (409, 412, 500) AND (state = 2 OR tries > 0)")
/* what was put aside, for people: list, try again, give up */
QUERY(Q_OUTBOX_ASIDE, "SELECT o.resource, r.kind, r.fid, o.remote, o.status, o.tries, o.aside_ms, o.answer, o.state, o.who, o.why, t.code, a.label, a.anchor, coalesce(p.number, p.anchor) FROM outbox o JOIN resource r ON r.id = o.resource LEFT JOIN task t ON t.resource = o.task LEFT JOIN access a ON a.id = t.access LEFT JOIN patient p ON p.id = t.patient WHERE o.state = ?1 AND o.aside_ms IS NOT NULL ORDER BY o.aside_ms, o.resource LIMIT ?2")
QUERY(Q_OUTBOX_AGAIN, "UPDATE outbox SET state = 0, tries = 0, aside_ms = NULL, due_ms = ?2, who = NULL, why = NULL WHERE resource = ?1 AND state IN (2, 4)")
QUERY(Q_OUTBOX_AGAIN_ALL, "UPDATE outbox SET state = 0, tries = 0, aside_ms = NULL, due_ms = ?1 WHERE state = 2")
QUERY(Q_OUTBOX_GIVE_UP, "UPDATE outbox SET state = 4, who = ?2, why = ?3 WHERE resource = ?1 AND state = 2")
QUERY(Q_OUTBOX_STATE, "SELECT state FROM outbox WHERE resource = ?1")
QUERY(Q_OUTBOX_OLDEST, "SELECT min(due_ms) FROM outbox WHERE state = 0")
QUERY(Q_OUTBOX_CATCH_UP, "INSERT INTO outbox(resource, part, wanted, sent, tries, due_ms, state, place, task, key) SELECT t.resource, t.part, r.ver, 0, 0, ?1, 0, " TASK_PLACE ", t.resource, t.key FROM outbox o JOIN resource r ON r.id = o.resource JOIN task t ON t.resource = o.resource WHERE o.wanted < r.ver UNION ALL SELECT t.resource, t.part, r.ver, 0, 0, ?1, 0, " TASK_PLACE ", t.resource, t.key FROM (SELECT task FROM episode WHERE state IN (1, 2) UNION SELECT task FROM repeat WHERE state IN (1, 2)) p JOIN task t ON t.resource = p.task JOIN resource r ON r.id = p.task WHERE t.silent = 0 AND NOT EXISTS (SELECT 1 FROM outbox o WHERE o.resource = p.task) ON CONFLICT(resource) DO UPDATE SET aside_ms = NULL, who = NULL, why = NULL, wanted = excluded.wanted, place = excluded.place, state = 0, tries = 0, due_ms = excluded.due_ms")
QUERY(Q_LOOKUP_GET, "SELECT reference FROM lookup WHERE type = ?1 AND system = ?2 AND value = ?3 AND checked_ms >= ?4")
QUERY(Q_LOOKUP_PUT, "INSERT INTO lookup(type, system, value, reference, checked_ms) VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT(type, system, value) DO UPDATE SET reference = excluded.reference, checked_ms = excluded.checked_ms")
QUERY(Q_OUTBOX_COUNTS, "SELECT state, count(*) FROM outbox GROUP BY state")

/* what comes from the record: how far, what, and what is still to be read there */
QUERY(Q_FEED_GET, "SELECT cursor_ms, ended_ms, server_ms FROM feed WHERE name = ?1")
QUERY(Q_FEED_PUT, "INSERT INTO feed(name, cursor_ms, ended_ms, server_ms) VALUES(?1, ?2, ?3, ?4) ON CONFLICT(name) DO UPDATE SET cursor_ms = excluded.cursor_ms, ended_ms = max(ended_ms, excluded.ended_ms), server_ms = max(server_ms, excluded.server_ms)")
QUERY(Q_ORIGIN_GET, "SELECT version, updated_ms, resource FROM origin WHERE kind = ?1 AND remote = ?2")
QUERY(Q_ORIGIN_PUT, "INSERT INTO origin(kind, remote, version, updated_ms, resource) VALUES(?1, ?2, ?3, ?4, ?5) ON CONFLICT(kind, remote) DO UPDATE SET version = excluded.version, updated_ms = excluded.updated_ms, resource = CASE WHEN excluded.resource = 0 THEN resource ELSE excluded.resource END")
QUERY(Q_ORIGIN_OF, "SELECT remote, version FROM origin WHERE resource = ?1 ORDER BY updated_ms DESC LIMIT 1")
QUERY(Q_FETCH_ADD, "INSERT INTO fetch(kind, remote, state, tries, due_ms) SELECT ?1, ?2, 0, 0, ?3 WHERE (SELECT count(*) FROM fetch) < ?4 ON CONFLICT(kind, remote) DO UPDATE SET state = 0, due_ms = excluded.due_ms WHERE fetch.state = 1 AND fetch.due_ms <= excluded.due_ms")
QUERY(Q_FETCH_ANEW, "INSERT INTO fetch(kind, remote, state, tries, due_ms) SELECT ?1, ?2, 0, 0, ?3 WHERE (SELECT count(*) FROM fetch) < ?4 ON CONFLICT(kind, remote) DO UPDATE SET state = 0, due_ms = excluded.due_ms, tries = 0")
QUERY(Q_FETCH_DUE, "SELECT kind, remote FROM fetch WHERE state = 0 AND due_ms <= ?1 ORDER BY due_ms, kind, remote LIMIT 1")
QUERY(Q_FETCH_DONE, "DELETE FROM fetch WHERE kind = ?1 AND remote = ?2")
QUERY(Q_FETCH_LATER, "UPDATE fetch SET tries = tries + 1, due_ms = ?3, state = ?4 WHERE kind = ?1 AND remote = ?2")
QUERY(Q_FETCH_TRIM, "DELETE FROM fetch WHERE state = 1 AND due_ms <= ?1")
QUERY(Q_FETCH_COUNT, "SELECT count(*) FROM fetch WHERE state = 0")
/* what could not be taken in, for people */
QUERY(Q_QUARANTINE_OPEN_COUNT, "SELECT count(*) FROM quarantine WHERE state = 0")
QUERY(Q_QUARANTINE_ADD, "INSERT INTO quarantine(id, part, at_ms, way, source, kind, remote, file, line, start, status, reason, place, text, message, bytes, digest, body, state, emergency, patient) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, CASE WHEN ?15 = 0 THEN NULL ELSE ?15 END, ?16, ?17, ?18, 0, ?19, ?20)")
QUERY(Q_QUARANTINE_EMERGENCIES, "SELECT id, at_ms, source, reason, place, text, message, patient FROM quarantine WHERE state = 0 AND emergency = 1 ORDER BY at_ms DESC, id DESC LIMIT ?1")
QUERY(Q_QUARANTINE_SAME, "SELECT id FROM quarantine WHERE digest = ?1 AND source = ?2 AND state IN (0, 2) ORDER BY id DESC LIMIT 1")
QUERY(Q_QUARANTINE_REMOTE, "UPDATE quarantine SET state = ?3, done_ms = ?4 WHERE kind = ?1 AND remote = ?2 AND state = 0 AND id <> ?5")
QUERY(Q_QUARANTINE_GET, "SELECT at_ms, way, source, kind, remote, file, line, start, status, reason, place, text, message, bytes, body, state, who, why, done_ms FROM quarantine WHERE id = ?1")
QUERY(Q_QUARANTINE_CLOSE, "UPDATE quarantine SET state = ?2, who = ?3, why = ?4, done_ms = ?5 WHERE id = ?1 AND state = 0")
QUERY(Q_QUARANTINE_CLOSE_MESSAGE, "UPDATE quarantine SET state = ?2, done_ms = ?3 WHERE message = ?1 AND state = 0")
QUERY(Q_QUARANTINE_TRIM, "DELETE FROM quarantine WHERE state > 0 AND done_ms < max(?1, coalesce((SELECT n.done_ms FROM quarantine n WHERE n.state > 0 ORDER BY n.done_ms DESC LIMIT 1 OFFSET ?2), ?1))")
QUERY(Q_QUARANTINE_OF_RECORD, "SELECT at_ms, way, kind, remote, file, line, start, status, place, text, id FROM quarantine WHERE way IN (1, 2, 3, 4) AND state IN (0, 2) ORDER BY id DESC LIMIT ?1")
QUERY(Q_QUARANTINE_OF_RECORD_COUNT, "SELECT count(*) FROM quarantine WHERE state = 0 AND way IN (1, 2, 3, 4)")
QUERY(Q_QUARANTINE_HELD, "SELECT h.resource, h.reason, h.quantity, h.hint, h.since_ms, r.fid, p.name, coalesce(p.number, p.anchor), p.unit, h.sign, h.emergency FROM held h JOIN resource r ON r.id = h.resource LEFT JOIN patient p ON p.id = h.patient WHERE (?1 IS NULL OR h.reason = ?1) AND (?2 IS NULL OR p.unit = ?2) ORDER BY h.since_ms, h.resource, h.slot LIMIT ?3")
QUERY(Q_QUARANTINE_OPEN, "SELECT id, at_ms, way, source, kind, reason, place, text, message, emergency, patient FROM quarantine WHERE state = 0 AND (?1 IS NULL OR reason = ?1) AND (?2 IS NULL OR source = ?2) ORDER BY at_ms, id LIMIT ?3")
QUERY(Q_HELD_SUM, "SELECT reason, count(*), min(since_ms) FROM held GROUP BY reason ORDER BY reason")
QUERY(Q_QUARANTINE_SUM, "SELECT reason, count(*), min(at_ms) FROM quarantine WHERE state = 0 GROUP BY reason ORDER BY reason")
QUERY(Q_UNMAPPED_LIST, "SELECT system, code, count(*), max(resource), max(EXISTS(SELECT 1 FROM held h WHERE h.resource = u.resource AND h.reason = 'value')), count(*) OVER () FROM (SELECT system, code, resource FROM unmapped LIMIT 100000) u GROUP BY system, code ORDER BY 5 DESC, 3 DESC, system, code LIMIT ?1")
QUERY(Q_HELD_OF, "SELECT count(*), coalesce(max(h.patient), (SELECT max(v.patient) FROM verdict v WHERE v.resource = ?1), 0) FROM held h WHERE h.resource = ?1")
QUERY(Q_HELD_SLOTS, "SELECT h.slot, h.reason, h.quantity, h.hint, h.since_ms, h.sign, h.emergency, h.at_s, p.name, coalesce(p.number, p.anchor), p.unit FROM held h LEFT JOIN patient p ON p.id = h.patient WHERE h.resource = ?1 ORDER BY h.slot")
QUERY(Q_HL7_BYTES, "SELECT bytes, body, application, facility, control, received_ms, source FROM hl7_message WHERE id = ?1")
QUERY(Q_HL7_OF_RESOURCE, "SELECT m.id FROM version v JOIN hl7_message m ON m.journal = v.journal WHERE v.resource = ?1 AND v.ver = ?2 AND v.journal > 0 ORDER BY m.id DESC LIMIT 1")
QUERY(Q_QUARANTINE_NUMBERS, "SELECT id FROM quarantine WHERE state = 0 AND id > ?1 AND (?2 IS NULL OR reason = ?2) ORDER BY id LIMIT ?3")
QUERY(Q_QUARANTINE_REOPEN, "UPDATE quarantine SET state = 0, done_ms = NULL WHERE id = ?1 AND state = 2")
QUERY(Q_QUARANTINE_WHO, "UPDATE quarantine SET state = ?2, who = ?3, why = ?4, done_ms = ?5 WHERE id = ?1")
QUERY(Q_ACCESS_OF_PATIENT_NAMED, "SELECT a.id, coalesce(a.label, ''), a.anchor FROM access a WHERE a.patient = ?1 AND a.merged IS NULL AND (a.label = ?2 OR CAST(a.id AS TEXT) = ?2 OR a.id IN (SELECT access FROM access_alias WHERE alias = 'r:' || ?2 OR alias = 'r:BodyStructure/' || ?2 OR alias = 'i:' || ?2 OR (substr(alias, 1, 2) = 'i:' AND substr(alias, length(alias) - length(?2)) = '|' || ?2))) ORDER BY a.id LIMIT 2")
/* what people mapped; deed 8 takes it back (enum deed_act) */
QUERY(Q_MAPPING_GET, "SELECT m.system, m.code, m.target, m.unit, m.arm, m.from_s, d.at_ms, d.who, (SELECT count(*) FROM mapping o WHERE o.system = m.system AND o.code = m.code AND o.id <> m.id AND NOT EXISTS (SELECT 1 FROM deed t WHERE t.item = o.id AND t.act = 8)) FROM mapping m LEFT JOIN deed d ON d.item = m.id AND d.act = 8 WHERE m.id = ?1")
QUERY(Q_MAPPING_SHOW, "SELECT m.id, m.at_ms, m.system, m.code, m.target, m.unit, m.arm, m.from_s, m.who, m.why, m.looked, d.at_ms, d.who, d.why, d.settled FROM mapping m LEFT JOIN deed d ON d.item = m.id AND d.act = 8 ORDER BY m.id LIMIT ?1")
QUERY(Q_OBSERVATION_AFTER, "SELECT id FROM resource WHERE kind = 1 AND id > ?1 ORDER BY id LIMIT ?2")
/* a person's word on a reading: ?6 what is said now; of an older version only which access and side stays */
QUERY(Q_VERDICT_OF, "SELECT slot, ver, act, access, side, patient, code FROM verdict WHERE resource = ?1 ORDER BY slot LIMIT 64")
QUERY(Q_VERDICT_PUT, "INSERT INTO verdict(resource, slot, part, at_ms, ver, act, access, side, reason, who, why, digest, patient, code) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14) ON CONFLICT(resource, slot) DO UPDATE SET at_ms = excluded.at_ms, act = CASE WHEN verdict.ver = excluded.ver THEN (verdict.act & 5) | excluded.act ELSE (verdict.act & 4) | excluded.act END, ver = excluded.ver, access = CASE WHEN excluded.act & 4 THEN excluded.access ELSE verdict.access END, side = CASE WHEN excluded.act & 4 THEN excluded.side ELSE verdict.side END, reason = excluded.reason, who = excluded.who, why = excluded.why, digest = excluded.digest, patient = excluded.patient, code = excluded.code")
QUERY(Q_VERDICT_FOLLOW, "UPDATE verdict SET slot = ?3 WHERE resource = ?1 AND slot = ?2")
QUERY(Q_VERDICT_MOVE_PATIENT, "UPDATE verdict SET patient = ?2 WHERE patient = ?1")
/* what a person may say his word on: what is held, and what he has put into use before */
QUERY(Q_VERDICT_SLOTS, "SELECT h.slot, h.reason, 1 AS waits FROM held h WHERE h.resource = ?1 UNION ALL SELECT v.slot, v.reason, 0 FROM verdict v JOIN resource r ON r.id = v.resource WHERE v.resource = ?1 AND v.slot >= 0 AND v.act & 2 = 0 AND (v.act & 4 <> 0 OR (v.act <> 0 AND v.ver = r.ver)) AND NOT EXISTS (SELECT 1 FROM held h WHERE h.resource = v.resource AND h.slot = v.slot) ORDER BY waits DESC, 1")
QUERY(Q_VERDICT_LIFT, "UPDATE verdict SET act = act & ~?2 WHERE resource = ?1 AND act & ?2")
QUERY(Q_VERDICT_EQUAL, "SELECT r.id FROM verdict d JOIN resource r ON r.id = d.resource WHERE d.digest = ?1 AND d.patient = ?2 AND d.ver = r.ver AND d.act <> 0 AND r.ident IS NULL LIMIT 1")
/* what is looked at again, in the order of arrival: by number, what is held; what has a code (36: Observation.code, see
   fhir_search.h) and of which not all is used */
QUERY(Q_HELD_OF_RESOURCE, "SELECT coalesce((SELECT h.patient FROM held h WHERE h.resource = r.id LIMIT 1), (SELECT u.patient FROM unmapped u WHERE u.resource = r.id LIMIT 1), (SELECT coalesce(a.patient, g.owner) FROM reading g LEFT JOIN access a ON a.id = g.owner WHERE g.resource = r.id LIMIT 1), 0), coalesce((SELECT min(h.since_ms) FROM held h WHERE h.resource = r.id), 0) FROM resource r WHERE r.id = ?1 AND r.kind = 1")
QUERY(Q_HELD_NUMBERS, "SELECT DISTINCT resource FROM held WHERE resource > ?1 AND (?2 IS NULL OR reason = ?2) ORDER BY resource LIMIT ?3")
QUERY(Q_AGAIN_CODE, "SELECT resource FROM (SELECT resource FROM search_token WHERE name = 36 AND value = ?3 AND system = ?2 AND resource > ?1 UNION SELECT resource FROM unmapped WHERE system = ?2 AND code = ?3 AND resource > ?1 UNION SELECT resource FROM held WHERE ?5 = 1 AND reason = 'unit' AND resource > ?1) c WHERE EXISTS (SELECT 1 FROM held h WHERE h.resource = c.resource) OR EXISTS (SELECT 1 FROM unmapped u WHERE u.resource = c.resource) OR NOT EXISTS (SELECT 1 FROM reading g WHERE g.resource = c.resource) ORDER BY resource LIMIT ?4")
QUERY(Q_MAPPING_SWEEP, "SELECT id, looked, system, code, unit <> '', EXISTS (SELECT 1 FROM deed d WHERE d.item = mapping.id AND d.act = 8) FROM mapping WHERE looked >= 0 AND (?1 = 0 OR id = ?1) ORDER BY id LIMIT 1")
QUERY(Q_MAPPING_LOOKED, "UPDATE mapping SET looked = ?2 WHERE id = ?1")
/* a code that no map had */
QUERY(Q_UNMAPPED_ADD, "INSERT INTO unmapped(system, code, resource, patient) VALUES(?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING")
QUERY(Q_UNMAPPED_REMOVE, "DELETE FROM unmapped WHERE resource = ?1")
/* what people did with what was held or in quarantine */
QUERY(Q_DEED_ADD, "INSERT INTO deed(id, part, at_ms, item, act, detail, settled, who, why) VALUES(?1, ?1 % 1024, ?2, ?3, ?4, ?5, ?6, ?7, ?8)")
QUERY(Q_DEED_SETTLED, "UPDATE deed SET settled = ?2 WHERE id = ?1")
QUERY(Q_DEED_LOST, "UPDATE deed SET settled = settled + ?2 WHERE item = ?1 AND act = 8")
QUERY(Q_DEED_LIST, "SELECT at_ms, act, detail, settled, who, why FROM deed WHERE item = ?1 ORDER BY id DESC LIMIT 50")
/* how often what was not as it should be, per sender and week */
QUERY(Q_TALLY_MORE, "UPDATE tally SET count = count + ?8, last_ms = max(last_ms, ?9), sample = CASE WHEN sample = '' THEN ?10 ELSE sample END WHERE week = ?1 AND source = ?2 AND class = ?3 AND reason = ?4 AND what = ?5 AND place = ?6 AND unit = ?7")
QUERY(Q_TALLY_KINDS, "SELECT count(*) FROM tally WHERE week = ?1 AND source = ?2")
QUERY(Q_TALLY_SUMS, "SELECT class, way, sum(count) FROM tally WHERE week = ?1 GROUP BY class, way ORDER BY class, way")
/* of week ?1 and the one before it */
QUERY(Q_TALLY_REPORT, "SELECT t.source, t.class, t.reason, t.what, t.place, t.unit, max(t.way), max(CASE WHEN t.week = ?1 THEN t.sample ELSE '' END), sum(CASE WHEN t.week = ?1 THEN t.count ELSE 0 END), coalesce(max(u.n), 0), sum(CASE WHEN t.week = ?1 THEN 0 ELSE t.count END) FROM tally t LEFT JOIN (SELECT source, count(DISTINCT unit) AS n FROM tally WHERE week IN (?1, ?1 - 7) AND unit <> '' GROUP BY source) u ON u.source = t.source WHERE t.week IN (?1, ?1 - 7) GROUP BY t.source, t.class, t.reason, t.what, t.place, t.unit LIMIT ?2")
QUERY(Q_TALLY_TRIM, "DELETE FROM tally WHERE week < ?1")
QUERY(Q_TALLY_ADD, "INSERT INTO tally(week, source, class, reason, what, place, unit, way, count, first_ms, last_ms, sample) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?10, ?11) ON CONFLICT(week, source, class, reason, what, place, unit) DO UPDATE SET count = count + excluded.count, last_ms = max(last_ms, excluded.last_ms)")
/* messages of HL7 v2 */
QUERY(Q_HL7_FIND, "SELECT m.id, m.answer, EXISTS (SELECT 1 FROM quarantine q WHERE q.message = m.id AND q.state = 0) FROM hl7_message m WHERE m.application = ?1 AND m.facility = ?2 AND m.control = ?3 AND m.digest = ?4")
/* answers beside a final one, see hl7_intake_match.c; ?3: how their keys begin */
QUERY(Q_HL7_BESIDE, "SELECT r.id FROM identifier i JOIN resource r ON r.id = i.resource WHERE i.kind = 1 AND i.system = ?1 AND i.value = ?2 AND substr(r.ident, 1, length(?3)) = ?3 AND r.status <> ?4 LIMIT 20")
QUERY(Q_HL7_OTHER, "SELECT 1 FROM hl7_message WHERE application = ?1 AND facility = ?2 AND control = ?3 AND digest <> ?4 LIMIT 1")
QUERY(Q_HL7_ADD, "INSERT INTO hl7_message(id, part, received_ms, source, application, facility, control, digest, journal, answer, bytes, body) VALUES(?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, 0, ?9, ?10, ?11)")
QUERY(Q_HL7_SET, "UPDATE hl7_message SET journal = CASE WHEN ?2 = 0 THEN journal ELSE ?2 END, answer = ?3 WHERE id = ?1")
/* Tasks of ours at the record */
QUERY(Q_FOLLOW_FIND, "SELECT o.resource, o.remote, f.version FROM task t JOIN outbox o ON o.resource = t.resource LEFT JOIN followed f ON f.task = t.resource WHERE t.key = ?1")
QUERY(Q_FOLLOW_REMOTE, "SELECT o.resource, o.remote, f.version FROM outbox o JOIN resource r ON r.id = o.resource LEFT JOIN followed f ON f.task = o.resource WHERE o.remote = ?1 AND r.kind = ?2")
QUERY(Q_FOLLOW_FRESH, "SELECT 1 FROM outbox o JOIN resource r ON r.id = o.resource WHERE r.kind = ?1 AND o.remote IS NOT NULL AND o.state = 1 AND r.updated_ms BETWEEN ?2 AND ?3 LIMIT 1")
QUERY(Q_FOLLOW_PUT, "INSERT INTO followed(task, version, looked_ms) VALUES(?1, ?2, ?3) ON CONFLICT(task) DO UPDATE SET version = CASE WHEN excluded.version = '' THEN version ELSE excluded.version END, looked_ms = excluded.looked_ms")
QUERY(Q_FOLLOW_OPEN, "SELECT p.task FROM (SELECT task FROM episode WHERE state IN (1, 2) UNION SELECT task FROM repeat WHERE state IN (1, 2)) p JOIN outbox o ON o.resource = p.task JOIN resource r ON r.id = p.task LEFT JOIN followed f ON f.task = p.task WHERE o.remote IS NOT NULL AND o.look_ms = 0 AND coalesce(f.looked_ms, r.updated_ms) <= ?1 ORDER BY coalesce(f.looked_ms, r.updated_ms), p.task LIMIT ?2")
/* what the record was asked to tell us, and has told */
QUERY(Q_SUBSCRIPTION_GET, "SELECT remote, criteria, end_ms FROM subscription WHERE name = ?1")
QUERY(Q_SUBSCRIPTION_PUT, "INSERT INTO subscription(name, remote, criteria, end_ms) VALUES(?1, ?2, ?3, ?4) ON CONFLICT(name) DO UPDATE SET remote = excluded.remote, criteria = excluded.criteria, end_ms = excluded.end_ms")
QUERY(Q_NOTICED_GET, "SELECT events FROM noticed WHERE subscription = ?1")
QUERY(Q_NOTICED_PUT, "INSERT INTO noticed(subscription, events, at_ms) SELECT ?1, ?2, ?3 WHERE (SELECT count(*) FROM noticed) < 1000 OR EXISTS (SELECT 1 FROM noticed WHERE subscription = ?1) ON CONFLICT(subscription) DO UPDATE SET events = excluded.events, at_ms = excluded.at_ms")
QUERY(Q_BULK_LAST, "SELECT id, state, since, target, status_url, manifest, file, began_ms, ended_ms, lines, stored, refused, why FROM bulk ORDER BY id DESC LIMIT 1")
QUERY(Q_BULK_ADD, "INSERT INTO bulk(state, since, target, file, began_ms, ended_ms, lines, stored, refused) VALUES(?1, ?2, ?3, 0, ?4, 0, 0, 0, 0)")
QUERY(Q_BULK_STATE, "UPDATE bulk SET state = ?2, status_url = coalesce(?3, status_url), manifest = coalesce(?4, manifest), file = ?5, ended_ms = ?6, why = ?7 WHERE id = ?1")
QUERY(Q_BULK_COUNT, "UPDATE bulk SET lines = lines + ?2, stored = stored + ?3, refused = refused + ?4 WHERE id = ?1")
QUERY(Q_BULK_TRIM, "DELETE FROM bulk WHERE id <= (SELECT max(id) FROM bulk) - 100")

/* files of the drop folder */
QUERY(Q_SAVE_PART, "SAVEPOINT part")
QUERY(Q_RELEASE_PART, "RELEASE part")
QUERY(Q_UNDO_PART, "ROLLBACK TO part")
QUERY(Q_DROPPED_GET, "SELECT number, bytes, changed_ms, start, line, stored, there, held, refused, began_ms, target FROM dropped WHERE name = ?1")
QUERY(Q_DROPPED_NAMES, "SELECT name, number FROM dropped WHERE name > ?1 ORDER BY name LIMIT 100")
QUERY(Q_DROPPED_ADD, "INSERT INTO dropped(name, number, bytes, changed_ms, start, line, stored, there, held, refused, began_ms, target) VALUES(?1, ?2, ?3, ?4, 0, 0, 0, 0, 0, 0, ?5, '')")
QUERY(Q_DROPPED_STEP, "UPDATE dropped SET start = ?2, line = ?3, stored = stored + ?4, there = there + ?5, held = held + ?6, refused = refused + ?7 WHERE name = ?1")
QUERY(Q_DROPPED_TARGET, "UPDATE dropped SET target = ?2 WHERE name = ?1")
QUERY(Q_DROPPED_END, "DELETE FROM dropped WHERE name = ?1")
QUERY(Q_DROPPED_LINE, "INSERT INTO dropped_line(number, start, entry, text) VALUES(?1, ?2, ?3, ?4)")
QUERY(Q_DROPPED_LINE_COUNT, "SELECT count(*) FROM dropped_line WHERE number = ?1")
QUERY(Q_DROPPED_LINES, "SELECT start, entry, text FROM dropped_line WHERE number = ?1 AND (start > ?2 OR (start = ?2 AND entry > ?3)) ORDER BY start, entry LIMIT 200")
QUERY(Q_DROPPED_LINES_END, "DELETE FROM dropped_line WHERE number = ?1")

/* what happened at an access: its Tasks, what we decided, which of their versions are ours */
QUERY(Q_TIMELINE_TASKS, "SELECT t.resource, r.fid, e.task IS NULL, coalesce(e.grp, p.grp), coalesce(e.number, p.number), coalesce(e.state, p.state), coalesce(e.due_s, p.due_s), coalesce(p.overdue, 0), coalesce(e.rules, 0), t.silent FROM task t JOIN resource r ON r.id = t.resource LEFT JOIN episode e ON e.task = t.resource LEFT JOIN repeat p ON p.task = t.resource WHERE t.patient = ?2 AND t.access = ?1 AND (e.task IS NOT NULL OR p.task IS NOT NULL) ORDER BY t.resource DESC LIMIT ?3")
QUERY(Q_TIMELINE_DECISIONS, "SELECT d.at_ms, d.grp, d.number, d.act, d.reason, d.how, d.reminder, d.rules, d.urgency, d.task, r.fid, d.silent FROM decision d LEFT JOIN resource r ON r.id = d.task WHERE d.access IN (SELECT id FROM access WHERE id = ?1 OR merged = ?1) AND d.at_ms >= ?2 ORDER BY d.at_ms DESC, d.id DESC LIMIT ?3")
QUERY(Q_TIMELINE_OURS, "SELECT 1 FROM decision d WHERE d.access IN (SELECT id FROM access WHERE id = ?1 OR merged = ?1) AND d.task = ?2 AND d.task_ver = ?3 LIMIT 1")

/* what a back test found, and when it has to look again */
QUERY(Q_BACKTEST_DUE, "SELECT since_ms, access FROM news ORDER BY since_ms, access LIMIT 1")
QUERY(Q_BACKTEST_EPISODES, "SELECT m.id, e.grp, e.task, e.urgency, e.opened_s, m.patient, coalesce(p.number, p.anchor), coalesce('n:' || (SELECT i.value FROM identifier i WHERE i.resource = m.resource LIMIT 1), m.anchor) FROM episode e JOIN access a ON a.id = e.access JOIN access m ON m.id = coalesce(a.merged, a.id) JOIN patient p ON p.id = m.patient ORDER BY e.opened_s, m.id, e.grp, e.number")
QUERY(Q_BACKTEST_DECISIONS, "SELECT task, act, reason, rules, evidence, at_ms FROM decision ORDER BY id")
QUERY(Q_BACKTEST_REMINDERS, "SELECT d.grp, d.rules, count(*) FROM decision d WHERE d.act = ?1 AND EXISTS (SELECT 1 FROM repeat r WHERE r.task = d.task) GROUP BY d.grp, d.rules")
QUERY(Q_BACKTEST_READING, "SELECT quantity, value, bound, sign, present, start_s, precision FROM reading WHERE resource = ?1 AND slot = ?2 AND ver = ?3 LIMIT 1")
QUERY(Q_BACKTEST_EVENTS, "SELECT r.owner, coalesce(a.merged, a.id, 0), coalesce(a.patient, r.owner), r.quantity, r.start_s, r.sign, r.present FROM reading r LEFT JOIN access a ON a.id = r.owner WHERE r.quantity IN (?1, ?2, ?3) AND r.status < ?4 ORDER BY r.owner, r.quantity, r.start_s, r.resource, r.slot")
QUERY(Q_BACKTEST_SPANS, "SELECT min(v.updated_ms) FROM (SELECT DISTINCT owner, resource FROM reading) r JOIN version v ON v.resource = r.resource LEFT JOIN access a ON a.id = r.owner GROUP BY coalesce(a.patient, r.owner)")
QUERY(Q_BACKTEST_ACCESSES, "SELECT count(DISTINCT coalesce(a.merged, a.id)) FROM access a WHERE EXISTS (SELECT 1 FROM reading r WHERE r.owner = a.id)")
QUERY(Q_BACKTEST_HELD, "SELECT reason, count(DISTINCT resource) FROM held GROUP BY reason ORDER BY reason")
QUERY(Q_BACKTEST_HELD_COUNT, "SELECT count(DISTINCT resource) FROM held")
/* clang-format on */
