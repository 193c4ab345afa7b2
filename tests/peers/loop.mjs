/*
 * The whole loop at a clinical record: readings appear in the record, headgate
 * fetches them, posts Tasks, follows what people do with them, and withdraws
 * what a correction takes away.  Nothing is sent to headgate itself.
 *
 *   node loop.mjs path/to/headgate [--java]
 *
 * The record is the server in memory of record.mjs; with --java an HAPI FHIR
 * JPA server on a database, which is killed and restarted in the middle.  Both
 * stand behind the faults of record_faults.mjs.
 *
 * Counts are exact: one Task for each patient whose flow is high, none for the
 * others, whatever the record did meanwhile.  The pseudo-random faults come
 * from a fixed seed (LOOP_SEED for another).
 */

import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http, searchAll } from './delivery_kit.mjs';
import { Suite, untilSeen } from './suite.mjs';

const BASE = 'https://headgate.example/fhir';
const KEY = `${BASE}/NamingSystem/task-key`;
const DAY_MS = 24 * 3600 * 1000;
const ARRIVE_MS = 30000;
const SETTLE_MS = 3500; /* some turns of poll and follow */
const RUN = Date.now().toString(36);

const bench = new Suite({ more: '[--java]', wholeMs: 420000, logLines: 8 });

/* ---- people whose readings are in the record ---------------------------- */

class Patient {
    constructor(tag) {
        this.tag = `${tag}-${RUN}`;
        this.taken = 0;
    }

    async arrive() {
        this.patient = await create({ resourceType: 'Patient',
            identifier: [{ system: 'urn:oid:2.999.1.1',
                value: `L-${this.tag}` }],
            name: [{ family: 'Example', given: [`Loop ${this.tag}`] }] });
        this.access = await create({ resourceType: 'BodyStructure',
            identifier: [{ system: 'https://site.example/ids/access',
                value: `A-${this.tag}` }],
            active: true,
            morphology: { coding: [{ code: 'avf',
                system: `${BASE}/CodeSystem/av-access-type` }] },
            location: { text: 'Left upper arm, brachiocephalic' },
            locationQualifier: [{ coding: [{
                system: 'http://snomed.info/sct', code: '419161000' }] }],
            patient: { reference: `Patient/${this.patient.id}` } });
        return this;
    }

    flow(flow_ml_min, daysAgo) {
        this.taken++;
        return { resourceType: 'Observation', status: 'final',
            identifier: [{ system: 'https://site.example/ids/obs',
                value: `Q-${this.tag}-${this.taken}` }],
            code: { coding: [{ system: `${BASE}/CodeSystem/av-observation`,
                code: 'access-flow' }] },
            subject: { reference: `Patient/${this.patient.id}` },
            focus: [{ reference: `BodyStructure/${this.access.id}` }],
            effectiveDateTime: new Date(Date.now() - daysAgo * DAY_MS - 60000)
                .toISOString(),
            valueQuantity: { value: flow_ml_min, unit: 'mL/min',
                system: 'http://unitsofmeasure.org', code: 'mL/min' },
            method: { text: 'Ultrasound dilution' } };
    }

    /* High flow in two sessions, or one session only. */
    async measured(...flows) {
        await this.arrive();
        this.readings = [];
        for (const [at, flow] of flows.entries())
            this.readings.push(await create(this.flow(flow,
                28 * (flows.length - 1 - at))));
        return this;
    }

    async tasks() {
        const all = await searchAll(
            `${bench.record.url}/Task?identifier=${KEY}%7C&_count=200`);
        return all.filter((task) => JSON.stringify(task).includes(
            `Patient/${this.patient.id}"`));
    }
}

/* Whoever writes to the record meets its faults as well, and tries again. */
async function create(resource) {
    const { system, value } = resource.identifier[0];
    const condition = { 'If-None-Exist': `identifier=${system}|${value}` };
    const path = `${bench.record.url}/${resource.resourceType}`;
    for (let tries = 0; ; tries++) {
        const answer = await tried('POST', path, resource, condition);
        if (answer?.status === 200 || answer?.status === 201)
            return answer.body;
        expect(tries < 40, `POST ${resource.resourceType}: ${answer?.status}`);
        await sleep(100);
    }
}

async function tried(...request) {
    try {
        return await http(...request);
    } catch {
        return null; /* dropped, reset, or just restarting */
    }
}

async function change(resource, changed) {
    const url = `${bench.record.url}/${resource.resourceType}/${resource.id}`;
    const { body: now } = await http('GET', url);
    const answer = await http('PUT', url, { ...now, ...changed },
        { 'If-Match': `W/"${now.meta.versionId}"` });
    expect(answer.status === 200, `PUT ${url}: ${answer.status} ${
        answer.text.slice(0, 300)}`);
    return answer.body;
}

const until = (look, isWanted, text) =>
    untilSeen(look, isWanted, text, ARRIVE_MS);

async function oneTask(person) {
    const [task] = await until(() => person.tasks(), (t) => t.length > 0,
        `no Task of ${person.tag}`);
    return task;
}

async function queue() {
    const origin = new URL(bench.service.url).origin;
    const answer = await http('GET', `${origin}/queue`);
    return answer.text.split('\n').filter(Boolean).map((l) => JSON.parse(l));
}

/* The Task as headgate serves it itself. */
async function ownCopy({ identifier: [{ value }] }) {
    const [own] = await searchAll(`${bench.service.url}/Task?identifier=${KEY}%7C${
        value}`);
    return own;
}

async function inQueue(person, kind = 'referral') {
    const rows = await queue();
    return rows.filter((row) => row.kind === kind
        && row.patient_number === `L-${person.tag}`);
}

/* ---- scenarios ---------------------------------------------------------- */

async function fromReadingToTask() {
    const person = await new Patient('plain').measured(2100, 2060);
    const task = await oneTask(person);
    expect(task.for.reference === `Patient/${person.patient.id}`,
        `for ${JSON.stringify(task.for)}`);
    expect(task.focus.reference === `BodyStructure/${person.access.id}`,
        `focus ${JSON.stringify(task.focus)}`);
    const inputs = JSON.stringify(task.input);
    for (const { id } of person.readings)
        expect(inputs.includes(`Observation/${id}"`)
            || JSON.stringify(task.reasonReference).includes(id),
        'a reading is not referred to by the id that it has in the record');
    bench.plain = person;
}

async function notFromOne() {
    const person = await new Patient('single').measured(2100);
    await sleep(SETTLE_MS);
    expect((await person.tasks()).length === 0, 'a Task from one reading');
}

async function acceptedThenCompleted() {
    const person = bench.plain;
    const task = await oneTask(person);
    await change(task, { status: 'accepted' });
    await until(() => inQueue(person), ([row]) => row?.state === 'taken',
        'the acceptance is not seen');
    expect((await ownCopy(task)).status === 'accepted',
        'our own copy says something else');
    const order = await create({ resourceType: 'ServiceRequest',
        identifier: [{ system: 'https://site.example/ids/order',
            value: `O-${person.tag}` }],
        status: 'active', intent: 'order',
        subject: { reference: `Patient/${person.patient.id}` },
        code: { text: 'Echocardiography' } });
    const done = await change(task, { status: 'completed', output: [{
        type: { text: 'order' },
        valueReference: { reference: `ServiceRequest/${order.id}` } }] });
    await until(() => inQueue(person), (rows) => rows.length === 0,
        'the completion is not seen');
    await sleep(SETTLE_MS);
    const tasks = await person.tasks();
    const after = tasks.find(({ id }) => id === task.id);
    expect(after.status === 'completed' && after.output.length === 1,
        `status ${after.status}`);
    expect(tasks.filter(({ status }) => status === 'requested').length <= 1,
        'more than a reminder was made');
    expect(after.meta.versionId === done.meta.versionId,
        'it was written to after it was completed');
}

async function rejectedIsQuiet() {
    const person = await new Patient('rejected').measured(2100, 2060);
    const task = await oneTask(person);
    await change(task, { status: 'rejected',
        statusReason: { text: 'known, and to be left' } });
    await until(() => inQueue(person), (rows) => rows.length === 0,
        'the rejection is not seen');
    await create(person.flow(2110, 0));
    await sleep(SETTLE_MS);
    const tasks = await person.tasks();
    const copy = await ownCopy(task);
    expect(copy.status === 'rejected' && copy.businessStatus === undefined
        && copy.statusReason?.text === 'known, and to be left',
    `our own copy: ${copy.status}`);
    expect(tasks.length === 1 && tasks[0].status === 'rejected',
        `raised again: ${tasks.map(({ status }) => status)}`);
}

async function correctionWithdraws() {
    const person = await new Patient('corrected').measured(2100, 2060);
    const task = await oneTask(person);
    const last = person.readings[1];
    await change(last, { status: 'corrected',
        valueQuantity: { ...last.valueQuantity, value: 1200 } });
    const [after] = await until(() => person.tasks(),
        ([t]) => t.status !== 'requested', 'it was not withdrawn');
    expect(after.id === task.id && after.status === 'cancelled',
        `status ${after.status}`);
    expect(after.statusReason?.text, 'no reason is said');
}

async function withdrawnReading() {
    const person = await new Patient('error').measured(2100, 2060);
    await oneTask(person);
    await change(person.readings[1], { status: 'entered-in-error' });
    await until(() => person.tasks(), ([t]) => t.status === 'cancelled',
        'it was not withdrawn');
}

async function deletedTask() {
    const person = await new Patient('deleted').measured(2100, 2060);
    const task = await oneTask(person);
    await sleep(SETTLE_MS);
    const sources = await searchAll(
        `${bench.record.url}/Provenance?target=Task/${task.id}`);
    for (const { resourceType, id } of [...sources, task])
        expect((await http('DELETE', `${bench.record.url}/${resourceType}/${id}`)
        ).status < 300, `DELETE ${resourceType}`);
    await create(person.flow(2110, 0)); /* it was to be told of this */
    await until(() => inQueue(person), (rows) => rows.length === 0,
        'the deletion is not seen');
    await sleep(SETTLE_MS);
    expect((await person.tasks()).length === 0, 'it was made again');
}

/* ---- a bad day ---------------------------------------------------------- */

/* A small generator of Lehmer's kind: the same faults in each run. */
function random(seed) {
    let state = seed % 2147483647;
    return (below) => {
        state = state * 48271 % 2147483647;
        return state % below;
    };
}

const BAD = [
    { kind: 'status', status: 503 },
    { kind: 'status', status: 429, headers: { 'Retry-After': '1' } },
    { kind: 'status', status: 500 },
    { kind: 'drop-before' },
    { kind: 'reset' },
    { kind: 'drop-after-commit' },
    { kind: 'delay', ms: 400 },
    { kind: 'delay', ms: 400, after: true },
];
const WHERE = [{ method: 'POST' }, { method: 'GET' }, { method: 'PATCH' },
    { method: 'GET', path: '/Observation' }, { path: '/' },
    { method: 'POST', carries: 'Task' }];

async function badDay() {
    const below = random(Number(process.env.LOOP_SEED ?? 20261126));
    const high = [], low = [];
    const faults = Array.from({ length: 60 }, () => ({
        match: WHERE[below(WHERE.length)], ...BAD[below(BAD.length)] }));
    for (const fault of faults)
        await bench.record.fault(fault);
    for (let n = 0; n < 16; n++) {
        const flows = n % 4 === 3 ? [900, 950] : [2100, 2050 + n];
        (n % 4 === 3 ? low : high).push(
            await new Patient(`bad-${n}`).measured(...flows));
        if (n === 5)
            await bench.service.killAndStart();
        if (n === 10 && bench.java !== null) {
            await bench.java.kill();
            await sleep(1500);
            await bench.java.restart();
        }
    }
    await sleep(4000);
    await bench.record.clearFaults();
    for (const person of high)
        await oneTask(person);
    await sleep(SETTLE_MS);
    for (const person of high) {
        const tasks = await person.tasks();
        expect(tasks.length === 1 && tasks[0].status === 'requested',
            `${person.tag}: ${tasks.map(({ status }) => status)}`);
    }
    for (const person of low)
        expect((await person.tasks()).length === 0, `${person.tag} has a Task`);
    return `${high.length} Tasks, ${low.length} patients without`;
}

/* Every reading that the record has is here, once. */
async function countsAgree() {
    const there = (await searchAll(
        `${bench.record.url}/Observation?_count=200`)).filter(({ subject }) =>
        subject !== undefined);
    const here = await until(() => searchAll(
        `${bench.service.url}/Observation?_count=200`),
    (all) => all.length >= there.length, 'readings are missing');
    expect(here.length === there.length,
        `${here.length} here, ${there.length} there`);
    const ids = (all) => all.map(({ identifier }) => identifier[0].value)
        .sort().join(' ');
    expect(ids(here) === ids(there), 'they are not the same');
    return `${here.length} readings`;
}

const SCENARIOS = [
    ['from readings in the record to a Task there', fromReadingToTask],
    ['no Task from one reading', notFromOne],
    ['accepted, then completed with an output', acceptedThenCompleted],
    ['rejected with a reason: quiet', rejectedIsQuiet],
    ['a correction withdraws', correctionWithdraws],
    ['a reading entered in error withdraws', withdrawnReading],
    ['a Task that is deleted there', deletedTask],
    ['a bad day: faults, restarts, and exact counts', badDay],
    ['each reading of the record is here once', countsAgree],
];

await bench.main(async () => {
    await bench.atRecord({ 'record.poll': 1, 'record.follow': 1,
        'record.recheck': 60,
        'record.poll_from': new Date(Date.now() - DAY_MS).toISOString()
            .slice(0, 10) });
    await bench.each(SCENARIOS);
});
