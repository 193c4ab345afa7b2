/*
 * From a reading to its Task at the record, at fixed rates: so many readings a
 * second are due, each twentieth completes the rule on high flow, and counts
 * from the moment at which it was due until the Task has reached a record that
 * costs little (sink.mjs).  Beside the peer, which compares two values and posts
 * a small Task after its commit.
 *
 *   node tests/bench/time_to_task.mjs HEADGATE [--rates N,N] [--seconds N]
 *       [--rounds N]
 *
 * Asserted: each such reading made one Task, and no other did.
 */

import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { DAY_MS, NOW, bench, bundleOf, expect, headgate, observation, options,
    peer, person, quiet, reading, rows } from './bench_common.mjs';
import { closedLoop, openLoop, quantile, request } from './load_client.mjs';

const set = options({ rates: [200, 1000, 4000], seconds: 3, rounds: 2 });
const EACH = 20, CALM = 2000, PART = 100;
const HIGH = 2300;

/* Some, each with a first high flow of a month ago: the second completes. */
async function prepare(side, from, count) {
    for (let n = from; n < from + count; n += PART) {
        const who = Array.from({ length: Math.min(PART, from + count - n) },
            (_, i) => n + i);
        await closedLoop(side.url, [request(side.url, '', bundleOf([
            ...who.flatMap(person), ...who.map((w) => observation(`first-${w}`,
                w, 0, HIGH, NOW - 20 * DAY_MS))]))], 1);
    }
}

async function introduceCalm(side) {
    for (let n = 0; n < CALM; n += PART)
        await closedLoop(side.url, [request(side.url, '', bundleOf(
            Array.from({ length: PART }, (_, i) => person(n + i)).flat()))], 1);
}

/* Of the calm ones nobody has a high flow: only pressures come. */
function calm(side) {
    while (side.made % 3 === 0) side.made++;
    return reading(side.made++, CALM);
}

async function arrived(side, count) {
    const all = [];
    for (const end = Date.now() + 30000; all.length < count;) {
        all.push(...await (await fetch(`${side.sink.url}/arrivals`)).json());
        expect(Date.now() < end, `${side.name}: ${all.length} of ${count} Tasks`);
        if (all.length < count) await sleep(20);
    }
    return new Map(all);
}

async function timed(side, rate) {
    const total = rate * set.seconds, completing = Math.floor(total / EACH);
    const from = side.people;
    side.people += completing;
    await prepare(side, from, completing);
    await quiet(side);
    const requests = Array.from({ length: total }, (_, n) => (n % EACH === EACH - 1
        ? observation(`second-${from + Math.floor(n / EACH)}`,
            from + Math.floor(n / EACH), 0, HIGH, NOW - 3600000)
        : calm(side))).map((o) =>
        request(side.url, '/Observation', JSON.stringify(o)));
    const { began } = await openLoop(side.url, requests, rate);
    const at = await arrived(side, completing);
    await quiet(side);
    const more = await arrived(side, 0);
    expect(at.size === completing && more.size === 0,
        `${side.name}: ${at.size} Tasks and ${more.size} more`);
    return Array.from({ length: completing }, (_, k) => {
        const who = from + k;
        const seen = at.get(`N-${who}`) ?? at.get(`Patient/p${who}`);
        expect(seen !== undefined, `${side.name}: no Task of ${who}`);
        return seen - (began + (k * EACH + EACH - 1) * 1000 / rate);
    });
}

await bench(async (tmp) => {
    const sides = [];
    for (const name of ['headgate', 'plain peer']) {
        const sink = peer('sink', join(tmp, `sink-${sides.length}`), 'sink.mjs');
        await sink.start();
        const side = name === 'headgate'
            ? headgate(set.binary, join(tmp, 'h'),
                { more: `[record]\nurl = ${sink.url}\n` })
            : peer(name, join(tmp, 'p'), 'peer_ingest.mjs', '--tasks', sink.url);
        await side.start();
        sides.push(Object.assign(side, { sink, people: 100000 }));
        await introduceCalm(side);
        await quiet(side);
    }
    for (const rate of set.rates) {
        const p50 = sides.map(() => []), p99 = sides.map(() => []);
        for (let round = 0; round < set.rounds; round++)
            for (const [i, side] of sides.entries()) {
                const took = await timed(side, rate);
                p50[i].push(quantile(took, 0.5));
                p99[i].push(quantile(took, 0.99));
            }
        rows(`reading to Task, ${rate} readings a second: half within`, 'ms',
            false, sides, p50);
        rows('  99 of 100 within', 'ms', false, sides, p99);
    }
});
