/*
 * PATCH of a Task: JSON Patch as RFC 6902 has it, judged by an independent
 * implementation (npm rfc6902), with the rules of a PUT behind it.
 *
 * Answers to a patch that fails: RFC 5789, section 2.2 (400 malformed, 409 the
 * state does not fit, 412 If-Match, 415 another kind of patch, 422 what comes
 * out is refused by a rule).
 */

import { applyPatch } from 'rfc6902';
import { expectRefused, expectSame, expectStatus, MARK }
    from './endpoint_kit.mjs';
import { people } from './endpoint_search.mjs';

const PATCH = 'application/json-patch+json';

async function current(client, { id }) {
    const answer = await client.get(`/Task/${id}`);
    expectStatus(answer, 200, 'Task');
    return answer.body;
}

function send(client, { id }, operations, headers = {}) {
    return client.send('PATCH', `/Task/${id}`, typeof operations === 'string'
        ? operations : JSON.stringify(operations),
    { 'Content-Type': PATCH, ...headers });
}

/* Each is applied here by the library, and there by headgate. */
const TAKEN = [
    [{ op: 'test', path: '/status', value: 'requested' },
        { op: 'replace', path: '/status', value: 'received' }],
    [{ op: 'add', path: '/note/-', value: { text: `${MARK} 1` } }],
    [{ op: 'add', path: '/note/0', value: { text: `${MARK} first` } },
        { op: 'copy', from: '/note/0', path: '/note/-' },
        { op: 'remove', path: '/note/0' }],
    [{ op: 'add', path: '/owner', value: { display: `${MARK}` } },
        { op: 'add', path: '/owner/reference', value: 'Practitioner/n~1' },
        { op: 'replace', path: '/owner/reference', value: 'Practitioner/n-1' }],
    [{ op: 'move', from: '/owner/display', path: '/businessStatus/text' },
        { op: 'test', path: '/owner', value: { reference: 'Practitioner/n-1' } }],
    [{ op: 'add', path: '/output', value: [{ type: { text: 'Flow' },
        valueQuantity: { value: 1250, unit: 'mL/min' } }] },
    { op: 'test', path: '/output/0/valueQuantity/value', value: 1250.0 }],
    [{ op: 'remove', path: '/output' }],
    [{ op: 'test', path: '/meta/versionId', value: 'VERSION' },
        { op: 'replace', path: '/status', value: 'accepted' }],
];

async function taken({ client }) {
    const { task } = people[20];
    for (const template of TAKEN) {
        const before = await current(client, task);
        const operations = JSON.parse(JSON.stringify(template).replace(
            'VERSION', before.meta.versionId));
        const want = structuredClone(before);
        expectSame(applyPatch(want, operations).filter((e) => e !== null), [],
            'the library takes it');
        const answer = await send(client, task, operations,
            { 'If-Match': `W/"${before.meta.versionId}"` });
        expectStatus(answer, 200, JSON.stringify(operations));
        const version = `${Number(before.meta.versionId) + 1}`;
        expectSame([answer.headers.etag, answer.body.meta.versionId],
            [`W/"${version}"`, version], 'version');
        expectSame({ ...answer.body, meta: 0 }, { ...want, meta: 0 },
            JSON.stringify(operations));
        expectSame(await current(client, task), answer.body, 'what is kept');
    }
}

/* The digits of a number are part of it (R4, datatypes.html, decimal). */
async function digits({ client }) {
    const { task } = people[20];
    const answer = await send(client, task, `[{"op":"add","path":"/output",
        "value":[{"type":{"text":"Flow"},"valueQuantity":{"value":1250.50}}]}]`);
    expectStatus(answer, 200, 'digits');
    const again = await send(client, task,
        [{ op: 'add', path: '/note/-', value: { text: `${MARK} 2` } }]);
    expectSame(again.text.includes('"value":1250.50'), true, 'digits');
}

const REFUSED = [
    ['[', 400, 'json-syntax'],
    ['{}', 400, 'bad-element'],
    [[{ op: 'spam', path: '/status' }], 400, 'bad-element'],
    [[{ op: 'remove', path: 'status' }], 400, 'bad-element'],
    [[{ op: 'add', path: '/status' }], 400, 'bad-element'],
    [[{ op: 'test', path: '/status', value: 'draft' }], 409, 'patch-conflict'],
    [[{ op: 'remove', path: '/partOf' }], 409, 'patch-conflict'],
    [[{ op: 'replace', path: '/none/0', value: 1 }], 409, 'patch-conflict'],
    [[{ op: 'remove', path: '/' }], 409, 'patch-conflict'],
    [[{ op: 'remove', path: '' }], 409, 'patch-conflict'],
    [[{ op: 'remove', path: '/status' }], 400, 'missing-element'],
    [[{ op: 'replace', path: '/status', value: 'done' }], 400, 'bad-value'],
    [[{ op: 'replace', path: '/status', value: 'draft' }], 422,
        'value-conflict'],
    [[{ op: 'replace', path: '/intent', value: 'order' }], 409, 'identity'],
    [[{ op: 'remove', path: '/for' }], 409, 'identity'],
    [[{ op: 'replace', path: '/code/text', value: MARK }], 409, 'identity'],
    [[{ op: 'add', path: `/${MARK}`, value: 1 }], 400, 'bad-element'],
    [[{ op: 'add', path: '/note', value: [] }], 400, 'bad-element'],
    [[{ op: 'add', path: '/owner', value: null }], 400, 'bad-element'],
    [[{ op: 'add', path: '', value: {} }], 400, 'not-a-resource'],
    [[{ op: 'replace', path: '/id', value: 'other' }], 400, 'bad-value'],
    [[{ op: 'add', path: '/lastModified', value: '2020-01-01T00:00:00Z' }], 400,
        'invariant'],
    [[{ op: 'add', path: '/note/0', value: { text: `${MARK}` } },
        { op: 'test', path: '/status', value: 'draft' }], 409,
    'patch-conflict'],
];

async function refused({ client }) {
    const { task } = people[21];
    const before = await current(client, task);
    for (const [operations, status, word] of REFUSED)
        expectRefused(await send(client, task, operations), status, word,
            undefined, JSON.stringify(operations));
    const note = [{ op: 'add', path: '/note/-', value: { text: MARK } }];
    expectRefused(await send(client, task, note, { 'If-Match': 'W/"99"' }), 412,
        'precondition');
    expectRefused(await send(client, { id: 'none' }, note), 404, 'not-found');
    for (const type of ['application/fhir+json', 'application/json',
        'application/xml-patch+xml', 'application/merge-patch+json', undefined]) {
        const answer = await send(client, task, note, { 'Content-Type': type });
        expectRefused(answer, 415, 'media-type');
        expectSame(answer.headers['accept-patch'], PATCH, 'Accept-Patch');
    }
    expectSame(await current(client, task), before, 'the Task');
}

async function preferences({ client }) {
    const { task } = people[21];
    const note = (n) => [{ op: 'add', path: '/note/-',
        value: { text: `${MARK} ${n}` } }];
    const minimal = await send(client, task, note(1),
        { Prefer: 'return=minimal' });
    expectStatus(minimal, 200, 'minimal');
    expectSame(minimal.text, '', 'minimal');
    const said = await send(client, task, note(2),
        { Prefer: 'handling=strict, return="OperationOutcome"' });
    expectSame(said.body.resourceType, 'OperationOutcome', 'OperationOutcome');
    const whole = await send(client, task, note(3),
        { Prefer: 'return=representation' });
    expectSame(whole.body.note.length >= 3, true, 'representation');
    expectSame([whole.headers.location, whole.headers['last-modified']],
        [`${client.url}/Task/${task.id}/_history/${whole.body.meta.versionId}`,
            new Date(Math.floor(Date.parse(whole.body.meta.lastUpdated) / 1000)
                * 1000).toUTCString()], 'headers');
}

/* ---- in a Bundle ------------------------------------------------------------ */

function entry({ id }, operations, request = {}) {
    const data = Buffer.from(JSON.stringify(operations)).toString('base64');
    return { resource: { resourceType: 'Binary', contentType: PATCH, data },
        request: { method: 'PATCH', url: `Task/${id}`, ...request } };
}

const post = (client, type, entries) => client.send('POST', '',
    { resourceType: 'Bundle', type, entry: entries });

async function inBundles({ client }) {
    const [{ task: one }, { task: two }] = [people[20], people[21]];
    const note = (text) => [{ op: 'add', path: '/note/-', value: { text } }];
    for (const type of ['batch', 'transaction']) {
        const [before, other] = [await current(client, one),
            await current(client, two)];
        const { body, status } = await post(client, type, [
            entry(one, note(`${MARK} ${type}`),
                { ifMatch: `W/"${before.meta.versionId}"` }),
            { resource: { ...other, businessStatus: { text: type } }, request: {
                method: 'PUT', url: `Task/${two.id}`,
                ifMatch: `W/"${other.meta.versionId}"` } }]);
        expectStatus({ status, text: JSON.stringify(body) }, 200, type);
        for (const [i, t] of [before, other].entries()) {
            const version = Number(t.meta.versionId) + 1;
            const { response } = body.entry[i];
            expectSame([response.status, response.location, response.etag],
                ['200', `Task/${t.id}/_history/${version}`, `W/"${version}"`],
                type);
        }
        expectSame((await current(client, one)).note.at(-1).text,
            `${MARK} ${type}`, 'patched');
        expectSame((await current(client, two)).businessStatus.text, type, 'put');
    }
    const before = await current(client, one);
    const failing = [entry(two, note(MARK)),
        entry(one, [{ op: 'test', path: '/status', value: 'draft' }])];
    expectRefused(await post(client, 'transaction', failing), 409,
        'patch-conflict', 'Bundle.entry[1].resource');
    for (const [bad, status, word] of [
        [entry(one, note(MARK), { ifMatch: 'W/"99"' }), 412, 'precondition'],
        [entry(one, [{ op: 'test', path: '/status', value: 'draft' }]), 409,
            'patch-conflict'],
        [entry({ id: 'none' }, note(MARK)), 404, 'not-found'],
        [{ ...entry(one, note(MARK)), request: { method: 'PATCH',
            url: 'Observation/o1' } }, 422, 'not-supported'],
        [{ ...entry(one, note(MARK)), resource: { resourceType: 'Binary',
            contentType: PATCH, data: '=' } }, 400, 'bad-value'],
        [{ ...entry(one, note(MARK)), resource: { resourceType: 'Binary',
            contentType: 'application/json', data: 'e30=' } }, 422,
        'not-supported']]) {
        const { body } = await post(client, 'batch', [bad]);
        expectRefused(body.entry[0], status, word);
    }
    expectSame(await current(client, one), before, 'the Task');
}

export const patchCases = [
    ['patches that are taken', taken],
    ['digits after a patch', digits],
    ['patches that are refused', refused],
    ['what an answer to a patch holds', preferences],
    ['changes of Tasks in Bundles', inBundles],
];
