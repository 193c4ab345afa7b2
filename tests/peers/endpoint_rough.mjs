/*
 * Rough handling: bytes that are almost right, bytes that are nothing, and
 * requests that come in odd pieces.  There is always an answer, never a 5xx,
 * and the service lives on.
 *
 * HEADGATE_SEED=N repeats a run.
 */

import { readdirSync } from 'node:fs';
import { expect } from './delivery_kit.mjs';
import { content, expectSame, expectStatus, FHIR_JSON, fixture, judge, MARK,
    moveDates, parseAnswers, rawExchange, words } from './endpoint_kit.mjs';

const MUTATIONS = 300;
const BLOBS = 100;
const AT_ONCE = 8;
const FORM = { 'Content-Type': 'application/x-www-form-urlencoded' };

/* ---- chance --------------------------------------------------------------- */

const seed = Number(process.env.HEADGATE_SEED ?? Date.now() % 1e9);

/* mulberry32 */
let state = seed;

function chance() {
    state = (state + 0x6d2b79f5) | 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
}

const below = (n) => Math.floor(chance() * n);
const one = (list) => list[below(list.length)];

function randomBytes(n) {
    return Buffer.from(Array.from({ length: n }, () => below(256)));
}

/* ---- mutations ------------------------------------------------------------ */

const CORPUS = new URL('../corpus/fhir/', import.meta.url);

function texts() {
    return [...readdirSync(CORPUS),
        ...readdirSync(new URL('refuse/', CORPUS)).map((n) => `refuse/${n}`)]
        .filter((name) => name.endsWith('.json')).sort()
        .map((name) => moveDates(fixture(name)));
}

const VALUES = [null, true, '', ' ', 'x', `${MARK}\u0000`, '\ud83d\ude00', 0, -1,
    1e308, 1e-308, 9007199254740993, [], {}, [[]], [null], { x: 1 }, '#', '#x',
    'urn:uuid:', 'Patient/', '/Patient/x', '2026-02-29', '9999-12-31',
    '0001-01-01', '2026-03-04T24:00:00Z', 'x'.repeat(70000), '\u202e', '%00'];

/* Every place in a tree: the object or list, and the key. */
function places(node, found = []) {
    if (node !== null && typeof node === 'object')
        for (const key of Object.keys(node)) {
            found.push([node, key]);
            places(node[key], found);
        }
    return found;
}

/* Another value of the same kind. */
function similar(value, all) {
    const alike = all.map(([holder, key]) => holder[key])
        .filter((other) => typeof other === typeof value
            && Array.isArray(other) === Array.isArray(value));
    if (typeof value === 'number')
        return one([...alike, -value, value / 1000, value * 1000, 0]);
    return structuredClone(one(alike));
}

/* The tree is changed: what stands somewhere is lost, moved or replaced. */
function changeTree(text) {
    const root = JSON.parse(text);
    for (let n = 1 + below(2); n > 0; n--) {
        const all = places(root);
        if (all.length === 0)
            break;
        const [holder, key] = one(all);
        const [other, otherKey] = one(all);
        const value = structuredClone(other[otherKey] ?? null);
        switch (below(8)) {
        case 0: delete holder[key]; break;
        case 1: holder[key] = value; break;
        case 2: holder[key] = [holder[key]]; break;
        case 3: holder[`_${key}`] = value; break;
        case 4: holder[key] = structuredClone(one(VALUES)); break;
        default: holder[key] = similar(holder[key], all);
        }
    }
    return Buffer.from(JSON.stringify(root));
}

/* The bytes are changed: some are lost, doubled, swapped or replaced. */
function changeBytes(text) {
    let bytes = Buffer.from(text);
    for (let n = 1 + below(4); n > 0; n--) {
        const [at, len] = [below(bytes.length + 1), below(40)];
        const piece = bytes.subarray(at, at + len);
        const middle = one([() => Buffer.alloc(0), () => randomBytes(len),
            () => Buffer.concat([piece, piece]),
            () => Buffer.from(piece).reverse(),
            () => Buffer.from(one(['{', '}', '[', ']', ',', ':', '"', '\\', '\0',
                '\\u0000', '\\ud800', 'null', '1e999', '-', '0'.repeat(300)]))])();
        bytes = Buffer.concat([bytes.subarray(0, at), middle,
            bytes.subarray(at + len)]);
    }
    return bytes;
}

/* Where a body goes: mostly where it belongs. */
function target(text) {
    const { resourceType, id } = JSON.parse(text);
    const home = resourceType === 'Bundle' ? '' : `/${resourceType}`;
    return one([['POST', home], ['POST', home], ['POST', home],
        ['PUT', `/${resourceType}/${id ?? 'x'}`],
        ['PUT', `/${resourceType}/${id ?? 'x'}`],
        ['POST', '/Observation'], ['POST', ''], ['POST', '/Task/_search', FORM]]);
}

function expectAnswered(answer, what) {
    expect(answer.status >= 200 && answer.status < 500
        && answer.status !== 304, `${what}: ${answer.status} ${answer.text}`);
}

async function inTurns(jobs) {
    const counts = new Map();
    const turn = async () => {
        for (let job = jobs.shift(); job !== undefined; job = jobs.shift()) {
            const { status } = await job();
            counts.set(status, (counts.get(status) ?? 0) + 1);
        }
    };
    await Promise.all(Array.from({ length: AT_ONCE }, turn));
    console.log(`  ${[...counts].sort().map(([status, n]) =>
        `${status}: ${n}`).join(', ')}`);
}

function job(client, method, path, bytes, headers) {
    return async () => {
        const what = `${method} ${path} (seed ${seed})`;
        try {
            const answer = await client.send(method, path, bytes, headers);
            expectAnswered(answer, what);
            await expectKept(client, answer, bytes);
            return answer;
        } catch (e) {
            e.message = `${what}: ${e.message}; body ${
                bytes?.toString('base64').slice(0, 4000)}`;
            throw e;
        }
    };
}

/* What is taken is kept as it came, however odd. */
async function expectKept(client, answer, bytes) {
    const old = ['duplicate', 'out-of-order'];
    if (answer.status > 201 || answer.headers.location === undefined
        || words(answer).some((word) => old.includes(word)))
        return;
    const read = await client.get(answer.headers.location, {}, { plain: true });
    expectStatus(read, 200, answer.headers.location);
    expectSame(content(read.text), content(bytes.toString()), 'kept');
}

async function mutations({ client }) {
    console.log(`  seed ${seed}`);
    const all = texts();
    await inTurns(Array.from({ length: MUTATIONS }, () => {
        const text = one(all);
        const bytes = (chance() < 0.6 ? changeTree : changeBytes)(text);
        const [method, path, headers] = target(text);
        return job(client, method, path, bytes, headers);
    }));
}

async function blobs({ client, service }) {
    const port = Number(new URL(service.url).port);
    await inTurns(Array.from({ length: BLOBS }, (_, i) =>
        job(client, 'POST', one(['/Observation', '', '/Patient',
            '/Task/_search']), randomBytes(below(3000)), i % 4 === 0
            ? { 'Content-Type': undefined } : {})));
    const streams = Array.from({ length: BLOBS }, () =>
        [randomBytes(1 + below(400)), one(['', '\r\n\r\n'])]);
    (await Promise.all(streams.map((pieces) => rawExchange(port, pieces))))
        .forEach(expectNoFailure);
}

/* What comes back from no request at all: nothing, or a refusal. */
function expectNoFailure(bytes) {
    const first = bytes.toString('latin1').slice(0, 12);
    expect(first === '' || /^HTTP\/1\.[01] 4/.test(first),
        `seed ${seed}: ${first}`);
}

/* Parameters of any name and value. */
async function queries({ client }) {
    const part = () => encodeURIComponent(one(['_id', 'status', 'patient',
        '_lastUpdated', '_count', '_after', 'code', 'identifier', '', '|',
        ':', 'ge', 'ge2026', '\u00e9', '%', 'x|y', ',', "'", '"', '\\', '*',
        '0', '-1', '99999999999999999999', 'Patient/', '2026-01-01T00:00Z']));
    await inTurns(Array.from({ length: 200 }, () => job(client, 'GET',
        `/Task?${Array.from({ length: 1 + below(3) }, () =>
            one(['=', '']) === '=' ? `${part()}=${part()}` : part()).join('&')}`)));
}

/* ---- pieces --------------------------------------------------------------- */

function get(path, extra = '') {
    return `GET ${path} HTTP/1.1\r\nHost: localhost\r\n${extra}\r\n`;
}

function post(path, body) {
    return `POST ${path} HTTP/1.1\r\nHost: localhost\r\nContent-Type: ${
        FHIR_JSON}\r\nContent-Length: ${Buffer.byteLength(body)}\r\n`
        + `X-Request-Id: ${MARK}\r\n\r\n${body}`;
}

const last = get('/fhir/metadata', 'Connection: close\r\n');
const body = JSON.stringify({ ...JSON.parse(moveDates(fixture(
    'obs-02-flow-litres.json'))), id: undefined,
identifier: [{ system: `https://${MARK}.example`, value: `${MARK}-pieces` }] });

function answered(port, bytes) {
    const answers = parseAnswers(bytes);
    answers.forEach((answer, i) => judge(answer, { method: '?',
        what: `answer ${i}`, plain: answer.headers['content-type']
            ?.startsWith('text/') }));
    return answers.map((answer) => answer.status);
}

async function pipelined({ service }) {
    const port = Number(new URL(service.url).port);
    const all = [get('/healthz'), post('/fhir/Observation', body),
        get('/fhir/Nothing'), post('/fhir/Observation', body), get('/readyz'),
        post('/fhir/Observation', '{'), get('/fhir/Task?_count=1'), last];
    const statuses = answered(port, await rawExchange(port, [all.join('')],
        { end: false }));
    expectSame(statuses, [200, 201, 404, 200, 200, 400, 200, 200], 'statuses');
}

async function split({ service }) {
    const port = Number(new URL(service.url).port);
    const whole = Buffer.from(post('/fhir/Observation', body) + last);
    const bytes = Array.from(whole, (byte) => Buffer.from([byte]));
    const statuses = answered(port, await rawExchange(port, bytes,
        { end: false }));
    expectSame(statuses, [200, 200], 'byte by byte');
    for (let i = 0; i < 8; i++) {
        const cut = 1 + below(whole.length - 1);
        const halves = [whole.subarray(0, cut), whole.subarray(cut)];
        expectSame(answered(port, await rawExchange(port, halves,
            { pauseMs: 15, end: false })), [200, 200], `cut at ${cut}`);
    }
}

/* Half a request and then nothing: nothing of it is kept. */
async function broken({ client, service }) {
    const port = Number(new URL(service.url).port);
    const text = body.replace(`${MARK}-pieces`, `${MARK}-broken`);
    const whole = post('/fhir/Observation', text);
    await rawExchange(port, [whole.slice(0, -20)]);
    const answer = await client.send('POST', '/Observation', text);
    expectStatus(answer, 201, 'it was not there');
}

async function alive({ client, service }) {
    expectSame(service.child.exitCode, null, 'exit code');
    expectStatus(await client.ops('/healthz'), 200, 'healthz');
    expectStatus(await client.ops('/readyz'), 200, 'readyz');
    expectStatus(await client.get('/Task?_count=500'), 200, 'Task');
    expectStatus(await client.get('/Observation/o2'), 200, 'Observation');
}

export const roughCases = [
    [`${MUTATIONS} mutations`, mutations],
    [`${BLOBS} blobs`, blobs],
    ['queries of any kind', queries],
    ['requests in one piece', pipelined],
    ['a request in many pieces', split],
    ['half a request', broken],
    ['the service lives', alive],
];
