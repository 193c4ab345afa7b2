/*
 * kill -9 while messages come over several connections at once.
 *
 * What an answer promises: a positive one is a commitment to keep the message
 * (HL7 v2.5.1, 2.9.3.2: "accepts responsibility"; MLLP release 2 asks for the
 * same of its commit acknowledgement).  So after every kill what was answered
 * AA or AE is in the store; each frame has one answer, in the order in which
 * they were sent; and what had no answer is sent again and does not double.
 */

import { setTimeout as sleep } from 'node:timers/promises';
import { expect, stopChild } from './delivery_kit.mjs';
import { flow, idOf, Line, MARK, nextId } from './mllp_kit.mjs';

const KILLS = 10;
const ROUNDS_MAX = 60;
const LINES = 4;

/* Every seventh is of bad content (kept, AE), every eleventh of another type
 * (not kept, AR); the others are good. */
function makeMessages(count) {
    return Array.from({ length: count }, (_, i) => {
        const filler = `K${i}`;
        const common = { id: nextId(), who: `${MARK}k`, minutes: 2000 + i,
            filler };
        if (i % 7 === 3)
            return { code: 'AE', text: flow({ ...common, value: 'much' }) };
        if (i % 11 === 5)
            return { code: 'AR', text: flow({ ...common, type: 'ADT^A01' }) };
        return { code: 'AA', text: flow({ ...common,
            value: String(1000 + i) }) };
    });
}

/* One answer for each frame, in their order, as far as they came. */
function checkLine(line, sent) {
    expect(line.answers.length <= sent.length, 'more answers than frames');
    line.answers.forEach((a, i) => {
        expect(a.id === idOf(sent[i].text) && a.code === sent[i].code,
            `answer ${i} is ${a.code} for ${a.id}, not ${sent[i].code} for ${
                idOf(sent[i].text)}`);
    });
}

/* What was promised so far stands there, once each; nothing else was kept than
 * what came. */
function checkStore(s, answered, messages) {
    const rows = s.look('SELECT m.control, count(*) AS n, max(q.id) AS held '
        + 'FROM hl7_message m LEFT JOIN quarantine q ON q.message = m.id '
        + 'GROUP BY m.control');
    const kept = new Map(rows.map((r) => [r.control, r]));
    for (const [id, code] of answered) {
        expect(kept.has(id) === (code !== 'AR'), `${id}, answered ${code}, is ${
            kept.has(id) ? '' : 'not '}kept`);
        if (code !== 'AR')
            expect((kept.get(id).held !== null) === (code === 'AE'),
                `${id}, answered ${code}, ${
                    code === 'AE' ? 'is not held' : 'is held'}`);
    }
    for (const { control, n } of rows)
        expect(n === 1 && messages.some((m) => m.code !== 'AR'
            && idOf(m.text) === control), `${control} is kept ${n} times`);
}

/* Sends what has no answer yet, over all lines at once; ended by a kill, or
 * when all is answered. */
async function oneRound(s, left, delay) {
    const lines = await Promise.all(Array.from({ length: LINES },
        () => Line.open(s.port)));
    const shares = lines.map((_, k) => left.filter((_m, i) => i % LINES === k));
    lines.forEach((line, k) => shares[k].forEach((m) => line.send(m.text)));
    const all = Promise.all(lines.map((line, k) => line.until(shares[k].length)));
    await (delay === undefined ? all : Promise.race([all, sleep(delay)]));
    if (delay !== undefined) {
        await stopChild(s.child, 'SIGKILL');
        await Promise.all(lines.map((line) => line.closed()));
    }
    lines.forEach((line, k) => checkLine(line, shares[k]));
    lines.forEach((line) => line.close());
    return lines.flatMap((line) => line.answers);
}

async function killed(open) {
    const s = await open();
    const messages = makeMessages(160);
    const answered = new Map();
    let kills = 0;
    let cut = 0; /* rounds that ended with something unanswered */
    for (let round = 0; answered.size < messages.length; round++) {
        expect(round < ROUNDS_MAX, `${answered.size} of ${messages.length}`);
        const left = messages.filter((m) => !answered.has(idOf(m.text)));
        const kill = round < KILLS;
        const got = await oneRound(s, left,
            kill ? 10 + (round * 37) % 90 : undefined);
        got.forEach((a) => answered.set(a.id, a.code));
        if (!kill)
            continue;
        kills++;
        cut += got.length < left.length ? 1 : 0;
        checkStore(s, answered, messages);
        await s.start();
    }
    /* once more, all of it: answered as before, and nothing doubles */
    await oneRound(s, messages);
    await s.stop();
    checkStore(s, answered, messages);
    expect(kills > 0 && cut > 0, 'no kill came in between');
    expect(s.count('SELECT count(*) FROM hl7_message')
        === messages.filter((m) => m.code !== 'AR').length,
    'not each message once');
    const rows = s.look('SELECT r.value, count(*) AS n, max(v.ver) AS ver FROM '
        + 'reading r JOIN version v ON v.resource = r.resource GROUP BY '
        + 'r.value');
    expect(rows.length === messages.filter((m) => m.code === 'AA').length
        && rows.every((r) => r.n === 1 && r.ver === 1), 'not each result once');
    s.discreet();
}

export const kills = (open) => [
    ['killed under load of several connections', () => killed(open)],
];
