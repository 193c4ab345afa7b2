/*
 * Histories, conditional interactions, and the CapabilityStatement taken at
 * its word: what it names is tried, and what it does not name is refused.
 *
 * Sources: HL7 FHIR R4, http.html (conditional read, create, update; history;
 * managing resource contention), RFC 9110 for the headers.
 */

import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { globalSchema } from '@medplum/core';
import { expect, stopChild } from './delivery_kit.mjs';
import { Person } from './delivery_cases.mjs';
import { Client, Endpoint, expectRefused, expectSame, expectStatus, FHIR_JSON, issues, MARK,
    matches, placeOf, searchPages } from './endpoint_kit.mjs';
import { people } from './endpoint_search.mjs';
import { loadDefinitions } from './record_repo.mjs';

const IDS = 'https://site.example/ids/obs';

/* ---- history ---------------------------------------------------------------- */

const link = (body, relation) =>
    body.link.find((l) => l.relation === relation)?.url;

async function historyPages(client, path) {
    const pages = [];
    for (let next = path; next !== undefined; next = link(pages.at(-1), 'next')) {
        const answer = await client.get(next);
        expectStatus(answer, 200, next);
        pages.push(answer.body);
    }
    return pages;
}

const versions = (pages) => pages.flatMap((p) => p.entry ?? []).map((e) =>
    [e.resource.id, Number(e.resource.meta.versionId),
        e.resource.meta.lastUpdated]);

async function instanceHistory({ client }) {
    const { task } = people[20];
    const [whole] = await historyPages(client, `/Task/${task.id}/_history`);
    const all = versions([whole]);
    expect(all.length > 8, `${all.length} versions`);
    expectSame(whole.total, all.length, 'total');
    expectSame(all.map(([, v]) => v), all.map((_, i) => all.length - i),
        'newest first');
    for (const count of [1, 3, all.length, all.length + 1]) {
        const pages = await historyPages(client,
            `/Task/${task.id}/_history?_count=${count}`);
        expectSame(pages.length, Math.ceil(all.length / count), 'pages');
        expectSame(versions(pages), all, `_count=${count}`);
    }
    const [, , third] = all;
    expectSame(versions(await historyPages(client,
        `/Task/${task.id}/_history?_since=${third[2]}`)), all.slice(0, 3),
    '_since');
    expectSame(versions(await historyPages(client,
        `/Task/${task.id}/_history?_at=${third[2]}`)), [third], '_at');
    const years = await historyPages(client,
        `/Task/${task.id}/_history?_at=${third[2].slice(0, 4)}`);
    expectSame(versions(years), all, '_at a year');
    expectSame(versions(await historyPages(client,
        `/Task/${task.id}/_history?_at=2020`)), [], '_at before');
    for (const entry of whole.entry)
        expectSame([entry.request.method, entry.request.url,
            entry.response.etag], ['PUT', `Task/${task.id}`,
            `W/"${entry.resource.meta.versionId}"`], 'entry');
}

async function typeHistory({ client }) {
    const resources = matches(await searchPages(client, '/Task?_count=500'));
    const all = versions(await historyPages(client,
        '/Task/_history?_count=200'));
    const newest = new Map(resources.map((r) =>
        [r.id, Number(r.meta.versionId)]));
    expectSame(new Set(all.map(([id]) => id)).size, newest.size, 'Tasks');
    expectSame(all.length, [...newest.values()].reduce((a, b) => a + b),
        'versions');
    expectSame([...all].sort((a, b) => a[2] < b[2] ? 1 : -1).map((v) => v[2]),
        all.map((v) => v[2]), 'newest first');
    expectSame(versions(await historyPages(client,
        `/Task/_history?_count=2&_since=${all[4][2]}`)),
    all.filter((v) => v[2] >= all[4][2]), '_since');
}

async function historyOfReadings({ client }) {
    const since = new Date().toISOString();
    const { person, one, id } = await identified(client, 'past');
    await client.put('Observation', { ...one, id, status: 'amended' });
    const second = await client.post(person.reading(905, 2));
    const path = `/Observation/_history?_since=${since}`;
    const all = versions(await historyPages(client, path));
    expectSame(all.map(([i, v]) => [i, v]), [[second, 1], [id, 2], [id, 1]],
        'versions');
    expectSame(versions(await historyPages(client, `${path}&_count=1`)), all,
        'in pages');
}

/* A new version between two pages shifts none of the others. */
async function historyWhileChanging({ client }) {
    const { task } = people[20];
    const before = versions(await historyPages(client, '/Task/_history'
        + '?_count=200'));
    const seen = [];
    for (let next = '/Task/_history?_count=7'; next !== undefined;) {
        const { body } = await client.get(next);
        seen.push(...versions([body]));
        next = link(body, 'next');
        if (seen.length < 30) {
            const now = (await client.get(`/Task/${task.id}`)).body;
            expectStatus(await client.put('Task', { ...now,
                businessStatus: { text: `${MARK} ${seen.length}` } }), 200, 'PUT');
        }
    }
    expectSame(seen, before, 'versions');
}

async function badHistory({ client }) {
    const { task } = people[20];
    for (const query of ['_since=x', '_since=2026-01-01', '_at=x', '_count=x',
        '_count=-1', '_after=x', '_after=1', '_after=1.', '_sort=x', 'status=x'])
        for (const path of ['/Task/_history', `/Task/${task.id}/_history`])
            expectRefused(await client.get(`${path}?${query}`), 400,
                'bad-parameter');
    expectRefused(await client.get('/Task/none/_history'), 404, 'not-found');
    expectRefused(await client.get('/Patient/_history'), 404, 'not-found');
    const none = await client.get(`/Task/${task.id}/_history?_count=0`);
    expectSame([none.body.entry, none.body.total > 3], [undefined, true],
        '_count=0');
}

/* ---- conditions ------------------------------------------------------------- */

async function conditionalRead({ client }) {
    const { task } = people[19];
    const path = `/Task/${task.id}`;
    const { headers } = await client.get(path);
    const [tag, at] = [headers.etag, headers['last-modified']];
    const later = new Date(Date.parse(at) + 5000).toUTCString();
    const before = new Date(Date.parse(at) - 5000).toUTCString();
    for (const [extra, want] of [
        [{ 'If-None-Match': tag }, 304], [{ 'If-None-Match': tag.slice(2) }, 304],
        [{ 'If-None-Match': `W/"99", ${tag}` }, 304],
        [{ 'If-None-Match': '*' }, 304], [{ 'If-None-Match': 'W/"99"' }, 200],
        [{ 'If-None-Match': `W/"${tag.slice(3, -1)}1"` }, 200],
        [{ 'If-Modified-Since': at }, 304], [{ 'If-Modified-Since': later }, 304],
        [{ 'If-Modified-Since': before }, 200],
        [{ 'If-Modified-Since': 'yesterday' }, 200],
        [{ 'If-Modified-Since': '2026-01-01' }, 200],
        [{ 'If-None-Match': 'W/"99"', 'If-Modified-Since': later }, 200]])
        for (const method of ['GET', 'HEAD']) {
            const answer = await client.send(method, path, undefined, extra);
            expectStatus(answer, want, JSON.stringify(extra));
            expectSame([answer.headers.etag, answer.headers['last-modified']],
                [tag, at], 'headers');
        }
}

async function identified(client, tag) {
    const person = await new Person(client, `${MARK}-${tag}`).arrive();
    const one = person.reading(900, 3);
    return { person, one, id: await client.post(one),
        condition: encodeURIComponent(`${IDS}|${one.identifier[0].value}`) };
}

async function conditionalUpdate({ client }) {
    const { person, one, id, condition } = await identified(client, 'cond');
    const put = (query, body, headers) => client.send('PUT',
        `/Observation?${query}`, body, headers);
    const value = (v) => ({ ...one, valueQuantity: { ...one.valueQuantity,
        value: v } });
    const updated = await put(`identifier=${condition}`, value(910));
    expectStatus(updated, 200, 'one match');
    expectSame([placeOf(updated).id, placeOf(updated).version], [id, '2'],
        'the one that has it');
    const same = await put(`identifier=${condition}`, { ...value(920), id });
    expectSame([same.status, placeOf(same).version], [200, '3'], 'with its id');
    expectRefused(await put(`identifier=${condition}`, { ...value(930),
        id: `${MARK}-else` }), 400, 'bad-value', 'Resource.id');
    const fresh = person.reading(800, 2);
    const number = encodeURIComponent(`${IDS}|${fresh.identifier[0].value}`);
    const created = await put(`identifier=${number}`, fresh);
    expectStatus(created, 201, 'no match');
    const named = person.reading(810, 1);
    const other = encodeURIComponent(`${IDS}|${named.identifier[0].value}`);
    const mine = { ...named, id: `${MARK}-named` };
    expectRefused(await put(`identifier=${other}`, { ...named, id }), 409,
        'identity');
    expectSame(placeOf(await put(`identifier=${other}`, mine)).id, mine.id,
        'no match, with an id');
    expectRefused(await put(`identifier=${condition}`, value(940),
        { 'If-Match': 'W/"1"' }), 412, 'precondition');
    expectStatus(await put(`identifier=${condition}`, value(950),
        { 'If-Match': 'W/"3"' }), 200, 'If-Match');
    for (const query of ['', 'identifier=x', 'identifier=', 'status=final',
        `identifier=${condition}&identifier=${number}`, `_id=${id}`,
        `identifier=${condition}&status=final`])
        expectRefused(await put(query, value(960)), 400, 'bad-parameter');
    return several({ client }, person);
}

/* Two panels that share a number. */
async function several({ client }, person) {
    const shared = { system: IDS, value: `${MARK}-shared` };
    const [a, b] = [person.reading(700, 9), person.reading(710, 8)];
    for (const r of [a, b])
        expectStatus(await client.send('POST', '/Observation', { ...r,
            identifier: [r.identifier[0], shared] }), 201, 'POST');
    const query = `identifier=${encodeURIComponent(`${IDS}|${shared.value}`)}`;
    expectRefused(await client.send('PUT', `/Observation?${query}`, a), 412,
        'precondition');
    expectRefused(await client.send('POST', '/Observation', a,
        { 'If-None-Exist': query }), 412, 'precondition');
    const { body } = await client.send('POST', '', { resourceType: 'Bundle',
        type: 'batch', entry: [
            { resource: a, request: { method: 'PUT',
                url: `Observation?${query}` } },
            { resource: a, request: { method: 'POST', url: 'Observation',
                ifNoneExist: query } }] });
    for (const entry of body.entry)
        expectRefused(entry, 412, 'precondition');
}

async function conditionsInBundles({ client }) {
    for (const type of ['batch', 'transaction']) {
        const { one, id, condition } = await identified(client, `in-${type}`);
        const next = { ...one, valueQuantity: { ...one.valueQuantity,
            value: 955 } };
        const { body, status } = await client.send('POST', '', {
            resourceType: 'Bundle', type, entry: [
                { resource: next, request: { method: 'PUT',
                    url: `Observation?identifier=${condition}`,
                    ifMatch: 'W/"1"' } },
                { resource: one, request: { method: 'POST', url: 'Observation',
                    ifNoneExist: `identifier=${condition}` } }] });
        expectSame(status, 200, type);
        expectSame(body.entry.map((e) => [e.response.status,
            e.response.location]), [['200', `Observation/${id}/_history/2`],
            ['200', `Observation/${id}/_history/2`]], type);
        const stale = { resource: next, request: { method: 'PUT',
            url: `Observation/${id}`, ifMatch: 'W/"1"' } };
        stale.resource = { ...next, id };
        const answer = await client.send('POST', '', { resourceType: 'Bundle',
            type, entry: [stale] });
        expectRefused(type === 'batch' ? answer.body.entry[0] : answer, 412,
            'precondition');
    }
}

async function onlyNew({ client }) {
    const { person } = await identified(client, 'new');
    const one = { ...person.reading(850, 4), id: `${MARK}-only-new` };
    const put = () => client.put('Observation', one, { 'If-None-Match': '*' });
    expectStatus(await put(), 201, 'there is none');
    expectRefused(await put(), 412, 'precondition');
    for (const [type, resource] of [['Patient', { resourceType: 'Patient',
        id: person.patientId }], ['BodyStructure', { ...person.bodyStructure(),
        id: person.accessId }]]) {
        expectRefused(await client.put(type, resource,
            { 'If-None-Match': '*' }), 412, 'precondition');
        expectRefused(await client.put(type, resource,
            { 'If-Match': 'W/"7"' }), 412, 'precondition');
    }
    const { task } = people[19];
    const now = (await client.get(`/Task/${task.id}`)).body;
    expectRefused(await client.put('Task', now, { 'If-None-Match': '*' }), 412,
        'precondition');
}

async function taskPreferences({ client }) {
    const { task } = people[19];
    const now = (await client.get(`/Task/${task.id}`)).body;
    const put = (prefer, n) => client.put('Task', { ...now,
        businessStatus: { text: `${MARK} ${n}` } }, { Prefer: prefer });
    const minimal = await put('return=minimal', 1);
    expectSame([minimal.status, minimal.text], [200, ''], 'minimal');
    expectSame(placeOf(minimal), { type: 'Task', id: task.id,
        version: `${Number(now.meta.versionId) + 1}` }, 'Location');
    expectSame((await put('return=OperationOutcome', 2)).body.resourceType,
        'OperationOutcome', 'OperationOutcome');
    const whole = await put('return=representation', 3);
    expectSame(whole.body.businessStatus.text, `${MARK} 3`, 'representation');
}

/* A site may want to hear which version was changed. */
async function versionWanted({ binary, tmp }) {
    const place = join(tmp, 'wanted');
    mkdirSync(place);
    const service = new Endpoint(binary, place, { 'fhir.task_if_match': true });
    await service.start();
    const client = new Client(service.url);
    const person = await new Person(client, `${MARK}-wanted`).bothReadings();
    let task;
    for (const end = Date.now() + 10000; task === undefined; await sleep(30)) {
        [task] = matches(await searchPages(client,
            `/Task?patient=${person.patientId}`));
        expect(Date.now() < end, 'no Task');
    }
    const next = { ...task, businessStatus: { text: MARK } };
    const patch = JSON.stringify([{ op: 'replace', path: '/businessStatus',
        value: { text: MARK } }]);
    const type = { 'Content-Type': 'application/json-patch+json' };
    const tag = { 'If-Match': `W/"${task.meta.versionId}"` };
    expectRefused(await client.put('Task', next), 428, 'condition-needed');
    expectRefused(await client.send('PATCH', `/Task/${task.id}`, patch, type),
        428, 'condition-needed');
    const entry = { resource: next, request: { method: 'PUT',
        url: `Task/${task.id}` } };
    const { body } = await client.send('POST', '', { resourceType: 'Bundle',
        type: 'batch', entry: [entry] });
    expectRefused(body.entry[0], 428, 'condition-needed');
    expectStatus(await client.send('PATCH', `/Task/${task.id}`, patch,
        { ...type, ...tag }), 200, 'with If-Match');
    expectRefused(await client.put('Task', next, tag), 412, 'precondition');
    expectStatus(await client.put('Observation', { ...person.second,
        id: person.secondId, status: 'amended' }), 200, 'an Observation');
    expectSame(await stopChild(service.child), 0, 'exit status');
}

/* ---- the statement ---------------------------------------------------------- */

const REQUESTS = {
    create: (type) => ['POST', `/${type}`], read: (type) => ['GET', `/${type}/x`],
    vread: (type) => ['GET', `/${type}/x/_history/1`],
    update: (type) => ['PUT', `/${type}/x`],
    patch: (type) => ['PATCH', `/${type}/x`],
    delete: (type) => ['DELETE', `/${type}/x`],
    'history-instance': (type) => ['GET', `/${type}/x/_history`],
    'history-type': (type) => ['GET', `/${type}/_history`],
    'search-type': (type) => ['GET', `/${type}?_count=0`],
};

/* Offered: whatever is said of the resource, it is not of the method. */
async function interactions({ client }, { type, interaction }) {
    const named = interaction.map((i) => i.code);
    for (const [code, make] of Object.entries(REQUESTS)) {
        const [method, path] = make(type);
        const body = ['POST', 'PUT', 'PATCH'].includes(method)
            ? '[]' : undefined;
        const answer = await client.send(method, path, body);
        const is = named.includes(code);
        const noPath = code === 'history-type' && !is;
        if (is)
            expect(![405, 501].includes(answer.status)
                && (answer.status !== 404 || /x$|x.*_history/.test(path)),
            `${code} of ${type}: ${answer.status}`);
        else
            expectRefused(answer, noPath || type === 'SearchParameter' ? 404
                : 405, noPath || type === 'SearchParameter' ? 'not-found'
                : 'method', undefined, `${code} of ${type}`);
    }
}

const VALUES = { token: 'x', reference: 'x', date: 'ge2026', number: '1',
    string: 'x', uri: 'urn:x', quantity: '1', composite: 'a$b' };
const strict = { Prefer: 'handling=strict' };

async function parameters({ client }, { type, searchParam = [] }) {
    for (const { name, type: form, documentation = '' } of searchParam) {
        const get = (query) => client.get(`/${type}?_count=1&${query}`, strict);
        expectStatus(await get(`${name}=${VALUES[form]}`), 200,
            `${type}?${name}`);
        expectStatus(await client.send('POST', `/${type}/_search`,
            `${name}=${VALUES[form]}`, { ...strict,
                'Content-Type': 'application/x-www-form-urlencoded' }), 200,
        `${type}/_search ${name}`);
        const sorted = documentation.includes('sorted');
        expectStatus(await get(`_sort=-${name}`), sorted ? 200 : 400,
            `${type}?_sort=${name}`);
        const modifiers = /Modifiers?: ([^.]*)\./.exec(documentation)?.[1] ?? '';
        for (const one of ['not', 'missing', 'identifier', 'text', 'in',
            'not-in', 'below', 'above', 'exact', 'contains', 'of-type'])
            expectStatus(await get(`${name}:${one}=${one === 'missing'
                ? 'true' : VALUES[form]}`), modifiers.split(', ').includes(one)
                ? 200 : 400, `${type}?${name}:${one}`);
        expectStatus(await get(`${name}.identifier=x`),
            documentation.includes('Chain: identifier') ? 200 : 400,
            `${type}?${name}.identifier`);
    }
    const known = new Set(searchParam.map((p) => p.name));
    const all = Object.keys(globalSchema.types[type]?.searchParams ?? {});
    const others = [...all, '_tag', '_profile', '_security', '_text', '_content',
        '_list', '_has', '_type', '_source', '_elements'].filter((name) =>
        !known.has(name));
    expect(type === 'SearchParameter' || all.length > 5, `${type}: R4 has more`);
    for (const name of searchParam.length > 0 ? others : [])
        expectRefused(await client.get(`/${type}?${name}=x`, strict), 400,
            'bad-parameter', '', `${type}?${name}`);
}

async function inclusions({ client }, { type, searchInclude = [],
    searchRevInclude = [], searchParam = [] }) {
    const get = (query) => client.get(`/${type}?_count=1&${query}`, strict);
    for (const one of searchInclude)
        expectStatus(await get(`_include=${one}`), 200, one);
    for (const one of searchRevInclude)
        expectStatus(await get(`_revinclude=${one}`), 200, one);
    const params = Object.keys(globalSchema.types[type]?.searchParams ?? {});
    for (const name of searchParam.length > 0 ? params : []) {
        if (!searchInclude.includes(`${type}:${name}`))
            expectRefused(await get(`_include=${type}:${name}`), 400,
                'bad-parameter', '', `${type}:${name}`);
        if (!searchRevInclude.includes(`${type}:${name}`))
            expectRefused(await get(`_revinclude=${type}:${name}`), 400,
                'bad-parameter', '', `${type}:${name}`);
    }
}

async function statement(bench) {
    loadDefinitions();
    const { client } = bench;
    const { body } = await client.get('/metadata');
    const [rest] = body.rest;
    expectSame(body.patchFormat, ['application/json-patch+json'], 'patchFormat');
    for (const resource of rest.resource) {
        await interactions(bench, resource);
        await parameters(bench, resource);
        await inclusions(bench, resource);
    }
    for (const { name } of rest.searchParam)
        expectStatus(await client.get(`/Task?${name}=${{ _count: '1',
            _sort: '_id', _summary: 'count', _total: 'none' }[name]}`, strict),
        200, name);
    const named = new Set(rest.resource.map((r) => r.type));
    for (const type of Object.keys(globalSchema.types).filter((t) =>
        /^[A-Z]/.test(t) && globalSchema.types[t].searchParams !== undefined
        && !named.has(t)))
        expectRefused(await client.get(`/${type}`), 404, 'not-found');
    for (const type of ['batch', 'transaction'])
        expectStatus(await client.send('POST', '', { resourceType: 'Bundle',
            type }), 200, type);
}

async function dueParameter({ client }) {
    const { body } = await client.get('/metadata');
    const task = body.rest[0].resource.find((r) => r.type === 'Task');
    const due = task.searchParam.find((p) => p.name === 'due');
    const id = due.definition.split('/').at(-1);
    const answer = await client.get(`/SearchParameter/${id}`);
    expectStatus(answer, 200, id);
    expectSame([answer.body.url, answer.body.code, answer.body.base],
        [due.definition, 'due', ['Task']], 'definition');
    expectRefused(await client.get('/SearchParameter/x'), 404, 'not-found');
    expectStatus(await client.send('HEAD', `/SearchParameter/${id}`), 200, id);
}

async function conditionalCreateSays({ client }) {
    const { one, id, condition } = await identified(client, 'exists');
    const again = await client.send('POST', '/Observation', { ...one,
        identifier: undefined }, { 'If-None-Exist': `identifier=${condition}`,
        'Content-Type': FHIR_JSON });
    expectStatus(again, 200, 'If-None-Exist');
    expectSame(placeOf(again).id, id, 'the one that is there');
    expectSame(issues(again).filter((i) => i.severity === 'error'), [], 'said');
}

export const interactionCases = [
    ['history of one', instanceHistory],
    ['history of a type', typeHistory],
    ['history of the readings', historyOfReadings],
    ['history while something changes', historyWhileChanging],
    ['histories that are refused', badHistory],
    ['conditional read', conditionalRead],
    ['conditional create', conditionalCreateSays],
    ['conditional update', conditionalUpdate],
    ['conditions in Bundles', conditionsInBundles],
    ['only if there is none', onlyNew],
    ['what an answer to an update holds', taskPreferences],
    ['a site that wants If-Match', versionWanted],
    ['the CapabilityStatement at its word', statement],
    ['the definition of due', dueParameter],
];
