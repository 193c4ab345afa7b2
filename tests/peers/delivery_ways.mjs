/*
 * The many ways in which a Task, and what goes with it, gets to a record that
 * cannot do this or that, misunderstands, refuses or lies.
 *
 *   node delivery_ways.mjs path/to/headgate [--java] [PART-OF-A-NAME]
 *
 * The record is the server in memory of record.mjs; with --java an HAPI FHIR
 * JPA server on a database stands behind its faults.
 *
 * What a server may do is of HL7 FHIR R4, http.html (conditional create,
 * If-Match, patch, transaction and batch) and RFC 9110 (status codes); what
 * servers are known to do beside it is in the comment of each scenario.
 * Counts are exact: they are taken at the record, by patient and access.
 */

import { writeFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { Service, expect, http, searchAll, stopChild }
    from './delivery_kit.mjs';
import { Suite, untilSeen } from './suite.mjs';
import { Person } from './delivery_cases.mjs';
import { checkText, printFindings } from './validate.mjs';

const SETTLE_MS = 800;
const KEY = 'https://headgate.example/fhir/NamingSystem/task-key';

const bench = new Suite({ more: '[--java] [PART-OF-A-NAME]' });

/* ---- what is there ------------------------------------------------------ */

async function of(person, type) {
    const all = await searchAll(`${bench.record.url}/${type}?_count=1000`);
    return all.filter((resource) => person.isIn(resource));
}

function arrives(person, type = 'Task') {
    return untilSeen(() => of(person, type), (found) => found.length > 0,
        `no ${type} of ${person.tag} arrived`);
}

/* One Task, and no second one for as long as a retry could take. */
async function oneTask(person) {
    await arrives(person);
    await sleep(SETTLE_MS);
    const tasks = await of(person, 'Task');
    expect(tasks.length === 1, `${person.tag} has ${tasks.length} Tasks`);
    return tasks[0];
}

function fault(fault) {
    return bench.record.fault({ match: {}, ...fault });
}

async function seen(person, since, method) {
    const log = await bench.record.log(since, true);
    return log.filter((entry) => entry.method === method
        && person.isIn(parsed(entry.body)));
}

function parsed(text) {
    try {
        return JSON.parse(text);
    } catch {
        return {};
    }
}

/* A Task refers to what there is, and nothing is left of a Bundle's names. */
async function refersWell(person, task) {
    expect(!JSON.stringify(task).includes('urn:uuid'),
        'a name of the Bundle is left in the Task');
    const [order, ...others] = await of(person, 'ServiceRequest');
    expect(order !== undefined && others.length === 0,
        `${1 + others.length} proposals`);
    expect(task.focus?.reference === `ServiceRequest/${order.id}`,
        `focus ${JSON.stringify(task.focus)}`);
    expect(task.input.some((input) => input.type.coding?.[0]?.code === 'access'),
        'the access is not among the inputs');
    expect(order.intent === 'proposal' && order.status === 'draft',
        `a proposal that is ${order.intent}, ${order.status}`);
    return order;
}

/* ---- a Task together with what it refers to ----------------------------- */

async function inOneTransaction() {
    const since = await bench.record.end();
    const person = await new Person(bench.service, 'whole').bothReadings();
    await refersWell(person, await oneTask(person));
    const posts = await seen(person, since, 'POST');
    const bundles = posts.filter(({ path }) => path === '/');
    expect(bundles.length === 1 && parsed(bundles[0].body).type
        === 'transaction', `${bundles.length} Bundles`);
    expect(!posts.some(({ path }) => /^\/(Task|ServiceRequest)/.test(path)),
        'a Task or proposal was sent by itself as well');
}

/* A server that commits, and whose answer is lost. */
async function transactionLost() {
    await fault({ kind: 'drop-after-commit',
        match: { method: 'POST', path: '/' } });
    const person = await new Person(bench.service, 'lost').bothReadings();
    await refersWell(person, await oneTask(person));
}

/* Some servers carry a transaction out as a batch, references unresolved. */
async function asBatch() {
    await fault({ kind: 'as-batch', match: { method: 'POST', path: '/' } });
    const person = await new Person(bench.service, 'asbatch').bothReadings();
    await arrives(person);
    const task = await untilSeen(async () => (await of(person, 'Task'))[0],
        (found) => /^ServiceRequest\//.test(found.focus?.reference ?? ''),
        'the references were not put right');
    await refersWell(person, task);
    await oneTask(person);
    await bench.service.killAndStart(); /* what it learnt is forgotten */
}

async function noTransactions() {
    const since = await bench.record.end();
    await fault({ kind: 'status', status: 501, times: 2,
        match: { method: 'POST', path: '/' } });
    const person = await new Person(bench.service, 'singles').bothReadings();
    await refersWell(person, await oneTask(person));
    const posts = await seen(person, since, 'POST');
    expect(posts.some(({ path, status }) => path === '/ServiceRequest'
        && status === 201), 'the proposal was not sent by itself');
    await bench.record.clearFaults();
    await bench.service.killAndStart();
}

/* 429 within an answer that is 200: known of several servers. */
async function refusedInside() {
    await fault({ kind: 'as-batch', match: { method: 'POST', path: '/' } });
    const first = await new Person(bench.service, 'inside-0').bothReadings();
    await oneTask(first); /* batches from now on */
    const since = await bench.record.end();
    await fault({ kind: 'entry', index: 0, status: 429,
        match: { method: 'POST', carries: 'ServiceRequest' } });
    const person = await new Person(bench.service, 'inside').bothReadings();
    await refersWell(person, await oneTask(person));
    const posts = await seen(person, since, 'POST');
    expect(posts.length >= 2, 'it was not tried again');
    await bench.service.killAndStart();
}

/* The proposal is refused for good: the Task does not wait for it. */
async function proposalRefused() {
    await fault({ kind: 'status', status: 422, times: 2,
        match: { method: 'POST', carries: 'ServiceRequest' } });
    const person = await new Person(bench.service, 'without').bothReadings();
    const task = await oneTask(person);
    expect((await of(person, 'ServiceRequest')).length === 0, 'a proposal');
    expect(task.focus?.reference === undefined, 'it refers to nothing');
    const listed = await bench.service.command('outbox', '--json');
    const line = listed.out.split('\n').filter(Boolean).map(parsed)
        .find(({ type, patient }) => type === 'ServiceRequest'
            && patient === person.mrn);
    expect(line?.status === 422, `not listed: ${listed.out} ${listed.err}`);
    expect(line.answer?.resourceType === 'OperationOutcome',
        'the answer of the record is not kept');
    const again = await bench.service.command('outbox', 'retry', String(line.row));
    expect(again.status === 0, again.err);
    await arrives(person, 'ServiceRequest');
}

/* ---- changes ------------------------------------------------------------ */

/* No review, and no delivery: what is counted next is of what comes next. */
async function nothingUnderWay() {
    await bench.service.untilMetric('headgate_reviews_waiting', 0);
    await bench.service.untilMetric(
        'headgate_outbox_resources{state="waiting"}', 0);
}

async function patched() {
    const person = await new Person(bench.service, 'patched').bothReadings();
    const before = await oneTask(person);
    await nothingUnderWay();
    const since = await bench.record.end();
    await bench.service.post(person.reading(2080, 0));
    await untilSeen(async () => (await of(person, 'Task'))[0],
        (task) => task.input.length > before.input.length,
        'the third reading is not in the Task');
    const log = await bench.record.log(since, true);
    const patches = log.filter(({ method, path }) => method === 'PATCH'
        && path.startsWith('/Task/'));
    expect(patches.length === 1 && patches[0].status === 200,
        `patches: ${patches.map(({ status }) => status)}`);
    const operations = parsed(patches[0].body);
    expect(operations[0]?.op === 'test' && operations[0]?.path === '/status',
        'the status is not tested first');
    expect(log.every(({ method }) => method !== 'PUT'), 'a PUT as well');
}

/* It is tried, of whichever resource is the first to change, and not again. */
async function noPatch() {
    await nothingUnderWay(); /* else it is learnt of somebody else's */
    await fault({ kind: 'status', status: 405, times: 100,
        match: { method: 'PATCH' } });
    const patches = async (since) => (await bench.record.log(since))
        .filter(({ method }) => method === 'PATCH').length;
    const first = await bench.record.end();
    const person = await new Person(bench.service, 'put').bothReadings();
    const before = await oneTask(person);
    await bench.service.post(person.reading(2080, 0));
    await untilSeen(async () => (await of(person, 'Task'))[0],
        (task) => task.input.length > before.input.length, 'not changed');
    await nothingUnderWay();
    expect(await patches(first) > 0, 'not tried');
    const second = await bench.record.end();
    await bench.service.post(person.reading(2090, 0));
    await untilSeen(async () => (await of(person, 'Task'))[0],
        (task) => task.input.length > before.input.length + 1, 'not changed');
    const again = await patches(second);
    expect(again === 0, `tried again, ${again} times`);
    await bench.record.clearFaults();
    await bench.service.killAndStart();
}

/* A person is faster between our reading and our writing. */
async function personIsFaster() {
    const person = await new Person(bench.service, 'faster').bothReadings();
    const before = await oneTask(person);
    await nothingUnderWay();
    const since = await bench.record.end();
    await fault({ kind: 'delay', ms: 1500,
        match: { method: 'PATCH', path: '/Task*' } });
    await bench.service.post(person.reading(2080, 0));
    await untilSeen(async () => (await bench.record.log(since)),
        (log) => log.some(({ fault: hit }) => hit === 'delay'), 'no patch');
    const accepted = await http('PUT', `${bench.record.url}/Task/${before.id}`,
        { ...before, status: 'accepted', owner: { display: 'Coordinator' } },
        { 'If-Match': `W/"${before.meta.versionId}"` });
    expect(accepted.status === 200, `accepted: ${accepted.status}`);
    const after = await untilSeen(async () => (await of(person, 'Task'))[0],
        (task) => task.input.length > before.input.length, 'not added to');
    expect(after.status === 'accepted' && after.owner?.display
        === 'Coordinator', `status ${after.status}`);
}

/* ---- several of one ----------------------------------------------------- */

/* Two were created in spite of the condition (reported of several servers). */
async function twins() {
    const since = await bench.record.end();
    await fault({ kind: 'drop-before', times: 6,
        match: { method: 'POST', carries: 'Task' } });
    const person = await new Person(bench.service, 'twins').bothReadings();
    const [entry] = await untilSeen(() => seen(person, since, 'POST'),
        (posts) => posts.some(({ body }) => body.includes('"Task"')),
        'nothing was sent');
    const body = parsed(entry.body);
    const task = body.resourceType === 'Task' ? body
        : body.entry.map(({ resource }) => resource)
            .find(({ resourceType }) => resourceType === 'Task');
    delete task.focus;
    const made = [];
    for (const id of ['twin-a', 'twin-b', 'twin-c']) { /* no POST: see above */
        made.push((await http('PUT', `${bench.record.url}/Task/${id}`,
            { ...task, id })).body);
        await sleep(10);
    }
    await bench.record.clearFaults();
    const tasks = await untilSeen(() => of(person, 'Task'),
        (found) => found.filter(({ status }) => status === 'requested')
            .length === 1, 'the twins were not put right');
    expect(tasks.length === 3, `${tasks.length} Tasks`);
    const kept = tasks.find(({ status }) => status === 'requested');
    expect(kept.id === made[0].id, 'it is not the oldest that was kept');
    expect(tasks.filter(({ status }) => status === 'entered-in-error')
        .length === 2, tasks.map(({ status }) => status).join(' '));
    await bench.service.post(person.reading(2080, 0));
    await untilSeen(async () => (await of(person, 'Task'))
        .find(({ id }) => id === kept.id), ({ input }) =>
        input.length > task.input.length, 'the kept one is not kept up');
}

/* ---- lies --------------------------------------------------------------- */

/* A search that passes over its parameters finds somebody: never our patient. */
async function wrongPatient() {
    const other = await http('POST', `${bench.record.url}/Patient`,
        { resourceType: 'Patient', identifier: [{ system: 'urn:oid:2.999.7',
            value: 'SOMEBODY-ELSE' }] });
    expect(other.status === 201, `Patient: ${other.status}`);
    await fault({ kind: 'lenient', times: 20,
        match: { method: 'GET', path: '/Patient' } });
    const person = await new Person(bench.service, 'lenient').bothReadings();
    const task = await oneTask(person);
    await bench.record.clearFaults();
    expect(task.for?.reference === undefined,
        `it is said to be of ${task.for?.reference}`);
    expect(task.for?.identifier?.value === person.mrn, 'it names nobody');
    await http('DELETE', `${bench.record.url}/Patient/${other.body.id}`);
}

/* A page to log in on, answered 200; then a real answer. */
async function loginPage() {
    await fault({ kind: 'text', status: 200, text: '<html>log in</html>',
        headers: { 'Content-Type': 'text/html' },
        match: { method: 'POST', carries: 'Task' } });
    const person = await new Person(bench.service, 'login').bothReadings();
    await oneTask(person);
}

/* Nobody goes where a redirect leads. */
async function redirect() {
    const visits = [];
    const elsewhere = createServer((req, res) => {
        visits.push(req.url);
        res.end('{}');
    });
    await new Promise((done) => elsewhere.listen(0, '127.0.0.1', done));
    const url = `http://127.0.0.1:${elsewhere.address().port}/fhir/Task`;
    for (const status of [301, 302, 303, 307, 308])
        await fault({ kind: 'status', status, headers: { Location: url },
            match: { method: 'POST', carries: 'Task' } });
    const person = await new Person(bench.service, 'redirect').bothReadings();
    await oneTask(person);
    elsewhere.close();
    expect(visits.length === 0, `followed: ${visits.join(' ')}`);
}

async function hugeAnswer() {
    await fault({ kind: 'text', status: 200, text: 'x', headers: {},
        repeat: 6 * 1024 * 1024, match: { method: 'GET', path: '/Patient' } });
    const person = await new Person(bench.service, 'huge').bothReadings();
    await oneTask(person);
}

/* ---- what is put aside -------------------------------------------------- */

async function listed(person) {
    const { out } = await bench.service.command('outbox', '--json');
    return out.split('\n').filter(Boolean).map(parsed)
        .filter(({ type, patient }) => type === 'Task'
            && patient === person.mrn);
}

async function aside(tag) {
    await fault({ kind: 'status', status: 422, times: 100,
        match: { method: 'POST', carries: 'Task' } });
    const person = await new Person(bench.service, tag).bothReadings();
    await untilSeen(() => listed(person), (lines) => lines.length === 1,
        'it was not put aside');
    const since = await bench.record.end();
    await sleep(SETTLE_MS);
    await bench.service.killAndStart();
    await sleep(SETTLE_MS);
    expect((await seen(person, since, 'POST')).length === 0,
        'the same was sent again without a word of a person');
    await bench.record.clearFaults();
    return [person, (await listed(person))[0].row];
}

async function retried() {
    const [person, row] = await aside('retried');
    const { out: text } = await bench.service.command('outbox');
    expect(text.includes('HTTP status 422')
        && text.includes('A fault that was asked for'), text);
    expect((await bench.service.command('outbox', 'retry', '999999')).status
        === 1,
        'a row that is not there');
    const again = await bench.service.command('outbox', 'retry', String(row));
    expect(again.status === 0 && /^1 to be tried/.test(again.out), again.err);
    await oneTask(person);
    expect((await listed(person)).length === 0, 'it is still listed');
}

async function discarded() {
    const [person, row] = await aside('discarded');
    const nameless = await bench.service.command('outbox', 'discard', String(row));
    expect(nameless.status === 2, 'discarded by nobody');
    const done = await bench.service.command('outbox', 'discard', String(row),
        '--by', 'A. Example', '--why', 'told by telephone');
    expect(done.status === 0, done.err);
    await sleep(SETTLE_MS);
    expect((await of(person, 'Task')).length === 0, 'sent all the same');
    const { out: shown } = await bench.service.command('outbox', 'given-up');
    expect(shown.includes('A. Example') && shown.includes('told by telephone'),
        shown);
    await bench.service.post(person.reading(2080, 0));
    await oneTask(person); /* new evidence is another matter */
}

/* A change that the record refused: what people do there is followed all the
 * same, and the change is not sent again by that. */
async function asideIsFollowed() {
    const person = await new Person(bench.service, 'followed').bothReadings();
    const task = await oneTask(person);
    for (const method of ['PATCH', 'PUT'])
        await fault({ kind: 'status', status: 422, times: 100,
            match: { method, path: `/Task/${task.id}` } });
    await bench.service.post(person.reading(2080, 0));
    await untilSeen(() => listed(person), (lines) => lines.length === 1,
        'the change was not put aside');
    await bench.record.clearFaults();
    const since = await bench.record.end();
    const accepted = await http('PUT', `${bench.record.url}/Task/${task.id}`,
        { ...(await of(person, 'Task'))[0], status: 'accepted' });
    expect(accepted.status === 200, `accepted: ${accepted.status}`);
    await untilSeen(async () => (await searchAll(`${bench.service.url}/Task?`
        + `identifier=${KEY}%7C${task.identifier[0].value}`))[0],
    ({ status }) => status === 'accepted', 'the acceptance is not seen');
    await sleep(SETTLE_MS);
    const log = await bench.record.log(since);
    expect(log.filter(({ method, path, arrivalMs }) => /^(PATCH|PUT)$/.test(
        method) && path.endsWith(task.id) && arrivalMs > 0).length === 1,
    'what was refused was sent again');
    expect((await listed(person)).length === 1, 'it is no longer listed');
}

/* ---- a record in trouble ------------------------------------------------ */

async function pause() {
    await fault({ kind: 'status', status: 503, times: 100000 });
    const since = await bench.record.end();
    const people = [];
    for (let n = 0; n < 12; n++)
        people.push(await new Person(bench.service, `pause-${n}`)
            .bothReadings());
    await sleep(3000);
    const during = (await bench.record.log(since)).length;
    /* 12 of them, each with a wait of 50 to 500 ms, would be about 150 */
    expect(during <= 60, `${during} requests to a record that is down`);
    const ready = await http('GET',
        `${new URL(bench.service.url).origin}/readyz`);
    expect(ready.status === 200, 'not ready, for the record is down');
    await bench.record.clearFaults();
    for (const person of people)
        await oneTask(person);
    return `${during} requests in 3 s`;
}

/* The record asks for two minutes and is mended at once.  Retry-After: RFC 9110,
 * 10.2.3. */
async function aWordEndsThePause() {
    const ops = (path) => http('GET',
        `${new URL(bench.service.url).origin}/${path}`);
    const asked = Date.now();
    await fault({ kind: 'status', status: 503,
        headers: { 'Retry-After': '120' }, times: 100000 });
    const person = await new Person(bench.service, 'word').bothReadings();
    const { text } = await untilSeen(() => ops('readyz'),
        (answer) => /left alone until/.test(answer.text), 'no pause');
    const said = Date.parse(/left alone until (\S+Z), then tried/.exec(text)[1]);
    expect(said >= asked + 120000 && said <= Date.now() + 121000,
        `asked at ${new Date(asked).toISOString()}: ${text}`);
    await bench.record.clearFaults();
    await sleep(1500);
    expect((await of(person, 'Task')).length === 0, 'it did not wait');
    const metrics = (await ops('metrics')).text;
    const [late, oldest] = ['late', 'oldest'].map((what) => Number(
        new RegExp(`^headgate_outbox_${what}_seconds (\\d+)$`, 'm')
            .exec(metrics)?.[1]));
    expect(oldest >= 1 && oldest < 60, `waits for ${oldest} s`);
    const again = await bench.service.command('outbox', 'retry', 'now');
    expect(again.status === 0 && /Waiting for it: [1-9]/.test(again.out),
        `${again.out} ${again.err}`);
    await oneTask(person);
    return `late ${late} s, waited ${oldest} s`;
}

/* ---- beside the Task ---------------------------------------------------- */

async function sourcesOf(task) {
    const all = await searchAll(`${bench.record.url}/Provenance?_count=1000`);
    return all.filter(({ target }) => target.some(({ reference }) =>
        reference?.startsWith(`Task/${task.id}`)));
}

async function provenance() {
    const person = await new Person(bench.service, 'source').bothReadings();
    const task = await oneTask(person);
    const [found, ...others] = await untilSeen(() => sourcesOf(task),
        (all) => all.length > 0, 'no Provenance of the Task');
    expect(others.length === 0, `${1 + others.length} Provenances`);
    expect(found.agent.length > 0 && found.entity.length >= 2,
        'it names no agent or no source');
}

async function flag() {
    const person = await new Person(bench.service, 'flag').bothReadings();
    const [raised] = await arrives(person, 'Flag');
    expect(raised.status === 'active' && raised.period?.start,
        `a Flag that is ${raised.status}`);
    await bench.service.post({ ...person.second, status: 'corrected',
        valueQuantity: { ...person.second.valueQuantity, value: 1200 } });
    const [ended, ...others] = await untilSeen(() => of(person, 'Flag'),
        (found) => found[0].status !== 'active', 'the Flag was not ended');
    expect(ended.status === 'inactive' && ended.period?.end
        && others.length === 0, JSON.stringify(ended));
}

async function deletedStaysDeleted() {
    const person = await new Person(bench.service, 'deleted').bothReadings();
    const task = await oneTask(person);
    const [source] = await untilSeen(() => sourcesOf(task), (all) => all.length > 0,
        'no Provenance of the Task');
    for (const path of [`Provenance/${source.id}`, `Task/${task.id}`]) {
        /* some servers keep what others refer to: the Provenance goes first */
        const gone = await http('DELETE', `${bench.record.url}/${path}`);
        expect(gone.status < 300, `DELETE ${path}: ${gone.status}`);
    }
    await bench.service.post(person.reading(2080, 0));
    await sleep(2 * SETTLE_MS);
    expect((await of(person, 'Task')).length === 0, 'it was made again');
}

async function tokenIsRenewed({ tmp }) {
    const path = join(tmp, 'record-token');
    writeFileSync(path, 'first\n');
    await stopChild(bench.service.child);
    const with_ = new Service(bench.service.binary, tmp, bench.record.url,
        { ...bench.settings, 'record.token_file': path });
    await with_.start();
    bench.service = with_;
    const since = await bench.record.end();
    writeFileSync(path, 'second\n');
    await fault({ kind: 'status', status: 401,
        match: { method: 'POST', carries: 'Task' } });
    const person = await new Person(bench.service, 'token').bothReadings();
    await oneTask(person);
    const posts = await seen(person, since, 'POST');
    expect(posts[0].status === 401 && posts[1].arrivalMs - posts[0].arrivalMs
        < 400, 'the new token was not taken at once');
}

async function sentValid() {
    const log = await bench.record.log(0, true);
    const lines = log.filter(({ method, carries }) =>
        /^(POST|PUT)$/.test(method) && carries.length > 0)
        .map(({ body }) => body.replace(/\r?\n/g, ' ')).join('\n');
    const checked = checkText(lines);
    checked.forEach(({ name, found }) => printFindings(name, found));
    const failed = checked.filter(({ found }) => found.length > 0).length;
    expect(failed === 0 && checked.length > 50,
        `${failed} of ${checked.length} are not valid`);
    return `${checked.length} resources and Bundles`;
}

/* ---- ------------------------------------------------------------------- */

const SCENARIOS = [
    ['a Task and its proposal in one transaction', inOneTransaction],
    ['the answer to the transaction is lost', transactionLost],
    ['a transaction that was carried out as a batch', asBatch],
    ['no transactions: one by one', noTransactions],
    ['429 inside an answer 200', refusedInside],
    ['a refused proposal does not hold up the Task', proposalRefused],
    ['changes as JSON Patch', patched],
    ['no PATCH: PUT', noPatch],
    ['a person is faster', personIsFaster],
    ['three of one Task: one is kept', twins],
    ['a search that passes over its parameters', wrongPatient],
    ['a page to log in on', loginPage],
    ['redirects are not followed', redirect],
    ['an answer that is too large', hugeAnswer],
    ['put aside, then retried by a person', retried],
    ['put aside, then given up by a person', discarded],
    ['what was put aside is still followed', asideIsFollowed],
    ['a record in trouble is given a pause', pause],
    ['a pause ends at a word', aWordEndsThePause],
    ['where a Task comes from', provenance],
    ['a Flag is raised and ended', flag],
    ['a Task that was deleted stays deleted', deletedStaysDeleted],
    ['another token in the file', tokenIsRenewed],
    ['what was sent is valid FHIR', sentValid],
];

await bench.main(async () => {
    bench.settings = { 'record.service_request': true, 'record.flag': true,
        'record.follow': 2 };
    await bench.atRecord(bench.settings);
    await bench.each(SCENARIOS);
});
