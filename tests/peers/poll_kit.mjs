/*
 * What the tests of the way in from a record share: invented people at the
 * record, the service that polls it, and what stands in its store.
 */

import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { Record, Service, expect, http, stopChild } from './delivery_kit.mjs';
import { LyingRecord } from './poll_peer.mjs';
import { Suite } from './suite.mjs';

const BASE = 'https://headgate.example/fhir';
const UCUM = 'http://unitsofmeasure.org';
const SNOMED = 'http://snomed.info/sct';
const DAY_MS = 24 * 3600 * 1000;
const WAIT_MS = 20000;

/* enum fhir_type of service stores */
export const KIND = { Observation: 1, BodyStructure: 2, Patient: 3, Task: 4 };

/* Somebody at the record: a patient, an access, readings of its flow. */
export class Somebody {
    constructor(url, tag) {
        this.url = url;
        this.tag = tag;
        this.ids = [];
    }

    put(resource) {
        return put(this.url, resource);
    }

    patient(extra = {}) {
        return { resourceType: 'Patient', id: `${this.tag}-p`,
            identifier: [{ system: 'urn:oid:2.999.1.1',
                value: `N-${this.tag}` }],
            name: [{ family: 'Example', given: [`Case ${this.tag}`] }],
            ...extra };
    }

    access(extra = {}) {
        return { resourceType: 'BodyStructure', id: `${this.tag}-a`,
            identifier: [{ system: 'https://site.example/ids/access',
                value: `A-${this.tag}` }], active: true,
            morphology: { coding: [{ code: 'avf',
                system: `${BASE}/CodeSystem/av-access-type` }] },
            location: { text: 'Left upper arm' },
            locationQualifier: [{ coding: [{ system: SNOMED,
                code: '419161000' }] }],
            patient: { reference: `Patient/${this.tag}-p` }, ...extra };
    }

    /* A reading of the flow, n steps of a day in the past. */
    reading(n, flow, extra = {}) {
        const when = Date.now() - n * DAY_MS - 60000;
        return { resourceType: 'Observation', id: `${this.tag}-o-${n}`,
            status: 'final',
            code: { coding: [{ system: `${BASE}/CodeSystem/av-observation`,
                code: 'access-flow' }] },
            subject: { reference: `Patient/${this.tag}-p` },
            focus: [{ reference: `BodyStructure/${this.tag}-a` }],
            effectiveDateTime: new Date(when).toISOString(),
            valueQuantity: { value: flow, unit: 'mL/min', system: UCUM,
                code: 'mL/min' }, ...extra };
    }

    async arrive(count = 0) {
        await this.put(this.patient());
        await this.put(this.access());
        await this.measure(count);
        return this;
    }

    async measure(count) {
        for (let i = 0; i < count; i++) {
            const n = this.ids.length;
            await this.put(this.reading(n, 900 + n));
            this.ids.push(`${this.tag}-o-${n}`);
        }
    }
}

export async function put(url, resource) {
    const answer = await http('PUT',
        `${url}/${resource.resourceType}/${resource.id}`, resource);
    expect(answer.status === 200 || answer.status === 201,
        `PUT ${resource.resourceType}: ${answer.status} ${answer.text}`);
    return answer.body;
}

let stores = 0;

/* A service with a store of its own that polls a record each second. */
export class Poller extends Service {
    constructor(binary, tmp, recordUrl, settings = {}) {
        super(binary, tmp, recordUrl);
        this.store = `${tmp}/in-${++stores}.db`;
        const sets = { 'store.path': this.store, 'record.poll': 1,
            'record.poll_overlap': 2, 'record.poll_deletes': 0,
            'record.follow': 0, ...settings };
        for (const [key, value] of Object.entries(sets))
            this.args.push('--set', `${key}=${value}`);
    }

    async has(type, id) {
        const { status } = await http('GET', `${this.url}/${type}/${id}`);
        return status === 200;
    }

    /* Asks until all of these Observations are there. */
    async until(ids, text) {
        const end = Date.now() + WAIT_MS;
        const missing = new Set(ids);
        for (;;) {
            for (const id of missing) {
                if (!await this.has('Observation', id))
                    break;
                missing.delete(id);
            }
            if (missing.size === 0)
                return;
            expect(Date.now() < end,
                `${text}: ${missing.size} of ${ids.length} are missing`);
            await sleep(50);
        }
    }

    async text(path) {
        return (await http('GET', `${this.root()}${path}`)).text;
    }

    /* Two more whole readings of the feed. */
    async rounds(feed, count = 2) {
        const line = `headgate_poll_pages_total{feed="${feed}"}`;
        const before = await this.metric(line) ?? 0;
        const end = Date.now() + WAIT_MS;
        while ((await this.metric(line) ?? 0) < before + count) {
            expect(Date.now() < end, `${feed} is not polled any more`);
            await sleep(50);
        }
    }

    /* What stands in the store, once the service has ended. */
    look(read) {
        const db = new DatabaseSync(this.store);
        try {
            return read(db);
        } finally {
            db.close();
        }
    }

    /* The same, for what a test cannot wait for. */
    change(write) {
        this.look(write);
    }

    async stop() {
        const how = await stopChild(this.child);
        expect(how === 0, `the service ended with ${how}`);
    }

    kill() {
        return stopChild(this.child, 'SIGKILL');
    }

    /*
     * The service ends.  Exactly these Observations are there, each once, in
     * one version and with one reading, and nothing was not taken.
     */
    async exactly(tag, ids, more = {}) {
        await this.stop();
        const rows = this.look((db) => db.prepare('SELECT r.fid, r.ver, '
            + '(SELECT count(*) FROM reading g WHERE g.resource = r.id) AS n '
            + 'FROM resource r WHERE r.kind = ? AND r.fid LIKE ? '
            + 'ORDER BY r.fid').all(KIND.Observation, `${tag}-%`));
        const wanted = [...ids].sort();
        const found = rows.map((row) => row.fid).sort();
        expect(found.length === wanted.length
            && found.every((fid, i) => fid === wanted[i]),
        `${found.length} Observations here, ${wanted.length} there`);
        const odd = rows.filter((row) => row.n !== (more.readings ?? 1)
            || row.ver !== (more.versions ?? 1));
        expect(odd.length === 0, `${odd.length} with another number of `
            + `readings or versions: ${JSON.stringify(odd[0])}`);
        const refused = this.look((db) =>
            db.prepare('SELECT count(*) AS n FROM quarantine WHERE state = 0').get().n);
        expect(refused === (more.refused ?? 0), `${refused} were not taken`);
    }
}

/*
 * The scenarios of one file: a record, a liar before it, and for each a
 * service with a store of its own.  ONLY in the environment picks those whose
 * name has it.
 */
export class PollSuite extends Suite {
    constructor() {
        super({ more: '[URL]', wholeMs: 400000, logLines: 8 });
        this.only = process.env.ONLY ?? '';
        [this.other] = this.words; /* the base of another record */
        this.number = 0;
        /* so that a record may be used twice */
        this.prefix = `s${Date.now().toString(36)}-`;
    }

    after() {
        return this.killService();
    }

    /* Somebody with so many readings, at the record; and who polls from now. */
    async scene(count, settings = {}) {
        await sleep(1000 - Date.now() % 1000);
        const now = Date.now();
        const from = new Date(now - now % 1000).toISOString();
        const tag = `${this.prefix}${++this.number}`;
        this.peer.honest();
        const who = await new Somebody(this.record, tag).arrive(count);
        this.service = new Poller(this.binary, this.tmp, this.peer.url,
            { 'record.poll_from': from, 'record.poll_count': 5,
                'record.poll_overlap': 0, ...settings });
        return { tag, who, service: this.service };
    }

    /* A file with this text; its path. */
    file(text) {
        const path = join(this.tmp, `text-${++this.number}`);
        writeFileSync(path, text);
        return path;
    }

    async one(name, scenario) {
        await super.one(name, async () => {
            const note = await scenario(this);
            const [error] = this.peer.errors.splice(0);
            if (error !== undefined)
                throw error;
            return note;
        });
    }

    run(scenarios) {
        return this.main(async () => {
            this.record = this.other ?? (await Record.start(this.tmp)).url;
            this.peer = await LyingRecord.start(this.record);
            await this.each(scenarios);
            await this.peer.close();
        });
    }
}
