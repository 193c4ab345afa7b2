/*
 * Who comes in to a running headgate with a signed token, and what for:
 * forgeries of every kind, tokens of oidc-provider, scopes request by request.
 */

import { createHash, createHmac, createPrivateKey, sign } from 'node:crypto';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import * as jose from 'jose';
import { expect, http, stopChild } from './delivery_kit.mjs';
import { Endpoint } from './endpoint_kit.mjs';
import { Guard } from './smart_server.mjs';
import { makeKey } from './smart_jose.mjs';

const ISSUER = 'https://issuer.example';
const AUDIENCE = 'https://headgate.example';
const OBS = 'https://headgate.example/fhir/CodeSystem/av-observation';
const now_s = () => Math.floor(Date.now() / 1000);
const b64 = (value) => Buffer.from(typeof value === 'string' ? value
    : JSON.stringify(value)).toString('base64url');

const claimsOf = (scope, more = {}) => ({ iss: ISSUER, aud: AUDIENCE,
    exp: now_s() + 300, sub: 'unit-a', scope, ...more });

function tokenOf(key, claims, header = {}) {
    return new jose.CompactSign(Buffer.from(JSON.stringify(claims)))
        .setProtectedHeader({ alg: key.alg, kid: key.kid, ...header })
        .sign(key.privateKey);
}

const ask = (bench, method, path, body, token) => http(method,
    `${bench.door.url.replace(/\/fhir$/, '')}${path}`, body,
    token === undefined ? {} : { Authorization: `Bearer ${token}` });

export async function open(bench) {
    const folder = join(bench.tmp, 'doors');
    const digest = (text) => createHash('sha256').update(text).digest('hex');
    mkdirSync(folder);
    bench.other = await makeKey('ES384', folder, 'other');
    bench.p256 = await makeKey('ES256', folder, 'p256');
    const set = { keys: Object.values(bench.keys).map((key) =>
        ({ ...key.jwk, kid: key.kid, use: 'sig', alg: key.alg })) };
    bench.keysFile = join(folder, 'jwks.json');
    bench.set = set;
    writeFileSync(bench.keysFile, JSON.stringify(set));
    writeFileSync(join(folder, 'tokens'), [
        `all ${digest('t-all')}`,
        `sender ${digest('t-sender')} system/Observation.c system/Patient.c`,
        `monitor ${digest('t-monitor')} headgate/metrics.r`,
        `desk ${digest('t-desk')} system/Task.read system/Task.u`,
    ].join('\n'));
    bench.door = new Endpoint(bench.binary, folder, { 'log.level': 'debug',
        'http.anonymous': false, 'http.tokens': join(folder, 'tokens'),
        'http.jwt_keys': bench.keysFile, 'http.jwt_issuer': ISSUER,
        'http.jwt_audience': AUDIENCE });
    await bench.door.start();
    bench.used = [];
}

export async function close(bench) {
    const how = await stopChild(bench.door.child);
    expect(how === 0, `headgate ended with ${how}`);
}

/* ---- forgeries ------------------------------------------------------------ */

const der = (key, input) => sign('sha384', Buffer.from(input),
    createPrivateKey(key.pem)).toString('base64url');

function byHand(header, claims, signature) {
    const input = `${b64(header)}.${b64(claims)}`;
    return `${input}.${signature(input)}`;
}

async function forged({ keys: { RS384: rsa, ES384: ec }, other, p256 }) {
    const good = claimsOf('system/*.cruds');
    const publicPem = await jose.exportSPKI(rsa.publicKey);
    const hmac = (secret) => (input) => createHmac('sha384', secret)
        .update(input).digest('base64url');
    const head = (alg, kid) => ({ alg, kid });
    const token = await tokenOf(ec, good);
    const [h, p, s] = token.split('.');
    const twice = `{"alg":"none","alg":"ES384","kid":"${ec.kid}"}`;
    const raw = (key) => (input) => sign('sha384', Buffer.from(input),
        { key: createPrivateKey(key.pem), dsaEncoding: 'ieee-p1363' })
        .toString('base64url');
    return {
        'alg none, no signature': byHand(head('none', ec.kid), good, () => ''),
        'alg none, a signature': byHand(head('none', ec.kid), good, raw(ec)),
        'alg NONE': byHand(head('NONE', ec.kid), good, raw(ec)),
        'the public key as a secret (PEM)': byHand(head('HS384', rsa.kid),
            good, hmac(publicPem)),
        'the public key as a secret (n)': byHand(head('HS384', rsa.kid), good,
            hmac(Buffer.from(rsa.jwk.n, 'base64url'))),
        'HS256': byHand(head('HS256', rsa.kid), good, hmac(publicPem)),
        'the kid of the other key': await tokenOf(ec, good,
            { kid: rsa.kid }),
        'the alg of the other key': byHand(head('RS384', ec.kid), good,
            raw(ec)),
        'another key under our kid': await tokenOf(other, good,
            { kid: ec.kid }),
        'another key under its own kid': await tokenOf(other, good),
        'another curve': await tokenOf(p256, good, { kid: ec.kid }),
        'another curve by another name': byHand(head('ES384', ec.kid), good,
            raw(p256)),
        'its own key in the header': byHand({ ...head('ES384', 'x'),
            jwk: other.jwk }, good, raw(other)),
        'DER instead of r and s': byHand(head('ES384', ec.kid), good,
            (input) => der(ec, input)),
        'r and s of zero': byHand(head('ES384', ec.kid), good,
            () => Buffer.alloc(96).toString('base64url')),
        'cut': token.slice(0, -1),
        'cut by a group': token.slice(0, -4),
        'no signature': `${h}.${p}.`,
        'two parts': `${h}.${p}`,
        'four parts': `${token}.${s}`,
        'padding': `${token}=`,
        'the alphabet of plain base64': `${h}.${p}.${s.replace(/[-_]/g,
            (c) => c === '-' ? '+' : '/')}${/[-_]/.test(s) ? '' : '+'}`,
        'another payload': `${h}.${b64({ ...good, sub: 'x' })}.${s}`,
        'another header': `${b64(`{"alg":"ES384","kid":"${ec.kid}" }`)
        }.${p}.${s}`,
        'alg twice': byHand(twice, good, raw(ec)),
        'iss twice': byHand(head('ES384', ec.kid), JSON.stringify(good)
            .replace('{', `{"iss":"${ISSUER}",`), raw(ec)),
        'crit': byHand({ ...head('ES384', ec.kid), crit: ['exp'],
            exp: good.exp }, good, raw(ec)),
        'no alg': byHand({ kid: ec.kid }, good, raw(ec)),
        'a token for something else': await tokenOf(ec, good,
            { typ: 'logout+jwt' }),
        'no JSON': byHand('alg', good, raw(ec)),
        'too long': await tokenOf(ec, { ...good, x: 'x'.repeat(14000) }),
        'expired': await tokenOf(ec, { ...good, exp: now_s() - 61 }),
        'not yet': await tokenOf(ec, { ...good, nbf: now_s() + 120 }),
        'no exp': await tokenOf(ec, { ...good, exp: undefined }),
        'exp as text': await tokenOf(ec, { ...good, exp: `${good.exp}` }),
        'another issuer': await tokenOf(ec, { ...good, iss: `${ISSUER}/` }),
        'no issuer': await tokenOf(ec, { ...good, iss: undefined }),
        'another audience': await tokenOf(ec, { ...good, aud: 'x' }),
        'other audiences': await tokenOf(ec, { ...good, aud: ['x', 'y'] }),
        'no audience': await tokenOf(ec, { ...good, aud: undefined }),
        'of nobody': await tokenOf(ec, { ...good, sub: undefined }),
        'nothing': '..', 'dots': '.', 'no token': 'x.y.z',
    };
}

async function forgeries(bench) {
    const all = await forged(bench);
    for (const [name, token] of Object.entries(all)) {
        const answer = await ask(bench, 'GET', '/fhir/Task', undefined, token);
        /* a header of that length is refused before anyone looks at it */
        if (name === 'too long' && answer.status === 431)
            continue;
        expect(answer.status === 401, `${name}: ${answer.status}`);
        expect(answer.headers['www-authenticate']
            === 'Bearer realm="headgate", error="invalid_token"',
        `${name}: ${answer.headers['www-authenticate']}`);
        expect(answer.body.issue[0].code === 'login'
            && (token.length < 8 || !answer.text.includes(token)),
        `${name}: ${answer.text}`);
        bench.used.push(token);
    }
    const none = await ask(bench, 'GET', '/fhir/Task');
    expect(none.status === 401 && none.headers['www-authenticate']
        === 'Bearer realm="headgate"', 'without a token');
    /* and they were refused for what is wrong with them alone */
    for (const key of Object.values(bench.keys))
        for (const more of [{}, { aud: ['x', AUDIENCE] }, { nbf: now_s() + 30 },
            { exp: now_s() - 30 }, { scp: ['system/*.cruds'],
                scope: undefined }]) {
            const token = await tokenOf(key, claimsOf('system/*.cruds', more));
            const { status } = await ask(bench, 'GET', '/fhir/Task', undefined,
                token);
            expect(status === 200, `${JSON.stringify(more)}: ${status}`);
        }
}

async function expiredIsSaid(bench) {
    const token = await tokenOf(bench.keys.ES384,
        claimsOf('system/*.cruds', { exp: now_s() - 100 }));
    const { text } = await ask(bench, 'GET', '/fhir/Task', undefined, token);
    expect(text.includes('The token has expired'), text);
}

/* ---- scopes ---------------------------------------------------------------- */

const observation = (id) => ({ resourceType: 'Observation', status: 'final',
    identifier: [{ system: 'urn:example:o', value: id }],
    code: { coding: [{ system: OBS, code: 'access-flow' }] },
    subject: { reference: 'Patient/doors' },
    effectiveDateTime: '2026-05-01T10:00:00Z',
    valueQuantity: { value: 700, code: 'mL/min',
        system: 'http://unitsofmeasure.org' } });
const patient = { resourceType: 'Patient', id: 'doors' };
const bundle = (type, ...resources) => ({ resourceType: 'Bundle', type,
    entry: resources.map((resource) => ({ resource,
        request: { method: 'POST', url: resource.resourceType } })) });

const REQUESTS = [
    ['GET', '/fhir/Task', undefined, 'system/Task.s'],
    ['POST', '/fhir/Task/_search', undefined, 'system/Task.s'],
    ['GET', '/fhir/Task/x', undefined, 'system/Task.r'],
    ['GET', '/fhir/Task/x/_history', undefined, 'system/Task.r'],
    ['GET', '/fhir/Task/x/_history/1', undefined, 'system/Task.r'],
    ['GET', '/fhir/Observation/x', undefined, 'system/Observation.r'],
    ['PUT', '/fhir/Task/x', { resourceType: 'Task', id: 'x' },
        'system/Task.u'],
    ['PUT', '/fhir/Patient/doors', patient, 'system/Patient.u'],
    ['POST', '/fhir/Observation', observation('r'), 'system/Observation.c'],
    ['GET', '/queue', undefined, 'system/Task.rs'],
    ['GET', '/held', undefined, 'system/Task.rs'],
    ['GET', '/decisions', undefined, 'system/Task.rs'],
    ['GET', '/review?access=x', undefined, 'system/Task.rs'],
    ['GET', '/plan?access=x', undefined, 'system/Task.rs'],
    ['GET', '/technique', undefined, 'system/Task.rs'],
    ['GET', '/metrics', undefined, 'headgate/metrics.r'],
    ['POST', '/technique', undefined, 'headgate/technique.u'],
    ['GET', '/fhir/Task?_include=Task:patient', undefined,
        'system/Patient.r', 'system/Task.s'],
    ['GET', '/fhir/Task?_revinclude=Provenance:target', undefined,
        'system/Provenance.r', 'system/Task.s'],
];

/* With just the right: it comes in.  With all others: 403, and which. */
async function eachRequest(bench) {
    const key = bench.keys.ES384;
    const all = ['c', 'r', 'u', 'd', 's'].flatMap((permit) =>
        ['Task', 'Observation', 'Patient', 'BodyStructure', 'Provenance']
            .map((type) => `system/${type}.${permit}`))
        .concat('headgate/metrics.r', 'headgate/technique.u');
    for (const [method, path, body, need, more = ''] of REQUESTS) {
        const parts = /s$/.test(need) && need.endsWith('.rs')
            ? ['system/Task.r', 'system/Task.s'] : [need];
        const lacking = all.filter((scope) => !parts.includes(scope));
        const yes = await ask(bench, method, path, body,
            await tokenOf(key, claimsOf(`${need} ${more}`)));
        expect(![401, 403].includes(yes.status),
            `${method} ${path} with ${need}: ${yes.status} ${yes.text}`);
        const no = await ask(bench, method, path, body,
            await tokenOf(key, claimsOf(lacking.join(' '))));
        expect(no.status === 403, `${method} ${path} without: ${no.status}`);
        expect(no.headers['www-authenticate'] === 'Bearer realm="headgate", '
            + `error="insufficient_scope", scope="${need}"`,
        `${path}: ${no.headers['www-authenticate']}`);
        expect(no.body.issue[0].code === 'forbidden' && no.text.includes(need),
            `${path}: ${no.text}`);
    }
}

async function spellings(bench) {
    const key = bench.keys.RS384;
    for (const [scope, status] of [['system/Task.read', 200],
        ['system/*.read', 200], ['system/*.*', 200], ['system/Task.cruds', 200],
        ['system/Task.s', 200], ['system/Task.write', 403], ['', 403],
        ['user/Task.rs', 403], ['patient/*.rs', 403], ['openid', 403],
        ['system/Task.s?status=requested', 403], ['system/Task.sr', 403]]) {
        const answer = await ask(bench, 'GET', '/fhir/Task', undefined,
            await tokenOf(key, claimsOf(scope)));
        expect(answer.status === status, `${scope}: ${answer.status}`);
    }
    const none = await ask(bench, 'GET', '/fhir/Task', undefined,
        await tokenOf(key, claimsOf(undefined)));
    expect(none.status === 403, `no scope: ${none.status}`);
}

async function bundles(bench) {
    const token = await tokenOf(bench.keys.ES384,
        claimsOf('system/Observation.c'));
    const exists = async (resource) => {
        const again = await ask(bench, 'POST', '/fhir/Observation', resource,
            't-all');
        return again.status === 200; /* 201: it was not there */
    };
    const whole = bundle('transaction', observation('t1'), patient,
        observation('t2'));
    const no = await ask(bench, 'POST', '/fhir', whole, token);
    expect(no.status === 403, `transaction: ${no.status} ${no.text}`);
    expect(/Bundle\.entry\[1\]/.test(no.text)
        && no.text.includes('system/Patient.c'), no.text);
    expect(/insufficient_scope/.test(no.headers['www-authenticate']), 'header');
    expect(!await exists(observation('t1')), 'a part of it was stored');
    const parts = await ask(bench, 'POST', '/fhir', bundle('batch',
        observation('b1'), patient, observation('b2')), token);
    expect(parts.status === 200, `batch: ${parts.status} ${parts.text}`);
    const got = parts.body.entry.map((e) => e.response.status.slice(0, 3));
    expect(got.join() === '201,403,201', `batch: ${got}`);
    expect(await exists(observation('b2')), 'b2 is not there');
    const yes = await ask(bench, 'POST', '/fhir', bundle('transaction',
        observation('t3'), patient), await tokenOf(bench.keys.ES384,
        claimsOf('system/Observation.c system/Patient.c')));
    expect(yes.status === 200, `allowed: ${yes.status} ${yes.text}`);
}

async function tokensOfTheFile(bench) {
    for (const [token, method, path, body, status] of [
        ['t-all', 'GET', '/fhir/Task', undefined, 200],
        ['t-all', 'GET', '/metrics', undefined, 200],
        ['t-sender', 'POST', '/fhir/Observation', observation('f'), 201],
        ['t-sender', 'GET', '/fhir/Task', undefined, 403],
        ['t-sender', 'GET', '/metrics', undefined, 403],
        ['t-monitor', 'GET', '/metrics', undefined, 200],
        ['t-monitor', 'GET', '/queue', undefined, 403],
        ['t-desk', 'GET', '/queue', undefined, 200],
        ['t-desk', 'PUT', '/fhir/Task/x', { resourceType: 'Task', id: 'x' },
            undefined],
        ['t-desk', 'POST', '/fhir/Observation', observation('g'), 403],
        ['t-none', 'GET', '/fhir/Task', undefined, 401]]) {
        const answer = await ask(bench, method, path, body, token);
        expect(status !== undefined ? answer.status === status
            : ![401, 403].includes(answer.status),
        `${token} ${method} ${path}: ${answer.status}`);
    }
}

/* ---- an independent issuer --------------------------------------------------- */

async function ofAnotherServer(bench) {
    const key = bench.keys.RS384;
    const folder = join(bench.tmp, 'issued');
    const guard = await Guard.start(['system/Task.rs', 'system/Observation.c'],
        () => [{ client_id: 'a-sender', redirect_uris: [], response_types: [],
            grant_types: ['client_credentials'],
            token_endpoint_auth_method: 'private_key_jwt',
            jwks: { keys: [{ ...key.jwk, kid: key.kid, alg: 'RS384' }] } }]);
    guard.audience = AUDIENCE;
    mkdirSync(folder);
    writeFileSync(join(folder, 'jwks'), await (await fetch(
        `${guard.origin}/jwks`)).text());
    const door = new Endpoint(bench.binary, folder, { 'http.anonymous': false,
        'http.jwt_keys': join(folder, 'jwks'), 'http.jwt_issuer': guard.origin,
        'http.jwt_audience': AUDIENCE });
    await door.start();
    const statement = await new jose.SignJWT({ jti: 'one' })
        .setProtectedHeader({ alg: 'RS384', kid: key.kid })
        .setIssuer('a-sender').setSubject('a-sender').setIssuedAt()
        .setAudience(`${guard.origin}/token`).setExpirationTime('4m')
        .sign(key.privateKey);
    const answer = await fetch(`${guard.origin}/token`, { method: 'POST',
        body: new URLSearchParams({ grant_type: 'client_credentials',
            scope: 'system/Task.rs', client_assertion: statement,
            client_assertion_type:
                'urn:ietf:params:oauth:client-assertion-type:jwt-bearer' }) });
    const { access_token: token } = await answer.json();
    const at = { door };
    expect((await ask(at, 'GET', '/fhir/Task', undefined, token)).status
        === 200, 'its token is not taken');
    const no = await ask(at, 'POST', '/fhir/Observation', observation('z'),
        token);
    expect(no.status === 403, `beyond its scope: ${no.status}`);
    await stopChild(door.child);
    await guard.stop();
}

/* The log: a number for each client, no token, no name. */
async function theLog(bench) {
    const log = readFileSync(bench.door.log, 'utf8');
    for (const token of [...bench.used, 't-sender', 't-none', 'unit-a'])
        for (const part of [token, token.split('.')[2]])
            expect(!(part?.length > 5) || !log.includes(part),
                `the log has ${part}`);
    expect(/event=doors\.forbidden client=2\n/.test(log)
        && /event=doors\.forbidden client=1001\n/.test(log),
    'the log does not tell the clients apart');
    const { text } = await ask(bench, 'GET', '/metrics', undefined, 't-all');
    expect(/^headgate_unauthorised_total [1-9]\d*$/m.test(text)
        && /^headgate_forbidden_total [1-9]\d*$/m.test(text),
    'the metrics do not count them');
}

export const cases = [
    ['forged tokens are refused, true ones are not', forgeries],
    ['what is wrong with a token is said', expiredIsSaid],
    ['each request needs its scope', eachRequest],
    ['scopes of both versions, of persons, with limits', spellings],
    ['Bundles need the scope of each entry', bundles],
    ['tokens of the file with scopes', tokensOfTheFile],
    ['tokens that oidc-provider issues', ofAnotherServer],
    ['log and metrics', theLog],
];
