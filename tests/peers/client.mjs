/*
 * headgate's endpoint in the hands of an independent client: everything that
 * fhir-kit-client offers and headgate serves.
 *
 *   node client.mjs path/to/headgate
 *
 * The client decides how a request looks: URLs, headers, forms, next links.
 */

import { setTimeout as sleep } from 'node:timers/promises';
import { CapabilityTool, Client } from 'fhir-kit-client';
import { expect } from './delivery_kit.mjs';
import { Suite } from './suite.mjs';
import { Person } from './delivery_cases.mjs';
import { Endpoint, expectSame, expectValid } from './endpoint_kit.mjs';

const PEOPLE = 12;
const ARRIVE_MS = 20000;
const IDS = 'https://site.example/ids/obs';
const whole = { headers: { Prefer: 'return=representation' } };

const bench = new Suite();
bench.people = [];
const why = bench.why;
bench.why = (e) => `${why(e)} ${JSON.stringify(e.response?.data ?? '')}`;

const valid = (resource, what) => {
    expectValid(JSON.stringify(resource), what);
    return resource;
};
const responseOf = (resource) => Client.httpFor(resource).response;
const idOf = (resource) => /\/([^/]+)\/_history\/\d+$/.exec(
    responseOf(resource).headers.get('location'))[1];

/* What the client throws where a server refuses. */
async function refused(promise, status, word) {
    const error = await promise.then(() => null, (e) => e);
    expect(error !== null, `${word}: nothing was thrown`);
    expectSame(error.response?.status, status, word);
    const outcome = valid(error.response.data, word);
    expect(outcome.issue.some((i) => i.details?.coding?.[0].code === word),
        JSON.stringify(outcome));
}

/* The Person of the other tests posts through this client. */
const poster = (client) => ({ async post(resource) {
    const { resourceType } = resource;
    return idOf(await client.create({ resourceType, body: resource }));
} });

async function ward({ client, people }) {
    for (let i = 0; i < PEOPLE; i++) {
        const person = new Person(poster(client), `kit-${i}`);
        await person.firstReading(20);
        await person.secondReading(1);
        people.push(person);
    }
    for (const end = Date.now() + ARRIVE_MS;; await sleep(50)) {
        const { total } = await client.search({ resourceType: 'Task',
            searchParams: { _summary: 'count' } });
        if (total >= PEOPLE)
            return;
        expect(Date.now() < end, `${total} Tasks`);
    }
}

async function statement({ client }) {
    const body = valid(await client.capabilityStatement(), 'metadata');
    const tool = new CapabilityTool(body);
    for (const code of ['read', 'vread', 'update', 'patch', 'search-type',
        'history-instance', 'history-type'])
        expect(tool.resourceCan('Task', code), `Task: ${code}`);
    for (const code of ['create', 'delete'])
        expect(!tool.resourceCan('Task', code), `Task: ${code}`);
    expect(tool.serverCan('transaction') && tool.serverCan('batch'), 'Bundles');
    expect(tool.resourceSearch('Task', 'business-status')
        && tool.resourceSearch('Task', 'due')
        && !tool.resourceSearch('Task', 'encounter'), 'parameters');
}

async function createAndRead({ client, people: [person] }) {
    const body = person.reading(905, 5);
    const made = valid(await client.create({ resourceType: 'Observation', body,
        options: whole }), 'create');
    expectSame([responseOf(made).status, made.valueQuantity.value], [201, 905],
        'create');
    const read = valid(await client.read({ resourceType: 'Observation',
        id: made.id }), 'read');
    expectSame(read, made, 'read');
    const again = await client.create({ resourceType: 'Observation', body,
        options: { headers: { 'If-None-Exist': `identifier=${IDS}|${
            body.identifier[0].value}` } } });
    expectSame([responseOf(again).status, idOf(again)], [200, made.id],
        'If-None-Exist');
    const update = await client.update({ resourceType: 'Observation',
        id: made.id, body: { ...made, status: 'amended' }, options: whole });
    expectSame([update.status, update.meta.versionId], ['amended', '2'], 'PUT');
    const { id } = made;
    const first = await client.vread({ resourceType: 'Observation', id,
        version: '1' });
    expectSame(first.status, 'final', 'vread');
    const conditional = await client.update({ resourceType: 'Observation',
        searchParams: { identifier: `${IDS}|${body.identifier[0].value}` },
        body: { ...body, status: 'corrected' }, options: whole });
    expectSame([conditional.id, conditional.meta.versionId], [id, '3'],
        'conditional update');
    await refused(client.read({ resourceType: 'Observation', id: 'none' }), 404,
        'not-found');
    await refused(client.delete({ resourceType: 'Observation', id }), 405,
        'method');
    await refused(client.update({ resourceType: 'Observation', id,
        body: { ...made, status: 'final' },
        options: { headers: { 'If-Match': 'W/"1"' } } }), 412, 'precondition');
}

async function taskOf({ client }, person) {
    const bundle = valid(await client.search({ resourceType: 'Task',
        searchParams: { patient: person.patientId, _include: ['Task:patient',
            'Task:focus'] } }), 'search');
    expectSame(bundle.entry.map((e) => [e.resource.resourceType,
        e.search.mode]).sort(), [['BodyStructure', 'include'],
        ['Patient', 'include'], ['Task', 'match']], 'entries');
    return bundle.entry[0].resource;
}

async function changeATask(own) {
    const { client, people: [, person] } = own;
    const task = await taskOf(own, person);
    const { id } = task;
    const patched = await client.patch({ resourceType: 'Task', id, jsonPatch: [
        { op: 'test', path: '/status', value: 'requested' },
        { op: 'replace', path: '/status', value: 'accepted' },
        { op: 'add', path: '/note/-', value: { text: 'Seen' } }],
    options: { headers: { 'If-Match': `W/"${task.meta.versionId}"` } } });
    expectSame([patched.status, patched.note.at(-1).text], ['accepted', 'Seen'],
        'patch');
    valid(patched, 'patch');
    await refused(client.patch({ resourceType: 'Task', id, jsonPatch: [
        { op: 'test', path: '/status', value: 'requested' }] }), 409,
    'patch-conflict');
    const done = await client.update({ resourceType: 'Task', id,
        body: { ...patched, status: 'completed' } });
    expectSame(done.status, 'completed', 'update');
    await refused(client.update({ resourceType: 'Task', id,
        body: { ...done, status: 'requested' } }), 422, 'value-conflict');
    const history = valid(await client.history({ resourceType: 'Task', id }),
        'history');
    expectSame(history.entry.map((e) => e.resource.status),
        ['completed', 'accepted', 'requested'], 'history');
    const all = valid(await client.history({ resourceType: 'Task' }),
        'typeHistory');
    expectSame(all.entry[0].resource.id, id, 'the newest');
}

async function searchAndPages({ client }) {
    const seen = [];
    let pages = 0;
    for (let page = await client.search({ resourceType: 'Task', searchParams: {
        _count: 5, _sort: '-_lastUpdated', 'status:not': 'completed' } });
        page; page = await client.nextPage({ bundle: page })) {
        valid(page, 'page');
        seen.push(...page.entry.map((e) => e.resource.id));
        pages++;
    }
    const { total } = await client.search({ resourceType: 'Task',
        searchParams: { 'status:not': 'completed', _summary: 'count' } });
    expectSame([seen.length, new Set(seen).size, pages],
        [total, total, Math.ceil(total / 5)], 'pages');
    const posted = await client.search({ resourceType: 'Task', searchParams: {
        _id: seen.join(','), _count: 100 }, options: { postSearch: true } });
    expectSame(posted.entry.length, seen.length, 'POST _search');
    const first = await client.search({ resourceType: 'Task', searchParams: {
        status: ['requested', 'requested'], 'authored-on': ['ge2020', 'lt2120'],
        _sort: 'due' } });
    expect(first.total > 5, `${first.total} with repeated parameters`);
    await refused(client.search({ resourceType: 'Task', searchParams: {
        encounter: 'x' }, options: { headers: { Prefer: 'handling=strict' } } }),
    400, 'bad-parameter');
}

async function readAgain({ client, people: [, , person] }) {
    const task = await taskOf({ client }, person);
    const { headers } = responseOf(await client.read({ resourceType: 'Task',
        id: task.id }));
    for (const [name, value] of [['If-None-Match', headers.get('etag')],
        ['If-Modified-Since', headers.get('last-modified')]]) {
        const answer = await client.read({ resourceType: 'Task', id: task.id,
            options: { headers: { [name]: value } } }).catch((e) => e);
        const { status } = answer.response ?? responseOf(answer);
        expectSame(status, 304, name);
    }
}

async function bundles({ client, people: [, , , person] }) {
    const task = await taskOf({ client }, person);
    for (const [type, call] of [['batch', client.batch],
        ['transaction', client.transaction]]) {
        const one = person.reading(1000, 7);
        const now = await client.read({ resourceType: 'Task', id: task.id });
        const answer = valid(await call.call(client, { body: {
            resourceType: 'Bundle', type, entry: [
                { resource: one, request: { method: 'POST', url: 'Observation',
                    ifNoneExist: `identifier=${IDS}|${
                        one.identifier[0].value}` } },
                { resource: { ...now, businessStatus: { text: type } },
                    request: { method: 'PUT', url: `Task/${task.id}`,
                        ifMatch: `W/"${now.meta.versionId}"` } }] },
        options: { keepalive: false } }), type);
        expectSame([answer.type, ...answer.entry.map((e) => e.response.status)],
            [`${type}-response`, '201', '200'], type);
    }
    const bad = { resourceType: 'Bundle', type: 'transaction', entry: [
        { resource: person.reading(1010, 6), request: { method: 'POST',
            url: 'Observation' } },
        { resource: { ...task, status: 'draft' }, request: { method: 'PUT',
            url: `Task/${task.id}` } }] };
    const before = await client.search({ resourceType: 'Observation',
        searchParams: { patient: `Patient/${person.patientId}` } });
    await refused(client.transaction({ body: bad }), 422, 'value-conflict');
    const after = await client.search({ resourceType: 'Observation',
        searchParams: { patient: `Patient/${person.patientId}` } });
    expectSame(after.total, before.total, 'nothing of it');
}

async function references({ client, people: [person] }) {
    const task = await taskOf({ client }, person);
    for (const [reference, type] of [[task.for.reference, 'Patient'],
        [task.focus.reference, 'BodyStructure']]) {
        const found = await client.resolve({ reference });
        expectSame(found.resourceType, type, reference);
    }
}

await bench.main(async () => {
    bench.service = new Endpoint(bench.binary, bench.tmp);
    await bench.service.start();
    bench.client = new Client({ baseUrl: bench.service.url });
    await bench.each([['the CapabilityStatement', statement], ['a ward', ward],
        ['create, read, update', createAndRead],
        ['a Task is patched and updated', changeATask],
        ['search and pages', searchAndPages],
        ['a read that has not changed', readAgain],
        ['batch and transaction', bundles],
        ['references', references]]);
});
