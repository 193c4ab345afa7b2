/*
 * POST /hl7, and what the settings of HL7 v2 refuse: parts of mllp.mjs.
 */

import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readFileSync, writeFileSync } from 'node:fs';
import { request } from 'node:http';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect, http } from './delivery_kit.mjs';
import { answerOf, flow, idOf, Line, MARK, nextId, senderOf }
    from './mllp_kit.mjs';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const ER7 = 'x-application/hl7-v2+er7';

function send(service, body, { headers = {}, query = '' } = {}) {
    return new Promise((done, fail) => {
        const req = request(`${service.root()}/hl7${query}`, { method: 'POST',
            headers: { 'Content-Type': ER7, ...headers } }, (res) => {
            const chunks = [];
            res.on('data', (c) => chunks.push(c));
            res.on('end', () => done({ status: res.statusCode,
                headers: res.headers,
                text: Buffer.concat(chunks).toString('latin1') }));
        });
        req.on('error', fail);
        req.end(Buffer.from(body, 'latin1'));
    });
}

async function answers(open) {
    const s = await open(senderOf('files', { application: '' }));
    for (const [message, code] of [[flow(), 'AA'],
        [flow({ value: 'x', filler: 'F2' }), 'AE'],
        [flow({ type: 'ADT^A01' }), 'AR'],
        [flow({ application: 'NOBODY' }), 'AR'],
        [flow({ filler: 'F3' }).replaceAll('\r', '\n'), 'AA'],
        ['nothing of the kind', 'AR']]) {
        const { status, headers, text } = await send(s, message);
        const answer = answerOf(text);
        expect(status === 200 && headers['content-type'] === ER7
            && answer.code === code, `${status}: ${text}`);
        expect((headers['x-headgate-message'] !== undefined)
            === (code !== 'AR'), 'the number of the message');
    }
    for (const [headers, query] of [[{ 'X-Headgate-Sender': 'files' }, ''],
        [{}, '?sender=files'], [{}, '?sender=files&line=7&start=300']]) {
        const { text } = await send(s, flow({ application: 'NOBODY',
            filler: nextId() }), { headers, query });
        expect(answerOf(text).code === 'AA', `named: ${text}`);
    }
    expect((await send(s, flow(), { query: '?sender=none' })).status === 400,
        'a sender that there is not');
    expect((await send(s, flow(), { headers: { 'Content-Type':
        'application/fhir+json' } })).status === 415, 'JSON');
    expect((await send(s, '')).status === 400, 'nothing');
    expect((await http('GET', `${s.root()}/hl7`)).status === 404, 'GET');
    await s.stop();
    s.discreet();
}

async function json(open) {
    const s = await open();
    const ask = async (message) => {
        const { status, headers, text } = await send(s, message, { headers: {
            Accept: 'application/json', 'Content-Type': 'text/plain' } });
        expect(status === 200 && headers['content-type']
            === 'application/json', `${status} ${text}`);
        return JSON.parse(text);
    };
    const message = flow({ who: `${MARK}j` });
    const first = await ask(message);
    expect(first.answer === 'AA' && first.control === idOf(message)
        && first.sender === 'hall' && first.message > 0 && !first.repeated
        && first.stored === 1 && first.issues.length === 0,
    JSON.stringify(first));
    const again = await ask(message);
    expect(again.repeated && again.message === first.message
        && again.stored === 0, JSON.stringify(again));
    const there = await ask(flow({ who: `${MARK}j`, id: nextId() }));
    expect(there.there === 1 && there.stored === 0, JSON.stringify(there));
    const held = await ask(flow({ value: '90000', filler: 'H' }));
    expect(held.held === 1 && held.issues[0].word === 'implausible'
        && held.issues[0].severity === 'warning'
        && held.issues[0].place === 'OBX[1]-5', JSON.stringify(held));
    const bad = await ask(flow({ value: 'x', filler: 'B' }));
    expect(bad.answer === 'AE' && bad.quarantined && bad.issues[0].code
        === '102' && bad.issues[0].place === 'OBX[1]-5',
    JSON.stringify(bad));
    const wrong = await ask(flow({ version: '2.1' }));
    expect(wrong.answer === 'AR' && wrong.message === null,
        JSON.stringify(wrong));
    await s.stop();
}

/* What may create an Observation may send one as HL7 v2. */
async function tokens(open, { tmp }) {
    const file = join(tmp, 'mllp-tokens');
    const digest = (t) => createHash('sha256').update(t).digest('hex');
    writeFileSync(file, [`a ${digest('all')}`,
        `b ${digest('may')} system/Observation.c`,
        `c ${digest('not')} system/Observation.rs`, ''].join('\n'));
    const s = await open({ 'http.anonymous': false, 'http.tokens': file });
    for (const [token, status] of [['all', 200], ['may', 200], ['not', 403],
        ['unknown', 401]]) {
        const answer = await send(s, flow(), { headers: {
            Authorization: `Bearer ${token}` } });
        expect(answer.status === status, `${token}: ${answer.status}`);
    }
    expect((await send(s, flow())).status === 401, 'without a token');
    await s.stop();
}

async function settings(open, { binary, tmp, pki }) {
    const never = { 'store.path': join(tmp, 'never.db'), 'http.port': 0,
        'mllp.port': 0 };
    const start = (more) => spawnSync(binary, ['serve', '--config',
        'config/demo.ini', ...Object.entries({ ...never, ...more })
            .flatMap(([k, v]) => ['--set', `${k}=${v}`])],
    { cwd: ROOT, encoding: 'utf8', timeout: 8000 });
    for (const [more, words] of [
        [{ 'mllp.address': '0.0.0.0' }, /\[mllp\] address: beyond loopback/],
        [{ 'mllp.tls_certificate': 'none.pem' }, /each needs the other/],
        [{ 'mllp.tls_certificate': pki.at('server.pem'),
            'mllp.tls_key': pki.at('client.key') }, /client\.key: /],
        [{ 'mllp.tls_certificate': pki.at('none.pem'),
            'mllp.tls_key': pki.at('client.key') },
        /\[mllp\] tls_certificate: \S*none\.pem cannot be read: No such file/],
        [{ 'sender a.charset': 'NONE' }, /\[sender a\] charset: NONE/],
        [{ 'sender a.application': 'X', 'sender b.application': 'X' },
            /\[sender b\] application: a message may be both/],
    ]) {
        const { status, stderr, stdout } = start(more);
        expect(status === 2 && words.test(stderr) && stdout === '',
            `${JSON.stringify(more)}: ${status} ${stderr}${stdout}`);
    }
    const s = await open({ 'mllp.address': '0.0.0.0',
        'mllp.allow': '192.0.2.0/24' });
    const line = await Line.open(s.port); /* we are 127.0.0.1 */
    expect((await line.closed()).length === 0, 'not turned away');
    expect(await s.metric('headgate_mllp_refused_total{why="address"}') === 1,
        'not counted');
    const taken = start({ 'mllp.port': s.port });
    expect(taken.status === 1 && /listened on for HL7 v2/.test(taken.stderr),
        `a port that is taken: ${taken.status} ${taken.stderr}`);
    await s.stop();
    expect(/event=mllp\.ready port=\d+/.test(readFileSync(s.log, 'utf8')),
        'the log does not tell the port');
}

async function receivers(open) {
    const s = await open({ 'mllp.receiver': 'HEADGATE, GATE' });
    const line = await Line.open(s.port);
    expect((await line.ask(flow())).code === 'AA', 'ours');
    const other = flow().replace('|HEADGATE|', '|LAB|');
    const answer = await line.ask(other);
    expect(answer.code === 'AR' && answer.errors[0].place === 'MSH^1^5',
        answer.text);
    await s.stop();
}

export const post = (open, bench) => [
    ['POST /hl7', () => answers(open)],
    ['POST /hl7 for a program', () => json(open)],
    ['POST /hl7 with a token', () => tokens(open, bench)],
    ['settings that are refused, addresses', () => settings(open, bench)],
    ['messages for others', () => receivers(open)],
];
