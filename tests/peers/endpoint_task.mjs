/*
 * What a person may make of a Task, and what follows from it.
 */

import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from './delivery_kit.mjs';
import { expectRefused, expectSame, expectStatus, MARK, matches, searchPages }
    from './endpoint_kit.mjs';
import { handUlcer, people, TASK_KEYS } from './endpoint_search.mjs';

const QUIET_MS = 500; /* longer than a review takes */

/* ---- a person's update ---------------------------------------------------- */

async function current(client, { id }) {
    const answer = await client.get(`/Task/${id}`);
    expectStatus(answer, 200, 'Task');
    return answer.body;
}

function change(client, task, more, headers) {
    return client.put('Task', { ...task, lastModified: new Date().toISOString(),
        ...more }, headers);
}

async function walk(client, task, statuses) {
    for (const [i, status] of statuses.entries()) {
        const answer = await change(client, await current(client, task),
            { status });
        expectStatus(answer, 200, `${statuses[i - 1] ?? 'requested'} to ${
            status}`);
        expectSame(answer.body.status, status, 'status');
    }
}

const ALLOWED = [
    ['received', 'accepted', 'in-progress', 'on-hold', 'in-progress',
        'completed', 'entered-in-error'],
    ['accepted', 'ready', 'in-progress', 'failed'],
    ['accepted', 'accepted', 'cancelled'],
    ['rejected', 'entered-in-error'],
    ['cancelled'],
];
const FORBIDDEN = [
    [[], ['draft', 'ready', 'in-progress', 'on-hold', 'completed', 'failed']],
    [['accepted'], ['requested', 'draft', 'received']],
    [['accepted', 'completed'], ['requested', 'accepted', 'in-progress']],
    [['rejected'], ['requested', 'accepted', 'completed']],
];

/* Source: the state machine of Task, HL7 FHIR R4. */
async function transitions({ client }) {
    let next = 1;
    for (const statuses of ALLOWED)
        await walk(client, people[next++].task, statuses);
    for (const [first, refused] of FORBIDDEN) {
        const { task } = people[next++];
        await walk(client, task, first);
        const now = await current(client, task);
        for (const status of refused)
            expectRefused(await change(client, now, { status }), 422,
                'value-conflict', 'Task.status');
        expectSame((await current(client, task)).meta.versionId,
            now.meta.versionId, 'version');
    }
}

const FROZEN = {
    identifier: [{ system: TASK_KEYS, value: MARK }], intent: 'order',
    for: { reference: 'Patient/other' }, authoredOn: '2026-01-01T00:00:00Z',
    focus: { reference: 'BodyStructure/other' }, code: { text: MARK },
};

async function frozen({ client }) {
    const task = await current(client, people[10].task);
    for (const [name, value] of Object.entries(FROZEN)) {
        for (const changed of [value, undefined]) {
            const answer = await change(client, task, { [name]: changed });
            if (name === 'intent' && changed === undefined)
                expectRefused(answer, 400, 'missing-element', 'Task.intent');
            else
                expectRefused(answer, 409, 'identity', `Task.${name}`);
        }
    }
    expectSame(await current(client, task), task, 'the Task');
}

async function mayChange({ client }) {
    const task = await current(client, people[11].task);
    const more = { status: 'accepted', priority: 'urgent',
        owner: { display: `Team ${MARK}` },
        businessStatus: { text: 'Appointment made' },
        note: [...task.note, { text: `${MARK} has been phoned` }],
        output: [{ type: { text: 'Result' }, valueString: MARK }] };
    const answer = await change(client, task, more, { 'If-Match':
        `W/"${task.meta.versionId}"` });
    expectStatus(answer, 200, 'PUT');
    const version = String(Number(task.meta.versionId) + 1);
    expectSame(answer.headers.etag, `W/"${version}"`, 'ETag');
    const now = await current(client, task);
    for (const [name, value] of Object.entries(more))
        expectSame(now[name], value, name);
    expectSame(now.meta.versionId, version, 'version');
    const history = await client.get(`/Task/${task.id}/_history`);
    expectSame(history.body.entry.map((e) => e.resource.meta.versionId),
        Array.from({ length: Number(version) }, (_, i) => `${version - i}`),
        'history');
    const old = await client.get(`/Task/${task.id}/_history/${
        task.meta.versionId}`);
    expectSame(old.body, task, 'the version before');
}

async function refusedUpdates({ client }) {
    const task = await current(client, people[12].task);
    const stale = { 'If-Match': 'W/"99"' };
    expectRefused(await change(client, task, { status: 'accepted' }, stale),
        412, 'precondition');
    for (const [more, status, word, place] of [
        [{ status: 'done' }, 400, 'bad-value', 'Task.status'],
        [{ status: undefined }, 400, 'missing-element', 'Task.status'],
        [{ priority: 'high' }, 400, 'bad-value', 'Task.priority'],
        [{ lastModified: '2020-01-01T00:00:00Z' }, 400, 'invariant',
            'Task.lastModified'],
        [{ lastModified: 'yesterday' }, 400, 'bad-datetime',
            'Task.lastModified'],
        [{ output: [{ valueString: MARK }] }, 400, 'missing-element',
            'Task.output[0]'],
        [{ output: [{ type: { text: 'x' }, valueString: 'a', valueCode: 'b' }] },
            400, 'bad-element', undefined],
        [{ note: [] }, 400, 'bad-element', 'Task.note'],
        [{ note: {} }, 400, 'bad-element', undefined],
        [{ owner: null }, 400, 'bad-element', 'Task.owner'],
        [{ [MARK]: MARK }, 400, 'bad-element', undefined],
        [{ modifierExtension: [{ url: 'https://x.example', valueCode: 'x' }] },
            422, 'modifier', undefined]])
        expectRefused(await change(client, task, more), status, word, place);
    expectRefused(await client.send('PUT', `/Task/${task.id}`,
        { ...task, id: 'other' }), 400, 'bad-value', 'Task.id');
    expectRefused(await client.send('PUT', '/Task/other',
        { ...task, id: 'other' }), 404, 'not-found');
    expectRefused(await client.send('PUT', `/Task/${task.id}`,
        { resourceType: 'Patient', id: task.id }), 400, 'bad-value');
    expectRefused(await client.send('PUT', `/Task/${task.id}`, '{'), 400,
        'json-syntax');
    expectSame(await current(client, task), task, 'the Task');
}

/* What a person puts there is served again, so it has to be R4 all through. */
async function deepForm({ client }) {
    const task = await current(client, people[13].task);
    for (const [name, value] of Object.entries({ note: [{ text: 7 }],
        owner: { [MARK]: MARK }, statusReason: { coding: [{ code: 'a  b' }] },
        businessStatus: { coding: {} }, executionPeriod: { start: 'soon' },
        partOf: [{ reference: ['Task/x'] }], performerType: [{}],
        output: [{ type: { text: 'x' }, valueQuantity: { value: '7' } }],
        restriction: { repetitions: 'once' }, insurance: { display: 'x' } })) {
        const answer = await change(client, task, { [name]: value });
        expect(answer.status === 400, `${name}: ${answer.status}`);
    }
}

/* A scanned report does not keep the access from being watched. */
async function attachment({ client, tasksOf }) {
    const person = people[19];
    const task = await current(client, person.task);
    const output = (size) => [{ type: { text: 'Report' }, valueAttachment: {
        contentType: 'application/pdf', data: 'QUJD'.repeat(size / 4) } }];
    expectRefused(await change(client, task, { output: output(1 << 20) }), 413,
        'too-long');
    expectStatus(await change(client, task, { output: output(900000) }), 200,
        'a large output');
    await walk(client, task, ['accepted', 'in-progress']);
    const notes = (await current(client, task)).note.length;
    await client.post(person.reading(2300, 0));
    const [after] = await tasksOf(person.patientId, 1,
        ([t]) => t.note.length > notes);
    expectSame(after.output[0].valueAttachment.data.length, 900000, 'output');
    await walk(client, task, ['completed']);
}

/* ---- what follows --------------------------------------------------------- */

async function corrected({ client, tasksOf }, person, isWanted) {
    const answer = await client.put('Observation', { ...person.second,
        id: person.secondId, status: 'corrected',
        valueQuantity: { ...person.second.valueQuantity, value: 900 } });
    expectStatus(answer, 200, 'correction');
    const [task, ...more] = await tasksOf(person.patientId, 1, isWanted);
    expectSame(more.length, 0, 'further Tasks');
    return task;
}

async function correctedBefore(bench) {
    const person = people[14];
    const task = await corrected(bench, person,
        ([t]) => t.status !== 'requested');
    expectSame(task.status, 'cancelled', 'status');
    expect(task.statusReason !== undefined, 'no reason');
}

async function correctedAfter(bench) {
    const person = people[15];
    await walk(bench.client, person.task, ['accepted']);
    const before = await current(bench.client, person.task);
    const task = await corrected(bench, person,
        ([t]) => t.note.length > before.note.length);
    expectSame(task.status, 'accepted', 'status');
    for (const name of ['code', 'focus', 'for', 'priority', 'description',
        'restriction', 'owner', 'reasonReference'])
        expectSame(task[name], before[name], name);
    expectSame(task.note.length, before.note.length + 1, 'notes');
}

/* Quiet after a rejection, but never about an emergency. */
async function rejected({ client, tasksOf }) {
    const person = people[16];
    await walk(client, person.task, ['rejected']);
    await client.post(person.reading(2100, 0.75));
    await client.post(person.reading(2700, 0.25));
    await sleep(QUIET_MS);
    const quiet = await tasksOf(person.patientId, 1);
    expectSame(quiet.map((t) => t.status), ['rejected'], 'Tasks');
    await client.post(handUlcer(person));
    const [first] = await tasksOf(person.patientId, 2,
        (tasks) => tasks.some((t) => t.priority === 'stat'));
    expectSame([first.id, first.status], [person.task.id, 'rejected'],
        'the first Task');
}

async function inError({ client, tasksOf }) {
    const person = people[17];
    await walk(client, person.task, ['entered-in-error']);
    await client.post(person.reading(2200, 0));
    await sleep(QUIET_MS);
    const tasks = await tasksOf(person.patientId, 1);
    expectSame(tasks.map((t) => t.status), ['entered-in-error'], 'Tasks');
}

/* Two people at once: one of them is told. */
async function together({ client }) {
    const task = await current(client, people[18].task);
    const headers = { 'If-Match': `W/"${task.meta.versionId}"` };
    const answers = await Promise.all(['accepted', 'rejected', 'received',
        'cancelled'].map((status) => change(client, task, { status }, headers)));
    expectSame(answers.map((a) => a.status).sort(), [200, 412, 412, 412],
        'statuses');
}

async function commandLine({ client }) {
    const { text } = await client.ops('/queue');
    const rows = text.trim().split('\n').map((line) => JSON.parse(line));
    const open = rows.map((row) => row.task);
    const tasks = matches(await searchPages(client, '/Task'));
    const isOpen = (t) => !['completed', 'rejected', 'cancelled', 'failed',
        'entered-in-error'].includes(t.status);
    expectSame(open.sort(), tasks.filter(isOpen).map((t) => t.id).sort(),
        'the queue');
}

export const taskCases = [
    ['a person moves the status', transitions],
    ['what a Task is about stays', frozen],
    ['what a person may change', mayChange],
    ['updates that are refused', refusedUpdates],
    ['updates that are not R4', deepForm],
    ['a large attachment', attachment],
    ['a correction before acceptance', correctedBefore],
    ['a correction after acceptance', correctedAfter],
    ['a rejection keeps quiet', rejected],
    ['entered in error keeps quiet', inError],
    ['two people at once', together],
    ['the queue lists the open Tasks', commandLine],
];
