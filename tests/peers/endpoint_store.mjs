/*
 * What is taken is kept and served as it was sent: each fixture, its versions,
 * the spelling of its numbers.
 */

import { expect } from './delivery_kit.mjs';
import { compact, content, expectRefused, expectSame, expectStatus, fixture,
    MARK, members, moveDates, OBS_SYSTEM, placeOf, words } from './endpoint_kit.mjs';

/* The fixtures in order, with what has to be said about each. */
const TAKEN = [
    ['01-flow-focus', 201, []],
    ['02-flow-litres', 201, []],
    ['03-flow-bodysite-only', 201, ['access-assumed']],
    ['04-flow-bodysite-ext', 201, []],
    ['05-flow-r5-ext', 201, []],
    ['06-panel-components', 201, ['value-absent']],
    ['07-bp', 201, []],
    ['08-digital-pressure', 201, []],
    ['09-dbi-derived', 201, []],
    ['10-symptom-coded', 201, ['stage-assumed']],
    ['11-symptom-boolean', 201, []],
    ['12-absent', 201, ['value-absent']],
    ['13-preliminary', 201, ['preliminary']],
    ['14-corrected', 200, []],          /* of 01 */
    ['15-entered-in-error', 200, ['value-absent']], /* of 13 */
    ['16-comparator', 201, []],
    ['17-contained', 201, []],
    ['18-logical-refs', 201, []],
    ['19-bun-pre', 201, []],
    ['20-cardiac-output', 201, []],
    ['21-partial-date', 201, ['month-only']],
    ['22-spo2-finger', 201, ['access-assumed']],
    ['23-decimal-text', 201, []],
];

/* ---- reading back --------------------------------------------------------- */

function expectHead(headers, version, what) {
    expectSame(headers.etag, `W/"${version}"`, `${what}: ETag`);
    const modified = Date.parse(headers['last-modified']);
    expect(Math.abs(Date.now() - modified) < 120000,
        `${what}: Last-Modified ${headers['last-modified']}`);
}

/* Byte for byte, apart from id and meta. */
function expectServed(answer, sent, id, version) {
    expectStatus(answer, 200, 'read');
    expectHead(answer.headers, version, 'read');
    expectSame(content(answer.text), content(sent), 'served');
    expectSame(answer.body.id, id, 'id');
    expectSame(answer.body.meta.versionId, String(version), 'versionId');
    const skew = Date.now() - Date.parse(answer.body.meta.lastUpdated);
    expect(skew > -5000 && skew < 120000, `lastUpdated is ${skew} ms ago`);
    expectSame(Math.floor(Date.parse(answer.body.meta.lastUpdated) / 1000),
        Date.parse(answer.headers['last-modified']) / 1000, 'Last-Modified');
}

async function expectUnchanged(client, path, etag) {
    for (const known of [etag, `"x", ${etag}`]) {
        const answer = await client.get(path, { 'If-None-Match': known });
        expectStatus(answer, 304, `If-None-Match: ${known}`);
        expectSame(answer.headers.etag, etag, '304: ETag');
    }
    const other = await client.get(path, { 'If-None-Match': 'W/"99"' });
    expectStatus(other, 200, 'If-None-Match of another version');
    const head = await client.send('HEAD', path);
    expectStatus(head, 200, 'HEAD');
    expectSame([head.headers.etag, head.headers['content-length']],
        [etag, String(other.bytes.length)], 'HEAD');
}

/* Newest first, each with its own content. */
async function expectHistory(client, path, sent) {
    const answer = await client.get(`${path}/_history`);
    expectStatus(answer, 200, 'history');
    expectSame(answer.body.type, 'history', 'type');
    expectSame(answer.body.total, sent.length, 'total');
    expectSame(answer.body.entry.map((e) => e.resource.meta.versionId),
        sent.map((_, i) => String(sent.length - i)), 'versions');
    const spelled = compact(answer.text);
    for (const text of sent)
        for (const member of content(text))
            expect(spelled.includes(compact(member)),
                `history without ${compact(member).slice(0, 60)}`);
}

async function expectKept(client, id, texts, type = 'Observation') {
    const path = `/${type}/${id}`;
    const newest = texts.length;
    expectServed(await client.get(path), texts[newest - 1], id, newest);
    for (const [i, text] of texts.entries())
        expectServed(await client.get(`${path}/_history/${i + 1}`), text, id,
            i + 1);
    await expectUnchanged(client, path, `W/"${newest}"`);
    await expectHistory(client, path, texts);
    expectRefused(await client.get(`${path}/_history/${newest + 1}`), 404,
        'not-found');
}

/* ---- fixtures ------------------------------------------------------------- */

const sent = new Map(); /* id: texts */

async function people({ client }) {
    for (const [type, name] of [['Patient', 'patient.json'],
        ['BodyStructure', 'bodystructure-avf.json']]) {
        const text = fixture(name);
        const answer = await client.put(type, text);
        expectStatus(answer, 201, name);
        const { id } = JSON.parse(text);
        expectSame(placeOf(answer), { type, id, version: '1' }, 'Location');
        await expectKept(client, id, [text], type);
    }
}

async function putFixture({ client }, [name, status, said]) {
    const text = moveDates(fixture(`obs-${name}.json`));
    const { id } = JSON.parse(text);
    const answer = await client.put('Observation', text);
    expectStatus(answer, status, name);
    const texts = [...sent.get(id) ?? [], text];
    sent.set(id, texts);
    expectSame(placeOf(answer), { type: 'Observation', id,
        version: String(texts.length) }, 'Location');
    expectHead(answer.headers, texts.length, 'PUT');
    expectSame(words(answer), said, 'what was said');
    await expectKept(client, id, texts);
}

/* Without an id of its own, and for a patient of its own. */
async function postFixture({ client }, [name, , said]) {
    const patient = `${MARK}-fx-${name.slice(0, 2)}`;
    const text = moveDates(fixture(`obs-${name}.json`))
        .replace(/p-1001/g, patient).replace(/acc-7/g, `acc-${patient}`)
        .replace(/"1001"/g, `"${patient}"`).replace(/"A-7"/g, `"${patient}"`)
        .replace(/QA-2026-\d+/g, `QA-${patient}`);
    const answer = await client.send('POST', '/Observation', text);
    expectStatus(answer, 201, name);
    const { id, version } = placeOf(answer);
    expect(id !== JSON.parse(text).id, 'the id of a POST is not ours to give');
    expectSame(version, '1', 'version');
    for (const word of said)
        expect(words(answer).includes(word), `${word} is not said`);
    await expectKept(client, id, [text]);
}

/* ---- digits --------------------------------------------------------------- */

const DIGITS = ['2150.0', '1.20', '1.2E+3', '2150e0', '0.5e3', '1.2E3',
    '999.9999999999999999999', '1000.00000', '800', '1.0E-0', '-0.0'];

async function digits({ client }) {
    const plain = moveDates(fixture('obs-01-flow-focus.json'));
    for (const [i, number] of DIGITS.entries()) {
        const id = `${MARK}-digits-${i}`;
        const text = plain.replace('"o1"', `"${id}"`)
            .replace(/"value": 2150/, `"value": ${number}`)
            .replace(/QA-2026-\d+/, `QA-${id}`)
            .replace(/"value": 600/, `"value": ${number}`);
        const answer = await client.put('Observation', text);
        expectStatus(answer, 201, number);
        await expectKept(client, id, [text]);
        const read = await client.get(`/Observation/${id}`);
        const value = members(read.text).find(([k]) => k === 'valueQuantity');
        expect(value[1].includes(`"value": ${number},`), `${number}: ${
            value[1]}`);
    }
}

/* Spelled as no program would: blanks, escapes, odd order, odd characters. */
async function spelling({ client }) {
    const id = `${MARK}-spelling`;
    const text = ` \r\n\t{"status" :"final" , "note":[ {"text":"caf\\u00e9 `
        + `\\ud83d\\ude00 😀 \\"}],{[\\\\ \\/ \\t"}\t],\n"co\\u0064e":{"coding":`
        + `[{"system":"${OBS_SYSTEM}","code":"access-flow"}]},`
        + `"effectiveDateTime":"${new Date().toISOString().slice(0, 10)}",`
        + `"subject":{"reference":"Patient/p-1001"},`
        + `"focus":[{"reference":"BodyStructure/acc-7"}],\n`
        + `"valueQuantity":{"value":12.50E+2,"unit":"ml/min"}, "id" : "${id}",`
        + `"resourceType":"Observation","meta":{"tag":[{"code":"x"}]}} \n\n`;
    const answer = await client.put('Observation', text);
    expectStatus(answer, 201, 'PUT');
    expectSame(words(answer), ['unit-assumed'], 'what was said');
    await expectKept(client, id, [text]);
}

async function preferences({ client }) {
    const text = moveDates(fixture('obs-02-flow-litres.json'))
        .replace('"o2"', `"${MARK}-prefer"`);
    const whole = await client.put('Observation', text,
        { Prefer: 'return=representation' });
    expectStatus(whole, 201, 'representation');
    expectSame(content(whole.text), content(text), 'representation');
    expectSame(whole.body.meta.versionId, '1', 'versionId');
    const minimal = await client.put('Observation',
        text.replace('2.15', '2.16'), { Prefer: 'return=minimal' });
    expectStatus(minimal, 200, 'minimal');
    expectSame(minimal.text, '', 'body');
    expectSame(placeOf(minimal).version, '2', 'version');
    const said = await client.put('Observation', text.replace('2.15', '2.17'),
        { Prefer: 'return=OperationOutcome' });
    expectSame(said.body.resourceType, 'OperationOutcome', 'type');
}

/* What is not there, and what only looks as if it were. */
async function absent({ client }) {
    for (const path of ['/Observation/none', '/Patient/none', '/Task/none',
        '/Observation/none/_history', '/Observation/none/_history/1',
        '/BodyStructure/o1', '/Observation/o1/_history/0',
        '/Observation/o1/_history/-1', '/Observation/o1/_history/1x',
        '/Observation/o1/_history/99999999999999999999',
        '/Observation/o%2e1', `/Observation/${'x'.repeat(65)}`,
        '/Observation/%27%20OR%201', '/Observation/%C3%A9'])
        expectRefused(await client.get(path), 404, 'not-found');
}

async function metadata({ client }) {
    for (const path of ['/metadata', '/metadata/', '/metadata?_format=json']) {
        const answer = await client.get(path);
        expectStatus(answer, 200, path);
        expectSame(answer.body.resourceType, 'CapabilityStatement', 'type');
    }
    const { body } = await client.get('/metadata');
    const [rest] = body.rest;
    for (const { type, interaction } of rest.resource)
        expect(interaction.some((i) => i.code === 'read'), type);
    expectSame(body.implementation.url, client.url, 'implementation.url');
}

export const storeCases = [
    ['metadata', metadata],
    ['a Patient and a BodyStructure', people],
    ...TAKEN.map((row) => [`put obs-${row[0]}`, (b) => putFixture(b, row)]),
    ...TAKEN.map((row) => [`post obs-${row[0]}`, (b) => postFixture(b, row)]),
    ['numbers keep their digits', digits],
    ['the spelling is kept', spelling],
    ['Prefer: return', preferences],
    ['what is not there', absent],
];
