/*
 * The queue as Tasks: a ward of invented patients, searching and paging.
 */

import { expect } from './delivery_kit.mjs';
import { Person } from './delivery_cases.mjs';
import { BASE, expectRefused, expectSame, expectStatus, issues, MARK, matches,
    OBS_SYSTEM, searchPages } from './endpoint_kit.mjs';

const TASK_CODES = `${BASE}/CodeSystem/av-task`;
export const TASK_KEYS = `${BASE}/NamingSystem/task-key`;
const PEOPLE = 22;
const FORM = 'application/x-www-form-urlencoded';

export const people = [];

/* A patient with a Task that nobody has touched. */
async function withTask({ client, tasksOf }, tag) {
    const person = new Person(client, `${MARK}-${tag}`);
    await person.firstReading(20);
    await person.secondReading(1);
    const [task] = await tasksOf(person.patientId, 1);
    return Object.assign(person, { task });
}

export function handUlcer(person) {
    return person.reading(0, 0, { valueQuantity: undefined, valueBoolean: true,
        code: { coding: [{ system: OBS_SYSTEM, code: 'hand-ulcer' }] } });
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
        '_lastUpdated=ge', '_lastUpdated=xx2026-01-01',
        '_lastUpdated=q%202026-01-01', '_lastUpdated=2026-13-01',
        '_lastUpdated=2026-02-30', '_lastUpdated=2026-01-01T10:00:00',
        '_count=-1', '_count=x', '_count=', '_count=1x', '_after=%21', 'status=',
        '_after=', 'code=', 'priority=', '_id=', 'patient=', 'identifier=',
        `status=${'x,'.repeat(2000)}x`, `_id=${'x,'.repeat(600)}x`,
        '_id:missing=true', '_lastUpdated:missing=false', '_id:not=x',
        'status:text=x', 'status:in=x', 'status:below=x', 'code:of-type=a|b|c',
        'patient:Group=x', 'patient.name=x', 'focus.identifier=x|y',
        'owner:missing=maybe', 'status:missing=', 'due=tomorrow',
        'authored-on=2026-13', 'subject:Patient=Group/x', '_sort=description',
        '_sort=', '_sort=-', '_sort=_id,status,due,modified', '_summary=true',
        '_summary=text', '_total=about', '_include=*', '_include=Task:owner',
        '_include=Patient:x', '_include=Task:patient:Group', '_include=Task',
        '_include:iterate=Task:patient', '_revinclude=Task:focus',
        '_revinclude=Observation:subject', '_count=1&_count=2',
        '_sort=due&_sort=status', '_after=zz', '_after=31&_sort=due',
        '_after=310a32&_sort=due&_total=x', 'identifier=|', 'code=|,x'])
        expectRefused(await client.get(`/Task?${query}`), 400, 'bad-parameter',
            '', query);
}

async function unknownParameters({ client }) {
    const query = `/Task?encounter=${MARK}&_elements=id&status=requested`;
    const lenient = await client.get(query);
    expectStatus(lenient, 200, 'lenient');
    const said = lenient.body.entry.filter((e) => e.search.mode === 'outcome');
    expectSame(said.length, 1, 'outcomes');
    expectSame(issues(said[0].resource).map((i) => [i.severity, i.word]),
        [['warning', 'bad-parameter'], ['warning', 'bad-parameter']], 'said');
    const self = lenient.body.link.find((l) => l.relation === 'self').url;
    expect(self.startsWith(`${client.url}/Task?`)
        && self.includes('status=requested') && !self.includes('encounter'), self);
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

export const searchCases = [
    [`${PEOPLE} patients with Tasks`, gather],
    ['searches', searches],
    ['a posted search', postedSearch],
    ['bad values of parameters', badValues],
    ['unknown parameters', unknownParameters],
    ['pages while Tasks come in', paging],
];
