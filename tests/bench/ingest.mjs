/*
 * Durable ingest over HTTP, beside the peer of peer_ingest.mjs in the same run,
 * plain and with the same duties, and beside that of peer_router.mjs, which is not
 * durable: one Observation a request, and Bundles; then latencies at fixed rates;
 * then memory and, of those that have kept them, the time of a start with many
 * accesses.  They take turns, and the median of the ratios counts, not the rates
 * of this machine.
 *
 *   node tests/bench/ingest.mjs HEADGATE [--only single,bundle,latency,start]
 *       [--rounds N] [--accesses N] [--singles N] [--bundles N]
 *       [--rates N,N] [--seconds N]
 *
 * Nothing is asserted but that all was taken.
 */

import { join } from 'node:path';
import { KIND_COUNT, bench, bundleOf, endKept, headgate, memoryPeer, options, peer,
    person, quiet, reading, rows } from './bench_common.mjs';
import { closedLoop, openLoop, request } from './load_client.mjs';

const set = options({ only: ['single', 'bundle', 'latency', 'start'], rounds: 3,
    accesses: 100000, singles: 6000, bundles: 12, rates: [500, 1000, 2000, 4000],
    seconds: 3 });
const PEOPLE = 2000, SIZE = 500;

/* ---- requests ------------------------------------------------------------------ */

const next = (side, count) => Array.from({ length: count }, () =>
    reading(side.made++, PEOPLE));
const singles = (side, count) => next(side, count).map((o) =>
    request(side.url, '/Observation', JSON.stringify(o)));
const bundles = (side, count) => Array.from({ length: count }, () =>
    request(side.url, '', bundleOf(next(side, SIZE))));

/* People first, so that what is measured is the usual path; in Bundles, with
 * their readings if there are any. */
async function introduce(side, people, readings = () => []) {
    const PART = 250;
    for (let n = 0; n < people; n += PART) {
        const who = Array.from({ length: Math.min(PART, people - n) },
            (_, i) => n + i);
        await closedLoop(side.url, [request(side.url, '', bundleOf(
            [...who.flatMap(person), ...who.flatMap(readings)]))], 1);
    }
}

/* ---- measuring ----------------------------------------------------------------- */

async function rates(sides, name, count, make, atOnce, each) {
    const seen = sides.map(() => []), cpu = sides.map(() => []);
    for (let round = 0; round < set.rounds; round++) {
        for (const [i, side] of sides.entries()) {
            const requests = make(side, count);
            const before = side.cpuMs();
            seen[i].push(each * await closedLoop(side.url, requests, atOnce));
            cpu[i].push((side.cpuMs() - before) * 1000 / count / each);
            await quiet(side);
        }
    }
    rows(name, '/s', true, sides, seen);
    rows('  processor time of each', 'us', false, sides, cpu);
}

async function latencies(sides) {
    for (const rate of set.rates) {
        const p50 = sides.map(() => []), p99 = sides.map(() => []);
        for (let round = 0; round < Math.min(set.rounds, 2); round++) {
            for (const [i, side] of sides.entries()) {
                const seen = await openLoop(side.url,
                    singles(side, rate * set.seconds), rate);
                p50[i].push(seen.p50);
                p99[i].push(seen.p99);
                await quiet(side);
            }
        }
        rows(`answered, ${rate} a second due: half within`, 'ms', false, sides,
            p50);
        rows('  99 of 100 within', 'ms', false, sides, p99);
    }
}

/* Memory alone is measured of what a start would find empty. */
async function start(sides) {
    const all = set.accesses;
    for (const side of sides) {
        await introduce(side, all, (who) => Array.from({ length: KIND_COUNT },
            () => reading(side.made++, all)));
        await quiet(side);
    }
    rows(`memory, ${all} accesses, after taking them in`, 'MB', false, sides,
        sides.map((side) => [side.memoryMb()]));
    for (const side of sides.filter((s) => s.database === null)) {
        await endKept(side, side.made);
        sides.splice(sides.indexOf(side), 1);
    }
    const times = sides.map(() => []), after = sides.map(() => []);
    for (let round = 0; round < 3; round++) {
        for (const [i, side] of sides.entries()) {
            await side.stop();
            times[i].push(await side.start());
            await quiet(side);
            after[i].push(side.memoryMb());
        }
    }
    rows('a start with them', 'ms', false, sides, times);
    rows('memory after a start', 'MB', false, sides, after);
}

/* ---- the parts ------------------------------------------------------------------ */

async function part(tmp, name, work) {
    if (!set.only.includes(name)) return;
    const sides = [headgate(set.path, join(tmp, `${name}-h`)),
        peer('plain peer', join(tmp, `${name}-p`), 'peer_ingest.mjs'),
        peer('peer with the same duties', join(tmp, `${name}-d`),
            'peer_ingest.mjs', '--duties'),
        memoryPeer('@medplum/fhir-router, in memory', join(tmp, `${name}-r`),
            'peer_router.mjs')];
    for (const side of sides) await side.start();
    if (name !== 'start') {
        for (const side of sides) {
            await introduce(side, PEOPLE);
            await quiet(side);
        }
    }
    await work(sides);
    for (const side of sides) await endKept(side, side.made);
}

await bench(async (tmp) => {
    await part(tmp, 'single', async (sides) => {
        await rates(sides, 'one Observation a request, 1 at a time',
            Math.ceil(set.singles / 8), singles, 1, 1);
        await rates(sides, 'one Observation a request, 32 at a time',
            set.singles, singles, 32, 1);
    });
    await part(tmp, 'bundle', (sides) => rates(sides,
        `Bundles of ${SIZE}, 4 at a time: Observations`, set.bundles, bundles,
        4, SIZE));
    await part(tmp, 'latency', latencies);
    await part(tmp, 'start', start);
});
