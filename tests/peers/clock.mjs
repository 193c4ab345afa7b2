/*
 * Clocks that jump, and a record that is away for days.
 *
 *   node clock.mjs path/to/headgate [NAME]
 *
 * The other clocks are those of libfaketime, which changes what CLOCK_REALTIME
 * says to one process; the record is the server in memory of record.mjs.  When
 * summer time ends and begins is that of Europe/Berlin in the tz database.
 */

import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { Record, Service, expect, http, searchAll, stopChild }
    from './delivery_kit.mjs';
import { Person } from './delivery_cases.mjs';
import { FileSuite, has } from './load_kit.mjs';
import { until } from './suite.mjs';

const FAKE = ['/usr/lib/x86_64-linux-gnu/faketime/libfaketimeMT.so.1',
    '/usr/lib64/faketime/libfaketimeMT.so.1',
    '/usr/lib/faketime/libfaketimeMT.so.1'];
const AWAY = 20; /* Tasks that wait for the record */
const suite = new FileSuite();
let scenes = 0;

/* when: "+14d", "@2026-12-31 23:59:56"; none: as it is. */
async function startAt(service, when) {
    const library = FAKE.find((path) => has(path));
    expect(library !== undefined, 'libfaketime is needed');
    if (when !== undefined)
        Object.assign(process.env, { LD_PRELOAD: library, FAKETIME: when,
            TZ: 'UTC', ASAN_OPTIONS: 'verify_asan_link_order=0' });
    try {
        await service.start();
    } finally {
        ['LD_PRELOAD', 'FAKETIME', 'TZ', 'ASAN_OPTIONS'].forEach((name) =>
            delete process.env[name]);
    }
}

async function scene(settings = {}) {
    const folder = join(suite.tmp, `c${++scenes}`);
    mkdirSync(folder);
    const record = await Record.start(folder);
    const service = new Service(suite.binary, folder, record.url,
        { 'outbox.retry_first': 1000, 'outbox.retry_last': 3600000,
            'site.zone': 'Europe/Berlin', ...settings });
    suite.service = service;
    suite.store = `${folder}/hg.db`;
    return { record, service };
}

/* Whatever is asked of the record: not now. */
const away = (record) => http('POST', `${record.control}/faults`, { match: {},
    kind: 'status', status: 503, times: 100000 });

const tasksAt = (record) => searchAll(`${record.url}/Task?_count=500`);

/* All arrive, each once. */
async function expectAll(record, count, since) {
    await until('all are there', async () => (await tasksAt(record)).length
        >= count, 60000);
    const keys = (await tasksAt(record)).flatMap((task) =>
        task.identifier.map((i) => i.value));
    expect(keys.length === count && new Set(keys).size === count,
        `${keys.length} Tasks, ${new Set(keys).size} different`);
    /* no herd: what reads there is this test, too */
    const sent = (await record.log(since)).filter((r) => r.method !== 'GET');
    expect(sent.length < count * 6, `${sent.length} requests for ${count
    } Tasks`);
}

await suite.one('set back by two weeks: nothing waits for two weeks', async () => {
    const { record, service } = await scene();
    await startAt(service, '+14d');
    await away(record);
    for (let n = 0; n < 3; n++)
        await new Person(service, `b${n}`).bothReadings();
    await until('they wait', async () => (await http('GET', service.url
        .replace(/fhir$/, 'metrics'))).text
        .includes('headgate_outbox_resources{state="waiting"} 3'));
    await stopChild(service.child, 'SIGKILL');
    await record.clearFaults();
    const since = await record.end();
    await startAt(service);
    await expectAll(record, 3, since);
    expect(await stopChild(service.child) === 0, 'it stops in good order');
    expect(suite.count('SELECT count(*) FROM task') === 3, 'three Tasks');
});

await suite.one('a record that is away for three days', async () => {
    const { record, service } = await scene();
    await startAt(service);
    await away(record);
    for (let n = 0; n < AWAY; n++)
        await new Person(service, `r${n}`).bothReadings();
    await stopChild(service.child, 'SIGKILL');
    await startAt(service, '+36h');
    await until('it is tried again', async () => (await record.log())
        .length > 1);
    await stopChild(service.child, 'SIGKILL');
    await record.clearFaults();
    const since = await record.end();
    await startAt(service, '+72h');
    await expectAll(record, AWAY, since);
    expect(await stopChild(service.child) === 0, 'it stops in good order');
    expect(suite.count('SELECT count(*) FROM task WHERE code <> (SELECT min('
        + 'code) FROM task)') === 0 && suite.count('SELECT count(*) FROM task')
        === AWAY, 'a Task each');
});

/* What comes by time alone comes once, though that time comes twice. */
await suite.one('over the ends of summer time and of the year, twice each', async () => {
    const { record, service } = await scene();
    const decisions = () => suite.count('SELECT count(*) FROM decision');
    await startAt(service);
    const person = await new Person(service, 'y').bothReadings();
    await expectAll(record, 1, 0);
    await stopChild(service.child);
    const year = new Date().getUTCFullYear();
    const seen = [];
    for (const when of [`@${year}-12-31 23:59:58`, `@${year + 1}-03-28 00:59:58`,
        `@${year + 1}-10-31 00:59:58`])
        for (const turn of [1, 2]) {
            await startAt(service, when);
            await until('it is reviewed', async () => (await http('GET',
                service.url.replace(/fhir$/, 'metrics'))).text
                .includes('headgate_reviews_waiting 0'));
            const asked = performance.now();
            await until('over the end', () => performance.now() - asked > 2500);
            expect(await stopChild(service.child) === 0, 'it stops');
            seen.push(decisions());
            expect(turn === 1 || seen.at(-1) === seen.at(-2),
                `${when}: ${seen.join(', ')} decisions`);
        }
    const own = (await tasksAt(record)).filter((task) => person.isIn(task));
    const keys = own.flatMap((task) => task.identifier.map((i) => i.value));
    expect(new Set(keys).size === keys.length, `${keys.join()} twice`);
    expect(suite.count('SELECT count(*) FROM (SELECT 1 FROM episode GROUP BY '
        + 'access, grp HAVING sum(state IN (1, 2)) > 1)') === 0, 'one open');
});

await suite.finish();
