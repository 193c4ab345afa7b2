/*
 * From a reading to its Task at the record, at fixed rates: so many readings a
 * second are due, each twentieth completes the rule on high flow, and counts
 * from the moment at which it was due until the Task has reached a record that
 * costs little (sink.mjs).  Then the same as it is installed, two Tasks a second:
 * each with a document of the plan, the page to print and a Provenance.  Beside
 * the peer, which compares two values and posts a small Task after its commit; it
 * does not ask who the patient is at the record, and makes no plan.
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
const CALM = 2000, PART = 100;
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

/* [patient, moment] of the Tasks: as many as are due, and what came besides. */
async function arrived(side, count) {
    const all = [];
    for (const end = Date.now() + 30000;; await sleep(20)) {
        all.push(...await (await fetch(`${side.sink.url}/arrivals`)).json());
        if (all.length >= count) return all;
        expect(Date.now() < end, `${side.name}: ${all.length} of ${count} Tasks`);
    }
}

/* each: which of the readings complete the rule. */
async function timed(side, rate, each, seconds) {
    const total = rate * seconds, completing = Math.floor(total / each);
    const from = side.people;
    side.people += completing;
    await prepare(side, from, completing);
    await quiet(side);
    const requests = Array.from({ length: total }, (_, n) => (n % each === each - 1
        ? observation(`second-${from + Math.floor(n / each)}`,
            from + Math.floor(n / each), 0, HIGH, NOW - 3600000)
        : calm(side))).map((o) =>
        request(side.url, '/Observation', JSON.stringify(o)));
    const { began } = await openLoop(side.url, requests, rate);
    const came = await arrived(side, completing);
    await quiet(side);
    came.push(...await arrived(side, 0));
    const at = new Map(came);
    expect(came.length === completing && at.size === completing,
        `${side.name}: ${came.length} Tasks for ${completing} readings`);
    return Array.from({ length: completing }, (_, k) => {
        const who = from + k;
        const seen = at.get(`N-${who}`) ?? at.get(`Patient/p${who}`);
        expect(seen !== undefined, `${side.name}: no Task of ${who}`);
        return seen - (began + (k * each + each - 1) * 1000 / rate);
    });
}

const TASK_ALONE = 'documents = false\nprovenance = false\n';

async function both(tmp, what, more, rates, each, seconds) {
    const sides = [];
    for (const name of ['headgate', 'plain peer']) {
        const folder = (of) => join(tmp, `${what}-${of}-${sides.length}`);
        const sink = peer('sink', folder('sink'), 'sink.mjs');
        await sink.start();
        const side = name === 'headgate'
            ? headgate(set.path, folder('h'),
                { more: `[record]\nurl = ${sink.url}\n${more}` })
            : peer(name, folder('p'), 'peer_ingest.mjs', '--tasks', sink.url);
        await side.start();
        sides.push(Object.assign(side, { sink, people: 100000 }));
        await introduceCalm(side);
        await quiet(side);
    }
    for (const rate of rates) {
        const p50 = sides.map(() => []), p99 = sides.map(() => []);
        for (let round = 0; round < set.rounds; round++)
            for (const [i, side] of sides.entries()) {
                const took = await timed(side, rate, each, seconds);
                p50[i].push(quantile(took, 0.5));
                p99[i].push(quantile(took, 0.99));
            }
        rows(`reading to ${what}, ${rate} readings a second: half within`, 'ms',
            false, sides, p50);
        rows('  99 of 100 within', 'ms', false, sides, p99);
    }
    for (const side of sides) {
        await side.stop();
        await side.sink.stop();
    }
}

await bench(async (tmp) => {
    await both(tmp, 'Task', TASK_ALONE, set.rates, 20, set.seconds);
    await both(tmp, 'Task with plan', '', [100], 50, 10);
});
