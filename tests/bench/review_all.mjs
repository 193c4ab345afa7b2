/*
 * Everybody reviewed again, as after a change of the policy: a value of it that
 * changes no verdict is changed while the service runs (SIGHUP), and counted is
 * until no access waits for a review.  Beside a script of Python that applies the
 * same rules on flow to the same flows (peer_review.py) and does nothing else.
 *
 *   node tests/bench/review_all.mjs HEADGATE [--accesses N] [--flows N]
 *       [--rounds N]
 *
 * Asserted: both flag as many accesses for a high and for a low flow.
 */

import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { DAY_MS, NOW, ROOT, bench, bundleOf, expect, expectKept, headgate,
    observation, options, person, quiet, row } from './bench_common.mjs';
import { closedLoop, nowMs, request } from './load_client.mjs';

const set = options({ accesses: 20000, flows: 8, rounds: 3 });
const PART = 250;

/* ---- flows --------------------------------------------------------------------- */

/* One in fifty is very high, high, low or has fallen lately; far from any limit,
 * so that both see the same.  In mL/min, the newest of yesterday. */
function flowsOf(who) {
    const kind = who % 50;
    return Array.from({ length: set.flows }, (_, i) => {
        const wave = (who * 7 + i * 5) % 20;
        const isLate = i >= set.flows - 2;
        const level = [2150, 1650, 440, isLate ? 600 : 950][kind]
            ?? 800 + who * 37 % 500;
        return { at: NOW - DAY_MS * (1 + 30 * (set.flows - 1 - i)),
            value: level + wave };
    });
}

async function fill(side) {
    for (let n = 0; n < set.accesses; n += PART) {
        const who = Array.from({ length: Math.min(PART, set.accesses - n) },
            (_, i) => n + i);
        await closedLoop(side.url, [request(side.url, '', bundleOf([
            ...who.flatMap(person), ...who.flatMap((w) => flowsOf(w).map(
                ({ at, value }, i) => observation(`r-${w}-${i}`, w, 0, value,
                    at)))]))], 1);
    }
}

function fillPeer(tmp) {
    const python = (...args) => execFileSync('/usr/bin/python3', ['-B',
        join(ROOT, 'tests/bench/peer_review.py'), join(tmp, 'peer.db'), ...args],
    { encoding: 'utf8' });
    const rows = Array.from({ length: set.accesses }, (_, who) => flowsOf(who)
        .map(({ at, value }) => `a${who},${at / 1000},${value}\n`).join(''));
    writeFileSync(join(tmp, 'flows.csv'), rows.join(''));
    python(join(tmp, 'flows.csv'));
    return () => python().trim().split(' ').map(Number);
}

/* ---- reviews -------------------------------------------------------------------- */

const waiting = (side) => side.metric('headgate_reviews_waiting');

async function reviewed(side) {
    for (const end = Date.now() + 600000; await waiting(side) > 0;) {
        expect(Date.now() < end, 'ten minutes, and some are not reviewed');
        await sleep(25);
    }
}

/* Milliseconds from the signal to the last review. */
async function again(side, policy, days) {
    const text = readFileSync(policy, 'utf8');
    const changed = text.replace(/^put_off_routine_d = \d+/m,
        `put_off_routine_d = ${days}`);
    expect(changed !== text, 'the policy is as before');
    writeFileSync(policy, changed);
    const began = nowMs();
    side.child.kill('SIGHUP');
    for (const end = Date.now() + 10000; await waiting(side) === 0;) {
        expect(Date.now() < end, 'nothing is reviewed again');
        await sleep(5);
    }
    await reviewed(side);
    return nowMs() - began;
}

/* Suggestions that are open, by group: high flow, then low. */
function flagged(side) {
    const db = new DatabaseSync(side.database);
    const groups = db.prepare('SELECT grp, count(*) AS n FROM episode WHERE '
        + 'state IN (1, 2) GROUP BY grp ORDER BY grp').all();
    db.close();
    return groups.map((g) => Number(g.n));
}

await bench(async (tmp) => {
    const policy = join(tmp, 'policy.ini');
    writeFileSync(policy, readFileSync(join(ROOT, 'config/policy.ini')));
    const side = headgate(set.path, join(tmp, 'h'), { policy });
    mkdirSync(join(tmp, 'p'));
    const review = fillPeer(join(tmp, 'p'));
    await side.start();
    await fill(side);
    await reviewed(side);
    await quiet(side);
    const ours = [], theirs = [];
    let counts;
    for (let round = 0; round < set.rounds; round++) {
        ours.push(set.accesses * 1000 / await again(side, policy, 181 + round));
        await quiet(side);
        const [ms, ...found] = review();
        theirs.push(set.accesses * 1000 / ms);
        counts = found;
    }
    await side.stop();
    expectKept(side, set.accesses * set.flows);
    expect(flagged(side).join(' ') === counts.join(' '),
        `flagged: ${flagged(side)}, by the peer ${counts}`);
    row(`everybody again, ${set.accesses}: accesses`, '/s', true, ours, theirs,
        'Python, sqlite3, flow rules only');
});
