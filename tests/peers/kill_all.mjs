/*
 * kill -9 at random instants while readings come in by every way at once: FHIR
 * resources one by one, transactions, HL7 v2 by MLLP, files by `headgate load`;
 * while people take, decline and close Tasks; and while Tasks are delivered to
 * a record.  At times it is killed again while it starts.
 *
 *   node kill_all.mjs path/to/headgate [ROUNDS] [SEED]
 *
 * The counts are exact.  Acknowledged is what was answered 200 or 201 (RFC
 * 9110, 15.3), AA (HL7 table 0008), or a load that ended with 0; each is in the
 * store once after every kill, by node's own SQLite.  A Task is at the record
 * once, by its identifier, and reads there as here.  A round's instants come
 * of the seed that is printed; what the service was doing then is chance.
 * SEGMENT rounds share a store and a record.
 */

import { spawn } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { Record, expect, http, killChildren, searchAll, stopChild }
    from './delivery_kit.mjs';
import { Line, Listener, MARK, flow, idOf } from './mllp_kit.mjs';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const BASE = 'https://headgate.example/fhir';
const OBS_IDS = 'https://site.example/ids/obs';
const DAY_MS = 86400000;
const NOW = Date.now(); /* one moment for the whole run */
const SEGMENT = 25;
/* It is killed once so many things were acknowledged, and so long after. */
const ACKNOWLEDGED_MAX = 140;
const INSTANT_MAX_MS = 40;
const ROUND_MAX_MS = 10000;
const SETTLE_MS = 120000;
const AFTER = { take: 'accepted', decline: 'rejected', done: 'completed' };
/* What has an identifier of ours at the record. */
const DELIVERED = ['Task', 'DocumentReference', 'ServiceRequest', 'Flag'];

const [binary, roundsWanted = '6', seedWanted = `${process.pid}`] =
    process.argv.slice(2);
if (binary === undefined) {
    console.error('usage: kill_all.mjs path/to/headgate [ROUNDS] [SEED]');
    process.exit(2);
}
const tmp = mkdtempSync(join(tmpdir(), 'headgate-kill-'));
const total = { rounds: 0, kills: 0, atStart: 0, sent: 0, acknowledged: 0, deeds: 0,
    tasks: 0, lost: 0, doubled: 0 };

/* A generator of 32 bits with a state of 32 (a published one, "mulberry32",
 * from memory): only that it repeats counts. */
let state = Number(seedWanted) >>> 0;
function random(below) {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), state | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) % below;
}

/* ---- what is sent ----------------------------------------------------------- */

const patient = (tag) => ({ resourceType: 'Patient', id: tag, identifier: [{
    system: 'https://site.example/ids/patient', value: `N-${tag}` }] });

const fistula = (tag) => ({ resourceType: 'BodyStructure', id: `a-${tag}`,
    active: true, morphology: { coding: [{ code: 'avf',
        system: `${BASE}/CodeSystem/av-access-type` }] },
    location: { text: 'Left upper arm' },
    patient: { reference: `Patient/${tag}` } });

function reading(tag, n, value, daysAgo) {
    return { resourceType: 'Observation', status: 'final',
        identifier: [{ system: OBS_IDS, value: `${tag}-${n}` }],
        code: { coding: [{ system: `${BASE}/CodeSystem/av-observation`,
            code: 'access-flow' }] },
        subject: { reference: `Patient/${tag}` },
        focus: [{ reference: `BodyStructure/a-${tag}` }],
        effectiveDateTime: new Date(NOW - daysAgo * DAY_MS - n * 60000)
            .toISOString(),
        valueQuantity: { value, unit: 'mL/min', code: 'mL/min',
            system: 'http://unitsofmeasure.org' } };
}

/* Two high flows four weeks apart: a Task comes of them. */
function transaction(tag) {
    const entry = [patient(tag), fistula(tag), reading(tag, 1, 2300, 29),
        reading(tag, 2, 2350, 1)].map((resource) => ({ resource,
        request: resource.id === undefined
            ? { method: 'POST', url: resource.resourceType }
            : { method: 'PUT', url: `${resource.resourceType}/${resource.id}` },
    }));
    return { resourceType: 'Bundle', type: 'transaction', entry };
}

/* ---- the ways; each sends until the service is gone ------------------------- */

class World {
    constructor(service, record, folder) {
        Object.assign(this, { service, record, folder });
        this.sent = new Map(); /* identifier: acknowledged? */
        this.messages = new Map(); /* text: acknowledged? */
        this.files = new Map(); /* path: { ids, ended } */
        this.deeds = new Map(); /* id of a Task: its status, if acknowledged */
        this.answered = 0;
    }

    acknowledged(map, name, what = true) {
        map.set(name, what);
        this.answered++;
    }

    async singles(round, client) {
        const tag = `s${round}-${client}`;
        for (let n = 0; n < 60; n++) {
            const id = `${tag}-${n}`;
            this.sent.set(id, false);
            const answer = await http('POST', `${this.service.url}/Observation`,
                reading(tag, n, 900 + n, n % 5 + 1));
            if (answer.status === 201 || answer.status === 200)
                this.acknowledged(this.sent, id);
        }
    }

    async bundles(round) {
        for (let n = 0; n < 4; n++) {
            const tag = `t${round}-${n}`;
            const ids = [1, 2].map((i) => `${tag}-${i}`);
            ids.forEach((id) => this.sent.set(id, false));
            const answer = await http('POST', this.service.url,
                transaction(tag));
            if (answer.status === 200)
                ids.forEach((id) => this.acknowledged(this.sent, id));
        }
    }

    async mllp(round) {
        const texts = Array.from({ length: 40 }, (_, n) => flow({
            id: `${MARK}${round}-${n}`, who: `${MARK}m${round}`,
            minutes: 3000 + n, filler: `M${round}-${n}`,
            value: String(1000 + n) }));
        texts.forEach((t) => this.messages.set(t, false));
        await this.tell(texts);
    }

    async tell(texts) {
        const line = await Line.open(this.service.port);
        texts.forEach((t) => line.send(t));
        for (let seen = 0; seen < texts.length; seen++) {
            const a = (await line.until(seen + 1))[seen];
            if (a === undefined)
                break;
            expect(a.id === idOf(texts[seen]), 'answers are out of order');
            expect(a.code === 'AA', `${a.code}: ${a.text}`);
            this.acknowledged(this.messages, texts[seen]);
        }
        line.close();
    }

    async load(round) {
        const path = join(this.folder, `load-${round}.ndjson`);
        const tag = `l${round}`;
        const rows = Array.from({ length: 150 }, (_, n) =>
            reading(tag, n, 800 + n, n % 7 + 1));
        writeFileSync(path, [patient(tag), fistula(tag), ...rows]
            .map((r) => JSON.stringify(r)).join('\n') + '\n');
        this.files.set(path, { ended: false,
            ids: rows.map((r) => r.identifier[0].value) });
        await this.loadOn(path);
    }

    async loadOn(path) {
        const said = await this.service.command('load', '--quiet', '--resume',
            '--to', this.service.url, '--state', this.folder, path);
        if (said.status === 0)
            this.files.get(path).ended = true;
    }

    /* What is open is taken, what was taken is closed. */
    async people() {
        const found = await http('GET', `${this.service.url}/Task?status=`
            + 'requested,accepted&_count=40');
        const tasks = (found.body?.entry ?? []).map((e) => e.resource);
        for (const { id, status } of tasks) {
            const act = status === 'accepted' ? 'done'
                : ['take', 'decline', 'take'][random(3)];
            this.deeds.set(id, undefined);
            const answer = await http('POST', `${this.root()}/task?act=${act
            }&task=${id}&by=A%20Nurse&why=seen&json=1`);
            if (answer.status === 200)
                this.acknowledged(this.deeds, id, AFTER[act]);
        }
    }

    root() {
        return this.service.url.replace(/\/fhir$/, '');
    }

    all(round) {
        return [this.singles(round, 0), this.singles(round, 1),
            this.bundles(round), this.mllp(round), this.load(round),
            this.people()];
    }
}

/* ---- what there is ------------------------------------------------------------ */

function look(world, run) {
    const db = new DatabaseSync(world.service.store, { readOnly: true });
    try {
        return run((sql) => db.prepare(sql).all());
    } finally {
        db.close();
    }
}

/* How often each name is there. */
const byName = (rows) => new Map(rows.map((r) => [r.name, r.n]));

function lose(what) {
    total.lost++;
    console.log(`    LOST ${what}`);
}

function double(what) {
    total.doubled++;
    console.log(`    DOUBLED ${what}`);
}

function checkOnce(kept, name, acknowledged) {
    const n = kept.get(name) ?? 0;
    if (acknowledged && n === 0)
        lose(name);
    if (n > 1)
        double(`${name}: ${n} times`);
}

/* Nobody has the store open. */
function checkStore(world) {
    look(world, (ask) => {
        const kept = byName(ask('SELECT value AS name, count(*) AS n FROM '
            + `identifier WHERE kind = 1 AND system = '${OBS_IDS}' GROUP BY 1`));
        world.sent.forEach((ok, id) => checkOnce(kept, id, ok));
        world.files.forEach(({ ids, ended }) =>
            ids.forEach((id) => checkOnce(kept, id, ended)));
        const messages = byName(ask('SELECT control AS name, count(*) AS n '
            + 'FROM hl7_message GROUP BY 1'));
        world.messages.forEach((ok, text) =>
            checkOnce(messages, idOf(text), ok));
        for (const { access } of ask('SELECT access FROM episode GROUP BY '
            + 'access, grp HAVING sum(state IN (1, 2)) > 1'))
            double(`the episode of access ${access}`);
        for (const { resource } of ask('SELECT t.resource FROM task t WHERE '
            + 'NOT EXISTS (SELECT 1 FROM outbox o WHERE o.resource = '
            + 't.resource)'))
            lose(`the delivery of Task ${resource}`);
        const now = new Map(ask('SELECT r.fid AS name, t.status AS n FROM task'
            + ' t JOIN resource r ON r.id = t.resource').map((r) =>
            [r.name, r.n]));
        world.deeds.forEach((status, id) => {
            /* nobody else ends it; done may have come, unacknowledged */
            if (status !== undefined && now.get(id) !== status)
                lose(`${status} of Task ${id}, which is ${now.get(id)}`);
        });
        const [{ integrity_check: whole }] = ask('PRAGMA integrity_check(1)');
        expect(whole === 'ok', `integrity_check: ${whole}`);
    });
}

/* ---- a round -------------------------------------------------------------------- */

/* It is killed before it is ready, too. */
async function killAtStart(service) {
    const child = spawn(service.binary, service.args,
        { cwd: ROOT, stdio: 'ignore' });
    const ended = new Promise((done) => child.once('exit', done));
    await sleep(random(120));
    child.kill('SIGKILL');
    await ended;
    total.atStart++;
}

async function oneRound(world, round) {
    const wanted = world.answered + random(ACKNOWLEDGED_MAX);
    const rest = random(INSTANT_MAX_MS), again = random(8) === 0;
    /* a client whose service is gone has an error, and no acknowledgement */
    const ways = Promise.allSettled(world.all(round));
    for (const end = Date.now() + ROUND_MAX_MS; world.answered < wanted
        && Date.now() < end;)
        await sleep(1);
    await sleep(rest);
    await stopChild(world.service.child, 'SIGKILL');
    for (const { reason } of await ways)
        if (reason !== undefined && !['ECONNREFUSED', 'ECONNRESET', 'EPIPE']
            .includes(reason.code) && reason.message !== 'socket hang up')
            throw reason;
    total.kills++;
    checkStore(world);
    if (again)
        await killAtStart(world.service);
    await world.service.start();
    total.rounds++;
}

/* ---- the end of a segment --------------------------------------------------------- */

/* A client sends again what was not acknowledged: nothing doubles. */
async function sendAgain(world, rounds) {
    for (const round of rounds)
        await Promise.all([world.singles(round, 0), world.singles(round, 1),
            world.bundles(round)]);
    await world.tell([...world.messages.keys()]);
    for (const [path, { ended }] of world.files)
        if (!ended)
            await world.loadOn(path);
    const missing = [...world.sent].filter(([, ok]) => !ok).length
        + [...world.messages].filter(([, ok]) => !ok).length
        + [...world.files].filter(([, f]) => !f.ended).length;
    expect(missing === 0, `${missing} are not acknowledged when sent again`);
}

async function settled(world) {
    const quiet = ['headgate_reviews_waiting', 
        'headgate_outbox_resources\\{state="waiting"\\}',
        'headgate_outbox_resources\\{state="after-task"\\}'];
    for (const end = Date.now() + SETTLE_MS;; await sleep(100)) {
        const { text } = await http('GET', `${world.root()}/metrics`);
        if (quiet.every((name) => new RegExp(`^${name} 0$`, 'm').test(text)))
            return;
        expect(Date.now() < end, `it does not settle:\n${text.split('\n')
            .filter((l) => /outbox|reviews/.test(l)).join('\n')}`);
    }
}

async function checkRecord(world) {
    const there = new Map();
    for (const type of DELIVERED)
        for (const r of await searchAll(
            `${world.record.url}/${type}?_count=500`))
            for (const { system, value } of r.identifier ?? []) {
                const name = `${type} ${system}|${value}`;
                if (there.has(name))
                    double(`${name} at the record`);
                there.set(name, r);
            }
    const here = look(world, (ask) => ask('SELECT t.key, t.status FROM task t '
        + 'WHERE t.silent = 0'));
    for (const { key, status } of here) {
        const found = [...there].find(([name]) => name.startsWith('Task ')
            && name.endsWith(`|${key}`))?.[1];
        if (found === undefined)
            lose(`Task ${key} at the record`);
        else
            expect(found.status === status, `Task ${key} is ${status} here and `
                + `${found.status} there`);
    }
    total.tasks += here.length;
}

async function segment(number, from, to) {
    const folder = join(tmp, `s${number}`);
    mkdirSync(folder);
    const record = await Record.start(folder);
    const service = new Listener(resolve(binary), folder,
        { 'record.url': record.url, 'outbox.retry_first': 20,
            'outbox.retry_last': 200 });
    const world = new World(service, record, folder);
    await service.start();
    for (let round = from; round < to; round++)
        await oneRound(world, round);
    total.acknowledged += world.answered;
    await sendAgain(world, Array.from({ length: to - from },
        (_, i) => from + i));
    await settled(world);
    const verified = await service.command('audit', 'verify');
    expect(verified.status === 0, `audit verify: ${verified.status} ${
        verified.out}${verified.err}`);
    expect(await stopChild(service.child) === 0, 'it stops in good order');
    checkStore(world);
    await checkRecord(world);
    await stopChild(record.child, 'SIGKILL');
    total.sent += world.sent.size + world.messages.size
        + [...world.files.values()].reduce((n, f) => n + f.ids.length, 0);
    total.deeds += [...world.deeds.values()].filter(Boolean).length;
    rmSync(folder, { recursive: true });
}

console.log(`    seed ${seedWanted}`);
const rounds = Number(roundsWanted);
let failed = 0;
try {
    for (let n = 0; n * SEGMENT < rounds; n++) {
        await segment(n, n * SEGMENT, Math.min(rounds, (n + 1) * SEGMENT));
        console.log(`    ${JSON.stringify(total)}`);
    }
    expect(total.lost === 0 && total.doubled === 0, 'lost or doubled');
    expect(total.tasks > 0, 'no Task came of it');
} catch (e) {
    failed = 1;
    console.log(`FAIL ${e.stack}`);
}
killChildren();
if (failed === 0)
    rmSync(tmp, { recursive: true, force: true });
else
    console.log(`    kept: ${tmp}`);
console.log(`${1 - failed} passed, ${failed} failed`);
process.exit(failed);
