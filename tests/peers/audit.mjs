/*
 * The audit trail of a running headgate: who did what is there, none of it can
 * be changed unseen, and none of it is there that did not happen.
 *
 *   node audit.mjs path/to/headgate
 *
 * From outside: the hashes are computed again with node:crypto from the rows
 * as node:sqlite reads them, by the words of service/audit.h; the AuditEvents
 * are checked against R4 by validate.mjs; the disk that is full is one (a file
 * system with a size, mount(8)).  Which deeds are on record is our own rule.
 */

import { createHash } from 'node:crypto';
import { spawnSync } from 'node:child_process';
import { copyFileSync, existsSync, mkdirSync, readFileSync, rmSync,
    writeFileSync } from 'node:fs';
import { DatabaseSync } from 'node:sqlite';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http, stopChild } from './delivery_kit.mjs';
import { Suite } from './suite.mjs';
import { Person } from './delivery_cases.mjs';
import { Endpoint } from './endpoint_kit.mjs';
import { checkText } from './validate.mjs';

const NOBODY = '0'.repeat(64);
const sha256 = (text) => createHash('sha256').update(text).digest('hex');
const bearer = (token) => ({ Authorization: `Bearer ${token}` });

const bench = new Suite({ wholeMs: 300000, logLines: 4 });
bench.services = 0;

async function open(settings = {}, store = undefined) {
    const folder = join(bench.tmp, `s${++bench.services}`);
    mkdirSync(folder);
    writeFileSync(join(folder, 'tokens'), [
        `sender ${sha256('t-sender')} system/*.cruds`,
        `desk ${sha256('t-desk')} system/Task.rus headgate/task.u`,
        `auditor ${sha256('t-auditor')} headgate/audit.r`,
        `all ${sha256('t-all')}`].join('\n'));
    const service = new Endpoint(bench.binary, folder, {
        'http.tokens': join(folder, 'tokens'), 'http.anonymous': false,
        'http.failures_max': 0, 'log.level': 'debug', ...(store && { 'store.path': store }),
        ...settings });
    /* the commands read the same settings */
    service.settings = service.args.slice(3);
    bench.service = service;
    await service.start();
    service.file = store ?? join(folder, 'hg.db');
    service.ask = (method, path, body, token = 't-sender', headers = {}) =>
        http(method, `${service.root()}${path}`, body,
            { ...bearer(token), ...headers });
    service.post = async (resource) => {
        const answer = await service.ask('POST',
            `/fhir/${resource.resourceType}`, resource);
        expect(answer.status === 201, `POST: ${answer.status} ${answer.text}`);
        return /\/([^/]+)\/_history/.exec(answer.headers.location)[1];
    };
    return service;
}

async function run(service, ...words) {
    const said = await service.command('audit', ...words);
    expect(said.status === 0, `audit ${words.join(' ')}: ${said.status} ${
        said.out}${said.err}`);
    return said.out;
}

async function rows(service, ...words) {
    const out = await run(service, 'list', '--json', ...words);
    return out.split('\n').filter(Boolean).map((line) => JSON.parse(line));
}

const one = (all, wanted) => {
    const found = all.filter((row) => Object.entries(wanted).every(
        ([key, value]) => (row[key] ?? '') === value));
    expect(found.length === 1, `${found.length} rows of ${
        JSON.stringify(wanted)}: ${JSON.stringify(all.slice(-12))}`);
    return found[0];
};

/* ---- the chain from outside ----------------------------------------------- */

const FIELDS = ['seq', 'at_ms', 'kind', 'actor', 'scope', 'who', 'action',
    'type', 'key', 'patient', 'outcome', 'detail', 'patients'];

/* "COUNT HEX" of several, by their list beside the row. */
function expectPatients(db, row) {
    const list = db.prepare(`SELECT patient FROM audit_patient WHERE seq = ?
        ORDER BY patient`).all(row.seq).map(({ patient }) => patient);
    const said = list.length === 0 ? '' : `${list.length} ${
        sha256(list.map((n) => `${n}\n`).join(''))}`;
    expect(row.patients.startsWith('>') ? list.length === 0
        : row.patients === said && list.length !== 1, `patients of ${row.seq}`);
    expect(list.length === 0 || row.patient === 0, `patient of ${row.seq}`);
}

function hashes(file) {
    const db = new DatabaseSync(file, { readOnly: true });
    const all = db.prepare('SELECT * FROM audit ORDER BY seq').all();
    all.forEach((row) => expectPatients(db, row));
    db.close();
    let before = NOBODY;
    for (const [i, row] of all.entries()) {
        const text = FIELDS.map((name) => {
            const value = String(row[name]);
            return `${Buffer.byteLength(value)}:${value}\n`;
        }).join('');
        const hash = sha256(`headgate-audit-1\n${text}${before}`);
        expect(row.seq === i + 1, `row ${row.seq} at place ${i + 1}`);
        expect(Buffer.from(row.prev).toString('hex') === before,
            `prev of row ${row.seq}`);
        expect(Buffer.from(row.hash).toString('hex') === hash,
            `hash of row ${row.seq}`);
        before = hash;
    }
    return { count: all.length, head: before, all };
}

function tamper(file, sql) {
    const db = new DatabaseSync(file);
    for (const name of ['audit_last', 'audit_kept', 'audit_whole',
        'audit_patient_last', 'audit_patient_kept', 'audit_patient_whole'])
        db.exec(`DROP TRIGGER ${name}`);
    db.exec(sql);
    db.close();
}

/* What verify says of a copy of a store, changed. */
function verified(service, sql, ...words) {
    const copy = join(bench.tmp, 'copy.db');
    for (const end of ['', '-wal', '-shm', '.sock'])
        rmSync(`${copy}${end}`, { force: true });
    copyFileSync(service.file, copy);
    if (sql !== '')
        tamper(copy, sql);
    const said = spawnSync(bench.binary, ['audit', 'verify', '--set',
        `store.path=${copy}`, '--config', 'config/demo.ini', ...words],
    { encoding: 'utf8' });
    return { status: said.status, out: said.stdout + said.stderr };
}

/* What no program of ours does. */
function alter(file, ...sql) {
    const db = new DatabaseSync(file);
    sql.forEach((one) => db.exec(one));
    db.close();
}

/* A service whose trail has a row of two patients, its number, and the head. */
async function withList() {
    const service = await open();
    for (const name of ['la', 'lb'])
        await new Person(service, name).arrive();
    await service.ask('GET', '/fhir/Patient');
    const row = (await rows(service)).filter(({ action }) =>
        action === 'search').at(-1);
    expect(row.patients?.length === 2, JSON.stringify(row));
    const [, head] = (await run(service, 'head')).trim().split(' ');
    return { service, seq: row.seq, head };
}

/* The value of a metric of the trail, once it is as wanted. */
async function metric(service, name, wanted) {
    for (const end = Date.now() + 15000;; await sleep(100)) {
        const { text } = await service.ask('GET', '/metrics', undefined, 't-all');
        const found = new RegExp(`^headgate_audit_${name} (\\d+)$`, 'm')
            .exec(text);
        if (found !== null && wanted(Number(found[1])))
            return Number(found[1]);
        expect(Date.now() < end, `headgate_audit_${name}: ${found?.[0]}`);
    }
}

/* Found in the background, and told everywhere. */
async function broken(service, row) {
    await metric(service, 'broken', (n) => n === 1);
    const ready = await service.ask('GET', '/readyz');
    expect(ready.status === 200 && ready.text.includes(`audit trail: broken at${
        ''} row ${row}; see headgate audit verify`), ready.text);
    const told = readFileSync(service.log, 'utf8').split('\n').filter((line) =>
        / level=error event=audit\.broken /.test(line));
    expect(told.length === 1 && told[0].includes(` row=${row} `),
        told.join('; '));
}

/* ---- the cases ------------------------------------------------------------ */

const cases = {
    async 'who wrote, read and decided what'() {
        const service = bench.first = await open();
        const person = bench.person = new Person(service, 'who');
        await person.bothReadings();
        const patient = `/fhir/Patient/${person.patientId}`;
        let task;
        for (const end = Date.now() + 15000; task === undefined;) {
            expect(Date.now() < end, 'there is no Task');
            await sleep(50);
            const { body } = await service.ask('GET',
                `/fhir/Task?patient=Patient/${person.patientId}`);
            task = body.entry?.[0]?.resource;
        }
        await service.ask('GET', patient);
        await service.ask('GET', '/fhir/Patient?identifier='
            + `urn:oid:2.999.1.1%7C${person.mrn}&_count=5`);
        await service.ask('GET', `/fhir/Task/${task.id}/_history/1`);
        await service.ask('GET', '/fhir/Patient/nobody');
        await service.ask('GET', `/plan?access=${person.access}`);
        await service.ask('POST', `/task?act=take&task=${task.id}&by=Zz`,
            undefined, 't-desk');
        await service.ask('POST', `/task?act=hand&task=nobody&by=Zz&whom=Yy`,
            undefined, 't-desk');
        await service.ask('POST', '/fhir', { resourceType: 'Bundle',
            type: 'batch', entry: [person.reading(1900, 3), { resourceType:
                'Observation' }].map((resource) => ({ resource,
                request: { method: 'POST', url: 'Observation' } })) });
        await service.command('quarantine', 'discard', '12345', '--by', 'Zz',
            '--why', 'x');

        const all = await rows(service);
        one(all, { action: 'start', kind: 'service' });
        const made = one(all, { action: 'create', type: 'Patient',
            kind: 'token', actor: 'sender', scope: 'system/Patient.c',
            patient_id: person.patientId, outcome: 0 });
        const found = all.filter((row) => row.action === 'search'
            && row.type === 'Patient');
        expect(found.length === 1 && found[0].patient === made.patient
            && found[0].detail === '?identifier&_count',
        JSON.stringify(found));
        one(all, { action: 'read', type: 'Patient', key: person.patientId });
        one(all, { action: 'read', type: 'Patient', key: 'nobody',
            outcome: 4 });
        one(all, { action: 'vread', type: 'Task', key: task.id,
            patient_id: person.patientId });
        one(all, { action: 'look', type: 'plan',
            patient_id: person.patientId, detail: '?access' });
        one(all, { action: 'task-take', type: 'Task', key: task.id,
            actor: 'desk', who: 'Zz', patient_id: person.patientId,
            scope: 'headgate/task.u', outcome: 0 });
        one(all, { action: 'task-hand', outcome: 4 });
        one(all, { action: 'batch', detail: 'stored 1, refused 1' });
        one(all, { action: 'quarantine-discard', key: '12345', who: 'Zz',
            kind: 'local', actor: `uid ${process.getuid()}`, outcome: 4 });
        const of = await rows(service, '--patient', person.mrn);
        expect(of.length > 5 && of.every((row) =>
            row.patient === made.patient), 'those of the patient alone');
        expect(!JSON.stringify(all).includes(person.mrn),
            'a number of the patient is on record');
    },

    /* Not of what was asked for: of whom something was shown, or stored. */
    async 'of whom a row is'() {
        const service = await open();
        const { ask } = service;
        const [a, b] = [new Person(service, 'wa'), new Person(service, 'wb')];
        const ids = [];
        for (const person of [a, b]) {
            await person.arrive();
            ids.push(await service.post(person.reading(900, 3)));
        }
        const base = Date.now();
        const number = {};
        for (const person of [a, b]) {
            const [first] = await rows(service, '--patient', person.mrn);
            number[person.mrn] = first.patient;
        }
        const [pa, pb] = [a.patientId, b.patientId];
        const obx = (person, n) => [`MSH|^~\\&|X|N|HG||${at}||ORU^R01^ORU_R01|c${
            n}|P|2.5.1`, `PID|1||${person.mrn}^^^^MR`,
        `OBR|1||F-${n}|session^Session^L|||${at}`,
        `OBX|1|NM|access-flow^Access flow^L||950|mL/min^^UCUM|||||F|||${at}`]
            .join('\r');
        const at = `${new Date(base - 7200000).toISOString()
            .replace(/[-:T]/g, '').slice(0, 14)}+0000`;
        const both = { resourceType: 'Bundle', type: 'batch',
            entry: [a, b].map((person) => ({ resource: person.reading(800, 2),
                request: { method: 'POST', url: 'Observation' } })) };
        const cases = [
            ['GET', `/fhir/Observation?patient=Patient/${pa},Patient/${pb}`, 2],
            ['GET', `/fhir/Observation?subject:Patient=${pa}`, 1],
            ['GET', `/fhir/Observation?patient=Patient/${pa}&patient=Patient/${
                pa}`, 1],
            ['GET', `/fhir/Observation?_id=${ids.join(',')}`, 2],
            ['GET', '/fhir/Observation', 2],
            ['GET', '/fhir/Observation?code=access-flow', 2],
            ['GET', '/fhir/Patient', 2],
            ['GET', `/fhir/Observation?_id=${ids[0]}&_include=Observation:patient`,
                1],
            ['GET', '/fhir/Observation/_history', 2],
            ['GET', '/fhir/Observation?code=none', 0],
            /* that there is nothing is an answer about him, too */
            ['GET', `/fhir/Observation?patient=Patient/${pa}&code=none`, 1],
            ['POST', '/fhir', 2, both],
            ['POST', '/fhir', 1, { ...both, entry: [{ ...both.entry[0],
                resource: a.reading(700, 1) }] }],
            ['POST', '/hl7', 1, obx(a, 1)],
        ];
        for (const [method, path, count, body] of cases) {
            const before = (await rows(service)).at(-1).seq;
            const answer = path !== '/hl7' ? await ask(method, path, body)
                : await fetch(`${service.root()}${path}`, { method, body,
                    headers: { ...bearer('t-sender'), 'Content-Type':
                        'x-application/hl7-v2+er7' } });
            expect(answer.status === 200, `${path}: ${answer.status}`);
            if (path === '/hl7') {
                const said = await answer.text();
                expect(said.includes('MSA|AA'), said);
            }
            const seen = async (person) => (await rows(service, '--patient',
                person.mrn)).filter((row) => row.seq > before
                && !row.action.startsWith('audit'));
            const [of, other] = [await seen(a), await seen(b)];
            const what = `${method} ${path}: ${JSON.stringify([of, other])}`;
            expect(of.length === (count > 0 ? 1 : 0), what);
            expect(other.length === (count > 1 ? 1 : 0), what);
            /* for one of them, the other is not told of */
            expect(of.every((row) => row.patient === number[a.mrn]
                && row.patients === undefined
                && row.of === (count > 1 ? '2' : undefined)), what);
        }
        /* the pages for people: two more, of whom there are suggestions */
        const urgent = [new Person(service, 'wc'), new Person(service, 'wd')];
        for (const person of urgent)
            await person.bothReadings();
        for (const end = Date.now() + 15000; Date.now() < end;) {
            const { body } = await ask('GET', '/fhir/Task');
            if ((body.entry?.length ?? 0) > 1)
                break;
            await sleep(50);
        }
        for (const path of ['/queue', '/decisions']) {
            const page = await ask('GET', path, undefined, 't-all');
            expect(page.status === 200, `${path}: ${page.status} ${page.text}`);
            const row = (await rows(service)).filter((r) => r.action === 'look'
                && r.type === path.slice(1).split('?')[0]).at(-1);
            expect(row.patients?.length === 2 && row.patients.every((p) =>
                urgent.some((u) => u.patientId === p.patient_id)),
            JSON.stringify(row));
        }
        expect((await run(service, 'verify')).startsWith('Whole'), 'broken');
        const file = join(bench.tmp, 'whom.ndjson');
        await run(service, 'export', '--fhir', file);
        const text = readFileSync(file, 'utf8');
        const wrong = checkText(text).filter(({ found }) => found.length > 0);
        expect(wrong.length === 0, JSON.stringify(wrong[0]));
        const event = text.trim().split('\n').map((line) => JSON.parse(line))
            .find((e) => e.entity.filter((x) => x.role?.code === '1').length
                === 2);
        expect(event !== undefined, 'no event has two patients');
        expect(await stopChild(service.child) === 0, 'it ended');
        hashes(service.file);
    },

    async 'what it works by cannot be changed unseen while it runs'() {
        const policy = join(bench.tmp, 'policy.ini');
        const text = readFileSync('config/policy.ini', 'utf8');
        writeFileSync(policy, text);
        const service = await open({ 'policy.path': policy });
        const tokens = join(bench.tmp, `s${bench.services}`, 'tokens');
        const hup = async (word) => {
            const logOf = () => readFileSync(service.log, 'utf8');
            const before = logOf().split(`event=${word}`).length;
            service.child.kill('SIGHUP');
            for (let i = 0; logOf().split(`event=${word}`).length <= before;
                i++) {
                expect(i < 250, `no ${word}`);
                await sleep(20);
            }
        };
        const found = async (action) => (await rows(service)).filter((row) =>
            row.action === action).length;

        await hup('reload.policy');
        expect(await found('policy-changed') === 0
            && await found('tokens-changed') === 0, 'nothing has changed');
        const changed = text.replace(/^version\s*=.*$/m, 'version = audit-2');
        expect(changed !== text, 'the policy has no version');
        writeFileSync(policy, changed);
        await hup('reload.policy');
        expect(await found('policy-changed') === 1, 'policy');
        writeFileSync(tokens, `${readFileSync(tokens, 'utf8')}\nnew ${
            sha256('t-new')} system/*.rs\n`);
        await hup('reload.policy');
        expect(await found('tokens-changed') === 1, 'tokens');
        writeFileSync(policy, 'nonsense');
        await hup('reload.failed');
        for (let i = 0; await found('reload-refused') === 0; i++)
            expect(i < 20, 'a refused reading again has no row');
        one(await rows(service), { action: 'reload-refused', outcome: 4 });
        expect(await found('policy-changed') === 1, 'policy, again');
        expect((await run(service, 'verify')).startsWith('Whole'), 'broken');
        await stopChild(service.child);
    },

    async 'a store that was put back says so'() {
        const service = await open();
        await new Person(service, 'back').arrive();
        const copy = join(bench.tmp, 'back.db');
        let said = await service.command('store', 'backup', copy);
        expect(said.status === 0, said.err);
        const sum = sha256(readFileSync(copy));
        await new Person(service, 'late').arrive();
        const [seq, head] = (await run(service, 'head')).trim().split(' ');
        await stopChild(service.child);
        const end = hashes(service.file);
        expect(end.all.length > seq, 'the stop');
        said = await service.command('store', 'restore', copy);
        expect(said.status === 0, `${said.out}${said.err}`);
        const { all } = hashes(service.file);
        const row = all.at(-1);
        expect(row.action === 'restored' && row.kind === 'local'
            && row.actor === `uid ${process.getuid()}`, JSON.stringify(row));
        expect(row.detail === `backup ${sum}, in place of row ${
            end.count} ${end.head}`, row.detail);
        expect(!all.some(({ hash }) => Buffer.from(hash).toString('hex')
            === head), 'the old chain');
        await service.start();
        await stopChild(service.child);
    },

    async 'who is turned away is on record with where from, in no log'() {
        const service = await open({ 'http.failures_max': 5 });
        let blocked = 0;
        for (let i = 0; i < 12; i++) {
            const { status } = await service.ask('GET', '/fhir/Task', undefined,
                `false-${i}`);
            blocked += status === 429 ? 1 : 0;
        }
        expect(blocked > 0, 'nobody was blocked');
        await stopChild(service.child);
        const { all } = hashes(service.file);
        const row = one(all, { action: 'blocked', outcome: 4 });
        expect(row.detail === `too-often, from 127.0.0.1, times ${blocked}`,
            row.detail);
        expect(one(all, { action: 'login-failed' }).detail
            === `unknown, from 127.0.0.1, times ${12 - blocked}`, 'false ones');
        expect(!readFileSync(service.log, 'utf8').split('\n').some((line) =>
            /doors|gate/.test(line) && line.includes('127.0.0.1')), 'the log');
    },

    async 'what was asked for is found by its day'() {
        const day = (n) => new Date(Date.now() + n * 86400000).toISOString()
            .slice(0, 10);
        const all = await rows(bench.first, '--from', day(-1), '--to', day(1));
        expect(all.length > 10, `${all.length}`);
        expect((await rows(bench.first, '--from', day(2))).length === 0,
            'of the future');
        expect((await rows(bench.first, '--to', day(-2))).length === 0,
            'of the past');
    },

    async 'who may read it'() {
        const { ask } = bench.first;
        for (const [token, status] of [['t-auditor', 200], ['t-sender', 403],
            ['t-desk', 403], ['t-all', 403], ['t-none', 401]])
            for (const path of ['/audit', '/audit?verify', '/audit?form=fhir',
                '/audit?head'])
                expect((await ask('GET', path, undefined, token)).status
                    === status, `${token} ${path}`);
        expect((await ask('DELETE', '/audit', undefined, 't-all')).status
            === 404, 'DELETE');
    },

    async 'as AuditEvents of R4'() {
        const file = join(bench.tmp, 'audit.ndjson');
        await run(bench.first, 'export', '--fhir', file);
        const text = readFileSync(file, 'utf8');
        const checked = checkText(text);
        const wrong = checked.filter(({ found }) => found.length > 0);
        expect(wrong.length === 0, JSON.stringify(wrong[0]));
        const events = text.trim().split('\n').map((line) => JSON.parse(line));
        expect(events.length > 10 && checked.length === events.length,
            `${events.length} events`);
        const search = events.find((e) => e.subtype?.[0].code === 'search-type'
            && e.entity.some((x) => x.query));
        const { query } = search.entity.find((x) => x.query);
        expect(/^(Task|Patient)\?[a-z_&]+$/.test(Buffer.from(query, 'base64')
            .toString()), query);
        expect(events.some((e) => e.entity.some((x) => x.what?.reference
            === `Patient/${bench.person.patientId}`)), 'no patient');
        expect(!text.includes(bench.person.mrn), 'a number of the patient');
        const again = await bench.first.command('audit', 'export', '--fhir',
            file);
        expect(again.status === 1 && again.err.includes('there already'),
            'a file was written over');
    },

    async 'a flood of false tokens is a few rows'() {
        const service = await open();
        let refused = 0;
        for (let i = 0; i < 40; i++) {
            const all = await Promise.all(Array.from({ length: 10 },
                (_, k) => service.ask('GET', '/fhir/Task', undefined,
                    `false-${i}-${k}`)));
            refused += all.filter(({ status }) => status === 401).length;
        }
        let found;
        const times = () => found.reduce((sum, row) => sum
            + Number(/times (\d+)/.exec(row.detail)[1]), 0);
        for (const end = Date.now() + 20000; Date.now() < end;) {
            found = (await rows(service)).filter((row) =>
                row.action === 'login-failed');
            if (found.length > 0 && times() >= refused)
                break;
            await sleep(500);
        }
        expect(found.length > 0 && found.length < 8, `${found.length} rows`);
        await stopChild(service.child);
        expect(refused === 400 && times() === refused, `${times()} of ${refused}`);
    },

    async 'the chain is what its description says, and whole'() {
        const { first } = bench;
        const [seq, head] = (await run(first, 'head')).trim().split(' ');
        bench.anchor = head;
        expect(/^[0-9a-f]{64}$/.test(head), head);
        expect((await run(first, 'verify', '--anchor', head))
            .includes(`row ${seq}.`), 'the anchor');
        expect(await stopChild(first.child) === 0, 'it ended');
        const seen = hashes(first.file);
        expect(seen.all.at(-1).action === 'stop', 'no stop');
        expect(Buffer.from(seen.all[seq - 1].hash).toString('hex') === head,
            'head is another');
    },

    async 'what was changed is named'() {
        const { first, anchor } = bench;
        const last = hashes(first.file).count;
        for (const [sql, wanted] of [
            ['', /^Whole: /],
            [`UPDATE audit SET actor = 'desk' WHERE seq = 3`, /row 3:/],
            [`UPDATE audit SET patient = 0 WHERE seq = 5`, /row 5:/],
            [`DELETE FROM audit WHERE seq = 6`, /row 7: .*missing/],
            [`INSERT INTO audit_patient VALUES(7, 4711)`,
                /row 7: .*list of its patients/],
            [`UPDATE audit SET at_ms = 0 WHERE seq = ${last}`,
                new RegExp(`row ${last}:`)]]) {
            const said = verified(first, sql);
            expect(said.status === (sql === '' ? 0 : 1)
                && wanted.test(said.out), `${sql}: ${said.status} ${said.out}`);
        }
        /* cut at its end the chain is whole, and the anchor is not in it */
        const cut = 'DELETE FROM audit WHERE seq > 4';
        expect(verified(first, cut).status === 0, 'cut');
        const said = verified(first, cut, '--anchor', anchor);
        expect(said.status === 1 && said.out.includes('NOT'), said.out);
        expect(verified(first, '', '--anchor', anchor).status === 0, 'anchor');
    },

    async 'the database itself lets nothing be changed'() {
        const db = new DatabaseSync(join(bench.tmp, 'copy.db'));
        db.exec('DROP TRIGGER audit_patient_last');
        db.exec('INSERT INTO audit_patient VALUES(1, 1)');
        for (const sql of ['DELETE FROM audit', 'UPDATE audit SET who = 1',
            'DELETE FROM audit_patient', 'UPDATE audit_patient SET seq = 2']) {
            let refused = false;
            try {
                db.exec(sql);
            } catch (e) {
                refused = /never changed|nothing of audit/.test(e.message);
            }
            expect(refused, sql);
        }
        db.close();
    },

    /* as far as lists of the rows that were cut off are still there */
    async 'an end that was cut off is told, and stays told'() {
        const { service, seq, head } = await withList();
        expect(await stopChild(service.child) === 0, 'it ended');
        const cut = () => alter(service.file, 'DROP TRIGGER audit_whole',
            `DELETE FROM audit WHERE seq >= ${seq}`);
        const gone = new RegExp(`BROKEN: rows after row ${seq - 1} are missing`);
        copyFileSync(service.file, `${service.file}.kept`);
        cut();
        let said = await service.command('audit', 'verify', '--anchor', head);
        const [anchor, chain] = said.out.split('\n');
        expect(said.status === 1 && /NOT in this chain: the end was cut off/
            .test(anchor) && gone.test(chain), said.out + said.err);
        copyFileSync(`${service.file}.kept`, service.file);
        cut();
        said = await service.command('audit', 'verify');
        expect(said.status === 1 && gone.test(said.out), said.out + said.err);
        /* its own row came behind what was cut off, and took nothing of it */
        const db = new DatabaseSync(service.file, { readOnly: true });
        const own = db.prepare('SELECT max(seq) AS n FROM audit').get().n;
        const lists = db.prepare('SELECT DISTINCT seq FROM audit_patient'
            + ' ORDER BY seq').all().map((row) => row.seq);
        db.close();
        expect(own > lists.at(-1) && lists.at(-1) >= seq, `${own} ${lists}`);
        for (let i = 0; i < 2; i++) {
            said = await service.command('audit', 'verify');
            expect(said.status === 1 && new RegExp(`row ${own}: rows before it`)
                .test(said.out), said.out + said.err);
        }
        await service.start();
        await new Person(service, 'after').arrive();
        await broken(service, own);
        expect(await stopChild(service.child) === 0, 'it ended');
    },

    async 'a trigger that is gone is named, and made again'() {
        const { service } = await withList();
        const whole = await metric(service, 'verified_timestamp_seconds',
            (n) => n > 0);
        expect(whole * 1000 > Date.now() - 60000, `${whole}`);
        expect(await metric(service, 'broken', () => true) === 0, 'whole');
        expect(await stopChild(service.child) === 0, 'it ended');
        const check = () => service.command('check', '--quick', '--offline');
        let said = await check();
        expect(said.status === 0, said.out + said.err);
        alter(service.file, 'DROP TRIGGER audit_kept',
            "UPDATE audit SET who = 'nobody' WHERE seq = 2");
        said = await check();
        const named = /trigger audit_kept, which every store .* is missing/;
        expect(said.status !== 0 && named.test(said.out), said.out + said.err);
        const copy = join(bench.tmp, 'shape.db');
        said = await service.command('store', 'backup', copy);
        expect(said.status === 0, said.out + said.err);
        said = await service.command('store', 'verify', copy);
        expect(said.status === 1 && named.test(said.out)
            && /BROKEN at row 2: its content/.test(said.out),
        said.out + said.err);
        /* put back it can be all the same: it may be the last there is */
        said = await service.command('store', 'restore', copy);
        expect(said.status === 0 && named.test(said.out), said.out + said.err);

        await service.start();
        await broken(service, 2);
        const log = readFileSync(service.log, 'utf8');
        expect(/level=error event=store\.shape is=missing name=audit_kept mended=1/
            .test(log), 'the log does not name the trigger');
        one(await rows(service), { action: 'store-shape', kind: 'service',
            type: 'trigger', key: 'audit_kept', outcome: 0,
            detail: 'missing, made again' });
        expect(await stopChild(service.child) === 0, 'it ended');
        said = await check();
        expect(said.status === 0, said.out + said.err);
    },

    async 'killed while it writes: whole, and nothing acknowledged is missing'() {
        const service = await open();
        const person = new Person(service, 'kill');
        await person.arrive();
        const acknowledged = [];
        for (let round = 0; round < 3; round++) {
            let going = true;
            const writers = Array.from({ length: 8 }, async (_, w) => {
                for (let i = 0; going; i++) {
                    const answer = await service.ask('POST',
                        '/fhir/Observation', person.reading(1500 + round,
                            30 + i % 300)).catch(() => null);
                    if (answer?.status === 201)
                        acknowledged.push(/Observation\/([^/]+)/.exec(
                            answer.headers.location)[1]);
                    else if (answer === null)
                        return w;
                }
                return w;
            });
            await sleep(400 + 150 * round);
            const killed = stopChild(service.child, 'SIGKILL');
            await killed;
            going = false;
            await Promise.all(writers);
            await service.start();
        }
        expect((await run(service, 'verify')).startsWith('Whole'), 'broken');
        await stopChild(service.child);
        const { all } = hashes(service.file);
        const noted = new Set(all.filter((row) => row.action === 'create'
            && row.outcome === 0).map((row) => row.key));
        const db = new DatabaseSync(service.file, { readOnly: true });
        const stored = db.prepare(
            'SELECT fid FROM resource WHERE kind = 1').all();
        db.close();
        expect(acknowledged.length > 20, `${acknowledged.length} only`);
        for (const id of acknowledged)
            expect(noted.has(id), `${id} was acknowledged, and has no row`);
        for (const { fid } of stored)
            expect(noted.has(fid), `${fid} is stored, and has no row`);
        console.log(`      ${acknowledged.length} acknowledged, ${
            stored.length} stored, ${all.length} rows`);
    },

    async 'what failed for want of room is not on record as done'() {
        const disk = join(bench.tmp, 'disk');
        mkdirSync(disk);
        const said = spawnSync('mount', ['-t', 'tmpfs', '-o', 'size=1500k',
            'tmpfs', disk], { encoding: 'utf8' });
        expect(said.status === 0, `mount: ${said.stderr}`);
        try {
            const service = await open({}, join(disk, 'hg.db'));
            const person = new Person(service, 'full');
            await person.arrive();
            const stored = [];
            let failed = 0;
            for (let i = 0; failed < 5; i++) {
                expect(i < 5000, 'it is never full');
                const answer = await service.ask('POST', '/fhir/Observation',
                    { ...person.reading(1500, 30 + i), note: [{ text:
                        createHash('sha512').update(`${i}`).digest('hex')
                            .repeat(4) }] });
                if (answer.status === 201)
                    stored.push(/Observation\/([^/]+)/.exec(
                        answer.headers.location)[1]);
                else
                    failed++;
                expect([201, 503].includes(answer.status), `${answer.status}`);
            }
            await stopChild(service.child, 'SIGKILL');
            const copy = join(bench.tmp, 'full.db');
            for (const end of ['', '-wal'])
                if (existsSync(`${service.file}${end}`))
                    copyFileSync(`${service.file}${end}`, `${copy}${end}`);
            const db = new DatabaseSync(copy);
            const kept = db.prepare('SELECT fid FROM resource WHERE kind = 1')
                .all().map(({ fid }) => fid);
            const done = db.prepare(`SELECT key FROM audit WHERE
                action = 'create' AND type = 'Observation' AND outcome = 0`)
                .all().map(({ key }) => key);
            db.close();
            hashes(copy);
            expect(stored.length > 10, `${stored.length} stored`);
            expect(kept.length === done.length && stored.every((id) =>
                done.includes(id)), `${stored.length} acknowledged, ${
                kept.length} stored, ${done.length} on record as done`);
            console.log(`      ${stored.length} acknowledged, ${failed
            } refused with 503`);
        } finally {
            spawnSync('umount', ['-l', disk]);
        }
    },
};

await bench.main(() => bench.each(cases));
