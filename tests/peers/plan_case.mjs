/*
 * A running case over HTTP: what is tied and measured on the table arrives as
 * Observations, and the plan in the Task follows, here and at the record.
 *
 *   node plan_case.mjs path/to/headgate
 *
 * The attachment is checked by Node's own base64 and SHA-1, each Task by
 * independent R4 validators.  How long it takes from the request to the Task is
 * printed; asserted is that it comes.
 */

import { createHash } from 'node:crypto';
import { setTimeout as sleep } from 'node:timers/promises';
import { Person } from './delivery_cases.mjs';
import { expect, http, searchAll, stopChild } from './delivery_kit.mjs';
import { Suite } from './suite.mjs';
import { checkText, printFindings } from './validate.mjs';

const ARRIVE_MS = 20000;
const MINUTE_D = 1 / 1440;
const BASE = 'https://headgate.example/fhir';
const OBS = `${BASE}/CodeSystem/av-observation`;
const IO = `${BASE}/CodeSystem/av-task-io`;

const bench = new Suite();

/* ---- the plan of a Task --------------------------------------------------- */

function planInputs(task) {
    return (task.input ?? []).filter((input) => input.type.coding?.some(
        (c) => c.code === 'plan' && c.system === IO));
}

/* Its document, after all that R4 says of an attachment was checked. */
function planOf(task) {
    const inputs = planInputs(task);
    expect(inputs.length === 1, `${inputs.length} plans in the Task`);
    const a = inputs[0].valueAttachment;
    const bytes = Buffer.from(a.data, 'base64');
    expect(bytes.toString('base64') === a.data, 'the data is not base64');
    expect(a.contentType === 'application/json', `type ${a.contentType}`);
    expect(a.size === bytes.length, `size ${a.size} of ${bytes.length}`);
    expect(a.hash === createHash('sha1').update(bytes).digest('base64'),
        `hash ${a.hash}`);
    expect(a.title.startsWith('Band plan'), `title ${a.title}`);
    expect(Date.parse(a.creation) <= Date.now() + 1000, `made ${a.creation}`);
    return { plan: JSON.parse(bytes.toString('utf8')), text: a.data };
}

/* The last member is the digest of the rest: the bytes before its comma, and
 * the closing brace. */
function expectDigest(data) {
    const text = Buffer.from(data, 'base64').toString('utf8').trimEnd();
    const at = text.lastIndexOf(',"sha256":"');
    const digest = createHash('sha256').update(`${text.slice(0, at)}}`)
        .digest('hex');
    expect(text.slice(at) === `,"sha256":"${digest}"}`, 'the digest is wrong');
}

function expectValid(task) {
    for (const { name, found } of checkText(JSON.stringify(task))) {
        printFindings(name, found);
        expect(found.length === 0, `${name} is not valid`);
    }
}

/* ---- people and readings -------------------------------------------------- */

class Patient extends Person {
    /* As it is read on the dialysis machine, twice, above 2 L/min. */
    async candidate() {
        await this.arrive();
        await this.service.post(this.reading(2400, 28));
        await this.service.post(this.reading(2500, 60 * MINUTE_D));
        await this.service.post(this.other('mean-pressure', 94, 'mm[Hg]',
            60 * MINUTE_D));
        this.task = await taskWhen(this, (t) => planInputs(t).length === 1);
        return this;
    }

    /* A tie with the pair after it and the pressure, as one Bundle. */
    tie(dowel, first, second, minutesAgo = 1) {
        const at = (m) => (minutesAgo - m) * MINUTE_D;
        const entries = [this.other('dowel-diameter', dowel, 'mm', at(0)),
            this.reading(first, at(0.4)), this.reading(second, at(0.6)),
            this.other('mean-pressure', 92, 'mm[Hg]', at(0.6))];
        return { resourceType: 'Bundle', type: 'batch',
            entry: entries.map((resource) => ({ resource,
                request: { method: 'POST', url: 'Observation' } })) };
    }
}

async function tasksAt(url, person) {
    const all = await searchAll(`${url}/Task?_count=500`);
    return all.filter((task) => person.isIn(task));
}

/* The referral for the flow, once it is as wanted. */
async function taskWhen(person, isWanted, url = bench.service.url) {
    for (const end = Date.now() + ARRIVE_MS;; await sleep(5)) {
        const [task] = (await tasksAt(url, person)).filter(
            (t) => t.code.coding[0].code === 'refer-flow-review');
        if (task !== undefined && isWanted(task))
            return task;
        expect(Date.now() < end, `not within ${ARRIVE_MS} ms: ${
            task === undefined ? 'no Task' : JSON.stringify(task.note?.at(-1))}`);
    }
}

const stages = (task) => planInputs(task).length === 1
    ? planOf(task).plan.stages.length : -1;

/* Sends, and says how long the plan took to follow. */
async function step(person, body, wanted, what) {
    const began = performance.now();
    const { status, text } = await http('POST', bench.service.url, body);
    const answered = performance.now();
    expect(status === 200, `${what}: ${status} ${text}`);
    const task = await taskWhen(person, (t) => stages(t) === wanted);
    console.log(`  ${what}: answered after ${(answered - began).toFixed(0)
    } ms, in the Task after ${(performance.now() - began).toFixed(0)} ms`);
    return task;
}

/* ---- cases ---------------------------------------------------------------- */

async function attached() {
    const person = await new Patient(bench.service, 'plan').candidate();
    const { plan, text } = planOf(person.task);
    expectValid(person.task);
    expectDigest(text);
    expect(plan.offered === true && plan.first_dowel_mm > 2
        && plan.stages.length === 0, JSON.stringify(plan).slice(0, 200));
    expect(person.task.description.includes(
        `first a ${plan.first_dowel_mm} mm dowel`), person.task.description);
    const asked = await http('GET', `${bench.service.url.replace('/fhir', '')
    }/plan?access=${person.access}&json=1`);
    expect(asked.status === 200 && asked.text
        === Buffer.from(text, 'base64').toString('utf8'),
    'who asks gets another plan');
}

async function runningCase() {
    const person = await new Patient(bench.service, 'case').candidate();
    let task = await step(person, person.tie(4, 1800, 1760, 3), 1, 'one tie');
    expectValid(task);
    expect(task.status === 'requested', `status ${task.status}`);
    expect(task.note.at(-1).text.includes('a band was tied'),
        task.note.at(-1).text);
    task = await step(person, person.tie(3.5, 1310, 1330), 2, 'a second tie');
    const { plan, text } = planOf(task);
    expectDigest(text);
    expectValid(task);
    expect(plan.stages.map((s) => s.dowel_mm).join() === '4,3.5',
        JSON.stringify(plan.stages));
    expect(Math.abs(plan.stages[1].measured_ml_min - 1320) <= 1,
        `${plan.stages[1].measured_ml_min} measured`);
    expect(['accept', 'tighten', 'loosen', 'stretch', 'remeasure'].includes(
        plan.next.action), JSON.stringify(plan.next));
    const { body } = await http('GET',
        `${bench.service.url}/Task/${task.id}/_history?_count=100`);
    const steps = body.entry.map((e) => stages(e.resource));
    expect([0, 1, 2].every((n) => steps.includes(n)),
        `the history holds plans with ${steps} steps`);
}

/* One after the other, as a device sends them. */
async function oneByOne() {
    const person = await new Patient(bench.service, 'single').candidate();
    const { entry } = person.tie(4, 1700, 1720);
    await bench.service.post(entry[0].resource);
    await taskWhen(person, (t) => stages(t) === 1);
    for (const { resource } of entry.slice(1))
        await bench.service.post(resource);
    const task = await taskWhen(person, (t) => stages(t) === 1
        && planOf(t).plan.stages[0].flow_ml_min.length === 2);
    expect(planOf(task).plan.stages[0].map_mmhg === 92,
        'the pressure of the moment is not in it');
}

async function lowFlowSteal() {
    const person = await new Patient(bench.service, 'steal').arrive();
    await bench.service.post(person.reading(650, 2));
    await bench.service.post({ ...person.other('hand-symptom', 0, '1', 1),
        valueQuantity: undefined, valueCodeableConcept: { coding: [
            { system: OBS, code: 'pain-at-rest' }] } });
    for (const end = Date.now() + ARRIVE_MS;; await sleep(20)) {
        const tasks = await tasksAt(bench.service.url, person);
        expect(tasks.every((t) => planInputs(t).length === 0), 'it has a plan');
        if (tasks.some((t) => t.instantiatesUri.includes('IS-')))
            return;
        expect(Date.now() < end, 'no Task');
    }
}

/* Whoever has the Task at the record, its plan is ours. */
async function atTheRecord() {
    const record = bench.record.url;
    const person = await new Patient(bench.service, 'record').candidate();
    const there = await taskWhen(person, (t) => stages(t) === 0, record);
    expect(planOf(there).text === planOf(person.task).text,
        'the record has another plan');
    const mine = { type: { text: 'consent' }, valueString: 'asked' };
    const taken = await http('PUT', `${record}/Task/${there.id}`, { ...there,
        status: 'accepted', owner: { display: 'Access coordinator' },
        input: [...there.input, mine] });
    expect(taken.status === 200, `PUT: ${taken.status} ${taken.text}`);
    const here = await step(person, person.tie(4, 1800, 1760), 1,
        'with a record');
    const after = await taskWhen(person, (t) => stages(t) === 1, record);
    expect(planOf(after).text === planOf(here).text, 'the plans differ');
    expect(after.status === 'accepted'
        && after.owner.display === 'Access coordinator', 'not theirs any more');
    expect(after.input.some((i) => i.valueString === 'asked'),
        'their input is gone');
    expect(after.note.some((n) => n.text.includes('a band was tied')),
        'no note says what changed');
    expectValid(after);
}

/* What was acknowledged is planned with, though the service died at once. */
async function killed() {
    const person = await new Patient(bench.service, 'killed').candidate();
    const { status } = await http('POST', bench.service.url,
        person.tie(4, 1800, 1760));
    expect(status === 200, `status ${status}`);
    await bench.service.killAndStart();
    await taskWhen(person, (t) => stages(t) === 1);
}

const CASES = [
    ['a band candidate has the plan in the Task', attached],
    ['a running case: each step is in the Task', runningCase],
    ['readings that come one by one', oneByOne],
    ['a steal at a low flow has no plan', lowFlowSteal],
    ['a record carries the same', atTheRecord],
    ['killed after the answer', killed],
];

await bench.main(async () => {
    await bench.atRecord();
    await bench.each(CASES);
    await stopChild(bench.service.child);
});
