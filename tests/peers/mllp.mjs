/*
 * The MLLP listener as a black box: clients that we did not write
 * (@medplum/hl7, node-hl7-client, Debian's python3-hl7) over plain TCP, TLS and
 * mutual TLS; frames that are torn, doubled, half, too long, slow; kills,
 * corrections out of order, a store that takes nothing.
 *
 *   node mllp.mjs path/to/headgate [PART-OF-A-NAME]
 *
 * Frames: HL7 v2.5.1, appendix C.  Answers: 2.9.2, 2.9.3, tables 0008, 0155,
 * 0357.
 */

import { setTimeout as sleep } from 'node:timers/promises';
import { connect as connectTls } from 'node:tls';
import { Hl7Message } from '@medplum/core';
import { expect, searchAll, stopChild, Unmet } from './delivery_kit.mjs';
import { certificates, flow, idOf, Line, Listener, MARK, nextId, PATIENTS,
    pythonAsks, senderOf } from './mllp_kit.mjs';
import { post } from './mllp_post.mjs';
import { torture } from './mllp_frames.mjs';
import { kills } from './mllp_kill.mjs';
import { Suite } from './suite.mjs';

/* The library asks for it where there is none; nothing of it is used. */
globalThis.WebSocket ??= class {};
const { Hl7Client, Hl7Connection } = await import('@medplum/hl7');
const { Client } = await import('node-hl7-client').then((m) => ({
    Client: m.Client ?? m.default }));

const bench = new Suite({ wholeMs: 300000 });
const { binary, tmp } = bench;
const pki = certificates(tmp);
bench.pki = pki;
bench.after = () => bench.killService();

async function open(settings) {
    bench.service = new Listener(binary, tmp, settings);
    return bench.service.start();
}

function expectAnswer(answer, code, id, errors) {
    expect(answer.code === code && answer.id === id,
        `${answer.code} for ${answer.id} instead of ${code} for ${id}: ${
            answer.text.replaceAll('\r', ' ')}`);
    if (errors !== undefined)
        expect(errors.every((e) => answer.errors.some((f) => f.code === e)),
            `errors ${JSON.stringify(answer.errors)} lack ${errors}`);
}

/* The Observations that are served for a patient. */
async function served(service, who) {
    return searchAll(`${service.url}/Observation?patient:identifier=${
        encodeURIComponent(`${PATIENTS}|${who}`)}`);
}

/* A control id with every escape of a delimiter: MSA-2 is MSH-10 as it came,
 * byte for byte (HL7 v2.5.1, 2.15.8.2), and not what it stands for. */
const escaped = () => `${nextId()}\\T\\a\\F\\\\S\\\\R\\b\\E\\\\X41\\`;

/* ---- clients of others ---------------------------------------------------- */

const tlsSettings = (mutual) => ({
    'mllp.tls_certificate': pki.at('server.pem'),
    'mllp.tls_key': pki.at('server.key'),
    ...(mutual && { 'mllp.tls_client_ca': pki.at('ca.pem'),
        'sender hall.certificate': 'hall-1.example' }) });

const ways = {
    plain: { settings: {} },
    TLS: { settings: tlsSettings(false), tls: { ca: pki.ca } },
    'mutual TLS': { settings: tlsSettings(true),
        tls: { ca: pki.ca, ...pki.pair('client') } },
};

async function medplumConnection(port, tls) {
    if (tls === undefined) {
        const client = new Hl7Client({ host: '127.0.0.1', port,
            encoding: 'utf-8', keepAlive: true });
        return { ask: (m) => client.sendAndWait(m, { timeoutMs: 10000 }),
            close: () => client.close() };
    }
    const socket = await new Promise((done, fail) => {
        const made = connectTls({ port, host: '127.0.0.1',
            servername: 'localhost', ...tls }, () => done(made));
        made.once('error', fail);
    });
    const connection = new Hl7Connection(socket, 'utf-8');
    return { ask: (m) => connection.sendAndWait(m, { timeoutMs: 10000 }),
        close: () => connection.close() };
}

async function byMedplum(way) {
    const s = await open(way.settings);
    const connection = await medplumConnection(s.port, way.tls);
    for (const [message, code] of [
        [flow({ who: `${MARK}m`, value: '1450' }), 'AA'],
        [flow({ who: `${MARK}m`, value: 'about 1400', filler: 'F2' }), 'AE'],
        [flow({ type: 'ADT^A01' }), 'AR'],
        [flow({ version: '2.3', who: `${MARK}m`, filler: 'F3' }), 'AA'],
        [flow({ version: '2.8', who: `${MARK}m`, filler: 'F4' }), 'AA'],
        [flow({ id: escaped(), who: `${MARK}m`, filler: 'F5' }), 'AA'],
        [flow({ id: escaped(), type: 'ADT^A01' }), 'AR'],
    ]) {
        const answer = await connection.ask(Hl7Message.parse(message));
        const msa = answer.getSegment('MSA');
        expect(msa.getField(1).toString() === code
            && msa.getField(2).toString() === idOf(message),
        `${answer.toString()} instead of ${code}`);
    }
    await connection.close();
    expect((await served(s, `${MARK}m`)).length === 4, 'not four results');
    await s.stop();
    s.discreet();
}

/* Its answers come to a handler; it sends one after the other. */
async function byNodeHl7(way) {
    const s = await open(way.settings);
    const client = new Client({ host: '127.0.0.1', version: '2.5.1',
        ...(way.tls && { tls: { ...way.tls, servername: 'localhost',
            rejectUnauthorized: true } }) });
    const got = [];
    let tell;
    const connection = client.createConnection({ port: s.port, waitAck: true },
        async (res) => {
            const answer = res.getMessage();
            got.push([answer.get('MSA.1').toString(),
                answer.get('MSA.2').toString(), answer.toString()]);
            tell();
        });
    connection.on?.('error', () => {});
    const { Message } = await import('node-hl7-client');
    for (const [text, code] of [
        [flow({ who: `${MARK}n` }), 'AA'],
        [flow({ who: '' }), 'AE'],
        [flow({ processing: 'T' }), 'AR'],
        [flow({ id: escaped(), who: `${MARK}n` }), 'AA'],
    ]) {
        const came = new Promise((done) => { tell = done; });
        const message = new Message({ text: text.trimEnd() });
        await connection.sendMessage(message);
        await Promise.race([came, sleep(10000, null, { ref: false }).then(() => {
            throw new Unmet('no answer came to node-hl7-client');
        })]);
        const [[gotCode, id, raw]] = got.splice(0);
        /* it gives values without their escapes, those of its own too */
        expect(gotCode === code && id === message.get('MSH.10').toString()
            && raw.split('\r').includes(`MSA|${code}|${idOf(text)}`),
        `${gotCode} for ${id} instead of ${code}: ${raw}`);
    }
    await connection.close();
    await s.stop();
    s.discreet();
}

async function byPython() {
    const s = await open(senderOf('latin', { application: 'LATIN',
        charset: '8859/1' }));
    const messages = [flow(), flow({ value: 'x', filler: 'F2' }),
        flow({ type: 'ORU^W01' }), flow({ version: '2.4', value: 'y' }),
        flow({ application: 'LATIN', name: `${MARK}\xfc^Anna`,
            who: `${MARK}l` }),
        flow({ name: `${MARK}\xfc^Anna` }),
        flow({ charset: 'UNICODE UTF-8', name: `${MARK}\xc3\xbc^Anna` }),
        flow({ charset: 'UNICODE UTF-8', more: '\xfc', unit: 'm\xfc^^UCUM',
            filler: 'F7' }),
        flow({ id: escaped(), filler: 'F8' })];
    const answers = await pythonAsks(s.port, messages);
    const codes = answers.map((a) => a.code).join(' ');
    expect(codes === 'AA AE AR AE AA AA AA AE AA', `python3-hl7 read ${codes}`);
    answers.forEach((a, i) => {
        expect(a.frame && a.id === idOf(messages[i]) && /^ACK/.test(a.type),
            `answer ${i}: ${JSON.stringify(a)}`);
        expect(a.version === messages[i].split('|')[11], `version ${a.version}`);
    });
    const [error] = answers[1].errors;
    expect(error.place === 'OBX^1^5' && error.code === '102'
        && error.severity === 'E', `an error ${JSON.stringify(error)}`);
    const told = (i) => answers[i].errors.map((e) =>
        `${e.place} ${e.code} ${e.severity}`).join(', ');
    expect(told(5) === 'PID^1^5^1^1 102 W', `a name that is not ASCII: ${told(5)}`);
    expect(told(7) === 'OBX^1^6^1^1 102 E, NTE^1^3^1^1 102 W',
        `a unit that is not UTF-8: ${told(7)}`);
    await s.stop();
    expect(s.count('SELECT count(*) FROM hl7_message') === 8,
        'what was rejected is kept, or what was not is lost');
    s.discreet();
}

async function falseClients() {
    const s = await open(tlsSettings(true));
    for (const own of [{}, pki.pair('stranger')]) {
        const line = await Line.openTls(s.port, { ca: pki.ca, ...own })
            .catch(() => null);
        if (line !== null) { /* in 1.3 the client is told later */
            line.send(flow());
            expect((await line.closed()).length === 0, 'it was answered');
        }
    }
    const plain = await Line.open(s.port);
    plain.send(flow());
    expect((await plain.closed()).length === 0, 'it was answered in plain');
    expect(await s.metric('headgate_mllp_refused_total{why="tls"}') === 3,
        'the failures are not counted');
    await s.stop();
    expect(s.count('SELECT count(*) FROM hl7_message') === 0, 'taken');
}

/* ---- acknowledgements ----------------------------------------------------- */

async function enhanced() {
    const s = await open({ 'mllp.frame_max': 4096 });
    const line = await Line.open(s.port);
    const bad = { value: 'x', filler: 'bad' };
    const wrong = { type: 'ADT^A01' };
    const unread = { more: '\rno segment' };
    const stranger = { application: 'NOBODY', more: '\rno segment' };
    const long = { more: 'x'.repeat(5000) };
    for (const [accept, answer, more, want] of [
        ['', '', {}, 'AA'], ['', '', bad, 'AE'], ['', '', wrong, 'AR'],
        ['AL', 'NE', {}, 'CA'], ['AL', 'NE', bad, 'CA'],
        ['AL', 'NE', wrong, 'CR'], ['AL', 'AL', {}, 'CA AA'],
        ['AL', 'AL', bad, 'CA AE'], ['AL', 'AL', wrong, 'CR'],
        ['NE', 'AL', {}, 'AA'], ['NE', 'AL', wrong, 'AR'],
        ['AL', 'AL', unread, 'CA AE'], ['AL', 'NE', unread, 'CA'],
        ['ER', 'ER', unread, 'AE'], ['AL', 'AL', stranger, 'CR'],
        ['AL', 'AL', long, 'CR'], ['NE', 'AL', long, 'AR'],
        ['NE', 'NE', long, ''],
        ['ER', 'ER', {}, ''], ['ER', 'ER', bad, 'AE'],
        ['ER', 'ER', wrong, 'CR'], ['SU', 'SU', {}, 'CA AA'],
        ['SU', 'SU', bad, 'CA'], ['NE', 'NE', {}, ''],
    ]) {
        const message = flow({ accept, answer, ...more });
        const last = flow(); /* shows that nothing more came before it */
        const before = line.answers.length;
        line.send(message);
        line.send(last);
        const count = want === '' ? 0 : want.split(' ').length;
        await line.until(before + count + 1);
        const got = line.answers.slice(before);
        expect(got.length === count + 1 && got.at(-1).id === idOf(last),
            `${accept}/${answer}: ${got.length} answers`);
        expect(got.slice(0, -1).map((a) => a.code).join(' ') === want
            && got.slice(0, -1).every((a) => a.id === idOf(message)),
        `${accept}/${answer}: ${got.map((a) => a.code)} instead of ${want}`);
    }
    const own = new Set(line.answers.map((a) => a.own));
    expect(own.size === line.answers.length, 'control ids of ours repeat');
    await s.stop();
    s.discreet();
}

async function policies() {
    const s = await open({
        ...senderOf('aa', { application: 'AA', bad_content: 'AA' }),
        ...senderOf('ar', { application: 'AR', bad_content: 'AR' }),
        ...senderOf('test', { application: 'TEST', accept_test: true }) });
    const line = await Line.open(s.port);
    for (const [more, code, errors] of [
        [{ value: 'x' }, 'AE', ['102']],
        [{ value: 'x', application: 'AA' }, 'AA', ['102']],
        [{ value: 'x', application: 'AR' }, 'AR', ['102']],
        [{ processing: 'T' }, 'AR', ['202']],
        [{ processing: 'T', application: 'TEST' }, 'AA', []],
        [{ application: 'NOBODY' }, 'AR', ['204']],
        [{ version: '2.9' }, 'AR', ['203']],
        [{ type: 'ORU^W01' }, 'AR', ['201']],
        [{ who: '' }, 'AE', ['101']],
        [{ value: '90000' }, 'AA', []], /* held, see below */
    ]) {
        const message = flow({ filler: nextId(), ...more });
        const answer = await line.ask(message);
        expectAnswer(answer, code, idOf(message), errors);
        if (code === 'AA')
            expect(answer.errors.every((e) => e.severity !== 'E'),
                'AA with an error');
    }
    const held = line.answers.at(-1).errors;
    expect(held.length === 1 && held[0].severity === 'W'
        && held[0].place === 'OBX^1^5', `held: ${JSON.stringify(held)}`);
    await s.stop();
    expect(s.count('SELECT count(*) FROM quarantine WHERE state = 0') === 4,
        'four messages stand in quarantine');
    expect(s.count('SELECT count(*) FROM hl7_message') === 6,
        'what was rejected is kept, or what was not is lost');
    s.discreet();
}

/* ---- what it is all for --------------------------------------------------- */

async function reachesPeople() {
    const s = await open();
    const line = await Line.open(s.port);
    const who = `${MARK}q`;
    for (const [minutes, value] of [[60 * 24 * 40, '2400'],
        [60 * 24 * 20, '2500'], [60 * 24 * 2, '2600']]) {
        const message = flow({ who, value, minutes, issued: minutes - 60,
            filler: nextId() });
        expectAnswer(await line.ask(message), 'AA', idOf(message));
    }
    const found = await served(s, who);
    expect(found.length === 3 && found.every((o) => o.status === 'final'
        && o.valueQuantity.code === 'mL/min'), `${found.length} Observations`);
    let out = '';
    for (let i = 0; i < 100 && !out.includes(who); i++) {
        out = (await s.command('queue')).out;
        await sleep(50);
    }
    expect(out.includes(who), `the queue does not tell of it: ${out}`);
    await s.stop();
    const rows = s.look('SELECT m.control FROM reading r JOIN version v ON '
        + 'v.resource = r.resource AND v.ver = r.ver JOIN hl7_message m ON '
        + 'm.journal = v.journal');
    expect(rows.length === 3, 'the messages are not found from the readings');
    s.discreet();
}

/* The value that counts at the end, whatever came first. */
async function corrections() {
    const s = await open();
    const line = await Line.open(s.port);
    const late = { issued: 400 };
    let number = 0;
    for (const [name, parts, status, value] of [
        ['F C', [{}, { status: 'C', value: '1300', ...late }], 'corrected',
            1300],
        ['C F', [{ status: 'C', value: '1300', ...late }, {}], 'corrected',
            1300],
        ['F D', [{}, { status: 'D', value: '""', ...late }],
            'entered-in-error', undefined],
        ['D F', [{ status: 'D', value: '""', ...late }, {}],
            'entered-in-error', undefined],
        ['P F', [{ status: 'P' }, { ...late }], 'final', 1450],
        ['F P', [{ ...late }, { status: 'P', value: '1999' }], 'final', 1450],
        ['P U', [{ status: 'P' }, { status: 'U', value: '', ...late }],
            'final', 1450],
    ]) {
        const who = `${MARK}c${++number}`;
        const minutes = 3000; /* the same result each time */
        for (const part of parts) {
            const message = flow({ who, minutes, ...part });
            expectAnswer(await line.ask(message), 'AA', idOf(message));
        }
        const found = await served(s, who);
        expect(found.length === 1 && found[0].status === status
            && found[0].valueQuantity?.value === value,
        `${name}: ${JSON.stringify(found)}`);
    }
    await s.stop();
}

async function duplicates() {
    const s = await open();
    const line = await Line.open(s.port);
    const message = flow({ who: `${MARK}d` });
    for (let i = 0; i < 3; i++)
        expectAnswer(await line.ask(message), 'AA', idOf(message));
    const other = await Line.open(s.port); /* and over another connection */
    expectAnswer(await other.ask(message), 'AA', idOf(message));
    const changed = flow({ id: idOf(message), who: `${MARK}d`, value: '1500',
        filler: 'F9' });
    const answer = await line.ask(changed);
    expectAnswer(answer, 'AA', idOf(message), ['205']);
    expect(answer.errors.find((e) => e.code === '205').severity === 'W', 'W');
    expect((await served(s, `${MARK}d`)).length === 2, 'not two results');
    expect(await s.metric('headgate_hl7_repeated_total') === 3, 'repeats');
    await s.stop();
    expect(s.count('SELECT count(*) FROM hl7_message') === 2, 'not two kept');
}

/* ---- faults --------------------------------------------------------------- */

/* A file that cannot grow: what is not on disk is not acknowledged. */
async function storeFails() {
    bench.service = new Listener(binary, tmp).limited('trap "" XFSZ');
    const s = await bench.service.start();
    const line = await Line.open(s.port);
    expectAnswer(await line.ask(flow()), 'AA', line.answers[0].id);
    const { execFileSync } = await import('node:child_process');
    execFileSync('prlimit', ['--pid', String(s.child.pid), '--fsize=4096']);
    const lost = flow({ who: `${MARK}x`, filler: 'X' });
    line.send(lost);
    await line.closed();
    expect(line.answers.length === 1, `answered ${line.answers[1]?.code}`);
    expect(await s.child.ended === 1, 'the service goes on');
    await s.start();
    const again = await Line.open(s.port);
    expectAnswer(await again.ask(lost), 'AA', idOf(lost));
    await s.stop();
    expect(s.count('SELECT count(*) FROM hl7_message') === 2, 'not two kept');
}

/* Asked to stop, it answers what it has, and takes no more. */
async function stops() {
    const s = await open();
    const lines = await Promise.all(Array.from({ length: 20 },
        () => Line.open(s.port)));
    const messages = lines.map((_, i) => flow({ who: `${MARK}s${i}` }));
    lines.forEach((line, i) => line.send(messages[i]));
    const how = await stopChild(s.child);
    expect(how === 0, `it ended with ${how}`);
    await Promise.all(lines.map((line) => line.closed()));
    const kept = new Set(s.look('SELECT control FROM hl7_message')
        .map((r) => r.control));
    lines.forEach((line, i) => {
        expect(line.answers.length <= 1, 'more than one answer');
        if (line.answers.length === 1)
            expect(kept.has(idOf(messages[i])), 'answered and not kept');
    });
    expect(kept.size === lines.reduce((n, l) => n + l.answers.length, 0),
        'kept and not answered');
}

const scenarios = [
    ...Object.entries(ways).flatMap(([name, way]) => [
        [`@medplum/hl7 over ${name}`, () => byMedplum(way)],
        [`node-hl7-client over ${name}`, () => byNodeHl7(way)]]),
    ['python3-hl7', byPython],
    ['clients without a right certificate', falseClients],
    ['both modes of acknowledgement', enhanced],
    ['what bad content is answered', policies],
    ['a flow reaches the queue', reachesPeople],
    ['corrections in any order', corrections],
    ['control ids that come again', duplicates],
    ['a store that cannot grow', storeFails],
    ['asked to stop', stops],
    ...kills(open),
    ...torture(open, bench),
    ...post(open, bench),
];

await bench.main(() => bench.each(scenarios));
