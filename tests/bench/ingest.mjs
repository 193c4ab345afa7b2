/*
 * Durable ingest over HTTP, beside the peer of peer_ingest.mjs in the same run:
 * one Observation a request, and Bundles; then latencies at fixed rates; then
 * memory and the time of a start with many accesses.  The two alternate, and
 * the median of their ratios counts, not the rates of this machine.
 *
 *   node tests/bench/ingest.mjs HEADGATE [--rounds N] [--accesses N]
 *
 * Nothing is asserted but that all was taken.
 */

import { spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { closedLoop, nowMs, openLoop, quantile, request }
    from './load_client.mjs';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const BASE = 'https://headgate.example/fhir';
const DAY_MS = 86400 * 1000;
const NOW = Date.now() - Date.now() % DAY_MS;

const argument = (name, otherwise) => {
    const at = process.argv.indexOf(name);
    return at < 0 ? otherwise : Number(process.argv[at + 1]);
};
const ROUNDS = argument('--rounds', 5);
const ACCESSES = argument('--accesses', 100000);
const SINGLES = argument('--singles', 20000);
const BUNDLES = argument('--bundles', 40);
const RATES = [500, 1000, 2000, 4000];

/* ---- readings ---------------------------------------------------------------- */

const codes = [['access-flow', 'mL/min', 500, 1400],
    ['venous-pressure', 'mm[Hg]', 80, 120],
    ['arterial-pressure', 'mm[Hg]', -180, 80]];
let made = 0;

/* Of one of so many patients, a day apart at least, so that each is new. */
function reading(patients) {
    const n = made++;
    const [code, unit, low, span] = codes[n % codes.length];
    const day = Math.floor(n / patients / codes.length) % 900;
    return { resourceType: 'Observation', status: 'final',
        identifier: [{ system: 'https://site.example/ids/bench',
            value: `b-${n}` }],
        category: [{ coding: [{ code: 'procedure', system:
            'http://terminology.hl7.org/CodeSystem/observation-category' }] }],
        code: { coding: [{ system: `${BASE}/CodeSystem/av-observation`,
            code }], text: 'measured in a session' },
        subject: { reference: `Patient/p${n % patients}`, identifier: {
            system: 'https://site.example/ids/patient',
            value: `N-${n % patients}` } },
        effectiveDateTime: new Date(NOW - (900 - day) * DAY_MS
            + n % 86400 * 1000).toISOString(),
        issued: new Date(NOW - (900 - day) * DAY_MS + DAY_MS).toISOString(),
        performer: [{ display: 'Dialysis North' }],
        note: [{ text: 'second hour, needles not moved' }],
        valueQuantity: { value: low + n * 7 % span, unit,
            system: 'http://unitsofmeasure.org', code: unit } };
}

const patientOf = (n) => ({ resourceType: 'Patient', id: `p${n}`,
    identifier: [{ system: 'https://site.example/ids/patient',
        value: `N-${n}` }] });

const single = (patients) => (url) => {
    const body = JSON.stringify(reading(patients));
    return request(url, '/Observation', body);
};

const bundleOf = (resources) => JSON.stringify({ resourceType: 'Bundle',
    type: 'batch', entry: resources.map((resource) => ({ resource,
        request: { method: 'POST', url: resource.resourceType } })) });

const bundle = (patients, size) => (url) => request(url, '',
    bundleOf(Array.from({ length: size }, () => reading(patients))));

const many = (count, make, url) => Array.from({ length: count },
    () => make(url));

/* ---- the two ------------------------------------------------------------------ */

class Side {
    constructor(name, tmp, command, args, ready) {
        Object.assign(this, { name, tmp, command, args, ready });
    }

    async start() {
        const began = nowMs();
        this.child = spawn(this.command, this.args,
            { cwd: ROOT, stdio: ['ignore', 'pipe', 'ignore'] });
        let said = '';
        this.url = await new Promise((done, fail) => {
            this.child.stdout.on('data', (chunk) => {
                said += chunk;
                const found = this.ready.exec(said);
                if (found !== null) done(found[1]);
            });
            this.child.on('exit', (code) => fail(new Error(`${this.name}: ${
                code}`)));
        });
        return nowMs() - began;
    }

    stop() {
        const gone = new Promise((done) => this.child.on('exit', done));
        this.child.removeAllListeners('exit');
        const ended = new Promise((done) => this.child.once('exit', done));
        this.child.kill('SIGTERM');
        return Promise.race([gone, ended]);
    }

    status() {
        return readFileSync(`/proc/${this.child.pid}/status`, 'utf8');
    }

    memoryMb() {
        return Number(/VmRSS:\s+(\d+)/.exec(this.status())[1]) / 1024;
    }

    cpuMs() {
        const [user, system] = readFileSync(`/proc/${this.child.pid}/stat`,
            'utf8').split(') ')[1].split(' ').slice(11, 13).map(Number);
        return (user + system) * 10;
    }
}

function headgate(binary, tmp) {
    mkdirSync(tmp);
    return new Side('headgate', tmp, binary, ['serve', '--config',
        'config/demo.ini', ...Object.entries({ 'store.path': `${tmp}/hg.db`,
            'http.port': 0, 'mllp.enabled': false, 'mllp.port': 0,
            'http.connections_max': 1000 })
            .flatMap(([key, value]) => ['--set', `${key}=${value}`])],
    /headgate ready (\S+)\n/);
}

function peer(tmp) {
    mkdirSync(tmp);
    return new Side('peer', tmp, process.execPath, ['--no-warnings',
        join(ROOT, 'tests/bench/peer_ingest.mjs'), `${tmp}/peer.db`],
    /ready (\S+)\n/);
}

/* ---- measuring ----------------------------------------------------------------- */

const one = (n) => (n >= 100 ? n.toFixed(0) : n.toPrecision(3));

function row(name, ours, theirs, unit, more) {
    const ratios = ours.map((v, i) => v / theirs[i]);
    const ratio = quantile(ratios, 0.5);
    console.log(`${name.padEnd(44)} ${one(quantile(ours, 0.5)).padStart(8)} ${
        one(quantile(theirs, 0.5)).padStart(8)} ${unit.padEnd(7)} ${
        one(more ? ratio : 1 / ratio).padStart(6)} times ${
        more ? 'as many' : 'less'}`);
}

async function rates(sides, name, count, make, atOnce, each) {
    const seen = sides.map(() => []), cpu = sides.map(() => []);
    for (let round = 0; round < ROUNDS; round++) {
        for (const [i, side] of sides.entries()) {
            const requests = many(count, make, side.url);
            const before = side.cpuMs();
            seen[i].push(each * await closedLoop(side.url, requests, atOnce));
            cpu[i].push((side.cpuMs() - before) * 1000 / count / each);
            await quiet(side);
        }
    }
    row(name, seen[0], seen[1], '/s', true);
    row(`  processor time of each`, cpu[0], cpu[1], 'us', false);
}

/* Until it has done what it does after an answer. */
async function quiet(side) {
    for (let idle = 0; idle < 3;) {
        const before = side.cpuMs();
        await sleep(100);
        idle = side.cpuMs() - before <= 10 ? idle + 1 : 0;
    }
}

async function latencies(sides) {
    for (const rate of RATES) {
        const p50 = sides.map(() => []), p99 = sides.map(() => []);
        for (let round = 0; round < Math.min(ROUNDS, 3); round++) {
            for (const [i, side] of sides.entries()) {
                const seen = await openLoop(side.url,
                    many(rate * 3, single(2000), side.url), rate);
                p50[i].push(seen.p50);
                p99[i].push(seen.p99);
                await quiet(side);
            }
        }
        row(`answered, ${rate} a second due, half within`, p50[0], p50[1],
            'ms', false);
        row('  99 of 100 within', p99[0], p99[1], 'ms', false);
    }
}

async function large(sides) {
    for (const side of sides) {
        for (let n = 0; n < ACCESSES; n += 1000) {
            const people = Array.from({ length: 1000 }, (_, i) =>
                patientOf(n + i));
            const readings = people.flatMap((p, i) => codes.map(() => {
                const o = reading(ACCESSES);
                o.subject.reference = `Patient/${p.id}`;
                o.subject.identifier.value = `N-${n + i}`;
                return o;
            }));
            await closedLoop(side.url, [request(side.url, '',
                bundleOf([...people, ...readings]))], 1);
        }
        await quiet(side);
    }
    const memory = sides.map((side) => [side.memoryMb()]);
    row(`memory, ${ACCESSES} accesses, after taking them in`, memory[0],
        memory[1], 'MB', false);
    const times = sides.map(() => []), after = sides.map(() => []);
    for (let round = 0; round < 3; round++) {
        for (const [i, side] of sides.entries()) {
            await side.stop();
            times[i].push(await side.start());
            await quiet(side);
            after[i].push(side.memoryMb());
        }
    }
    row('a start with them', times[0], times[1], 'ms', false);
    row('memory after a start', after[0], after[1], 'MB', false);
}

const tmp = mkdtempSync(join(tmpdir(), 'headgate-bench-'));
const sides = [headgate(resolve(process.argv[2]), join(tmp, 'a')),
    peer(join(tmp, 'b'))];
try {
    for (const side of sides) await side.start();
    console.log(`${''.padEnd(44)} headgate     peer`);
    await rates(sides, 'one Observation a request, 1 at a time', 2000,
        single(2000), 1, 1);
    await rates(sides, 'one Observation a request, 32 at a time', SINGLES,
        single(2000), 32, 1);
    await rates(sides, 'Bundles of 500, 4 at a time: Observations', BUNDLES,
        bundle(2000, 500), 4, 500);
    await latencies(sides);
    await large(sides);
} finally {
    for (const side of sides) side.child?.kill('SIGKILL');
    rmSync(tmp, { recursive: true, force: true });
}
