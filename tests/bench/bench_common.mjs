/*
 * What the benchmarks share: their options, what is measured (headgate as it is
 * installed, and its peers), invented people and readings, and one row of the
 * table.
 *
 * A row is printed as soon as it is known; with --rows FILE it is also added to
 * that file as JSON, out of which all.mjs makes one table.
 */

import { spawn } from 'node:child_process';
import { createHash } from 'node:crypto';
import { appendFileSync, mkdirSync, mkdtempSync, openSync, readFileSync, rmSync,
    writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { TOKEN, nowMs, quantile } from './load_client.mjs';
import { makeSqlite } from './peer_sqlite.mjs';

export const ROOT = fileURLToPath(new URL('../..', import.meta.url));
export const BASE = 'https://headgate.example/fhir';
export const DAY_MS = 86400 * 1000;
/* one moment for a whole run */
const START_MS = Date.now();
export const NOW = START_MS - START_MS % 3600000;

/* ---- options ----------------------------------------------------------------- */

let rowsFile = '';

/* Of the kind of what stands there by default; a list has commas between. */
function valueLike(was, text) {
    if (Array.isArray(was))
        return text.split(',').map((v) => valueLike(was[0], v));
    if (typeof was === 'number' && !(Number(text) > 0))
        throw new Error(`${text} is no number above 0`);
    return typeof was === 'number' ? Number(text) : text;
}

/* PATH [--name VALUE]...; what is false by default takes no value.  rows: see
 * above. */
export function options(defaults) {
    const known = { rows: '', ...defaults };
    try {
        const { values, positionals } = parseArgs({ allowPositionals: true,
            options: Object.fromEntries(Object.entries(known).map(([name, v]) =>
                [name, { type: v === false ? 'boolean' : 'string' }])) });
        if (positionals.length !== 1) throw new Error('one path is needed');
        for (const [name, text] of Object.entries(values))
            known[name] = known[name] === false || valueLike(known[name], text);
        rowsFile = known.rows;
        return { ...known, path: resolve(positionals[0]) };
    } catch (e) {
        console.error(`${e.message}\nusage: ${process.argv[1]} PATH${
            Object.entries(known).map(([name, v]) =>
                ` [--${name}${v === false ? '' : ` ${v}`}]`).join('')}`);
        process.exit(2);
    }
}

/* ---- what is measured -------------------------------------------------------- */

const children = new Set();

/* A process that ends with this one. */
export function begin(command, args, stdio) {
    const child = spawn(command, args, { cwd: ROOT, stdio });
    children.add(child);
    child.on('exit', () => children.delete(child));
    return child;
}

export class Side {
    constructor(name, command, args, ready) {
        Object.assign(this, { name, command, args, ready, made: 0 });
    }

    /* What the ready line says; this.url is its last part. */
    async start() {
        const began = nowMs();
        this.child = begin(this.command, this.args,
            ['ignore', 'pipe', this.log ?? 'inherit']);
        this.ended = new Promise((done) => this.child.on('exit', done));
        let said = '';
        this.said = await new Promise((done, fail) => {
            this.child.stdout.on('data', (chunk) => {
                said += chunk;
                const found = this.ready.exec(said);
                if (found !== null) done(found);
            });
            this.child.on('error', fail);
            this.ended.then((code) => fail(new Error(
                `${this.name} ended with ${code}\n${this.lastLines()}`)));
        });
        this.url = this.said.at(-1);
        return nowMs() - began;
    }

    lastLines() {
        return this.logPath === undefined ? ''
            : readFileSync(this.logPath, 'utf8').split('\n').slice(-8).join('\n');
    }

    async stop() {
        this.child.kill('SIGTERM');
        await this.ended;
    }

    memoryMb() {
        const status = readFileSync(`/proc/${this.child.pid}/status`, 'utf8');
        return Number(/VmRSS:\s+(\d+)/.exec(status)[1]) / 1024;
    }

    /* User and system time; ticks of 10 ms (proc(5), USER_HZ). */
    cpuMs() {
        const [user, system] = readFileSync(`/proc/${this.child.pid}/stat`,
            'utf8').split(') ')[1].split(' ').slice(11, 13).map(Number);
        return (user + system) * 10;
    }

    /* One number of /metrics, of headgate. */
    async metric(name) {
        const answer = await fetch(this.url.replace(/fhir$/, 'metrics'),
            { headers: { Authorization: `Bearer ${TOKEN}` } });
        const line = new RegExp(`^${name} (\\S+)$`, 'm')
            .exec(await answer.text());
        if (line === null) throw new Error(`no metric ${name}`);
        return Number(line[1]);
    }
}

/*
 * As it is installed: tokens, the policy as shipped, the audit trail, no limit
 * of rates (that is the default).  Only what a single client would run into is
 * raised: connections.
 */
function headgateFolder(folder, more = '',
    policy = join(ROOT, 'config/policy.ini')) {
    mkdirSync(folder);
    const sum = createHash('sha256').update(TOKEN).digest('hex');
    writeFileSync(join(folder, 'tokens'), `bench ${sum}\n`, { mode: 0o600 });
    writeFileSync(join(folder, 'headgate.ini'), '[http]\nport = 0\n'
        + 'tokens = tokens\nconnections_max = 1000\n'
        + 'connections_per_client = 0\n[store]\npath = hg.db\n'
        + `[policy]\npath = ${policy}\n${more}`);
    return ['--config', join(folder, 'headgate.ini')];
}

export function headgate(binary, folder, { more, policy, ready } = {}) {
    const side = new Side('headgate', binary,
        ['serve', ...headgateFolder(folder, more, policy)],
        ready ?? /headgate ready (\S+)\n/);
    side.database = join(folder, 'hg.db');
    side.logPath = join(folder, 'log');
    side.log = openSync(side.logPath, 'w');
    return side;
}

/* A script of this folder, by Node or by Python. */
export function peer(name, folder, script, ...args) {
    mkdirSync(folder);
    const path = join(ROOT, 'tests/bench', script);
    const database = join(folder, 'peer.db');
    if (script.endsWith('.mjs')) makeSqlite();
    const [command, flag] = script.endsWith('.py') ? ['/usr/bin/python3', '-B']
        : [process.execPath, '--no-warnings'];
    return Object.assign(new Side(name, command, [flag, path, database, ...args],
        /ready (\S+)\n/), { database });
}

/* One that keeps everything in memory: nothing of it is left when it ends. */
export const memoryPeer = (...args) =>
    Object.assign(peer(...args), { database: null });

/* Of one that has ended: so many readings stand in its store, and nothing waits for
 * a person. */
export function expectKept(side, count) {
    const db = new DatabaseSync(side.database);
    const number = (of) => db.prepare(`SELECT count(*) AS n FROM ${of}`).get().n;
    const kept = number('reading');
    expect(kept === count, `${side.name} kept ${kept} readings of ${count}`);
    if (side.name === 'headgate')
        for (const of of ['held', 'quarantine', 'unmapped'])
            expect(number(of) === 0, `${number(of)} rows of ${of}`);
    db.close();
}

/* Ends it; so many readings have been kept. */
export async function endKept(side, count) {
    if (side.database === null) {
        const answer = await fetch(`${side.url}/count`);
        const kept = await answer.json();
        expect(kept === count, `${side.name} kept ${kept} readings of ${count}`);
    }
    await side.stop();
    if (side.database !== null) expectKept(side, count);
}

/* Until it has done what it does after an answer; ten minutes at most. */
export async function quiet(side) {
    const end = Date.now() + 600000;
    for (let idle = 0; idle < 3;) {
        expect(Date.now() < end, `${side.name} does not come to rest`);
        const before = side.cpuMs();
        await sleep(100);
        idle = side.cpuMs() - before <= 10 ? idle + 1 : 0;
    }
}

/* Runs a benchmark in a folder of its own; nothing is left behind, also when it
 * is stopped. */
export async function bench(main) {
    const tmp = mkdtempSync(join(tmpdir(), 'headgate-bench-'));
    const clear = () => {
        children.forEach((child) => child.kill('SIGKILL'));
        rmSync(tmp, { recursive: true, force: true, maxRetries: 3 });
    };
    for (const signal of ['SIGINT', 'SIGTERM'])
        process.once(signal, () => {
            clear();
            process.exit(1);
        });
    try {
        await main(tmp);
    } catch (e) {
        console.error(e.stack);
        process.exitCode = 1;
    } finally {
        clear();
    }
    process.exit();
}

export function expect(condition, what) {
    if (!condition) throw new Error(what);
}

/* ---- the table ----------------------------------------------------------------- */

export const short = (n) => (n >= 100 ? n.toFixed(0) : n.toPrecision(3));

/*
 * What was measured in turn, in the same unit; more: more is better.  The ratio
 * is the median over the rounds and says how many times better headgate is.
 */
export function row(name, unit, more, ours, theirs, peerName) {
    const ratio = quantile(ours.map((v, i) => (more ? v / theirs[i]
        : theirs[i] / v)), 0.5);
    const said = { name, unit, ours: quantile(ours, 0.5), peer: peerName,
        theirs: quantile(theirs, 0.5), ratio };
    console.log(`${name.padEnd(52)} ${short(said.ours).padStart(8)} ${
        short(said.theirs).padStart(8)} ${unit.padEnd(6)} ${
        short(ratio).padStart(7)} x  ${peerName}`);
    if (rowsFile !== '')
        appendFileSync(rowsFile, `${JSON.stringify(said)}\n`);
}

/* sides[0] is headgate; values of each side, a number a round. */
export function rows(name, unit, more, sides, values) {
    sides.slice(1).forEach((side, i) =>
        row(name, unit, more, values[0], values[i + 1], side.name));
}

/* ---- people and readings ------------------------------------------------------- */

const entry = (method, url, resource) => ({ resource, request: { method, url } });
const PATIENTS = 'https://site.example/ids/patient';

/* A patient and the one access, as the record calls them. */
export const person = (n) => [{ resourceType: 'Patient', id: `p${n}`,
    identifier: [{ system: PATIENTS, value: `N-${n}` }] },
{ resourceType: 'BodyStructure', id: `a${n}`, active: true,
    morphology: { coding: [{ code: 'avf',
        system: `${BASE}/CodeSystem/av-access-type` }] },
    location: { text: 'Left upper arm' },
    patient: { reference: `Patient/p${n}` } }];

/* An access flow by our own code system, and blood pressures by LOINC: all of
 * them are mapped as shipped. */
const KINDS = [
    { system: `${BASE}/CodeSystem/av-observation`, code: 'access-flow',
        unit: 'mL/min', ucum: 'mL/min' },
    { system: 'http://loinc.org', code: '8480-6', unit: 'mmHg', ucum: 'mm[Hg]' },
    { system: 'http://loinc.org', code: '8462-4', unit: 'mmHg', ucum: 'mm[Hg]' },
];
const LOW = [0, 118, 62];
export const KIND_COUNT = KINDS.length;

/* The flow of a person stays about the same.  Of one in a thousand it is high,
 * which makes a Task and renews it with each session: where flows are measured
 * once a month, and other values 25 times a session, that is more often than in
 * life (common practice, no source). */
const level = (who) => (who % 1000 === 7 ? 2150 : 700 + who * 37 % 700);

/* One value of one person, by default now. */
export function observation(id, who, kind, value, at = NOW) {
    const { system, code, unit, ucum } = KINDS[kind];
    return { resourceType: 'Observation', status: 'final',
        identifier: [{ system: 'https://site.example/ids/bench', value: id }],
        category: [{ coding: [{ code: 'procedure', system:
            'http://terminology.hl7.org/CodeSystem/observation-category' }] }],
        code: { coding: [{ system, code }], text: 'measured in a session' },
        subject: { reference: `Patient/p${who}`, identifier: {
            system: PATIENTS, value: `N-${who}` } },
        focus: [{ reference: `BodyStructure/a${who}` }],
        effectiveDateTime: new Date(at).toISOString(),
        issued: new Date(at + 600000).toISOString(),
        performer: [{ display: 'Dialysis North' }],
        note: [{ text: 'second hour, needles not moved' }],
        valueQuantity: { value, unit, system: 'http://unitsofmeasure.org',
            code: ucum } };
}

/* The n-th of so many people in turn: the values of a session one after the
 * other, eight hours from session to session, the first four weeks ago. */
export function reading(n, people) {
    const kind = n % KIND_COUNT, turn = Math.floor(n / KIND_COUNT);
    const who = turn % people, session = Math.floor(turn / people);
    const value = kind === 0 ? level(who) + session * 11 % 40
        : LOW[kind] + n * 7 % 20;
    return observation(`b-${n}`, who, kind, value,
        NOW - 28 * DAY_MS + session * 8 * 3600000 + who % 3600 * 1000);
}

export const bundleOf = (resources) => JSON.stringify({ resourceType: 'Bundle',
    type: 'batch', entry: resources.map((r) => (r.id === undefined
        ? entry('POST', r.resourceType, r)
        : entry('PUT', `${r.resourceType}/${r.id}`, r))) });
