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
import { mkdirSync, readFileSync, readdirSync, renameSync, writeFileSync }
    from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { Record, expect, http, stopChild } from './delivery_kit.mjs';
import { BASE, Line, Listener, MARK, flow, frame } from './mllp_kit.mjs';
import { Suite } from './suite.mjs';

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

const bench = new Suite({ wholeMs: 240000 });

const ask = (method, path, body, headers = {}) => http(method,
    encodeURI(`${bench.service.root()}${path}`), body, headers);

async function byFhir() {
    for (const resource of [patient('f'), access('f')])
        expect((await ask('PUT', `/fhir/${resource.resourceType}/${resource.id
        }`, resource)).status < 300, 'PUT');
    bench.ids = [];
    for (const [value, days] of [[2100, 28], [2050, 0]]) {
        const { status, headers } = await ask('POST', '/fhir/Observation',
            reading('f', value, days));
        expect(status === 201, 'POST');
        bench.ids.push(/Observation\/([^/]+)/.exec(headers.location)[1]);
    }
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
    expect((await fetch(`${bench.service.root()}/fhir/%zz${MARK}`)).status
        === 400, 'no address at all');
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
        writeFileSync(join(bench.tmp, 'x.part'), text);
        renameSync(join(bench.tmp, 'x.part'), join(drop, 'hall', name));
    };
    put('a.ndjson', ndjson('d'));
    put('b.json', JSON.stringify(bundle('collection', wrongs('d'))));
    put('c.hl7', `${sent()}${sent({ unit: PLACE })}${MARK}\r`);
    const load = join(bench.tmp, 'load.ndjson');
    writeFileSync(load, ndjson('l'));
    await bench.service.command('load', '--errors',
        join(bench.tmp, 'load.errors'), load);
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
    bench.ids.push(task.id, ...(task.identifier ?? []).map((i) => i.value));
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
        ['plan', '--pdf', join(bench.tmp, 'plan.pdf'), name],
        ['technique'], ['technique', '--use', '--by', said('by')],
        ['decisions'], ['outbox'], ['outbox', 'discard', MARK, ...by],
        ['report', '--unit', MARK], ['audit', 'list', '--patient', `${MARK}f`],
        ['audit', 'list'], ['audit', 'export', '--fhir',
            join(bench.tmp, 'audit.fhir')], ['audit', 'verify'],
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

/* What a line of debug may have: words of tables, the name of a sender as the
 * settings have it, numbers. */
const N = '-?\\d+';
const ROUTE = 'other|/hl7|/[a-z]+|/\\.well-known/jwks\\.json|/fhir/metadata'
    + '|/fhir/SearchParameter/ID|/fhir/TYPE(/ID|/ID/_history(/VERSION)?'
    + '|/_search|/_history)?|/hook/TYPE/ID|/quarantine/ROW(/[a-z]+)?';
const TYPE = 'none|Patient|BodyStructure|Observation|Condition|Task|Flag|List'
    + '|Provenance|DocumentReference|ServiceRequest|AuditEvent|Procedure';
const line = (text) => new RegExp(`^event=${text.replaceAll('#', N)}$`);
const DEBUG_LINES = {
    'http.answer': line(`http\\.answer method=(GET|HEAD|POST|PUT|PATCH|DELETE`
        + `|other) route=(${ROUTE}) type=(${TYPE}) status=# bytes=# local=[01]`
        + ' ms=#'),
    'http.refused': line('http\\.refused status=# why=[a-z-]+'),
    'record.call': line('record\\.call method=(GET|POST|PUT|PATCH|DELETE) type='
        + `(${TYPE}) status=# err=[a-z-]+ sent=# bytes=# renewed=[01] ms=#`),
    'outbox.try': line(`outbox\\.try row=# type=(${TYPE}) outcome=[a-z-]+ status`
        + '=# tries=# resources=# bytes=# ms=#'),
    'hl7.message': line('hl7\\.message sender=(hall|none) answer=(A[AER]|none) '
        + 'err=[a-z-]+ message=# quarantined=[01] repeated=[01] stored=# '
        + 'there=# held=# refused=# bytes=# ms=#'),
    'mllp.opened': line('mllp\\.opened open=# tls=[01]'),
    'mllp.closed': line('mllp\\.closed open=# frames=# in_frame=[01] ms=#'),
    'poll.round': line('poll\\.round taken=# refused=# by_id=# complete=[01] '
        + 'ms=#'),
    'fhir.bundle': line('fhir\\.bundle kind=(transaction|batch|collection) '
        + 'entries=# refused=# bytes=# ms=#'),
};

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

await bench.main(async () => {
    const { binary, tmp: folder } = bench;
    const drop = join(folder, 'drop'), reports = join(folder, 'reports');
    mkdirSync(join(drop, 'hall'), { recursive: true });
    mkdirSync(reports);
    Object.assign(bench, { drop, reports });
    bench.record = await Record.start(folder);
    bench.service = new Listener(binary, folder, { 'log.level': 'debug',
        'record.url': bench.record.url, 'record.poll': 1, 'record.follow': 1,
        'drop.folder': drop, 'drop.poll': 1, 'drop.settle': 0,
        'report.folder': reports, 'report.weekday': 1, 'report.hour': 0,
        'sender hall.unit': 'Unit North' });
    await bench.service.start();
    await bench.one('by FHIR', byFhir);
    await bench.one('by reading', byReading);
    await bench.one('by HL7 v2, over MLLP and HTTP', byHl7);
    await bench.one('by files, dropped and loaded', byFile);
    await bench.one('by the record: polled, fetched, called', byRecord);
    await bench.one('by people and their commands', byPeople);
    await bench.one('no metric says it', async () => {
        const { text } = await ask('GET', '/metrics');
        expect(text.length > 1000, 'no metrics');
        clean(text, 'metrics');
    });
    await bench.one('no weekly report says it', async () => {
        for (const words of [['report'], ['report', '--json']]) {
            const { out } = await bench.service.command(...words);
            expect(out.includes('Unit North'), `${words}: ${out}`);
            clean(out, words.join(' '), [MARK]);
        }
    });
    await stopChild(bench.service.child);
    await bench.one('no line of the log says it', () => {
        const log = readFileSync(bench.service.log, 'utf8');
        expect(log.split('\n').length > 50 && log.includes('level=debug'),
            'the log is empty');
        clean(log, 'log');
        clean(bench.said, 'log of the commands');
    });
    await bench.one('what debug adds is there, in words and numbers of ours', () => {
        const log = readFileSync(bench.service.log, 'utf8');
        for (const [event, form] of Object.entries(DEBUG_LINES)) {
            const lines = log.split('\n').filter((line) =>
                line.includes(` level=debug event=${event} `));
            expect(lines.length > 0, `no line of ${event}`);
            for (const line of lines)
                expect(form.test(line.replace(/^time=\S+ level=debug /, '')),
                    line);
        }
        expect(bench.ids.length > 3, `${bench.ids}`);
        for (const id of bench.ids) /* as they are called here */
            expect(!log.includes(id), `the log has ${id}`);
    });
    await bench.one('no file is named by it', () => {
        clean(names(folder), 'files');
        for (const name of readdirSync(reports))
            clean(readFileSync(join(reports, name), 'utf8'), name, [MARK]);
    });
    await bench.one('it was there: the store has it', () => {
        expect(readFileSync(bench.service.store).includes(MARK),
            'the mark never came in');
    });
});
