/*
 * Disks that are full, read-only, or refuse to sync: what was acknowledged is
 * there once, what could not be kept is not acknowledged, and when the disk is
 * well again everything goes on.
 *
 *   node disk.mjs path/to/headgate path/to/libsync_fails.so [PART-OF-A-NAME]
 *
 * The disks are file systems in memory with a size (mount(8)), for which the
 * test has to run as root or in a user namespace of its own.  503 and what it
 * says of the future come from RFC 9110, 15.6.4.
 */

import { spawnSync } from 'node:child_process';
import { appendFileSync, mkdirSync, readFileSync, renameSync, rmSync, statSync,
    writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http, stopChild } from './delivery_kit.mjs';
import { FileSuite, bundle, has, lines, patient, read, reading, text }
    from './load_kit.mjs';
import { until } from './suite.mjs';

const suite = new FileSuite({ needs: ['path/to/headgate',
    'path/to/libsync_fails.so'] });
const [, shim] = suite.files;
const mounted = [];
suite.close = () => mounted.forEach((path) =>
    spawnSync('umount', ['-l', path]));

function mount(...words) {
    const said = spawnSync('mount', words, { encoding: 'utf8' });
    expect(said.status === 0, `mount(8) is needed: ${said.stderr}`);
}

function disk(name, size) {
    const path = join(suite.tmp, name);
    mkdirSync(path);
    mount('-t', 'tmpfs', '-o', `size=${size}`, 'headgate-test', path);
    mounted.push(path);
    return path;
}

/* Somebody else's file of so many bytes. */
function foreign(path, bytes) {
    writeFileSync(join(path, '.filler'), Buffer.alloc(bytes));
}

/* Whatever is left is used up; the function that it gives frees all of it. */
function fill(path) {
    const filler = join(path, '.filler');
    for (let block = 65536; block >= 512; block /= 2)
        try {
            for (;;)
                appendFileSync(filler, Buffer.alloc(block));
        } catch (e) {
            expect(e.code === 'ENOSPC', e.message);
        }
    return () => rmSync(filler);
}

const post = (service, n, tag = 'a') => http('POST',
    `${service.url}/Observation`, reading(tag, n));

/* what is said of a disk that is full, and of nothing else */
const FULL = /The disk of the store is full, or may not be written to; nothing was stored/;

/* Answers of ingest: taken, or not now; nothing else. */
async function send(service, from, to) {
    const taken = [], refused = [];
    for (let n = from; n < to; n++) {
        const { status, text } = await post(service, n);
        expect([200, 201, 503].includes(status), `${status} ${text}`);
        expect(status !== 503 || FULL.test(text), text);
        (status === 503 ? refused : taken).push(n);
    }
    return { taken, refused };
}

async function expectTaken(service, numbers, what) {
    for (const n of numbers) {
        const { status, text } = await post(service, n);
        expect(status === 200 || status === 201, `${what} ${n}: ${status
        } ${text}`);
    }
}

/* Each reading once, and the file whole. */
function expectStore(count, tag = 'a') {
    expect(suite.readings(tag) === count, `${suite.readings(tag)} of ${count}`);
    expect(suite.count('SELECT count(*) FROM (SELECT 1 FROM identifier WHERE '
        + 'kind = 1 GROUP BY system, value HAVING count(*) > 1)') === 0, 'once');
    expect(suite.count("SELECT count(*) FROM pragma_integrity_check WHERE"
        + " integrity_check <> 'ok'") === 0, 'the store is whole');
}

async function ready(service) {
    return (await http('GET', service.url.replace(/fhir$/, 'readyz'))).status;
}

/* ---- full ------------------------------------------------------------------- */

/* A person is told by the command what the service has answered. */
async function expectCommandsSay(place) {
    const file = join(suite.tmp, 'more.ndjson');
    let loaded = { status: 0 }, queue = { status: 0 };
    for (let n = 0; n < 50 && (loaded.status === 0 || queue.status === 0); n++) {
        fill(place);
        writeFileSync(file, text(lines(`l${n}`, 300)));
        loaded = loaded.status !== 0 ? loaded : await suite.load(file);
        queue = queue.status !== 0 ? queue : await suite.run('queue', []);
    }
    const says = new RegExp(`the service answered 503: ${FULL.source}`);
    expect(loaded.status === 1 && says.test(loaded.err)
        && !/denied/.test(loaded.err), `load: ${loaded.status} ${loaded.err}`);
    expect(queue.status === 1 && says.test(queue.err),
        `queue: ${queue.status} ${queue.err}`);
}

await suite.one('full at once, all of it in the log; killed and started on it', async () => {
    const place = disk('full', '12m');
    suite.place({ 'store.path': join(place, 'hg.db') });
    const service = suite.serve();
    await service.start();
    await service.post(patient('a'));
    foreign(place, 2 * 1024 * 1024);
    /* under load nothing is moved out of the log */
    let sent = 0;
    for (const end = Date.now() + 20000; Date.now() < end; sent += 400) {
        const answers = await Promise.all([0, 1, 2, 3].map((k) => http('POST',
            service.url, bundle('transaction', Array.from({ length: 100 },
                (_, n) => reading('w', sent + k * 100 + n))))));
        expect(answers.every((a) => a.status === 200 || a.status === 503),
            answers.map((a) => a.status).join());
        if (answers.some((a) => a.status === 503))
            break;
    }
    let empty = fill(place);
    const size = (name) => (has(join(place, name))
        ? statSync(join(place, name)).size / 1048576 : 0).toFixed(1);
    console.log(`      full at ${sent} readings: ${size('hg.db')} MiB and a log `
        + `of ${size('hg.db-wal')} MiB`);
    /* without the room that is held all but 4 kB of it would be log */
    expect(Number(size('hg.db')) > 2 * Number(size('hg.db-wal')),
        'the log has been moved while there was room');
    let before = await send(service, 0, 30);
    for (let n = 0; n < 50 && before.refused.length === 0; n++) {
        empty = fill(place); /* of the room that was let go, too */
        before = await send(service, 0, 30 + n * 20);
    }
    expect(before.refused.length > 0, 'nothing is refused');
    await expectCommandsSay(place);
    const last = Math.max(...before.refused, ...before.taken) + 1;
    await service.killAndStart(); /* it can be started where nothing fits */
    const between = await send(service, last, last + 30);
    expect((await http('GET', `${service.url}/metadata`)).status === 200,
        'it answers');
    empty();
    await until('it takes again', async () =>
        (await post(service, last + 30)).status < 300);
    await expectTaken(service, [...before.refused, ...between.refused],
        'refused before');
    await expectTaken(service, [...before.taken, ...between.taken],
        'taken before');
    await until('it is ready', async () => await ready(service) === 200);
    expect(await stopChild(service.child) === 0, 'it stops in good order');
    expectStore(last + 31);
    expect(suite.readings('w') % 100 === 0, 'a transaction is whole or absent');
    expect(!has(join(place, 'hg.db-room')), 'no room is held by who is not there');
});

/* As after an upgrade, when everybody is looked at again. */
await suite.one('reviews that cannot be kept wait, and hold no end up', async () => {
    const place = disk('reviews', '24m');
    suite.place({ 'store.path': join(place, 'hg.db') });
    const service = suite.serve();
    await service.start();
    await service.post(patient('a'));
    expect((await send(service, 0, 20)).refused.length === 0, 'all is well');
    expect(await stopChild(service.child) === 0, 'it stops in good order');
    const db = new DatabaseSync(join(place, 'hg.db'));
    db.exec('INSERT OR REPLACE INTO news SELECT id, part, 0 FROM access');
    db.close();
    const empty = fill(place);
    const said = () => read(service.log).match(/event=store\.commit err=full/g)
        ?.length ?? 0;
    const before = said();
    await service.start();
    await until('a review has failed', () => said() > before);
    await sleep(3000);
    expect(said() - before <= 3, `said ${said() - before} times`);
    expect((await http('GET', `${service.url}/metadata`)).status === 200,
        'it answers');
    const began = Date.now();
    expect(await stopChild(service.child) === 0, 'it stops in good order');
    expect(Date.now() - began < 20000, 'it does not end');
    await service.start();
    empty();
    await service.untilMetric('headgate_reviews_waiting', 0);
    expect(await stopChild(service.child) === 0, 'it stops in good order');
});

await suite.one('a file system that becomes read-only, and is mended', async () => {
    const place = disk('readonly', '24m');
    suite.place({ 'store.path': join(place, 'hg.db') });
    const service = suite.serve();
    await service.start();
    await service.post(patient('a'));
    const before = await send(service, 0, 20);
    expect(before.refused.length === 0, 'all is well');
    await stopChild(service.child, 'SIGKILL');
    mount('-o', 'remount,ro', place);
    /* what cannot be written to is not served from */
    const said = await suite.run('serve', []);
    expect(said.status === 1 && /hg\.db: cannot be written to: Read-only file system\. .*mount it read-write/
        .test(said.err), `${said.status} ${said.err}`);
    mount('-o', 'remount,rw', place);
    await service.start();
    await expectTaken(service, before.taken, 'taken before');
    await expectTaken(service, [20, 21], 'new');
    expect(await stopChild(service.child) === 0, 'it stops in good order');
    expectStore(22);
});

/* ---- a disk that does not sync ------------------------------------------------ */

async function startWith(service, environment) {
    Object.assign(process.env, environment,
        { ASAN_OPTIONS: 'verify_asan_link_order=0' });
    try {
        await service.start();
    } finally {
        [...Object.keys(environment), 'ASAN_OPTIONS'].forEach((name) =>
            delete process.env[name]);
    }
}

await suite.one('a sync that fails ends the service; started again all is there', async () => {
    expect(has(shim), `${shim} is needed`);
    const fails = join(suite.tmp, 'sync-fails');
    suite.place();
    const service = suite.serve();
    await startWith(service, { LD_PRELOAD: shim, HEADGATE_SYNC_FAILS: fails });
    await service.post(patient('a'));
    const before = await send(service, 0, 20);
    expect(before.refused.length === 0, 'all is well');
    writeFileSync(fails, '');
    const answers = await Promise.allSettled(Array.from({ length: 8 },
        (_, n) => post(service, 20 + n)));
    /* no acknowledgement: 503, or a connection that ends */
    expect(answers.every((a) => a.status === 'rejected'
        || a.value.status === 503), JSON.stringify(answers.map((a) =>
        a.value?.status)));
    /* after the restart it may be there: nobody is told that it is not */
    expect(answers.every((a) => a.status === 'rejected'
        || /not known whether this was stored: send it again/.test(a.value.text)),
        JSON.stringify(answers.map((a) => a.value?.text)));
    expect(await service.child.ended === 1, 'it ends, and says that it failed');
    await until('the log says why, and what to do', () =>
        /event=store\.fatal err=io do="The service ends/.test(read(service.log)));
    rmSync(fails);
    await service.start();
    await expectTaken(service, before.taken, 'acknowledged before');
    await expectTaken(service, [20, 21, 22, 23, 24, 25, 26, 27], 'not');
    expect(await stopChild(service.child) === 0, 'it stops in good order');
    expectStore(28);
});

await suite.one('a store that is taken away: no acknowledgement, and none made in its place', async () => {
    suite.place();
    const service = suite.serve();
    await service.start();
    await service.post(patient('a'));
    await expectTaken(service, [0, 1, 2], 'at first');
    const away = `${suite.store}.away`;
    renameSync(suite.store, away);
    const { status } = await post(service, 3).catch(() => ({ status: 503 }));
    expect(status === 503, `${status} for what is written to no store`);
    expect(await service.child.ended === 1, 'it ends, and says that it failed');
    await until('the log says why', () => /event=store\.gone/
        .test(read(service.log)));
    expect((await suite.run('queue', [])).status !== 0, 'a queue of no store');
    const again = spawnSync(suite.binary, service.args, { timeout: 10000,
        encoding: 'utf8' });
    expect(again.status === 1 && /is missing/.test(again.stderr)
        && !has(suite.store), `in its place: ${again.stderr}`);
    renameSync(away, suite.store);
    await service.start();
    await expectTaken(service, [0, 1, 2, 3], 'with it there again');
    expect(await stopChild(service.child) === 0, 'it stops in good order');
    expectStore(4);
});

await suite.one('a store of which a part cannot be read: seen, and said', async () => {
    suite.place();
    const service = suite.serve();
    await service.start();
    await service.post(patient('a'));
    await expectTaken(service, Array.from({ length: 300 }, (_, n) => n), 'of');
    const get = (path) => http('GET', new URL(path, service.url).href);
    expect(/^headgate_store_damaged 0$/m.test((await get('/metrics')).text), 'yet');
    expect(await stopChild(service.child) === 0, 'it stops in good order');
    /* leaves of indices (file format of SQLite, 1.6) by which a reading that
     * comes again is found */
    const bytes = readFileSync(suite.store), page = 4096;
    let hurt = 0;
    for (let at = page; at < bytes.length; at += page)
        if (bytes[at] === 0x0a
            && bytes.subarray(at, at + page).includes('/ids/obs')) {
            bytes.fill(0xaa, at, at + page);
            hurt++;
        }
    expect(hurt > 2, `${hurt} pages`);
    writeFileSync(suite.store, bytes);
    await service.start();
    const answers = await Promise.all(Array.from({ length: 60 }, (_, n) =>
        post(service, n)));
    expect(answers.some((a) => a.status === 503), 'nothing of it is missed');
    expect(/^headgate_store_damaged 1$/m.test((await get('/metrics')).text),
        'the metric');
    expect(/store: DAMAGED/.test((await get('/readyz')).text), '/readyz');
    await until('the log says it', () => /level=error event=store\.damaged/
        .test(read(service.log)));
    await stopChild(service.child);
});

await suite.finish();
