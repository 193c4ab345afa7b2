/*
 * Bundles: batch, transaction and collection, each entry answered at its own
 * place.
 */

import { expect } from './delivery_kit.mjs';
import { BASE, compact, content, daysAgo, expectRefused, expectSame,
    expectStatus, fixture, issues, MARK, OBS_SYSTEM, UCUM, words }
    from './endpoint_kit.mjs';

const ENTRIES_MAX = 5000; /* fhir.entries_max */
const MANY = 2500;
const QUANTITY = 'value.ofType(Quantity)';

let made = 0;

/* Of a patient that nobody has described; at a time of its own. */
function observation(change = {}) {
    made++;
    return { resourceType: 'Observation', id: `${MARK}-b${made}`,
        status: 'final',
        code: { coding: [{ system: OBS_SYSTEM, code: 'access-flow' }] },
        subject: { reference: `Patient/${MARK}-bundle` },
        focus: [{ reference: `BodyStructure/${MARK}-bundle` }],
        effectiveDateTime: daysAgo(200 + made / 100),
        valueQuantity: { value: 800, system: UCUM, code: 'mL/min' },
        ...change };
}

const noUnit = { valueQuantity: { value: 800 } };

function put(resource) {
    return { resource, request: { method: 'PUT',
        url: `${resource.resourceType}/${resource.id}` } };
}

function post({ id, ...resource }, request = {}) {
    return { resource, request: { method: 'POST',
        url: resource.resourceType, ...request } };
}

function bundle(type, entry, more = {}) {
    return { resourceType: 'Bundle', type, entry, ...more };
}

async function send(client, sent, headers) {
    const answer = await client.send('POST', '', sent, headers);
    if (answer.status === 200) {
        const { type, entry } = answer.body;
        const count = (typeof sent === 'string' ? JSON.parse(sent) : sent)
            .entry?.length;
        expectSame(type, `${sent.type === 'transaction' ? 'transaction'
            : 'batch'}-response`, 'type');
        expectSame(entry?.length, count, 'entries');
    }
    return answer;
}

function expectTaken(entry, status, type, id, version = '1') {
    const { response } = entry;
    expectSame(response.status, String(status), 'status');
    const found = /^([A-Za-z]+)\/([^/]+)\/_history\/(\d+)$/
        .exec(response.location);
    expect(found !== null, `location ${response.location}`);
    expectSame([found[1], found[3]], [type, version], 'location');
    if (id !== undefined)
        expectSame(found[2], id, 'id');
    expectSame(response.etag, `W/"${version}"`, 'etag');
    expect(Date.parse(response.lastModified) > Date.now() - 120000,
        `lastModified ${response.lastModified}`);
    return found[2];
}

async function expectAbsent(client, ...ids) {
    for (const id of ids)
        expectRefused(await client.get(`/Observation/${id}`), 404, 'not-found');
}

/* ---- batch ---------------------------------------------------------------- */

async function batch({ client }) {
    const text = fixture('bundle-batch-in.json').replace(/"o1"/, `"${MARK}-bi"`)
        .replace('Observation/o1', `Observation/${MARK}-bi`)
        .replace(/p-1001/g, `${MARK}-bi`).replace(/acc-7/g, `${MARK}-bi`)
        .replace('QA-2026', `QA-${MARK}-bi`);
    const { body, status } = await send(client, text);
    expectSame(status, 200, 'status');
    const id = expectTaken(body.entry[1], 201, 'Observation');
    expectTaken(body.entry[0], 201, 'Observation', `${MARK}-bi`);
    expectSame(words(body.entry[0]), ['access-provisional', 'type-unknown'], 'said');
    for (const [i, one] of [`${MARK}-bi`, id].entries()) {
        const read = await client.get(`/Observation/${one}`);
        const sent = JSON.stringify(JSON.parse(text).entry[i].resource);
        expectSame(compact(content(read.text).join()),
            compact(content(sent).join()), 'served');
    }
}

/* One entry of each kind that is refused, between two that are taken. */
const BAD = [
    [() => put(observation(noUnit)), 422, 'unit',
        `Observation.${QUANTITY}.code`],
    [() => put(observation({ subject: undefined })), 422, 'no-subject',
        'Observation.subject'],
    [() => post(observation({ status: undefined })), 400, 'missing-element',
        'Observation.status'],
    [() => post({ resourceType: 'Encounter', status: 'finished' }), 422,
        'not-supported', 'Encounter'],
    [() => ({ request: { method: 'DELETE', url: `Observation/${MARK}` } }), 422,
        'not-supported', 'Bundle.entry[i].request.method'],
    [() => ({ request: { method: 'GET', url: 'Task?status=requested' } }), 422,
        'not-supported', 'Bundle.entry[i].request.method'],
    [() => ({ resource: observation() }), 400, 'missing-element',
        'Bundle.entry[i].request'],
    [() => ({ request: { method: 'POST', url: 'Observation' } }), 400,
        'missing-element', 'Bundle.entry[i].resource'],
    [() => ({ ...put(observation()), request: { method: 'PUT',
        url: `Observation/${MARK}-other` } }), 400, 'bad-value',
    'Bundle.entry[i].request.url'],
    [() => ({ ...put(observation()), request: { method: 'PUT',
        url: 'Patient/x' } }), 400, 'bad-value', 'Bundle.entry[i].request.url'],
    [() => ({ ...put(observation()), request: { method: 'PUT',
        url: `Observation?code=${MARK}` } }), 400, 'bad-parameter', ''],
    [() => ({ ...put(observation()), request: { method: 'FETCH',
        url: 'Observation' } }), 400, 'bad-value',
    'Bundle.entry[i].request.method'],
    [() => ({ ...put(observation()), request: { url: 'Observation' } }), 400,
        'missing-element', 'Bundle.entry[i].request.method'],
    [() => ({ ...put(observation()), request: { method: 'POST' } }), 400,
        'missing-element', 'Bundle.entry[i].request.url'],
    [() => { const one = observation();
        return { ...put(one), request: { ...put(one).request,
            ifMatch: 'W/"7"' } }; }, 412, 'precondition', ''],
    [() => put(observation({ [MARK]: 1 })), 400, 'bad-element',
        `Observation.${MARK}`],
];

async function goodAndBad({ client }) {
    const bad = BAD.map(([make]) => make());
    const good = [observation(), observation()];
    const { body, status } = await send(client, bundle('batch',
        [put(good[0]), ...bad, put(good[1])]));
    expectSame(status, 200, 'status');
    for (const [i, [, code, word, place]] of BAD.entries()) {
        const entry = body.entry[i + 1];
        expectSame(entry.response.location, undefined, `${word}: location`);
        expectRefused(entry, code, word, place.replace('[i]', `[${i + 1}]`));
    }
    expectTaken(body.entry[0], 201, 'Observation', good[0].id);
    expectTaken(body.entry.at(-1), 201, 'Observation', good[1].id);
    await expectAbsent(client, `${MARK}-other`, ...bad.map((entry) =>
        entry.resource?.id).filter((id) => id !== undefined));
}

async function sameTwice({ client }) {
    const one = observation();
    const two = { ...one, valueQuantity: { ...one.valueQuantity, value: 900 } };
    const { body } = await send(client, bundle('batch',
        [put(one), put(one), put(two)]));
    expectTaken(body.entry[0], 201, 'Observation', one.id, '1');
    expectTaken(body.entry[1], 200, 'Observation', one.id, '1');
    expectSame(words(body.entry[1]), ['duplicate'], 'said');
    expectTaken(body.entry[2], 200, 'Observation', one.id, '2');
}

/* ---- transaction ---------------------------------------------------------- */

async function transaction({ client }) {
    const good = [observation(), observation(), observation()];
    const { body, status } = await send(client, bundle('transaction',
        [put(good[0]), post(good[1]), put(good[2])]));
    expectSame(status, 200, 'status');
    expectTaken(body.entry[0], 201, 'Observation', good[0].id);
    const id = expectTaken(body.entry[1], 201, 'Observation');
    for (const one of [good[0].id, id, good[2].id])
        expectStatus(await client.get(`/Observation/${one}`), 200, one);
}

/* Places are those of the whole body here. */
async function allOrNothing({ client }) {
    for (const [make, status, word, place] of BAD) {
        const good = [observation(), observation()];
        const entry = make();
        const before = await client.footprint();
        const answer = await send(client, bundle('transaction',
            [put(good[0]), entry, put(good[1])]));
        const [type] = place.split(/[.[]/);
        expectRefused(answer, status, word, type === 'Bundle'
            ? place.replace('[i]', '[1]')
            : `Bundle.entry[1].resource${place.slice(type.length)}`);
        await expectAbsent(client, good[0].id, good[1].id);
        expectSame(await client.footprint(), before, 'what is kept');
    }
}

/* What only the store can find: the first entry is undone as well. */
async function undone({ client }) {
    const old = observation({ identifier: [{ system: `https://${MARK}.example`,
        value: `${MARK}-taken` }] });
    expectStatus(await client.put('Observation', old), 201, 'PUT');
    const good = observation();
    const clash = { ...observation(), identifier: old.identifier };
    const answer = await send(client, bundle('transaction',
        [put(good), put(clash)]));
    expectRefused(answer, 409, 'identity', 'Bundle.entry[1].resource');
    const stale = put({ ...old, status: 'corrected' });
    stale.request.ifMatch = 'W/"3"';
    expectRefused(await send(client, bundle('transaction',
        [put(good), stale])), 412, 'precondition', 'Bundle.entry[1].resource');
    await expectAbsent(client, good.id, clash.id);
    const now = await client.get(`/Observation/${old.id}`);
    expectSame(now.headers.etag, 'W/"1"', 'ETag');
}

/* R4: a transaction in which one resource stands twice fails. */
async function twiceInOne({ client }) {
    const one = observation();
    const answer = await send(client, bundle('transaction', [put(one),
        put({ ...one, status: 'corrected' })]));
    expectRefused(answer, 400, 'invariant', 'Bundle.entry[1].request.url');
    await expectAbsent(client, one.id);
}

/* ---- collection ----------------------------------------------------------- */

async function collection({ client }) {
    const held = await client.gauge('headgate_held_readings');
    const [good, unit, clash, none, bad] = [observation(), observation(noUnit),
        observation({ code: { coding: [
            { system: OBS_SYSTEM, code: 'access-flow' },
            { system: OBS_SYSTEM, code: 'qb' }] } }),
        observation({ subject: undefined }), observation({ status: 'x' })];
    const { body } = await send(client, bundle('collection',
        [good, unit, clash, none, bad].map((resource) => ({ resource }))));
    expectTaken(body.entry[0], 201, 'Observation', good.id);
    for (const [i, word] of [[1, 'unit'], [2, 'code-conflict']]) {
        expectTaken(body.entry[i], 201, 'Observation', [unit, clash][i - 1].id);
        expect(words(body.entry[i]).includes(word), `${word} is not said`);
    }
    expectRefused(body.entry[3], 422, 'no-subject', 'Observation.subject');
    expectRefused(body.entry[4], 400, 'bad-value', 'Observation.status');
    expectSame(await client.gauge('headgate_held_readings'), held + 2, 'held');
    const { text } = await client.ops('/held');
    expect(text.includes('unit'), text);
    await expectAbsent(client, none.id, bad.id);
    const again = await send(client, bundle('collection', [good, unit]
        .map((resource) => ({ resource }))));
    expectSame(again.body.entry.map((e) => words(e).includes('duplicate')),
        [true, true], 'duplicates');
}

/* ---- entries that refer to each other ------------------------------------- */

function family(tag) {
    const [person, access, one, two] = ['0', '1', '2', '3'].map((n) =>
        `urn:uuid:00000000-0000-4000-8000-${tag}0000000000${n}`);
    const reading = (fullUrl, days) => ({ fullUrl, ...post(observation({
        subject: { reference: person }, focus: [{ reference: access }],
        effectiveDateTime: daysAgo(days),
        valueQuantity: { value: 2300, system: UCUM, code: 'mL/min' } })) });
    return [reading(one, 20), reading(two, 1),
        { fullUrl: access, ...post({ resourceType: 'BodyStructure',
            identifier: [{ system: 'https://site.example/ids/access',
                value: `${MARK}-F${tag}` }],
            morphology: { coding: [{ code: 'avf',
                system: `${BASE}/CodeSystem/av-access-type` }] },
            patient: { reference: person } }) },
        { fullUrl: person, ...post({ resourceType: 'Patient', identifier: [{
            system: 'urn:oid:2.999.1.1', value: `${MARK}-F${tag}` }] }) }];
}

async function references({ client, tasksOf }) {
    for (const [type, tag] of [['batch', '1'], ['transaction', '2'],
        ['collection', '3']]) {
        const { body } = await send(client, bundle(type, family(tag)));
        for (const [i, one] of body.entry.entries())
            expectSame([i, one.response.status, words(one)], [i, '201', []],
                type);
        const id = expectTaken(body.entry[3], 201, 'Patient');
        const access = expectTaken(body.entry[2], 201, 'BodyStructure');
        const [task, ...more] = await tasksOf(`Patient/${id}`, 1);
        expectSame(more.length, 0, 'further Tasks');
        expectSame([task.for.reference, task.focus.reference],
            [`Patient/${id}`, `BodyStructure/${access}`], 'whose it is');
    }
}

/* ---- size and form -------------------------------------------------------- */

async function many({ client }) {
    for (const type of ['batch', 'transaction']) {
        const sent = bundle(type, Array.from({ length: MANY }, () =>
            post(observation())));
        const began = performance.now();
        const { body, status } = await send(client, sent);
        console.log(`  ${MANY} entries in a ${type}: ${
            ((performance.now() - began) / 1000).toFixed(1)} s`);
        expectSame(status, 200, 'status');
        const found = body.entry.map((e) => expectTaken(e, 201, 'Observation'));
        expectSame(new Set(found).size, MANY, 'different ids');
    }
}

async function tooMany({ client }) {
    const one = observation();
    const entry = Array.from({ length: ENTRIES_MAX + 1 }, (_, i) =>
        put({ ...one, id: `${one.id}-${i}` }));
    const before = await client.footprint();
    for (const type of ['batch', 'transaction', 'collection'])
        expectRefused(await send(client, bundle(type, entry)), 422, 'too-many',
            'Bundle.entry');
    await expectAbsent(client, `${one.id}-0`);
    expectSame(await client.footprint(), before, 'what is kept');
}

async function forms({ client }) {
    for (const type of ['document', 'message', 'history', 'searchset',
        'batch-response'])
        expectRefused(await send(client, bundle(type, [put(observation())])),
            422, 'not-supported', 'Bundle.type');
    expectRefused(await send(client, bundle('batsch', [])), 400, 'bad-element',
        'Bundle.entry');
    expectRefused(await send(client, bundle('batsch', undefined)), 400,
        'bad-value', 'Bundle.type');
    expectRefused(await send(client, bundle(undefined, undefined)), 400,
        'missing-element', 'Bundle.type');
    expectRefused(await send(client, bundle('batch', {})), 400, 'bad-element',
        'Bundle.entry');
    for (const entry of [null, 7, [], 'x']) {
        const answer = await send(client, bundle('batch', [entry]));
        const one = answer.status === 200 ? answer.body.entry[0] : answer;
        expectRefused(one, 400, 'bad-element', 'Bundle.entry[0]');
    }
    const none = await send(client, bundle('batch', undefined));
    expectStatus(none, 200, 'no entries');
    expectRefused(await client.send('POST', '/Bundle', bundle('batch')), 404,
        'not-found');
    expectStatus(await client.send('POST', '/', bundle('batch')), 200,
        'the base with a slash');
}

async function nestedBundle({ client }) {
    const inner = bundle('batch', [put(observation())]);
    const { body } = await send(client, bundle('batch', [post(inner)]));
    expectRefused(body.entry[0], 422, 'not-supported', 'Bundle');
    expectSame(issues(body.entry[0]).length, 1, 'issues');
}

export const bundleCases = [
    ['a batch', batch],
    ['a batch with good and bad entries', goodAndBad],
    ['a batch with the same entry twice', sameTwice],
    ['a transaction', transaction],
    ['a transaction with a bad entry', allOrNothing],
    ['a transaction that the store refuses', undone],
    ['a transaction with one resource twice', twiceInOne],
    ['a collection is a feed', collection],
    ['entries that refer to each other', references],
    [`${MANY} entries`, many],
    ['too many entries', tooMany],
    ['forms of a Bundle', forms],
    ['a Bundle in a Bundle', nestedBundle],
];
