/*
 * What the test of the MLLP listener stands on: a service that listens, its
 * certificates (made by openssl), messages of an invented unit, and a socket
 * that counts its answers.
 */

import { execFileSync, spawn } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { connect } from 'node:net';
import { connect as connectTls } from 'node:tls';
import { DatabaseSync } from 'node:sqlite';
import { join } from 'node:path';
import { expect, Service, stopChild } from './delivery_kit.mjs';

export const BASE = 'https://headgate.example/fhir';
export const PATIENTS = 'https://site.example/ids/patient';
export const VT = 0x0b;
export const FS = 0x1c;
export const CR = 0x0d;
export const ANSWER_MS = 20000;

/* Stands in every name, number and note, and must stand in no line of the
 * log. */
export const MARK = 'ZqvMark';

/* ---- messages ------------------------------------------------------------- */

let numbers = 0;
export const nextId = () => `${MARK}${++numbers}`;

/* One moment for a whole run: the same result twice, a second apart, is to be
 * of one time. */
const START_MS = Date.now();
const stamp = (agoMs) => new Date(START_MS - agoMs).toISOString()
    .replace(/[-:T]/g, '').slice(0, 14);

/*
 * One result of the access flow.  who: the patient's number; minutes: how long
 * ago it was measured; issued: how long ago reported.
 */
export function flow({ id = nextId(), who = `${MARK}p`, value = '1450',
    status = 'F', minutes = 600, issued = 500, version = '2.5.1',
    application = 'HALL', accept = '', answer = '', charset = '',
    name = `${MARK}^Anna`, unit = 'mL/min^^UCUM', filler = 'F1',
    processing = 'P', type = 'ORU^R01^ORU_R01', more = '' } = {}) {
    const at = (m) => `${stamp(m * 60000)}+0000`;
    return [`MSH|^~\\&|${application}|UNIT|HEADGATE|SITE|${stamp(0)}+0000||${
        type}|${id}|${processing}|${version}|||${accept}|${answer}||${charset}`,
    `PID|1||${who === '' ? '' : `${who}^^^UNIT^MR`}||${name}`,
    `OBR|1||${filler}|S^Session^L|||${at(minutes)}${'|'.repeat(15)}${
        at(issued)}|||F`,
    `OBX|1|NM|access-flow^Access flow^L||${value}|${unit}|||||${status}`,
    `NTE|1||${MARK} note${more}`].map((line) => `${line}\r`).join('');
}

export const idOf = (message) => message.split('|')[9];

export const frame = (message, encoding = 'utf8') => Buffer.concat([
    Buffer.from([VT]), Buffer.from(message, encoding), Buffer.from([FS, CR])]);

/* The fields of an answer, taken apart by the standard's delimiters. */
export function answerOf(text) {
    const lines = text.split('\r').filter(Boolean).map((l) => l.split('|'));
    const of = (name) => lines.filter((l) => l[0] === name);
    const msa = of('MSA')[0] ?? [];
    return { text, code: msa[1], id: msa[2], own: of('MSH')[0]?.[9],
        head: of('MSH')[0], errors: of('ERR').map((e) => ({
            place: e[2], code: e[3]?.split('^')[0], severity: e[4],
            text: e[8] })) };
}

/* ---- a socket ------------------------------------------------------------- */

export class Line {
    constructor(socket) {
        this.socket = socket;
        this.rest = Buffer.alloc(0);
        this.answers = [];
        this.ended = false;
        this.waiting = [];
        socket.on('data', (bytes) => this.take(bytes));
        socket.on('error', () => {});
        socket.on('close', () => {
            this.ended = true;
            this.tell();
        });
    }

    static open(port) {
        return new Promise((done, fail) => {
            const socket = connect(port, '127.0.0.1', () =>
                done(new Line(socket)));
            socket.once('error', fail);
        });
    }

    static openTls(port, options) {
        return new Promise((done, fail) => {
            const socket = connectTls({ port, host: '127.0.0.1',
                servername: 'localhost', ...options },
            () => done(new Line(socket)));
            socket.once('error', fail);
        });
    }

    take(bytes) {
        this.rest = Buffer.concat([this.rest, bytes]);
        for (;;) {
            const end = this.rest.indexOf(Buffer.from([FS, CR]));
            if (end < 0)
                break;
            expect(this.rest[0] === VT, 'an answer begins without 0x0B');
            this.answers.push(answerOf(this.rest.subarray(1, end)
                .toString('latin1')));
            this.rest = this.rest.subarray(end + 2);
        }
        this.tell();
    }

    tell() {
        this.waiting.splice(0).forEach((done) => done());
    }

    /* So many answers; or as many as there are when it ends. */
    async until(count) {
        const end = Date.now() + ANSWER_MS;
        while (this.answers.length < count && !this.ended) {
            expect(Date.now() < end, `${this.answers.length} of ${count
            } answers`);
            await Promise.race([new Promise((d) => this.waiting.push(d)),
                new Promise((d) => { setTimeout(d, 200).unref(); })]);
        }
        return this.answers;
    }

    async closed() {
        const end = Date.now() + ANSWER_MS;
        while (!this.ended) {
            expect(Date.now() < end, 'the connection is not closed');
            await new Promise((d) => { setTimeout(d, 5); });
        }
        return this.answers;
    }

    send(message, encoding) {
        this.socket.write(frame(message, encoding));
    }

    /* One message, its one answer. */
    async ask(message, encoding) {
        const before = this.answers.length;
        this.send(message, encoding);
        const answers = await this.until(before + 1);
        expect(answers.length === before + 1, `${answers.length - before
        } answers to one message`);
        return answers[before];
    }

    close() {
        this.socket.destroy();
    }
}

/* ---- the service ---------------------------------------------------------- */

const SENDER = { application: 'HALL', patient_system: PATIENTS,
    'system.L': `${BASE}/CodeSystem/av-observation` };

export const senderOf = (name, more = {}) => Object.fromEntries(
    Object.entries({ ...SENDER, ...more }).map(([key, value]) =>
        [`sender ${name}.${key}`, value]));

let stores = 0;

export class Listener extends Service {
    constructor(binary, tmp, settings = {}) {
        const store = `${tmp}/mllp-${++stores}.db`;
        super(binary, tmp, '', { 'store.path': store,
            'mllp.enabled': true, 'mllp.any_sender': false, ...senderOf('hall'), ...settings });
        this.store = store;
        this.ready = /headgate listens (mllps?:\S+\nheadgate ready \S+)\n/;
    }

    async start() {
        await super.start();
        const [mllp, url] = this.url.split('\nheadgate ready ');
        this.url = url;
        this.port = Number(mllp.split(':').pop());
        this.mllp = mllp;
        return this;
    }

    /* With what the shell does first, for limits of the system. */
    limited(shell) {
        this.args = ['-c', `${shell}; exec "$0" "$@"`, this.binary,
            ...this.args];
        this.binary = '/bin/sh';
        return this;
    }

    async stop() {
        const how = await stopChild(this.child);
        expect(how === 0, `the service ended with ${how}`);
    }

    /* What stands in the store, once the service has ended. */
    look(sql, ...values) {
        const db = new DatabaseSync(this.store, { readOnly: true });
        try {
            return db.prepare(sql).all(...values);
        } finally {
            db.close();
        }
    }

    count(sql, ...values) {
        return Object.values(this.look(sql, ...values)[0])[0];
    }

    /* Nothing that came may stand there. */
    discreet() {
        const log = readFileSync(this.log, 'utf8');
        expect(!log.includes(MARK), `the log says ${
            log.split('\n').find((l) => l.includes(MARK))}`);
    }
}

/* ---- certificates --------------------------------------------------------- */

/* An authority, what it signs, and one that signs itself. */
export function certificates(folder) {
    const at = (name) => join(folder, name);
    const openssl = (...args) => execFileSync('openssl', args,
        { stdio: ['ignore', 'ignore', 'pipe'] });
    const key = ['-newkey', 'ec', '-pkeyopt', 'ec_paramgen_curve:P-256',
        '-nodes'];
    const authority = (name) => openssl('req', '-x509', ...key, '-days', '2',
        '-subj', `/CN=${name} authority`, '-keyout', at(`${name}.key`), '-out',
        at(`${name}.pem`), '-addext', 'basicConstraints=critical,CA:TRUE');
    const signed = (name, subject, names, by) => {
        writeFileSync(at(`${name}.ext`), `subjectAltName=${names}\n`);
        openssl('req', '-new', ...key, '-subj', `/CN=${subject}`, '-keyout',
            at(`${name}.key`), '-out', at(`${name}.csr`));
        openssl('x509', '-req', '-in', at(`${name}.csr`), '-CA',
            at(`${by}.pem`), '-CAkey', at(`${by}.key`), '-CAcreateserial',
            '-days', '2', '-extfile', at(`${name}.ext`), '-out',
            at(`${name}.pem`));
    };
    authority('ca');
    authority('other');
    signed('server', 'localhost', 'DNS:localhost,IP:127.0.0.1', 'ca');
    signed('client', 'hall.example', 'DNS:hall-1.example', 'ca');
    signed('stranger', 'hall.example', 'DNS:hall-1.example', 'other');
    const pair = (name) => ({ cert: readFileSync(at(`${name}.pem`)),
        key: readFileSync(at(`${name}.key`)) });
    return { at, ca: readFileSync(at('ca.pem')), pair };
}

/* ---- Debian's python3-hl7 ------------------------------------------------- */

const CLIENT = new URL('mllp_client.py', import.meta.url).pathname;

/* Messages (latin1 text of their bytes) in, what the library made of each
 * answer out. */
export function pythonAsks(port, messages) {
    return new Promise((done, fail) => {
        const child = spawn('/usr/bin/python3', ['-I', '-B', CLIENT, String(port)],
            { stdio: ['pipe', 'pipe', 'inherit'], timeout: ANSWER_MS });
        let out = '';
        child.stdout.on('data', (chunk) => { out += chunk; });
        child.on('close', (status) => (status === 0
            ? done(out.trim().split('\n').map((l) => JSON.parse(l)))
            : fail(new Error(`mllp_client.py ended with ${status}`))));
        child.stdin.end(JSON.stringify(messages));
    });
}
