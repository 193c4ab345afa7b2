/*
 * Rarer answers of a record, each of which has led a delivery astray: what is
 * asked is that a Task arrives once, that nobody's work is overwritten, and
 * that nothing is sent without a pause.
 *
 *   node delivery_odd.mjs path/to/headgate [PART OF A NAME]
 *
 * Sources: HL7 FHIR R4, http.html (conditional create, If-Match, patch,
 * transaction and batch responses), capabilitystatement.html; RFC 9110, 10.2.3
 * and 15 (Retry-After, status codes).
 */

import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { Record, Service, Unmet, expect, http, killChildren, searchAll,
    stopChild } from './delivery_kit.mjs';
import { Person } from './delivery_cases.mjs';

const ARRIVE_MS = 4000;
const SETTLE_MS = 800;
const WHOLE_MS = 240000;

const bench = { record: null, service: null, passed: 0, failed: 0 };

async function of(person, type) {
    const all = await searchAll(`${bench.record.url}/${type}?_count=1000`);
    return all.filter((resource) => person.isIn(resource));
}

async function until(look, isWanted, text, ms = ARRIVE_MS) {
    const end = Date.now() + ms;
    for (;;) {
        const seen = await look();
        if (isWanted(seen))
            return seen;
        expect(Date.now() < end, `${text}: ${JSON.stringify(seen ?? null)
            .slice(0, 500)}`);
        await sleep(50);
    }
}

function arrives(person, type = 'Task', ms = ARRIVE_MS) {
    return until(() => of(person, type), (found) => found.length > 0,
        `no ${type} of ${person.tag} arrived`, ms);
}

async function oneTask(person, ms) {
    await arrives(person, 'Task', ms);
    await sleep(SETTLE_MS);
    const tasks = await of(person, 'Task');
    expect(tasks.length === 1, `${person.tag} has ${tasks.length} Tasks`);
    return tasks[0];
}

function fault(given) {
    return bench.record.fault({ match: {}, times: 1, ...given });
}

function parsed(text) {
    try {
        return JSON.parse(text);
    } catch {
        return {};
    }
}

function grown(person, before, ms) {
    return until(async () => (await of(person, 'Task'))[0],
        (task) => task.input.length > before.input.length,
        'the new reading is not in the Task', ms);
}

async function restart(settings = {}) {
    await stopChild(bench.service.child);
    bench.service = new Service(bench.service.binary, bench.tmp,
        bench.record.url, { ...bench.settings, ...settings });
    await bench.service.start();
}

/* ---- waits --------------------------------------------------------------- */

/* R4 demands entry.response.status as a string; one that leaves it out, or
 * sends a number, must not be asked without a pause. */
async function entriesWithoutStatus() {
    const text = JSON.stringify({ resourceType: 'Bundle',
        type: 'transaction-response', entry: [{ response: {} },
            { response: { status: 201 } }] });
    await fault({ kind: 'text', status: 200, text, times: 100000,
        match: { method: 'POST', path: '/' } });
    const since = await bench.record.end();
    await new Person(bench.service, 'nostatus').bothReadings();
    await sleep(2000);
    const log = await bench.record.log(since);
    const sent = log.filter(({ method, path }) => method === 'POST'
        && path === '/').length;
    expect(sent <= 30, `${sent} Bundles in two seconds`);
}

async function retryAtOnce() {
    await fault({ kind: 'status', status: 408, headers: { 'Retry-After': '0' },
        times: 100000, match: { method: 'POST', carries: 'Task' } });
    const since = await bench.record.end();
    await new Person(bench.service, 'atonce').bothReadings();
    await sleep(2000);
    const log = await bench.record.log(since);
    const sent = log.filter(({ method, status }) => method === 'POST'
        && status === 408).length;
    expect(sent <= 60, `${sent} requests in two seconds`);
}

/* ---- a Task is not held up ------------------------------------------------ */

async function lookupNotOffered() {
    await fault({ kind: 'status', status: 501, times: 100000,
        match: { method: 'GET', path: '/BodyStructure' } });
    await oneTask(await new Person(bench.service, 'lookup').bothReadings());
}

async function orderRefused(status) {
    await fault({ kind: 'status', status, times: 100000,
        match: { method: 'POST', carries: 'ServiceRequest' } });
    await oneTask(await new Person(bench.service, `order-${status}`)
        .bothReadings(), 8000);
}

async function refersToWhatCameLater() {
    await fault({ kind: 'status', status: 422, times: 2,
        match: { method: 'POST', carries: 'ServiceRequest' } });
    const person = await new Person(bench.service, 'later').bothReadings();
    await oneTask(person);
    const again = await bench.service.command('outbox', 'retry', 'all');
    expect(again.status === 0, again.err);
    const [order] = await arrives(person, 'ServiceRequest');
    await until(async () => (await of(person, 'Task'))[0],
        (task) => task.focus?.reference === `ServiceRequest/${order.id}`,
        'the Task does not refer to its proposal');
}

/* Created, and then refused as a change: the Flag is for the Task that is
 * there. */
async function flagOfOneAside() {
    await fault({ kind: 'as-batch', match: { method: 'POST', path: '/' } });
    await fault({ kind: 'status', status: 422, times: 1000,
        match: { method: 'PATCH', path: '/Task*' } });
    await fault({ kind: 'status', status: 422, times: 1000,
        match: { method: 'PUT', path: '/Task*' } });
    const person = await new Person(bench.service, 'flagless').bothReadings();
    await arrives(person);
    try {
        await arrives(person, 'Flag');
    } finally {
        await bench.record.clearFaults();
        await bench.service.killAndStart();
    }
}

/* ---- whose Task ----------------------------------------------------------- */

/* A conditional create by a server that passes over the condition's parameter
 * finds the only Task that it has: of somebody else. */
async function anothersTask() {
    const theirs = (await http('POST', `${bench.record.url}/Task`,
        { resourceType: 'Task', status: 'requested', intent: 'order',
            for: { display: 'SOMEBODY ELSE' } })).body;
    await fault({ kind: 'text', status: 200, text: JSON.stringify(theirs),
        headers: { Location: `${bench.record.url}/Task/${theirs.id}` },
        match: { method: 'POST', path: '/Task' } });
    await fault({ kind: 'status', status: 501, times: 2,
        match: { method: 'POST', path: '/' } });
    await new Person(bench.service, 'another').bothReadings();
    await sleep(2 * SETTLE_MS);
    const after = (await http('GET', `${bench.record.url}/Task/${theirs.id}`))
        .body;
    await bench.record.clearFaults();
    await bench.service.killAndStart();
    expect(after.for?.display === 'SOMEBODY ELSE',
        `it is of ${JSON.stringify(after.for)} now`);
}

/* ---- a person's work ------------------------------------------------------- */

/* Read, changed by a person, refused (412), read again: what stands there the
 * second time is theirs. */
async function changedTwice() {
    const person = await new Person(bench.service, 'twice').bothReadings();
    const before = await oneTask(person);
    const url = `${bench.record.url}/Task/${before.id}`;
    const first = (await http('PUT', url, { ...before,
        performerType: [{ text: 'Radiology' }] })).body;
    const since = await bench.record.end();
    await fault({ kind: 'delay', ms: 1500,
        match: { method: 'PATCH', path: '/Task*' } });
    await bench.service.post(person.reading(2080, 0));
    await until(() => bench.record.log(since),
        (log) => log.some(({ fault: hit }) => hit === 'delay'), 'no patch');
    const second = await http('PUT', url, { ...first,
        performerType: [{ text: 'Surgery' }] });
    expect(second.status === 200, `PUT ${second.status}`);
    const after = await grown(person, before, 6000);
    expect(after.performerType?.[0]?.text === 'Surgery',
        `a person's word became ${JSON.stringify(after.performerType)}`);
}

/* A server without ETags: the test in the patch is all that guards a person's
 * acceptance after our reading. */
async function acceptedWithoutEtag() {
    const person = await new Person(bench.service, 'noetag').bothReadings();
    const before = await oneTask(person);
    const accepted = await http('PUT', `${bench.record.url}/Task/${before.id}`,
        { ...before, status: 'accepted' });
    expect(accepted.status === 200, `PUT ${accepted.status}`);
    await fault({ kind: 'text', status: 200, text: JSON.stringify(before),
        headers: { 'Content-Type': 'application/fhir+json' },
        match: { method: 'GET', path: `/Task/${before.id}` } });
    await bench.service.post(person.reading(2080, 0));
    const after = await grown(person, before);
    expect(after.status === 'accepted', `status ${after.status}`);
}

/* A gateway says 404 to everything for a moment. */
async function gatewayIsLost() {
    const person = await new Person(bench.service, 'gateway').bothReadings();
    const before = await oneTask(person);
    await fault({ kind: 'text', status: 404, text: '<html>no such site</html>',
        headers: { 'Content-Type': 'text/html' },
        match: { method: 'GET', path: `/Task/${before.id}` } });
    await bench.service.post(person.reading(2080, 0));
    await grown(person, before, 6000);
}

/* ---- what is new while the old is refused ------------------------------------ */

async function newerWhileRefused() {
    const person = await new Person(bench.service, 'newer').bothReadings();
    const before = await oneTask(person);
    for (const method of ['PATCH', 'PUT']) {
        await fault({ kind: 'status', status: 422,
            match: { method, path: '/Task*' } });
        await fault({ kind: 'delay', ms: 1, match: { method: 'DELETE' } });
    }
    await fault({ kind: 'delay', ms: 1200,
        match: { method: 'GET', path: `/Task/${before.id}` } });
    const since = await bench.record.end();
    await bench.service.post(person.reading(2080, 0));
    await until(() => bench.record.log(since),
        (log) => log.some(({ fault: hit }) => hit === 'delay'), 'not read');
    await bench.service.post(person.reading(2090, 0));
    await until(async () => (await of(person, 'Task'))[0],
        (task) => task.input.length > before.input.length + 1,
        'the newest reading is not in the Task', 6000);
}

/* ---- no conditional create ------------------------------------------------------ */

/* What it says of itself: as the peer, but without conditional create. */
async function withoutCondition() {
    const says = (await http('GET', `${bench.record.url}/metadata`)).body;
    says.rest[0].resource.forEach((one) => { one.conditionalCreate = false; });
    await fault({ kind: 'text', status: 200, text: JSON.stringify(says),
        headers: { 'Content-Type': 'application/fhir+json' }, times: 3,
        match: { method: 'GET', path: '/metadata' } });
    await restart();
    await until(() => bench.record.log(),
        (log) => log.slice(-5).some(({ path }) => path === '/metadata'),
        'it was not asked');
    await sleep(200);
}

async function lostWithoutCondition() {
    await withoutCondition();
    await fault({ kind: 'drop-after-commit',
        match: { method: 'POST', path: '/' } });
    await fault({ kind: 'no-condition', times: 1000,
        match: { method: 'POST' } });
    const person = await new Person(bench.service, 'uncond').bothReadings();
    try {
        await oneTask(person);
        const orders = await of(person, 'ServiceRequest');
        expect(orders.length === 1, `${orders.length} proposals`);
    } finally {
        await bench.record.clearFaults();
        await restart();
    }
}

async function searchRefused() {
    await withoutCondition();
    await fault({ kind: 'status', status: 400, times: 1000,
        match: { method: 'GET', path: '/Task' } });
    const person = await new Person(bench.service, 'nosearch').bothReadings();
    try {
        await until(() => bench.record.log(), (log) => log.some(
            ({ method, status, carries }) => method === 'POST'
                && status < 300 && carries.includes('Task')
                && log.indexOf(log.at(-1)) >= 0), 'none');
        await sleep(2 * SETTLE_MS);
        await bench.record.clearFaults();
        await oneTask(person, 1);
    } finally {
        await bench.record.clearFaults();
        await restart();
    }
}

/* ---- ------------------------------------------------------------------- */

const SCENARIOS = [
    ['entries without a status', entriesWithoutStatus],
    ['Retry-After: 0', retryAtOnce],
    ['a look-up that is not offered', lookupNotOffered],
    ['a proposal that gets 412', () => orderRefused(412)],
    ['a proposal that gets 507', () => orderRefused(507)],
    ['a Task refers to what came later', refersToWhatCameLater],
    ['a Flag of a Task whose change was refused', flagOfOneAside],
    ['a create that finds the Task of another', anothersTask],
    ['a person changes it between two readings', changedTwice],
    ['accepted, where there is no ETag', acceptedWithoutEtag],
    ['a gateway that says 404', gatewayIsLost],
    ['a newer version while the older is refused', newerWhileRefused],
    ['no conditional create, and an answer is lost', lostWithoutCondition],
    ['no conditional create, and no search', searchRefused],
];

async function run(name, scenario) {
    const began = performance.now();
    const spent = () => ((performance.now() - began) / 1000).toFixed(1);
    try {
        await scenario();
        bench.passed++;
        console.log(`ok    ${name} (${spent()} s)`);
    } catch (e) {
        bench.failed++;
        console.log(`FAIL  ${name} (${spent()} s): ${
            e instanceof Unmet ? e.message : e.stack}`);
        if (process.env.LINES)
            bench.service.lastLines(12).forEach((l) => console.log(`      ${l}`));
    } finally {
        await bench.record.clearFaults();
    }
}

async function main(binary, only) {
    bench.tmp = mkdtempSync(join(tmpdir(), 'headgate-odd-'));
    setTimeout(() => {
        console.log('FAIL  out of time');
        killChildren();
        process.exit(1);
    }, WHOLE_MS);
    bench.settings = { 'record.service_request': true, 'record.flag': true };
    bench.record = await Record.start(bench.tmp);
    bench.service = new Service(resolve(binary), bench.tmp, bench.record.url,
        bench.settings);
    await bench.service.start();
    for (const [name, scenario] of SCENARIOS)
        if (only === undefined || name.includes(only))
            await run(name, scenario);
    killChildren();
    rmSync(bench.tmp, { recursive: true, force: true });
    console.log(`${bench.passed} passed, ${bench.failed} failed`);
    process.exit(bench.failed === 0 && bench.passed > 0 ? 0 : 1);
}

if (process.argv.length < 3) {
    console.error('usage: delivery_odd.mjs path/to/headgate [PART OF A NAME]');
    process.exit(2);
}
await main(process.argv[2], process.argv[3]);
