/*
 * The store as a file: a backup while readings come in, a loss of the machine,
 * a restore; a full disk; one patient given out and removed, however hidden.
 *
 *   node store.mjs path/to/headgate
 *
 * Sums are those of node's own SHA-256, rows those of node's own SQLite, and the
 * record is the one of record.mjs.  The full disk is a file system in memory
 * with a size (mount(8)).
 */

import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, readdirSync, statSync }
    from 'node:fs';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { Record, Service, expect, http, searchAll, stopChild }
    from './delivery_kit.mjs';
import { Suite, until } from './suite.mjs';

const BASE = 'https://headgate.example/fhir';
const OBS_IDS = 'https://site.example/ids/obs';
const PATIENTS = 'https://site.example/ids/patient';
const DAY_MS = 86400000;
const NOW = Date.now(); /* one moment for the whole run */

const bench = new Suite();
const { binary, tmp } = bench;
const mounted = [];
bench.close = () => mounted.forEach((path) => spawnSync('umount', [path]));

function ok(text) {
    bench.passed++;
    console.log(`ok    ${text}`);
}

/* ---- what is sent -------------------------------------------------------------- */

const patient = (tag) => ({ resourceType: 'Patient', id: tag,
    identifier: [{ system: PATIENTS, value: `N-${tag}` }],
    name: [{ family: `Family-${tag}`, given: [`Given-${tag}`] }] });

function flow(tag, n, value, daysAgo) {
    return { resourceType: 'Observation', status: 'final',
        identifier: [{ system: OBS_IDS, value: `${tag}-${n}` }],
        code: { coding: [{ system: `${BASE}/CodeSystem/av-observation`,
            code: 'access-flow' }] },
        subject: { reference: `Patient/${tag}` },
        ...(value > 2000 && { focus: [{ reference: `BodyStructure/a-${tag}` }] }),
        effectiveDateTime: new Date(NOW - daysAgo * DAY_MS).toISOString(),
        valueQuantity: { value, unit: 'mL/min',
            system: 'http://unitsofmeasure.org', code: 'mL/min' } };
}

/* A flow that a Task comes of. */
const low = (tag) => [1, 2, 3].map((n) => flow(tag, n, 2300, 10 - 3 * n));

const fistula = (tag) => ({ resourceType: 'BodyStructure', id: `a-${tag}`,
    identifier: [{ system: 'https://site.example/ids/access',
        value: `A-${tag}` }],
    morphology: { coding: [{ system: `${BASE}/CodeSystem/av-access-type`,
        code: 'avf' }] },
    location: { text: 'Left upper arm' },
    patient: { reference: `Patient/${tag}` } });

/* Patients and accesses have the ids of their sender: by these what is sent
 * again after a restore is what it was, and so is a Task. */
async function send(service, resources) {
    for (const resource of resources) {
        const { resourceType: type, id } = resource;
        if (id === undefined) {
            await service.post(resource);
            continue;
        }
        const answer = await http('PUT', `${service.url}/${type}/${id}`,
            resource);
        expect(answer.status < 300, `PUT: ${answer.status} ${answer.text}`);
    }
}

const person = (tag) => [patient(tag), fistula(tag), ...low(tag)];

/* Sends until it is told to stop; acknowledged: what was, and when. */
class Load {
    constructor(service, name) {
        this.service = service;
        this.name = name;
        this.acknowledged = [];
        this.slowest = 0;
        this.stop = false;
        this.done = this.run();
    }

    async run() {
        for (let n = 1; !this.stop; n++) {
            const resource = flow(this.name, n, 900 + n % 50, 20 + n / 1000);
            const from = performance.now();
            try {
                await this.service.post(resource);
            } catch (e) {
                if (!this.stop && !this.dying)
                    throw e;
                return;
            }
            this.slowest = Math.max(this.slowest, performance.now() - from);
            this.acknowledged.push({ id: `${this.name}-${n}`, resource,
                at: performance.now() });
        }
    }
}

/* ---- what is there ---------------------------------------------------------------- */

const sha256 = (path) => createHash('sha256').update(readFileSync(path))
    .digest('hex');

function rows(path, sql) {
    const db = new DatabaseSync(path, { readOnly: true });
    try {
        return db.prepare(sql).all();
    } finally {
        db.close();
    }
}

const known = (path) => new Set(rows(path,
    `SELECT value FROM identifier WHERE system = '${OBS_IDS}'`)
    .map((row) => row.value));

const tasksAt = async (record) => (await searchAll(
    `${record.url}/Task?_count=100`)).length;

/* ---- the tests ----------------------------------------------------------------------- */

async function restoreUnderLoad() {
    const record = await Record.start(tmp);
    const settings = { 'store.path': `${tmp}/hg.db`,
        'record.unit_list': 'false' };
    const service = new Service(binary, tmp, record.url, settings);
    const copy = `${tmp}/copy`;
    const loads = [];

    await service.start();
    for (const tag of ['a1', 'a2', 'a3'])
        await send(service, person(tag));
    await until('three Tasks', async () => await tasksAt(record) === 3);
    for (const name of ['l1', 'l2', 'l3', 'l4'])
        loads.push(new Load(service, name));
    await until('readings', () => loads.every((l) => l.acknowledged.length > 9));

    const moment = performance.now();
    const said = await service.command('store', 'backup', copy);
    expect(said.status === 0, `backup: ${said.err}`);
    const told = /^headgate_backup_timestamp_seconds (\d+)$/m.exec((await http(
        'GET', service.url.replace(/\/fhir$/, '/metrics'))).text);
    expect(Math.abs(Date.parse(JSON.parse(said.out).made) / 1000 - told[1]) < 60,
        `made ${said.out}, told ${told[1]}`);
    const manifest = JSON.parse(said.out);
    expect(manifest.sha256 === sha256(copy), 'the sum is another one');
    expect(readFileSync(`${copy}.json`, 'utf8') === said.out, 'manifest');
    expect((statSync(copy).mode & 0o777) === 0o600, 'mode of the copy');
    expect(!existsSync(`${copy}.part`), 'a part is left');
    const before = loads.flatMap((l) => l.acknowledged)
        .filter((a) => a.at < moment);
    expect(before.length > 20, `only ${before.length} before the backup`);
    ok(`a backup while readings come in (slowest answer ${
        Math.max(...loads.map((l) => l.slowest)).toFixed(0)} ms)`);

    /* what the backup does not have: more readings, and a Task */
    await send(service, person('late'));
    await until('the fourth Task', async () => await tasksAt(record) === 4);
    loads.forEach((l) => { l.dying = true; });
    await stopChild(service.child, 'SIGKILL');
    await Promise.all(loads.map((l) => l.done));
    const all = loads.flatMap((l) => l.acknowledged);
    expect(all.length > before.length, 'nothing came after the backup');

    const held = known(copy);
    const lost = before.filter((a) => !held.has(a.id));
    expect(lost.length === 0, `not in the backup: ${lost.length}`);
    expect(!held.has('late-1'), 'the backup is of a later moment');
    const verified = await service.command('store', 'verify', copy);
    expect(verified.status === 0, `verify: ${verified.err}`);
    const restored = await service.command('store', 'restore', copy);
    expect(restored.status === 0, `restore: ${restored.err}`);
    const aside = readdirSync(tmp).find((n) => n.startsWith('hg.db.before-')
        && !n.endsWith('-wal'));
    expect(known(`${tmp}/${aside}`).has('late-1'), 'the old store is not kept');
    ok(`everything of ${before.length} acknowledged before it is in it`);

    await service.start();
    /* all of it again: what is known is known, the rest comes in once */
    await send(service, all.map((a) => a.resource));
    await send(service, all.slice(0, 50).map((a) => a.resource));
    await send(service, person('late'));
    await until('all four are delivered', async () => {
        const { text } = await http('GET',
            service.url.replace(/\/fhir$/, '/metrics'));
        return /headgate_reviews_waiting 0/.test(text)
            && /headgate_outbox_resources\{state="waiting"\} 0/.test(text)
            && (await searchAll(`${service.url}/Task?_count=50`)).length === 4;
    });
    expect(await tasksAt(record) === 4,
        `${await tasksAt(record)} Tasks at the record, not 4`);
    await stopChild(service.child);
    const counts = rows(`${tmp}/hg.db`, 'SELECT count(*) AS n, count(DISTINCT'
        + ` value) AS d FROM identifier WHERE system = '${OBS_IDS}'`)[0];
    expect(counts.n === counts.d && counts.n === all.length + 12,
        `${counts.n} readings, ${counts.d} different, ${all.length + 12} sent`);
    const remotes = rows(`${tmp}/hg.db`, 'SELECT remote FROM outbox o JOIN task t'
        + ' ON t.resource = o.resource WHERE state = 1').map((r) => r.remote);
    expect(new Set(remotes).size === 4, `${remotes.length} Tasks delivered`);
    ok('what came later is sent again and counts once; no Task is made twice');
    await stopChild(record.child);
}

async function withoutAService() {
    const service = new Service(binary, tmp, '', { 'store.path':
        `${tmp}/hg.db` });
    const copy = `${tmp}/alone`;
    const said = await service.command('store', 'backup', copy);
    expect(said.status === 0, said.err);
    expect(JSON.parse(said.out).sha256 === sha256(copy), 'the sum');
    const again = await service.command('store', 'backup', copy);
    expect(again.status === 1 && /is there already/.test(again.err), again.err);
    expect(JSON.parse(said.out).sha256 === sha256(copy), 'it was overwritten');
    const none = await service.command('store', 'backup', `${tmp}/no/copy`);
    expect(none.status === 1 && /no\/copy/.test(none.err), none.err);
    ok('a backup without a service; nothing is overwritten');
}

async function fullDisk() {
    const path = join(tmp, 'disk');
    mkdirSync(path);
    const said = spawnSync('mount', ['-t', 'tmpfs', '-o', 'size=256k',
        'headgate-test', path], { encoding: 'utf8' });
    expect(said.status === 0, `mount(8) is needed: ${said.stderr}`);
    mounted.push(path);
    const service = new Service(binary, tmp, '', { 'store.path':
        `${tmp}/hg.db` });
    await service.start();
    const full = await service.command('store', 'backup', `${path}/copy`);
    expect(full.status === 1 && /no room/.test(full.err), full.err);
    expect(readdirSync(path).length === 0, `left: ${readdirSync(path)}`);
    await send(service, [flow('after', 1, 900, 1)]);
    await stopChild(service.child);
    ok('a full disk is told, and nothing is left on it');
}

async function onePatient() {
    const markers = ['Family-gone', 'Given-gone', 'N-gone', 'A-gone',
        'gone-1'];
    const service = new Service(binary, tmp, '', { 'store.path':
        `${tmp}/one.db` });
    const file = `${tmp}/gone.ndjson`;
    const raw = () => ['one.db', 'one.db-wal'].map((n) => join(tmp, n))
        .filter((p) => existsSync(p)).map((p) => readFileSync(p, 'latin1'))
        .join('\n');

    service.log = `${tmp}/one.log`;
    await service.start();
    await send(service, [...person('gone'), ...person('stays')]);
    await service.untilMetric('headgate_reviews_waiting', 0);
    const exported = await service.command('patient', 'export', 'N-gone',
        '--to', file);
    expect(exported.status === 0, exported.err);
    const given = readFileSync(file, 'utf8').trimEnd().split('\n')
        .map((line) => JSON.parse(line));
    for (const type of ['Patient', 'Observation', 'Task', 'Provenance',
        'AuditEvent'])
        expect(given.some((r) => r.resourceType === type), `no ${type}`);
    expect(!readFileSync(file, 'utf8').includes('N-stays'), 'of another');
    expect((statSync(file).mode & 0o777) === 0o600, 'mode of the export');
    ok(`an export of ${given.length} resources`);

    for (const marker of markers.slice(0, 1))
        expect(raw().includes(marker), `${marker} never was in the file`);
    const asked = await service.command('patient', 'erase', 'N-gone');
    expect(asked.status === 2 && /nothing was removed.*--yes/s.test(asked.err)
        && /\|N-gone\n/.test(asked.out) && /Readings: 3, 2/.test(asked.out)
        && !/URGENT|BEING TIED/.test(asked.out), asked.err + asked.out);
    const other = await service.command('patient', 'erase', 'N-gone', '--by',
        'Records', '--why', 'request 17', '--name', 'Family-stays', '--yes');
    expect(other.status === 1 && /another name/.test(other.err), other.err);
    const erased = await service.command('patient', 'erase', 'N-gone', '--by',
        'Records', '--why', 'request 17', '--name', 'family-GONE', '--yes');
    expect(erased.status === 0 && /3 readings/.test(erased.out),
        erased.err + erased.out);
    for (const marker of markers)
        expect(!raw().includes(marker), `${marker} is left in the file`);
    const left = await service.command('patient', 'export', 'N-gone', '--to',
        `${tmp}/nobody.ndjson`);
    expect(left.status === 1 && /No patient/.test(left.err), left.err);
    const list = await service.command('patient', 'erased');
    expect(/Records: request 17/.test(list.out)
        && !/HERE AGAIN/.test(list.out), list.out);
    const found = await searchAll(`${service.url}/Observation?_count=50`);
    expect(found.length === 3, `${found.length} readings of the other`);
    const verify = await service.command('audit', 'verify');
    expect(verify.status === 0, `audit: ${verify.err}${verify.out}`);
    await stopChild(service.child);
    const log = readFileSync(service.log, 'utf8');
    expect(![...markers, 'N-stays'].some((m) => log.includes(m)),
        'the log names a patient');
    ok('one patient is removed to the last byte, the other stays');
}

/* A message of HL7 v2 in delimiters of its own (HL7 v2.5.1, 2.5.4), of which
 * nothing can be used: it stands in quarantine as a whole. */
function unusable(from, control, number, family, [f, c] = '|^') {
    return [
        ['MSH', `${c}~\\&`, from, 'HALL', 'HEADGATE', 'ACCESS',
            '20260304130000+0100', '', `ORU${c}R01${c}ORU_R01`, control, 'P',
            '2.5.1'],
        ['PID', '1', '', `${number}${c}${c}${c}HALL${c}MR`, '',
            `${family}${c}Person`],
        ['OBR', '1', '', '', `nonsense${c}`],
        ['OBX', '1', 'NM', `zzz${c}Zed${c}L`, '', '7', 'mL/min', '', '', '', '',
            'F']
    ].map((segment) => `${segment.join(f)}\r`).join('');
}

async function postHl7(service, text) {
    const answer = await fetch(service.url.replace(/fhir$/, 'hl7'), {
        method: 'POST', body: text,
        headers: { 'Content-Type': 'x-application/hl7-v2+er7' } });
    expect(answer.status === 200, `POST /hl7: ${answer.status}`);
    return answer.text();
}

/* \Xhh..\ of HL7 v2.5.1, 2.7.3 */
const hex = (text) => `\\X${Buffer.from(text).toString('hex').toUpperCase()}\\`;

async function oneHiddenPatient() {
    const file = `${tmp}/hidden.db`;
    const service = new Service(binary, tmp, '', { 'store.path': file,
        'sender north.application': 'NORTH',
        'sender north.patient_system': PATIENTS,
        'sender south.application': 'SOUTH',
        'sender south.patient_system': 'https://site.example/ids/south' });
    let copies = 0;
    /* the store is its service's alone: a copy is looked at */
    const look = async (sql) => {
        const copy = `${tmp}/hidden-${++copies}`;
        const said = await service.command('store', 'backup', copy);
        expect(said.status === 0, said.err);
        return rows(copy, sql);
    };
    const keeps = async (want) => {
        const are = (await look('SELECT control FROM hl7_message ORDER BY 1'))
            .map((row) => row.control).join();
        expect(are === want, `kept: ${are}, not ${want}`);
    };
    const erase = (name) => service.command('patient', 'erase', name, '--by',
        'Records', '--why', 'request 18', '--name',
        `Family-${name.slice(2)}`, '--yes');

    await service.start();
    await send(service, [...person('hidden'), ...person('plain')]);
    await postHl7(service, unusable('NORTH', 'N1', 'N-hidden', 'F', '#^'));
    await postHl7(service, unusable('NORTH', 'N2', hex('N-hidden'), 'F'));
    await postHl7(service, unusable('NORTH', 'N3', 'N-stays', 'F'));
    await keeps('N1,N2,N3');
    const given = await service.command('patient', 'export', 'N-hidden', '--to',
        `${tmp}/hidden.ndjson`);
    expect(given.status === 0, given.err);
    expect(readFileSync(`${tmp}/hidden.ndjson`, 'utf8')
        .split('"id":"hl7-').length === 3, 'two messages are to be given out');
    const erased = await erase('N-hidden');
    expect(erased.status === 0 && /2 messages of HL7/.test(erased.out)
        && /2 inputs in quarantine/.test(erased.out)
        && !/NOT ALL/.test(erased.out), erased.err + erased.out);
    await keeps('N3');
    ok('no delimiters and no escapes hide a patient');

    /* the same number of another hall, of which nothing is known but this */
    await postHl7(service, unusable('SOUTH', 'S1', 'N-plain', 'Another'));
    await postHl7(service, unusable('NORTH', 'N4', 'N-plain', 'F'));
    const [{ id: item }] = await look('SELECT q.id FROM quarantine q JOIN'
        + " hl7_message m ON m.id = q.message WHERE m.control = 'S1'");
    const partly = await erase('N-plain');
    expect(partly.status === 0 && /NOT ALL OF IT/.test(partly.out)
        && !/nothing that names/.test(partly.out)
        && partly.out.includes(`NUMBER): ${item}\n`),
    partly.err + partly.out);
    await keeps('N3,S1');
    ok('an equal number of another system is left, and told');

    const audit = await look("SELECT action, outcome, detail, who FROM audit"
        + " WHERE action LIKE 'patient-erase%' ORDER BY seq");
    expect(audit.map((row) => row.action).join() === 'patient-erase-begin,'
        + 'patient-erase,patient-erase-begin,patient-erase',
    JSON.stringify(audit));
    expect(audit.every((row) => row.outcome === 0 && row.who === 'Records'),
        JSON.stringify(audit));
    expect(/hl7 2,.*left 0/.test(audit[1].detail)
        && /hl7 1,.*left 1/.test(audit[3].detail), JSON.stringify(audit));
    const verify = await service.command('audit', 'verify');
    expect(verify.status === 0, `audit: ${verify.err}${verify.out}`);
    await stopChild(service.child);
    ok('the begin and the end of each are on record');
}

await bench.main(async () => {
    await restoreUnderLoad();
    await withoutAService();
    await fullDisk();
    await onePatient();
    await oneHiddenPatient();
});
