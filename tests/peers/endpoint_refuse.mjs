/*
 * What is refused: with which status, word and place, and that nothing of it
 * is kept.  What is held for a person stands at the end.
 */

import { readdirSync } from 'node:fs';
import fhirpath from 'fhirpath';
import model from 'fhirpath/fhir-context/r4';
import { expect } from './delivery_kit.mjs';
import { BASE, Client, daysAgo, expectRefused, expectSame, expectStatus,
    fixture, FHIR_JSON, issues, judge, MARK, OBS_SYSTEM, parseAnswers,
    placeOf, rawExchange, UCUM, words } from './endpoint_kit.mjs';

const BODY_MAX = 4194304; /* http.body_max */

/* ---- the places ----------------------------------------------------------- */

/* The keys that a place names: "value.ofType(string)" is "valueString". */
function keysOf(place) {
    return place.replace(/\.ofType\((.)(\w*)\)/g,
        (_, first, rest) => first.toUpperCase() + rest)
        .split(/[.[]/).slice(1).map((key) => key.replace(']', ''));
}

/* A place is FHIRPath, and where something is wrong there is something. */
function expectPlaces(answer, sentText) {
    const resource = JSON.parse(sentText);
    for (const { place, code, word, severity } of issues(answer)) {
        fhirpath.evaluate(resource, place, undefined, model);
        const keys = keysOf(place);
        const isMissing = code === 'required' || code === 'business-rule'
            || word === 'unit' || severity !== 'error';
        const last = isMissing ? keys.length - 1 : keys.length;
        let node = resource;
        for (const key of keys.slice(0, Math.max(last, 0))) {
            expect(key in node, `${place} is nowhere in what was sent`);
            node = node[key];
        }
    }
}

async function expectNothing(client, before, type, id) {
    expectSame(await client.footprint(), before, 'what is kept');
    if (id !== undefined)
        expectRefused(await client.get(`/${type}/${id}`), 404, 'not-found');
}

/* ---- fixtures that are refused -------------------------------------------- */

const FIXTURES = {
    'n01-no-status.json': [400, 'missing-element', 'Observation.status'],
    'n03-no-code.json': [400, 'missing-element', 'Observation.code'],
    'n06-time-no-zone.json': [400, 'bad-datetime',
        'Observation.effective.ofType(dateTime)'],
    'n08-feb-30.json': [400, 'bad-datetime',
        'Observation.effective.ofType(dateTime)'],
    'n10-value-is-string.json': [400, 'bad-element',
        'Observation.value.ofType(Quantity).value'],
    'n14-null.json': [400, 'bad-element', undefined],
    'n19-instant-no-seconds.json': [400, 'bad-datetime',
        'Observation.effective.ofType(instant)'],
    'n24-code-component-clash.json': [400, 'invariant',
        'Observation.component[0].code'],
    'n30-task-no-intent.json': [400, 'missing-element', 'Task.intent'],
    'n32-task-modified-before-authored.json': [400, 'invariant',
        'Task.lastModified'],
    'n44-bundle-entry-no-request.json': [400, 'missing-element',
        'Bundle.entry[0].request'],
    'n48-ext-both.json': [400, 'invariant', 'Observation.extension[0]'],
};

async function refuseFixture({ client }, name) {
    const want = FIXTURES[name];
    expect(want !== undefined, 'a fixture without an expectation');
    const sent = JSON.parse(fixture(`refuse/${name}`));
    const type = sent.resourceType;
    const before = await client.footprint();
    if (type === 'Bundle') {
        const [{ resource }] = sent.entry;
        resource.id = `${MARK}-refused`;
        expectRefused(await client.send('POST', '', sent), ...want);
        return expectNothing(client, before, 'Observation', resource.id);
    }
    sent.id = `${MARK}-refused`;
    const text = JSON.stringify(sent);
    const put = await client.put(type, text);
    expectRefused(put, ...want);
    expectPlaces(put, text);
    if (type !== 'Task')
        expectRefused(await client.send('POST', `/${type}`, text), ...want);
    return expectNothing(client, before, type, sent.id);
}

/* ---- Observations that are refused ---------------------------------------- */

/* At a time of its own, so that it is no repeat of another. */
let taken = 0;

function observation(change = {}) {
    return { ...JSON.parse(fixture('obs-02-flow-litres.json')),
        id: `${MARK}-refused`, effectiveInstant: daysAgo(3 + ++taken / 1000),
        ...change };
}

const coding = (system, code) => ({ coding: [{ system, code }] });
const flow = coding(OBS_SYSTEM, 'access-flow');
const quantity = (code, value = 1000) => ({ value, system: UCUM, code });
const ABSENT = { coding: [{ code: 'not-performed',
    system: 'http://terminology.hl7.org/CodeSystem/data-absent-reason' }] };
const VALUE = 'Observation.value.ofType(Quantity)';
const LINES = { url: `https://${MARK}.example/e`, valueString: MARK };

/* name, what is changed, status, word, place */
const OBSERVATIONS = [
    ['unknown unit', { valueQuantity: quantity('furlong/min') }, 422,
        'unit', `${VALUE}.code`],
    ['unit of something else', { valueQuantity: quantity('mg/dL') }, 422,
        'unit', `${VALUE}.code`],
    ['unit with a number in its annotation',
        { valueQuantity: quantity('mL/min/{1.73_m2}') }, 422, 'unit',
        `${VALUE}.code`],
    ['unit in capitals', { valueQuantity: quantity('ML/MIN') }, 422, 'unit',
        `${VALUE}.code`],
    ['unit of another system', { valueQuantity: { value: 1, code: 'mL/min',
        system: `https://${MARK}.example` } }, 422, 'unit', `${VALUE}.system`],
    ['unit unknown as text', { valueQuantity: { value: 1000,
        unit: 'large litres' } }, 422, 'unit', `${VALUE}.unit`],
    ['no unit', { valueQuantity: { value: 1000 } }, 422, 'unit',
        `${VALUE}.code`],
    ['a unit code without its system', { valueQuantity: { value: 1000,
        code: 'mL/min' } }, 400, 'invariant', `${VALUE}.code`],
    ['codes that contradict each other', { code: { coding: [...flow.coding,
        ...coding(OBS_SYSTEM, 'qb').coding] } }, 422, 'code-conflict',
    'Observation.code'],
    ['no subject', { subject: undefined }, 422, 'no-subject',
        'Observation.subject'],
    ['a subject without a name', { subject: { display: MARK } }, 422,
        'no-subject', 'Observation.subject'],
    ['a Group as subject', { subject: { reference: 'Group/g' } }, 422,
        'no-subject', 'Observation.subject'],
    ['an Organization as subject', { subject: { reference: 'Organization/o' } },
        400, 'bad-reference', 'Observation.subject'],
    ['a reference that is none', { subject: { reference: MARK } }, 400,
        'bad-reference', 'Observation.subject.reference'],
    ['a conditional reference', { subject: {
        reference: `Patient?identifier=${MARK}` } }, 422, 'not-supported',
    'Observation.subject.reference'],
    ['a contained subject that is not there', { subject: { reference: '#p' } },
        400, 'bad-reference', 'Observation.subject.reference'],
    ['no time', { effectiveInstant: undefined }, 422, 'no-time',
        'Observation.effective'],
    ['a Timing', { effectiveInstant: undefined, effectiveTiming: {
        event: ['2026-01-01'] } }, 422, 'timing',
    'Observation.effective.ofType(Timing)'],
    ['a Period without a start', { effectiveInstant: undefined,
        effectivePeriod: { end: '2026-01-01' } }, 422, 'no-time',
    'Observation.effective.ofType(Period).start'],
    ['a Period that ends before it starts', { effectiveInstant: undefined,
        effectivePeriod: { start: '2026-01-02', end: '2026-01-01' } }, 400,
    'invariant', 'Observation.effective.ofType(Period)'],
    ['two times', { effectiveDateTime: '2026-01-01' }, 400, 'bad-element',
        undefined],
    ['an hour 25', { effectiveInstant: '2026-01-01T25:00:00Z' }, 400,
        'bad-datetime', 'Observation.effective.ofType(instant)'],
    ['a modifier extension', { modifierExtension: [LINES] }, 422, 'modifier',
        'Observation.modifierExtension'],
    ['a modifier extension of a component', { component: [{
        modifierExtension: [LINES], code: coding(OBS_SYSTEM, 'qb'),
        valueQuantity: quantity('mL/min', 300) }] }, 422, 'modifier',
    'Observation.component[0].modifierExtension'],
    ['a value and a reason for its absence', { dataAbsentReason: ABSENT }, 400,
        'invariant', 'Observation.dataAbsentReason'],
    ['two values', { valueString: MARK }, 400, 'bad-element', undefined],
    ['a status that is none', { status: MARK }, 400, 'bad-value',
        'Observation.status'],
    ['a comparator that is none', { valueQuantity: { ...quantity('mL/min'),
        comparator: '~' } }, 400, 'bad-value', `${VALUE}.comparator`],
    ['an element that R4 does not have', { [MARK]: MARK }, 400, 'bad-element',
        undefined],
    ['an empty list', { note: [] }, 400, 'bad-element', 'Observation.note'],
    ['an empty object', { method: {} }, 400, 'bad-element',
        'Observation.method'],
    ['an empty text', { note: [{ text: '' }] }, 400, 'bad-element',
        'Observation.note[0].text'],
    ['a note without a text', { note: [{ time: '2026-01-01' }] }, 400,
        'missing-element', 'Observation.note[0].text'],
    ['an object where a list is needed', { category: {} }, 400, 'bad-element',
        'Observation.category'],
    ['a list where an object is needed', { method: [{ text: MARK }] }, 400,
        'bad-element', 'Observation.method'],
    ['an extension without a url', { extension: [{ valueString: MARK }] }, 400,
        'missing-element', 'Observation.extension[0].url'],
    ['a component without a code', { component: [{
        valueQuantity: quantity('mL/min') }] }, 400, 'missing-element',
    'Observation.component[0].code'],
    ['sixty-five components', { component: Array.from({ length: 65 }, (_, i) =>
        ({ code: coding(`https://${MARK}.example`, `c${i}`),
            valueInteger: i })) }, 422, 'too-many', 'Observation.component'],
    ['a stage 5', { component: [{ code: coding(OBS_SYSTEM, 'steal-stage'),
        valueInteger: 5 }] }, 400, 'bad-value',
    'Observation.component[0].value.ofType(integer)'],
    ['a component that contradicts the value', { component: [{
        code: coding(`${BASE}/CodeSystem/av-observation`, 'access-flow'),
        valueQuantity: quantity('mL/min', 900) }] }, 400, 'invariant',
    'Observation.component[0].code'],
    ['a contained resource in a contained one', { contained: [{
        resourceType: 'Device', id: 'd', contained: [{
            resourceType: 'Device', id: 'e' }] }] }, 400, 'invariant',
    'Observation.contained[0]'],
];

async function refuseObservation({ client }, [, change, ...want]) {
    const text = JSON.stringify(observation(change));
    const before = await client.footprint();
    const put = await client.put('Observation', text);
    expectRefused(put, ...want);
    expectPlaces(put, text);
    expectRefused(await client.send('POST', '/Observation', text), ...want);
    return expectNothing(client, before, 'Observation', `${MARK}-refused`);
}

/* ---- bytes that are refused ----------------------------------------------- */

/* An Observation that is nested so deep; see FHIR_DEPTH_MAX. */
function nested(depth) {
    const isOdd = depth % 2 === 1;
    let extension = { url: 'u', ...isOdd ? { valueString: 'v' }
        : { valueCoding: { code: 'c' } } };
    for (let level = isOdd ? 3 : 4; level < depth; level += 2)
        extension = { url: 'u', extension: [extension] };
    return JSON.stringify(observation({ id: undefined,
        extension: [extension] }));
}

function bytesCases() {
    const good = JSON.stringify(observation({ id: undefined }));
    const twice = (key, value) => good.replace('{', `{${key}:${value},`);
    const raw = (byte) => Buffer.concat([Buffer.from(good.slice(0, 1)),
        Buffer.from([byte]), Buffer.from(good.slice(1))]);
    const inText = (...bytes) => {
        const at = good.indexOf('final') + 2;
        return Buffer.concat([Buffer.from(good.slice(0, at)),
            Buffer.from(bytes), Buffer.from(good.slice(at))]);
    };
    return [
        ['no body', '', 'json-syntax'],
        ['blanks', ' \n', 'json-syntax'],
        ['not JSON', MARK, 'json-syntax'],
        ['XML', '<Observation xmlns="http://hl7.org/fhir"/>', 'json-syntax'],
        ['one quotation mark', '"', 'json-syntax'],
        ['truncated', good.slice(0, -10), 'json-syntax'],
        ['truncated within a text', good.slice(0, good.indexOf('final') + 3),
            'json-syntax'],
        ['something after the end', `${good}{}`, 'json-syntax'],
        ['a comma too many', good.replace(/}$/, ',}'), 'json-syntax'],
        ['a comment', good.replace('{', '{/* */'), 'json-syntax'],
        ['NaN', good.replace('2.15', 'NaN'), 'json-syntax'],
        ['a number with a plus', good.replace('2.15', '+2.15'), 'json-syntax'],
        ['a number with a leading zero', good.replace('2.15', '02.15'),
            'json-syntax'],
        ['a number that is too large', good.replace('2.15', '2.15e999'),
            'json-syntax'],
        ['a key twice', twice('"status"', '"final"'), 'json-syntax'],
        ['a key twice, one escaped', twice('"st\\u0061tus"', '"final"'),
            'json-syntax'],
        ['resourceType twice', twice('"resourceType"', '"Observation"'),
            'json-syntax'],
        ['a NUL byte', raw(0), 'json-syntax'],
        ['a NUL byte in a text', inText(0), 'json-syntax'],
        ['an escaped NUL', good.replace('final', 'fi\\u0000nal'),
            'json-syntax'],
        ['a control byte in a text', inText(7), 'json-syntax'],
        ['bytes that are not UTF-8', inText(0xff), 'json-syntax'],
        ['a surrogate in UTF-8', inText(0xed, 0xa0, 0x80), 'json-syntax'],
        ['too long a form in UTF-8', inText(0xc0, 0xaf), 'json-syntax'],
        ['half a surrogate pair', good.replace('final', 'fi\\ud800nal'),
            'json-syntax'],
        ['Latin-1', Buffer.from(good.replace('final', 'fin\u00e4l'), 'latin1'),
            'json-syntax'],
        ['UTF-16', Buffer.from(`\ufeff${good}`, 'utf16le'), 'json-syntax'],
        ['depth 65', nested(65), 'json-syntax'],
        ['depth 100 000', '['.repeat(100000), 'json-syntax'],
        ['a number', '42', 'not-a-resource'],
        ['a list', `[${good}]`, 'not-a-resource'],
        ['null', 'null', 'not-a-resource'],
        ['no resourceType', good.replace(/"resourceType":"[^"]*",/, ''),
            'not-a-resource'],
        ['a resourceType that is no text', good.replace(
            '"resourceType":"Observation"', '"resourceType":7'),
        'not-a-resource'],
    ];
}

async function refuseBytes({ client }, [, body, word]) {
    const before = await client.footprint();
    for (const path of ['/Observation', '']) {
        const answer = await client.send('POST', path, body);
        expectRefused(answer, 400, word);
    }
    expectRefused(await client.send('PUT', '/Observation/x', body), 400, word);
    return expectNothing(client, before, 'Observation', 'x');
}

async function duplicatePlace({ client }) {
    const text = JSON.stringify(observation()).replace('"unit":',
        '"unit":"x","unit":');
    expectRefused(await client.put('Observation', text), 400, 'json-syntax',
        VALUE + '.unit');
}

async function deepEnough({ client }) {
    const answer = await client.send('POST', '/Observation', nested(64));
    expectStatus(answer, 201, 'depth 64');
}

/* ---- requests that are refused -------------------------------------------- */

async function mediaTypes({ client }) {
    const text = JSON.stringify(observation({ id: undefined }));
    for (const type of ['application/fhir+xml', 'application/xml', 'text/plain',
        'application/json-patch+json', 'application/x-www-form-urlencoded',
        'application/fhir+jsonx', 'multipart/form-data; boundary=x', 'json'])
        for (const path of ['/Observation', ''])
            expectRefused(await client.send('POST', path, text,
                { 'Content-Type': type }), 415, 'media-type');
    for (const type of [FHIR_JSON, 'application/json', `${FHIR_JSON};charset=`
        + 'utf-8', `${FHIR_JSON}; fhirVersion=4.0`, 'Application/FHIR+JSON',
    'application/json ; charset=UTF-8'])
        expectStatus(await client.send('POST', '/Observation', text,
            { 'Content-Type': type }), 200 + (type === FHIR_JSON), type);
}

async function formats({ client }) {
    for (const accept of ['application/fhir+xml', 'text/html',
        'application/xml;q=0.9, text/turtle'])
        expectRefused(await client.get('/Observation/o1', { Accept: accept }),
            406, 'not-acceptable');
    expectRefused(await client.get('/metadata?_format=xml'), 406,
        'not-acceptable');
    for (const accept of [undefined, '*/*', FHIR_JSON, 'application/json',
        `application/fhir+xml;q=0.5, ${FHIR_JSON}`, 'application/*',
        'text/html, */*;q=0.1', 'Application/FHIR+JSON',
        `${FHIR_JSON}; fhirVersion=4.0`])
        expectStatus(await client.get('/Observation/o1', { Accept: accept }),
            200, `Accept: ${accept}`);
    expectStatus(await client.get('/metadata?_format=application/fhir%2Bjson',
        { Accept: 'text/html' }), 200, '_format');
}

/* What is refused with 405 says what is allowed. */
async function methods({ client }) {
    const text = JSON.stringify(observation());
    for (const [method, path, body] of [['DELETE', '/Observation/o1'],
        ['PATCH', '/Observation/o1', '[]'], ['PUT', '/Observation', text],
        ['POST', '/Observation/o1', text], ['POST', '/Task', text],
        ['DELETE', '/Task/x'], ['PATCH', '/Task/x', '[]'], ['GET', ''],
        ['PUT', '', text], ['DELETE', ''], ['GET', '/Observation'],
        ['OPTIONS', '/Observation'], ['TRACE', '/Observation/o1'],
        ['POST', '/metadata', text], ['PROPFIND', '/Observation'],
        ['DELETE', '/Observation/o1/_history/1']]) {
        const answer = await client.send(method, path, body);
        expectRefused(answer, 405, 'method');
        const allowed = (answer.headers.allow ?? '').split(/, */);
        expect(allowed[0] !== '' && !allowed.includes(method),
            `${method} ${path}: Allow: ${answer.headers.allow}`);
    }
    expectStatus(await client.get('/Observation/o1'), 200, 'after DELETE');
}

async function unknownTypes({ client }) {
    const body = { resourceType: 'Encounter', id: 'e', status: 'finished' };
    for (const [method, path] of [['POST', '/Encounter'], ['GET', '/Foo/1'],
        ['PUT', '/Encounter/e'], ['GET', `/${MARK}`], ['GET', '/observation/o1'],
        ['GET', '/Observation/o1/_history/1/x'], ['GET', '/../etc/passwd'],
        ['GET', '/Observation//a/b/c/d/e/f/g'], ['DELETE', '/Foo/1'],
        ['GET', `/Observation/${'x/'.repeat(400)}`]])
        expectRefused(await client.send(method, path, method === 'GET'
            || method === 'DELETE' ? undefined : body), 404, 'not-found');
    for (const path of ['/', `/${MARK}`, '/fhirx/Observation', '//'])
        expectRefused(await client.get(`${client.origin}${path}`), 404,
            'not-found');
}

async function ids({ client }) {
    const put = (path, id) => client.send('PUT', `/Observation/${path}`,
        observation({ id }));
    expectRefused(await put('one', 'two'), 400, 'bad-value', 'Resource.id');
    expectRefused(await put('one', undefined), 400, 'bad-value', 'Resource.id');
    for (const bad of ['a_b', 'a%20b', 'x'.repeat(65), '%F0%9F%98%80'])
        expectRefused(await put(bad, decodeURIComponent(bad)), 400,
            'bad-value', 'Resource.id');
    expectRefused(await put('a%2Fb', 'a/b'), 404, 'not-found');
    expectRefused(await put('ok', 'not ok'), 400, 'bad-value');
    for (const id of ['x'.repeat(64), 'A.b-9', '-'])
        expectStatus(await put(id, id), 201, id);
    expectRefused(await client.send('PUT', '/Patient/p', observation()), 400,
        'bad-value', 'resourceType');
    expectRefused(await client.send('POST', '/Patient', observation()), 400,
        'bad-value', 'resourceType');
    expectRefused(await client.send('POST', '', observation()), 400,
        'bad-value');
    for (const id of ['one', 'two', 'ok'])
        expectRefused(await client.get(`/Observation/${id}`), 404, 'not-found');
}

async function tooLong({ client, service }) {
    const filler = (n) => JSON.stringify(observation({
        note: [{ text: 'x'.repeat(n) }] }));
    const over = filler(BODY_MAX);
    expectRefused(await client.put('Observation', over), 413, 'too-long');
    const port = Number(new URL(service.url).port);
    const head = `POST /fhir/Observation HTTP/1.1\r\nHost: localhost\r\n`
        + `Content-Type: ${FHIR_JSON}\r\nTransfer-Encoding: chunked\r\n\r\n`;
    const chunk = Buffer.from(`10000\r\n${'x'.repeat(65536)}\r\n`);
    const pieces = [head, ...Array.from({ length: 70 }, () => chunk)];
    const [answer] = parseAnswers(await rawExchange(port, pieces));
    judge(answer, { method: 'POST', what: 'chunked' });
    expectRefused(answer, 413, 'too-long');
    const fits = filler(BODY_MAX - 700);
    expect(fits.length <= BODY_MAX && fits.length > BODY_MAX - 700, 'length');
    expectStatus(await client.put('Observation', fits), 201, 'just fits');
    const chunked = await client.send('PUT', `/Observation/${MARK}-refused`,
        filler(10).replace('2.15', '2.25'), { 'Content-Length': undefined,
            'Transfer-Encoding': 'chunked' });
    expectStatus(chunked, 200, 'chunked');
}

/* ---- what is held --------------------------------------------------------- */

const HELD = [
    ['in the future', { effectiveInstant: daysAgo(-2) }, 'future-time',
        'Observation.effective.ofType(instant)'],
    ['implausible', { valueQuantity: quantity('mL/min', 99999) },
        'implausible', VALUE],
    ['perhaps litres', { valueQuantity: quantity('mL/min', 2.15) },
        'implausible', VALUE],
];

async function holds({ client }, [name, change, word, place]) {
    const held = await client.gauge('headgate_held_readings');
    const answer = await client.send('POST', '/Observation',
        observation({ id: undefined, ...change }));
    expectStatus(answer, 201, name);
    expectSame(issues(answer).map((i) => [i.severity, i.word, i.place]),
        [['warning', word, place]], 'what was said');
    expectSame(await client.gauge('headgate_held_readings'), held + 1, 'held');
    const { id } = placeOf(answer);
    expectStatus(await client.get(`/Observation/${id}`), 200, 'read');
    const again = await client.put('Observation', observation({ id,
        status: 'entered-in-error', ...change }));
    expectStatus(again, 200, 'withdrawn');
    expectSame(await client.gauge('headgate_held_readings'), held, 'held');
}

async function monthOnly({ client }) {
    const held = await client.gauge('headgate_held_readings');
    const answer = await client.send('POST', '/Observation', observation({
        id: undefined, effectiveInstant: undefined,
        effectiveDateTime: daysAgo(40).slice(0, 7) }));
    expectStatus(answer, 201, 'month');
    expectSame(words(answer), ['month-only'], 'what was said');
    expectSame(await client.gauge('headgate_held_readings'), held, 'held');
}

async function unknownCode({ client }) {
    const answer = await client.send('POST', '/Observation', observation({
        id: undefined, code: coding(`https://${MARK}.example/c`, 'X-1') }));
    expectStatus(answer, 201, 'unknown code');
    expectSame(issues(answer).map((i) => [i.severity, i.word, i.place]),
        [['information', 'code-unknown', 'Observation.code']], 'said');
}

/* More issues than are listed: at most 20, and a word that there are more. */
async function manyIssues({ client }) {
    const answer = await client.put('Observation', observation({
        note: Array.from({ length: 60 }, () => ({ text: '' })) }));
    expectRefused(answer, 400, 'bad-element', 'Observation.note[0].text');
    expect(answer.body.issue.length <= 21, `${answer.body.issue.length} issues`);
    expect(/further/.test(answer.body.issue.at(-1).details.text), 'no word');
}

async function requestIds({ client }) {
    const plain = new Client(client.url);
    for (const id of ['a', `x-${'y'.repeat(126)}`, '{"a":1}', MARK])
        await plain.get('/Observation/o1', { 'X-Request-Id': id });
    for (const id of ['y'.repeat(129), 'two words', 'caf\u00e9']) {
        const answer = await plain.exchange('GET', '/Observation/o1', undefined,
            { 'X-Request-Id': id });
        expectSame([answer.status, answer.headers['x-request-id']],
            [200, undefined], `X-Request-Id: ${id}`);
    }
}

export const refuseCases = [
    ...readdirSync(new URL('../corpus/fhir/refuse/', import.meta.url)).sort()
        .map((name) => [`refused: ${name}`, (b) => refuseFixture(b, name)]),
    ...OBSERVATIONS.map((row) => [`refused: ${row[0]}`,
        (b) => refuseObservation(b, row)]),
    ...bytesCases().map((row) => [`refused: ${row[0]}`,
        (b) => refuseBytes(b, row)]),
    ['the place of a key that is there twice', duplicatePlace],
    ['depth 64 is taken', deepEnough],
    ['media types', mediaTypes],
    ['formats', formats],
    ['methods', methods],
    ['types and paths that are not there', unknownTypes],
    ['ids', ids],
    ['too long', tooLong],
    ...HELD.map((row) => [`held: ${row[0]}`, (b) => holds(b, row)]),
    ['only the month is known', monthOnly],
    ['an unknown code is kept', unknownCode],
    ['many issues', manyIssues],
    ['X-Request-Id', requestIds],
];
