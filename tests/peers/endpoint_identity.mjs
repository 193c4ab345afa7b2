/*
 * Which resource, and whose access: repeats, conditions, corrections, and all
 * the ways in which a reading names the access it was measured on.
 */

import { expect } from './delivery_kit.mjs';
import { BASE, DAY_MS, daysAgo, expectRefused, expectSame, expectStatus, MARK,
    OBS_SYSTEM, placeOf, SNOMED, UCUM, words } from './endpoint_kit.mjs';

const IDS = `https://${MARK}.example/ids/obs`;
const ACCESS_IDS = 'https://site.example/ids/access';
const LEFT = '419161000', RIGHT = '419465000';

let made = 0;

function numbered(number, change = {}) {
    made++;
    return { resourceType: 'Observation', status: 'final',
        ...number && { identifier: [{ system: IDS, value: number }] },
        code: { coding: [{ system: OBS_SYSTEM, code: 'access-flow' }] },
        subject: { reference: `Patient/${MARK}-ident` },
        focus: [{ reference: `BodyStructure/${MARK}-ident` }],
        effectiveDateTime: daysAgo(100 + made / 100),
        valueQuantity: { value: 900, system: UCUM, code: 'mL/min' },
        ...change };
}

const flow = (value) => ({ valueQuantity: { value, system: UCUM,
    code: 'mL/min' } });

async function send(client, resource, headers) {
    return client.send('POST', `/${resource.resourceType}`, resource, headers);
}

function expectPlace(answer, status, id, version) {
    expectStatus(answer, status, 'POST');
    const place = placeOf(answer);
    expectSame([place.id, place.version], [id ?? place.id, version], 'place');
    return place.id;
}

/* ---- conditional create --------------------------------------------------- */

async function conditional({ client }) {
    const one = numbered(`${MARK}-cond`);
    const query = `identifier=${IDS}|${MARK}-cond`;
    const id = expectPlace(await send(client, one, { 'If-None-Exist': query }),
        201, undefined, '1');
    for (const form of [query, `identifier=${encodeURIComponent(
        `${IDS}|${MARK}-cond`)}`, `identifier=${IDS}%7C${MARK}-cond`]) {
        const other = { ...one, ...flow(901) };
        expectPlace(await send(client, other, { 'If-None-Exist': form }), 200,
            id, '1');
    }
    const text = await client.get(`/Observation/${id}`);
    expectSame(text.body.valueQuantity.value, 900, 'value');
    for (const form of ['identifier=x|y&status=final', 'status=final',
        `identifier=${MARK}-cond`, 'identifier=x|', 'identifier=%zz',
        `identifier=${'x'.repeat(1200)}`])
        expectRefused(await send(client, numbered(), { 'If-None-Exist': form }),
            412, 'precondition');
}

async function multipleMatches({ client }) {
    const one = numbered(`${MARK}-multi`);
    const two = { ...one, ...flow(300),
        code: { coding: [{ system: OBS_SYSTEM, code: 'qb' }] } };
    const ids = [await client.post(one), await client.post(two)];
    expect(ids[0] !== ids[1], 'one number for two results of a session');
    expectRefused(await send(client, one, { 'If-None-Exist':
        `identifier=${IDS}|${MARK}-multi` }), 412, 'precondition');
    for (const type of ['batch', 'transaction']) {
        const entry = { resource: one, request: { method: 'POST',
            url: 'Observation', ifNoneExist: `identifier=${IDS}|${MARK}-multi` } };
        const answer = await client.send('POST', '', { resourceType: 'Bundle',
            type, entry: [entry] });
        expectRefused(type === 'batch' ? answer.body.entry[0] : answer, 412,
            'precondition');
        entry.request.ifNoneExist = `identifier=${IDS}|${MARK}-cond`;
        const { body } = await client.send('POST', '', { resourceType: 'Bundle',
            type, entry: [entry] });
        expectSame(body.entry[0].response.status, '200', 'a match');
    }
}

/* Whoever comes first; the others find it. */
async function race({ client }) {
    const headers = { 'If-None-Exist': `identifier=${IDS}|${MARK}-race` };
    const answers = await Promise.all(Array.from({ length: 20 }, () =>
        send(client, numbered(`${MARK}-race`), headers)));
    expectSame(answers.map((a) => a.status).sort().join(' '),
        `${'200 '.repeat(19)}201`, 'statuses');
    expectSame(new Set(answers.map((a) => placeOf(a).id)).size, 1, 'ids');
}

/* ---- repeats and changes -------------------------------------------------- */

async function ifMatch({ client }) {
    const one = { ...numbered(), id: `${MARK}-match` };
    const put = (value, tag) => client.put('Observation',
        { ...one, ...flow(value) }, { 'If-Match': tag });
    expectRefused(await put(900, 'W/"1"'), 412, 'precondition');
    expectRefused(await client.get(`/Observation/${one.id}`), 404, 'not-found');
    expectStatus(await put(900), 201, 'PUT');
    expectPlace(await put(901, 'W/"1"'), 200, one.id, '2');
    expectPlace(await put(902, '"2"'), 200, one.id, '3');
    for (const stale of ['W/"2"', 'W/"4"', 'W/"', '3', 'x'])
        expectRefused(await put(903, stale), 412, 'precondition');
    const now = await client.get(`/Observation/${one.id}`);
    expectSame([now.headers.etag, now.body.valueQuantity.value],
        ['W/"3"', 902], 'what stands');
}

async function sameIdentifier({ client }) {
    const one = numbered(`${MARK}-same`);
    const id = expectPlace(await send(client, one), 201, undefined, '1');
    const again = await send(client, one);
    expectPlace(again, 200, id, '1');
    expectSame(words(again), ['duplicate'], 'said');
    expectPlace(await send(client, { ...one, ...flow(950) }), 200, id, '2');
    const other = { ...one, id: `${MARK}-other-id` };
    expectRefused(await client.put('Observation', other), 409, 'identity');
    expectRefused(await client.get(`/Observation/${other.id}`), 404,
        'not-found');
    const next = await send(client, { ...one, identifier: [{ system: IDS,
        value: `${MARK}-same-2` }] });
    expect(placeOf(next).id !== id, 'a replicate is a reading of its own');
}

async function withoutIdentifier({ client }) {
    const one = numbered();
    const id = expectPlace(await send(client, one), 201, undefined, '1');
    const again = await send(client, one);
    expectPlace(again, 200, id, '1');
    expectSame(words(again), ['duplicate'], 'said');
    for (const change of [flow(901), { effectiveDateTime: daysAgo(99) },
        { method: { text: 'Thermodilution' } }])
        expectStatus(await send(client, { ...one, ...change }), 201,
            JSON.stringify(change));
    const held = { ...numbered(), ...flow(99999) };
    const heldId = expectPlace(await send(client, held), 201, undefined, '1');
    expectPlace(await send(client, held), 200, heldId, '1');
}

async function putTwice({ client }) {
    const one = { ...numbered(), id: `${MARK}-twice` };
    expectPlace(await client.put('Observation', one), 201, one.id, '1');
    const again = await client.put('Observation', { ...one,
        meta: { versionId: '9', lastUpdated: '2026-01-01T00:00:00Z' } });
    expectPlace(again, 200, one.id, '1');
    expectSame(words(again), ['duplicate'], 'said');
}

/* A first report that comes late does not undo what was put right. */
async function corrections({ client }) {
    const first = numbered(`${MARK}-corr`, { issued: daysAgo(2) });
    const right = { ...first, status: 'corrected', issued: daysAgo(1),
        ...flow(1234) };
    const id = expectPlace(await send(client, first), 201, undefined, '1');
    expectPlace(await send(client, right), 200, id, '2');
    const late = await send(client, first);
    expectPlace(late, 200, id, '2');
    expectSame(words(late), ['out-of-order'], 'said');
    const gone = { resourceType: 'Observation', status: 'entered-in-error',
        identifier: first.identifier, code: first.code, subject: first.subject };
    expectPlace(await send(client, gone), 200, id, '3');
    expectSame(words(await send(client, first)), ['out-of-order'], 'said');
    expectSame((await client.get(`/Observation/${id}`)).body.status,
        'entered-in-error', 'status');
    const history = await client.get(`/Observation/${id}/_history`);
    expectSame(history.body.entry.map((e) => e.resource.status),
        ['entered-in-error', 'corrected', 'final'], 'history');
}

/* The withdrawal may come before what it withdraws. */
async function withdrawnFirst({ client }) {
    const first = numbered(`${MARK}-early`, { issued: daysAgo(2) });
    const id = expectPlace(await send(client, { ...first,
        status: 'entered-in-error' }), 201, undefined, '1');
    const late = await send(client, first);
    expectPlace(late, 200, id, '1');
    expectSame(words(late), ['out-of-order'], 'said');
}

/* ---- whose access --------------------------------------------------------- */

function bodyStructure(tag, patient, side, more = {}) {
    return { resourceType: 'BodyStructure', id: `${MARK}-${tag}`,
        identifier: [{ system: ACCESS_IDS, value: `${MARK}-N-${tag}` }],
        active: true, morphology: { coding: [{ code: 'avf',
            system: `${BASE}/CodeSystem/av-access-type` }] },
        locationQualifier: [{ coding: [{ system: SNOMED, code: side }] }],
        patient: { reference: `Patient/${patient}` }, ...more };
}

/* A patient with a fistula on each side. */
async function twoAccesses(client, tag) {
    const patient = `${MARK}-${tag}`;
    await client.put('Patient', { resourceType: 'Patient', id: patient,
        identifier: [{ system: 'urn:oid:2.999.1.1', value: `${MARK}-P-${tag}` }],
        name: [{ family: MARK }] });
    for (const [name, side] of [['left', LEFT], ['right', RIGHT]])
        expectStatus(await client.put('BodyStructure',
            bodyStructure(`${tag}-${name}`, patient, side)), 201, name);
    return patient;
}

const reference = (tag) => ({ reference: `BodyStructure/${MARK}-${tag}-right` });
const number = (tag) => ({ type: 'BodyStructure', identifier: {
    system: ACCESS_IDS, value: `${MARK}-N-${tag}-right` } });
const extension = (url, tag) => [{ url, valueReference: reference(tag) }];
const BODY_SITE = 'http://hl7.org/fhir/StructureDefinition/bodySite';
const R5 = 'http://hl7.org/fhir/5.0/StructureDefinition/'
    + 'extension-Observation.bodyStructure';

/* How a reading can say "the right one". */
const WAYS = {
    focus: (tag) => ({ focus: [reference(tag)] }),
    'focus, absolute': (tag, { url }) => ({ focus: [{ reference:
        `${url}/BodyStructure/${MARK}-${tag}-right` }] }),
    'focus, as the Location says': (tag, { url }) => ({
        subject: { reference: `${url}/Patient/${MARK}-${tag}/_history/1` },
        focus: [{ reference:
            `${url}/BodyStructure/${MARK}-${tag}-right/_history/1` }] }),
    'focus, versioned': (tag) => ({ focus: [{ reference:
        `BodyStructure/${MARK}-${tag}-right/_history/1` }] }),
    'focus by identifier': (tag) => ({ focus: [number(tag)] }),
    'bodySite extension': (tag) => ({ extension: extension(BODY_SITE, tag) }),
    'extension of bodySite': (tag) => ({ bodySite: { text: 'arm',
        extension: extension(BODY_SITE, tag) } }),
    'R5 extension': (tag) => ({ extension: extension(R5, tag) }),
    contained: (tag) => ({ focus: [{ reference: '#a' }], contained: [{
        ...bodyStructure('x', `${MARK}-${tag}`, RIGHT), id: 'a',
        identifier: [number(tag).identifier] }] }),
    'bodySite coding': () => ({ bodySite: { coding: [{ system: SNOMED,
        code: '368209003' }] } }),
    'bodySite text': () => ({ bodySite: { text: 'right upper arm' } }),
};

async function way({ client, tasksOf }, name) {
    const tag = `w${Object.keys(WAYS).indexOf(name)}`;
    const patient = await twoAccesses(client, tag);
    for (const days of [20, 1]) {
        const answer = await send(client, numbered(undefined, {
            subject: { reference: `Patient/${patient}` }, focus: undefined,
            effectiveDateTime: daysAgo(days), ...flow(2200),
            ...WAYS[name](tag, client) }));
        expectStatus(answer, 201, name);
        expectSame(words(answer), /^bodySite (coding|text)$/.test(name)
            ? ['access-assumed'] : [], 'said');
    }
    const tasks = await tasksOf(`Patient/${patient}`, 1);
    expectSame(tasks.map((t) => t.focus.reference),
        [`BodyStructure/${MARK}-${tag}-right`], 'the access');
}

async function provisional({ client, tasksOf }) {
    const tag = 'prov';
    const patient = `${MARK}-${tag}`;
    const reading = (days) => numbered(undefined, {
        subject: { reference: `Patient/${patient}` },
        focus: [{ reference: `BodyStructure/${MARK}-${tag}` }],
        effectiveDateTime: daysAgo(days), ...flow(2200) });
    const accesses = await client.gauge('headgate_accesses');
    expectSame(words(await send(client, reading(20))),
        ['access-provisional', 'type-unknown'], 'said of the first');
    expectSame(words(await send(client, reading(10))), ['type-unknown'],
        'said of the second');
    expectStatus(await client.put('BodyStructure', bodyStructure(tag, patient,
        LEFT, { location: { text: `Upper arm ${MARK}` } })), 201, 'access');
    expectStatus(await send(client, reading(1)), 201, 'the third');
    expectSame(await client.gauge('headgate_accesses'), accesses + 1,
        'accesses');
    const tasks = await tasksOf(`Patient/${patient}`, 1,
        ([task]) => task.description.includes(`${MARK}-N-${tag}`));
    expectSame(tasks.length, 1, 'Tasks');
}

async function noneNamed({ client }) {
    const patient = await twoAccesses(client, 'two');
    const reading = (change) => numbered(undefined, { focus: undefined,
        subject: { reference: `Patient/${patient}` }, ...change });
    for (const [change, held, said] of [[{}, 1, ['access-ambiguous']],
        [{ focus: [{ reference: 'Device/monitor' }] }, 1, ['access-ambiguous']],
        [{ bodySite: { coding: ['368208006', '368209003'].map((code) =>
            ({ system: SNOMED, code })) } }, 1, ['access-side']],
        [{ bodySite: { text: 'left arm' } }, 0, ['access-assumed']],
        [{ focus: [{ reference: `BodyStructure/${MARK}-ident` }] }, 1,
            ['access-ambiguous']],
        [{ focus: [{ reference: `https://record.example/BodyStructure/${
            patient}-left` }] }, 0, ['access-provisional', 'identity',
            'type-unknown']]]) {
        const before = await client.gauge('headgate_held_readings');
        const answer = await send(client, reading(change));
        expectStatus(answer, 201, JSON.stringify(change));
        expectSame(words(answer), said, JSON.stringify(change));
        expectSame(await client.gauge('headgate_held_readings') - before, held,
            `held: ${JSON.stringify(change)}`);
    }
}

/* No BodyStructure was ever sent: an implied access, then its real one. */
async function implied({ client, tasksOf }) {
    const patient = `${MARK}-implied`;
    const reading = (days) => numbered(undefined, { focus: undefined,
        subject: { reference: `Patient/${patient}` },
        effectiveDateTime: daysAgo(days), ...flow(2200) });
    for (const days of [20, 1])
        expectSame(words(await send(client, reading(days))), ['access-assumed', 'type-unknown'],
            'said');
    const [task] = await tasksOf(`Patient/${patient}`, 1);
    expectStatus(await client.put('BodyStructure', bodyStructure('implied',
        patient, LEFT)), 201, 'access');
    expectStatus(await send(client, { ...reading(0),
        focus: [{ reference: `BodyStructure/${MARK}-implied` }] }), 201, 'read');
    const after = await tasksOf(`Patient/${patient}`, 1,
        ([t]) => t.meta.versionId !== task.meta.versionId);
    expectSame(after.map((t) => t.id), [task.id], 'one Task');
}

async function anotherPatient({ client }) {
    await twoAccesses(client, 'owner');
    const stolen = bodyStructure('owner-left', `${MARK}-thief`, LEFT);
    expectRefused(await client.put('BodyStructure', stolen), 409, 'identity',
        'BodyStructure.patient');
    const read = await client.get(`/BodyStructure/${stolen.id}`);
    expectSame(read.headers.etag, 'W/"1"', 'ETag');
}

/* One patient by literal reference and by number. */
async function patientByNumber({ client, tasksOf }) {
    await twoAccesses(client, 'number');
    const by = [{ reference: `Patient/${MARK}-number` },
        { identifier: { system: 'urn:oid:2.999.1.1',
            value: `${MARK}-P-number` } }];
    for (const [i, subject] of by.entries())
        expectStatus(await send(client, numbered(undefined, { subject,
            focus: [number('number')], ...flow(2300),
            effectiveDateTime: daysAgo(i === 0 ? 20 : 1) })), 201, 'reading');
    const tasks = await tasksOf(`urn:oid:2.999.1.1|${MARK}-P-number`, 1);
    expectSame(tasks.map((t) => t.for.reference), [`Patient/${MARK}-number`],
        'whose');
}

/* Times of one second in several zones are one time. */
async function zones({ client }) {
    const at = new Date(Math.floor(Date.now() / 1000) * 1000 - 90 * DAY_MS);
    const one = numbered(undefined, { effectiveDateTime:
        at.toISOString().replace('.000Z', 'Z') });
    const id = expectPlace(await send(client, one), 201, undefined, '1');
    const local = new Date(at.getTime() + 5.5 * 3600000).toISOString();
    expectPlace(await send(client, { ...one, effectiveDateTime:
        local.replace('.000Z', '.0000+05:30') }), 200, id, '1');
}

export const identityCases = [
    ['conditional create', conditional],
    ['conditional create with several matches', multipleMatches],
    ['conditional create twenty times at once', race],
    ['If-Match', ifMatch],
    ['the same identifier twice', sameIdentifier],
    ['no identifier, twice', withoutIdentifier],
    ['the same PUT twice', putTwice],
    ['corrections and withdrawals', corrections],
    ['a withdrawal before its reading', withdrawnFirst],
    ['one time in two zones', zones],
    ...Object.keys(WAYS).map((name) => [`access by ${name}`,
        (b) => way(b, name)]),
    ['an access that comes later', provisional],
    ['two accesses and none named', noneNamed],
    ['an access that nobody describes at first', implied],
    ['an access of another patient', anotherPatient],
    ['a patient by number', patientByNumber],
];
