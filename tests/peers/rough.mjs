/*
 * When something is full, and when a clock goes back: what was acknowledged is
 * there once, what could not be kept is not acknowledged, and when there is
 * room again everything goes on by itself.
 *
 *   node rough.mjs path/to/headgate [PART-OF-A-NAME]
 *
 * The disk that is full is one: a file system in memory with a size (mount(8)),
 * for which the test has to run as root or in a user namespace of its own.  The
 * other clock is that of libfaketime.  What an acknowledgement says comes from
 * HL7's table 0008 (AA, AE, AR) and from RFC 9110, 15.6.4 (503).
 */

import { spawnSync } from 'node:child_process';
import { appendFileSync, mkdirSync, readFileSync, renameSync, rmSync,
    statSync, statfsSync, truncateSync, utimesSync, writeFileSync } from 'node:fs';
import { request } from 'node:http';
import { connect } from 'node:net';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http, stopChild } from './delivery_kit.mjs';
import { FileSuite, expectOutcomes, has, lines, message, patient, read, reading,
    senderSection, text } from './load_kit.mjs';
import { freePort, until } from './suite.mjs';

const suite = new FileSuite();
const BASE = 'https://headgate.example/fhir';
const OBS = `${BASE}/CodeSystem/av-observation`;
const mounted = [];
suite.close = () => mounted.forEach((path) => spawnSync('umount', [path]));

function disk(name, size) {
    const path = join(suite.tmp, name);
    mkdirSync(path);
    const said = spawnSync('mount', ['-t', 'tmpfs', '-o', `size=${size}`,
        'headgate-test', path], { encoding: 'utf8' });
    expect(said.status === 0, `mount(8) is needed: ${said.stderr}`);
    mounted.push(path);
    return path;
}

/* Leaves so many bytes. */
function fill(path, left = 0) {
    const filler = join(path, '.filler');
    const free = () => { const s = statfsSync(path); return s.bavail * s.bsize; };
    for (let size = free() - left; size > 0; size = free() - left) {
        try {
            appendFileSync(filler, Buffer.alloc(Math.min(size, 4096)));
        } catch (e) {
            expect(e.code === 'ENOSPC', e.message);
            break;
        }
    }
    return () => rmSync(filler);
}

/* One message by MLLP; the word of MSA-1. */
function mllp(port, er7) {
    return new Promise((done, fail) => {
        const line = connect(port, '127.0.0.1', () => line.write(Buffer.concat([
            Buffer.from([0x0b]), Buffer.from(er7), Buffer.from([0x1c, 0x0d])])));
        let said = '';
        line.on('error', fail);
        line.on('data', (chunk) => {
            said += chunk;
            if (said.includes('\x1c\r')) {
                line.destroy();
                done(/MSA\|(\w\w)/.exec(said)?.[1]);
            }
        });
    });
}

/* One message by HTTP; its status and the word of MSA-1. */
function v2(service, er7) {
    return new Promise((done, fail) => {
        const req = request(service.url.replace('/fhir', '/hl7'), { method:
            'POST', headers: { 'Content-Type': 'x-application/hl7-v2+er7' } },
        (res) => {
            let said = '';
            res.on('data', (chunk) => { said += chunk; });
            res.on('end', () => done({ status: res.statusCode,
                word: /MSA\|(\w\w)/.exec(said)?.[1], text: said }));
        });
        req.on('error', fail);
        req.end(er7);
    });
}

async function metric(service, name) {
    const { status, text: all } = await http('GET',
        service.url.replace('/fhir', '/metrics'));
    if (status === 503) /* what is in the store cannot be told just now */
        return undefined;
    const row = all.split('\n').find((l) => l.startsWith(`${name} `));
    expect(row !== undefined, `no metric ${name}`);
    return Number(row.slice(name.length + 1));
}

const summary = (path) => JSON.parse(read(`${path}.summary.json`));

/* ---- disks ---------------------------------------------------------------- */

await suite.one('the disk of the store is full, and has room again', async () => {
    const place = disk('store', '6m');
    const port = await freePort();
    suite.place({ 'store.path': join(place, 'hg.db'), 'mllp.enabled': true,
        'mllp.port': port, 'drop.folder': join(suite.tmp, 'drop-store'),
        'drop.poll': 1, 'drop.settle': 0 });
    const drop = join(suite.tmp, 'drop-store');
    mkdirSync(drop);
    const service = suite.serve();
    await service.start();
    await service.post(patient('a'));
    const empty = fill(place, 1024 * 1024);
    const taken = [], refused = [];
    for (let n = 0; refused.length < 20; n++) {
        expect(n < 5000, 'it is never full');
        const answer = await http('POST', `${service.url}/Observation`,
            reading('a', n));
        expect(answer.status === 201 || answer.status === 503,
            `${answer.status} ${answer.text}`);
        (answer.status === 201 ? taken : refused).push(n);
        if (answer.status === 503)
            expect(answer.body?.resourceType === 'OperationOutcome',
                answer.text);
    }
    expect(taken.length > 0, 'nothing was taken before');
    const er7 = message('D5000', 'a', 950), large = message('D5001', 'a', 951)
        + 'NTE|1||' + Array.from({ length: 3000 }, (_, i) => (i * 7919)
            .toString(36)).join(' ') + '\r';
    expect((await mllp(port, large)) === 'AE', 'MLLP: AE, not AA');
    const byHttp = await v2(service, large);
    expect(byHttp.status === 503 && byHttp.word !== 'AA',
        `${byHttp.status} ${byHttp.text}`);
    writeFileSync(join(drop, 'a.part'), text(lines('b', 300)));
    renameSync(join(drop, 'a.part'), join(drop, 'a.ndjson'));
    await until('the drop folder waits', async () => (await metric(service,
        'headgate_drop_pausing')) === 1);
    const loadFile = join(suite.tmp, 'full.ndjson');
    writeFileSync(loadFile, text(lines('c', 500)));
    const loaded = await suite.load('--state', suite.tmp, loadFile);
    expect(loaded.status === 1, `load: ${loaded.status} ${loaded.err}`);
    expect((await http('GET', `${service.url}/metadata`)).status === 200,
        'it still answers');
    empty();
    await until('it takes again', async () => (await http('POST',
        `${service.url}/Observation`, reading('a', refused[0]))).status < 300);
    for (const n of refused.slice(1))
        expect((await http('POST', `${service.url}/Observation`,
            reading('a', n))).status === 201, `${n} is taken now`);
    for (const n of taken.slice(-20))
        expect((await http('POST', `${service.url}/Observation`,
            reading('a', n))).status === 200, `${n} was there`);
    expect((await mllp(port, large)) === 'AA'
        && (await mllp(port, er7)) === 'AA', 'AA, now that it is kept');
    await until('the file is taken', () => has(join(drop, 'done/a.ndjson')),
        70000);
    expect(summary(join(drop, 'done/a.ndjson')).stored === 301, 'the file');
    const again = await suite.load('--resume', '--state', suite.tmp, loadFile);
    expect(again.status === 0, `${again.status} ${again.err}`);
    expect(await stopChild(service.child) === 0, 'it stops in good order');
    expect(suite.readings('a') === taken.length + refused.length
        && suite.readings('b') === 300 && suite.readings('c') === 500,
    `${suite.readings('a')} of ${taken.length + refused.length}, `
        + `${suite.readings('b')}, ${suite.readings('c')}`);
    expect(suite.count('SELECT count(*) FROM hl7_message') === 2, 'messages');
    expect(suite.count("SELECT count(*) FROM pragma_integrity_check WHERE"
        + " integrity_check <> 'ok'") === 0, 'the store is whole');
});

await suite.one('the disk of the drop folder is full', async () => {
    const drop = disk('drop', '2m');
    suite.place({ 'drop.folder': drop, 'drop.poll': 1, 'drop.settle': 0 });
    mkdirSync(join(drop, 'north'));
    const service = suite.serve();
    await service.start();
    await until('the folders are made', () => has(join(drop, 'north/failed')));
    const bad = Array.from({ length: 400 }, (_, n) => `not JSON ${n}`);
    writeFileSync(join(drop, 'north/a.part'), text(lines('a', 50))
        + bad.join('\n') + '\n');
    const empty = fill(drop);
    renameSync(join(drop, 'north/a.part'), join(drop, 'north/a.ndjson'));
    await until('it waits', async () => (await metric(service,
        'headgate_drop_pausing')) === 1);
    expect(!has(join(drop, 'north/failed/a.ndjson')), 'it has not ended');
    empty();
    await until('it has ended', () => has(join(drop, 'north/failed/a.ndjson')),
        70000);
    const path = join(drop, 'north/failed/a.ndjson');
    const r = summary(path);
    expect(r.stored === 51 && r.refused === 400, JSON.stringify(r));
    const rows = expectOutcomes(read(`${path}.errors.ndjson`), 400, 'errors');
    expect(new Set(rows.map((row) => row.issue[0].location?.[0])).size === 400,
        'each line once');
    expect(await metric(service, 'headgate_drop_pausing') === 0, 'all is well');
    await stopChild(service.child);
    expect(suite.readings('a') === 50 && suite.count('SELECT count(*) FROM '
        + 'quarantine WHERE state = 0') === 400, 'once, in the store too');
});

await suite.one('the disk of the error file is full', async () => {
    const place = disk('errors', '1m');
    suite.place();
    const service = suite.serve();
    await service.start();
    const file = join(suite.tmp, 'bad.ndjson');
    writeFileSync(file, text(lines('a', 50)) + Array.from({ length: 900 },
        (_, n) => `not JSON ${n}`).join('\n') + '\n' + text([reading('a', 50)]));
    const empty = fill(place, 64 * 1024);
    const words = ['--errors', join(place, 'e.ndjson'), '--state', suite.tmp];
    const first = await suite.load(...words, file);
    expect(first.status === 1 && /No space left|full|cannot be written/
        .test(first.err), `${first.status} ${first.out} ${first.err}`);
    empty();
    const second = await suite.load('--resume', ...words, file);
    expect(second.status === 1, `${second.status} ${second.err}`);
    const rows = expectOutcomes(read(join(place, 'e.ndjson')), 900, 'errors');
    expect(new Set(rows.map((row) => row.issue[0].location?.[0])).size === 900,
        'each line once');
    await stopChild(service.child);
    expect(suite.readings('a') === 51, 'and what was good, once');
});

/* ---- the drop folder ------------------------------------------------------ */

const put = (root, name, content) => {
    const path = join(root, name);
    writeFileSync(`${path}.part`, content);
    renameSync(`${path}.part`, path);
};

function dropScene(settings = {}) {
    const place = suite.place({}, senderSection('north'));
    const root = join(place, 'drop');
    mkdirSync(join(root, 'north'), { recursive: true });
    mkdirSync(join(root, 'south'));
    for (const [key, value] of Object.entries({ 'drop.folder': root,
        'drop.poll': 1, 'drop.settle': 0, ...settings }))
        suite.args.push('--set', `${key}=${value}`);
    return { root, service: suite.serve() };
}

const quarantineOf = (count) => 'WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL '
    + `SELECT i + 1 FROM n WHERE i < ${count}) INSERT INTO quarantine(id, part, `
    + 'at_ms, way, source, kind, file, line, start, status, reason, bytes, state) '
    + "SELECT 10000000 + i, 0, 0, 6, 'old', 0, 0, 0, 0, 0, 'too-long', 0, 0 FROM n";

async function changeStore(sql) {
    const { DatabaseSync } = await import('node:sqlite');
    const db = new DatabaseSync(suite.store);
    db.exec(sql);
    db.close();
}

await suite.one('10 000 small files: in order, in flat memory, and others are answered', async () => {
    const { root, service } = dropScene();
    await service.start();
    const memory = () => Number(/VmRSS:\s+(\d+) kB/.exec(readFileSync(
        `/proc/${service.child.pid}/status`, 'utf8'))[1]) / 1024;
    put(root, 'north/first.ndjson', text(lines('a', 1)));
    await until('the first', () => has(join(root, 'north/done/first.ndjson')));
    const before = memory(), count = 10000, began = performance.now();
    /* each corrects what the one before it said: the last must win */
    for (let n = 1; n <= count; n++)
        put(root, `north/f${String(n).padStart(5, '0')}.ndjson`,
            JSON.stringify(reading('a', 0, { status: 'amended',
                valueQuantity: { value: 500 + n / 10, code: 'mL/min',
                    system: 'http://unitsofmeasure.org' } })));
    let slowest = 0;
    const done = join(root, 'north/done');
    const last = join(done, `f${count}.ndjson`);
    for (const end = Date.now() + 240000; !has(last); await sleep(250)) {
        expect(Date.now() < end, 'they take too long');
        const asked = performance.now();
        const answer = await http('GET', `${service.url}/Patient/a`);
        slowest = Math.max(slowest, performance.now() - asked);
        expect(answer.status === 200, `${answer.status}`);
    }
    await until('none waits', async () => (await metric(service,
        'headgate_drop_files_waiting')) === 0);
    expect(await metric(service,
        'headgate_drop_files_total{outcome="done"}') === count + 1, 'all done');
    const more = memory() - before;
    const found = await http('GET', `${service.url}/Observation?identifier=a-0`);
    console.log(`      ${((performance.now() - began) / 1000).toFixed(0)} s, ${
        more.toFixed(0)} MiB more, the slowest answer took ${
        slowest.toFixed(0)} ms`);
    expect(more < 150, `${more} MiB more`); /* 4; a sanitizer keeps more */
    expect(slowest < 2000, `an answer took ${slowest} ms`);
    expect(found.status === 200, `${found.status}`);
    await stopChild(service.child);
    expect(suite.count('SELECT g.value FROM reading g JOIN identifier i ON '
        + "i.resource = g.resource AND i.kind = 1 WHERE i.value = 'a-0'")
        === 500 + count / 10, 'the last correction');
    expect(suite.count('SELECT max(ver) FROM version v JOIN identifier i ON '
        + "i.resource = v.resource AND i.kind = 1 WHERE i.value = 'a-0'")
        === count + 1, 'each a version, in order');
});

await suite.one('one that is replaced while it is read is said to have been', async () => {
    const { root, service } = dropScene();
    const content = text(lines('a', 30000));
    await service.start();
    put(root, 'north/a.ndjson', content);
    const taken = join(root, 'north/taken/a.ndjson');
    await until('it is being read', () => has(taken));
    /* of the same size and time, as a copy that keeps them makes it */
    const { mtimeMs } = statSync(taken);
    writeFileSync(`${taken}.part`, content.replaceAll('"final"', '"wrong"'));
    utimesSync(`${taken}.part`, mtimeMs / 1000, mtimeMs / 1000);
    renameSync(`${taken}.part`, taken);
    const path = join(root, 'north/failed/a.ndjson');
    await until('it has ended', () => has(path), 120000);
    const r = summary(path);
    expect(r.outcome === 'unreadable' && /changed while/.test(r.reason),
        JSON.stringify(r));
    /* what was read of it before stays used, each once */
    await stopChild(service.child);
    expect(suite.readings('a') === r.stored - 1, `${suite.readings('a')}`);
});

await suite.one('one that grows and one that shrinks while they are read', async () => {
    const { root, service } = dropScene();
    const content = text(lines('a', 20000)), other = text(lines('b', 20000));
    await service.start();
    put(root, 'north/grows.ndjson', content);
    put(root, 'south/shrinks.ndjson', other);
    const grows = join(root, 'north/taken/grows.ndjson');
    const shrinks = join(root, 'south/taken/shrinks.ndjson');
    await until('one is being read', () => has(grows));
    appendFileSync(grows, text([patient('later')]));
    await until('the other is being read', () => has(shrinks));
    truncateSync(shrinks, 1000000);
    for (const path of ['north/failed/grows.ndjson', 'south/failed/shrinks.ndjson']) {
        await until(`${path} has ended`, () => has(join(root, path)), 120000);
        const r = summary(join(root, path));
        expect(r.outcome === 'unreadable' && /changed while/.test(r.reason),
            JSON.stringify(r));
    }
    await stopChild(service.child);
    expect(suite.readings('a') <= 20000 && suite.count('SELECT count(*) FROM '
        + "(SELECT 1 FROM identifier WHERE kind = 1 GROUP BY value HAVING "
        + 'count(*) > 1)') === 0, 'nothing twice');
});

await suite.one('a folder that has to wait holds up no other', async () => {
    const { root, service } = dropScene();
    await service.start();
    await stopChild(service.child);
    await changeStore(quarantineOf(50000));
    put(root, 'north/bad.ndjson', `${text(lines('a', 1))}bad\n`);
    await service.start();
    await until('it waits', async () => await metric(service,
        'headgate_drop_pausing') === 1);
    for (let n = 0; n < 5; n++) {
        put(root, `south/s${n}.ndjson`, text(lines(`s${n}`, 2)));
        await until('the other is taken', () => has(join(root,
            `south/done/s${n}.ndjson`)), 5000);
    }
    expect(has(join(root, 'north/taken/bad.ndjson'))
        && await metric(service, 'headgate_drop_pausing') === 1, 'it waits still');
});

/* ---- the quarantine ------------------------------------------------------- */

await suite.one('a full quarantine: a sign of emergency is kept all the same', async () => {
    const port = await freePort();
    suite.place({ 'mllp.enabled': true, 'mllp.port': port });
    const service = suite.serve();
    await service.start();
    await service.post(patient('a'));
    await stopChild(service.child);
    await changeStore(quarantineOf(50000));
    await service.start();
    const bad = message('Q1', 'a', 'lots');
    expect((await mllp(port, bad)) === 'AE' && (await v2(service, bad))
        .status === 503, 'nobody is told that it was kept');
    const sign = (control, lastValue) => message(control, 'a', lastValue)
        + 'OBX|2|CWE|hand-symptom^Sign^L||motor-weakness^Weak^L||||||F|||'
        + '20261120080000+0000\r';
    expect((await mllp(port, sign('Q2', 'lots'))) === 'AE',
        'bad content, kept all the same');
    const held = await http('POST', service.url, { resourceType: 'Bundle',
        type: 'collection', entry: [{ resource: { ...reading('a', 3),
            code: { coding: [{ system: OBS, code: 'hand-symptom' }] },
            valueQuantity: undefined, subject: { reference: 'Patient/nobody' },
            valueCodeableConcept: { coding: [{ system: OBS,
                code: 'motor-weakness' }] } } }] });
    expect(held.status === 200, held.text);
    const queue = await suite.run('queue', []);
    expect(queue.out.includes('N-a') && (queue.out.match(/rules IS-1/g) ?? [])
        .length === 2,
        queue.out);
    await stopChild(service.child);
    expect(suite.count("SELECT count(*) FROM quarantine WHERE source <> 'old'")
        === 1, 'the one with the sign');
    expect(suite.count('SELECT count(*) FROM hl7_message') === 1
        && suite.count('SELECT (SELECT count(*) FROM held WHERE emergency = 1)'
            + ' + (SELECT count(*) FROM reading WHERE sign > 0)') >= 1,
    'and the sign is in the store');
});

/* ---- clocks --------------------------------------------------------------- */

const FAKE = ['/usr/lib/x86_64-linux-gnu/faketime/libfaketimeMT.so.1',
    '/usr/lib64/faketime/libfaketimeMT.so.1',
    '/usr/lib/faketime/libfaketimeMT.so.1'];

/* A service whose clock is elsewhere: "+1d", "-2h". */
async function startAt(shift) {
    const service = suite.serve();
    if (shift !== undefined) {
        const library = FAKE.find((path) => has(path));
        expect(library !== undefined, 'libfaketime is needed');
        Object.assign(process.env, { LD_PRELOAD: library, FAKETIME: shift,
            ASAN_OPTIONS: 'verify_asan_link_order=0' });
    }
    try {
        await service.start();
    } finally {
        ['LD_PRELOAD', 'FAKETIME', 'ASAN_OPTIONS'].forEach((name) =>
            delete process.env[name]);
    }
    return service;
}

await suite.one('the clock goes back by two weeks, and by an hour', async () => {
    suite.place();
    const folder = join(suite.tmp, 'reports');
    mkdirSync(folder);
    suite.args.push('--set', `report.folder=${folder}`);
    const odd = (n, more) => reading('a', n, { valueQuantity: { value: 9900,
        code: 'mL/min', system: 'http://unitsofmeasure.org' }, ...more });
    const feed = async (service, ...resources) => {
        const answer = await http('POST', service.url, { resourceType: 'Bundle',
            type: 'collection', entry: resources.map((resource) =>
                ({ resource })) });
        expect(answer.status === 200, answer.text);
    };
    const held = async () => (await suite.run('quarantine', ['--json'])).out
        .split('\n').filter(Boolean).map((line) => JSON.parse(line))
        .filter((row) => row.kind !== 'unmapped');
    const act = async (...words) => {
        const said = await suite.run('quarantine', [...words, '--by', 'A Nurse',
            '--why', 'asked']);
        expect(said.status === 0, `${words}: ${said.err}`);
    };
    let service = await startAt('+14d');
    await feed(service, patient('a'), odd(1), odd(2),
        reading('a', 3, { code: { coding: [{ system: 'urn:example:machine',
            code: 'QB-1' }] } }));
    let rows = await held();
    expect(rows.length === 2, JSON.stringify(rows));
    await act('release', `${rows[0].number}`, '--as-sent');
    await stopChild(service.child);

    service = await startAt(); /* two weeks before all that */
    rows = await held();
    expect(rows.length === 1 && (await suite.run('quarantine', ['show',
        `${rows[0].number}`])).status === 0, 'what was said is still said');
    await act('discard', `${rows[0].number}`);
    await feed(service, odd(2), odd(4), odd(1));
    rows = await held();
    expect(rows.length === 1, 'the same is not asked again; a new one is');
    const metrics = (await http('GET', service.url.replace('/fhir', '/metrics')))
        .text;
    const ages = [...metrics.matchAll(/oldest_seconds\S* (-?\d+)/g)];
    expect(ages.length > 0 && ages.every(([, age]) => Number(age) >= 0),
        metrics.slice(0, 2000));
    const list_ = await suite.run('quarantine', []);
    expect(!/-\d+ (hour|day)/.test(list_.out), list_.out);
    const number = /such as (\d+)/.exec(list_.out)[1];
    await act('map', number, '--target', 'access-flow');
    await stopChild(service.child);

    service = await startAt('-1h');
    const maps = (await suite.run('quarantine', ['maps', '--json'])).out;
    await act('unmap', `${JSON.parse(maps.split('\n')[0]).number}`);
    expect((await suite.run('queue', [])).status === 0, 'the queue');
    const report = await suite.run('report', ['--json']);
    expect(report.status === 0, report.err);
    await stopChild(service.child);
    expect(suite.count('SELECT count(DISTINCT week) FROM tally') === 2,
        'each is counted in the week that the clock had');
    expect(suite.count('SELECT count(*) FROM deed') === 4
        && suite.count('SELECT count(*) FROM (SELECT 1 FROM deed GROUP BY id '
            + 'HAVING count(*) > 1)') === 0, 'four deeds');
    expect(suite.count("SELECT count(*) FROM unmapped WHERE code = 'QB-1'") === 1,
        'unmapped');
});

await suite.finish();
