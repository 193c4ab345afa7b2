/*
 * headgate load: readings out of NDJSON files, straight into a store that nobody
 * has open, and to a running service; beside a script of Python (peer_load.py).
 * Counted is from the start of the process to its end; accesses are reviewed by
 * the service, later.
 *
 *   node tests/bench/load_file.mjs HEADGATE [--rounds N] [--lines N]
 *
 * Asserted: every line was stored.
 */

import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { ROOT, begin, bench, expect, expectKept, headgate, options, person, quiet,
    reading, row } from './bench_common.mjs';
import { nowMs } from './load_client.mjs';

const set = options({ rounds: 3, lines: 20000 });
const PEOPLE = 2000;

const text = (resources) => resources.map((r) => `${JSON.stringify(r)}\n`)
    .join('');

/* What it said, and how long it took. */
function run(command, args) {
    const began = nowMs();
    const child = begin(command, args, ['ignore', 'pipe', 'inherit']);
    let said = '';
    child.stdout.on('data', (chunk) => { said += chunk; });
    return new Promise((done) => child.on('close', (status) =>
        done({ status, said, ms: nowMs() - began })));
}

/* Lines a second, all of which are to be stored. */
async function loaded(way, file, count) {
    const { status, said, ms } = await run(way.command, [...way.args, file]);
    expect(status === 0 && new RegExp(`\\b${count} stored`).test(said),
        `${way.name}, ${status}: ${said}`);
    return count * 1000 / ms;
}

/* Of a store of its own for each way. */
function ways(tmp) {
    const alone = headgate(set.path, join(tmp, 'alone'));
    const served = headgate(set.path, join(tmp, 'served'));
    const database = join(tmp, 'peer', 'peer.db');
    const load = (side) => ['load', ...side.args.slice(1), '--quiet'];
    mkdirSync(join(tmp, 'peer'));
    return { served, all: [
        { ...alone, args: load(alone) },
        { ...served, args: load(served) },
        { name: 'Python, sqlite3', database, command: '/usr/bin/python3',
            args: ['-B', join(ROOT, 'tests/bench/peer_load.py'), database] }] };
}

await bench(async (tmp) => {
    const { served, all } = ways(tmp);
    const people = join(tmp, 'people.ndjson'), file = join(tmp, 'part.ndjson');
    writeFileSync(people, text(Array.from({ length: PEOPLE }, (_, n) =>
        person(n)).flat()));
    await served.start();
    const seen = all.map(() => []);
    for (const way of all.slice(0, 2)) await loaded(way, people, 2 * PEOPLE);
    for (let round = 0; round < set.rounds; round++) {
        writeFileSync(file, text(Array.from({ length: set.lines }, (_, i) =>
            reading(round * set.lines + i, PEOPLE))));
        for (const [i, way] of all.entries()) {
            seen[i].push(await loaded(way, file, set.lines));
            await quiet(served);
        }
    }
    row('NDJSON, straight into the store: lines', '/s', true, seen[0], seen[2],
        all[2].name);
    row('NDJSON, to a running service: lines', '/s', true, seen[1], seen[2],
        all[2].name);
    await served.stop();
    all.forEach((way) => expectKept(way, set.rounds * set.lines));
});
