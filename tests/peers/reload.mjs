/*
 * SIGHUP: settings are read again under load, and no connection is dropped.
 *
 *   node reload.mjs path/to/headgate
 *
 * What is expected: what service/reload.h promises; RFC 9112, 9.3 (connections
 * persist), RFC 8446 (a connection keeps the certificate that it began with).
 * Reading settings again at SIGHUP is common practice, no source.
 */

import { createHash, X509Certificate } from 'node:crypto';
import { chmodSync, copyFileSync, mkdirSync, readFileSync, renameSync,
    writeFileSync } from 'node:fs';
import { Agent as PlainAgent, request as plainRequest } from 'node:http';
import { Agent, request } from 'node:https';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { connect as connectTls } from 'node:tls';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { expect, stopChild } from './delivery_kit.mjs';
import { Endpoint, UCUM, OBS_SYSTEM } from './endpoint_kit.mjs';
import { certificates } from './mllp_kit.mjs';
import { Suite } from './suite.mjs';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const bench = new Suite();
const { binary, tmp } = bench;
const digest = (text) => createHash('sha256').update(text).digest('hex');
let folder = 0;

/* A file is there whole or not at all. */
function put(path, text) {
    writeFileSync(`${path}.new`, text);
    renameSync(`${path}.new`, path);
}

const tokensOf = (...names) => names.map((n) => `${n} ${digest(`tok-${n}`)}\n`)
    .join('');

/* A service with a configuration file of its own. */
async function start(http = '', more = '') {
    const where = join(tmp, `s${++folder}`);
    mkdirSync(where);
    const s = new Endpoint(binary, where);
    s.where = where;
    s.ini = join(where, 'headgate.ini');
    s.say = (h = http, m = more) => put(s.ini,
        `[http]\ntokens = tokens\n${h}\n[policy]\npath = policy.ini\n${m}\n`);
    put(join(where, 'tokens'), tokensOf('old', 'stays'));
    copyFileSync(join(ROOT, 'config/policy.ini'), join(where, 'policy.ini'));
    s.say();
    s.args[2] = s.ini;
    await s.start();
    return s;
}

const logOf = (s) => readFileSync(s.log, 'utf8');

/* HUP, and wait until the log tells how it went. */
async function hup(s, word = 'reload.done') {
    const before = logOf(s).split(`event=${word}`).length;
    s.child.kill('SIGHUP');
    for (let i = 0; i < 250; i++) {
        if (logOf(s).split(`event=${word}`).length > before)
            return;
        await sleep(20);
    }
    expect(false, `no ${word}: ${s.lastLines(5).join('\n')}`);
}

/* What is told in words comes a moment after the event. */
async function told(s, words, what) {
    for (let i = 0; i < 150 && !words.test(logOf(s)); i++)
        await sleep(20);
    expect(words.test(logOf(s)), `${what}: ${s.lastLines(6).join('\n')}`);
}

function ask(s, token, path = '/fhir/Task', { agent, body, ca } = {}) {
    const send = s.url.startsWith('https') ? request : plainRequest;
    return new Promise((done) => {
        const req = send(new URL(path, s.url), { agent, ca, timeout: 20000,
            method: body ? 'POST' : 'GET', headers: {
                Authorization: `Bearer ${token}`, ...(body && {
                    'Content-Type': 'application/fhir+json' }) } }, (res) => {
            let text = '';
            res.on('data', (piece) => { text += piece; });
            res.on('error', (e) => done({ error: e.code }));
            res.on('end', () => done({ status: res.statusCode, text,
                headers: res.headers, reused: req.reusedSocket }));
        });
        req.on('timeout', () => req.destroy(new Error('timeout')));
        req.on('error', (e) => done({ error: e.code ?? e.message }));
        req.end(body);
    });
}

const statusOf = async (...of) => (await ask(...of)).status;

const reading = (n) => JSON.stringify({ resourceType: 'Observation',
    status: 'final', identifier: [{ system: 'urn:example:reload', value: `r${n}` }],
    code: { coding: [{ system: OBS_SYSTEM, code: 'access-flow' }] },
    subject: { reference: 'Patient/reload' },
    focus: [{ reference: 'BodyStructure/reload' }],
    effectiveDateTime: '2026-03-02T10:00:00Z',
    valueQuantity: { value: 700 + n, system: UCUM, code: 'mL/min' } });

/* Clients that go on over connections that they keep, until they are stopped. */
function load(s, workers, options, token = 'tok-stays') {
    const Kind = s.url.startsWith('https') ? Agent : PlainAgent;
    const made = { count: 0, wrong: [], opened: 0, stop: false };
    const agents = Array.from({ length: workers }, () => {
        const agent = new Kind({ keepAlive: true, maxSockets: 1, ...options });
        const create = agent.createConnection.bind(agent);
        agent.createConnection = (...of) => { made.opened++; return create(...of); };
        return agent;
    });
    const work = agents.map(async (agent, w) => {
        for (let n = 0; !made.stop; n++) {
            const body = n % 3 === 0 ? reading(w * 100000 + n) : undefined;
            const answer = await ask(s, token, body ? '/fhir/Observation'
                : '/fhir/Task', { agent, body, ...options });
            made.count++;
            if (answer.error !== undefined || answer.status >= 300)
                made.wrong.push(answer.error ?? `${answer.status} ${answer.text}`);
        }
    });
    made.end = async () => {
        made.stop = true;
        await Promise.all(work);
        agents.forEach((a) => a.destroy());
    };
    return made;
}

await bench.one('tokens, under load; no connection is dropped', async () => {
    const s = await start();
    const clients = load(s, 6);
    expect(await statusOf(s, 'tok-old') === 200, 'before');
    expect(await statusOf(s, 'tok-new') === 401, 'before it is known');
    const kept = new PlainAgent({ keepAlive: true, maxSockets: 1 });
    expect(await statusOf(s, 'tok-old', '/fhir/Task', { agent: kept }) === 200,
        'kept, before');
    for (let i = 0; i < 10; i++) {
        put(join(s.where, 'tokens'), i % 2 === 0 ? tokensOf('new', 'stays')
            : tokensOf('stays', 'old'));
        await hup(s);
        expect(await statusOf(s, 'tok-new') === (i % 2 === 0 ? 200 : 401),
            `round ${i}: the new one`);
        const old = await ask(s, 'tok-old', '/fhir/Task', { agent: kept });
        expect(old.status === (i % 2 === 0 ? 401 : 200),
            `round ${i}: the old one, on a connection from before: ${old.status}`);
        expect(old.reused, `round ${i}: the connection was dropped`);
    }
    await clients.end();
    expect(clients.wrong.length === 0, `${clients.wrong.length} of ${
        clients.count}: ${clients.wrong[0]}`);
    expect(clients.opened === 6, `${clients.opened} connections for 6 clients`);
    expect(clients.count > 60, `${clients.count} requests`);
    console.log(`      ${clients.count} requests on 6 connections, 10 times read`);
    kept.destroy();
    expect(await stopChild(s.child) === 0, 'a clean end');
});

await bench.one('a certificate, under load by TLS', async () => {
    const c = certificates(tmp);
    const s = await start(`tls_certificate = ${c.at('server.pem')}\n`
        + `tls_key = ${c.at('server.key')}`);
    const clients = load(s, 4, { ca: c.ca });
    const { port } = new URL(s.url);
    const serial = () => new Promise((done, fail) => {
        const socket = connectTls({ port, host: '127.0.0.1', ca: c.ca,
            checkServerIdentity: () => undefined }, () => {
            done(new X509Certificate(socket.getPeerCertificate().raw).serialNumber);
            socket.destroy();
        });
        socket.on('error', fail);
    });
    const serialIn = (name) => new X509Certificate(readFileSync(c.at(name)))
        .serialNumber;
    expect(await serial() === serialIn('server.pem'), 'before');
    /* the file alone is not looked at: pair and key come at once, by HUP */
    const [cert, key] = ['client.pem', 'client.key'].map((n) =>
        readFileSync(c.at(n)));
    const before = readFileSync(c.at('server.pem'));
    put(c.at('server.pem'), cert);
    await hup(s, 'reload.failed'); /* the key does not belong to it */
    expect(new X509Certificate(before).serialNumber === await serial(),
        'half a pair was taken');
    put(c.at('server.key'), key);
    await hup(s);
    expect(await serial() === serialIn('client.pem'), 'after');
    await clients.end();
    expect(clients.wrong.length === 0, `${clients.wrong[0]}`);
    expect(clients.opened === 4, `${clients.opened} connections for 4 clients`);
    await stopChild(s.child);
});

await bench.one('a wrong file changes nothing, and is said', async () => {
    const s = await start();
    for (const [what, wrong, right, said] of [
        ['tokens', () => put(join(s.where, 'tokens'), `new ${'x'.repeat(64)}\n`),
            () => put(join(s.where, 'tokens'), tokensOf('old', 'stays')),
            /tokens:1: not a name and the 64/],
        ['a setting', () => s.say('rate = many'), () => s.say(),
            /headgate\.ini:3: \[http\] rate: many is not a whole number/],
        ['no setting', () => s.say('speed = 1'), () => s.say(), /no such setting/],
        ['the policy', () => put(join(s.where, 'policy.ini'), '[flow]\nx = 1\n'),
            () => copyFileSync(join(ROOT, 'config/policy.ini'),
                join(s.where, 'policy.ini')), /policy\.ini/],
        ['a mode', () => { put(join(s.where, 'tokens'), tokensOf('new'));
            chmodSync(join(s.where, 'tokens'), 0o644);
            chmodSync(s.where, 0o755); },
        () => put(join(s.where, 'tokens'), tokensOf('old', 'stays')),
        /\[http\] tokens: .*everybody on this machine may read/],
        ['nobody could come in', () => put(s.ini, '[http]\nrate = 0\n[policy]\n'
            + 'path = policy.ini\n'), () => s.say(), /name a file of tokens/]]) {
        wrong();
        await hup(s, 'reload.failed');
        await told(s, said, what);
        expect(/level=error event=reload\.failed/.test(logOf(s)), what);
        expect(await statusOf(s, 'tok-old') === 200, `${what}: the old one`);
        expect(await statusOf(s, 'tok-new') === 401, `${what}: the new one`);
        const ready = await ask(s, '', '/readyz');
        expect(ready.status === 200 && /could not be read again/.test(ready.text),
            `${what}: ${ready.status} ${ready.text}`);
        const metrics = (await ask(s, 'tok-old', '/metrics')).text;
        expect(/^headgate_reload_failed 1$/m.test(metrics), what);
        right();
        await hup(s);
        expect(!/could not/.test((await ask(s, '', '/readyz')).text), what);
    }
    await told(s, /settings not read again; those before are in force/, 'words');
    await stopChild(s.child);
});

await bench.one('what counts only from the next start is named', async () => {
    const s = await start();
    s.say('idle_timeout = 5000', '[site]\nzone = Europe/Berlin\n[sender hall]\n'
        + 'application = HALL\n');
    await hup(s);
    for (const key of ['http.idle_timeout', 'site.zone', 'sender'])
        await told(s, new RegExp(`headgate: ${key}: has changed, and counts from `
            + 'the next start'), key);
    expect(/level=warn event=reload\.done need_a_start=3/.test(logOf(s)),
        s.lastLines(6).join('\n'));
    await stopChild(s.child);
});

await bench.one('limits, log level and policy', async () => {
    const s = await start();
    for (let i = 0; i < 30; i++)
        expect(await statusOf(s, 'tok-old') === 200, 'no limit yet');
    expect(!logOf(s).includes('level=debug'), 'not yet');
    expect(await statusOf(s, 'tok-old', '/fhir/Observation',
        { body: reading(1) }) === 201, 'a reading');
    const policy = join(s.where, 'policy.ini');
    put(policy, readFileSync(policy, 'utf8').replace(/^version *=.*$/m,
        'version = reload-2'));
    s.say('rate = 1\nrate_burst = 3', '[log]\nlevel = debug');
    await hup(s, 'reload.policy');
    expect(/event=reload\.policy err=ok/.test(logOf(s)), s.lastLines(3).join('\n'));
    const got = [];
    for (let i = 0; i < 10; i++)
        got.push(await statusOf(s, 'tok-old'));
    expect(got.filter((g) => g === 429).length >= 4, got.join(' '));
    await statusOf(s, 'tok-none');
    await told(s, /level=debug/, 'debug');
    s.say();
    await hup(s);
    for (let i = 0; i < 10; i++)
        expect(await statusOf(s, 'tok-old') === 200, 'no limit any more');
    expect(await stopChild(s.child) === 0, 'a clean end');
    /* what the accesses were reviewed by last, as a start would compare it */
    const db = new DatabaseSync(join(s.where, 'hg.db'), { readOnly: true });
    const { v } = db.prepare("SELECT v FROM meta WHERE k = 'policy'")
        .get();
    db.close();
    expect(v.includes('reload-2'), v);
});

await bench.finish();
