/*
 * A listener for HL7 v2 by the general library @medplum/hl7 and better-sqlite3: one
 * transaction for all messages of one tick of the loop, full synchronisation,
 * then AA.  What it keeps: as peer_hl7.py.
 *
 *   node tests/bench/peer_hl7.mjs DATABASE      prints its port
 */

import { Server } from 'node:net';
import { createRequire } from 'node:module';
import { open } from './peer_sqlite.mjs';

/* The library names no address, which would be every one of this machine. */
const { listen } = Server.prototype;
Server.prototype.listen = function (port, ...rest) {
    return listen.call(this, port, '127.0.0.1', ...rest);
};

globalThis.WebSocket ??= class {}; /* of no use here; the library wants it */
const { Hl7Server } = (await import(createRequire(
    new URL('../peers/', import.meta.url)).resolve('@medplum/hl7'))).default;

const db = open(process.argv[2]);
db.exec(`PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;
    PRAGMA locking_mode = EXCLUSIVE;
    CREATE TABLE message(id TEXT PRIMARY KEY, body BLOB) WITHOUT ROWID;
    CREATE TABLE reading(patient TEXT, at TEXT, code TEXT, value REAL,
        message TEXT, PRIMARY KEY(patient, at, code, message)) WITHOUT ROWID;`);
const keep = db.prepare('INSERT OR IGNORE INTO message VALUES(?, ?)');
const add = db.prepare('INSERT INTO reading VALUES(?, ?, ?, ?, ?)');

let waiting = [];

function store(message) {
    const control = message.header.getComponent(10, 1);
    if (keep.run(control, message.toString()).changes === 0) return;
    const patient = message.getSegment('PID').getComponent(3, 1);
    for (const obx of message.getAllSegments('OBX'))
        add.run(patient, obx.getComponent(14, 1), obx.getComponent(3, 1),
            Number(obx.getComponent(5, 1)), control);
}

function commit() {
    const batch = waiting;
    waiting = [];
    db.exec('BEGIN IMMEDIATE');
    batch.forEach(({ message }) => store(message));
    db.exec('COMMIT');
    for (const { message, connection } of batch)
        connection.send(message.buildAck());
}

const server = new Hl7Server((connection) => {
    connection.addEventListener('message', ({ message }) => {
        if (waiting.push({ message, connection }) === 1) setImmediate(commit);
    });
});
await server.start(0, 'utf-8');
console.log(`ready ${server.server.address().port}`);
