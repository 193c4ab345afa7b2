/*
 * Who may come in, and what the log tells of those who did.
 */

import { createHash } from 'node:crypto';
import { spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, statSync, writeFileSync }
    from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, stopChild } from './delivery_kit.mjs';
import { Client, daysAgo, Endpoint, expectRefused, expectSame, expectStatus,
    judge, MARK, OBS_SYSTEM, parseAnswers, rawExchange, UCUM }
    from './endpoint_kit.mjs';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const TOKEN = `${MARK}-token.with~chars+/==`;
const OTHER = `${MARK}-second`;
const LOG_LINE = new RegExp('^time=[-\\d]{10}T[:\\d]{8}\\.\\d{3}Z '
    + 'level=(debug|info|warn|error) event=[a-z_.]+'
    + '( [a-z_]+=("[^"]*"|[^\\s"]+))*$');

const digest = (text) => createHash('sha256').update(text).digest('hex');

const reading = { resourceType: 'Observation', status: 'final',
    code: { coding: [{ system: OBS_SYSTEM, code: 'access-flow' }] },
    subject: { reference: `Patient/${MARK}-door` },
    focus: [{ reference: `BodyStructure/${MARK}-door` }],
    effectiveDateTime: daysAgo(5),
    valueQuantity: { value: 700, system: UCUM, code: 'mL/min' } };

/* ---- tokens --------------------------------------------------------------- */

async function startGuarded(bench) {
    const folder = join(bench.tmp, 'guarded');
    const tokens = join(folder, 'tokens');
    mkdirSync(folder);
    writeFileSync(tokens, `# those who may\n\nunit-a ${digest(TOKEN)}\n`
        + `unit-b ${digest(OTHER).toUpperCase()}\n`);
    bench.guarded = new Endpoint(bench.binary, folder, { 'log.level': 'debug',
        'http.anonymous': false, 'http.tokens': tokens,
        'http.failures_max': 0 /* rate.mjs is about that */ });
    await bench.guarded.start();
    bench.outside = new Client(bench.guarded.url);
}

const ASKED = [['GET', '/Task'], ['POST', '/Observation', reading],
    ['PUT', '/Observation/x', { ...reading, id: 'x' }], ['GET', '/Patient/x'],
    ['GET', '/Nothing'], ['DELETE', '/Task/x'], ['POST', '', { resourceType:
        'Bundle', type: 'batch' }], ['POST', '/Observation', '{'],
    ['GET', '/Task/x/_history'], ['POST', '/metadata', reading]];

async function withoutToken({ outside }) {
    for (const authorization of [undefined, '', 'Bearer', 'Bearer ',
        `Bearer ${MARK}`, `Bearer ${TOKEN}x`, `Bearer ${TOKEN.slice(1)}`,
        `Basic ${TOKEN}`, TOKEN, `Bearer ${digest(TOKEN)}`,
        `Bearer ${'x'.repeat(8000)}`]) {
        const headers = { Authorization: authorization };
        for (const [method, path, body] of ASKED) {
            const answer = await outside.send(method, path, body, headers);
            expectRefused(answer, 401, 'unauthorized', '', authorization);
            expect(/^Bearer\b/.test(answer.headers['www-authenticate']),
                `WWW-Authenticate: ${answer.headers['www-authenticate']}`);
        }
        for (const path of ['/queue', '/held', '/decisions', '/metrics',
            `/review?access=${MARK}-door`, '/', '/x']) {
            const answer = await outside.get(`${outside.origin}${path}`,
                headers);
            expectRefused(answer, 401, 'unauthorized', '', path);
        }
    }
}

async function withToken({ outside }) {
    for (const [scheme, token] of [['Bearer', TOKEN], ['bearer', TOKEN],
        ['Bearer', OTHER]]) {
        const headers = { Authorization: `${scheme} ${token}` };
        expectStatus(await outside.get('/Task', headers), 200, scheme);
        expectStatus(await outside.send('POST', '/Observation', reading,
            headers), scheme === 'Bearer' && token === TOKEN ? 201 : 200, 'POST');
        for (const path of ['/queue', '/held', '/decisions', '/metrics',
            `/review?access=${MARK}-door`])
            expectStatus(await outside.ops(path, headers), 200, path);
        expectRefused(await outside.get('/Observation/x', headers), 404,
            'not-found');
    }
}

async function openDoors({ outside }) {
    for (const [path, text] of [['/healthz', 'alive\n'], ['/readyz',
        'ready\nstore: made anew within the last day, with nothing in it; if there '
        + 'was one before, stop and look for it\n']]) {
        const answer = await outside.ops(path);
        expectStatus(answer, 200, path);
        expectSame(answer.text, text, path);
    }
    const { body } = await outside.get('/metadata');
    expect(/token/.test(body.rest[0].security.description), 'no word of tokens');
    expectStatus(await outside.send('HEAD', '/metadata'), 200, 'HEAD');
}

/* ---- starting ------------------------------------------------------------- */

function attempt({ binary, tmp }, settings) {
    const all = { 'store.path': join(tmp, 'never.db'), 'http.port': 0,
        'mllp.enabled': false, 'mllp.port': 0,
        ...settings };
    return spawnSync(binary, ['serve', '--config', 'config/demo.ini',
        ...Object.entries(all).flatMap(([k, v]) => ['--set', `${k}=${v}`])],
    { cwd: ROOT, encoding: 'utf8', timeout: 20000 });
}

function refusedStarts(bench) {
    const bad = join(bench.tmp, 'bad-tokens');
    writeFileSync(bad, `unit-a ${digest(TOKEN)}\nunit-b ${MARK}\n`);
    for (const [settings, words] of [
        [{ 'http.address': '0.0.0.0' }, /anonymous.*loopback/],
        [{ 'http.address': '::' }, /anonymous.*loopback/],
        [{ 'http.address': '192.0.2.1' }, /anonymous.*loopback/],
        [{ 'http.anonymous': false }, /tokens/],
        [{ 'http.anonymous': false, 'http.tokens': `${bad}-none` },
            /cannot be read/],
        [{ 'http.anonymous': false, 'http.tokens': bad }, /:2: .*SHA-256/],
        [{ 'http.address': 'localhost' }, /address|loopback/],
        [{ 'http.port': 70000 }, /port/],
        [{ 'http.prot': 1 }, /no such setting/]]) {
        const { status, stdout, stderr } = attempt(bench, settings);
        const what = JSON.stringify(settings);
        expect(status === 1 || status === 2, `${what}: exit status ${status}`);
        expectSame(stdout, '', what);
        expect(words.test(stderr), `${what}: ${stderr}`);
        expect(!stderr.includes(MARK), `${what}: ${stderr}`);
    }
}

/* ---- the Unix socket ------------------------------------------------------ */

async function socket({ guarded, service }) {
    for (const { socket: path } of [guarded, service]) {
        const { mode } = statSync(path);
        expect((mode & 0o170000) === 0o140000, `${path} is no socket`);
        expectSame((mode & 0o777).toString(8), '600', 'mode');
        const client = new Client('http://localhost/fhir',
            { socketPath: path });
        expectStatus(await client.get('/Task'), 200, 'Task');
        expectStatus(await client.ops('/readyz'), 200, 'readyz');
        expectStatus(await client.ops('/queue'), 200, 'queue');
    }
}

/* One process has the store; a second one says so and leaves. */
function secondService({ binary, service }) {
    const { status, stderr } = spawnSync(binary, service.args, { cwd: ROOT,
        encoding: 'utf8', timeout: 20000 });
    expectSame(status, 1, 'exit status');
    expect(/another process|cannot be listened/.test(stderr), stderr);
    expectSame((statSync(service.socket).mode & 0o777).toString(8), '600',
        'the socket of the first');
}

/* ---- the log -------------------------------------------------------------- */

/* Where a log could be tempted most. */
async function tempting({ client, outside, service }) {
    const port = Number(new URL(service.url).port);
    const wild = `GET /fhir/${MARK}?${MARK}=${MARK} HTTP/1.1\r\n`
        + `Host: ${MARK}\r\nUser-Agent: ${MARK}\r\n${MARK}: ${MARK}\r\n`
        + `Referer: https://${MARK}.example\r\nCookie: ${MARK}\r\n`;
    const [answer] = parseAnswers(await rawExchange(port,
        [`${wild}Connection: close\r\n\r\n`], { end: false }));
    judge(answer, { method: 'GET', what: 'wild' });
    expectRefused(answer, 404, 'not-found');
    await rawExchange(port, [`${MARK} / HTTP/1.1\r\n${MARK}\r\n\r\n`]);
    await rawExchange(port, [`GET /${MARK} HTTP/9.9\r\n\r\n`]);
    await rawExchange(port, [wild.replace('GET', MARK), '\r\n']);
    await rawExchange(port, [wild, `Content-Length: ${MARK}\r\n\r\n`]);
    await outside.get('/Task', { Authorization: `Bearer ${TOKEN}` });
    expectStatus(await client.ops('/readyz'), 200, 'readyz');
}

function linesOf(service) {
    return readFileSync(service.log, 'utf8').split('\n').filter(Boolean);
}

/* After the end, so that nothing is still to be written. */
async function discreetLog(bench) {
    for (const service of [bench.service, bench.guarded]) {
        expectSame(await stopChild(service.child), 0, 'exit status');
        const lines = linesOf(service);
        expect(lines.length > 1, `${lines.length} lines in ${service.log}`);
        for (const line of lines) {
            expect(!line.toLowerCase().includes(MARK.toLowerCase()),
                `the log tells: ${line}`);
            expect(LOG_LINE.test(line), `not a line of the log: ${line}`);
        }
        console.log(`  ${lines.length} lines of log`);
    }
}

/* Nobody else may read what patients said. */
function privateFiles({ tmp }) {
    for (const name of ['open/hg.db', 'guarded/hg.db']) {
        const { mode } = statSync(join(tmp, name));
        expectSame((mode & 0o077).toString(8), '0', `${name}: mode`);
    }
}

export const doorCases = [
    ['a service that asks for tokens', startGuarded],
    ['no token or a wrong one', withoutToken],
    ['a right token', withToken],
    ['what is open to all', openDoors],
    ['starts that are refused', refusedStarts],
    ['the socket beside the store', socket],
    ['a second service on one store', secondService],
    ['the store is private', privateFiles],
    ['requests that tempt the log', tempting],
];
export const lastCases = [
    ['the log tells nothing of anybody', discreetLog],
];
