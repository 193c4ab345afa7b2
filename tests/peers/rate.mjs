/*
 * Who knocks too often: requests of a client, false tokens of an address,
 * connections of an address.
 *
 *   node rate.mjs path/to/headgate
 *
 * What is expected: RFC 6585, 4 (429) with Retry-After of RFC 9110, 10.2.3;
 * the bound of a token bucket, RFC 3290, appendix A; FHIR R4, IssueType
 * ("throttled").
 */

import { createHash } from 'node:crypto';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync }
    from 'node:fs';
import { Agent, request } from 'node:http';
import { connect } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, killChildren, stopChild } from './delivery_kit.mjs';
import { Endpoint, expectValid } from './endpoint_kit.mjs';

const binary = process.argv[2];
const tmp = mkdtempSync(join(tmpdir(), 'headgate-rate-'));
const digest = (text) => createHash('sha256').update(text).digest('hex');
const tokens = join(tmp, 'tokens');
writeFileSync(tokens, ['a', 'b', 'c'].map((n) => `unit-${n} ${digest(`tok-${n}`)}\n`)
    .join(''));
let passed = 0, failed = 0, folder = 0;

async function one(name, run) {
    try {
        await run();
        passed++;
        console.log(`ok    ${name}`);
    } catch (e) {
        failed++;
        console.log(`FAIL  ${name}: ${e.message}`);
    }
}

async function start(settings) {
    const where = join(tmp, `s${++folder}`);
    mkdirSync(where);
    const service = new Endpoint(binary, where, { 'http.anonymous': false,
        'http.tokens': tokens, ...settings });
    await service.start();
    return service;
}

const agent = new Agent({ keepAlive: true, maxSockets: 8 });

/* token undefined: none; from: what a proxy says. */
function ask(service, token, path = '/fhir/Task', from) {
    const url = new URL(path, service.url);
    return new Promise((done) => {
        const headers = { ...(token && { Authorization: `Bearer ${token}` }),
            ...(from && { 'X-Forwarded-For': from }) };
        const req = request(url, { agent, headers }, (res) => {
            let text = '';
            res.on('data', (piece) => { text += piece; });
            res.on('end', () => done({ status: res.statusCode, text,
                headers: res.headers }));
        });
        req.on('error', (e) => done({ error: e.code ?? e.message }));
        req.end();
    });
}

/* Statuses of so many, one after the other. */
async function statuses(count, ...of) {
    const found = [];
    for (let i = 0; i < count; i++)
        found.push((await ask(...of)).status);
    return found;
}

const count = (list, status) => list.filter((s) => s === status).length;

async function metric(service, name) {
    const { text } = await ask(service, 'tok-c', '/metrics');
    return Number(new RegExp(`^${name} (\\S+)$`, 'm').exec(text)[1]);
}

function judge(answer) {
    expect(answer.status === 429, `${answer.status}: ${answer.text}`);
    expect(/^[1-9]\d*$/.test(answer.headers['retry-after'] ?? ''),
        `Retry-After: ${answer.headers['retry-after']}`);
    expectValid(answer.text, '429');
    const { issue } = JSON.parse(answer.text);
    expect(issue[0].code === 'throttled' && issue[0].severity === 'error'
        && issue[0].details.coding[0].code === 'too-often', answer.text);
}

await one('requests of a client', async () => {
    const s = await start({ 'http.rate': 5, 'http.rate_burst': 20 });
    const began = performance.now();
    const got = await statuses(60, s, 'tok-a');
    const seconds = (performance.now() - began) / 1000;
    const let_in = count(got, 200);
    expect(let_in >= 20 && let_in <= 20 + 5 * seconds,
        `${let_in} of 60 in ${seconds} s`);
    expect(let_in + count(got, 429) === 60, got.join(' '));
    const refused = await ask(s, 'tok-a');
    if (refused.status === 429)
        judge(refused);
    /* another client is not concerned, nor is who has no token */
    expect((await ask(s, 'tok-b')).status === 200, 'another client');
    expect((await ask(s, undefined, '/healthz')).status === 200, 'no token');
    expect(await metric(s, 'headgate_rate_limited_total') >= count(got, 429),
        'the metric');
    /* what Retry-After says is enough */
    await sleep(1000 * Number((await ask(s, 'tok-a')).headers['retry-after'] ?? 0));
    expect((await ask(s, 'tok-a')).status === 200, 'after the wait');
    await stopChild(s.child);
});

await one('requests without a token count by address', async () => {
    const s = await start({ 'http.rate': 1, 'http.rate_burst': 10,
        'http.proxy': '127.0.0.1' });
    /* /readyz, which writes, and those that are turned away */
    const got = [...await statuses(8, s, undefined, '/readyz', '192.0.2.1'),
        ...await statuses(8, s, undefined, '/fhir/Task', '192.0.2.1')];
    expect(count(got, 429) >= 3 && count(got, 200) === 8, got.join(' '));
    expect((await ask(s, undefined, '/readyz', '192.0.2.2')).status === 200,
        'another address');
    /* one host of IPv6 has 64 bits of addresses */
    const six = [];
    for (let i = 0; i < 16; i++)
        six.push((await ask(s, undefined, '/healthz', `[2001:db8::${i + 1}]`)).status);
    expect(count(six, 429) >= 3, six.join(' '));
    expect((await ask(s, undefined, '/healthz', '2001:db8:0:1::1')).status === 200,
        'another host');
    /* what the client itself says stands before what the proxy adds */
    const forged = [];
    for (let i = 0; i < 16; i++)
        forged.push((await ask(s, undefined, '/healthz',
            `198.51.100.${i}, 192.0.2.9`)).status);
    expect(count(forged, 429) >= 3, `forged: ${forged.join(' ')}`);
    await stopChild(s.child);
});

await one('false tokens of an address', async () => {
    const s = await start({ 'http.failures_max': 10, 'http.proxy': '127.0.0.1' });
    const unit = '192.0.2.10', other = '192.0.2.11';
    expect((await ask(s, 'tok-a', '/fhir/Task', unit)).status === 200, 'first');
    const got = await statuses(30, s, 'guess', '/fhir/Task', unit);
    expect(count(got, 401) >= 10 && count(got, 401) <= 12
        && got.at(-1) === 429, got.join(' '));
    judge(await ask(s, 'guess', '/fhir/Task', unit));
    /* one that is right looks no different, unless it came from there before */
    judge(await ask(s, 'tok-b', '/fhir/Task', unit));
    expect((await ask(s, 'tok-a', '/fhir/Task', unit)).status === 200,
        'a client of that address');
    expect((await ask(s, 'tok-b', '/fhir/Task', other)).status === 200,
        'another address');
    expect((await ask(s, undefined, '/healthz', unit)).status === 200,
        'what needs no token');
    expect(await metric(s, 'headgate_auth_blocked_total') >= 15, 'the metric');
    /* a permit comes back every six seconds */
    const wait = Number((await ask(s, 'guess', '/fhir/Task', unit))
        .headers['retry-after']);
    expect(wait >= 1 && wait <= 6, `Retry-After: ${wait}`);
    await stopChild(s.child);
});

/* That the room for them is fixed is a matter of test_rate.c; here, that nobody
 * else suffers. */
await one('many addresses that guess', async () => {
    const s = await start({ 'http.failures_max': 3, 'http.rate': 100,
        'http.proxy': '127.0.0.1' });
    const knock = (n) => ask(s, 'guess', '/fhir/Task',
        `10.${(n >> 16) & 255}.${(n >> 8) & 255}.${n & 255}`);
    const got = [];
    for (let n = 0; n < 2400; n += 8)
        got.push(...await Promise.all([0, 1, 2, 3, 4, 5, 6, 7]
            .map((k) => knock(n + k))));
    expect(got.every(({ status }) => status === 401),
        'one that never guessed before was taken for another');
    expect((await ask(s, 'tok-b', '/fhir/Task', '192.0.2.77')).status === 200,
        'somebody else');
    await stopChild(s.child);
});

await one('connections of an address', async () => {
    const s = await start({ 'http.connections_per_client': 5 });
    const { port } = new URL(s.url);
    const open = [];
    for (let i = 0; i < 9; i++) {
        const socket = connect({ port, host: '127.0.0.1', localAddress:
            '127.0.0.5' });
        socket.on('error', () => { socket.gone = true; });
        socket.on('close', () => { socket.gone = true; });
        socket.resume();
        open.push(socket);
    }
    for (let i = 0; i < 100 && open.filter((o) => o.gone).length < 4; i++)
        await sleep(20);
    expect(open.filter((o) => o.gone).length === 4,
        `${open.filter((o) => o.gone).length} of 9 were turned away`);
    /* another address has its own places */
    expect((await ask(s, 'tok-a')).status === 200, 'another address');
    expect(await metric(s, 'headgate_http_crowded_total') === 4, 'the metric');
    open.forEach((o) => o.destroy());
    await stopChild(s.child);
});

await one('bodies that are nested too deeply', async () => {
    const s = await start({});
    const post = (body) => new Promise((done, fail) => {
        const req = request(`${s.url}/Observation`, { method: 'POST', headers: {
            Authorization: 'Bearer tok-a', 'Content-Type': 'application/fhir+json' } },
        (res) => {
            let text = '';
            res.on('data', (p) => { text += p; });
            res.on('end', () => done({ status: res.statusCode, text }));
        });
        req.on('error', fail);
        req.end(body);
    });
    for (const depth of [65, 2000, 500000]) {
        for (const [open, close] of [['[', ']'], ['{"extension":[', ']}']]) {
            const answer = await post(`{"resourceType":"Observation","x":${
                open.repeat(depth)}${close.repeat(depth)}}`);
            expect(answer.status === 400 || answer.status === 413
                || answer.status === 422,
            `${depth} of ${open}: ${answer.status} ${answer.text.slice(0, 200)}`);
        }
    }
    expect((await ask(s, 'tok-a')).status === 200, 'still there');
    await stopChild(s.child);
});

killChildren();
rmSync(tmp, { recursive: true });
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed > 0 ? 1 : 0);
