/*
 * What goes beside a Task, at a record: the document of its plan, a proposal, a
 * flag on the chart, where it comes from.
 *
 *   node companions.mjs path/to/headgate
 *
 * The record is the FHIR server of record.mjs.  Asserted is that each is there
 * once, that what refers to another of them does so as the record calls it, that
 * the ends reach it, that a person's word stands there, and that everything is
 * R4 in the opinion of independent validators.  Bytes of documents are checked
 * by Node's own base64 and SHA-1.
 */

import { createHash } from 'node:crypto';
import { setTimeout as sleep } from 'node:timers/promises';
import { Person } from './delivery_cases.mjs';
import { expect, http, searchAll, stopChild } from './delivery_kit.mjs';
import { Suite, until } from './suite.mjs';
import { checkText, printFindings } from './validate.mjs';

const HOUR_D = 1 / 24;
const BASE = 'https://headgate.example/fhir';
const IO = `${BASE}/CodeSystem/av-task-io`;
const TYPES = ['DocumentReference', 'ServiceRequest', 'Flag', 'Provenance'];

const bench = new Suite();

/* ---- looking ---------------------------------------------------------------- */

const at = (type, url = bench.record.url) =>
    searchAll(`${url}/${type}?_count=500`);

const inputs = (task, code) => (task.input ?? []).filter((input) =>
    input.type.coding?.some((c) => c.code === code && c.system === IO));

const keyOf = (resource) => resource.identifier?.find(
    (i) => i.system === `${BASE}/NamingSystem/task-key`)?.value ?? '';

function expectValid(resource) {
    for (const { name, found } of checkText(JSON.stringify(resource))) {
        printFindings(name, found);
        expect(found.length === 0, `${name} is not valid`);
    }
}

/* Those of a Task in the record, by type; a Provenance by its target. */
async function beside(task) {
    const found = {};
    for (const type of TYPES) {
        found[type] = (await at(type)).filter((r) => type === 'Provenance'
            ? r.target.some((t) => t.reference?.startsWith(`Task/${task.id}`))
            : keyOf(r).startsWith(`${keyOf(task)}-`));
    }
    return found;
}

function bytesOf(attachment) {
    const bytes = Buffer.from(attachment.data, 'base64');
    expect(attachment.size === bytes.length, `size ${attachment.size}`);
    expect(attachment.hash
        === createHash('sha1').update(bytes).digest('base64'), 'hash');
    return bytes.toString('utf8');
}

/* What a document holds in one of its forms; "" if it has none. */
function contentOf(document, type) {
    const found = document.content.find((c) => c.attachment.contentType === type);
    return found === undefined ? '' : bytesOf(found.attachment);
}

/* ---- people ------------------------------------------------------------------ */

class Patient extends Person {
    /* Two flows above 2 L/min, and a pressure: a plan is made.  Waits until the
     * record has all of it. */
    async candidate() {
        await this.arrive();
        await bench.service.post(this.reading(2400, 28));
        this.second = this.reading(2500, HOUR_D);
        this.secondId = await bench.service.post(this.second);
        await bench.service.post(this.other('mean-pressure', 94, 'mm[Hg]',
            HOUR_D));
        await this.settled((t, b) => inputs(t, 'worksheet').length === 1
            && TYPES.every((type) => b[type].length > 0));
        return this;
    }

    /* The Task in the record and what is beside it, once that is as wanted. */
    settled(isWanted) {
        return until(`${this.tag}: ${isWanted}`, async () => {
            const task = (await at('Task')).find((t) => this.isIn(t)
                && t.code.coding[0].code === 'refer-flow-review');
            if (task === undefined)
                return false;
            const there = await beside(task);
            Object.assign(this, { task, there });
            return isWanted(task, there);
        });
    }

    /* The unit takes its second reading back. */
    async takeBack() {
        const { status, text } = await http('PUT',
            `${bench.service.url}/Observation/${this.secondId}`,
            { ...this.second, id: this.secondId, status: 'entered-in-error' });
        expect(status === 200, `PUT: ${status} ${text}`);
    }
}

async function put(resource) {
    const { status, text } = await http('PUT',
        `${bench.record.url}/${resource.resourceType}/${resource.id}`,
        resource);
    expect(status === 200, `PUT ${resource.resourceType}: ${status} ${text}`);
}

/* ---- cases ---------------------------------------------------------------------- */

async function allArrive() {
    const { task, there } = await new Patient(bench.service, 'all').candidate();
    for (const type of TYPES) {
        expect(there[type].length === 1, `${there[type].length} ${type}`);
        expectValid(there[type][0]);
    }
    expectValid(task);
    const [document] = there.DocumentReference;
    const [order] = there.ServiceRequest;
    const [flag] = there.Flag;
    const [source] = there.Provenance;
    const worksheet = inputs(task, 'worksheet')[0].valueReference.reference;
    expect(worksheet === `DocumentReference/${document.id}`, worksheet);
    expect(task.focus.reference === `ServiceRequest/${order.id}`,
        JSON.stringify(task.focus));
    expect(inputs(task, 'access').length === 1, 'the access is gone');
    expect(flag.extension[0].valueReference.reference === `Task/${task.id}`,
        JSON.stringify(flag.extension));
    expect(/^Task\/[^/]+\/_history\/[^/]+$/.test(source.target[0].reference),
        JSON.stringify(source.target));
    expect(source.target[1].reference === `DocumentReference/${document.id}`,
        JSON.stringify(source.target));
    const version = await http('GET',
        `${bench.record.url}/${source.target[0].reference}`);
    expect(version.status === 200, 'the target is no version there');
    expect(source.entity.filter((e) => e.role === 'source').length === 2
        && source.entity.at(-1).role === 'derivation',
    JSON.stringify(source.entity));
    expect(order.status === 'draft' && order.intent === 'proposal'
        && flag.status === 'active' && document.status === 'current'
        && document.docStatus === 'preliminary', 'a status is wrong');
    const [page, text, data] = ['application/pdf', 'text/plain; charset=utf-8',
        'application/json'].map((type) => contentOf(document, type));
    expect(page.startsWith('%PDF-'), page.slice(0, 40));
    expect(text.includes('Decision support'), text.slice(0, 300));
    expect(data === Buffer.from(inputs(task, 'plan')[0].valueAttachment.data,
        'base64').toString('utf8'), 'not the plan of the Task');
}

/* The document is renewed with the plan, and stays one. */
async function aPlanIsRenewed() {
    const person = await new Patient(bench.service, 'renew').candidate();
    const [before] = person.there.DocumentReference;
    await bench.service.post(person.other('conduit-diameter', 8, 'mm',
        HOUR_D / 2));
    await person.settled((t, b) => b.DocumentReference.some((d) =>
        contentOf(d, 'application/json').includes('"conduit_mm":8')));
    const [after] = person.there.DocumentReference;
    expect(person.there.DocumentReference.length === 1
        && after.id === before.id, 'there are two');
    expect(inputs(person.task, 'worksheet').length === 1, 'two worksheets');
    expectValid(after);
}

/* What rests on a reading that was taken back ends, all of it. */
async function aReadingIsTakenBack() {
    const person = await new Patient(bench.service, 'back').candidate();
    await person.takeBack();
    await person.settled((t, b) => t.status === 'cancelled'
        && b.ServiceRequest[0].status === 'revoked'
        && b.Flag[0].status === 'inactive'
        && b.DocumentReference[0].status === 'superseded');
    const { task, there } = person;
    expect(there.Flag[0].period.end >= there.Flag[0].period.start, 'period');
    expect(inputs(task, 'worksheet').length === 0, 'the worksheet stays');
    for (const type of TYPES)
        expectValid(there[type][0]);
}

/* A proposal that was taken up, a flag that was ended, a document that was
 * signed there: theirs. */
async function aPersonsWordStands() {
    const person = await new Patient(bench.service, 'theirs').candidate();
    const { there } = person;
    await put({ ...there.ServiceRequest[0], status: 'active' });
    await put({ ...there.DocumentReference[0], docStatus: 'final' });
    await put({ ...there.Flag[0], status: 'inactive',
        period: { ...there.Flag[0].period, end: '2099-01-01' } });
    const content = JSON.stringify(there.DocumentReference[0].content);
    await person.takeBack();
    await person.settled((t, b) => t.status === 'cancelled'
        && b.DocumentReference[0].status === 'superseded');
    await sleep(1000); /* the others had time to be changed */
    await person.settled(() => true);
    const after = person.there;
    expect(after.ServiceRequest[0].status === 'active', 'the proposal');
    expect(after.Flag[0].period.end === '2099-01-01', 'the flag');
    expect(after.DocumentReference[0].docStatus === 'final'
        && JSON.stringify(after.DocumentReference[0].content) === content,
    'the document');
}

/* Who ends the Task here has answered what the chart warned of. */
async function aPersonEndsTheTask() {
    const person = await new Patient(bench.service, 'done').candidate();
    const here = (await at('Task', bench.service.url)).find((t) =>
        keyOf(t) === keyOf(person.task));
    for (const status of ['accepted', 'completed']) {
        const url = `${bench.service.url}/Task/${here.id}`;
        const { body } = await http('GET', url);
        const answer = await http('PUT', url, { ...body, status,
            lastModified: new Date().toISOString() });
        expect(answer.status === 200, `${answer.status} ${answer.text}`);
    }
    await person.settled((t, b) => b.Flag[0].status === 'inactive');
    expect(person.there.DocumentReference[0].status === 'current',
        'the record of what was planned');
}

/* Killed while they go out: each is there once. */
async function killedBetween() {
    const person = new Patient(bench.service, 'killed');
    const since = await bench.record.end();
    const arrives = person.candidate();
    await bench.record.wait(since);
    await bench.service.killAndStart();
    await arrives;
    for (const type of TYPES)
        expect(person.there[type].length === 1,
            `${person.there[type].length} ${type}`);
}

/* Served here as they went out. */
async function servedHere() {
    for (const type of TYPES) {
        const all = await at(type, bench.service.url);
        expect(all.length >= 6, `${all.length} ${type} here`);
        all.forEach(expectValid);
        const answer = await http('POST', `${bench.service.url}/${type}`,
            { resourceType: type });
        expect(answer.status === 405, `POST ${type}: ${answer.status}`);
    }
}

const CASES = [
    ['all that goes beside a Task arrives', allArrive],
    ['a plan is renewed: one document', aPlanIsRenewed],
    ['a reading is taken back: all of it ends', aReadingIsTakenBack],
    ['what a person did with it at the record stands', aPersonsWordStands],
    ['a person ends the Task here: the flag ends there', aPersonEndsTheTask],
    ['killed in between: each once', killedBetween],
    ['the same is served here, and not taken in', servedHere],
];

await bench.main(async () => {
    await bench.atRecord({ 'record.service_request': true,
        'record.flag': true });
    await bench.each(CASES);
    await stopChild(bench.service.child);
});
