/*
 * The demo from end to end: the generated year goes through the HTTP endpoint
 * of a running service, and the queue must say what the scenario expects of
 * each patient, no more and no less; every Task is valid R4; loading the same
 * year again changes nothing; a person's decisions are kept.
 *
 *     node demo.mjs HEADGATE HEADGATE-DEMO
 */
import { execFileSync, spawnSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';

import { expect, http, searchAll, Service, stopChild }
    from './delivery_kit.mjs';
import { Suite } from './suite.mjs';
import { checkText } from './validate.mjs';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const bench = new Suite({ needs: ['HEADGATE', 'HEADGATE-DEMO'] });
const { tmp: folder, files: [binary, generator] } = bench;
const expected = JSON.parse(readFileSync(join(ROOT, 'config/demo/expected.json')));
const config = ['--config', join(ROOT, 'config/demo.ini'),
    '--set', `store.path=${join(folder, 'hg.db')}`];

function run(command, args) {
    const r = spawnSync(command, args, { encoding: 'utf8', cwd: ROOT });
    return { status: r.status, out: r.stdout, err: r.stderr };
}

function queue() {
    const r = run(binary, ['queue', ...config, '--json']);
    expect(r.status === 0, `queue ended with ${r.status}: ${r.err}`);
    return r.out.trim().split('\n').filter(Boolean).map((l) => JSON.parse(l));
}

/* One line that two lists can be compared by. */
function keyOf(patient, group, rules, urgency) {
    return `${patient} ${group} ${[...rules].sort().join('+')} ${urgency}`;
}

/* Reviews run after the answer. */
async function settled(service) {
    await service.untilMetric('headgate_reviews_waiting', 0);
    return queue();
}

function sameLists(got, want, what) {
    const missing = want.filter((k) => !got.includes(k));
    const extra = got.filter((k) => !want.includes(k));
    expect(missing.length + extra.length === 0 && got.length === want.length,
        `${what}: missing [${missing}], not expected [${extra}]`);
}

const cases = {
    async 'the year is taken through the endpoint'({ service, year }) {
        const r = run(binary, ['load', ...config, '--to', service.url, year]);
        expect(r.status === 0, `load ended with ${r.status}: ${r.err}`);
        expect(/^FHIR resources: 3\d{3} stored, 0 already there, 2 held for a person, 0 refused$/m
            .test(r.out), r.out);
    },
    async 'the queue says what the scenario expects'({ service }) {
        const rows = await settled(service);
        const open = rows.filter((r) => r.kind === 'referral');
        sameLists(open.map((r) => keyOf(`p-${r.patient_number}`, r.group, r.rules, r.urgency)),
            expected.open.map((e) => keyOf(e.patient, e.group, e.rules, e.urgency)), 'referrals');
        sameLists(rows.filter((r) => r.kind === 'reminder')
            .map((r) => `p-${r.patient_number}`),
            expected.repeat_asked.map((e) => e.patient), 'reminders');
    },
    async 'what is unclear is held with its reason'() {
        const r = run(binary, ['quarantine', ...config]);
        const text = r.out.replace(/\s+/g, ' '); // lines end where the width does
        expect(text.includes('which access is meant') &&
            text.includes('litres?'), r.out);
    },
    async 'every Task is valid R4'({ service }) {
        const tasks = await searchAll(`${service.url}/Task?_count=7`);
        // what was said while the year was only half there may be closed again
        const open = tasks.filter((t) => t.status === 'requested');
        expect(open.length === expected.open.length + expected.repeat_asked.length,
            `${open.length} open Tasks`);
        checkValid(tasks);
    },
    async 'stored readings are served back and are valid R4'({ service, lines }) {
        const sample = lines.filter((l) => l.id !== undefined)
            .filter((_, i) => i % 40 === 0);
        const served = [];
        for (const { resourceType, id } of sample) {
            const a = await http('GET', `${service.url}/${resourceType}/${id}`);
            expect(a.status === 200, `${resourceType}/${id}: ${a.status}`);
            served.push(a.body);
        }
        checkValid(served);
    },
    async 'the same year again changes nothing'({ service, year }) {
        const before = JSON.stringify(queue());
        const r = run(binary, ['load', ...config, '--to', service.url, year]);
        expect(/^FHIR resources: 0 stored, \d+ already there/m.test(r.out), r.out);
        await sleep(1000);
        expect(JSON.stringify(queue()) === before, 'the queue has changed');
    },
    async 'a person takes, declines and completes'({ service }) {
        await decide(service);
    },
    async 'a command finds the store when no service runs'({ service }) {
        await stopChild(service.child);
        expect(queue().length > 0, 'no queue without a service');
    },
};

function checkValid(resources) {
    for (const resource of resources) {
        const found = checkText(JSON.stringify(resource)).flatMap((r) => r.found);
        expect(found.length === 0, JSON.stringify(found.slice(0, 3)));
    }
    console.log(`  ${resources.length} resources are valid`);
}

async function decide(service) {
    const [first, second] = queue().filter((r) => r.kind === 'referral');
    for (const [row, status] of [[first, 'accepted'], [second, 'rejected']]) {
        const url = `${service.url}/Task/${row.task}`;
        const task = (await http('GET', url)).body;
        const changed = { ...task, status,
            statusReason: { text: 'Decided by a person' },
            lastModified: new Date().toISOString() };
        const wrong = await http('PUT', url, { ...changed, intent: 'order' });
        expect(wrong.status >= 400 && wrong.status < 500,
            `intent changed: ${wrong.status}`);
        const stale = await http('PUT', url, changed, { 'If-Match': 'W/"99"' });
        expect(stale.status === 412, `stale: ${stale.status}`);
        const done = await http('PUT', url, changed, { 'If-Match': 'W/"1"' });
        expect(done.status === 200, `${status}: ${done.status} ${done.text}`);
    }
    const rows = queue();
    expect(rows.some((r) => r.task === first.task && r.state === 'taken'),
        'an accepted Task is not shown as taken');
    expect(!rows.some((r) => r.task === second.task),
        'a rejected Task is still in the queue');
}

await bench.main(async () => {
    bench.year = join(folder, 'year.ndjson');
    writeFileSync(bench.year, execFileSync(generator, { maxBuffer: 1 << 26 }));
    bench.lines = readFileSync(bench.year, 'utf8').trim().split('\n')
        .map((l) => JSON.parse(l));
    bench.service = new Service(binary, folder, '');
    await bench.service.start();
    await bench.each(cases);
});
