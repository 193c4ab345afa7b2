/*
 * Resources that are refused: with which status, word and place, and that
 * nothing of them is kept.  What is held for a person stands at the end.
 */

import { readdirSync } from 'node:fs';
import fhirpath from 'fhirpath';
import model from 'fhirpath/fhir-context/r4';
import { expect } from './delivery_kit.mjs';
import { BASE, daysAgo, expectRefused, expectSame, expectStatus, fixture, issues,
    MARK, OBS_SYSTEM, placeOf, UCUM, words } from './endpoint_kit.mjs';

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

export async function expectNothing(client, before, type, id) {
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

export function observation(change = {}) {
    return { ...JSON.parse(fixture('obs-02-flow-litres.json')),
        id: `${MARK}-refused`, effectiveInstant: daysAgo(3 + ++taken / 1000),
        ...change };
}

const coding = (system, code) => ({ coding: [{ system, code }] });
const flow = coding(OBS_SYSTEM, 'access-flow');
const quantity = (code, value = 1000) => ({ value, system: UCUM, code });
const ABSENT = { coding: [{ code: 'not-performed',
    system: 'http://terminology.hl7.org/CodeSystem/data-absent-reason' }] };
export const VALUE = 'Observation.value.ofType(Quantity)';
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
/* ---- what is held --------------------------------------------------------- */

const HELD = [
    ['in the future', { effectiveInstant: daysAgo(-2) }, 'future-time',
        'Observation.effective.ofType(instant)'],
    ['implausible', { valueQuantity: quantity('mL/min', 99999) },
        'implausible', VALUE],
    ['perhaps litres', { valueQuantity: quantity('mL/min', 2.15) },
        'implausible', VALUE],
    ['a stage 5, which may be an emergency', { component: [{
        code: coding(OBS_SYSTEM, 'steal-stage'), valueInteger: 5 }] },
    'value-unread', 'Observation.component[0].value.ofType(integer)',
    ['warning', 'held', 'Observation']],
];

async function holds({ client }, [name, change, word, place, ...more]) {
    const held = await client.gauge('headgate_held_readings');
    const answer = await client.send('POST', '/Observation',
        observation({ id: undefined, ...change }));
    expectStatus(answer, 201, name);
    expectSame(issues(answer).map((i) => [i.severity, i.word, i.place]),
        [['warning', word, place], ...more], 'what was said');
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

export const refuseCases = [
    ...readdirSync(new URL('../corpus/fhir/refuse/', import.meta.url)).sort()
        .map((name) => [`refused: ${name}`, (b) => refuseFixture(b, name)]),
    ...OBSERVATIONS.map((row) => [`refused: ${row[0]}`,
        (b) => refuseObservation(b, row)]),
    ['many issues', manyIssues],
    ...HELD.map((row) => [`held: ${row[0]}`, (b) => holds(b, row)]),
    ['only the month is known', monthOnly],
    ['an unknown code is kept', unknownCode],
];
