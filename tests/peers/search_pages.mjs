/*
 * Pages and what comes with them, for search.mjs.
 *
 * Sections of HL7 FHIR R4: search.html 3.1.1.5 (links, paging, _count, _total,
 * _summary), 3.1.1.5.4 (_include, _revinclude); the numbers are from memory.
 */

import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, Record, stopChild } from './delivery_kit.mjs';
import { Person } from './delivery_cases.mjs';
import { Client, Endpoint, expectRefused, expectSame, expectStatus, matches }
    from './endpoint_kit.mjs';
import { encode } from './search_queries.mjs';

const link = (page, relation) =>
    page.link.find((l) => l.relation === relation)?.url;

const SORTS = ['', '_id', '-_id', '_lastUpdated', '-_lastUpdated',
    'authored-on', '-modified', 'priority,-_id', '-status,due', 'due'];
const FILTERS = ['', '&status=requested', '&priority:not=stat',
    '&authored-on=ge2020'];

async function newcomer({ client, tasksOf }, tag) {
    const person = new Person(client, tag);
    await person.firstReading(15);
    await person.secondReading(2);
    await tasksOf(person.patientId, 1);
}

/* Whoever was there before is on exactly one page, whatever comes in. */
async function concurrent(bench) {
    const { client } = bench;
    let added = 0;
    for (const [i, sort] of SORTS.entries()) {
        const query = `/Task?_count=${3 + i % 4}${sort && `&_sort=${sort}`}${
            FILTERS[i % FILTERS.length]}`;
        const before = matches([(await client.get(query.replace(/_count=\d/,
            '_count=500'))).body]).map((t) => t.id);
        const seen = [];
        let page = (await client.get(query)).body;
        for (let n = 0; ; n++) {
            seen.push(...matches([page]).map((t) => t.id));
            if (n < 2)
                await newcomer(bench, `late-${++added}`);
            const next = link(page, 'next');
            if (next === undefined)
                break;
            expectSame(link(page, 'first'), link((await client.get(
                link(page, 'first'))).body, 'self'), 'first');
            page = (await client.get(next)).body;
            expectSame(link(page, 'self'), next, 'self');
        }
        expectSame(new Set(seen).size, seen.length, `${query}: none twice`);
        const lost = before.filter((id) => !seen.includes(id));
        expectSame(lost, [], `${query}: none lost`);
        expect(seen.filter((id) => !before.includes(id)).length <= 2, query);
    }
    console.log(`  ${added} came in between pages`);
}

/* All of it again, backwards: the other order is the reverse. */
async function reverse({ client }) {
    for (const key of ['_id', '_lastUpdated', 'modified', 'priority', 'due']) {
        const ids = async (sort) => matches([(await client.get(
            `/Task?_count=500&_sort=${sort}`)).body]).map((t) => t.id);
        expectSame((await ids(`-${key}`)).reverse(), await ids(key), key);
    }
}

async function totals({ client }) {
    const whole = (await client.get('/Task?status=requested&_count=500')).body;
    const count = whole.entry.length;
    expectSame(whole.total, count, 'total');
    for (const query of ['_summary=count', '_count=0', '_summary=count&_count=5',
        '_count=5&_summary=count']) {
        const { body } = await client.get(`/Task?status=requested&${query}`);
        expectSame([body.total, body.entry, link(body, 'next')],
            [count, undefined, undefined], query);
    }
    for (const [total, want] of [['none', undefined], ['accurate', count],
        ['estimate', count]]) {
        const { body } = await client.get(
            `/Task?status=requested&_count=2&_total=${total}`);
        expectSame([body.total, body.entry.length], [want, 2], total);
        expect(link(body, 'next').includes(`_total=${total}`), 'next');
    }
}

/* A handle goes with the query that it was given for. */
async function handles({ client }) {
    const { body } = await client.get('/Task?_count=2&_sort=due');
    const after = /_after=([0-9a-f]+)/.exec(link(body, 'next'))[1];
    for (const query of [`_after=${after}`, `_after=${after}&_sort=due,status`,
        `_after=${after}&_sort=-_lastUpdated,due,_id`, '_after=00',
        `_after=${after}0a31&_sort=due`, '_after=0', `_after=${'61'.repeat(4000)}`,
        `_after=${after.slice(0, -1)}&_sort=due`])
        expectRefused(await client.get(`/Task?${query}`), 400, 'bad-parameter',
            '', query);
    /* text keys are bound, and stay text */
    const hex = (text) => Buffer.from(text).toString('hex');
    const odd = await client.get(`/Task?_sort=_id&_count=5&_after=${
        hex("1\n' OR 1=1 --")}`);
    expectStatus(odd, 200, 'a handle with SQL in it');
}

async function includes({ client, all }) {
    const one = all.Task.find((t) => t.partOf !== undefined);
    const get = async (query) => (await client.get(`/${encode(
        `Task?_id=${one.id}&${query}`)}`)).body.entry;
    const refs = { patient: [one.for.reference], subject: [one.for.reference],
        focus: [one.focus.reference],
        'part-of': one.partOf.map((p) => p.reference) };
    for (const [name, want] of Object.entries(refs)) {
        const [match, ...rest] = await get(`_include=Task:${name}`);
        expectSame([match.search.mode, match.resource.id], ['match', one.id],
            name);
        expectSame(rest.map((e) => `${e.search.mode} ${e.resource.resourceType}/${
            e.resource.id}`).sort(), want.map((r) => `include ${r}`).sort(),
        name);
        for (const entry of rest)
            expectSame(entry.fullUrl, `${client.url}/${
                entry.resource.resourceType}/${entry.resource.id}`, 'fullUrl');
    }
    const both = await get('_include=Task:patient&_include=Task:subject'
        + '&_include=Task:focus:BodyStructure');
    expectSame(both.length, 3, 'each once');
    const typed = await get('_include=Task:patient:Patient');
    expectSame(typed.length, 2, 'with its type');
    const page = (await client.get('/Task?_count=5&_include=Task:patient')).body;
    const found = page.entry.filter((e) => e.search.mode === 'match');
    expectSame(found.length, 5, '_count is of what was found');
    expectSame(new Set(page.entry.map((e) => e.fullUrl)).size,
        page.entry.length, 'each resource once');
    const part = (await client.get(`/Task?_id=${one.id},${
        one.partOf[0].reference.slice(5)}&_include=Task:part-of`)).body;
    const modes = part.entry.map((e) => [e.resource.id, e.search.mode]);
    expectSame(modes.filter(([id]) => id === one.partOf[0].reference.slice(5)),
        [[one.partOf[0].reference.slice(5), 'match']],
        'what was found is not included again');
    const readings = (await client.get(`/Observation?subject=${
        one.for.reference}&_include=Observation:focus`)).body.entry;
    expect(readings.some((e) => e.search.mode === 'include'
        && e.resource.resourceType === 'BodyStructure'), 'Observation:focus');
    expectStatus(await client.get(`/Task?_id=${one.id}`
        + '&_revinclude=Provenance:target'), 200, '_revinclude');
}

async function posted({ client, all }) {
    const form = (body, query = '') => client.send('POST',
        `/Task/_search${query}`, body,
        { 'Content-Type': 'application/x-www-form-urlencoded' });
    const one = all.Task[3];
    const answer = await form(`patient=${encodeURIComponent(one.for.reference)}`
        + '&_sort=-due&_count=1', '?priority:not=stat');
    expectStatus(answer, 200, '_search');
    const self = link(answer.body, 'self');
    expect(self.includes('/Task?') && self.includes('priority:not=stat')
        && self.includes('_sort=-due'), self);
    expectSame((await client.get(self)).body.entry, answer.body.entry,
        'the link finds the same');
    expectStatus(await client.send('POST', '/Observation/_search',
        'code=access-flow', { 'Content-Type':
            'application/x-www-form-urlencoded' }), 200, 'Observation');
}

/* With a record, a Task has a Provenance; it names the version that it made. */
async function provenance({ binary, tmp }) {
    const place = join(tmp, 'provenance');
    mkdirSync(place);
    const record = await Record.start(place);
    const service = new Endpoint(binary, place, { 'record.url': record.url,
        'record.provenance': true });
    await service.start();
    const client = new Client(service.url);
    const people = await Promise.all(['a', 'b'].map((tag) =>
        new Person(client, `prov-${tag}`).bothReadings()));
    const get = async (query) => (await client.get(`/${query}`)).body;
    for (const end = Date.now() + 10000;; await sleep(50)) {
        if ((await get('Provenance?_summary=count')).total === people.length)
            break;
        expect(Date.now() < end, 'no Provenance');
    }
    const { entry } = await get('Task?_revinclude=Provenance:target');
    expectSame(entry.map((e) => [e.search.mode, e.resource.resourceType]),
        [['match', 'Task'], ['match', 'Task'], ['include', 'Provenance'],
            ['include', 'Provenance']], 'entries');
    for (const { resource: task } of entry.slice(0, 2)) {
        const one = await get(
            `Task?_id=${task.id}&_revinclude=Provenance:target`);
        const [found] = one.entry.slice(1).map((e) => e.resource);
        expectSame(found.target[0].reference, `Task/${task.id}/_history/1`,
            'target');
        for (const query of [`target=Task/${task.id}`, `target=${task.id}`,
            `target:Task=${task.id}`])
            expectSame(matches([await get(`Provenance?${query}`)])
                .map((p) => p.id), [found.id], query);
        const both = await get(`Provenance?_id=${found.id}`
            + '&_include=Provenance:target');
        expect(both.entry.some((e) => e.search.mode === 'include'
            && e.resource.id === task.id), 'Provenance:target');
        for (const path of ['', '/_history', '/_history/1'])
            expectStatus(await client.get(`/Provenance/${found.id}${path}`),
                200, path);
    }
    expectSame(await stopChild(service.child), 0, 'exit status');
    await stopChild(record.child);
}

async function pretty({ client }) {
    const plain = await client.get('/Task?_count=3');
    const { text, body } = await client.get('/Task?_count=3&_pretty=true');
    expectSame(body.entry, plain.body.entry, '_pretty');
    expectSame(text, `${JSON.stringify(body, null, 2)}\n`, 'lines');
    expectSame((await client.get('/Task?_count=3&_pretty=false')).text
        .includes('\n'), false, '_pretty=false');
}

export const pageCases = [
    ['pages while others come in', concurrent],
    ['sorted the other way round', reverse],
    ['totals', totals],
    ['handles of pages', handles],
    ['what comes with a Task', includes],
    ['a posted search', posted],
    ['where Tasks come from', provenance],
    ['an answer for people', pretty],
];
