/*
 * What the tests of files share: invented people as NDJSON and as HL7 v2, the
 * commands of the program on a store of their own, and what stands in it.
 */

import { spawn } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, readdirSync, writeFileSync }
    from 'node:fs';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { fileURLToPath } from 'node:url';
import { Service, expect } from './delivery_kit.mjs';
import { Suite } from './suite.mjs';
import { checkText } from './validate.mjs';

export const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const BASE = 'https://headgate.example/fhir';
const UCUM = 'http://unitsofmeasure.org';
const PATIENTS = 'https://site.example/ids/patient';
const HOUR_MS = 3600 * 1000;
/* a fixed end, so that the same numbers are the same readings */
const START_MS = Date.now();
const LAST = START_MS - START_MS % HOUR_MS - HOUR_MS;

export function patient(tag) {
    return { resourceType: 'Patient', id: tag,
        identifier: [{ system: PATIENTS, value: `N-${tag}` }] };
}

/* The n-th reading of the flow of somebody. */
export function reading(tag, n, extra = {}) {
    return { resourceType: 'Observation', status: 'final',
        identifier: [{ system: 'https://site.example/ids/obs',
            value: `${tag}-${n}` }],
        code: { coding: [{ system: `${BASE}/CodeSystem/av-observation`,
            code: 'access-flow' }] },
        subject: { reference: `Patient/${tag}` },
        effectiveDateTime: new Date(LAST - (n % 3000) * HOUR_MS).toISOString(),
        valueQuantity: { value: 900 + n % 300, unit: 'mL/min', system: UCUM,
            code: 'mL/min' }, ...extra };
}

export const text = (resources) => resources.map((r) => JSON.stringify(r))
    .join('\n') + '\n';

/* One patient and so many readings, a line each. */
export function lines(tag, count) {
    return [patient(tag), ...Array.from({ length: count },
        (_, n) => reading(tag, n))];
}

export const bundle = (type, resources) => ({ resourceType: 'Bundle', type,
    entry: resources.map((resource) => ({ resource,
        ...(type !== 'collection' && { request: { method: 'POST',
            url: resource.resourceType } }) })) });

const stamp = (at) => new Date(at).toISOString().replace(/[-:T]/g, '')
    .slice(0, 14);

/* ORU^R01 of HL7 v2.5.1 with one result; value: as it is to stand there. */
export function message(control, tag, value, sender = 'MACHINE') {
    const at = `${stamp(LAST - Number(/\d+$/.exec(control)[0]) * HOUR_MS)}+0000`;
    return [`MSH|^~\\&|${sender}|NORTH|HG||${at}||ORU^R01^ORU_R01|${control}|P`
        + '|2.5.1', `PID|1||N-${tag}^^^^MR`,
    `OBR|1||F-${control}|session^Session^L|||${at}`,
    `OBX|1|NM|access-flow^Access flow^L||${value}|mL/min^^UCUM|||||F|||${at}`]
        .join('\r') + '\r';
}

export const senderSection = (name, application = 'MACHINE') =>
    `[sender ${name}]\napplication = ${application}\n`
    + `patient_system = ${PATIENTS}\npatient_type = MR\n`
    + `system.L = ${BASE}/CodeSystem/av-observation\nzone = UTC\n`;

/* What the validators say against each line of this NDJSON. */
export function expectOutcomes(ndjson, count, what) {
    const rows = ndjson.trimEnd().split('\n').map((line) => JSON.parse(line));
    const checked = checkText(ndjson);
    const found = checked.flatMap((c) => c.found);
    expect(rows.length === count, `${what}: ${rows.length} lines, not ${count}`);
    expect(rows.every((r) => r.resourceType === 'OperationOutcome'), what);
    expect(checked.length === count && found.length === 0,
        `${what}: not valid R4: ${JSON.stringify(found).slice(0, 600)}`);
    return rows;
}

export class FileSuite extends Suite {
    constructor(options = {}) {
        super({ wholeMs: 1200000, logLines: 12, ...options });
        this.number = 0;
    }

    async after() {
        await this.killService();
        this.service = null;
    }

    /* A folder with a configuration and a store; senders: their sections. */
    place(settings = {}, senders = senderSection('north')) {
        const folder = join(this.tmp, `p${++this.number}`);
        const sets = { 'store.path': `${folder}/hg.db`, 'mllp.port': 0,
            'mllp.enabled': false, ...settings };
        const config = `${folder}.ini`;
        mkdirSync(folder);
        writeFileSync(config, '[http]\nanonymous = true\nport = 0\n[policy]\n'
            + `path = ${ROOT}config/policy.ini\n${senders}`);
        this.folder = folder;
        this.config = config;
        this.args = ['--config', config, ...Object.entries(sets)
            .flatMap(([key, value]) => ['--set', `${key}=${value}`])];
        this.store = sets['store.path'];
        return folder;
    }

    /* A service on it. */
    serve() {
        const service = new Service(this.binary, this.tmp, '');
        service.args = ['serve', ...this.args];
        service.log = `${this.folder}.log`;
        this.service = service;
        return service;
    }

    /* Starts a command; ended: what it said, and how it ended. */
    start(verb, words, { as } = {}) {
        const child = spawn(this.binary, [verb, ...this.args, ...words],
            { cwd: ROOT, stdio: ['pipe', 'pipe', 'pipe'],
                ...(as !== undefined && { uid: as, gid: as }) });
        const said = { out: '', err: '' };
        child.stdout.on('data', (chunk) => { said.out += chunk; });
        child.stderr.on('data', (chunk) => { said.err += chunk; });
        child.ended = new Promise((done) => child.on('close',
            (status, signal) => done({ status: status ?? signal, ...said })));
        return child;
    }

    async run(verb, words, { input = '', as } = {}) {
        const child = this.start(verb, words, { as });
        child.stdin.on('error', () => {}); /* it may not want any */
        child.stdin.end(input);
        return child.ended;
    }

    load(...words) {
        return this.run('load', words);
    }

    /* One number out of the store, which nobody has open. */
    count(sql, ...values) {
        const db = new DatabaseSync(this.store, { readOnly: true });
        try {
            return Object.values(db.prepare(sql).get(...values))[0];
        } finally {
            db.close();
        }
    }

    readings(tag) {
        return this.count('SELECT count(*) FROM identifier WHERE kind = 1 AND '
            + 'value LIKE ?', `${tag}-%`);
    }
}

export const read = (path) => readFileSync(path, 'utf8');
export const has = (path) => existsSync(path);
export const list = (path) => (has(path) ? readdirSync(path).sort() : []);
