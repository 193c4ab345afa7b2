/*
 * Statements and keys of headgate against jose, jsonwebtoken, Node's crypto,
 * and, for RS384, plain integers: what one signs the others take, byte by
 * byte where the algorithm gives one answer only.
 */

import { spawnSync } from 'node:child_process';
import { createHash, createPrivateKey, createPublicKey, sign, verify }
    from 'node:crypto';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import * as jose from 'jose';
import jsonwebtoken from 'jsonwebtoken';
import { expect } from './delivery_kit.mjs';

export const ALGS = ['RS384', 'ES384'];

const CLAIMS = { iss: 'headgate', sub: 'headgate', jti: 'Zürich €',
    aud: 'https://record.example/token', iat: 1790000000, exp: 2790000000 };
const PAYLOAD = JSON.stringify(CLAIMS);

/* A key in the forms that the programs want, and its file. */
export async function makeKey(alg, folder, name, options = {}) {
    const pair = await jose.generateKeyPair(alg,
        { extractable: true, ...options });
    const pem = await jose.exportPKCS8(pair.privateKey);
    const file = join(folder, `${name}.pem`);
    writeFileSync(file, pem, { mode: 0o600 });
    const jwk = await jose.exportJWK(pair.publicKey);
    const kid = await jose.calculateJwkThumbprint(jwk);
    return { alg, file, pem, jwk, kid, ...pair };
}

function run(tool, args, input = '') {
    const { status, stdout, stderr } = spawnSync(tool, args,
        { input, encoding: 'utf8', maxBuffer: 1 << 26 });
    expect(status === 0, `tool_jose ${args[0]}: ${status} ${stderr}`);
    return stdout;
}

export const signByUs = (tool, key, payload) =>
    run(tool, ['sign', key.file], payload).trim();

/* One verdict for each statement: "ok PAYLOAD" or "no WORD". */
export function verifyByUs(tool, folder, set, tokens) {
    const file = join(folder, 'keys.json');
    writeFileSync(file, JSON.stringify(set));
    return run(tool, ['verify', file], tokens.map((t) => `${t}\n`).join(''))
        .trimEnd().split('\n');
}

/* RFC 8017, 8.2.1 and 9.2, with integers alone. */
function rs384ByHand(pem, input) {
    const { n, d } = createPrivateKey(pem).export({ format: 'jwk' });
    const int = (text) => BigInt(`0x${Buffer.from(text, 'base64url')
        .toString('hex')}`);
    const size = Buffer.from(n, 'base64url').length;
    const info = Buffer.from('3041300d060960864801650304020205000430', 'hex');
    const digest = Buffer.concat([info,
        createHash('sha384').update(input).digest()]);
    const padded = Buffer.concat([Buffer.from([0, 1]),
        Buffer.alloc(size - digest.length - 3, 0xff), Buffer.from([0]), digest]);
    let power = int(d), result = 1n;
    let base = BigInt(`0x${padded.toString('hex')}`);
    for (const modulus = int(n); power > 0n; power >>= 1n) {
        result = power & 1n ? result * base % modulus : result;
        base = base * base % modulus;
    }
    return Buffer.from(result.toString(16).padStart(2 * size, '0'), 'hex')
        .toString('base64url');
}

async function ours(bench, key) {
    const token = signByUs(bench.tool, key, PAYLOAD);
    const [head, body, signature] = token.split('.');
    const header = JSON.parse(Buffer.from(head, 'base64url'));
    expect(JSON.stringify(header) === JSON.stringify(
        { alg: key.alg, typ: 'JWT', kid: key.kid }), `header ${
        JSON.stringify(header)}`);
    expect(Buffer.from(body, 'base64url').toString() === PAYLOAD, 'payload');
    const verified = await jose.jwtVerify(token, key.publicKey,
        { algorithms: [key.alg], currentDate: new Date(1790000001000) });
    expect(verified.payload.jti === CLAIMS.jti, 'jose reads something else');
    const decoded = jsonwebtoken.verify(token, createPublicKey(key.pem),
        { algorithms: [key.alg], clockTimestamp: 1790000001 });
    expect(decoded.jti === CLAIMS.jti, 'jsonwebtoken reads something else');
    expect(verify('sha384', Buffer.from(`${head}.${body}`),
        { key: createPublicKey(key.pem), dsaEncoding: 'ieee-p1363' },
        Buffer.from(signature, 'base64url')), 'Node does not take it');
    if (key.alg === 'RS384')
        expect(signature === rs384ByHand(key.pem, `${head}.${body}`),
            'integers alone give another signature');
}

async function theirs(bench, key) {
    const byJose = await new jose.SignJWT(CLAIMS)
        .setProtectedHeader({ alg: key.alg, kid: key.kid, typ: 'JWT' })
        .sign(key.privateKey);
    const byOther = jsonwebtoken.sign(CLAIMS, createPrivateKey(key.pem),
        { algorithm: key.alg, keyid: key.kid });
    const input = `${Buffer.from(JSON.stringify({ alg: key.alg }))
        .toString('base64url')}.${Buffer.from(PAYLOAD).toString('base64url')}`;
    const byNode = `${input}.${sign('sha384', Buffer.from(input),
        { key: createPrivateKey(key.pem), dsaEncoding: 'ieee-p1363' })
        .toString('base64url')}`;
    const set = { keys: [{ ...key.jwk, kid: key.kid }] };
    for (const verdict of verifyByUs(bench.tool, bench.tmp, set,
        [byJose, byOther, byNode]))
        expect(verdict.startsWith('ok ')
            && JSON.parse(verdict.slice(3)).jti === CLAIMS.jti,
        `of ${key.alg}: ${verdict}`);
    /* deterministic, so equal in full */
    if (key.alg === 'RS384') {
        const again = signByUs(bench.tool, key, PAYLOAD);
        const joses = await new jose.CompactSign(Buffer.from(PAYLOAD))
            .setProtectedHeader({ alg: 'RS384', typ: 'JWT', kid: key.kid })
            .sign(key.privateKey);
        expect(again === joses, 'jose signs other bytes');
    }
}

/* Signatures of one key differ each time, and r or s begins with a zero byte
 * once in 128: the length must not. */
async function manyTimes(bench) {
    const key = bench.keys.ES384;
    const set = { keys: [key.jwk] };
    const many = await Promise.all(Array.from({ length: 1500 }, (_, i) =>
        new jose.CompactSign(Buffer.from(`{"n":${i}}`))
            .setProtectedHeader({ alg: 'ES384' }).sign(key.privateKey)));
    const verdicts = verifyByUs(bench.tool, bench.tmp, set, many);
    verdicts.forEach((verdict, i) => expect(verdict === `ok {"n":${i}}`,
        `${i}: ${verdict}`));
    for (let i = 0; i < 40; i++) {
        const token = signByUs(bench.tool, key, `{"n":${i}}`);
        await jose.compactVerify(token, key.publicKey);
        expect(Buffer.from(token.split('.')[2], 'base64url').length === 96,
            'a signature that is not of 96 bytes');
    }
}

async function keySets(bench) {
    const keys = ALGS.map((alg) => bench.keys[alg]);
    const set = JSON.parse(run(bench.tool, ['keys',
        ...keys.map((key) => key.file)]));
    expect(set.keys.length === keys.length, 'keys are missing');
    for (const [i, key] of keys.entries()) {
        const { kid, use, alg, ...rest } = set.keys[i];
        expect(kid === key.kid, 'another thumbprint than that of jose');
        expect(use === 'sig' && alg === key.alg, `${use} ${alg}`);
        expect(JSON.stringify(Object.entries(rest).sort())
            === JSON.stringify(Object.entries(key.jwk).sort()),
        'other members than those of jose');
        const token = signByUs(bench.tool, key, PAYLOAD);
        await jose.jwtVerify(token, jose.createLocalJWKSet(set),
            { currentDate: new Date(1790000001000) });
    }
}

export const cases = [
    ['RS384: what headgate signs, three others take',
        (bench) => ours(bench, bench.keys.RS384)],
    ['ES384: what headgate signs, three others take',
        (bench) => ours(bench, bench.keys.ES384)],
    ['RS384: what three others sign, headgate takes',
        (bench) => theirs(bench, bench.keys.RS384)],
    ['ES384: what three others sign, headgate takes',
        (bench) => theirs(bench, bench.keys.ES384)],
    ['ES384: 1500 signatures of jose, 40 of headgate', manyTimes],
    ['key sets and thumbprints are those of jose', keySets],
];
