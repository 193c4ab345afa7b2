/*
 * The drop folder as a black box: what is put there is taken once, in order,
 * whatever happens, and is found again in done or failed.
 *
 *   node drop.mjs path/to/headgate [PART-OF-A-NAME]
 *
 * What it writes about refused lines is judged by the validators of
 * validate.mjs.
 */

import { appendFileSync, chmodSync, chownSync, closeSync, mkdirSync, openSync,
    readFileSync, readdirSync, renameSync, statSync, symlinkSync, utimesSync,
    writeFileSync, writeSync } from 'node:fs';
import { gzipSync } from 'node:zlib';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http, stopChild } from './delivery_kit.mjs';
import { FileSuite, bundle, expectOutcomes, has, lines, list, message, patient,
    read, reading, senderSection, text } from './load_kit.mjs';
import { until } from './suite.mjs';

process.umask(0o022); /* another user reads the settings, further below */
const suite = new FileSuite();

/* A folder with two senders, and the service that looks into it. */
function scene(settings = {}, senders = senderSection('north')) {
    const place = suite.place({}, senders);
    const root = join(place, 'drop');
    mkdirSync(join(root, 'north'), { recursive: true });
    mkdirSync(join(root, 'south'));
    const sets = { 'drop.folder': root, 'drop.poll': 1, 'drop.settle': 0,
        ...settings };
    for (const [key, value] of Object.entries(sets))
        suite.args.push('--set', `${key}=${value}`);
    return { root, service: suite.serve() };
}

const summary = (path) => JSON.parse(read(`${path}.summary.json`));

async function ended(root, ...names) {
    const found = {};
    for (const name of names) {
        const parts = name.split('/');
        const file = parts.pop();
        const place = join(root, ...parts);
        const where = await until(`${name} has ended`, () =>
            ['done', 'failed'].find((d) => has(join(place, d, file))), 60000);
        found[name] = { where, path: join(place, where, file),
            ...summary(join(place, where, file)) };
    }
    return found;
}

/* In place at once, as a careful sender does it. */
function put(root, name, content) {
    const path = join(root, name);
    writeFileSync(`${path}.part`, content);
    renameSync(`${path}.part`, path);
    return path;
}

await suite.one('every kind of file, of two senders and none', async () => {
    const { root, service } = scene();
    put(root, 'north/lines.ndjson', text(lines('a', 250)));
    put(root, 'south/one.json', JSON.stringify(patient('b'), null, 2));
    put(root, 'south/batch.json', JSON.stringify(bundle('batch', lines('c', 3))));
    put(root, 'transaction.json', JSON.stringify(bundle('transaction', lines('d', 3))));
    put(root, 'bundles.ndjson', text([bundle('collection', lines('e', 2)), patient('f')]));
    put(root, 'north/results.hl7', message('m1', 'a', 900) + message('m2', 'a', 910));
    put(root, 'own.hl7', message('m3', 'a', 920));
    await service.start();
    const found = await ended(root, 'north/lines.ndjson', 'south/one.json',
        'south/batch.json', 'transaction.json', 'bundles.ndjson',
        'north/results.hl7', 'own.hl7');
    for (const [name, f] of Object.entries(found))
        expect(f.where === 'done' && f.refused === 0 && f.outcome === 'done',
            `${name}: ${JSON.stringify(f)}`);
    expect(found['north/lines.ndjson'].stored === 251, 'lines');
    expect(found['bundles.ndjson'].stored === 4, 'Bundles in lines');
    expect(found['north/lines.ndjson'].sender === 'north'
        && found['own.hl7'].sender === 'drop', 'senders');
    expect(await service.metric(
        'headgate_drop_files_total{outcome="done"}') === 7, 'metric');
    expect(await service.metric('headgate_drop_files_waiting') === 0, 'waiting');
    await stopChild(service.child);
    expect(suite.readings('a') === 250 && suite.readings('c') === 3
        && suite.readings('d') === 3, 'readings');
    expect(suite.count('SELECT count(*) FROM hl7_message') === 3, 'messages');
    expect(suite.count('SELECT count(*) FROM dropped') === 0, 'no row is left');
    for (const f of ['lines.ndjson', 'one.json', 'results.hl7'])
        expect(!read(service.log).includes(f), 'no name of a file is logged');
});

await suite.one('what was refused is listed, and is in quarantine', async () => {
    const { root, service } = scene();
    const bad = ['{"resourceType":"Patient",', 'garbage', '{"a":1,"a":2}',
        '{"resourceType":"Observation","status":"nonsense"}',
        JSON.stringify(reading('a', 7, { subject: undefined })),
        JSON.stringify(bundle('transaction', [patient('z'),
            { resourceType: 'Observation', status: 'final' }])),
        `{"resourceType":"Patient","id":"${'x'.repeat(3 << 20)}"}`];
    put(root, 'north/mixed.ndjson', [...lines('a', 2).map((r) => JSON.stringify(r)),
        ...bad, JSON.stringify(reading('a', 2))].join('\n'));
    put(root, 'north/mixed.hl7', message('h1', 'a', 900) + message('h2', 'a', 'x')
        + message('h3', 'a', 910));
    await service.start();
    const found = await ended(root, 'north/mixed.ndjson', 'north/mixed.hl7');
    const ndjson = found['north/mixed.ndjson'];
    expect(ndjson.where === 'failed' && ndjson.stored === 4, JSON.stringify(ndjson));
    const rows = expectOutcomes(read(`${ndjson.path}.errors.ndjson`),
        ndjson.refused, 'NDJSON');
    const at = [...new Set(rows.map((r) => r.issue[0].location[0]))];
    expect(at.join(' ') === [4, 5, 6, 7, 8, 9, 10]
        .map((n) => `mixed.ndjson:${n}`).join(' '), at.join(' '));
    const hl7 = found['north/mixed.hl7'];
    expect(hl7.where === 'failed' && hl7.refused === 1, JSON.stringify(hl7));
    const [row] = expectOutcomes(read(`${hl7.path}.errors.ndjson`), 1, 'v2');
    expect(row.issue.some((i) => i.location[0] === 'mixed.hl7:5'
        && i.location[1] === 'OBX[1]-5'), JSON.stringify(row));
    await stopChild(service.child);
    expect(suite.readings('a') === 3, 'what could be used is used');
    expect(suite.count('SELECT count(*) FROM resource WHERE kind = 2 AND fid = ?',
        'z') === 0, 'a transaction is taken whole or not at all');
    const kept = suite.count('SELECT count(*) FROM quarantine WHERE way = 6 AND '
        + 'state = 0 AND source = ?', 'north');
    expect(kept === ndjson.refused + 1, `${kept} in quarantine`);
    expect(suite.count('SELECT line FROM quarantine WHERE reason = ? AND way = 6',
        'too-long') === 10, 'its place');
});

await suite.one('what cannot be read goes to failed with its reason', async () => {
    const { root, service } = scene({ 'drop.settle': 0 });
    const north = join(root, 'north');
    put(north, 'empty.ndjson', '');
    put(north, 'blank.ndjson', '\n \r\n');
    put(north, 'packed.ndjson', gzipSync(text(lines('a', 2))));
    put(north, 'wide.json', Buffer.from(text(lines('a', 1)), 'utf16le'));
    put(north, 'table.csv', 'a,b\n1,2\n');
    put(north, 'latin.json', Buffer.from('{"resourceType":"Patient","name":[{"family":"M\xfcller"}]}', 'latin1'));
    mkdirSync(join(north, 'folder'));
    symlinkSync('/etc/hostname', join(north, 'link.json'));
    await service.start();
    const found = await ended(root, ...['empty.ndjson', 'blank.ndjson',
        'packed.ndjson', 'wide.json', 'table.csv', 'folder']
        .map((n) => `north/${n}`));
    const why = (n) => found[`north/${n}`].reason;
    expect(/empty/.test(why('empty.ndjson')) && /empty/.test(why('blank.ndjson'))
        && /gzip/.test(why('packed.ndjson')) && /UTF-8/.test(why('wide.json'))
        && /neither/.test(why('table.csv')) && /folder/.test(why('folder')),
    JSON.stringify(found));
    for (const f of Object.values(found))
        expect(f.where === 'failed' && f.outcome === 'unreadable', JSON.stringify(f));
    expectOutcomes(read(`${found['north/table.csv'].path}.errors.ndjson`), 1, 'csv');
    const link = await until('the link', () => has(join(north,
        'failed/link.json.summary.json')) && summary(join(north, 'failed/link.json')));
    expect(/no plain file/.test(link.reason), link.reason);
    const latin = (await ended(root, 'north/latin.json'))['north/latin.json'];
    expect(latin.where === 'failed' && latin.refused === 1, JSON.stringify(latin));
    await until('metric', async () => await service.metric(
        'headgate_drop_files_total{outcome="unreadable"}') === 7);
});

await suite.one('files that are being written are left alone', async () => {
    const { root, service } = scene({ 'drop.settle': 2 });
    await service.start();
    const slow = join(root, 'north/slow.ndjson');
    const all = lines('a', 40).map((r) => `${JSON.stringify(r)}\n`);
    for (const name of ['x.part', 'x.tmp', 'x.FILEPART', 'x.crdownload', '.x.json'])
        writeFileSync(join(root, 'north', name), text(lines('b', 1)));
    for (const line of all) {
        appendFileSync(slow, line);
        await sleep(75);
    }
    const r = (await ended(root, 'north/slow.ndjson'))['north/slow.ndjson'];
    expect(r.where === 'done' && r.stored === 41, JSON.stringify(r));
    expect(list(join(root, 'north')).filter((n) => n.startsWith('x.')
        || n.startsWith('.x')).length === 5, 'the unfinished ones stay');
    /* a clock that is ahead, as on another host's share */
    const ahead = put(root, 'north/ahead.ndjson', text(lines('c', 1)));
    utimesSync(ahead, Date.now() / 1000 + 3600, Date.now() / 1000 + 3600);
    expect((await ended(root, 'north/ahead.ndjson'))['north/ahead.ndjson']
        .stored === 2, 'settled by our own watch');
});

await suite.one('one that goes on growing after it was moved is said to have', async () => {
    const { root, service } = scene({ 'drop.settle': 1 });
    await service.start();
    const path = join(root, 'north/grows.ndjson');
    const fd = openSync(path, 'w');
    const bulk = text(lines('a', 4000));
    writeSync(fd, bulk);
    await until('it was moved', () => !has(path));
    for (let i = 0; i < 10; i++) {
        writeSync(fd, `${JSON.stringify(patient(`later${i}`))}\n`);
        await sleep(20);
    }
    closeSync(fd);
    const r = (await ended(root, 'north/grows.ndjson'))['north/grows.ndjson'];
    /* either it was given back in time and taken whole, or it says so */
    expect((r.where === 'done' && r.bytes > bulk.length)
        || /changed while/.test(r.reason), JSON.stringify(r));
});

await suite.one('what the system tells of is not waited for', async () => {
    const { root, service } = scene({ 'drop.poll': 600 });
    await service.start();
    for (let i = 0; i < 5; i++) {
        put(root, `north/f${i}.ndjson`, text(lines(`h${i}`, 1)));
        await ended(root, `north/f${i}.ndjson`);
    }
    await sleep(1500);
    mkdirSync(join(root, 'west'));
    await until('a new folder is found', () => has(join(root, 'west/taken')));
    put(root, 'west/a.ndjson', text(lines('w', 1)));
    await ended(root, 'west/a.ndjson');
    expect((await stopChild(service.child)) === 0, 'it stops in good order');
});

await suite.one('a name that is taken already gets a suffix', async () => {
    const { root, service } = scene();
    await service.start();
    for (let i = 0; i < 3; i++) {
        put(root, 'north/same.ndjson', text(lines(`a${i}`, 1)));
        await until('it was taken', async () => await service.metric(
            'headgate_drop_files_total{outcome="done"}') === i + 1);
    }
    const done = list(join(root, 'north/done')).filter((n) => !n.includes('summary'));
    expect(done.join(' ') === 'same-1.ndjson same-2.ndjson same.ndjson', done.join(' '));
    expect(read(join(root, 'north/done/same.ndjson')).includes('a0')
        && read(join(root, 'north/done/same-2.ndjson')).includes('a2'), 'none is overwritten');
    const long = `${'l'.repeat(240)}.ndjson`;
    put(root, `north/${long.slice(0, 240)}`, text(lines('l', 1)));
    await until('a long name', async () => await service.metric(
        'headgate_drop_files_total{outcome="done"}') === 4);
});

await suite.one('the oldest first, so that a correction comes after', async () => {
    const { root, service } = scene();
    for (let i = 0; i < 100; i++) {
        const path = put(root, `north/${999 - i}.ndjson`, text([patient('a'),
            reading('a', 1, { status: i === 0 ? 'final' : 'amended',
                valueQuantity: { value: 1000 + i, unit: 'mL/min',
                    system: 'http://unitsofmeasure.org', code: 'mL/min' } })]));
        utimesSync(path, 1e9 + i, 1e9 + i);
    }
    await service.start();
    await until('all', async () => await service.metric(
        'headgate_drop_files_total{outcome="done"}') === 100, 60000);
    const { body } = await http('GET', `${service.url}/Observation?_count=5`);
    expect(body.entry.length === 1
        && body.entry[0].resource.valueQuantity.value === 1099,
    JSON.stringify(body.entry[0].resource.valueQuantity));
});

const MANY = 12000;
await suite.one('killed in the middle, again and again: every reading once', async () => {
    const { root, service } = scene();
    put(root, 'north/many.ndjson', text(lines('a', MANY).flatMap((r, i) =>
        (i % 500 === 499 ? [r, { resourceType: 'Observation', n: i }] : [r]))));
    put(root, 'south/many.hl7', Array.from({ length: 600 }, (_, n) =>
        message(`k${n}`, 'b', n % 200 === 99 ? 'bad' : 900)).join(''));
    await service.start();
    for (let i = 0; i < 6; i++) {
        await sleep(300 + i * 150);
        await service.killAndStart();
    }
    const found = await ended(root, 'north/many.ndjson', 'south/many.hl7');
    const ndjson = found['north/many.ndjson'], hl7 = found['south/many.hl7'];
    const bad = Math.floor((MANY + 1) / 500);
    expect(ndjson.stored === MANY + 1 && ndjson.there === 0
        && ndjson.refused === bad, JSON.stringify(ndjson));
    expectOutcomes(read(`${ndjson.path}.errors.ndjson`), bad, 'each once');
    expect(hl7.refused === 3, JSON.stringify(hl7));
    expectOutcomes(read(`${hl7.path}.errors.ndjson`), 3, 'each once');
    await stopChild(service.child);
    expect(suite.readings('a') === MANY, `${suite.readings('a')} readings`);
    expect(suite.count('SELECT count(*) FROM hl7_message') === 600, 'messages');
    expect(suite.count('SELECT count(*) FROM quarantine WHERE file > 0') === bad,
        'each once in quarantine');
    expect(suite.count('SELECT count(*) FROM dropped')
        + suite.count('SELECT count(*) FROM dropped_line') === 0, 'no row is left');
    expect(/event=drop.resumed/.test(read(service.log)), 'it went on');
});

await suite.one('killed while files end: none is lost, none twice', async () => {
    const { root, service } = scene();
    const count = 150;
    for (let i = 0; i < count; i++)
        put(root, `north/f${i}.ndjson`, text(lines(`s${i}x`, 2)) + (i % 3 ? '' : 'bad\n'));
    await service.start();
    for (let i = 0; i < 8; i++) {
        await sleep(60 + 37 * i);
        await service.killAndStart();
    }
    const names = () => ['done', 'failed'].flatMap((d) =>
        list(join(root, 'north', d))).filter((n) => n.endsWith('.ndjson')
            && !n.endsWith('.errors.ndjson'));
    await until('all have ended', () => names().length === count, 60000);
    expect(new Set(names()).size === count, 'each once');
    for (const d of ['done', 'failed']) {
        for (const n of names().filter((x) => has(join(root, 'north', d, x)))) {
            const s = summary(join(root, 'north', d, n));
            expect(s.stored === 3 && s.there === 0
                && s.refused === (d === 'failed' ? 1 : 0), `${n}: ${JSON.stringify(s)}`);
        }
    }
    expect(list(join(root, 'north/failed')).filter((n) =>
        n.endsWith('.errors.ndjson')).length === count / 3, 'error files');
    await stopChild(service.child);
    expect(suite.count('SELECT count(*) FROM resource WHERE kind = 1') === 2 * count,
        'readings');
});

await suite.one('100 000 lines in bounded memory, while others have their turn', async () => {
    const { root, service } = scene();
    await service.start();
    const peak = () => Number(/VmHWM:\s+(\d+) kB/.exec(readFileSync(
        `/proc/${service.child.pid}/status`, 'utf8'))[1]) / 1024;
    put(root, 'north/first.ndjson', text(lines('w', 3000)));
    await ended(root, 'north/first.ndjson');
    const before = peak();
    put(root, 'north/large.ndjson', text(lines('a', 100000)));
    await until('it was begun', () => has(join(root, 'north/taken/large.ndjson')));
    put(root, 'south/small.ndjson', text(lines('b', 1)));
    const small = (await ended(root, 'south/small.ndjson'))['south/small.ndjson'];
    expect(small.stored === 2 && has(join(root, 'north/taken/large.ndjson')),
        'a large file does not hold up another folder');
    const asked = performance.now();
    await http('GET', service.url.replace('/fhir', '/readyz'));
    expect(performance.now() - asked < 3000, 'others are answered meanwhile');
    const where = await until('it has ended', () =>
        has(join(root, 'north/done/large.ndjson')), 480000);
    expect(where && summary(join(root, 'north/done/large.ndjson')).stored === 100001,
        'all of it');
    const more = peak() - before;
    console.log(`      ${statSync(join(root, 'north/done/large.ndjson')).size >> 20} MiB, `
        + `${before.toFixed(0)} MiB before, ${more.toFixed(0)} more at most`);
    expect(more < 150, `${more} MiB more`);
});

await suite.one('a full quarantine is waited for', async () => {
    const { root, service } = scene();
    await service.start();
    await stopChild(service.child);
    /* 50 000 are the most; the rows are of nobody */
    const { DatabaseSync } = await import('node:sqlite');
    const db = new DatabaseSync(suite.store);
    db.exec('WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n '
        + 'WHERE i < 50000) INSERT INTO quarantine(id, part, at_ms, way, source, '
        + 'kind, file, line, start, status, reason, bytes, state) SELECT '
        + "10000000 + i, 0, 0, 6, 'old', 0, 0, 0, 0, 0, 'too-long', 0, 0 FROM n");
    db.close();
    put(root, 'north/a.ndjson', text(lines('a', 1)) + 'bad\n');
    await service.start();
    await until('it waits', async () => await service.metric(
        'headgate_drop_pausing') === 1);
    expect(has(join(root, 'north/taken/a.ndjson')), 'it has not failed');
    await stopChild(service.child);
    const again = new DatabaseSync(suite.store);
    again.exec("DELETE FROM quarantine WHERE source = 'old'");
    again.close();
    await service.start();
    const r = (await ended(root, 'north/a.ndjson'))['north/a.ndjson'];
    expect(r.where === 'failed' && r.refused === 1 && r.stored === 2, JSON.stringify(r));
});

await suite.one('folders that cannot be used', async () => {
    const NOBODY = 65534;
    const { root } = scene();
    const root2 = `${root}2`;
    const as = process.getuid() === 0 ? NOBODY : undefined;
    mkdirSync(join(root2, 'north'), { recursive: true });
    mkdirSync(join(root2, 'south'));
    chmodSync(suite.tmp, 0o755);
    chmodSync(suite.folder, 0o1777); /* all may, each his own */
    chmodSync(join(root2, 'north'), 0o700);
    if (as !== undefined)
        chownSync(join(root2, 'north'), as, as);
    chmodSync(join(root2, 'south'), 0o555);
    chmodSync(root2, 0o555);
    const ask = (folder) => suite.run('check', ['--offline', '--set',
        `drop.folder=${folder}`], { as });
    const some = await ask(root2);
    expect(some.status === 2 && new RegExp(`drop +${root2}/north: in order`).test(some.out)
        && new RegExp(`drop +${root2}/south: Permission denied`).test(some.out)
        && new RegExp(`drop +${root2}: files that lie .*not taken`).test(some.out),
    `${some.status}: ${some.out}${some.err}`);
    const none = await ask('/nowhere');
    expect(none.status === 2 && /drop +\/nowhere: No such file/.test(none.out), none.out);
    const ok = await ask(join(root2, 'north'));
    expect(ok.status === 0 && !/denied/.test(ok.out), ok.out);
    const serve = await suite.run('serve', ['--set', 'drop.folder=/nowhere'], { as });
    expect(serve.status !== 0 && /\[drop\] folder cannot be used/.test(serve.err), serve.err);
    expect(!readdirSync(join(root2, 'north')).some((n) => n.includes('try')), 'no trace');
});

await suite.finish();
