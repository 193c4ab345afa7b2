/*
 * Everything that the record has is exported and taken in (Bulk Data Access
 * 2.0.0), whatever happens on the way, with exact counts.
 *
 *   node bulk.mjs path/to/headgate [URL]
 *
 * The record of record.mjs has no export: the one here is made from what it
 * holds, in the form that the guide gives (kick-off, status, manifest, files),
 * and spoilt as a test asks.  With URL the export of that server is used, in
 * the scenarios that do not spoil it.
 */

import { spawn } from 'node:child_process';
import { createServer } from 'node:http';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http, searchAll } from './delivery_kit.mjs';
import { PollSuite } from './poll_kit.mjs';

const suite = new PollSuite();
/* a server may look for work to do once a minute only */
const END_MS = suite.other ? 240000 : 30000;

/* An export, kept in memory; what it does is changed by its members. */
class Export {
    constructor(tag) {
        this.tag = tag;
        this.asked = [];
        this.busy = 2;        /* answers 202 to the status */
        this.deleted = 0;
        this.time = new Date().toISOString();
        this.spoil = (type, text) => text;
        this.manifest = (m) => m;
        this.file = () => undefined;
        this.started = () => undefined;
        this.state = () => undefined;
        this.goneIds = [];
        this.fileRequests = [];
    }

    async lines(type) {
        const all = await searchAll(`${suite.record}/${type}?_count=500`);
        return all.filter((r) => r.id.startsWith(`${this.tag}-`))
            .map((r) => JSON.stringify(r));
    }

    /* The answer to a request, or undefined: it is no part of an export. */
    async answer(r) {
        if (r.path.endsWith('$export'))
            return this.start(r);
        if (r.path === '/export-status' && r.method === 'DELETE') {
            this.deleted++;
            return { status: 202, headers: {}, text: '' };
        }
        if (r.path === '/export-status')
            return this.status(r);
        const file = /^\/export-file\/(\w+)$/.exec(r.path);
        return file === null ? undefined : this.sent(r, file[1]);
    }

    start(r) {
        this.asked.push({ path: r.path, prefer: r.headers.prefer,
            accept: r.headers.accept, ...Object.fromEntries(r.params) });
        return this.started(r) ?? { status: 202, headers: {
            'content-location': `${suite.peer.url}/export-status` },
        text: '' };
    }

    status(r) {
        const other = this.state(r);
        if (other !== undefined)
            return other;
        if (this.busy-- > 0)
            return { status: 202, headers: { 'x-progress': 'half' }, text: '' };
        const type = (t) => ({ type: t,
            url: `${suite.peer.url}/export-file/${t}` });
        const types = (this.asked.at(-1)._type ?? '').split(',');
        return { status: 200, headers: { 'content-type': 'application/json' },
            body: this.manifest({ transactionTime: this.time,
                request: 'https://record.example/$export',
                requiresAccessToken: true, output: types.map(type),
                error: [],
                ...(this.goneIds.length > 0 && { deleted: [{ type: 'Bundle',
                    url: `${suite.peer.url}/export-file/Gone` }] }) }) };
    }

    async sent(r, type) {
        this.fileRequests.push(type);
        const other = await this.file(r, type);
        if (other !== undefined)
            return other;
        const lines = type === 'Gone' ? this.goneIds.map((id) =>
            JSON.stringify({ resourceType: 'Bundle', type: 'transaction',
                entry: [{ request: { method: 'DELETE',
                    url: `Observation/${id}` } }] }))
            : await this.lines(type);
        return { status: 200, headers: { 'content-type':
            'application/fhir+ndjson' },
        text: this.spoil(type, lines.map((l) => `${l}\n`).join('')) };
    }
}

async function scene(count, settings = {}) {
    const s = await suite.scene(count, { 'record.poll': 0, ...settings });
    s.export = new Export(s.tag);
    if (!suite.other)
        suite.peer.request = (r) => s.export.answer(r);
    await s.service.start();
    return s;
}

/* 503: the service has just begun. */
async function ask(s, query = '') {
    for (;;) {
        const answer = await http('POST', `${s.service.root()}/bulk${query}`);
        if (answer.status !== 503)
            return answer;
        await sleep(20);
    }
}

/* The line on the export, once it has ended. */
async function ended(s) {
    const end = Date.now() + END_MS;
    for (;;) {
        const text = await s.service.text('/incoming');
        const line = /^export (\w+):.*$/m.exec(text);
        if (line !== null && !/asking|waiting|reading/.test(line[1]))
            return { how: line[1], line: line[0], text };
        expect(Date.now() < end, `the export does not end: ${text}`);
        await sleep(50);
    }
}

async function done(s, query) {
    expect((await ask(s, query)).status === 202, 'it was not begun');
    const e = await ended(s);
    expect(e.how === 'done', e.text);
    return e;
}

async function failed(s, text) {
    expect((await ask(s)).status === 202, 'it was not begun');
    const e = await ended(s);
    expect(e.how === 'failed' && e.text.includes(text), e.text);
    expect((await s.service.text('/readyz')).includes(text),
        '/readyz does not say it');
}

async function whole() {
    const s = await scene(450);
    await done(s);
    if (!suite.other) {
        const [asked] = s.export.asked;
        expect(asked.path === '/Patient/$export'
            && asked.prefer === 'respond-async'
            && asked.accept === 'application/fhir+json'
            && asked._type === 'Patient,BodyStructure,Observation'
            && asked._since === undefined, JSON.stringify(asked));
        expect(s.export.deleted === 1, 'the export was not deleted there');
    }
    await s.service.exactly(s.tag, s.who.ids);
}

/* The second one asks for what changed since the first. */
async function again() {
    const s = await scene(5);
    await done(s);
    await s.who.measure(3);
    s.export.busy = 1;
    await done(s);
    expect(s.export.asked[1]._since === s.export.time,
        `since ${s.export.asked[1]._since}`);
    s.export.busy = 0;
    await done(s, '?since=2026-01-02T03:04:05%2B01:00&group=g1&types=Patient');
    const third = s.export.asked[2];
    expect(third._since === '2026-01-02T03:04:05+01:00'
        && third.path === '/Group/g1/$export' && third._type === 'Patient',
    JSON.stringify(third));
    await s.service.exactly(s.tag, s.who.ids);
}

/* Lines as programs write them, and some that are none. */
async function lines() {
    const s = await scene(6);
    s.export.spoil = (type, text) => (type !== 'Observation' ? text
        : '\ufeff' + text.replaceAll('\n', '\r\n\r\n')
            + '{"resourceType":"Observation"\n'
            + 'not json at all\n'
            + '{"resourceType":"Observation","id":"x","id":"y"}\n'
            + `{"resourceType":"Observation","a":"${'z'.repeat(1100000)}"}\n`
            + '{"resourceType":"Observation","id":"bad","status":"final"}\n'
            + '{"resourceType":"Encounter","id":"e1","status":"finished"}');
    const e = await done(s);
    expect(/, 5 not taken$/.test(e.line), e.line);
    expect((e.text.match(/export file 3 line \d+ \(at byte \d+\)/g) ?? [])
        .length === 5, e.text);
    await s.service.exactly(s.tag, s.who.ids, { refused: 5 });
}

/* What was deleted there is withdrawn here. */
async function deletions() {
    const s = await scene(4);
    await done(s);
    s.export.goneIds = [`${s.tag}-o-2`, `${s.tag}-o-unknown`];
    await done(s);
    await s.service.stop();
    const used = s.service.look((db) => db.prepare('SELECT r.fid FROM reading '
        + 'g JOIN resource r ON r.id = g.resource WHERE g.status < 3 '
        + 'ORDER BY r.fid').all().map((row) => row.fid.slice(-1)).join(''));
    expect(used === '013', `used: ${used}`);
}

/* Faults that pass: each request fails at first. */
async function passing() {
    const s = await scene(5);
    let kicks = 2, states = 2, files = 3;
    const no = (status, headers = {}) => ({ status, headers, text: '' });
    s.export.started = () => (kicks-- > 0 ? no(429, { 'retry-after': '1' })
        : undefined);
    s.export.state = () => (states-- > 0 ? no(503) : undefined);
    s.export.file = (r, type) => {
        if (type !== 'Observation' || files-- <= 0)
            return undefined;
        return files === 2 ? no(500) : files === 1 ? no(502)
            : { ...no(200), drop: true };
    };
    await done(s);
    await s.service.exactly(s.tag, s.who.ids);
}

/* The service dies while it waits, and in the middle of a file. */
async function killed() {
    const s = await scene(450);
    let hang = true;
    s.export.state = () => (hang ? { status: 202,
        headers: { 'retry-after': '1' }, text: '' } : undefined);
    await ask(s);
    await sleep(300);
    await s.service.kill();
    hang = false;
    let reached, stuck = true;
    const there = new Promise((resolve) => { reached = resolve; });
    s.export.file = async (r, type) => {
        if (type === 'Observation' && stuck) {
            reached();
            await new Promise(() => undefined);
        }
    };
    await s.service.start();
    await there;
    await s.service.kill();
    stuck = false;
    await s.service.start();
    const e = await ended(s);
    expect(e.how === 'done', e.text);
    expect(s.export.asked.length === 1, 'it was asked for twice');
    expect(s.export.fileRequests.filter((t) => t === 'Patient').length === 1,
        'a file that was done was read again');
    await s.service.exactly(s.tag, s.who.ids);
}

async function cancelled() {
    const s = await scene(3);
    s.export.busy = 1000;
    expect((await ask(s)).status === 202, 'it was not begun');
    await sleep(200);
    expect((await ask(s)).status === 409, 'a second one was begun');
    expect((await http('DELETE', `${s.service.root()}/bulk`)).status === 202,
        'it was not given up');
    expect((await ended(s)).how === 'cancelled', 'not cancelled');
    expect(s.export.deleted === 1, 'it was not deleted there');
    expect((await http('DELETE', `${s.service.root()}/bulk`)).status === 404,
        'there was something to give up');
    s.export.busy = 0;
    await done(s);
    await s.service.exactly(s.tag, s.who.ids);
}

/* A file on another host: without a token, and only if it needs none. */
async function elsewhere() {
    const seen = [];
    let body = '';
    const other = createServer((req, res) => {
        seen.push(req.headers.authorization ?? 'none');
        res.end(body);
    });
    await new Promise((resolve) => other.listen(0, '127.0.0.1', resolve));
    try {
        const url = `http://127.0.0.1:${other.address().port}/file`;
        const s = await scene(2, { 'record.token_file':
            suite.file('secret-of-the-record') });
        s.export.manifest = (m) => ({ ...m,
            output: [...m.output.slice(0, 2), { type: 'Observation', url }] });
        await failed(s, 'on another host');
        expect(seen.length === 0, 'the other host was asked');
        body = (await s.export.lines('Observation')).join('\n');
        s.export.manifest = (m) => ({ ...m, requiresAccessToken: false,
            output: [...m.output.slice(0, 2), { type: 'Observation', url }] });
        await done(s);
        expect(seen.join() === 'none', `the token went along: ${seen}`);
        await s.service.exactly(s.tag, s.who.ids);
    } finally {
        other.close();
    }
}

async function refusals() {
    const cases = [
        ['refuses the export', (x) => { x.started = () => ({ status: 403,
            headers: {}, text: '' }); }],
        ['does not say where', (x) => { x.started = () => ({ status: 202,
            headers: {}, text: '' }); }],
        ['another host', (x) => { x.started = () => ({ status: 202, headers: {
            'content-location': 'http://127.0.0.1:1/status' }, text: '' }); }],
        ['gave the export up', (x) => { x.state = () => ({ status: 404,
            headers: {}, text: '' }); }],
        ['cannot be read', (x) => { x.manifest = () => ({ output: [] }); }],
        ['cannot be read', (x) => { x.manifest = (m) => ({ ...m,
            output: [{ type: 'Patient' }] }); }],
        ['a file cannot be had', (x) => { x.file = () => ({ status: 404,
            headers: {}, text: '' }); }],
    ];
    const s = await scene(1);
    for (const [text, spoil] of cases) {
        s.export = new Export(s.tag);
        spoil(s.export);
        await failed(s, text);
    }
    for (const query of ['?group=a/b', '?since=yesterday', '?types=A%26b'])
        expect((await ask(s, query)).status === 400, `${query} was taken`);
    s.export = new Export(s.tag);
    await done(s);
    await s.service.exactly(s.tag, s.who.ids);
}

/* It exports all of itself, and not by patient. */
async function systemWide() {
    const s = await scene(2);
    s.export.started = (r) => (r.path === '/Patient/$export'
        ? { status: 404, headers: {}, text: '' } : undefined);
    await done(s);
    expect(s.export.asked.map((a) => a.path).join()
        === '/Patient/$export,/$export', JSON.stringify(s.export.asked));
    await s.service.exactly(s.tag, s.who.ids);
}

/* By itself, from time to time. */
async function byItself() {
    const s = await scene(2, { 'record.bulk_every': 1 });
    const e = await ended(s);
    expect(e.how === 'done', e.text);
    await s.service.exactly(s.tag, s.who.ids);
}

/* The command: what it prints, and how it ends. */
async function command() {
    const s = await scene(3);
    const run = async (...args) => {
        const child = spawn(suite.binary, ['fetch', ...args,
            ...s.service.args.slice(1)],
        { cwd: new URL('../..', import.meta.url).pathname });
        let out = '';
        child.stdout.on('data', (chunk) => { out += chunk; });
        child.stderr.on('data', (chunk) => { out += chunk; });
        const code = await new Promise((resolve) => child.on('close', resolve));
        return { code, out };
    };
    const bulk = await run('--bulk', '--since', '2026-01-02');
    expect(bulk.code === 0 && /^export done: 3 of 3 files, 5 lines read/m
        .test(bulk.out), `${bulk.code} ${bulk.out}`);
    expect(suite.other || s.export.asked[0]._since === '2026-01-02T00:00:00Z',
        JSON.stringify(s.export.asked));
    await s.who.measure(2);
    const poll = await run();
    expect(poll.code === 0 && /^Observation: 2 taken|^Observation: 5 taken/m
        .test(poll.out), `${poll.code} ${poll.out}`);
    const nothing = await run('--bulk', '--cancel');
    expect(nothing.code === 1 && /nothing is under way/.test(nothing.out),
        `${nothing.code} ${nothing.out}`);
    const wrong = await run('--since', '2026-01-02');
    expect(wrong.code === 2 && /needs --bulk/.test(wrong.out),
        `${wrong.code} ${wrong.out}`);
    await s.service.exactly(s.tag, s.who.ids);
}

const HERE = [
    ['the next one asks since the last', again],
    ['lines of all kinds', lines],
    ['deletions', deletions],
    ['faults that pass', passing],
    ['killed while waiting, and in a file', killed],
    ['cancelled', cancelled],
    ['a file on another host', elsewhere],
    ['what ends it', refusals],
    ['all of the server, not by patient', systemWide],
    ['by itself', byItself],
    ['the command', command],
];

suite.run([['whole', whole], ...(suite.other ? [] : HERE)]);
