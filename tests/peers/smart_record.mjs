/*
 * headgate as a backend service of a record that demands tokens, with
 * oidc-provider as the authorisation server: what it asks, what it does with
 * the token, and that nothing goes where it must not.
 */

import { spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import * as jose from 'jose';
import { Person } from './delivery_cases.mjs';
import { Service, expect, http, stopChild } from './delivery_kit.mjs';
import { makeKey } from './smart_jose.mjs';
import { Guard } from './smart_server.mjs';
import { freePort, untilSeen } from './suite.mjs';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const ARRIVE_MS = 8000;
const SCOPES = ['system/Task.crus', 'system/Patient.rs',
    'system/BodyStructure.rs', 'system/Observation.rs'];
const TYPE = 'urn:ietf:params:oauth:client-assertion-type:jwt-bearer';

const until = (isSo, text, ms = ARRIVE_MS) =>
    untilSeen(isSo, Boolean, text, ms);

export const clientOf = (...keys) => ({ client_id: 'headgate',
    redirect_uris: [], response_types: [],
    grant_types: ['client_credentials'],
    token_endpoint_auth_method: 'private_key_jwt',
    ...(typeof keys[0] === 'string' ? { jwks_uri: keys[0] }
        : { jwks: { keys: keys.map((key) => ({ ...key.jwk, kid: key.kid,
            alg: key.alg, use: 'sig' })) } }) });

/* A record that demands tokens, and a headgate that delivers to it. */
class World {
    static async start(bench, tag, { key = bench.keys.ES384, settings = {},
        client = clientOf(key), prepare = () => {} } = {}) {
        const world = new World();
        const folder = join(bench.tmp, tag);
        mkdirSync(folder);
        world.guard = await Guard.start(SCOPES, () => [client]);
        world.service = new Service(bench.binary, folder, world.guard.url);
        world.plain = world.service.args;
        world.set({ 'record.smart_client_id': 'headgate',
            'record.smart_key': key.file,
            'record.smart_scopes': SCOPES.join(' '), ...settings });
        await prepare(world);
        await world.service.start();
        return world;
    }

    set(settings) {
        this.service.args = [...this.service.args, ...Object.entries(settings)
            .flatMap(([k, v]) => ['--set', `${k}=${v}`])];
    }

    async stop() {
        const how = await stopChild(this.service.child);
        await this.guard.stop();
        expect(how === 0, `headgate ended with ${how}`);
        this.checkLog();
    }

    /* No token and no statement in the log, and none of them lost in a URL. */
    checkLog() {
        const log = this.log();
        const secrets = [...this.guard.asked.map((a) =>
            a.form.client_assertion), ...this.guard.requests.map((r) =>
            r.token)].filter(Boolean);
        for (const secret of secrets)
            for (const part of [secret, secret.split('.')[2]])
                expect(!log.includes(part), 'the log has a token in it');
        for (const { path } of this.guard.requests)
            expect(!/token/i.test(path), `a token in ${path}`);
    }

    log() {
        return readFileSync(this.service.log, 'utf8');
    }

    /* Something that the record is to be told of. */
    async happens(tag) {
        await new Person(this.service, tag).bothReadings();
    }

    async arrive(count) {
        await until(async () => await this.guard.count('Task') >= count,
            `${count} Tasks at the record`);
    }

    async says(pattern, text) {
        await until(() => pattern.test(this.log()), text ?? `${pattern}`);
    }

    async metrics() {
        const { text } = await http('GET', `${this.service.url
            .replace(/\/fhir$/, '')}/metrics`);
        return text;
    }
}

/* A server that must get nothing. */
class Trap {
    static async start(onRequest) {
        const trap = new Trap();
        trap.requests = [];
        trap.server = createServer((req, res) => {
            trap.requests.push(`${req.method} ${req.url}`);
            if (onRequest !== undefined)
                return onRequest(req, res);
            res.writeHead(200, { 'Content-Type': 'application/json' });
            return res.end('{"access_token":"t","token_type":"bearer"}');
        });
        await new Promise((go) => trap.server.listen(0, '127.0.0.1', go));
        trap.origin = `http://127.0.0.1:${trap.server.address().port}`;
        return trap;
    }

    stop() {
        return new Promise((resolve) => {
            this.server.close(resolve);
            this.server.closeAllConnections();
        });
    }
}

/* ---- what is asked ---------------------------------------------------------- */

async function checkStatement({ form, headers }, key, guard) {
    expect(/^application\/x-www-form-urlencoded\b/.test(headers['content-type'])
        && headers.authorization === undefined, JSON.stringify(headers));
    expect(form.grant_type === 'client_credentials'
        && form.client_assertion_type === TYPE
        && form.scope === SCOPES.join(' ') && Object.keys(form).length === 4,
    Object.keys(form).join());
    const { payload, protectedHeader } = await jose.jwtVerify(
        form.client_assertion, key.publicKey, { algorithms: [key.alg],
            issuer: 'headgate', subject: 'headgate',
            audience: `${guard.origin}/token` });
    expect(protectedHeader.typ === 'JWT' && protectedHeader.kid === key.kid,
        JSON.stringify(protectedHeader));
    expect(payload.exp - payload.iat <= 300 && payload.exp > payload.iat
        && Math.abs(payload.iat - Date.now() / 1000) < 60
        && payload.nbf === undefined && payload.jti.length >= 16,
    JSON.stringify(payload));
    return payload.jti;
}

async function once(bench, alg) {
    const key = bench.keys[alg];
    const world = await World.start(bench, `once-${alg}`, { key });
    const { guard } = world;
    await world.happens('once');
    await world.arrive(1);
    expect(guard.asked.length === 1, `${guard.asked.length} tokens`);
    await checkStatement(guard.asked[0], key, guard);
    for (const { method, path, token, status } of guard.requests)
        expect(token !== undefined && status !== 401,
            `${method} ${path}: ${status}`);
    expect(/^headgate_record_token 1$/m.test(await world.metrics())
        && /^headgate_record_scope_missing 0$/m.test(await world.metrics()),
    'the metrics do not say so');
    /* and the same statement again, by somebody who has seen it */
    const again = await fetch(`${guard.origin}/token`, { method: 'POST',
        body: new URLSearchParams(guard.asked[0].form) });
    expect(again.status === 401
        && (await again.json()).error === 'invalid_client',
    `a statement that comes again: ${again.status}`);
    await world.stop();
}

async function manyAtOnce(bench) {
    const world = await World.start(bench, 'many');
    await Promise.all(Array.from({ length: 8 }, (_, i) =>
        world.happens(`m${i}`)));
    await world.arrive(8);
    expect(world.guard.asked.length === 1, `${world.guard.asked.length} tokens`);
    await world.stop();
}

/* ---- its life ---------------------------------------------------------------- */

async function refusedOnce(bench) {
    const world = await World.start(bench, 'refused');
    const { guard } = world;
    await world.happens('before');
    await world.arrive(1);
    guard.dead.add(guard.requests.at(-1).token);
    const from = guard.requests.length;
    await Promise.all(Array.from({ length: 6 }, (_, i) =>
        world.happens(`after${i}`)));
    await world.arrive(7);
    expect(guard.asked.length === 2, `${guard.asked.length} tokens`);
    const ids = await Promise.all(guard.asked.map((one) =>
        checkStatement(one, bench.keys.ES384, guard)));
    expect(ids[0] !== ids[1], 'one jti for two statements');
    const refused = guard.requests.slice(from).filter((r) =>
        r.status === 401);
    expect(refused.length >= 1 && refused.every((r) =>
        guard.dead.has(r.token)), `${refused.length} answers of 401`);
    await world.says(/event=smart\.refused count=1\n/);
    await world.stop();
}

async function beforeItsEnd(bench) {
    const world = await World.start(bench, 'life',
        { prepare: ({ guard }) => { guard.life_s = 5; } });
    const { guard } = world;
    await world.happens('young');
    await world.arrive(1);
    await sleep(Math.max(0, guard.asked[0].atMs + 4100 - Date.now()));
    await world.happens('old'); /* 80 % are over, and it still lives */
    await world.arrive(2);
    expect(guard.asked.length === 2, `${guard.asked.length} tokens`);
    expect(guard.requests.every((r) => r.status !== 401), '401 at the record');
    await world.stop();
}

async function lessThanAsked(bench) {
    const world = await World.start(bench, 'less', { prepare: ({ guard }) => {
        guard.granted = ['system/Task.rs', 'system/Observation.rs'];
    } });
    await world.happens('less');
    await world.says(/event=smart\.scope granted="less than asked for"\n/);
    await until(async () => /^headgate_record_scope_missing 1$/m.test(
        await world.metrics()), 'the metrics do not say so');
    await world.stop();
}

/* ---- where it may not go ------------------------------------------------------ */

async function foreignHost(bench) {
    const trap = await Trap.start();
    const world = await World.start(bench, 'foreign', { prepare: ({ guard }) => {
        guard.configuration.token_endpoint = `${trap.origin}/token`;
    } });
    await world.happens('foreign');
    await world.says(/event=smart\.failed why=foreign-host wait_ms=300000\n/);
    await sleep(800);
    expect(trap.requests.length === 0, `it got ${trap.requests}`);
    expect(world.guard.requests.every((r) => r.token === undefined)
        && await world.guard.count('Task') === 0, 'something was sent');
    await trap.stop();
    await world.stop();
}

async function foreignHostByName(bench) {
    let guard;
    const elsewhere = await Trap.start((req, res) => guard.onToken(req, res));
    const world = await World.start(bench, 'named', {
        settings: { 'record.smart_token_url': `${elsewhere.origin}/token` },
        prepare: (w) => { guard = w.guard; guard.configurationStatus = 404; } });
    await world.happens('named');
    await world.arrive(1);
    expect(elsewhere.requests.join() === 'POST /token', `${
        elsewhere.requests}`);
    await elsewhere.stop();
    await world.stop();
}

async function redirects(bench) {
    const trap = await Trap.start();
    for (const [tag, prepare] of [
        ['token', (guard) => guard.faults.push({ status: 307,
            headers: { Location: `${trap.origin}/token` } })],
        ['discovery', (guard) => { guard.configurationStatus = 302; }]]) {
        const world = await World.start(bench, `redirect-${tag}`,
            { prepare: ({ guard }) => prepare(guard) });
        await world.happens(tag);
        await world.says(/event=smart\.failed why=redirect wait_ms=300000\n/);
        await sleep(300);
        expect(trap.requests.length === 0, `it got ${trap.requests}`);
        expect(await world.guard.count('Task') === 0, 'a Task went out');
        await world.stop();
    }
    await trap.stop();
}

/* ---- answers ------------------------------------------------------------------ */

async function notKnown(bench) {
    const stranger = await makeKey('ES384', bench.tmp, 'stranger');
    const world = await World.start(bench, 'stranger', { key: stranger,
        client: clientOf(bench.keys.ES384) });
    await world.happens('stranger');
    await world.says(
        /event=smart\.failed why=invalid_client wait_ms=300000\n/);
    await sleep(1500); /* longer than outbox.retry_last, three times over */
    expect(world.guard.asked.length === 1, `asked ${world.guard.asked.length
    } times`);
    await world.stop();
}

/* The people of the server have mended it, and somebody says so here. */
async function mended(bench) {
    const world = await World.start(bench, 'mended', { prepare: ({ guard }) =>
        guard.faults.push({ status: 400,
            body: { error: 'unauthorized_client' } }) });
    await world.happens('mended');
    await world.says(
        /event=smart\.failed why=unauthorized_client wait_ms=300000\n/);
    await sleep(1500); /* longer than outbox.retry_last, three times over */
    expect(world.guard.asked.length === 1 && await world.guard.count('Task')
        === 0, `asked ${world.guard.asked.length} times`);
    const { status, out } = await world.service.command('outbox', 'retry',
        'now');
    expect(status === 0 && /Waiting for it: 1\.\n/.test(out), out);
    await world.arrive(1);
    expect(world.guard.asked.length === 2, `${world.guard.asked.length}`);
    await world.stop();
}

async function notNow(bench) {
    const html = { status: 200, body: 'log in' };
    const world = await World.start(bench, 'later', { prepare: ({ guard }) =>
        guard.faults.push({ status: 503 }, html, { status: 400, body:
            { error: 'temporarily_unavailable' } }) });
    await world.happens('later');
    await world.arrive(1);
    expect(world.guard.asked.length === 4, `${world.guard.asked.length}`);
    const ids = world.guard.asked.map((one) =>
        jose.decodeJwt(one.form.client_assertion).jti);
    expect(new Set(ids).size === 4, 'a jti was used again');
    await world.stop();
}

/* ---- keys ---------------------------------------------------------------------- */

/* The next key is published before it signs, so that nothing stands still. */
async function rotation(bench) {
    const port = await freePort();
    const uri = `http://127.0.0.1:${port}/.well-known/jwks.json`;
    const [first, second] = [bench.keys.RS384, bench.keys.ES384];
    const world = await World.start(bench, 'rotation', { key: first,
        client: clientOf(uri), settings: { 'http.port': port,
            'record.smart_key_next': second.file } });
    const { guard, service } = world;
    await world.happens('first');
    await world.arrive(1);
    expect(guard.fetched.join() === uri, `it read ${guard.fetched}`);
    const { headers, body } = await http('GET', uri);
    expect(headers['content-type'] === 'application/jwk-set+json'
        && /max-age=\d+/.test(headers['cache-control']), 'headers');
    expect(body.keys.map((k) => k.kid).join() === `${first.kid},${second.kid}`
        && body.keys.every((k) => k.d === undefined), JSON.stringify(body));
    await stopChild(service.child);
    service.args = [...world.plain]; /* the last of two settings counts */
    world.set({ 'record.smart_client_id': 'headgate', 'http.port': port,
        'record.smart_key': second.file,
        'record.smart_scopes': SCOPES.join(' ') });
    await service.start();
    await world.happens('second');
    await world.arrive(2);
    expect(guard.asked.length === 2, `${guard.asked.length} tokens`);
    for (const [i, key] of [first, second].entries())
        await checkStatement(guard.asked[i], key, guard);
    await world.stop();
}

/* ---- settings -------------------------------------------------------------------- */

function attempt(bench, settings) {
    const all = { 'store.path': join(bench.tmp, 'never.db'), 'http.port': 0,
        'mllp.enabled': false, 'mllp.port': 0,
        'record.url': 'https://record.example/fhir',
        'record.smart_client_id': 'headgate',
        'record.smart_key': bench.keys.RS384.file,
        'record.smart_scopes': SCOPES.join(' '), ...settings };
    return spawnSync(bench.binary, ['serve', '--config', 'config/demo.ini',
        ...Object.entries(all).flatMap(([k, v]) => ['--set', `${k}=${v}`])],
    { cwd: ROOT, encoding: 'utf8', timeout: 8000 });
}

async function refusedStarts(bench) {
    const p256 = await makeKey('ES256', bench.tmp, 'p256');
    const token = join(bench.tmp, 'token');
    const nonsense = join(bench.tmp, 'nonsense.pem');
    writeFileSync(token, 'abc\n');
    writeFileSync(nonsense, 'no key\n');
    for (const [settings, words] of [
        [{ 'record.token_file': token }, /token_file and smart_client_id/],
        [{ 'record.smart_key': '' }, /smart_client_id and smart_key/],
        [{ 'record.smart_client_id': '' }, /smart_client_id and smart_key/],
        [{ 'record.url': '' }, /no record\.url/],
        [{ 'record.smart_scopes': '' }, /smart_scopes: name/],
        [{ 'record.smart_scopes': 'user/Task.rs' }, /user\/Task\.rs/],
        [{ 'record.smart_key': p256.file }, /p256\.pem: .*P-384/],
        [{ 'record.smart_key': nonsense }, /nonsense\.pem: .*private key/],
        [{ 'record.smart_key': `${nonsense}-none` }, /nonsense\.pem-none/],
        [{ 'record.smart_key_next': bench.keys.RS384.file }, /same key/],
        [{ 'record.url': 'http://record.example/fhir' }, /url: plain http/],
        [{ 'record.url': 'http://localhost/fhir' }, /url: plain http/],
        [{ 'record.smart_token_url': 'http://as.example/token' },
            /smart_token_url: plain http/],
        [{ 'http.jwt_keys': token }, /jwt_issuer and jwt_audience/]]) {
        const { status, stdout, stderr } = attempt(bench, settings);
        const what = JSON.stringify(settings);
        expect(status === 1 || status === 2, `${what}: exit status ${status}`);
        expect(stdout === '', `${what}: ${stdout}`);
        expect(words.test(stderr), `${what}: ${stderr}`);
    }
}

/* `headgate check` shows what the record's people need. */
function checked(bench) {
    const args = ['check', '--config', 'config/demo.ini', '--set',
        `store.path=${join(bench.tmp, 'checked.db')}`, '--set',
        'record.url=http://127.0.0.1:9/fhir', '--set',
        'record.smart_client_id=headgate', '--set',
        `record.smart_key=${bench.keys.RS384.file}`, '--set',
        `record.smart_scopes=${SCOPES.join(' ')}`];
    const { stdout } = spawnSync(bench.binary, args,
        { cwd: ROOT, encoding: 'utf8', timeout: 20000 });
    const set = /^key set\s+(\{.*\})$/m.exec(stdout);
    expect(set !== null, stdout);
    expect(JSON.parse(set[1]).keys[0].kid === bench.keys.RS384.kid, set[1]);
}

export const cases = [
    ['a token by RS384 for the first Task', (bench) => once(bench, 'RS384')],
    ['a token by ES384 for the first Task', (bench) => once(bench, 'ES384')],
    ['many deliveries, one token', manyAtOnce],
    ['a token that is refused is fetched again, once', refusedOnce],
    ['a token is renewed before its end', beforeItsEnd],
    ['a scope that is smaller is said', lessThanAsked],
    ['a token address on another host gets nothing', foreignHost],
    ['but for one that the settings name', foreignHostByName],
    ['redirects are not followed', redirects],
    ['a server that does not know us is left alone', notKnown],
    ['a person who has had it mended says so', mended],
    ['a server that cannot now is asked again', notNow],
    ['keys change without a gap', rotation],
    ['settings that cannot be are refused', refusedStarts],
    ['the check shows the key set', checked],
];
