/*
 * Years in minutes: the days of a large region one after the other as fast as
 * they are taken, and a start with as many accesses as a country may have.
 *
 *   node soak.mjs path/to/headgate [DAYS [OBSERVATIONS [ACCESSES]]]
 *
 * A day is the readings of a region with 20,000 dialysis patients, three
 * sessions a week and about 25 values a session: 215,000 Observations (common
 * practice, no source).  After each day memory (VmRSS of /proc, proc(5)), open
 * files and the size of the write-ahead log are told; after all of them, they
 * must be what they were after the second day, but for a little.
 */

import { mkdtempSync, readFileSync, readdirSync, rmSync, statSync }
    from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { Service, expect, http, killChildren, stopChild }
    from './delivery_kit.mjs';

const BASE = 'https://headgate.example/fhir';
const DAY_MS = 86400000;
const NOW = Date.now(); /* one moment for the whole run */
const PART = 250;       /* entries of a Bundle */
const AT_ONCE = 4;
const RSS_MORE_MIB = 64;   /* the cache of the store may still fill */
const WAL_MOST_MIB = 160;  /* forced at 64, and a batch behind it */

const [binary, days = '3', each = '10000', accesses = '2000'] =
    process.argv.slice(2);
if (binary === undefined) {
    console.error('usage: soak.mjs path/to/headgate [DAYS [OBSERVATIONS '
        + '[ACCESSES]]]');
    process.exit(2);
}
const tmp = mkdtempSync(join(tmpdir(), 'headgate-soak-'));
const service = new Service(resolve(binary), tmp, '');

/* ---- what is sent -------------------------------------------------------------- */

const put = (resource) => ({ resource, request: { method: 'PUT',
    url: `${resource.resourceType}/${resource.id}` } });

const person = (n) => [put({ resourceType: 'Patient', id: `p${n}`,
    identifier: [{ system: 'https://site.example/ids/patient',
        value: `N-${n}` }] }),
put({ resourceType: 'BodyStructure', id: `a${n}`, active: true,
    morphology: { coding: [{ code: 'avf',
        system: `${BASE}/CodeSystem/av-access-type` }] },
    location: { text: 'Left upper arm' },
    patient: { reference: `Patient/p${n}` } })];

/* No flow among them is high or low: no Task comes of a quiet day. */
const KINDS = [['access-flow', 900, 'mL/min'], ['access-flow', 1000, 'mL/min'],
    ['access-flow', 950, 'mL/min']];

function reading(day, n, people) {
    const [code, value, unit] = KINDS[n % KINDS.length];
    const who = Math.floor(n / KINDS.length) % people;
    return { resource: { resourceType: 'Observation', status: 'final',
        identifier: [{ system: 'https://site.example/ids/obs',
            value: `${day}-${n}` }],
        code: { coding: [{ system: `${BASE}/CodeSystem/av-observation`,
            code }] },
        subject: { reference: `Patient/p${who}` },
        focus: [{ reference: `BodyStructure/a${who}` }],
        effectiveDateTime: new Date(NOW - (60 - day) * DAY_MS
            - n % 36000 * 1000).toISOString(),
        valueQuantity: { value: value + n % 40, code: unit,
            unit, system: 'http://unitsofmeasure.org' } },
    request: { method: 'POST', url: 'Observation' } };
}

/* All of them, in Bundles, several at once. */
async function send(count, make, step) {
    let next = 0;
    await Promise.all(Array.from({ length: AT_ONCE }, async () => {
        while (next < count) {
            const from = next;
            next += step;
            const entry = Array.from({ length: Math.min(step, count - from) },
                (_, i) => make(from + i)).flat();
            const { status, text } = await http('POST', service.url,
                { resourceType: 'Bundle', type: 'batch', entry });
            expect(status === 200, `${status} ${text.slice(0, 400)}`);
        }
    }));
}

/* ---- what it takes -------------------------------------------------------------- */

function taken() {
    const proc = `/proc/${service.child.pid}`;
    const wal = `${tmp}/hg.db-wal`;
    return { rss: Number(/VmRSS:\s+(\d+)/.exec(readFileSync(`${proc}/status`,
        'utf8'))[1]) / 1024, files: readdirSync(`${proc}/fd`).length,
    wal: statSync(wal, { throwIfNoEntry: false })?.size / 1048576 || 0,
    db: statSync(`${tmp}/hg.db`).size / 1048576 };
}

const metrics = () => http('GET', service.url.replace(/fhir$/, 'metrics'));

async function reviewed() {
    for (;; await sleep(250)) {
        const { text } = await metrics();
        if (/^headgate_reviews_waiting 0$/m.test(text))
            return;
    }
}

const show = (what, s, t) => console.log(`    ${what}: ${s.toFixed(1)} s, `
    + `RSS ${t.rss.toFixed(0)} MiB, ${t.files} files, log ${t.wal.toFixed(1)
    } MiB, store ${t.db.toFixed(0)} MiB`);
const since = (began) => (performance.now() - began) / 1000;

async function timed(what, run) {
    const began = performance.now();
    await run();
    const t = taken();
    show(what, since(began), t);
    return t;
}

/* ---- the run --------------------------------------------------------------------- */

const people = Number(accesses);
let failed = 0;
try {
    await service.start();
    await timed(`${people} accesses`, () => send(people, person, PART / 2));
    const after = [];
    for (let day = 0; day < Number(days); day++)
        after.push(await timed(`day ${day + 1}, ${each} Observations`,
            async () => {
                await send(Number(each), (n) => [reading(day, n, people)], PART);
                await reviewed();
            }));
    const last = after.at(-1), second = after[Math.min(1, after.length - 1)];
    expect(last.rss - second.rss < RSS_MORE_MIB, `memory grows: ${
        after.map((t) => t.rss.toFixed(0)).join(', ')} MiB`);
    expect(last.files <= second.files + 1, `files: ${after.map((t) =>
        t.files).join(', ')}`);
    expect(after.every((t) => t.wal < WAL_MOST_MIB), `the log: ${
        after.map((t) => t.wal.toFixed(0)).join(', ')} MiB`);
    for (const how of ['SIGTERM', 'SIGKILL']) {
        await stopChild(service.child, how);
        const began = performance.now();
        await service.start();
        let ready;
        do
            ready = await http('GET', service.url.replace(/fhir$/, 'readyz'));
        while (ready.status !== 200);
        show(`started after ${how}, to /readyz`, since(began), taken());
    }
} catch (e) {
    failed = 1;
    console.log(`FAIL ${e.stack}`);
    service.lastLines(10).forEach((line) => console.log(`      ${line}`));
}
killChildren();
rmSync(tmp, { recursive: true, force: true });
console.log(`${1 - failed} passed, ${failed} failed`);
process.exit(failed);
