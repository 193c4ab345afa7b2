/*
 * Who knocks too often, or leaves too much: requests of a client, false tokens
 * of an address, connections of an address, bodies.
 *
 *   node rate.mjs path/to/headgate
 *
 * What is expected: RFC 6585, 4 (429) with Retry-After of RFC 9110, 10.2.3;
 * the bound of a token bucket, RFC 3290, appendix A; FHIR R4, IssueType
 * ("throttled", "transient"); RFC 9110, 5.3 (lines of one name are one list),
 * 10.1.1 (Expect), 15.6.4 (503).
 */

import { createHash } from 'node:crypto';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { Agent, request } from 'node:http';
import { connect } from 'node:net';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, stopChild } from './delivery_kit.mjs';
import { Endpoint, expectValid } from './endpoint_kit.mjs';
import { Suite, until } from './suite.mjs';

const bench = new Suite();
const { binary, tmp } = bench;
const digest = (text) => createHash('sha256').update(text).digest('hex');
const tokens = join(tmp, 'tokens');
writeFileSync(tokens, ['a', 'b', 'c'].map((n) => `unit-${n} ${digest(`tok-${n}`)}\n`)
    .join(''));
const scoped = join(tmp, 'scoped');
writeFileSync(scoped, `unit-a ${digest('tok-a')}\nunit-b ${digest('tok-b')
    } system/Task.rs\n`);
let folder = 0;

async function start(settings) {
    const where = join(tmp, `s${++folder}`);
    mkdirSync(where);
    const service = new Endpoint(binary, where, { 'http.anonymous': false,
        'http.tokens': tokens, ...settings });
    await service.start();
    return service;
}

const agent = new Agent({ keepAlive: true, maxSockets: 8 });

/* token undefined: none; from: what a proxy says, a list in several lines. */
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

await bench.one('requests of a client', async () => {
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

await bench.one('requests without a token count by address', async () => {
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
    /* also where the proxy adds a line of its own */
    const lines = [];
    for (let i = 0; i < 16; i++)
        lines.push((await ask(s, undefined, '/healthz',
            ['198.51.100.99', '192.0.2.19'])).status);
    expect(count(lines, 429) >= 3, `in two lines: ${lines.join(' ')}`);
    expect((await ask(s, undefined, '/healthz', '198.51.100.99')).status === 200,
        'somebody whom another has named');
    await stopChild(s.child);
});

await bench.one('false tokens of an address', async () => {
    const s = await start({ 'http.failures_max': 10, 'http.proxy': '127.0.0.1' });
    const unit = '192.0.2.10', other = '192.0.2.11';
    expect((await ask(s, 'tok-a', '/fhir/Task', unit)).status === 200, 'first');
    const got = await statuses(30, s, 'guess', '/fhir/Task', unit);
    expect(count(got, 401) >= 10 && count(got, 401) <= 12
        && got.at(-1) === 429, got.join(' '));
    judge(await ask(s, 'guess', '/fhir/Task', unit));
    /* one that is right passes, whether it came from there before or not */
    expect((await ask(s, 'tok-b', '/fhir/Task', unit)).status === 200,
        'a client of that address that comes for the first time');
    expect((await ask(s, 'tok-a', '/fhir/Task', unit)).status === 200,
        'a client of that address');
    expect((await ask(s, 'tok-b', '/fhir/Task', other)).status === 200,
        'another address');
    expect((await ask(s, undefined, '/healthz', unit)).status === 200,
        'what needs no token');
    judge(await ask(s, 'guess', '/fhir/Task', unit));
    expect(await metric(s, 'headgate_auth_blocked_total') >= 15, 'the metric');
    /* a permit comes back every six seconds */
    const wait = Number((await ask(s, 'guess', '/fhir/Task', unit))
        .headers['retry-after']);
    expect(wait >= 1 && wait <= 6, `Retry-After: ${wait}`);
    await stopChild(s.child);
});

/* That the room for them is fixed is a matter of test_rate.c; here, that nobody
 * else suffers. */
await bench.one('many addresses that guess', async () => {
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

await bench.one('connections of an address', async () => {
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

/* A socket that sends what it is told to, and keeps what comes back. */
function raw(service, text) {
    const { port } = new URL(service.url);
    const socket = connect({ port, host: '127.0.0.1' });
    const peer = { socket, got: '', gone: false };
    socket.on('data', (piece) => { peer.got += piece; });
    socket.on('error', () => { peer.gone = true; });
    socket.on('close', () => { peer.gone = true; });
    socket.write(text);
    return peer;
}

const head = (length, ...more) => ['POST /fhir/Observation HTTP/1.1', 'Host: x',
    'Content-Type: application/fhir+json', `Content-Length: ${length}`, ...more,
    '', ''].join('\r\n');

const memory = (s) => Number(/^VmRSS:\s+(\d+) kB$/m.exec(
    readFileSync(`/proc/${s.child.pid}/status`, 'utf8'))[1]) / 1024;

await bench.one('bodies of those who may not send them', async () => {
    const s = await start({ 'http.tokens': scoped });
    const before = memory(s), most = 4 * 1024 * 1024;
    const body = Buffer.alloc(most - 1, ' ');
    /* never whole: what is kept of them would be kept for 30 s */
    const peers = [];
    for (let i = 0; i < 48; i++) {
        peers.push(raw(s, head(most, ...[[], ['Authorization: Bearer guess'],
            ['Authorization: Bearer tok-b']][i % 3])));
        peers.at(-1).socket.write(body);
    }
    await until('not all were refused', () => peers.every((p, i) =>
        p.got.startsWith(`HTTP/1.1 ${[401, 401, 403][i % 3]} `)));
    const grown = memory(s) - before;
    expect(grown < 96, `${grown} MiB more for ${48 * 4} MiB of bodies`);
    peers.forEach((p) => p.socket.destroy());
    /* no leave to send, and leave: who has the right to */
    const waits = raw(s, head(2, 'Expect: 100-continue'));
    await until('the end', () => waits.gone);
    expect(/^HTTP\/1.1 401 /.test(waits.got) && !/ 100 /.test(waits.got),
        waits.got);
    const may = raw(s, head(2, 'Expect: 100-continue',
        'Authorization: Bearer tok-a'));
    await until('leave to send', () => /^HTTP\/1.1 100 /.test(may.got));
    may.socket.write('{}');
    await until('an answer', () => /HTTP\/1.1 4\d\d /.test(may.got));
    expect(!may.gone, 'the connection is kept');
    may.socket.destroy();
    /* what needs no token takes no body either */
    const open = raw(s, head(most).replace('POST /fhir/Observation', 'GET /healthz'));
    await until('the end', () => open.gone);
    expect(/^HTTP\/1.1 413 /.test(open.got), open.got);
    await stopChild(s.child);
});

await bench.one('a large body counts as one request', async () => {
    const s = await start({ 'http.rate': 1, 'http.rate_burst': 4 });
    const large = `{"resourceType":"Observation",${' '.repeat(100000)}"x":1}`;
    const got = [];
    for (let i = 0; i < 6; i++) {
        const p = raw(s, head(large.length, 'Authorization: Bearer tok-a') + large);
        await until('an answer', () => /^HTTP\/1.1 \d+ /.test(p.got));
        got.push(p.got.slice(9, 12));
        p.socket.destroy();
    }
    const taken = got.filter((status) => status !== '429').length;
    expect(taken >= 4 && got[3] !== '429', got.join(' '));
    await stopChild(s.child);
});

await bench.one('bodies of all together', async () => {
    const s = await start({ 'http.bodies_max': 8388608 });
    const most = 4 * 1024 * 1024, body = Buffer.alloc(most - 1, ' ');
    const mine = 'Authorization: Bearer tok-a';
    const two = [0, 1].map(() => raw(s, head(most, mine)));
    two.forEach((p) => p.socket.write(body));
    await until('both are sent', () => two.every((p) =>
        p.socket.writableLength === 0));
    await sleep(300); /* and read */
    const third = raw(s, head(most, mine));
    await until('the end', () => third.gone);
    expect(/^HTTP\/1.1 503 /.test(third.got) && /\r\nRetry-After: \d+\r\n/
        .test(third.got), third.got);
    const text = third.got.slice(third.got.indexOf('\r\n\r\n') + 4);
    expectValid(text, '503');
    expect(JSON.parse(text).issue[0].code === 'transient', text);
    expect(await metric(s, 'headgate_http_overfull_total') === 1, 'the metric');
    expect((await ask(s, 'tok-a')).status === 200, 'without a body');
    two.forEach((p) => p.socket.destroy());
    const again = raw(s, head(most, mine));
    again.socket.write(Buffer.alloc(most, ' '));
    await until('an answer', () => /^HTTP\/1.1 4\d\d /.test(again.got));
    again.socket.destroy();
    await stopChild(s.child);
});

await bench.one('bodies that are nested too deeply', async () => {
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

await bench.finish();
