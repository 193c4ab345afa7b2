/*
 * The queue as Tasks: searching and paging, and what a person may make of one.
 */

import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from './delivery_kit.mjs';
import { Person } from './delivery_cases.mjs';
import { BASE, expectRefused, expectSame, expectStatus, issues, MARK, matches,
    OBS_SYSTEM, searchPages } from './endpoint_kit.mjs';

const TASK_CODES = `${BASE}/CodeSystem/av-task`;
const TASK_KEYS = `${BASE}/NamingSystem/task-key`;
const QUIET_MS = 500; /* longer than a review takes */
const PEOPLE = 22;
const FORM = 'application/x-www-form-urlencoded';

const people = [];

/* A patient with a Task that nobody has touched. */
async function withTask({ client, tasksOf }, tag) {
    const person = new Person(client, `${MARK}-${tag}`);
    await person.firstReading(20);
    await person.secondReading(1);
    const [task] = await tasksOf(person.patientId, 1);
    return Object.assign(person, { task });
}

async function gather(bench) {
    people.push(...await Promise.all(Array.from({ length: PEOPLE }, (_, i) =>
        withTask(bench, `task-${i}`))));
    const hand = people[0];
    await bench.client.post(handUlcer(hand));
    const tasks = await bench.tasksOf(hand.patientId, 2);
    expect(tasks.some((t) => t.priority === 'stat'), 'no stat Task');
}

/* ---- searching ------------------------------------------------------------ */

const at = (task) => Date.parse(task.meta.lastUpdated);
const code = (task) => task.code.coding[0].code;
const key = (task) => task.identifier[0].value;

/* What a query has to find, in terms of the Tasks themselves. */
function queries(all, { url }) {
    const [one, two] = [all[3], all.at(-2)];
    const when = one.meta.lastUpdated;
    const hour = new Date(Date.now() + 3600000).toISOString();
    const today = when.slice(0, 10);
    const isOf = (task) => task.for.reference === one.for.reference;
    const none = () => false;
    const any = () => true;
    return [
        ['', any],
        [`_id=${one.id}`, (t) => t.id === one.id],
        [`_id=${one.id},${two.id},x`, (t) => [one.id, two.id].includes(t.id)],
        ['_id=none', none],
        [`identifier=${TASK_KEYS}|${key(one)}`, (t) => key(t) === key(one)],
        [`identifier=${key(one)}`, (t) => key(t) === key(one)],
        [`identifier=${TASK_KEYS}|`, any],
        [`identifier=https://other.example|${key(one)}`, none],
        [`identifier=|${key(one)}`, none],
        [`identifier=${key(one)},${TASK_KEYS}|${key(two)}`,
            (t) => [key(one), key(two)].includes(key(t))],
        [`patient=${one.for.reference}`, isOf],
        [`patient=${one.for.reference.split('/')[1]}`, isOf],
        [`patient=${url}/${one.for.reference}`, isOf],
        [`subject=${one.for.reference}`, isOf],
        ['patient=nobody', none],
        ['patient=Patient/nobody', none],
        [`patient=https://record.example/${one.for.reference}`, none],
        ['status=requested', (t) => t.status === 'requested'],
        ['status=requested,accepted',
            (t) => ['requested', 'accepted'].includes(t.status)],
        ['status=http://hl7.org/fhir/task-status|requested',
            (t) => t.status === 'requested'],
        ['status=https://other.example|requested', none],
        ['status=https://other.example|requested,accepted',
            (t) => t.status === 'accepted'],
        ['status=request', none],
        ['priority=stat', (t) => t.priority === 'stat'],
        ['priority=stat,routine',
            (t) => ['stat', 'routine'].includes(t.priority)],
        ['priority=high', none],
        [`code=${code(one)}`, (t) => code(t) === code(one)],
        [`code=${TASK_CODES}|${code(one)}`, (t) => code(t) === code(one)],
        [`code=https://other.example|${code(one)}`, none],
        [`code=${TASK_CODES}|`, any],
        [`_lastUpdated=ge${when}`, (t) => at(t) >= at(one)],
        [`_lastUpdated=gt${when}`, (t) => at(t) > at(one)],
        [`_lastUpdated=sa${when}`, (t) => at(t) > at(one)],
        [`_lastUpdated=le${when}`, (t) => at(t) <= at(one)],
        [`_lastUpdated=lt${when}`, (t) => at(t) < at(one)],
        [`_lastUpdated=eb${when}`, (t) => at(t) < at(one)],
        [`_lastUpdated=${when}`, (t) => at(t) === at(one)],
        [`_lastUpdated=eq${when}`, (t) => at(t) === at(one)],
        [`_lastUpdated=${when.slice(0, 19)}Z`, (t) =>
            t.meta.lastUpdated.slice(0, 19) === when.slice(0, 19)],
        [`_lastUpdated=${today}`, (t) => t.meta.lastUpdated.startsWith(today)],
        [`_lastUpdated=gt${hour}`, none],
        [`_lastUpdated=lt${hour}`, any],
        [`_lastUpdated=ge${when}&_lastUpdated=lt${two.meta.lastUpdated}`,
            (t) => at(t) >= at(one) && at(t) < at(two)],
        [`_lastUpdated=ge${when}&_lastUpdated=ge2020`,
            (t) => at(t) >= at(one)],
        [`_lastUpdated=lt${when}&_lastUpdated=lt2120`, (t) => at(t) < at(one)],
        [`_lastUpdated=ge2020&_lastUpdated=gt${when}`, (t) => at(t) > at(one)],
        [`patient=${one.for.reference}&status=requested&code=${code(one)}`,
            (t) => isOf(t) && t.status === 'requested' && code(t) === code(one)],
    ];
}

function encode(query) {
    return query.split('&').filter(Boolean).map((pair) => {
        const [name, value] = pair.split(/=(.*)/s);
        return `${name}=${encodeURIComponent(value)}`;
    }).join('&');
}

function expectFound(pages, want, query) {
    const found = matches(pages);
    expectSame(found.map((t) => t.id).sort(), want.map((t) => t.id).sort(),
        query);
    for (const page of pages) {
        expectSame(page.type, 'searchset', 'type');
        expectSame(page.total, want.length, `total: ${query}`);
    }
}

async function searches({ client }) {
    const all = matches(await searchPages(client, '/Task'));
    expect(all.length > PEOPLE, `${all.length} Tasks`);
    expectSame(new Set(all.map((t) => t.id)).size, all.length, 'ids');
    for (const [query, isWanted] of queries(all, client)) {
        const want = all.filter(isWanted);
        const encoded = encode(query);
        expectFound(await searchPages(client, `/Task?${encoded}`), want, query);
        expectFound(await searchPages(client, `/Task?${encoded}&_count=4`),
            want, query);
        const posted = await client.send('POST', '/Task/_search', encoded,
            { 'Content-Type': FORM });
        expectStatus(posted, 200, '_search');
        expectSame(posted.body.total, want.length, `posted: ${query}`);
    }
}

async function postedSearch({ client }) {
    const form = (body, query = '', type = FORM) => client.send('POST',
        `/Task/_search${query}`, body, { 'Content-Type': type });
    const stat = await form('priority=stat', '?status=requested');
    expect(stat.body.total >= 1, 'query and body together');
    expectSame(stat.body.total, matches([stat.body]).filter((t) =>
        t.priority === 'stat' && t.status === 'requested').length, 'both');
    expectStatus(await form('', ''), 200, 'no body');
    expectStatus(await form('status=requested', '', `${FORM}; charset=UTF-8`),
        200, 'charset');
    for (const type of ['application/fhir+json', 'text/plain'])
        expectRefused(await form('{"status":"none"}', '', type), 415,
            'media-type');
    expectRefused(await client.send('POST', '/Task/_search', 'status=none',
        { 'Content-Type': undefined }), 415, 'media-type');
    expectRefused(await form('status=%zz'), 400, 'bad-parameter');
}

/* A parameter that is not understood must not pass for no condition. */
async function badValues({ client }) {
    for (const query of ['_lastUpdated=x', '_lastUpdated=', '_lastUpdated=g',
        '_lastUpdated=ge', '_lastUpdated=ap2026-01-01',
        '_lastUpdated=q%202026-01-01', '_lastUpdated=2026-13-01',
        '_lastUpdated=2026-02-30', '_lastUpdated=2026-01-01T10:00:00',
        '_count=-1', '_count=x', '_count=', '_count=1x', '_after=%21', 'status=',
        '_after=', 'code=', 'priority=', '_id=', 'patient=', 'identifier=',
        `status=${'x,'.repeat(2000)}x`, `_id=${'x'.repeat(5000)}`,
        'status=requested&status=accepted', 'patient=a&subject=b',
        'patient=a,b', 'status:not=requested', '_id:missing=true',
        'patient:identifier=x|y', '_lastUpdated:missing=false'])
        expectRefused(await client.get(`/Task?${query}`), 400, 'bad-parameter',
            '', query);
}

async function unknownParameters({ client }) {
    const query = `/Task?owner=${MARK}&_sort=-_lastUpdated&status=requested`;
    const lenient = await client.get(query);
    expectStatus(lenient, 200, 'lenient');
    const said = lenient.body.entry.filter((e) => e.search.mode === 'outcome');
    expectSame(said.length, 1, 'outcomes');
    expectSame(issues(said[0].resource).map((i) => [i.severity, i.word]),
        [['warning', 'bad-parameter'], ['warning', 'bad-parameter']], 'said');
    const self = lenient.body.link.find((l) => l.relation === 'self').url;
    expect(self.startsWith(`${client.url}/Task?`)
        && self.includes('status=requested') && !self.includes('owner'), self);
    expectRefused(await client.get(query, { Prefer: 'handling=strict' }), 400,
        'bad-parameter');
    expectStatus(await client.get('/Task?status=requested',
        { Prefer: 'handling=strict' }), 200, 'strict');
    expectStatus(await client.get('/Task?%ff%00x=%fe'), 400, 'bytes');
    expectStatus(await client.get('/Task?%ff%e2%82=%fe&%C3%A9=1'), 200,
        'bytes that are no text');
    const none = await client.get(`/Task?_count=0&status=requested`);
    expectSame([none.body.entry, none.body.total > PEOPLE / 2],
        [undefined, true], '_count=0');
    const most = await client.get('/Task?_count=100000');
    expectSame(most.body.entry.length, most.body.total, '_count');
}

/* Tasks come in and change between the pages. */
async function paging(bench) {
    const { client } = bench;
    const before = matches(await searchPages(client, '/Task?_count=7'));
    let added = 0;
    const pages = await searchPages(client, '/Task?_count=3', async (n) => {
        const person = n % 3 === 1
            ? await withTask(bench, `page-${++added}`) : people[n % PEOPLE];
        if (n % 3 === 2)
            await client.post(person.reading(2150 + n, 0));
    });
    const ids = matches(pages).map((t) => t.id);
    expectSame(new Set(ids).size, ids.length, 'none twice');
    for (const { id } of before)
        expect(ids.includes(id), `${id} was lost`);
    expect(added > 2 && ids.length >= before.length, `${added} came in`);
    for (const page of pages) {
        expect(page.entry.length <= 3, `${page.entry.length} on a page`);
        for (const { relation, url } of page.link)
            expect(url.startsWith(`${client.url}/Task?`), `${relation}: ${url}`);
        for (const entry of page.entry)
            expectSame(entry.fullUrl, `${client.url}/Task/${entry.resource.id}`,
                'fullUrl');
    }
    const other = client.url.replace('127.0.0.1', 'localhost');
    const named = await client.get(`${other}/Task?_count=1`);
    expect(named.body.link.every((l) => l.url.startsWith(`${other}/`)),
        'links use the address that the client used');
}

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

function handUlcer(person) {
    return person.reading(0, 0, { valueQuantity: undefined, valueBoolean: true,
        code: { coding: [{ system: OBS_SYSTEM, code: 'hand-ulcer' }] } });
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
    [`${PEOPLE} patients with Tasks`, gather],
    ['searches', searches],
    ['a posted search', postedSearch],
    ['bad values of parameters', badValues],
    ['unknown parameters', unknownParameters],
    ['pages while Tasks come in', paging],
    ['a person moves the status', transitions],
    ['what a Task is about stays', frozen],
    ['what a person may change', mayChange],
    ['updates that are refused', refusedUpdates],
    ['updates that are not R4', deepForm],
    ['a correction before acceptance', correctedBefore],
    ['a correction after acceptance', correctedAfter],
    ['a rejection keeps quiet', rejected],
    ['entered in error keeps quiet', inError],
    ['two people at once', together],
    ['the queue lists the open Tasks', commandLine],
];
