/*
 * HTTP by TLS, and who is believed: by Node's own TLS client, curl, and
 * certificates made by openssl.
 *
 *   node doors_tls.mjs path/to/headgate
 *
 * What is expected: RFC 8446 and RFC 5246 (TLS 1.2 and 1.3 alone), RFC 5280
 * (chains, revocation), RFC 6125 (names), RFC 9110, 7.8 and RFC 7239 (what
 * proxies say; the X- forms are common practice, no source).
 */

import { execFileSync, spawnSync } from 'node:child_process';
import { chmodSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createHash, X509Certificate } from 'node:crypto';
import { Agent, request } from 'node:https';
import { request as plainRequest } from 'node:http';
import { connect } from 'node:net';
import { join } from 'node:path';
import { connect as connectTls } from 'node:tls';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, stopChild } from './delivery_kit.mjs';
import { Endpoint } from './endpoint_kit.mjs';
import { certificates } from './mllp_kit.mjs';
import { Suite } from './suite.mjs';

const bench = new Suite();
const { binary, tmp } = bench;
const c = certificates(tmp);
const tokens = join(tmp, 'tokens');
writeFileSync(tokens, `unit ${createHash('sha256').update('tok').digest('hex')}\n`);
writeFileSync(join(tmp, 'tok'), 'tok\n');
let folder = 0;

const TLS = { 'http.anonymous': false, 'http.tokens': tokens,
    'http.tls_certificate': c.at('server.pem'), 'http.tls_key': c.at('server.key') };

async function start(settings) {
    const where = join(tmp, `s${++folder}`);
    execFileSync('mkdir', [where]);
    const service = new Endpoint(binary, where, settings);
    await service.start();
    service.where = where;
    return service;
}

/* One request by Node's client; an answer, or the word of the error. */
function ask(service, path = '/Task', options = {}) {
    const send = service.url.startsWith('https') ? request : plainRequest;
    return new Promise((done) => {
        const req = send(`${service.url}${path}`, { ca: c.ca,
            agent: service.url.startsWith('https') ? new Agent() : undefined,
            ...options, headers: { Authorization: 'Bearer tok',
                ...options.headers } }, (res) => {
            let text = '';
            res.on('data', (piece) => { text += piece; });
            res.on('end', () => done({ status: res.statusCode, text,
                headers: res.headers, body: /^\{/.test(text)
                    ? JSON.parse(text) : null }));
        });
        req.on('error', (e) => done({ error: e.code ?? e.message }));
        req.end(options.body);
    });
}

async function metric(service, name) {
    const origin = { ...service, url: new URL(service.url).origin };
    const { text } = await ask(origin, '/metrics');
    return Number(new RegExp(`^${name} (\\S+)$`, 'm').exec(text)[1]);
}

await bench.one('versions, names, and who signs', async () => {
    const s = await start(TLS);
    expect(s.url.startsWith('https://127.0.0.1:'), s.url);
    for (const version of ['TLSv1.2', 'TLSv1.3']) {
        const answer = await ask(s, '/Task', { minVersion: version,
            maxVersion: version });
        expect(answer.status === 200, `${version}: ${JSON.stringify(answer)}`);
    }
    const old = await ask(s, '/Task', { minVersion: 'TLSv1', maxVersion: 'TLSv1.1',
        ciphers: 'DEFAULT@SECLEVEL=0' });
    expect(old.error !== undefined, 'TLS 1.1 was taken');
    const strange = await ask(s, '/Task', { ca: readFileSync(c.at('other.pem')) });
    expect(strange.error !== undefined, 'another authority was believed');
    expect((await ask({ url: s.url.replace('https', 'http') })).error
        !== undefined, 'plain HTTP was answered');
    const link = (await ask(s)).body.link.find((l) => l.relation === 'self').url;
    expect(link.startsWith('https://127.0.0.1:'), link);
    expect((await ask(s, '/Task', { headers: { Authorization: 'Bearer x' } }))
        .status === 401, 'a false token');
    /* who sends all before it reads still sees why it is refused */
    const large = await ask(s, '/Task', { method: 'POST', body: Buffer.alloc(
        4000000, ' '), headers: { Authorization: 'Bearer x',
        'Content-Length': 4000000 } });
    expect(large.status === 401, `a large body: ${JSON.stringify(large)}`);
    expect(await metric(s, 'headgate_tls_failures_total') === 3, 'failures');
    expect(await metric(s, 'headgate_certificate_end_timestamp_seconds'
        + '{of="http"}') === Date.parse(new X509Certificate(readFileSync(
        c.at('server.pem'))).validTo) / 1000, 'the end of the certificate');
    expect(await stopChild(s.child) === 0, 'a clean end');
});

await bench.one('certificates of clients', async () => {
    for (const [mode, none] of [['required', false], ['asked', true]]) {
        const s = await start({ ...TLS, 'http.tls_client': mode,
            'http.tls_client_ca': c.at('ca.pem') });
        expect(((await ask(s)).status === 200) === none, `${mode}: without`);
        expect((await ask(s, '/Task', c.pair('client'))).status === 200,
            `${mode}: with`);
        expect((await ask(s, '/Task', c.pair('stranger'))).error !== undefined,
            `${mode}: of another authority`);
        /* it lets nobody in alone */
        const bare = await ask(s, '/Task', { ...c.pair('client'),
            headers: { Authorization: '' } });
        expect(bare.status === 401, `without a token: ${bare.status}`);
        await stopChild(s.child);
    }
});

await bench.one('a certificate that was revoked', async () => {
    /* a list of openssl's ca(1) */
    writeFileSync(join(tmp, 'index.txt'), '');
    writeFileSync(join(tmp, 'crlnumber'), '01\n');
    writeFileSync(join(tmp, 'ca.cnf'), `[ca]\ndefault_ca=d\n[d]\ndatabase=${tmp
    }/index.txt\ncrlnumber=${tmp}/crlnumber\ndefault_md=sha256\n`
        + 'default_crl_days=2\n');
    const ca = (...args) => execFileSync('openssl', ['ca', '-config',
        join(tmp, 'ca.cnf'), '-keyfile', c.at('ca.key'), '-cert', c.at('ca.pem'),
        ...args], { stdio: ['ignore', 'ignore', 'pipe'] });
    const crl = join(tmp, 'crl.pem');
    ca('-gencrl', '-out', crl);
    const s = await start({ ...TLS, 'http.tls_client': 'required',
        'http.tls_client_ca': c.at('ca.pem'), 'http.tls_crl': crl });
    expect((await ask(s, '/Task', c.pair('client'))).status === 200, 'before');
    ca('-revoke', c.at('client.pem'));
    ca('-gencrl', '-out', crl);
    expect((await ask(s, '/Task', c.pair('client'))).error !== undefined,
        'revoked, and let in');
    await stopChild(s.child);
});

await bench.one('commands with --to: --ca FILE', async () => {
    const s = await start(TLS);
    const run = (...more) => spawnSync(binary, ['queue', '--to',
        s.url.replace('127.0.0.1', 'localhost'), '--token-file', join(tmp, 'tok'),
        ...more], { encoding: 'utf8', timeout: 20000 });
    const without = run();
    expect(without.status === 1 && /cannot be reached \(io: .*certificate/
        .test(without.stderr), without.stderr);
    const other = run('--ca', c.at('other.pem'));
    expect(other.status === 1, other.stdout);
    const none = run('--ca', join(tmp, 'nothing.pem'));
    expect(none.status === 1 && /--ca .*nothing\.pem: is not a file/
        .test(none.stderr), none.stderr);
    const right = run('--ca', c.at('ca.pem'));
    expect(right.status === 0 && /Nothing is in the queue/.test(right.stdout),
        right.stdout + right.stderr);
    await stopChild(s.child);
});

await bench.one('a record with a certificate of one\'s own authority', async () => {
    /* the record here is another headgate, which wants a certificate */
    const record = await start({ ...TLS, 'http.tls_client': 'required',
        'http.tls_client_ca': c.at('ca.pem') });
    const common = { 'record.url': record.url.replace('127.0.0.1', 'localhost'),
        'record.token_file': join(tmp, 'tok') };
    const check = (settings) => {
        const all = Object.entries({ 'store.path': join(tmp, 'check.db'),
            ...common, ...settings }).flatMap(([k, v]) => ['--set', `${k}=${v}`]);
        return spawnSync(binary, ['check', '--config', 'config/demo.ini', ...all],
            { encoding: 'utf8', timeout: 30000 });
    };
    const blind = check({});
    expect(/cannot be|no answer|not be reached|io/i.test(blind.stdout)
        && blind.status === 2, blind.stdout + blind.stderr);
    const seen = check({ 'record.tls_ca': c.at('ca.pem'),
        'record.tls_certificate': c.at('client.pem'),
        'record.tls_key': c.at('client.key') });
    expect(/4\.0\.1|FHIR/.test(seen.stdout) && !/not be reached/
        .test(seen.stdout), seen.stdout + seen.stderr);
    const half = check({ 'record.tls_ca': c.at('ca.pem') });
    expect(half.status === 2, `without a certificate of ours: ${half.stdout}`);
    await stopChild(record.child);
});

await bench.one('plain only where it is meant so', async () => {
    const attempt = (settings) => spawnSync(binary, ['check', '--offline', '--config',
        'config/demo.ini', ...Object.entries({ 'store.path': join(tmp, 'no.db'),
            'http.anonymous': false, 'http.tokens': tokens, ...settings })
            .flatMap(([k, v]) => ['--set', `${k}=${v}`])],
    { encoding: 'utf8', timeout: 20000 });
    const refused = attempt({ 'http.address': '0.0.0.0' });
    expect(refused.status === 2 && /\[http\] address: beyond loopback only by TLS/
        .test(refused.stderr), refused.stdout + refused.stderr);
    const meant = attempt({ 'http.address': '0.0.0.0', 'http.plain': true });
    expect(meant.status === 0 && /plain: only a TLS proxy/.test(meant.stdout),
        meant.stdout + meant.stderr);
    const secret = join(tmp, 'open-key');
    writeFileSync(secret, readFileSync(c.at('server.key')));
    chmodSync(secret, 0o644);
    chmodSync(tmp, 0o755); /* others may come to it */
    const open = attempt({ ...TLS, 'http.tls_key': secret });
    expect(open.status === 2 && /modes .*\[http\] tls_key: .*everybody .* may read/
        .test(open.stdout), open.stdout);
    const served = spawnSync(binary, ['serve', '--config', 'config/demo.ini',
        ...Object.entries({ 'store.path': join(tmp, 'no.db'), ...TLS,
            'http.tls_key': secret }).flatMap(([k, v]) => ['--set', `${k}=${v}`])],
    { encoding: 'utf8', timeout: 20000 });
    expect(served.status === 2 && /everybody on this machine may read/
        .test(served.stderr), `${served.status} ${served.stderr}`);
});

await bench.one('what a proxy says counts only of one that is known', async () => {
    const self = async (s, headers) => (await ask(s, '/Task', { headers })).body
        .link.find((l) => l.relation === 'self').url;
    const said = { 'X-Forwarded-Proto': 'https', 'X-Forwarded-Host':
        'hg.hospital.example' };
    const free = { 'http.anonymous': true, 'http.tokens': '' };
    const deaf = await start(free);
    expect((await self(deaf, said)).startsWith('http://127.0.0.1:'), 'believed');
    await stopChild(deaf.child);
    const s = await start({ ...free, 'http.proxy': '192.0.2.1, 127.0.0.0/8' });
    expect(await self(s, said) === 'https://hg.hospital.example/fhir/Task',
        await self(s, said));
    expect((await self(s, {})).startsWith('http://127.0.0.1:'), 'without');
    /* the nearest proxy has put its word last; what is no host is passed over */
    expect(await self(s, { 'X-Forwarded-Proto': 'http, https', 'X-Forwarded-Host':
        'evil.example, hg.hospital.example:8443' })
        === 'https://hg.hospital.example:8443/fhir/Task', 'the last of a list');
    /* which may be in several lines: RFC 9110, 5.3 */
    expect(await self(s, { 'X-Forwarded-Proto': ['http', 'https'],
        'X-Forwarded-Host': ['evil.example', 'hg.hospital.example'] })
        === 'https://hg.hospital.example/fhir/Task', 'the last line');
    for (const bad of ['a/b', 'a b', '"x"', 'a@b', ''])
        expect((await self(s, { 'X-Forwarded-Host': bad }))
            .startsWith('http://127.0.0.1:'), bad);
    expect((await self(s, { 'X-Forwarded-Proto': 'javascript' }))
        .startsWith('http://127.0.0.1:'), 'another scheme');
    await stopChild(s.child);
});

await bench.one('who fails at the greeting takes no place', async () => {
    const s = await start({ ...TLS, 'http.connections_max': 12,
        'http.connections_per_client': 3 });
    const { port } = new URL(s.url);
    const wrong = () => new Promise((done) => {
        const socket = connect({ port, host: '127.0.0.1',
            localAddress: '127.0.0.2', allowHalfOpen: true });
        socket.on('error', () => {});
        socket.on('close', done);
        socket.on('end', done); /* and does not go itself */
        socket.resume();
        socket.write(Buffer.from('160301000578787878', 'hex'));
        socket.write('x');
    });
    const began = performance.now();
    for (let i = 0; i < 30; i++)
        await wrong();
    expect((await ask(s)).status === 200, 'another address');
    /* with a wait of two seconds for each it would be 20 s, or no answer */
    expect(performance.now() - began < 5000, `${performance.now() - began} ms`);
    expect(await metric(s, 'headgate_http_connections') === 1, 'places are free');
    await stopChild(s.child);
});

await bench.one('descriptors of a connection', async () => {
    const descriptors = (s) => readdirSync(`/proc/${s.child.pid}/fd`).length;
    for (const [settings, each] of [[TLS, 3], [{ 'http.anonymous': false,
        'http.tokens': tokens }, 1]]) {
        const s = await start(settings);
        const { port } = new URL(s.url);
        await ask(s);
        await sleep(300);
        const before = descriptors(s), sockets = [];
        for (let i = 0; i < 10; i++) {
            const socket = each === 3 ? connectTls({ port, host: '127.0.0.1',
                ca: c.ca }) : connect(port, '127.0.0.1');
            socket.resume();
            await new Promise((done) => socket.on(each === 3 ? 'secureConnect'
                : 'connect', done));
            sockets.push(socket);
        }
        for (let i = 0; i < 100 && descriptors(s) < before + 10 * each; i++)
            await sleep(20);
        expect(descriptors(s) - before === 10 * each,
            `${descriptors(s) - before} for 10 connections`);
        sockets.forEach((socket) => socket.destroy());
        await stopChild(s.child);
    }
});

await bench.one('peers that are half open, or never finish', async () => {
    const s = await start({ ...TLS, 'http.request_timeout': 600,
        'http.idle_timeout': 1200 });
    const { port } = new URL(s.url);
    const ends = (socket) => new Promise((done) => {
        const began = performance.now();
        socket.on('error', () => {});
        socket.on('close', () => done(performance.now() - began));
    });
    /* nothing is ever said: no greeting, no FIN */
    const mute = connect(port, '127.0.0.1');
    /* greeted, then silence */
    const idle = connectTls({ port, host: '127.0.0.1', ca: c.ca });
    idle.resume();
    /* a body that drips */
    const drip = connectTls({ port, host: '127.0.0.1', ca: c.ca });
    drip.resume();
    drip.write('POST /fhir/Observation HTTP/1.1\r\nHost: x\r\nAuthorization: '
        + 'Bearer tok\r\nContent-Length: 9999\r\n\r\n');
    const timer = setInterval(() => drip.write(' '), 20);
    const times = await Promise.race([Promise.all([mute, idle, drip].map(ends)),
        sleep(8000, [])]);
    clearInterval(timer);
    expect(times.length === 3, 'somebody was never let go');
    expect(times[0] > 500 && times[0] < 3000, `mute: ${times[0]} ms`);
    expect(times[1] > 1100 && times[1] < 5500, `idle: ${times[1]} ms`);
    expect(times[2] > 500 && times[2] < 3000, `drip: ${times[2]} ms`);
    expect(await metric(s, 'headgate_http_connections') === 1, 'places are free');
    await stopChild(s.child);
});

await bench.finish();
