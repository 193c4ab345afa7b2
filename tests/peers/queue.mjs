/*
 * The queue in the hands of people, on the invented year: its parts by unit, the
 * week of each unit, the list of each unit here and at a record, and the list
 * on a terminal that is drawn anew.
 *
 *     node queue.mjs HEADGATE HEADGATE-DEMO
 *
 * Counts are made a second time from the Tasks and Patients as a plain FHIR
 * search gives them, and from what `headgate decisions` says.  Lists are R4 in
 * the opinion of independent validators; the record is the FHIR server of
 * record.mjs; the terminal is a pseudo-terminal of the system (Python's pty).
 */
import { execFileSync, spawn } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';

import { expect, http, searchAll, stopChild } from './delivery_kit.mjs';
import { Suite } from './suite.mjs';
import { checkText, printFindings } from './validate.mjs';

const BASE = 'https://headgate.example/fhir';
const LISTS = `${BASE}/NamingSystem/unit-list`;
const TERMINAL = fileURLToPath(new URL('queue_terminal.py', import.meta.url));
const ROOT = fileURLToPath(new URL('../..', import.meta.url));

const bench = new Suite({ needs: ['HEADGATE', 'HEADGATE-DEMO'],
    wholeMs: 240000 });
const { tmp, files: [binary, generator] } = bench;
let record, service;

async function until(what, look, ms = 30000) {
    for (const end = Date.now() + ms;; await sleep(200)) {
        const found = await look();
        if (found)
            return found;
        expect(Date.now() < end, `not within ${ms} ms: ${what}`);
    }
}

async function said(...words) {
    const r = await service.command(...words);
    expect(r.status === 0, `${words.join(' ')}: ${r.status} ${r.err}`);
    return r.out;
}

const rows = async (...words) => (await said('queue', '--json', ...words))
    .split('\n').filter(Boolean).map((line) => JSON.parse(line));
const real = (list) => list.filter((row) => row.kind !== 'not-shown');
const same = (a, b) => JSON.stringify([...a].sort()) === JSON.stringify([...b].sort());

/* ---- as another program sees it: Tasks and Patients --------------------------- */

const tasks = () => searchAll(`${service.url}/Task?_count=50`);
const isOpen = (task) => !['completed', 'rejected', 'cancelled', 'failed',
    'entered-in-error'].includes(task.status);
const isReminder = (task) => task.code.coding.some(
    (c) => c.code.startsWith('repeat-') || c.code === 'follow-up-after-band');

/* Patient -> unit, by what Patient.managingOrganization shows. */
async function units() {
    const found = new Map();
    for (const p of await searchAll(`${service.url}/Patient?_count=50`))
        found.set(`Patient/${p.id}`, p.managingOrganization?.display);
    return found;
}

/* Open Tasks by unit: unit -> ids. */
async function openByUnit() {
    const of = await units(), found = new Map();
    for (const task of (await tasks()).filter(isOpen)) {
        const unit = of.get(task.for.reference);
        found.set(unit, [...found.get(unit) ?? [], task.id]);
    }
    return found;
}

const lists = (base) => searchAll(`${base}/List?_count=50`);
const unitOf = (list) => list.identifier.find((i) => i.system === LISTS).value;

function expectValid(resource) {
    for (const { name, found } of checkText(JSON.stringify(resource))) {
        printFindings(name, found);
        expect(found.length === 0, `${name} is not valid`);
    }
}

/* Reviews run after the answer. */
const settled = () => service.untilMetric('headgate_reviews_waiting', 0);

/* The Lists say what the queue says: people by unit. */
async function listsAgree(base) {
    const queue = real(await rows()).filter((row) => row.task !== null);
    const found = new Map((await lists(base)).map((l) => [unitOf(l), l]));
    for (const unit of new Set(queue.map((row) => row.unit).filter(Boolean))) {
        const want = queue.filter((row) => row.unit === unit).map((row) => row.patient);
        const got = (found.get(unit)?.entry ?? []).map((e) => e.item.display);
        if (!same(want, got))
            return false;
    }
    return found;
}

/* ---- a person ------------------------------------------------------------------- */

async function change(id, status, why) {
    const url = `${service.url}/Task/${id}`;
    const { body, headers } = await http('GET', url);
    const changed = { ...body, status, lastModified: new Date().toISOString(),
        ...(why && { statusReason: { text: why } }) };
    const answer = await http('PUT', url, changed, { 'If-Match': headers.etag });
    expect(answer.status === 200, `Task ${status}: ${answer.status} ${answer.text}`);
}

/* ---- a terminal ------------------------------------------------------------------ */

class Terminal {
    constructor(rowCount, columns, environment = {}) {
        this.screen = '';
        this.child = spawn('/usr/bin/python3', [TERMINAL, rowCount, columns,
            binary, 'queue', '--watch', '--config', 'config/demo.ini',
            ...service.settings], { cwd: ROOT,
            env: { ...process.env, TERM: 'xterm', ...environment } });
        this.child.stdout.on('data', (bytes) => { this.screen += bytes; });
        this.child.stderr.on('data', (bytes) => { this.screen += bytes; });
        this.ended = new Promise((done) => this.child.on('close', done));
    }

    do(...words) {
        this.child.stdin.write(`${words.join(' ')}\n`);
    }

    /* What has been drawn since the last look shows this. */
    async shows(text, ms = 15000) {
        await until(`"${text}" on the terminal`,
            () => this.screen.includes(text), ms);
        const shown = this.screen;
        this.screen = '';
        return shown;
    }

    async end() {
        await this.ended;
        return this.screen;
    }
}

/* ---- cases ------------------------------------------------------------------------ */

const cases = {
    async 'the year is taken, and the queue comes to rest'() {
        const year = join(tmp, 'year.ndjson');
        writeFileSync(year, execFileSync(generator, { maxBuffer: 1 << 28 }));
        await said('load', '--to', service.url, year);
        await settled();
    },
    async 'a unit\'s part holds its open Tasks, and no other'() {
        const open = await openByUnit();
        const all = real(await rows());
        expect(open.size >= 3, `${open.size} units`);
        for (const [unit, ids] of open) {
            const part = await rows('--unit', unit);
            const got = real(part).filter((r) => r.task !== null).map((r) => r.task);
            expect(same(got, ids), `${unit}: ${got.length} of ${ids.length}`);
            const hidden = part.find((r) => r.kind === 'not-shown');
            expect(hidden.count === all.length - real(part).length,
                `${unit}: ${hidden.count} not shown`);
        }
    },
    async 'parts by rule, state and access add up'() {
        const all = real(await rows());
        for (const rule of new Set(all.flatMap((r) => r.rules))) {
            const part = real(await rows('--rule', rule.toLowerCase()));
            expect(part.every((r) => r.rules.includes(rule)) && part.length
                === all.filter((r) => r.rules.includes(rule)).length, rule);
        }
        const parts = await Promise.all(['open', 'taken', 'put-off'].map(
            async (state) => real(await rows('--state', state)).length));
        expect(parts.reduce((a, b) => a + b) === all.length, `${parts}`);
        const [first] = all;
        const label = /A-\d+/.exec(first.access)[0];
        expect(real(await rows('--access', label)).some((r) => r.task === first.task),
            label);
        const nobody = await service.command('queue', '--unit', 'Nowhere');
        expect(nobody.status === 1 && nobody.err.includes('Units that are known'),
            nobody.err);
    },
    async 'a list for people says what it hides, without colours in a pipe'() {
        const [unit] = (await openByUnit()).keys();
        const text = await said('queue', '--unit', unit);
        expect(text.includes('ONLY A PART IS SHOWN') && !text.includes('\x1b'),
            text.slice(0, 300));
        expect(/since (today|\d+ d)/.test(text) && /due (today|in \d+ d)/.test(text),
            'no ages');
    },
    async 'the queue by HTTP is the same, and says when it is unchanged'() {
        const root = service.root();
        const [unit] = (await openByUnit()).keys();
        const query = new URLSearchParams({ unit, state: 'open' });
        const a = await http('GET', `${root}/queue?${query}`);
        expect(a.status === 200 && a.headers.etag, `${a.status}`);
        const b = await http('GET', `${root}/queue?${query}`, undefined,
            { 'If-None-Match': a.headers.etag });
        expect(b.status === 304 && b.text === '', `${b.status}`);
        for (const bad of ['state=x', 'rule=XX-9', 'colour&x=1', 'unit='])
            expect((await http('GET', `${root}/queue?${bad}`)).status === 400, bad);
    },
    async 'each unit has a List with the people of its queue, valid R4'() {
        await until('Lists that say what the queue says',
            () => listsAgree(service.url));
        const of = await units();
        for (const list of await lists(service.url)) {
            expectValid(list);
            expect(list.status === 'current' && list.mode === 'working', list.id);
            for (const entry of list.entry ?? [])
                expect(of.get(entry.item.reference) === unitOf(list),
                    `${entry.item.reference} is not of ${unitOf(list)}`);
        }
    },
    async 'a List is found by its unit, and nobody can write one'() {
        const [unit] = (await openByUnit()).keys();
        const by = encodeURIComponent(`${LISTS}|${unit}`);
        const found = await searchAll(`${service.url}/List?identifier=${by}`);
        expect(found.length === 1 && unitOf(found[0]) === unit, unit);
        for (const query of [`_id=${found[0].id}`, 'status=current',
            '_lastUpdated=gt2026-01-01', `identifier=${by}&status=current`])
            expect((await searchAll(`${service.url}/List?${query}`))
                .some((l) => l.id === found[0].id), query);
        expect((await searchAll(`${service.url}/List?status=retired`)).length === 0,
            'retired');
        for (const [method, path] of [['POST', ''], ['PUT', `/${found[0].id}`]]) {
            const a = await http(method, `${service.url}/List${path}`, found[0]);
            expect(a.status === 405, `${method}: ${a.status}`);
        }
    },
    async 'the record has each List once, with its own patients'() {
        await until('Lists at the record', async () => {
            const found = await listsAgree(record.url);
            return found && found.size >= 3 && found;
        }, 60000);
        const there = await lists(record.url);
        expect(new Set(there.map(unitOf)).size === there.length, 'two of one unit');
        there.forEach(expectValid);
    },
    async 'what people do is in the digest, as Tasks and decisions say it'() {
        const before = real(await rows()).filter((r) => r.kind === 'referral');
        const [taken, done, declined] = before.slice(-3);
        await change(taken.task, 'accepted');
        await change(done.task, 'accepted');
        await change(done.task, 'completed');
        await change(declined.task, 'rejected', 'Seen in the clinic last week');
        const digest = (await said('queue', '--digest', '--json')).trim()
            .split('\n').map((line) => JSON.parse(line));
        const sum = (key) => digest.reduce((n, u) => n + u[key], 0);
        const decided = (await said('decisions', '--json')).trim().split('\n')
            .map((line) => JSON.parse(line)).filter((d) => d.kind === 'referral');
        expect(sum('new') === decided.filter((d) => d.act === 'opened').length, 'new');
        expect(sum('ended') === decided.filter((d) => d.act === 'ended').length, 'ended');
        const referrals = (await tasks()).filter((t) => !isReminder(t));
        const of = await units();
        const want = (unit, status) => referrals.filter((t) => t.status === status
            && of.get(t.for.reference) === unit).length;
        for (const u of digest) {
            expect(u.completed === want(u.unit, 'completed'), `completed, ${u.unit}`);
            expect(u.declined === want(u.unit, 'rejected'), `declined, ${u.unit}`);
            expect(u.open_now === referrals.filter((t) => isOpen(t)
                && of.get(t.for.reference) === u.unit).length, `open, ${u.unit}`);
            expect(u.new === referrals.filter(
                (t) => of.get(t.for.reference) === u.unit).length, `new, ${u.unit}`);
        }
        expect(sum('taken') === 2, `taken ${sum('taken')}`);
        const reasons = digest.flatMap((u) => u.declined_reasons);
        expect(JSON.stringify(reasons)
            === '[{"reason":"Seen in the clinic last week","count":1}]',
        JSON.stringify(reasons));
        const text = await said('queue', '--digest');
        expect(text.includes('1 x Seen in the clinic last week'), text);
    },
    async 'the Lists follow, here and at the record'() {
        await until('here', () => listsAgree(service.url));
        await until('at the record', () => listsAgree(record.url));
    },
    async 'kill -9 and a start: nothing twice, no version without a change'() {
        const before = await lists(record.url);
        await service.killAndStart();
        await sleep(4000); /* several looks of a second each */
        const after = await lists(record.url);
        expect(same(before.map((l) => `${l.id} ${l.meta.versionId}`),
            after.map((l) => `${l.id} ${l.meta.versionId}`)), 'other versions');
        const row = real(await rows()).filter((r) => r.kind === 'referral').at(-1);
        await change(row.task, 'rejected', 'Known');
        await until('the change at the record', () => listsAgree(record.url));
        expect((await lists(record.url)).length === before.length, 'one more');
    },
    async 'whom the record took off a List comes back with the next change'() {
        const [list] = (await lists(record.url)).filter((l) => l.entry?.length > 2);
        const short = { ...list, entry: list.entry.slice(0, 1) };
        const a = await http('PUT', `${record.url}/List/${list.id}`, short);
        expect(a.status === 200, `${a.status}`);
        const row = real(await rows('--unit', unitOf(list)))
            .filter((r) => r.kind === 'referral' && r.state === 'open').at(-1);
        await change(row.task, 'accepted');
        await until('ours at the record', async () => (await listsAgree(record.url))
            && (await lists(record.url)).find((l) => l.id === list.id).entry
                .some((e) => e.flag.text.includes('In hand.')));
    },
    async 'watched: drawn, drawn anew, away, back, and the terminal restored'() {
        const t = new Terminal(200, 110, { NO_COLOR: undefined });
        expect((await t.shows('q ends')).includes('\x1b[1m'), 'no colours');
        const row = real(await rows()).filter((r) => r.kind === 'referral'
            && r.state === 'open').at(-1);
        await change(row.task, 'accepted');
        await t.shows('IN HAND');
        await stopChild(service.child);
        await t.shows('AWAY SINCE');
        await service.start();
        await t.shows('Last change seen');
        t.do('size', 12, 80);
        await t.shows('More lines than fit here');
        t.do('key', 'q');
        const last = await t.end();
        expect(last.includes('ended 0 restored yes'), last.slice(-200));
    },
    async 'watched while it is away: drawn in another size, and ended by a key'() {
        const t = new Terminal(60, 100, { NO_COLOR: '1' });
        await t.shows('q ends');
        await stopChild(service.child);
        await t.shows('AWAY SINCE');
        t.do('size', 30, 70);
        const drawn = await t.shows('AWAY SINCE'); /* said again, and the list stays */
        expect(drawn.includes('the list is of'), drawn.slice(-300));
        await service.start();
        const back = await t.shows('Last change seen');
        const widest = Math.max(...back.split('\x1b[2J').at(-1).split(/\r*\n/)
            .map((line) => [...line.replace(/\x1b\[[?\d;]*[a-zA-Z]/g, '')].length));
        expect(widest <= 70, `a line of ${widest} on a terminal of 70`);
        await stopChild(service.child);
        await t.shows('AWAY SINCE');
        t.do('key', 'q');
        const last = await t.end();
        expect(last.includes('ended 0 restored yes'), last.slice(-200));
        await service.start();
    },
    async 'watched while it does not answer: said, and it goes on'() {
        const t = new Terminal(60, 100, { NO_COLOR: '1' });
        await t.shows('q ends');
        service.child.kill('SIGSTOP');
        await t.shows('AWAY SINCE', 20000);
        service.child.kill('SIGCONT');
        await t.shows('Last change seen');
        t.do('signal', 'SIGTERM');
        const last = await t.end();
        expect(last.includes('ended 0 restored yes'), last.slice(-200));
    },
    async 'a death at the record takes the patient off the queue and the List'() {
        const entries = async () => (await lists(service.url))
            .flatMap((l) => l.entry ?? []);
        const all = await entries();
        const ref = all.map((e) => e.item.reference).find((r) => r && all.every(
            (e) => e.item.reference !== r || !e.flag.text.includes('In hand')));
        expect(ref !== undefined, 'nobody to take');
        const id = ref.slice(ref.lastIndexOf('/') + 1);
        const onLists = async () => (await entries())
            .filter((e) => e.item.reference === ref).length;
        const open = async () => (await tasks()).filter(
            (t) => isOpen(t) && t.for.reference === ref).length;
        const url = `${service.url}/Patient/${id}`;
        const { body, headers } = await http('GET', url);
        const was = await onLists();
        const put = (patient, etag) => http('PUT', url, patient, { 'If-Match': etag });
        const dead = await put({ ...body, deceasedBoolean: true }, headers.etag);
        expect(dead.status === 200, `${dead.status} ${dead.text}`);
        await until('nobody of him on a List', async () => await onLists() === 0);
        expect(await open() === 0, 'Tasks are open');
        await until('the same at the record', () => listsAgree(record.url));
        const alive = await put(body, dead.headers.etag);
        expect(alive.status === 200, `${alive.status} ${alive.text}`);
        await until('back on the List', async () => await onLists() === was);
    },
    async 'watched without colours, and ended by a signal'() {
        const t = new Terminal(60, 100, { NO_COLOR: '1' });
        expect(!/\x1b\[1;?\d*m/.test(await t.shows('q ends')), 'colours');
        t.do('signal', 'SIGINT');
        const last = await t.end();
        expect(last.includes('ended 0 restored yes'), last.slice(-200));
        const r = await service.command('queue', '--watch');
        expect(r.status === 2 && r.err.includes('needs a terminal'), r.err);
    },
};

await bench.main(async () => {
    await bench.atRecord({ 'record.unit_list': true,
        'record.unit_list_pause': 1, 'site.zone': 'UTC' });
    ({ record, service } = bench);
    await bench.each(cases);
});
