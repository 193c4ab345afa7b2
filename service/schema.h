/*
 * The tables.  part is the partition of the access or patient (its number
 * modulo 1024), on every row from the first day, so that work can one day
 * be shared between processes.  Times: _ms and _s since 1970-01-01 UTC.
 * Included by db_schema.c alone.
 */
#ifndef HEADGATE_SERVICE_SCHEMA_H
#define HEADGATE_SERVICE_SCHEMA_H

enum { SCHEMA_VERSION = 13 };

/* What the queue shows has changed when one of these rows has: a number that
 * only rises, by which it is told cheaply whether anything is new. */
#define QUEUE_MARK "UPDATE queue_change SET n = n + 1; END;"
#define QUEUE_MARKS                                                            \
    "CREATE TRIGGER queue_episode_new AFTER INSERT ON episode "                \
    "BEGIN " QUEUE_MARK                                                        \
    "CREATE TRIGGER queue_episode AFTER UPDATE ON episode BEGIN " QUEUE_MARK   \
    "CREATE TRIGGER queue_episode_gone AFTER DELETE ON episode "               \
    "BEGIN " QUEUE_MARK                                                        \
    "CREATE TRIGGER queue_repeat_new AFTER INSERT ON repeat BEGIN " QUEUE_MARK \
    "CREATE TRIGGER queue_repeat AFTER UPDATE ON repeat BEGIN " QUEUE_MARK     \
    "CREATE TRIGGER queue_repeat_gone AFTER DELETE ON repeat "                 \
    "BEGIN " QUEUE_MARK                                                        \
    "CREATE TRIGGER queue_held_new AFTER INSERT ON held BEGIN " QUEUE_MARK     \
    "CREATE TRIGGER queue_held AFTER UPDATE ON held BEGIN " QUEUE_MARK         \
    "CREATE TRIGGER queue_held_gone AFTER DELETE ON held BEGIN " QUEUE_MARK    \
    "CREATE TRIGGER queue_patient AFTER UPDATE ON patient WHEN old.name IS "   \
    "NOT new.name OR old.number IS NOT new.number"                             \
    " OR old.unit IS NOT new.unit OR old.resource IS NOT new.resource "        \
    "BEGIN " QUEUE_MARK                                                        \
    "CREATE TRIGGER queue_access AFTER UPDATE ON access WHEN old.label IS "    \
    "NOT new.label OR old.patient IS NOT new.patient"                          \
    " BEGIN " QUEUE_MARK "CREATE TRIGGER queue_task AFTER UPDATE ON task "     \
    "WHEN old.silent IS NOT new.silent BEGIN " QUEUE_MARK

/* What waits in quarantine is counted there, and some of it stands at the top. */
#define QUEUE_MARKS_INPUT                                                      \
    "CREATE TRIGGER queue_input_new AFTER INSERT ON quarantine "               \
    "BEGIN " QUEUE_MARK                                                        \
    "CREATE TRIGGER queue_input AFTER UPDATE ON quarantine BEGIN " QUEUE_MARK

/* A feed that was silent, and now is not. */
#define QUEUE_MARKS_FEED                                                       \
    "CREATE TRIGGER queue_arrival AFTER INSERT ON arrival_day "                \
    "BEGIN " QUEUE_MARK

/* The end is behind the last row, and behind the last list: a row must never
 * take the number, and so the list, of one that was cut off. */
#define AUDIT_LAST                                                             \
    "CREATE TRIGGER audit_last BEFORE INSERT ON audit WHEN new.seq <> "        \
    "max(coalesce((SELECT max(seq) FROM audit), 0), "                          \
    "coalesce((SELECT max(seq) FROM audit_patient), 0)) + 1 "                  \
    "BEGIN SELECT RAISE(ABORT, 'audit is added to at its end'); END;"

/* Who did what; rows are added behind the last one, and nothing else is done to
 * them: see audit.h.  REPLACE would not set off the trigger of a deletion, so a
 * number that is there already is refused as well.  patient: the one that a row
 * is of; of several it is 0, patients says how many and what they hash to, and
 * audit_patient has them. */
#define AUDIT_TABLE                                                            \
    "CREATE TABLE audit(seq INTEGER PRIMARY KEY, part INT NOT NULL,"           \
    " at_ms INT NOT NULL, kind TEXT NOT NULL, actor TEXT NOT NULL,"            \
    " scope TEXT NOT NULL, who TEXT NOT NULL, action TEXT NOT NULL,"           \
    " type TEXT NOT NULL, key TEXT NOT NULL, patient INT NOT NULL,"            \
    " outcome INT NOT NULL, detail TEXT NOT NULL, patients TEXT NOT NULL,"     \
    " prev BLOB NOT NULL, hash BLOB NOT NULL);"                                \
    "CREATE TABLE audit_patient(seq INT, patient INT,"                         \
    " PRIMARY KEY(seq, patient)) WITHOUT ROWID;"                               \
    "CREATE TRIGGER audit_patient_last BEFORE INSERT ON audit_patient "        \
    "WHEN new.seq IS NOT (SELECT max(seq) FROM audit) "                        \
    "BEGIN SELECT RAISE(ABORT, 'audit is added to at its end'); END;"          \
    "CREATE TRIGGER audit_patient_kept BEFORE UPDATE ON audit_patient "        \
    "BEGIN SELECT RAISE(ABORT, 'audit is never changed'); END;"                \
    "CREATE TRIGGER audit_patient_whole BEFORE DELETE ON audit_patient "       \
    "BEGIN SELECT RAISE(ABORT, 'nothing of audit is removed'); "               \
    "END;" AUDIT_LAST "CREATE TRIGGER audit_kept BEFORE UPDATE ON audit "      \
    "BEGIN SELECT RAISE(ABORT, 'audit is never changed'); END;"                \
    "CREATE TRIGGER audit_whole BEFORE DELETE ON audit "                       \
    "BEGIN SELECT RAISE(ABORT, 'nothing of audit is removed'); END;"

/* Who is known to be dead is not in it. */
#define QUEUE_MARKS_DECEASED                                                   \
    "CREATE TRIGGER queue_deceased AFTER UPDATE ON patient WHEN "              \
    "old.deceased IS NOT new.deceased BEGIN " QUEUE_MARK
#define QUEUE_MARKS_DEATH_DOUBT                                                \
    "CREATE TRIGGER queue_death_doubt AFTER UPDATE ON patient WHEN "           \
    "old.deceased_doubt IS NOT new.deceased_doubt BEGIN " QUEUE_MARK           \
    "CREATE INDEX patient_deceased ON patient(id) WHERE deceased IS NOT NULL;"

/* Who was removed on request: when, by whom, why and how much, and no datum of the
 * patient; erased_key: by which a late copy is recognised, see patient_erase.h. */
#define ERASED_TABLES                                                          \
    "CREATE TABLE erased(id INTEGER PRIMARY KEY, part INT NOT NULL,"           \
    " at_ms INT NOT NULL, who TEXT NOT NULL, why TEXT NOT NULL,"               \
    " counts TEXT NOT NULL, state INT NOT NULL);"                              \
    "CREATE TABLE erased_key(hash BLOB PRIMARY KEY, erased INT NOT NULL) "     \
    "WITHOUT ROWID;"

/*
 * What resources are called and found by.  A value with its system stands in
 * term, once; which resource has it, by numbers alone: each of these pairs
 * stands in two orders, and as text they took most of the store.  A term goes
 * with the last that had it, so that nothing of a patient stays behind in it.
 * The views are what both are read by, where no plan of a query hangs on it.
 */
#define TERM_GOES                                                              \
    "WHEN NOT EXISTS (SELECT 1 FROM search_term WHERE term = old.term) AND "   \
    "NOT EXISTS (SELECT 1 FROM identifier_term WHERE term = old.term) "        \
    "BEGIN DELETE FROM term WHERE id = old.term; END;"
#define TERM_TABLES                                                            \
    "CREATE TABLE term(id INTEGER PRIMARY KEY, value TEXT NOT NULL,"           \
    " system TEXT NOT NULL, UNIQUE(value, system));"                           \
    "CREATE TABLE search_term(resource INT, name INT, term INT,"               \
    " updated_ms INT, PRIMARY KEY(resource, name, term)) WITHOUT ROWID;"       \
    "CREATE TABLE identifier_term(term INT, kind INT, resource INT,"           \
    " PRIMARY KEY(term, kind, resource)) WITHOUT ROWID;"
#define TERM_INDICES                                                           \
    "CREATE INDEX search_term_of ON search_term(term, name, resource);"        \
    "CREATE INDEX search_term_updated ON search_term(term, name, updated_ms,"  \
    " resource) WHERE updated_ms IS NOT NULL;"                                 \
    "CREATE INDEX identifier_term_resource ON identifier_term(resource);"      \
    "CREATE TRIGGER term_unsought AFTER DELETE ON search_term " TERM_GOES      \
    "CREATE TRIGGER term_unnamed AFTER DELETE ON identifier_term " TERM_GOES   \
    "CREATE VIEW search_token AS SELECT s.resource, s.name, t.value,"          \
    " t.system, s.updated_ms FROM search_term s JOIN term t ON t.id = s.term;" \
    "CREATE VIEW identifier AS SELECT i.kind, t.system, t.value, i.resource"   \
    " FROM identifier_term i JOIN term t ON t.id = i.term;"

/* clang-format off */
static const char schema_sql[] =
    "CREATE TABLE meta(k TEXT PRIMARY KEY, v TEXT) WITHOUT ROWID;"

    /* body: zstd; source: enum message_source; part 0: a message may be of
       several patients */
    "CREATE TABLE journal(seq INTEGER PRIMARY KEY, part INT NOT NULL, received_ms INT NOT NULL,"
    " source INT NOT NULL, bytes INT NOT NULL, body BLOB NOT NULL);"

    /* kind: enum fhir_type; ident: identity key, see intake.c */
    "CREATE TABLE resource(id INTEGER PRIMARY KEY, part INT NOT NULL, kind INT NOT NULL, fid TEXT NOT NULL,"
    " ident TEXT, ver INT NOT NULL, updated_ms INT NOT NULL, status INT NOT NULL, issued_s INT NOT NULL,"
    " UNIQUE(kind, fid));"
    "CREATE UNIQUE INDEX resource_ident ON resource(kind, ident) WHERE ident IS NOT NULL;"

    /* the bytes stand in the journal (start, len), or in body (zstd) */
    "CREATE TABLE version(resource INT, ver INT, part INT NOT NULL, updated_ms INT NOT NULL, journal INT,"
    " start INT, len INT, digest BLOB, body BLOB, PRIMARY KEY(resource, ver)) WITHOUT ROWID;"

    /* born_s: NULL not known, see fhir_patient; deceased: since which day at the site, or month, or year, "" not known
       since when, NULL not known to be dead; deceased_by: who said so, see deceased.h; deceased_doubt: something was said
       of a death that nothing may rest on */
    "CREATE TABLE patient(id INTEGER PRIMARY KEY, part INT NOT NULL, anchor TEXT NOT NULL, number TEXT,"
    " name TEXT, unit TEXT, resource INT, born_s INT, deceased TEXT, deceased_by INT NOT NULL DEFAULT 0,"
    " deceased_doubt INT NOT NULL DEFAULT 0, deceased_by_s INT, replaced_by TEXT);"
    "CREATE TABLE patient_alias(alias TEXT PRIMARY KEY, patient INT NOT NULL) WITHOUT ROWID;"
    "CREATE INDEX patient_alias_of ON patient_alias(patient);"

    "CREATE TABLE access(id INTEGER PRIMARY KEY, part INT NOT NULL, patient INT NOT NULL, anchor TEXT NOT NULL,"
    " type INT NOT NULL, side INT NOT NULL, region TEXT NOT NULL, label TEXT, active INT NOT NULL,"
    " implied INT NOT NULL, resource INT, merged INT);"
    "CREATE INDEX access_patient ON access(patient);"
    "CREATE INDEX access_merged ON access(merged) WHERE merged IS NOT NULL;"
    "CREATE INDEX access_resource ON access(resource) WHERE resource IS NOT NULL;"
    "CREATE TABLE access_alias(alias TEXT PRIMARY KEY, access INT NOT NULL) WITHOUT ROWID;"
    "CREATE INDEX access_alias_of ON access_alias(access);"

    /* access: known by name only, of one who may turn out to be the patient of known, to which the name went */
    "CREATE TABLE rival(access INTEGER PRIMARY KEY, part INT NOT NULL, known INT NOT NULL);"
    "CREATE INDEX rival_known ON rival(known);"

    /* owner: an access or a patient (numbers are unique over both); reviewed: some rule looks at it */
    "CREATE TABLE reading(owner INT, reviewed INT, start_s INT, quantity INT, resource INT, slot INT,"
    " part INT NOT NULL, ver INT NOT NULL, status INT NOT NULL, end_s INT NOT NULL, precision INT NOT NULL,"
    " value REAL, bound INT NOT NULL, sign INT NOT NULL, present INT NOT NULL, method INT NOT NULL,"
    " side INT NOT NULL, how INT NOT NULL,"
    " PRIMARY KEY(owner, reviewed, start_s, quantity, resource, slot)) WITHOUT ROWID;"
    "CREATE INDEX reading_resource ON reading(resource);"
    /* the lasting facts of an access, which are loaded whatever their age */
    "CREATE INDEX reading_standing ON reading(owner, start_s, quantity, resource, slot) WHERE " STANDING_FACTS ";"
    "CREATE TABLE derived(source TEXT, resource INT, PRIMARY KEY(source, resource)) WITHOUT ROWID;"
    "CREATE INDEX derived_resource ON derived(resource);"

    /* at_s: end of the time it was measured; emergency: NULL not looked at yet, of an older store; ver: of the resource, 0
       an older store; live: it came at once, and is of now whatever its time says; escalated: nobody
       saw to it within its time */
    "CREATE TABLE held(resource INT, slot INT, part INT NOT NULL, patient INT, reason TEXT NOT NULL,"
    " quantity INT NOT NULL, hint TEXT, since_ms INT NOT NULL, sign INT NOT NULL DEFAULT 0, at_s INT NOT NULL DEFAULT 0,"
    " emergency INT, ver INT NOT NULL DEFAULT 0, live INT NOT NULL DEFAULT 0, escalated INT NOT NULL DEFAULT 0,"
    " PRIMARY KEY(resource, slot)) WITHOUT ROWID;"
    "CREATE INDEX held_patient ON held(patient);"
    "CREATE INDEX held_emergency ON held(since_ms) WHERE emergency = 1;"

    /* since_ms: when it is to be reviewed; in the future: by time alone, see agenda.h, or after a failure */
    "CREATE TABLE news(access INTEGER PRIMARY KEY, part INT NOT NULL, since_ms INT NOT NULL);"
    "CREATE INDEX news_since ON news(since_ms);"

    /* state: enum episode_state; task: number of the resource; taken_s: when a person first took it in hand, NULL nobody has,
       or it was not kept then; put_off_s: not shown as open before, and by whom; owner: who is to see to it, in words;
       escalated: nobody took it within its time, 0 not so; handed_s: when it was handed over by whoever had it in hand, NULL
       it was not, or was taken since */
    "CREATE TABLE episode(access INT, grp INT, number INT, part INT NOT NULL, state INT NOT NULL,"
    " urgency INT NOT NULL, rules INT NOT NULL, grade INT NOT NULL, flow REAL, closed_s INT, task INT NOT NULL,"
    " opened_s INT NOT NULL, due_s INT NOT NULL, headline TEXT, suggestion TEXT, occasion INT NOT NULL DEFAULT 0,"
    " announced_s INT NOT NULL DEFAULT 0, taken_s INT, put_off_s INT, put_off_by TEXT, owner TEXT,"
    " escalated INT NOT NULL DEFAULT 0, handed_s INT, PRIMARY KEY(access, grp, number)) WITHOUT ROWID;"
    "CREATE INDEX episode_task ON episode(task);"
    "CREATE INDEX episode_open ON episode(urgency, due_s) WHERE state IN (1, 2);"
    "CREATE INDEX episode_put_off ON episode(put_off_s) WHERE put_off_s IS NOT NULL;"
    "CREATE TABLE evidence(access INT, grp INT, number INT, resource INT, slot INT, ver INT NOT NULL,"
    " at_s INT NOT NULL, PRIMARY KEY(access, grp, number, resource, slot)) WITHOUT ROWID;"
    "CREATE TABLE repeat(access INT, grp INT, number INT, part INT NOT NULL, state INT NOT NULL,"
    " trigger INT NOT NULL, task INT NOT NULL, due_s INT NOT NULL, headline TEXT, occasion INT NOT NULL DEFAULT 0,"
    " overdue INT NOT NULL DEFAULT 0, PRIMARY KEY(access, grp, number)) WITHOUT ROWID;"
    "CREATE INDEX repeat_task ON repeat(task);"

    /* of a referral, or (reminder 1) of a reminder; act: enum act; how: enum decision_how; policy: its version,
       date and approver; evidence: resource/version/slot of each reading; silent: nobody was told */
    "CREATE TABLE decision(id INTEGER PRIMARY KEY, part INT NOT NULL, access INT NOT NULL, grp INT NOT NULL,"
    " number INT NOT NULL, at_ms INT NOT NULL, act INT NOT NULL, reason INT NOT NULL, policy TEXT NOT NULL,"
    " task INT, task_ver INT, rules INT NOT NULL, evidence TEXT NOT NULL, reminder INT NOT NULL,"
    " urgency INT NOT NULL DEFAULT 0, how INT NOT NULL DEFAULT 0, silent INT NOT NULL DEFAULT 0);"
    "CREATE INDEX decision_access ON decision(access, at_ms);"

    /* silent: made while nothing was posted, and served to nobody */
    "CREATE TABLE task(resource INTEGER PRIMARY KEY, part INT NOT NULL, patient INT NOT NULL, access INT NOT NULL,"
    " status TEXT NOT NULL, priority TEXT NOT NULL, code TEXT NOT NULL, key TEXT NOT NULL UNIQUE,"
    " silent INT NOT NULL DEFAULT 0);"
    "CREATE INDEX task_patient ON task(patient);"
    "CREATE INDEX task_silent ON task(resource) WHERE silent = 1;"

    /* state: 0 to be sent, 1 sent, 2 put aside, 3 waits until its Task is sent, 4 given up by a person; remote: its id
       in the record; place: in the line of those that are due, 0 for stat, 1 asap, 2 urgent, 3 routine, 4 beside a Task;
       task: the Task that it goes with (itself, for a Task); key: value of its identifier, NULL for a Provenance;
       look_ms: when it was asked to be read there though nothing may have to be sent, 0 not asked; twin: there may be
       two of it in the record; version: its first there; who, why: of the person who gave it up */
    "CREATE TABLE outbox(resource INTEGER PRIMARY KEY, part INT NOT NULL, wanted INT NOT NULL, sent INT NOT NULL,"
    " tries INT NOT NULL, due_ms INT NOT NULL, state INT NOT NULL, remote TEXT, status INT, answer TEXT,"
    " place INT NOT NULL DEFAULT 3, task INT, key TEXT, look_ms INT NOT NULL DEFAULT 0,"
    " twin INT NOT NULL DEFAULT 0, version TEXT, who TEXT, why TEXT, aside_ms INT);"
    "CREATE INDEX outbox_task ON outbox(task);"
    "CREATE INDEX outbox_remote ON outbox(remote) WHERE remote IS NOT NULL;"
    "CREATE INDEX outbox_aside ON outbox(state, aside_ms) WHERE aside_ms IS NOT NULL;"
    /* what goes with a Task to a record, one of a kind: documents, an order, a flag, where it comes from */
    "CREATE TABLE companion(task INT, kind INT, resource INT NOT NULL, part INT NOT NULL, key TEXT,"
    " PRIMARY KEY(task, kind)) WITHOUT ROWID;"
    "CREATE INDEX companion_resource ON companion(resource);"
    "CREATE INDEX outbox_due ON outbox(due_ms) WHERE state = 0;"
    "CREATE INDEX outbox_place ON outbox(place, due_ms, resource) WHERE state = 0;"

    /* what the last review of an access found contradictory: kept and not used */
    "CREATE TABLE remark(access INT, n INT, part INT NOT NULL, at_s INT NOT NULL, text TEXT NOT NULL,"
    " PRIMARY KEY(access, n)) WITHOUT ROWID;"

    /* a person's switch of the prior of technique, the newest counts; act: 1 the site's own is in use, 0 the default;
       prior: its numbers as adopted; evidence: access/first step of each case it was learnt from */
    "CREATE TABLE technique(id INTEGER PRIMARY KEY, part INT NOT NULL, at_ms INT NOT NULL, act INT NOT NULL,"
    " who TEXT NOT NULL, model TEXT NOT NULL, cases INT NOT NULL, ties INT NOT NULL, stretches INT NOT NULL,"
    " prior TEXT, evidence TEXT NOT NULL);"

    /* kind: enum fhir_type; name: the number of a search parameter, see adapters/fhir_search.h; updated_ms: of the
       resource, for Tasks alone, which are read in this order; from_ms, to_ms: half-open */
    TERM_TABLES TERM_INDICES
    "CREATE TABLE search_span(resource INT, name INT, from_ms INT, to_ms INT,"
    " PRIMARY KEY(resource, name, from_ms, to_ms)) WITHOUT ROWID;"
    "CREATE INDEX search_span_from ON search_span(name, from_ms, to_ms, resource);"
    "CREATE INDEX resource_kind ON resource(kind);"
    "CREATE INDEX resource_updated ON resource(kind, updated_ms);"
    "CREATE INDEX version_ours ON version(updated_ms, resource, ver) WHERE journal = 0;"
    "CREATE INDEX version_came ON version(updated_ms, resource, ver) WHERE journal > 0;"

    /* how far a feed of the record has been read, by the record's clock; ended_ms: ours, of the last whole reading;
       server_ms: the record's, of its last answer */
    "CREATE TABLE feed(name TEXT PRIMARY KEY, cursor_ms INT NOT NULL, ended_ms INT NOT NULL, server_ms INT NOT NULL) WITHOUT ROWID;"
    /* what came from the record: its id and version there, and the resource here, 0 if it was not taken */
    "CREATE TABLE origin(kind INT, remote TEXT, version TEXT NOT NULL, updated_ms INT NOT NULL, resource INT NOT NULL,"
    " PRIMARY KEY(kind, remote)) WITHOUT ROWID;"
    "CREATE INDEX origin_resource ON origin(resource);"
    /* what is to be read there by its id; state 0 to be read, 1 not there: not before due_ms */
    "CREATE TABLE fetch(kind INT, remote TEXT, state INT NOT NULL, tries INT NOT NULL, due_ms INT NOT NULL,"
    " PRIMARY KEY(kind, remote)) WITHOUT ROWID;"
    "CREATE INDEX fetch_due ON fetch(due_ms);"
    /* a Task of ours at the record, as it was last seen or asked for */
    "CREATE TABLE followed(task INTEGER PRIMARY KEY, version TEXT NOT NULL, looked_ms INT NOT NULL);"
    /* what the record was asked to call us for */
    "CREATE TABLE subscription(name TEXT PRIMARY KEY, remote TEXT, criteria TEXT NOT NULL, end_ms INT NOT NULL) WITHOUT ROWID;"
    /* events that the record says it has told us of */
    "CREATE TABLE noticed(subscription TEXT PRIMARY KEY, events INT NOT NULL, at_ms INT NOT NULL) WITHOUT ROWID;"
    /* exports, the newest last; state: enum bulk_state; file: how many files of the manifest are done */
    "CREATE TABLE bulk(id INTEGER PRIMARY KEY, state INT NOT NULL, since TEXT, target TEXT NOT NULL, status_url TEXT,"
    " manifest TEXT, file INT NOT NULL, began_ms INT NOT NULL, ended_ms INT NOT NULL, lines INT NOT NULL, stored INT NOT NULL,"
    " refused INT NOT NULL, why TEXT);"

    /* a message of HL7 v2 as it came (body: zstd), and what it was answered; source: name of the sender's profile;
       digest: of all but its time; journal: of the Bundle that was made of it, 0 none */
    "CREATE TABLE hl7_message(id INTEGER PRIMARY KEY, part INT NOT NULL, received_ms INT NOT NULL, source TEXT NOT NULL,"
    " application TEXT NOT NULL, facility TEXT NOT NULL, control TEXT NOT NULL, digest BLOB NOT NULL, journal INT NOT NULL,"
    " answer INT NOT NULL, bytes INT NOT NULL, body BLOB NOT NULL);"
    "CREATE UNIQUE INDEX hl7_message_once ON hl7_message(application, facility, control, digest);"
    "CREATE INDEX hl7_message_journal ON hl7_message(journal);"

    /* what came and could not be taken in, whole (body: zstd; digest: of its bytes), until a person or a later message deals with it; way: enum
       quarantine_way; reason: a word of outcome.h; state: 0 open, 1 released, 2 discarded, 3 came again and was taken;
       emergency: a sign of emergency may be in it; patient: the number that it names, for people */
    "CREATE TABLE quarantine(id INTEGER PRIMARY KEY, part INT NOT NULL, at_ms INT NOT NULL, way INT NOT NULL, source TEXT NOT NULL,"
    " kind INT NOT NULL, remote TEXT, file INT NOT NULL, line INT NOT NULL, start INT NOT NULL, status INT NOT NULL,"
    " reason TEXT NOT NULL, place TEXT, text TEXT, message INT, bytes INT NOT NULL, digest BLOB, body BLOB, state INT NOT NULL,"
    " who TEXT, why TEXT, done_ms INT, emergency INT NOT NULL DEFAULT 0, patient TEXT,"
    " escalated INT NOT NULL DEFAULT 0);"
    "CREATE INDEX quarantine_emergency ON quarantine(at_ms) WHERE state = 0 AND emergency = 1;"
    "CREATE INDEX quarantine_open ON quarantine(reason, at_ms) WHERE state = 0;"
    "CREATE INDEX quarantine_message ON quarantine(message) WHERE message IS NOT NULL;"
    "CREATE INDEX quarantine_done ON quarantine(done_ms) WHERE state > 0;"
    "CREATE INDEX quarantine_digest ON quarantine(digest) WHERE digest IS NOT NULL;"
    "CREATE INDEX quarantine_remote ON quarantine(kind, remote) WHERE state = 0 AND remote IS NOT NULL;"

    /* a person's word on a reading that was held; act: bits of enum verdict_act; access, side: what it was put to;
       digest: of the content, by which the same is known when it comes again without an identifier */
    "CREATE TABLE verdict(resource INT, slot INT, part INT NOT NULL, patient INT NOT NULL, at_ms INT NOT NULL, ver INT NOT NULL, act INT NOT NULL,"
    " access INT, side INT NOT NULL, reason TEXT NOT NULL, who TEXT NOT NULL, why TEXT NOT NULL, digest BLOB,"
    " code INT NOT NULL DEFAULT 0, PRIMARY KEY(resource, slot)) WITHOUT ROWID;"
    "CREATE INDEX verdict_digest ON verdict(digest);"

    /* what people did with what was held or in quarantine (item: its number); act: enum deed_act; detail: what it was
       mapped to, or put to */
    "CREATE TABLE deed(id INTEGER PRIMARY KEY, part INT NOT NULL, at_ms INT NOT NULL, item INT NOT NULL, act INT NOT NULL,"
    " detail TEXT NOT NULL, settled INT NOT NULL, who TEXT NOT NULL, why TEXT NOT NULL);"
    "CREATE INDEX deed_item ON deed(item);"

    /* a code that no map had when it came, and whose it is */
    "CREATE TABLE unmapped(system TEXT, code TEXT, resource INT, patient INT NOT NULL,"
    " PRIMARY KEY(system, code, resource)) WITHOUT ROWID;"
    "CREATE INDEX unmapped_resource ON unmapped(resource);"
    "CREATE INDEX unmapped_patient ON unmapped(patient);"

    /* a code of a sender that a person has mapped while the service ran; unit: for values without one; from_s: 0 always;
       looked: how far what came before has been looked at again, by its number; -1 all of it */
    "CREATE TABLE mapping(id INTEGER PRIMARY KEY, at_ms INT NOT NULL, system TEXT NOT NULL, code TEXT NOT NULL,"
    " target TEXT NOT NULL, unit TEXT NOT NULL, arm TEXT NOT NULL, from_s INT NOT NULL, who TEXT NOT NULL, why TEXT NOT NULL, looked INT NOT NULL DEFAULT 0);"

    /* how often what was refused, held or not understood, in the week that begins on day `week` (days since 1970-01-01, a
       Monday); class: enum tally_class; sample: where the sender finds one of them, no value of a patient */
    "CREATE TABLE tally(week INT, source TEXT, class INT, reason TEXT, what TEXT, place TEXT, unit TEXT NOT NULL, way INT NOT NULL,"
    " count INT NOT NULL, first_ms INT NOT NULL, last_ms INT NOT NULL, sample TEXT,"
    " PRIMARY KEY(week, source, class, reason, what, place, unit)) WITHOUT ROWID;"

    /* the days (since 1970-01-01, UTC) on which something of a feed came in, see silence.h */
    "CREATE TABLE arrival_day(source TEXT, unit TEXT, day INT, PRIMARY KEY(source, unit, day)) WITHOUT ROWID;"

    /* a file of the drop folder that is being taken, by its place ("NAME/taken/file"): how far, and what came of it; target:
       "done/file", where it is being moved to; "" not yet */
    "CREATE TABLE dropped(name TEXT PRIMARY KEY, number INT NOT NULL, bytes INT NOT NULL, changed_ms INT NOT NULL, start INT NOT NULL,"
    " line INT NOT NULL, stored INT NOT NULL, there INT NOT NULL, held INT NOT NULL, refused INT NOT NULL, began_ms INT NOT NULL,"
    " target TEXT NOT NULL) WITHOUT ROWID;"
    /* what of it was refused: an OperationOutcome, for the error file that is written in the end */
    "CREATE TABLE dropped_line(number INT, start INT, entry INT, text TEXT NOT NULL, PRIMARY KEY(number, start, entry)) WITHOUT ROWID;"

    /* the list of a dialysis unit, see unit_list.h: the List, and what it said last */
    "CREATE TABLE unit_list(unit TEXT PRIMARY KEY, part INT NOT NULL, resource INT NOT NULL, digest TEXT NOT NULL, status TEXT NOT NULL) WITHOUT ROWID;"
    "CREATE INDEX unit_list_resource ON unit_list(resource);"
    "CREATE TABLE queue_change(n INT NOT NULL);"
    "INSERT INTO queue_change VALUES(1);"
    QUEUE_MARKS QUEUE_MARKS_INPUT QUEUE_MARKS_FEED QUEUE_MARKS_DECEASED QUEUE_MARKS_DEATH_DOUBT
    AUDIT_TABLE

    ERASED_TABLES

    /* what a record calls a patient or access; reference NULL: it has none */
    "CREATE TABLE lookup(type TEXT, system TEXT, value TEXT, reference TEXT, checked_ms INT NOT NULL,"
    " PRIMARY KEY(type, system, value)) WITHOUT ROWID;";

/* From each version to the next, in place.  A step is never changed once it
 * has been released; what it makes must be what schema_sql makes. */
static const struct {
    int from;
    const char *sql;
} schema_steps[] = {
    { 1, "ALTER TABLE patient ADD COLUMN born_s INT;"
         "ALTER TABLE episode ADD COLUMN occasion INT NOT NULL DEFAULT 0;"
         "ALTER TABLE episode ADD COLUMN announced_s INT NOT NULL DEFAULT 0;"
         "UPDATE episode SET announced_s = opened_s;"
         "ALTER TABLE repeat ADD COLUMN occasion INT NOT NULL DEFAULT 0;"
         "ALTER TABLE repeat ADD COLUMN overdue INT NOT NULL DEFAULT 0;"
         "ALTER TABLE decision ADD COLUMN urgency INT NOT NULL DEFAULT 0;"
         "ALTER TABLE decision ADD COLUMN how INT NOT NULL DEFAULT 0;"
         "ALTER TABLE decision ADD COLUMN silent INT NOT NULL DEFAULT 0;"
         "ALTER TABLE task ADD COLUMN silent INT NOT NULL DEFAULT 0;"
         "CREATE INDEX task_silent ON task(resource) WHERE silent = 1;"
         "CREATE TABLE remark(access INT, n INT, part INT NOT NULL, at_s INT NOT NULL, text TEXT NOT NULL,"
         " PRIMARY KEY(access, n)) WITHOUT ROWID;"
         "ALTER TABLE held ADD COLUMN sign INT NOT NULL DEFAULT 0;"
         "ALTER TABLE held ADD COLUMN at_s INT NOT NULL DEFAULT 0;"
         "ALTER TABLE held ADD COLUMN emergency INT;"
         "CREATE INDEX held_emergency ON held(since_ms) WHERE emergency = 1;"
         "ALTER TABLE outbox ADD COLUMN place INT NOT NULL DEFAULT 3;"
         "UPDATE outbox SET place = coalesce((SELECT " TASK_PLACE " FROM task t WHERE t.resource = outbox.resource), 3);"
         "CREATE INDEX outbox_place ON outbox(place, due_ms, resource) WHERE state = 0;" },
    /* what a band plan looks at is marked, see mark_reviewed() */
    { 2, "CREATE TABLE technique(id INTEGER PRIMARY KEY, part INT NOT NULL, at_ms INT NOT NULL, act INT NOT NULL,"
         " who TEXT NOT NULL, model TEXT NOT NULL, cases INT NOT NULL, ties INT NOT NULL, stretches INT NOT NULL,"
         " prior TEXT, evidence TEXT NOT NULL);" },
    { 3, "ALTER TABLE outbox ADD COLUMN task INT;"
         "ALTER TABLE outbox ADD COLUMN key TEXT;"
         "ALTER TABLE outbox ADD COLUMN look_ms INT NOT NULL DEFAULT 0;"
         "ALTER TABLE outbox ADD COLUMN twin INT NOT NULL DEFAULT 0;"
         "ALTER TABLE outbox ADD COLUMN version TEXT;"
         "ALTER TABLE outbox ADD COLUMN who TEXT;"
         "ALTER TABLE outbox ADD COLUMN why TEXT;"
         "ALTER TABLE outbox ADD COLUMN aside_ms INT;"
         "UPDATE outbox SET task = resource, key = (SELECT t.key FROM task t WHERE t.resource = outbox.resource);"
         "UPDATE outbox SET aside_ms = due_ms WHERE state = 2;"
         "CREATE INDEX outbox_task ON outbox(task);"
         "CREATE INDEX outbox_remote ON outbox(remote) WHERE remote IS NOT NULL;"
         "CREATE INDEX outbox_aside ON outbox(state, aside_ms) WHERE aside_ms IS NOT NULL;"
         "CREATE TABLE companion(task INT, kind INT, resource INT NOT NULL, part INT NOT NULL, key TEXT,"
         " PRIMARY KEY(task, kind)) WITHOUT ROWID;"
         "CREATE INDEX companion_resource ON companion(resource);"
         "CREATE TABLE search_token(resource INT, name INT, value TEXT, system TEXT, updated_ms INT,"
         " PRIMARY KEY(resource, name, value, system)) WITHOUT ROWID;"
         "CREATE INDEX search_token_value ON search_token(name, value, resource, system);"
         "CREATE INDEX search_token_updated ON search_token(name, value, updated_ms, resource, system)"
         " WHERE updated_ms IS NOT NULL;"
         "CREATE TABLE search_span(resource INT, name INT, from_ms INT, to_ms INT,"
         " PRIMARY KEY(resource, name, from_ms, to_ms)) WITHOUT ROWID;"
         "CREATE INDEX search_span_from ON search_span(name, from_ms, to_ms, resource);"
         "CREATE INDEX resource_kind ON resource(kind);"
    "CREATE INDEX resource_updated ON resource(kind, updated_ms);"
         "CREATE INDEX version_ours ON version(updated_ms, resource, ver) WHERE journal = 0;"
         "CREATE INDEX version_came ON version(updated_ms, resource, ver) WHERE journal > 0;"
         "CREATE TABLE feed(name TEXT PRIMARY KEY, cursor_ms INT NOT NULL, ended_ms INT NOT NULL, server_ms INT NOT NULL) WITHOUT ROWID;"
         "CREATE TABLE origin(kind INT, remote TEXT, version TEXT NOT NULL, updated_ms INT NOT NULL, resource INT NOT NULL,"
         " PRIMARY KEY(kind, remote)) WITHOUT ROWID;"
         "CREATE INDEX origin_resource ON origin(resource);"
         "CREATE TABLE fetch(kind INT, remote TEXT, state INT NOT NULL, tries INT NOT NULL, due_ms INT NOT NULL,"
         " PRIMARY KEY(kind, remote)) WITHOUT ROWID;"
         "CREATE INDEX fetch_due ON fetch(due_ms);"
         "CREATE TABLE not_taken(id INTEGER PRIMARY KEY, at_ms INT NOT NULL, source INT NOT NULL, kind INT NOT NULL,"
         " remote TEXT, file INT NOT NULL, line INT NOT NULL, start INT NOT NULL, status INT NOT NULL, place TEXT, text TEXT);"
         "CREATE TABLE followed(task INTEGER PRIMARY KEY, version TEXT NOT NULL, looked_ms INT NOT NULL);"
         "CREATE TABLE subscription(name TEXT PRIMARY KEY, remote TEXT, criteria TEXT NOT NULL, end_ms INT NOT NULL) WITHOUT ROWID;"
         "CREATE TABLE noticed(subscription TEXT PRIMARY KEY, events INT NOT NULL, at_ms INT NOT NULL) WITHOUT ROWID;"
         "CREATE TABLE bulk(id INTEGER PRIMARY KEY, state INT NOT NULL, since TEXT, target TEXT NOT NULL, status_url TEXT,"
         " manifest TEXT, file INT NOT NULL, began_ms INT NOT NULL, ended_ms INT NOT NULL, lines INT NOT NULL, stored INT NOT NULL,"
         " refused INT NOT NULL, why TEXT);" },
    { 4, "CREATE TABLE hl7_message(id INTEGER PRIMARY KEY, part INT NOT NULL, received_ms INT NOT NULL, source TEXT NOT NULL,"
      " application TEXT NOT NULL, facility TEXT NOT NULL, control TEXT NOT NULL, digest BLOB NOT NULL, journal INT NOT NULL,"
      " answer INT NOT NULL, bytes INT NOT NULL, body BLOB NOT NULL);"
      "CREATE UNIQUE INDEX hl7_message_once ON hl7_message(application, facility, control, digest);"
      "CREATE INDEX hl7_message_journal ON hl7_message(journal);"
      "CREATE TABLE quarantine(id INTEGER PRIMARY KEY, part INT NOT NULL, at_ms INT NOT NULL, way INT NOT NULL, source TEXT NOT NULL,"
      " kind INT NOT NULL, remote TEXT, file INT NOT NULL, line INT NOT NULL, start INT NOT NULL, status INT NOT NULL,"
      " reason TEXT NOT NULL, place TEXT, text TEXT, message INT, bytes INT NOT NULL, digest BLOB, body BLOB, state INT NOT NULL,"
      " who TEXT, why TEXT, done_ms INT);"
      "CREATE INDEX quarantine_open ON quarantine(reason, at_ms) WHERE state = 0;"
      "CREATE INDEX quarantine_message ON quarantine(message) WHERE message IS NOT NULL;"
      "CREATE INDEX quarantine_done ON quarantine(done_ms) WHERE state > 0;"
      "CREATE INDEX quarantine_digest ON quarantine(digest) WHERE digest IS NOT NULL;"
      "CREATE INDEX quarantine_remote ON quarantine(kind, remote) WHERE state = 0 AND remote IS NOT NULL;"
      "CREATE TABLE verdict(resource INT, slot INT, part INT NOT NULL, patient INT NOT NULL, at_ms INT NOT NULL, ver INT NOT NULL, act INT NOT NULL,"
      " access INT, side INT NOT NULL, reason TEXT NOT NULL, who TEXT NOT NULL, why TEXT NOT NULL, digest BLOB,"
      " PRIMARY KEY(resource, slot)) WITHOUT ROWID;"
      "CREATE INDEX verdict_digest ON verdict(digest);"
      "CREATE TABLE deed(id INTEGER PRIMARY KEY, part INT NOT NULL, at_ms INT NOT NULL, item INT NOT NULL, act INT NOT NULL,"
      " detail TEXT NOT NULL, settled INT NOT NULL, who TEXT NOT NULL, why TEXT NOT NULL);"
      "CREATE INDEX deed_item ON deed(item);"
      "CREATE TABLE unmapped(system TEXT, code TEXT, resource INT, patient INT NOT NULL,"
      " PRIMARY KEY(system, code, resource)) WITHOUT ROWID;"
      "CREATE INDEX unmapped_resource ON unmapped(resource);"
      "CREATE INDEX unmapped_patient ON unmapped(patient);"
      "CREATE TABLE mapping(id INTEGER PRIMARY KEY, at_ms INT NOT NULL, system TEXT NOT NULL, code TEXT NOT NULL,"
      " target TEXT NOT NULL, unit TEXT NOT NULL, arm TEXT NOT NULL, from_s INT NOT NULL, who TEXT NOT NULL, why TEXT NOT NULL, looked INT NOT NULL DEFAULT 0);"
      "CREATE TABLE tally(week INT, source TEXT, class INT, reason TEXT, what TEXT, place TEXT, unit TEXT NOT NULL, way INT NOT NULL,"
      " count INT NOT NULL, first_ms INT NOT NULL, last_ms INT NOT NULL, sample TEXT,"
      " PRIMARY KEY(week, source, class, reason, what, place, unit)) WITHOUT ROWID;"
      "CREATE TABLE dropped(name TEXT PRIMARY KEY, number INT NOT NULL, bytes INT NOT NULL, changed_ms INT NOT NULL, start INT NOT NULL,"
      " line INT NOT NULL, stored INT NOT NULL, there INT NOT NULL, held INT NOT NULL, refused INT NOT NULL, began_ms INT NOT NULL,"
      " target TEXT NOT NULL) WITHOUT ROWID;"
      "CREATE TABLE dropped_line(number INT, start INT, entry INT, text TEXT NOT NULL, PRIMARY KEY(number, start, entry)) WITHOUT ROWID;"
      /* what of a feed was not taken stands in quarantine now */
      "INSERT INTO quarantine(id, part, at_ms, way, source, kind, remote, file, line, start, status, reason, place, text, bytes, state)"
      " SELECT f.n + t.id, (f.n + t.id) % 1024, t.at_ms, t.source, 'record', t.kind, t.remote, t.file, t.line, t.start, t.status,"
      " CASE WHEN t.status = 409 THEN 'identity' ELSE 'bad-request' END, t.place, t.text, 0, 0 FROM not_taken t,"
      " (SELECT CAST(coalesce((SELECT v FROM meta WHERE k = 'next_id'), '1') AS INT) AS n) f;"
      "INSERT OR REPLACE INTO meta(k, v) SELECT 'next_id', f.n + (SELECT max(id) FROM not_taken) + 1 FROM"
      " (SELECT CAST(coalesce((SELECT v FROM meta WHERE k = 'next_id'), '1') AS INT) AS n) f WHERE EXISTS (SELECT 1 FROM not_taken);"
      "DROP TABLE not_taken;" },
    { 5, "ALTER TABLE verdict ADD COLUMN code INT NOT NULL DEFAULT 0;" },
    { 6, "ALTER TABLE episode ADD COLUMN taken_s INT;"
         "ALTER TABLE episode ADD COLUMN put_off_s INT;"
         "ALTER TABLE episode ADD COLUMN put_off_by TEXT;"
         "ALTER TABLE episode ADD COLUMN owner TEXT;"
         "ALTER TABLE episode ADD COLUMN escalated INT NOT NULL DEFAULT 0;"
         "CREATE INDEX episode_put_off ON episode(put_off_s) WHERE put_off_s IS NOT NULL;"
         "CREATE TABLE unit_list(unit TEXT PRIMARY KEY, part INT NOT NULL, resource INT NOT NULL, digest TEXT NOT NULL, status TEXT NOT NULL) WITHOUT ROWID;"
         "CREATE INDEX unit_list_resource ON unit_list(resource);"
         "CREATE TABLE queue_change(n INT NOT NULL);"
         "INSERT INTO queue_change VALUES(1);"
         QUEUE_MARKS },
    { 7, "ALTER TABLE held ADD COLUMN ver INT NOT NULL DEFAULT 0;"
         "ALTER TABLE held ADD COLUMN live INT NOT NULL DEFAULT 0;"
         "ALTER TABLE quarantine ADD COLUMN emergency INT NOT NULL DEFAULT 0;"
         "ALTER TABLE quarantine ADD COLUMN patient TEXT;"
         "CREATE INDEX quarantine_emergency ON quarantine(at_ms) WHERE state = 0 AND emergency = 1;"
         QUEUE_MARKS_INPUT },
    { 8, "ALTER TABLE patient ADD COLUMN deceased TEXT;"
      "ALTER TABLE patient ADD COLUMN deceased_by INT NOT NULL DEFAULT 0;"
      "ALTER TABLE patient ADD COLUMN deceased_doubt INT NOT NULL DEFAULT 0;"
      QUEUE_MARKS_DECEASED
      /* the habit of a feed that was there before is learned from what was counted of it */
      "CREATE TABLE arrival_day(source TEXT, unit TEXT, day INT, PRIMARY KEY(source, unit, day)) WITHOUT ROWID;"
      "INSERT OR IGNORE INTO arrival_day(source, unit, day)"
      " SELECT source, unit, first_ms / 86400000 FROM tally WHERE class <> 2"
      " UNION SELECT source, unit, last_ms / 86400000 FROM tally WHERE class <> 2;"
      QUEUE_MARKS_FEED AUDIT_TABLE },
    { 8, "ALTER TABLE episode ADD COLUMN handed_s INT;"
         "ALTER TABLE held ADD COLUMN escalated INT NOT NULL DEFAULT 0;"
         "ALTER TABLE quarantine ADD COLUMN escalated INT NOT NULL DEFAULT 0;" },
    { 8, ERASED_TABLES },
    { 9, "ALTER TABLE patient ADD COLUMN deceased_by_s INT;"
         "ALTER TABLE patient ADD COLUMN replaced_by TEXT;" QUEUE_MARKS_DEATH_DOUBT },
    { 10, "CREATE INDEX reading_standing ON reading(owner, start_s, quantity, resource, slot) WHERE quantity IN (9, 10, 11, 12, 24);" },
    { 11, "DROP TRIGGER IF EXISTS audit_last;" AUDIT_LAST },
    { 12, TERM_TABLES
          "INSERT INTO term(value, system) SELECT value, system FROM search_token"
          " UNION SELECT value, system FROM identifier;"
          "INSERT INTO search_term SELECT s.resource, s.name, t.id, s.updated_ms FROM search_token s"
          " JOIN term t ON t.value = s.value AND t.system = s.system;"
          "INSERT INTO identifier_term SELECT t.id, i.kind, i.resource FROM identifier i"
          " JOIN term t ON t.value = i.value AND t.system = i.system;"
          "DROP TABLE search_token; DROP TABLE identifier;"
          TERM_INDICES
          "DROP INDEX reading_standing;"
          "CREATE INDEX reading_standing ON reading(owner, start_s, quantity, resource, slot)"
          " WHERE (quantity BETWEEN 9 AND 12 OR quantity = 24);" },
};
/* clang-format on */

#endif
