/*
 * The service against a FHIR record that misbehaves: whatever the record does,
 * exactly one Task per access arrives.
 *
 *   node delivery.mjs path/to/headgate
 *
 * Each scenario has a patient of its own.  The Tasks are looked up at the
 * record by the patient and access that they speak of, never by a key of the
 * service, so that a doubled Task with another key is seen as well.
 */

import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http, searchAll, stopChild } from './delivery_kit.mjs';
import { Suite } from './suite.mjs';
import { Person } from './delivery_cases.mjs';
import { measureLatency } from './delivery_latency.mjs';
import { checkText, printFindings } from './validate.mjs';

const ARRIVE_MS = 60000; /* on a machine that is busy with other things */
const SETTLE_MS = 800;      /* longer than outbox.retry_last */
const BURST = 30;

const bench = new Suite();

async function tasksOf(person) {
    const all = await searchAll(`${bench.record.url}/Task?_count=500`);
    return all.filter((task) => person.isIn(task));
}

/* Asks again and again until the Tasks of a person are as wanted. */
async function until(person, isWanted, text) {
    const end = Date.now() + ARRIVE_MS;
    for (;;) {
        const tasks = await tasksOf(person);
        if (isWanted(tasks))
            return tasks;
        expect(Date.now() < end, `${text}; after ${ARRIVE_MS / 1000} s: ${
            tasks.length} Task(s) ${tasks.map((t) => t.status).join(' ')}`);
        await sleep(50);
    }
}

/* One Task arrives, and no second one for as long as a retry could take. */
async function oneTask(person) {
    await until(person, (tasks) => tasks.length > 0, 'no Task arrived');
    await sleep(SETTLE_MS);
    const tasks = await tasksOf(person);
    expect(tasks.length === 1, `${tasks.length} Tasks instead of one: ${
        tasks.map((t) => t.code?.coding?.[0]?.code).join(' ')}`);
    expect(tasks[0].status === 'requested', `status ${tasks[0].status}`);
    return tasks[0];
}

/* What was sent for this person since then, with Tasks in it. */
async function attempts(person, since) {
    const log = await bench.record.log(since, true);
    return log.filter((entry) => entry.method === 'POST'
        && entry.carries.includes('Task')
        && person.isIn(JSON.parse(entry.body)));
}

async function noFault() {
    const person = new Person(bench.service, 'plain');
    await person.firstReading();
    await sleep(SETTLE_MS);
    const early = await tasksOf(person);
    expect(early.length === 0, 'a Task came from one reading');
    await person.secondReading();
    await oneTask(person);
}

/* A fault on the first attempts, of which so many are to be seen. */
async function withFault(tag, fault, faulty = 1) {
    const since = await bench.record.end();
    await bench.record.fault({ times: faulty, ...fault });
    const person = await new Person(bench.service, tag).bothReadings();
    await oneTask(person);
    const tries = await attempts(person, since);
    const hit = tries.filter((entry) => entry.fault !== null);
    expect(hit.length === faulty, `the fault hit ${hit.length} attempts`);
    expect(tries.length === faulty + 1, `${tries.length} attempts`);
    return tries;
}

async function answerLost() {
    const tries = await withFault('lost', { kind: 'drop-after-commit' });
    expect(tries[1].status === 200, `the repeat was answered ${
        tries[1].status}, not as a match`);
}

async function retryAfterSeconds() {
    const [first, second] = await withFault('seconds', { kind: 'status',
        status: 429, headers: { 'Retry-After': '1' } });
    const waitedMs = second.monotonicMs - first.monotonicMs;
    expect(waitedMs >= 1000, `waited ${waitedMs.toFixed(0)} ms`);
}

/* An HTTP-date has whole seconds, so the wait is between 2 and 3 of them. */
async function retryAfterDate() {
    const dueMs = Math.ceil(Date.now() / 1000 + 2) * 1000;
    const [, second] = await withFault('date', { kind: 'status', status: 503,
        headers: { 'Retry-After': new Date(dueMs).toUTCString() } });
    expect(second.arrivalMs >= dueMs - 10,
        `came ${dueMs - second.arrivalMs} ms early`);
}

async function burst() {
    const people = await Promise.all(Array.from({ length: BURST }, (_, n) =>
        new Person(bench.service, `burst-${n}`).firstReading()));
    await Promise.all(people.map((person) => person.secondReading()));
    const end = Date.now() + ARRIVE_MS;
    for (let missing = BURST; missing > 0; await sleep(100)) {
        const all = await searchAll(`${bench.record.url}/Task?_count=500`);
        missing = people.filter((p) => !all.some((t) => p.isIn(t))).length;
        expect(missing === 0 || Date.now() < end, `${missing} without a Task`);
    }
    await sleep(SETTLE_MS);
    const all = await searchAll(`${bench.record.url}/Task?_count=500`);
    for (const person of people) {
        const count = all.filter((task) => person.isIn(task)).length;
        expect(count === 1, `${person.tag} has ${count} Tasks`);
    }
}

async function thirdReading() {
    const person = new Person(bench.service, 'third');
    await person.firstReading(30);
    await person.secondReading(2);
    const before = await oneTask(person);
    await bench.service.post(person.reading(2080, 0));
    const more = (tasks) => tasks.length !== 1
        || tasks[0].input.length > before.input.length;
    await until(person, more, 'the third reading is not in the Task');
    const after = await oneTask(person);
    expect(after.id === before.id, 'the Task was replaced');
    expect(after.input.length > before.input.length, 'no more inputs');
}

async function correction() {
    const person = await new Person(bench.service, 'corrected').bothReadings();
    const before = await oneTask(person);
    await bench.service.post({ ...person.second, status: 'corrected',
        valueQuantity: { ...person.second.valueQuantity, value: 1200 } });
    const [task] = await until(person, (tasks) => tasks.length !== 1
        || tasks[0].status !== 'requested', 'the Task was not withdrawn');
    expect(task.id === before.id, 'the Task was replaced');
    expect(task.status === 'cancelled', `status ${task.status}`);
    expect(task.statusReason?.text || task.statusReason?.coding,
        'no statusReason');
    await sleep(SETTLE_MS);
    expect((await tasksOf(person)).length === 1, 'more than one Task');
}

/* A person at the record takes the Task on. */
async function accept(task) {
    const answer = await http('PUT', `${bench.record.url}/Task/${task.id}`,
        { ...task, status: 'accepted', lastModified: new Date().toISOString() },
        { 'If-Match': `W/"${task.meta.versionId}"` });
    expect(answer.status === 200, `PUT Task: ${answer.status} ${answer.text}`);
}

async function acceptedStays() {
    const person = await new Person(bench.service, 'accepted').bothReadings();
    const before = await oneTask(person);
    await accept(before);
    const answer = await http('PUT',
        `${bench.service.url}/Observation/${person.secondId}`,
        { ...person.second, id: person.secondId, status: 'entered-in-error' });
    expect(answer.status === 200, `PUT Observation: ${answer.status} ${
        answer.text}`);
    const notes = (task) => task.note?.length ?? 0;
    await until(person, (tasks) => tasks.length !== 1
        || tasks[0].status !== 'accepted' || notes(tasks[0]) > notes(before),
    'the Task got no note');
    await sleep(SETTLE_MS);
    const [after, ...others] = await tasksOf(person);
    expect(others.length === 0, 'more than one Task');
    expect(after.status === 'accepted', `status ${after.status}`);
    expect(notes(after) > notes(before), 'no note');
}

/* The record has committed and keeps its answer back; the service dies. */
async function killedWaiting() {
    const since = await bench.record.end();
    await bench.record.fault({ kind: 'delay', after: true, ms: 2000 });
    const person = await new Person(bench.service, 'killed-a').bothReadings();
    const entry = await bench.record.wait(since, 'arrived');
    expect(entry !== null && entry.fault === 'delay', 'no faulted attempt');
    await until(person, (tasks) => tasks.length === 1, 'nothing committed');
    await bench.service.killAndStart();
    const again = await bench.record.wait(entry.seq + 1);
    expect(again !== null, 'the unanswered Task was not sent again');
    await oneTask(person);
    const tries = await attempts(person, since);
    expect(tries.length === 2 && tries[1].status === 200,
        `attempts: ${tries.map((t) => t.status).join(' ')}`);
}

/* The service dies between two attempts, of which none was taken. */
async function killedRetrying() {
    const since = await bench.record.end();
    await bench.record.fault({ kind: 'status', status: 503, times: 1000 });
    const person = await new Person(bench.service, 'killed-b').bothReadings();
    const first = await bench.record.wait(since);
    expect(first !== null && first.fault === 'status', 'no attempt');
    await bench.record.wait(first.seq + 1);
    await stopChild(bench.service.child, 'SIGKILL');
    await bench.record.clearFaults();
    expect((await tasksOf(person)).length === 0, 'a Task in spite of 503');
    await bench.service.start();
    await oneTask(person);
}

/* How many resources were good; anything else is a failure with its finding. */
function allValid(text) {
    const checked = checkText(text);
    expect(checked.length > 0, 'there was nothing to check');
    checked.forEach(({ name, found }) => printFindings(name, found));
    const failed = checked.filter(({ found }) => found.length > 0).length;
    expect(failed === 0, `${failed} of ${checked.length} are not valid`);
    console.log(`  ${checked.length} resources are valid`);
}

function asLines(resources) {
    return resources.map((resource) => JSON.stringify(resource)).join('\n');
}

/* As sent, since the record tidies what it stores; a patch is no resource. */
async function sentValid() {
    const log = await bench.record.log(0, true);
    const sent = log.filter((entry) => /^(POST|PUT)$/.test(entry.method)
        && entry.carries.length > 0);
    const oneLine = ({ body }) => body.replace(/\r?\n/g, ' ');
    allValid(sent.map(oneLine).join('\n'));
}

async function recordTasksValid() {
    allValid(asLines(await searchAll(`${bench.record.url}/Task?_count=500`)));
}

async function serviceTasksValid() {
    const tasks = await searchAll(`${bench.service.url}/Task`);
    expect(tasks.length > 0, 'the service serves no Task');
    allValid(asLines(tasks));
    allValid((await http('GET', `${bench.service.url}/Task`)).text);
}

async function metadataValid() {
    const { status, text } = await http('GET', `${bench.service.url}/metadata`);
    expect(status === 200, `status ${status}`);
    allValid(text);
}

async function latency() {
    const [model] = await searchAll(`${bench.record.url}/Task?_count=1`);
    expect(model !== undefined, 'there is no Task to take as a model');
    delete model.id;
    delete model.meta;
    const people = await measureLatency(bench.record, bench.service, model);
    const all = await searchAll(`${bench.record.url}/Task?_count=1000`);
    for (const person of people) {
        const count = all.filter((task) => person.isIn(task)).length;
        expect(count === 1, `${person.tag} has ${count} Tasks`);
    }
}

async function endsWhenAsked() {
    const how = await stopChild(bench.service.child);
    expect(how === 0, `SIGTERM: ${how}`);
}

const SCENARIOS = [
    ['no fault', noFault],
    ['answer lost after the commit', answerLost],
    ['429 with Retry-After in seconds', retryAfterSeconds],
    ['503 with Retry-After as a date', retryAfterDate],
    ['503 twice', () => withFault('twice', { kind: 'status', status: 503 }, 2)],
    ['connection reset', () => withFault('reset', { kind: 'reset' })],
    ['500 once', () => withFault('once', { kind: 'status', status: 500 })],
    [`${BURST} patients at once`, burst],
    ['third reading joins the Task', thirdReading],
    ['correction withdraws the Task', correction],
    ['accepted Task is not cancelled', acceptedStays],
    ['killed while the answer is awaited', killedWaiting],
    ['killed between two attempts', killedRetrying],
    ['what was sent is valid FHIR', sentValid],
    ['Tasks at the record are valid FHIR', recordTasksValid],
    ['Tasks of the service are valid FHIR', serviceTasksValid],
    ['metadata of the service is valid FHIR', metadataValid],
    ['time to Task, one Task each', latency],
    ['the service ends when asked', endsWhenAsked],
];

await bench.main(async () => {
    await bench.atRecord();
    await bench.each(SCENARIOS);
});
