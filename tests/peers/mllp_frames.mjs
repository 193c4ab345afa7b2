/*
 * Frames as networks and senders really give them.  What a stream of bytes
 * should bring is worked out by a second reader, written here from the
 * standard's text (HL7 v2.5.1, appendix C) and the tolerances that the
 * listener promises.
 */

import { connect } from 'node:net';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from './delivery_kit.mjs';
import { CR, flow, frame, FS, idOf, Line, VT } from './mllp_kit.mjs';

/* Numbers that come again with their seed (Lehmer, MINSTD). */
function random(seed) {
    let state = seed;
    return (below) => {
        state = (state * 48271) % 2147483647;
        return state % below;
    };
}

/* The messages in a stream: what stands between a start byte and the next end
 * byte, without another start byte between. */
function messagesIn(bytes) {
    const found = [];
    let start = -1;
    bytes.forEach((b, i) => {
        if (b === VT) {
            start = i;
        } else if (b === FS && start >= 0) {
            found.push(bytes.subarray(start + 1, i).toString('latin1'));
            start = -1;
        }
    });
    return found;
}

/* A stream of frames with everything that happens between and within them. */
function stream(draw, count) {
    const parts = [];
    for (let i = 0; i < count; i++) {
        const whole = frame(flow({ who: `t${draw(5)}`, filler: `T${i}`,
            minutes: 1000 + i }));
        const kind = draw(6);
        if (kind === 0)
            parts.push(Buffer.from('\r\n\r\n junk \r'));
        else if (kind === 1)
            parts.push(whole.subarray(0, 1 + draw(whole.length - 3)));
        parts.push(kind === 2 ? whole.subarray(0, -1) : whole);
    }
    return Buffer.concat(parts);
}

async function split(open, seed, step) {
    const s = await open();
    const draw = random(seed);
    const bytes = stream(draw, 40);
    const want = messagesIn(bytes);
    const line = await Line.open(s.port);
    line.socket.setNoDelay(true);
    for (let at = 0; at < bytes.length;) {
        const n = step(draw);
        line.socket.write(bytes.subarray(at, at + n));
        at += n;
        if (n < 100)
            await new Promise(setImmediate);
    }
    await line.until(want.length);
    expect(line.answers.length === want.length, `${line.answers.length
    } answers to ${want.length} frames (seed ${seed})`);
    want.forEach((m, i) => expect(line.answers[i].id === idOf(m)
        && line.answers[i].code === 'AA',
    `answer ${i} is ${line.answers[i].code} for ${line.answers[i].id}`));
    line.close();
    await s.stop();
    expect(s.count('SELECT count(*) FROM hl7_message') === want.length,
        'not each frame kept once');
}

async function oversize(open) {
    const s = await open({ 'mllp.frame_max': 4096 });
    const line = await Line.open(s.port);
    const long = flow({ more: 'x'.repeat(10000) });
    const next = flow();
    line.send(long);
    line.send(next);
    await line.until(2);
    const [first, second] = line.answers;
    expect(first.code === 'AR' && first.id === idOf(long)
        && first.errors[0].code === '104', `long: ${first.text}`);
    expect(second.code === 'AA' && second.id === idOf(next),
        'the connection does not go on');
    expect(await s.metric('headgate_mllp_frames_too_long_total') === 1,
        'not counted');
    await s.stop();
    expect(s.count('SELECT count(*) FROM hl7_message') === 1, 'kept');
}

async function halfClose(open) {
    const s = await open();
    for (const [name, bytes, count] of [
        ['whole', frame(flow()), 1],
        ['without the last CR', frame(flow()).subarray(0, -1), 1],
        ['two', Buffer.concat([frame(flow()), frame(flow())]), 2],
        ['half', frame(flow()).subarray(0, 60), 0],
    ]) {
        const line = await Line.open(s.port);
        line.socket.end(bytes);
        const answers = await line.closed();
        expect(answers.length === count, `${name}: ${answers.length} answers`);
    }
    await s.stop();
}

async function limits(open) {
    const s = await open({ 'mllp.idle_timeout': 300,
        'mllp.message_timeout': 400, 'mllp.settle': 50 });
    const idle = await Line.open(s.port);
    const late = await Line.open(s.port); /* its last CR never comes */
    late.socket.write(frame(flow()).subarray(0, -1));
    const slow = await Line.open(s.port);
    const bytes = frame(flow());
    const drip = (async () => {
        for (let i = 0; i < bytes.length && !slow.ended; i++) {
            slow.socket.write(bytes.subarray(i, i + 1));
            await sleep(20);
        }
    })();
    expect((await late.until(1)).length === 1, 'not settled');
    await Promise.all([idle.closed(), slow.closed(), drip]);
    expect(idle.answers.length + slow.answers.length === 0, 'answered');
    expect(await s.metric('headgate_mllp_refused_total{why="slow"}') === 1,
        'the slow one is not counted');
    expect(await s.metric('headgate_hl7_tolerated_total'
        + '{kind="frame-without-last-cr"}') === 1, 'the lost CR');
    await s.stop();
}

/* One that sends and sends, and takes no answer, holds up nobody else; what of
 * it was not answered is not promised. */
async function deaf(open) {
    const s = await open();
    const socket = connect(s.port, '127.0.0.1');
    socket.on('error', () => {});
    socket.pause();
    for (let i = 0; i < 2000; i++)
        socket.write(frame(flow({ filler: `D${i}`, minutes: 1000 + i })));
    const other = await Line.open(s.port);
    for (let i = 0; i < 10; i++) {
        const message = flow({ filler: `E${i}` });
        const answer = await other.ask(message);
        expect(answer.code === 'AA' && answer.id === idOf(message),
            `another is answered ${answer.code}`);
    }
    expect(await s.metric('headgate_mllp_frames_total') < 2010,
        'the flood was taken before the others were answered');
    socket.destroy();
    await s.stop();
}

async function many(open) {
    const s = await open();
    const lines = await Promise.all(Array.from({ length: 200 },
        () => Line.open(s.port)));
    expect(await s.metric('headgate_mllp_connections') === 200, 'not 200');
    await Promise.all(lines.map(async (line, i) => {
        for (let k = 0; k < 3; k++) {
            const message = flow({ who: `w${i}`, filler: `W${k}`,
                minutes: 900 + k });
            const answer = await line.ask(message);
            expect(answer.code === 'AA' && answer.id === idOf(message),
                `${answer.code} for ${answer.id}`);
        }
    }));
    lines.forEach((line) => line.close());
    await s.untilMetric('headgate_mllp_connections', 0);
    await s.stop();
    expect(s.count('SELECT count(*) FROM hl7_message') === 600, 'not 600');
}

async function capped(open) {
    const s = await open({ 'mllp.connections_max': 3 });
    const lines = [];
    for (let i = 0; i < 3; i++) {
        lines.push(await Line.open(s.port));
        await lines[i].ask(flow());
    }
    const over = await Line.open(s.port);
    expect((await over.closed()).length === 0, 'a fourth is served');
    lines[0].close();
    await s.untilMetric('headgate_mllp_connections', 2);
    const room = await Line.open(s.port);
    expect((await room.ask(flow())).code === 'AA', 'no room was made');
    await s.stop();
}

/* Bytes that are no message get their one answer, and nothing is kept. */
async function nonsense(open) {
    const s = await open();
    const line = await Line.open(s.port);
    const parts = ['', 'x', 'PID|1', 'MSH', 'MSH|', 'MSH|||||||||||',
        'MSH|^~\\&', 'MSHAAAAAAAAAAAA', '\0\0\0', '\xff\xfe', 'MSH|^~\\&|a|b',
        '\r\r\r', 'msh|^~\\&|HALL|UNIT|||||ORU^R01|1|P|2.5.1'];
    for (const text of parts) {
        const before = line.answers.length;
        line.socket.write(Buffer.concat([Buffer.from([VT]),
            Buffer.from(text, 'latin1'), Buffer.from([FS, CR])]));
        await line.until(before + 1);
        expect(line.answers.length === before + 1
            && line.answers[before].code === 'AR',
        `${JSON.stringify(text)}: ${line.answers[before]?.code}`);
    }
    const message = flow();
    expect((await line.ask(message)).id === idOf(message), 'no way back');
    await s.stop();
    expect(s.count('SELECT count(*) FROM hl7_message') === 1, 'kept');
}

export const torture = (open) => [
    ['frames byte by byte', () => split(open, 11, () => 1)],
    ['frames in pieces of any size', () => split(open, 12,
        (draw) => 1 + draw(900))],
    ['many frames in one write', () => split(open, 13, () => 1 << 20)],
    ['a frame that is too long', () => oversize(open)],
    ['half-closed', () => halfClose(open)],
    ['idle, slow, unended', () => limits(open)],
    ['a flood from one that takes no answers', () => deaf(open)],
    ['200 connections', () => many(open)],
    ['more connections than may be', () => capped(open)],
    ['no messages at all', () => nonsense(open)],
];
