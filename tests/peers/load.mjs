/*
 * headgate load as a black box: every kind of file and of bad line, stopped
 * and gone on with, with exact counts.
 *
 *   node load.mjs path/to/headgate [PART-OF-A-NAME]
 *
 * What it writes about refused lines is judged by the validators of
 * validate.mjs.
 */

import { appendFileSync, mkdirSync, readFileSync, unlinkSync, utimesSync,
    writeFileSync } from 'node:fs';
import { gzipSync } from 'node:zlib';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, stopChild } from './delivery_kit.mjs';
import { FileSuite, bundle, expectOutcomes, has, lines, message, patient, read,
    reading, senderSection, text } from './load_kit.mjs';
import { until } from './suite.mjs';

const suite = new FileSuite();
const BOM = '\ufeff';

/* "FHIR resources: 4 stored, 0 already there, 1 held for a person, 2 refused" */
const RESOURCES = /^FHIR resources: (\d+) stored, (\d+) already there, (\d+) held for a person, (\d+) refused$/m;
const MESSAGES = /^HL7 v2 messages: (\d+) taken, (\d+) had come before, (\d+) with faults \(in quarantine\), (\d+) rejected \(not kept\)$/m;
const RESULTS = /^HL7 v2 results in the messages: (\d+) stored, (\d+) already there, (\d+) held for a person, (\d+) refused$/m;

function numbers(r, line) {
    const found = line.exec(r.out);
    expect(found !== null, `no summary: ${r.out}${r.err}`);
    return found.slice(1).map(Number);
}

const said = (r) => numbers(r, RESOURCES);

function expectHl7(r, messages, results, status) {
    const got = [numbers(r, MESSAGES), numbers(r, RESULTS)].join(' ');
    expect(got === [messages, results].join(' '), `${got}: ${r.out}${r.err}`);
    expect(!RESOURCES.test(r.out), `no resource was sent: ${r.out}`);
    expect(r.status === status, `exit status ${r.status}, not ${status}`);
}

function expectSaid(r, stored, there, held, refused, status) {
    const got = said(r).join(' ');
    const want = [stored, there, held, refused].join(' ');
    expect(got === want, `${got}, not ${want}: ${r.out}${r.err}`);
    expect(r.status === status, `exit status ${r.status}, not ${status}`);
}

function write(name, content) {
    mkdirSync(suite.folder, { recursive: true });
    const path = join(suite.folder, name);
    writeFileSync(path, content);
    return path;
}

await suite.one('every kind of file', async () => {
    suite.place();
    const kinds = [
        ['lines.ndjson', text(lines('a', 3)), 4],
        ['no-name', text(lines('b', 3)), 4],
        ['crlf.ndjson', BOM + text(lines('c', 2)).replaceAll('\n', '\r\n\r\n'), 3],
        ['last-line-open.ndjson', text(lines('d', 2)).trimEnd(), 3],
        ['one.json', JSON.stringify(patient('e'), null, 2), 1],
        ['collection.json', JSON.stringify(bundle('collection', lines('f', 5)), null, 1), 6],
        ['batch.json', JSON.stringify(bundle('batch', lines('g', 2))), 3],
        ['transaction.json', JSON.stringify(bundle('transaction', lines('h', 2))), 3],
        ['bundles.ndjson', text([bundle('batch', lines('i', 2)), patient('j'),
            bundle('collection', lines('k', 1))]), 6],
        ['results.hl7', message('m1', 'm', 900) + message('m2', 'm', 910), 2],
        ['batch.hl7', `FHS|^~\\&|MACHINE\rBHS|^~\\&|MACHINE\r${message('n1', 'n', 900)}`
            + 'BTS|1\rFTS|1\r', 1],
        ['lf.txt', message('o1', 'o', 900).replaceAll('\r', '\n'), 1],
        ['frames.bin', `\x0b${message('q1', 'q', 900)}\x1c\r\x0b${message('q2', 'q', 901)}\x1c\r`, 2],
        /* a last segment without its end: taken, and warned of */
        ['cut.hl7', message('t1', 't', 900).slice(0, -1), 1, /cut\.hl7:1: .*cut off/],
        ['empty.ndjson', '', 0],
        ['blank.json', '\n \r\n', 0],
    ];
    for (const [name, content, count, warned] of kinds) {
        const file = write(name, content);
        const r = await suite.load(file);
        /* of HL7 v2 messages are counted, and their results by themselves */
        const v2 = MESSAGES.test(r.out);
        const [stored, there, held, refused] = v2 ? numbers(r, RESULTS) : said(r);
        if (v2)
            expectHl7(r, [count, 0, 0, 0], [count, 0, 0, 0], 0);
        const least = stored + there + held;
        expect(least >= count && refused === 0 && r.status === 0,
            `${name}: ${r.out}${r.err}`);
        expect(warned ? warned.test(r.err) : !/cut off/.test(r.err),
            `${name}: ${r.err}`);
        expect(!has(`${file}.headgate-load`), `${name}: a state is left`);
        expect(!has(`${file}.errors.ndjson`), `${name}: errors are listed`);
    }
    expect(suite.readings('a') === 3 && suite.readings('c') === 2
        && suite.readings('i') === 2 && suite.readings('k') === 1, 'readings');
    expect(suite.count('SELECT count(*) FROM hl7_message') === 7, 'messages');
});

await suite.one('what is compressed, or is something else, is said to be', async () => {
    suite.place();
    const cases = [
        [gzipSync(text(lines('a', 3))), /gzip.*gunzip/],
        [Buffer.from(BOM + text(lines('a', 1)), 'utf16le'), /not UTF-8/],
        ['a,b\n1,2\n', /neither JSON .* nor HL7 v2/],
        ['[{"resourceType":"Patient"}]', /neither JSON/],
    ];
    for (const [content, want] of cases) {
        const r = await suite.load(write('file.json', content));
        expect(r.status === 1 && want.test(r.err), `${want}: ${r.err}`);
        expectSaid(r, 0, 0, 0, 0, 1);
    }
});

await suite.one('each bad line is named, in order, and costs itself alone', async () => {
    suite.place();
    const good = lines('a', 2).map((r) => JSON.stringify(r));
    const bad = [
        [3, '{"resourceType":"Patient",', 'json-syntax'],
        [4, '[]', 'json-syntax'],
        [5, '{}{}', 'json-syntax'],
        [6, 'garbage', 'json-syntax'],
        [7, '{"a":1,"a":2}', 'json-syntax'],
        [8, '{"resourceType":"Patient","id":"x","id":"y"}', 'json-syntax'],
        [9, '{"no":"type"}', 'not-a-resource'],
        [10, '{"resourceType":"Observation","status":"nonsense"}', 'bad-value'],
        [12, JSON.stringify(reading('a', 5, { subject: undefined })), 'no-subject'],
        [13, JSON.stringify(reading('a', 6, { effectiveDateTime: '2026-13-01' })), 'bad-datetime'],
        [14, `{"resourceType":"Patient","id":"${'x'.repeat(1 << 20)}"}`, 'too-long'],
        [16, '{"resourceType":"Patient","name":[{"family":"\xff"}]}', 'json-syntax'],
        [17, JSON.stringify(bundle('transaction', [{ resourceType: 'Observation' }])), 'bad-value'],
    ];
    const rows = [good[0], good[1], ...bad.slice(0, 8).map(([, t]) => t), '',
        ...bad.slice(8, 11).map(([, t]) => t), good[2], ...bad.slice(11).map(([, t]) => t)];
    const file = write('bad.ndjson', Buffer.from(rows.join('\n') + '\n', 'latin1'));
    const r = await suite.load(file);
    expectSaid(r, 3, 0, 0, bad.length, 1);
    const outcomes = expectOutcomes(read(`${file}.errors.ndjson`), bad.length,
        'the error file');
    outcomes.forEach((o, i) => {
        const [line, , word] = bad[i];
        const issue = o.issue[0];
        expect(issue.location[0] === `${file}:${line}`,
            `${issue.location[0]} is not line ${line}`);
        expect(issue.diagnostics.includes(`line ${line}, byte `), issue.diagnostics);
        const words = o.issue.map((x) => x.details.coding[0].code);
        expect(words.includes(word) || word === 'bad-value', `line ${line}: ${words}`);
    });
    expect(/^FHIR resources that were refused, by reason: .*\b7 json-syntax/m
        .test(r.out), r.out);
    expect(r.err.includes(`${file}:10: `), r.err);
    expect(suite.readings('a') === 2, 'the others are there');
    /* the byte is that of the line */
    const at = Number(/byte (\d+)$/.exec(outcomes[7].issue[0].diagnostics)[1]);
    expect(readFileSync(file).subarray(at, at + 30).toString()
        === '{"resourceType":"Observation",', 'the byte of line 10');
});

await suite.one('what is held is listed if it is asked for', async () => {
    suite.place();
    const odd = reading('a', 1, { valueQuantity: { value: 3, unit: 'furlong',
        system: 'http://unitsofmeasure.org', code: 'furlong' } });
    const file = write('held.ndjson', text([patient('a'), odd, reading('a', 2)]));
    const errors = join(suite.folder, 'list.ndjson');
    const r = await suite.load('--errors', errors, '--errors-held', file);
    expectSaid(r, 2, 0, 1, 0, 0);
    const [o] = expectOutcomes(read(errors), 1, 'held');
    expect(o.issue[0].location[0].endsWith(':2'), JSON.stringify(o));
    expectSaid(await suite.load(file), 0, 3, 0, 0, 0);
});

await suite.one('HL7 v2: a bad message is refused with its place', async () => {
    suite.place();
    const file = write('m.hl7', message('c1', 'a', 900) + message('c2', 'a', 'high')
        + message('c3', 'a', 905) + message('c4', 'a', 905, 'STRANGER'));
    const r = await suite.load(file);
    /* c2 is kept, and its one result is none; c4 is not kept */
    expectHl7(r, [2, 0, 1, 1], [2, 0, 0, 1], 1);
    expect(/^HL7 v2 messages with faults or rejected, by the first reason: 1 bad-value, 1 forbidden$/m
        .test(r.out), r.out);
    const [bad, strange] = expectOutcomes(read(`${file}.errors.ndjson`), 2, 'v2');
    expect(bad.issue.some((i) => i.location[0] === `${file}:5`
        && i.location[1] === 'OBX[1]-5'), JSON.stringify(bad));
    expect(strange.issue[0].location[0] === `${file}:13`, JSON.stringify(strange));
    /* once more: all of it is known */
    const again = await suite.load(file);
    expectHl7(again, [0, 2, 1, 1], [0, 0, 0, 1], 1);
    /* by the name of the section */
    suite.place({}, senderSection('north', 'NOBODY'));
    const named = write('n.hl7', message('c1', 'a', 900));
    expect((await suite.load(named)).status === 1, 'not known');
    expect((await suite.load('--sender', 'north', named)).status === 0, 'by its name');
    const wrong = await suite.load('--sender', 'south', named);
    expect(wrong.status === 2 && /\[sender NAME\]/.test(wrong.err), wrong.err);
});

/* Interrupts a load once it has come some way; what the state says then. */
async function interrupt(file, signal, words = [], state = `${file}.headgate-load`) {
    const before = has(state) ? read(state) : '';
    const child = suite.start('load', [...words, file]);
    await until('a state is written', () => has(state)
        && read(state) !== before);
    child.kill(signal);
    const r = await child.ended;
    expect(has(state), `it was over before it could be stopped: ${r.out}`);
    return { r, state: read(state) };
}

const MANY = 20000;
/* every 100th is bad */
const many = (tag) => [JSON.stringify(patient(tag)),
    ...Array.from({ length: MANY }, (_, n) => (n % 100 === 99 ? `{"n":${n}`
        : JSON.stringify(reading(tag, n))))].join('\n') + '\n';
const GOOD = MANY - MANY / 100;

for (const [signal, status] of [['SIGINT', 130], ['SIGTERM', 143]]) {
    await suite.one(`stopped by ${signal}, and gone on with`, async () => {
        suite.place();
        await suite.serve().start();
        const file = write('many.ndjson', many('a'));
        const { r } = await interrupt(file, signal);
        expect(r.status === status, `exit status ${r.status}`);
        expect(/--resume goes on there/.test(r.err), r.err);
        const first = said(r);
        /* it was not asked to go on: it says so, however long it takes */
        const mention = suite.start('load', [file]);
        let heard = '';
        mention.stderr.on('data', (chunk) => { heard += chunk; });
        await until('a state that is left is mentioned', () =>
            /a run before was stopped.*--resume/.test(heard));
        mention.kill('SIGKILL');
        await mention.ended;
        /* the killed one has begun anew, in a state of its own */
        const second = await suite.load('--resume', file);
        expect(second.status === 1 && !has(`${file}.headgate-load`), second.err);
        expectOutcomes(read(`${file}.errors.ndjson`), MANY / 100, 'all refused');
        expect(first[0] > 0 && first[0] < MANY, 'stopped half way');
        await stopChild(suite.service.child);
        expect(suite.readings('a') === GOOD, `${suite.readings('a')} readings`);
    });
}

await suite.one('begun anew and failed: what was refused before is not lost', async () => {
    suite.place();
    await suite.serve().start();
    const file = write('many.ndjson', many('a'));
    await interrupt(file, 'SIGINT');
    expect(read(`${file}.errors.ndjson`) !== '', 'some were refused');
    await stopChild(suite.service.child);
    expect((await suite.load(file)).status === 1, 'nobody is there');
    await suite.service.start();
    const rest = await suite.load('--resume', file);
    expect(rest.status === 1, rest.err);
    expectOutcomes(read(`${file}.errors.ndjson`), MANY / 100, 'all refused');
});

await suite.one('several files, one error file, stopped in the second', async () => {
    suite.place();
    await suite.serve().start();
    const first = write('first.ndjson', `bad\n${text(lines('b', 3))}worse\n`);
    const second = write('many.ndjson', many('a'));
    const errors = join(suite.folder, 'all.ndjson');
    const words = ['--errors', errors, first];
    const state = `${second}.headgate-load`;
    await interrupt(second, 'SIGINT', words, state);
    await suite.load('--resume', ...words, second);
    const where = read(errors).trimEnd().split('\n')
        .map((line) => JSON.parse(line).issue[0].location[0]);
    expect([1, 6].every((n) => where.includes(`${first}:${n}`)), 'of the first');
    expect(new Set(where.filter((w) => w.startsWith(second))).size === MANY / 100,
        `of the second: ${where.length}`);
});

await suite.one('stopped and gone on with: the counts of both make the whole', async () => {
    suite.place();
    await suite.serve().start();
    const file = write('many.ndjson', many('a'));
    const parts = [];
    const words = [];
    for (let i = 0; i < 3; i++) {
        const { r, state } = await interrupt(file, 'SIGINT', words);
        parts.push(said(r));
        expect(state.includes('headgate-load 1\n'), state);
        words.splice(0, 1, '--resume');
        await sleep(50);
    }
    const last = await suite.load('--resume', file);
    parts.push(said(last));
    const sum = parts.reduce((a, b) => a.map((x, i) => x + b[i]));
    expect(sum.join(' ') === `${GOOD + 1} 0 0 ${MANY / 100}`, sum.join(' '));
    expectOutcomes(read(`${file}.errors.ndjson`), MANY / 100, 'each once');
});

await suite.one('killed with SIGKILL again and again: every line once', async () => {
    suite.place();
    await suite.serve().start();
    const file = write('many.ndjson', many('a'));
    let words = [];
    for (let i = 0; i < 4; i++) {
        const child = suite.start('load', [...words, file]);
        const before = has(`${file}.headgate-load`)
            ? read(`${file}.headgate-load`) : '';
        await until('it has gone on', () => has(`${file}.headgate-load`)
            && read(`${file}.headgate-load`) !== before);
        child.kill('SIGKILL');
        await child.ended;
        words = ['--resume'];
    }
    const last = await suite.load('--resume', file);
    expect(last.status === 1 && !has(`${file}.headgate-load`), last.err);
    expectOutcomes(read(`${file}.errors.ndjson`), MANY / 100, 'each once');
    await stopChild(suite.service.child);
    expect(suite.readings('a') === GOOD, `${suite.readings('a')} readings`);
    expect(suite.count('SELECT count(*) FROM resource WHERE kind = 1') === GOOD,
        'none is there twice');
});

await suite.one('the service is killed under it, and comes again', async () => {
    suite.place();
    const service = suite.serve();
    await service.start();
    const file = write('many.ndjson', many('a'));
    const child = suite.start('load', [file]);
    await until('a state', () => has(`${file}.headgate-load`));
    await stopChild(service.child, 'SIGKILL');
    const r = await child.ended;
    expect(r.status === 1 && /--resume/.test(r.err), r.err);
    await service.start();
    expect((await suite.load('--resume', file)).status === 1, 'some are refused');
    await stopChild(service.child);
    expect(suite.readings('a') === GOOD, `${suite.readings('a')} readings`);
});

await suite.one('HL7 v2 is gone on with too', async () => {
    suite.place();
    await suite.serve().start();
    const count = 1500;
    const file = write('many.hl7', Array.from({ length: count }, (_, n) =>
        message(`k${n}`, 'a', n % 100 === 50 ? 'bad' : 900 + n % 200)).join(''));
    const { r } = await interrupt(file, 'SIGINT');
    expect(r.status === 130, r.err);
    const last = await suite.load('--resume', file);
    const [first, rest] = [r, last].map((x) => numbers(x, MESSAGES));
    expect(first[2] + rest[2] === count / 100
        && [...first, ...rest].reduce((a, b) => a + b) === count, last.out);
    const outcomes = expectOutcomes(read(`${file}.errors.ndjson`), count / 100, 'v2');
    /* four lines a message: the 50th begins at line 201 */
    outcomes.forEach((o, i) => expect(o.issue[0].location[0]
        === `${file}:${(i * 100 + 50) * 4 + 1}`, o.issue[0].location[0]));
    await stopChild(suite.service.child);
    expect(suite.count('SELECT count(*) FROM hl7_message') === count, 'messages');
});

await suite.one('a file that has changed is not gone on with', async () => {
    suite.place();
    await suite.serve().start();
    const state = join(suite.folder, 'states');
    mkdirSync(state, { recursive: true });
    const changes = [
        ['longer', (f) => appendFileSync(f, '{}\n'), /bytes now and had/],
        ['touched', (f) => utimesSync(f, 1, 1), /written to since/],
        ['other head', (f) => { const t = readFileSync(f); t[70] ^= 1;
            writeFileSync(f, t); }, /first 64 KiB/],
        ['other place', (f, s) => { const t = readFileSync(f);
            t[Number(/^offset (\d+)$/m.exec(s)[1]) - 20] ^= 1;
            writeFileSync(f, t); }, /what stands before byte/],
    ];
    for (const [name, change, want] of changes) {
        const file = write(`${name}.ndjson`, text(lines(name.replace(' ', ''), 8000)));
        const one = await interrupt(file, 'SIGINT');
        change(file, one.state);
        const r = await suite.load('--resume', file);
        expect(r.status === 1 && want.test(r.err), `${name}: ${r.err}`);
        expectSaid(r, 0, 0, 0, 0, 1);
        expect(has(`${file}.headgate-load`), 'the state stays');
        unlinkSync(`${file}.headgate-load`);
    }
    const file = write('damaged.ndjson', text(lines('x', 3)));
    writeFileSync(`${file}.headgate-load`, 'headgate-load 1\nsize 12\n');
    const r = await suite.load('--resume', file);
    expect(r.status === 1 && /cannot be read/.test(r.err), r.err);
    const fresh = await suite.load('--resume', '--state', state, file);
    expectSaid(fresh, 4, 0, 0, 0, 0);
    const missing = await suite.load('--state', '/nowhere', file);
    expect(missing.status === 1 && /--state \/nowhere/.test(missing.err), missing.err);
});

await suite.one('several files, standard input, one error file', async () => {
    suite.place();
    const errors = join(suite.folder, 'all.ndjson');
    const a = write('a.ndjson', text(lines('a', 2)) + 'x\n');
    const b = write('b.ndjson', 'y\n' + text(lines('b', 2)));
    const r = await suite.load('--quiet', '--errors', errors, a, b);
    expectSaid(r, 6, 0, 0, 2, 1);
    const rows = expectOutcomes(read(errors), 2, 'one file');
    expect(rows[0].issue[0].location[0] === `${a}:4`
        && rows[1].issue[0].location[0] === `${b}:1`, JSON.stringify(rows));
    const piped = await suite.run('load', ['-'], { input: text(lines('c', 2)) });
    expectSaid(piped, 3, 0, 0, 0, 0);
    const hl7 = await suite.run('load', ['-'], { input: message('z1', 'z', 900) });
    expectHl7(hl7, [1, 0, 0, 0], [1, 0, 0, 0], 0);
    /* both kinds: each has its own lines */
    const both = await suite.load(write('d.ndjson', text(lines('d', 2))),
        write('d.hl7', message('d7', 'd', 900) + message('d8', 'd', 'none')));
    expectSaid(both, 3, 0, 0, 0, 1);
    expect([numbers(both, MESSAGES), numbers(both, RESULTS)].join(' ')
        === '1,0,1,0 1,0,0,1', both.out);
    const resumed = await suite.run('load', ['--resume', '-'], { input: 'x' });
    expect(resumed.status === 1 && /only a file/.test(resumed.err), resumed.err);
    const none = await suite.load();
    expect(none.status === 2, 'no file');
    expect((await suite.load('/nowhere/x')).status === 1, 'no such file');
});

await suite.finish();
