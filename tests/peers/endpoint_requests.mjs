/*
 * Requests that are refused before there is a resource: bytes that are not
 * JSON, media types, methods, paths, ids and sizes.
 */

import { expect } from './delivery_kit.mjs';
import { Client, expectRefused, expectSame, expectStatus, FHIR_JSON, judge, MARK,
    parseAnswers, rawExchange } from './endpoint_kit.mjs';
import { expectNothing, observation, VALUE } from './endpoint_refuse.mjs';

const BODY_MAX = 4194304; /* http.body_max */

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
        ['PATCH', '/Observation/o1', '[]'], ['DELETE', '/Observation'],
        ['POST', '/Observation/o1', text], ['POST', '/Task', text],
        ['PUT', '/Task', text], ['GET', '/Task/_search'],
        ['GET', '/Observation/_search'], ['POST', '/Task/_history', text],
        ['POST', '/Provenance', text],
        ['PUT', '/Provenance/x', text], ['PATCH', '/Flag/x', '[]'],
        ['DELETE', '/Task/x'], ['PATCH', '/Task', '[]'], ['GET', ''],
        ['PUT', '', text], ['DELETE', ''],
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

export const requestCases = [
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
    ['X-Request-Id', requestIds],
];
