/*
 * Nothing of a patient is in what leaves the store unasked: a mark stands in
 * every text that comes in, by every way and to every command, and in no line
 * of the log (at its lowest level), no metric, no name of a file that headgate
 * makes, and no weekly report.
 *
 *   node privacy.mjs path/to/headgate
 *
 * That these hold no data of patients is our own rule (config/OPERATIONS.md);
 * the mark is looked for as bytes, as base64 and percent-encoded.
 */

import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, readFileSync, readdirSync, renameSync, rmSync,
    writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { Record, expect, http, killChildren, stopChild }
    from './delivery_kit.mjs';
import { BASE, Line, Listener, MARK, flow, frame } from './mllp_kit.mjs';

const WHOLE_MS = 240000;
const NOW = Date.now(); /* one moment for the whole run */
const at = (days) => new Date(NOW - days * 86400000 - 60000).toISOString();
const said = (text) => `${MARK} ${text}`;
const OBS = `${BASE}/CodeSystem/av-observation`;
const UCUM = 'http://unitsofmeasure.org';

/* ---- what comes in -------------------------------------------------------- */

const patient = (id) => ({ resourceType: 'Patient', id: `${MARK}-${id}`,
    identifier: [{ system: 'urn:oid:2.999.1.1', value: `${MARK}${id}`,
        assigner: { display: said('assigner') } }],
    name: [{ text: said('name'), family: MARK, given: [said('given')] }],
    telecom: [{ system: 'phone', value: said('phone') }],
    address: [{ line: [said('line')], city: MARK }],
    contact: [{ name: { text: said('contact') } }],
    managingOrganization: { display: 'Unit North' } });
const access = (id) => ({ resourceType: 'BodyStructure', id: `${MARK}-${id}`,
    identifier: [{ system: 'https://site.example/ids/access',
        value: `${MARK}A${id}` }], active: true,
    morphology: { coding: [{ system: `${BASE}/CodeSystem/av-access-type`,
        code: 'avf', display: said('type') }], text: said('type') },
    locationQualifier: [{ coding: [{ system: 'http://snomed.info/sct',
        code: '419161000' }] }], description: said('description'),
    patient: { reference: `Patient/${MARK}-${id}`, display: said('who') } });
const reading = (id, value, days, more = {}) => ({ resourceType: 'Observation',
    identifier: [{ system: 'urn:x', value: `${MARK}${id}${value}${days}` }],
    status: 'final', code: { coding: [{ system: OBS, code: 'access-flow',
        display: said('code') }], text: said('code') },
    subject: { reference: `Patient/${MARK}-${id}`, display: said('who') },
    focus: [{ reference: `BodyStructure/${MARK}-${id}`,
        display: said('where') }], effectiveDateTime: at(days),
    performer: [{ display: said('performer') }],
    device: { display: said('device') }, note: [{ text: said('note'),
        authorString: said('author') }],
    valueQuantity: { value, unit: 'mL/min', system: UCUM, code: 'mL/min' },
    ...more });

/* A mark of its own for codes, units, names of types and elements, and the ids of
 * messages and readings: the weekly report names them as they were sent, so
 * that a sender can find and map them; the log, the metrics and the names of
 * files do not. */
const PLACE = 'ZqvPlace';
let messages = 0;
const sent = (more = {}) => flow({ id: `${PLACE}${++messages}`, ...more });

/* What cannot be used, each in its own way. */
const wrongs = (id) => [
    reading(id, 3, 1, { valueQuantity: { value: 3, unit: PLACE } }),
    reading(id, 4, 1, { valueQuantity: undefined, valueString: said('v') }),
    reading(id, 5, 1, { status: said('status') }),
    reading(id, 6, 1, { effectiveDateTime: said('time') }),
    reading(id, 7, 1, { subject: { reference: `Patient/${MARK}/x y` } }),
    reading(id, 8, 1, { focus: undefined, subject: { display: MARK } }),
    reading(id, 9, 1, { focus: [{ reference: `BodyStructure/${MARK}-no` }] }),
    reading(id, 1e9, 1), reading(id, -5, 1),
    reading(id, 10, -400), { resourceType: 'Observation', note: MARK },
    { resourceType: PLACE }, reading(id, 11, 1, { [PLACE]: MARK }),
    reading(id, 12, 1, { contained: [{ resourceType: 'Patient', id: MARK }] })];

const bundle = (type, resources) => ({ resourceType: 'Bundle', type,
    id: MARK, entry: resources.map((resource) => ({
        fullUrl: `urn:uuid:${MARK}`, resource, ...(type !== 'collection' && {
            request: { method: 'POST', url: resource.resourceType,
                ifNoneExist: `identifier=${MARK}` } }) })) });

/* ---- the ways ------------------------------------------------------------- */

const bench = {};

const ask = (method, path, body, headers = {}) => http(method,
    encodeURI(`${bench.service.root()}${path}`), body, headers);

async function byFhir() {
    for (const resource of [patient('f'), access('f')])
        expect((await ask('PUT', `/fhir/${resource.resourceType}/${resource.id
        }`, resource)).status < 300, 'PUT');
    for (const [value, days] of [[2100, 28], [2050, 0]])
        expect((await ask('POST', '/fhir/Observation', reading('f', value,
            days))).status === 201, 'POST');
    for (const body of wrongs('f')) {
        await ask('POST', '/fhir/Observation', body);
        await ask('PUT', `/fhir/Observation/${PLACE}`, body);
    }
    for (const type of ['batch', 'transaction', 'collection', MARK])
        await ask('POST', '/fhir', bundle(type, [reading('f', 1500, 40),
            ...wrongs('f')]));
    for (const text of [`{"${MARK}`, `[${MARK}]`, MARK, `{"a": "${MARK}\u0001"}`])
        await fetch(`${bench.service.root()}/fhir/Observation`, {
            method: 'POST', body: text,
            headers: { 'Content-Type': 'application/fhir+json' } });
}

async function byReading() {
    for (const path of ['/fhir/Task', `/fhir/Patient/${MARK}-f`,
        `/fhir/Patient/${MARK}-f/_history/${MARK}`, `/fhir/${MARK}`,
        `/fhir/Task/${MARK}?${MARK}=${MARK}`, `/${MARK}/${MARK}`,
        `/fhir/Task?patient=${MARK}&${MARK}=${MARK}&_sort=${MARK}`,
        `/fhir/Observation?code=${MARK}&_count=${MARK}`,
        `/fhir/Patient?identifier=urn:oid:2.999.1.1|${MARK}f`,
        `/queue?unit=${MARK}`, `/queue?${MARK}=${MARK}`, '/queue?table', '/held',
        '/decisions', `/review?access=${MARK}Af`, `/plan?access=${MARK}Af`,
        `/plan?access=${MARK}Af&pdf`, `/plan?access=${MARK}Af&target=${MARK}`,
        `/case?access=${MARK}Af`, `/access?patient=${MARK}f`, '/outbox',
        `/report?unit=${MARK}`, `/quarantine/${MARK}`, `/audit?patient=${MARK}`,
        `/digest?unit=${MARK}`, `/digest?week=${MARK}`])
        await ask('GET', path, undefined, { 'X-Request-Id': MARK,
            'If-None-Match': MARK, Authorization: `Bearer ${MARK}.a.b`,
            Prefer: MARK });
    await ask('GET', '/fhir/Task', undefined, { Accept: `${MARK}/x` });
}

async function byHl7() {
    const { service } = bench;
    const line = await Line.open(Number(service.port));
    const texts = [sent(), sent({ value: `${MARK}` }), sent({ unit: PLACE }),
        sent({ who: '' }), sent({ application: MARK }), sent({ type: MARK }),
        sent({ charset: MARK }), sent({ status: MARK }),
        sent({ more: `\\X${MARK}\\` })];
    for (const message of texts)
        line.send(message);
    await line.until(texts.length);
    line.socket.write(frame(MARK));
    line.socket.write(MARK);
    await sleep(200);
    line.close();
    for (const message of [...texts, MARK])
        await fetch(`${service.root()}/hl7?sender=hall&${MARK}=${MARK}`,
            { method: 'POST', body: message });
    await fetch(`${service.root()}/hl7?sender=${MARK}`, { method: 'POST',
        body: texts[0] });
}

const ndjson = (id) => [patient(id), access(id), reading(id, 2100, 28),
    ...wrongs(id)].map((r) => JSON.stringify(r)).join('\n')
    + `\n${MARK}\n{"${MARK}\n`;

async function byFile() {
    const { drop } = bench;
    const put = (name, text) => {
        writeFileSync(join(bench.folder, 'x.part'), text);
        renameSync(join(bench.folder, 'x.part'), join(drop, 'hall', name));
    };
    put('a.ndjson', ndjson('d'));
    put('b.json', JSON.stringify(bundle('collection', wrongs('d'))));
    put('c.hl7', `${sent()}${sent({ unit: PLACE })}${MARK}\r`);
    const load = join(bench.folder, 'load.ndjson');
    writeFileSync(load, ndjson('l'));
    await bench.service.command('load', '--errors',
        join(bench.folder, 'load.errors'), load);
    for (const end = Date.now() + 20000;; await sleep(100)) {
        const ended = ['done', 'failed'].flatMap((to) => {
            try {
                return readdirSync(join(drop, 'hall', to));
            } catch {
                return [];
            }
        });
        if (ended.filter((name) => name.endsWith('.summary.json')).length >= 3)
            break;
        expect(Date.now() < end, `the drop folder: ${ended}`);
    }
}

async function byRecord() {
    for (const resource of [patient('r'), access('r'), reading('r', 2100, 28),
        reading('r', 2050, 0), ...wrongs('r').slice(0, 4)])
        await http('PUT', `${bench.record.url}/${resource.resourceType}/${
            resource.id ?? createHash('sha256').update(JSON.stringify(resource))
                .digest('hex').slice(0, 30)}`, { id: resource.id, ...resource });
    await bench.service.command('fetch');
    await ask('POST', '/hook', bundle('history', [patient('r')]));
    await ask('PUT', `/hook/Patient/${MARK}-r`, patient('r'));
    await sleep(3000); /* a poll, a review, a delivery */
}

/* ---- people --------------------------------------------------------------- */

async function byPeople() {
    const { service } = bench;
    const { body } = await ask('GET', '/fhir/Task?status=requested');
    const task = body.entry?.[0]?.resource;
    expect(task !== undefined, 'there is no Task');
    const by = ['--by', said('by'), '--why', said('why')];
    const name = `${MARK}Af`;
    const held = (await service.command('quarantine', '--json')).out
        .split('\n').filter(Boolean).map((line) => JSON.parse(line))
        .map((row) => String(row.number ?? row.id ?? '')).filter(Boolean);
    const words = [['task', 'take', task.id, ...by],
        ['task', 'hand', task.id, '--whom', said('whom'), ...by],
        ['task', 'put-off', MARK, '--until', MARK, ...by],
        ['task', 'decline', MARK, ...by], ['task', 'done', MARK, ...by],
        ['access', 'list', MARK], ['access', 'merge', MARK, MARK, ...by],
        ['quarantine'], ['quarantine', 'show', held[0] ?? '1'],
        ...held.slice(0, 4).flatMap((n, i) => [
            ['quarantine', 'release', n, ...by],
            ['quarantine', 'discard', n, ...by],
            ['quarantine', 'map', n, '--target', i ? MARK : 'access-flow',
                '--unit', 'mL/min', ...by]]),
        ['queue'], ['queue', '--json'], ['queue', '--unit', MARK],
        ['review', name], ['review', MARK], ['plan', name],
        ['plan', '--pdf', join(bench.folder, 'plan.pdf'), name],
        ['technique'], ['technique', '--use', '--by', said('by')],
        ['decisions'], ['outbox'], ['outbox', 'discard', MARK, ...by],
        ['report', '--unit', MARK], ['audit', 'list', '--patient', `${MARK}f`],
        ['audit', 'list'], ['audit', 'export', '--fhir',
            join(bench.folder, 'audit.fhir')], ['audit', 'verify'],
        ['check'], [MARK], ['queue', MARK]];
    bench.said = '';
    for (const one of words) {
        const { err } = await service.command(...one);
        bench.said += err.split('\n').filter((line) =>
            line.startsWith('time=')).join('\n');
    }
    for (const line of [`flow 1760 1700`, `pressure 131/72`, MARK])
        await ask('POST', `/case?access=${name}&by=${MARK}&line=${line}`);
    await ask('POST', `/case?access=${name}&by=${MARK}&undo`);
    await ask('PATCH', `/fhir/Task/${task.id}`, [{ op: 'add', path: '/note',
        value: [{ text: said('note') }] }],
    { 'Content-Type': 'application/json-patch+json' });
    await ask('PATCH', `/fhir/Task/${task.id}`, [{ op: MARK, path: MARK }],
        { 'Content-Type': 'application/json-patch+json' });
    await ask('PUT', `/fhir/Task/${task.id}`, { ...task, status: MARK });
}

/* ---- looking -------------------------------------------------------------- */

/* The mark as it is, in capitals or not, in base64 at any of three places, and
 * as hexadecimal digits. */
const forms = (mark) => [mark.toLowerCase(), Buffer.from(mark).toString('hex'),
    ...[0, 1, 2].map((skip) => Buffer.from(' '.repeat(skip) + mark)
        .toString('base64').slice(skip === 0 ? 0 : 4, -4).toLowerCase())];

function clean(text, what, marks = [MARK, PLACE]) {
    const low = text.toLowerCase();
    for (const form of marks.flatMap(forms)) {
        const place = low.indexOf(form);
        expect(place < 0, `${what}: ...${text.slice(Math.max(0, place - 120),
            place + 80)}`);
    }
}

function names(folder) {
    return readdirSync(folder, { recursive: true }).join('\n');
}

async function main(binary) {
    const folder = mkdtempSync(join(tmpdir(), 'headgate-privacy-'));
    let passed = 0, failed = 0;
    const end = () => {
        killChildren();
        rmSync(folder, { recursive: true, force: true });
        console.log(`${passed} passed, ${failed} failed`);
        process.exit(failed === 0 && passed > 0 ? 0 : 1);
    };
    setTimeout(() => {
        console.log('FAIL  out of time');
        failed++;
        end();
    }, WHOLE_MS);
    const one = async (name, run) => {
        try {
            await run();
            passed++;
            console.log(`ok    ${name}`);
        } catch (e) {
            failed++;
            console.log(`FAIL  ${name}: ${e.stack}`);
        }
    };
    const drop = join(folder, 'drop'), reports = join(folder, 'reports');
    mkdirSync(join(drop, 'hall'), { recursive: true });
    mkdirSync(reports);
    Object.assign(bench, { folder, drop, reports });
    bench.record = await Record.start(folder);
    bench.service = new Listener(binary, folder, { 'log.level': 'debug',
        'record.url': bench.record.url, 'record.poll': 1, 'record.follow': 1,
        'drop.folder': drop, 'drop.poll': 1, 'drop.settle': 0,
        'report.folder': reports, 'report.weekday': 1, 'report.hour': 0,
        'sender hall.unit': 'Unit North' });
    await bench.service.start();
    await one('by FHIR', byFhir);
    await one('by reading', byReading);
    await one('by HL7 v2, over MLLP and HTTP', byHl7);
    await one('by files, dropped and loaded', byFile);
    await one('by the record: polled, fetched, called', byRecord);
    await one('by people and their commands', byPeople);
    await one('no metric says it', async () => {
        const { text } = await ask('GET', '/metrics');
        expect(text.length > 1000, 'no metrics');
        clean(text, 'metrics');
    });
    await one('no weekly report says it', async () => {
        for (const words of [['report'], ['report', '--json']]) {
            const { out } = await bench.service.command(...words);
            expect(out.includes('Unit North'), `${words}: ${out}`);
            clean(out, words.join(' '), [MARK]);
        }
    });
    await stopChild(bench.service.child);
    await one('no line of the log says it', () => {
        const log = readFileSync(bench.service.log, 'utf8');
        expect(log.split('\n').length > 50 && log.includes('level=debug'),
            'the log is empty');
        clean(log, 'log');
        clean(bench.said, 'log of the commands');
    });
    await one('no file is named by it', () => {
        clean(names(folder), 'files');
        for (const name of readdirSync(reports))
            clean(readFileSync(join(reports, name), 'utf8'), name, [MARK]);
    });
    await one('it was there: the store has it', () => {
        expect(readFileSync(bench.service.store).includes(MARK),
            'the mark never came in');
    });
    end();
}

if (process.argv.length < 3) {
    console.error('usage: privacy.mjs path/to/headgate');
    process.exit(2);
}
await main(resolve(process.argv[2])).catch((e) => {
    console.log(`FAIL  ${e.stack}`);
    killChildren();
    process.exit(1);
});
