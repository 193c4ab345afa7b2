/*
 * How many messages of HL7 v2 a second are stored and then answered: one result
 * and twenty-five in a message, over one connection and over many.  headgate, the
 * whole of its work on record and reviewed, beside two peers in turn:
 * python3-hl7 with sqlite3 (peer_hl7.py), @medplum/hl7 with better-sqlite3
 * (peer_hl7.mjs).
 *
 *   node tests/bench/hl7_rate.mjs HEADGATE [--rounds N] [--messages N]
 *       [--connections N,N]
 *
 * Each connection has one message under way at a time, as MLLP wants it.
 * Asserted: every message was answered AA, every result is there.
 */

import { join } from 'node:path';
import { BASE, NOW, bench, bundleOf, expectKept, headgate, options, peer, person,
    quiet, rows } from './bench_common.mjs';
import { closedLoop, frame, mllpLoop, request } from './load_client.mjs';

const set = options({ rounds: 3, messages: 4000, connections: [1, 32] });
const PEOPLE = 400;
const LISTENS = /headgate listens mllp:\S+?:(\d+)\nheadgate ready (\S+)\n/;
const CONFIG = `[mllp]
enabled = true
port = 0
connections_max = 1000
[sender bench]
application = HALL
patient_system = https://site.example/ids/patient
system.L = ${BASE}/CodeSystem/av-observation
`;

/* ---- messages ------------------------------------------------------------------ */

const stamp = (at) => `${new Date(at).toISOString().replace(/[-:T]/g, '')
    .slice(0, 14)}+0000`;

/* A flow, then pressures, five minutes apart: of one session of one person. */
function message(n, results) {
    const who = n % PEOPLE, session = Math.floor(n / PEOPLE);
    const at = NOW - 28 * 86400000 + session * 4 * 3600000;
    const obx = Array.from({ length: results }, (_, i) => (i === 0
        ? `OBX|1|NM|access-flow^Access flow^L||${700 + (who * 37 + session) % 700
        }|mL/min^^UCUM|||||F|||${stamp(at)}`
        : `OBX|${i + 1}|NM|${i % 2 === 0 ? '8462-4^Diastolic^LN'
            : '8480-6^Systolic^LN'}||${i % 2 === 0 ? 70 : 130}|mm[Hg]^^UCUM|||||F|||${
            stamp(at + i * 300000)}`));
    return frame([`MSH|^~\\&|HALL|UNIT|HEADGATE|SITE|${stamp(NOW)
    }||ORU^R01^ORU_R01|c${results}-${n}|P|2.5.1|||||||UNICODE UTF-8`,
    `PID|1||N-${who}^^^UNIT^MR||Example^Case`,
    `OBR|1||f${results}-${n}|S^Session^L|||${stamp(at)}${'|'.repeat(15)}${
        stamp(at + 3 * 3600000)}|||F`, ...obx].map((l) => `${l}\r`).join(''));
}

/* ---- measuring ------------------------------------------------------------------ */

async function part(tmp, results) {
    const sides = [
        headgate(set.path, join(tmp, `h${results}`),
            { more: CONFIG, ready: LISTENS }),
        peer('python3-hl7, sqlite3', join(tmp, `p${results}`), 'peer_hl7.py'),
        peer('@medplum/hl7, better-sqlite3', join(tmp, `n${results}`),
            'peer_hl7.mjs')];
    for (const side of sides) {
        await side.start();
        side.sent = 0;
    }
    await closedLoop(sides[0].url, [request(sides[0].url, '', bundleOf(
        Array.from({ length: PEOPLE }, (_, n) => person(n)).flat()))], 1);
    const count = Math.ceil(set.messages / Math.sqrt(results));
    for (const atOnce of set.connections) {
        const seen = sides.map(() => []), cpu = sides.map(() => []);
        const some = atOnce === 1 ? Math.ceil(count / 4) : count;
        for (let round = 0; round < set.rounds; round++)
            for (const [i, side] of sides.entries()) {
                const frames = Array.from({ length: some }, () =>
                    message(side.sent++, results));
                const before = side.cpuMs();
                seen[i].push(await mllpLoop(Number(side.said[1]), frames, atOnce));
                cpu[i].push((side.cpuMs() - before) * 1000 / some);
                await quiet(side);
            }
        rows(`HL7 v2, ${results} OBX, connections: ${atOnce}`, '/s', true, sides,
            seen);
        rows('  processor time of each', 'us', false, sides, cpu);
    }
    for (const side of sides) {
        await side.stop();
        expectKept(side, side.sent * results);
    }
}

await bench(async (tmp) => {
    await part(tmp, 1);
    await part(tmp, 25);
});
