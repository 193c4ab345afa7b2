/*
 * What headgate owes besides a row, as far as a compact script can carry it: every
 * version of a resource with its own identity; what is sent again is known by its
 * identifier or, without one, by its digest; an index to search by (identifier,
 * code, category, patient, date, status); for each request a row of an audit
 * trail, chained by SHA-256.
 *
 * Still not: units, plausibility, which access is meant, corrections that arrive
 * out of order, rules, what is held for people.
 */

import { createHash } from 'node:crypto';

const sha256 = (text) => createHash('sha256').update(text).digest();

const TABLES = `
    CREATE TABLE IF NOT EXISTS version(seq INTEGER PRIMARY KEY, type TEXT,
        id TEXT, version INT, at INT, body TEXT, UNIQUE(type, id, version));
    CREATE TABLE IF NOT EXISTS sent(key BLOB PRIMARY KEY, digest BLOB, type TEXT,
        id TEXT) WITHOUT ROWID;
    CREATE TABLE IF NOT EXISTS search(param INT, value TEXT, seq INT,
        PRIMARY KEY(param, value, seq)) WITHOUT ROWID;
    CREATE TABLE IF NOT EXISTS audit(seq INTEGER PRIMARY KEY, at INT, client TEXT,
        action TEXT, what TEXT, prev BLOB, hash BLOB);`;

/* Number of the parameter, and its values in a resource. */
const token = (c) => `${c.system ?? ''}|${c.code ?? c.value ?? ''}`;
const PARAMS = [
    (r) => (r.identifier ?? []).map(token),
    (r) => (r.code?.coding ?? []).map(token),
    (r) => (r.category ?? []).flatMap((c) => c.coding ?? []).map(token),
    (r) => [r.subject?.reference ?? r.patient?.reference],
    (r) => [r.effectiveDateTime],
    (r) => [r.status],
];

export class Duties {
    constructor(db) {
        db.exec(TABLES);
        this.newest = db.prepare('SELECT version FROM version WHERE type = ? '
            + 'AND id = ? ORDER BY version DESC LIMIT 1');
        this.keep = db.prepare('INSERT INTO version(type, id, version, at, body) '
            + 'VALUES(?, ?, ?, ?, ?)');
        this.known = db.prepare('SELECT digest, type, id FROM sent WHERE key = ?');
        this.note = db.prepare('INSERT OR REPLACE INTO sent VALUES(?, ?, ?, ?)');
        this.index = db.prepare('INSERT OR IGNORE INTO search VALUES(?, ?, ?)');
        this.log = db.prepare('INSERT INTO audit(at, client, action, what, prev, '
            + 'hash) VALUES(?, ?, ?, ?, ?, ?)');
        this.last = db.prepare('SELECT hash FROM audit ORDER BY seq DESC LIMIT 1')
            .get()?.hash ?? Buffer.alloc(32);
        this.count = Number(db.prepare('SELECT count(*) AS n FROM version')
            .get().n);
    }

    /* fresh: it was not there; another version of what was is not fresh. */
    take(resource) {
        const digest = sha256(JSON.stringify(resource));
        const key = resource.identifier?.[0] === undefined ? digest
            : sha256(`${resource.resourceType} ${token(resource.identifier[0])}`);
        const before = this.known.get(key);
        const type = resource.resourceType;
        if (before !== undefined && digest.equals(before.digest))
            return { fresh: false, location: `${type}/${before.id}` };
        const id = before?.id ?? resource.id ?? `r${++this.count}`;
        const seq = this.version(type, id, resource);
        this.note.run(key, digest, type, id);
        return { fresh: before === undefined, location: `${type}/${id}`, seq };
    }

    version(type, id, resource) {
        const version = (this.newest.get(type, id)?.version ?? 0) + 1;
        const now = Date.now();
        const seq = Number(this.keep.run(type, id, version, now, JSON.stringify({
            ...resource, id, meta: { versionId: String(version),
                lastUpdated: new Date(now).toISOString() } })).lastInsertRowid);
        PARAMS.forEach((values, param) => values(resource).forEach((value) =>
            value && this.index.run(param, value, seq)));
        return seq;
    }

    audit(action, type, locations, client) {
        const now = Date.now(), what = `${type} ${locations.join(' ')}`;
        const hash = createHash('sha256').update(this.last)
            .update(`${now}|${client}|${action}|${what}`).digest();
        this.log.run(now, client, action, what, this.last, hash);
        this.last = hash;
    }
}
