/*
 * Rarer answers of a record, each of which has led a delivery astray: what is
 * asked is that a Task arrives once, that nobody's work is overwritten, and
 * that nothing is sent without a pause.
 *
 *   node delivery_odd.mjs path/to/headgate [PART-OF-A-NAME]
 *
 * Sources: HL7 FHIR R4, http.html (conditional create, If-Match, patch,
 * transaction and batch responses), capabilitystatement.html; RFC 9110, 10.2.3
 * and 15 (Retry-After, status codes).
 */

import { readFileSync } from 'node:fs';
import { setTimeout as sleep } from 'node:timers/promises';
import { Service, expect, http, searchAll, stopChild }
    from './delivery_kit.mjs';
import { Suite, untilSeen } from './suite.mjs';
import { Person } from './delivery_cases.mjs';

const ARRIVE_MS = 12000;
const SETTLE_MS = 800;

const bench = new Suite();

async function of(person, type) {
    const all = await searchAll(`${bench.record.url}/${type}?_count=1000`);
    return all.filter((resource) => person.isIn(resource));
}

function arrives(person, type = 'Task', ms = ARRIVE_MS) {
    return untilSeen(() => of(person, type), (found) => found.length > 0,
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
    return untilSeen(async () => (await of(person, 'Task'))[0],
        (task) => task.input.length > before.input.length,
        'the new reading is not in the Task', ms);
}

async function restart(settings = {}) {
    bench.altered = Object.keys(settings).length > 0;
    await stopChild(bench.service.child);
    bench.service = new Service(bench.service.binary, bench.tmp,
        bench.record.url, { ...bench.settings, ...settings });
    await bench.service.start();
}

/* ---- waits --------------------------------------------------------------- */

/* R4 demands entry.response.status as a string; one that leaves it out, or
 * sends a number, must not be asked without a pause. */
async function entriesWithoutStatus() {
    const entry = { resource: { resourceType: 'Basic' },
        response: { status: 201 } };
    const text = JSON.stringify({ resourceType: 'Bundle',
        type: 'transaction-response', entry: [entry, entry, entry] });
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

/* ---- a Task is not held up ----------------------------------------------- */

async function lookupNotOffered() {
    await fault({ kind: 'status', status: 501, times: 100000,
        match: { method: 'GET', path: '/BodyStructure' } });
    await oneTask(await new Person(bench.service, 'lookup').bothReadings());
}

/* One kind of resource is out of order, the others are not. */
async function lookupOutOfOrder() {
    await fault({ kind: 'status', status: 503, times: 100000,
        match: { method: 'GET', path: '/BodyStructure' } });
    await oneTask(await new Person(bench.service, 'outoforder')
        .bothReadings(), 8000);
}

async function orderRefused(status) {
    await fault({ kind: 'status', status, times: 100000,
        match: { method: 'POST', carries: 'ServiceRequest' } });
    await oneTask(await new Person(bench.service, `order-${status}`)
        .bothReadings(), 8000);
}

/* What passes is tried again by itself, and is nobody's error; what is refused
 * waits for a person. */
async function orderIsLogged(status, level, refused) {
    const before = readFileSync(bench.service.log, 'utf8').length;
    await orderRefused(status);
    const lines = readFileSync(bench.service.log, 'utf8').slice(before)
        .split('\n').filter((line) => /event=outbox\.beside/.test(line));
    expect(lines.length > 0, 'it was not logged');
    for (const line of lines)
        expect(line.includes(`level=${level} `)
            && line.includes(`refused=${refused}`), line);
}

async function refersToWhatCameLater() {
    await fault({ kind: 'status', status: 422, times: 1000,
        match: { method: 'POST', carries: 'ServiceRequest' } });
    const person = await new Person(bench.service, 'later').bothReadings();
    await oneTask(person);
    await bench.record.clearFaults();
    const again = await bench.service.command('outbox', 'retry', 'all');
    expect(again.status === 0, again.err);
    const [order] = await arrives(person, 'ServiceRequest');
    await untilSeen(async () => (await of(person, 'Task'))[0],
        (task) => task.focus?.reference === `ServiceRequest/${order.id}`,
        'the Task does not refer to its proposal');
}

/* Created, and then refused as a change: the Flag is for the Task that is
 * there. */
async function flagOfOneAside() {
    await fault({ kind: 'delay', ms: 1000,
        match: { method: 'GET', path: '/Task/*' } });
    const person = await new Person(bench.service, 'flagless').bothReadings();
    const [task] = await arrives(person);
    const cut = await http('PUT', `${bench.record.url}/Task/${task.id}`,
        { ...task, input: task.input.slice(0, 1) });
    expect(cut.status === 200, `PUT ${cut.status}`);
    for (const method of ['PATCH', 'PUT'])
        await fault({ kind: 'status', status: 422, times: 1000,
            match: { method, path: '/Task/*' } });
    try {
        await arrives(person, 'Flag');
    } finally {
        await bench.record.clearFaults();
    }
}

/* ---- whose Task ---------------------------------------------------------- */

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

/* ---- a person's work ----------------------------------------------------- */

function made(text) {
    return { type: { text: 'Step' }, valueString: text };
}

/* Read, changed by a person, refused (412), read again: what stands there the
 * second time is theirs. */
async function changedTwice() {
    const person = await new Person(bench.service, 'twice').bothReadings();
    await oneTask(person);
    await bench.service.untilMetric('headgate_reviews_waiting', 0);
    const before = await oneTask(person);
    const url = `${bench.record.url}/Task/${before.id}`;
    const first = (await http('PUT', url, { ...before,
        output: [made('Booked')] })).body;
    const since = await bench.record.end();
    await fault({ kind: 'delay', ms: 1500,
        match: { method: 'PATCH', path: '/Task*' } });
    await bench.service.post(person.reading(2080, 0));
    await untilSeen(() => bench.record.log(since),
        (log) => log.some(({ fault: hit }) => hit === 'delay'), 'no patch');
    const second = await http('PUT', url, { ...first,
        output: [made('Booked'), made('Told the patient')] });
    expect(second.status === 200, `PUT ${second.status}`);
    const after = await grown(person, before, 6000);
    expect(after.output?.length === 2,
        `what was done became ${JSON.stringify(after.output)}`);
}

/* Who raises the priority at the record has not taken the Task in hand yet, and
 * means it all the same. */
async function raised() {
    await restart({ 'record.follow': 1 });
    const person = await new Person(bench.service, 'raised').bothReadings();
    const before = await oneTask(person);
    await sleep(2 * SETTLE_MS);
    const url = `${bench.record.url}/Task/${before.id}`;
    const mine = await http('PUT', url, { ...before, priority: 'stat' });
    expect(mine.status === 200, `PUT ${mine.status}`);
    await sleep(4000);
    const after = (await http('GET', url)).body;
    expect(after.priority === 'stat',
        `stat was made ${after.priority} again, by version `
        + after.meta.versionId);
}

/* The one that was sent, and that others refer to, is older than its twin even
 * if it was changed since. */
async function ourOwnIsKept() {
    await restart({ 'record.follow': 1 });
    const person = await new Person(bench.service, 'own').bothReadings();
    const ours = await oneTask(person);
    await http('PUT', `${bench.record.url}/Task/late-twin`,
        { ...ours, id: 'late-twin' });
    await bench.service.post(person.reading(2080, 0));
    const ended = await untilSeen(() => of(person, 'Task'), (found) =>
        found.some(({ status }) => status === 'entered-in-error'),
    'the twin was not put right', 8000);
    expect(ended.find(({ status }) => status === 'requested')?.id === ours.id,
        'the Task that was sent first was retired');
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

/* Put aside is put aside: that somebody touches the Task there is no reason to
 * send the same again; but what they did is seen. */
async function touchedWhileAside() {
    await restart({ 'record.follow': 1 });
    const person = await new Person(bench.service, 'aside').bothReadings();
    const before = await oneTask(person);
    for (const method of ['PATCH', 'PUT'])
        await fault({ kind: 'status', status: 422, times: 1000,
            match: { method, path: '/Task/*' } });
    await bench.service.post(person.reading(2080, 0));
    const since = await bench.record.end();
    const refused = async () => (await bench.record.log(since))
        .filter(({ method, status }) => method === 'PUT' && status === 422)
        .length;
    await untilSeen(refused, (count) => count === 1, 'it was not refused');
    await sleep(SETTLE_MS);
    const touched = await http('POST', `${bench.record.url}/`, {
        resourceType: 'Bundle', type: 'batch', entry: [{ resource: { ...before,
            note: [{ text: 'Seen.' }] }, request: { method: 'PUT',
            url: `Task/${before.id}` } }] });
    expect(touched.body?.entry?.[0]?.response?.status?.startsWith('200'),
        touched.text);
    await sleep(4000);
    expect(await refused() === 1, `sent again ${await refused() - 1} times `
        + 'without a word of a person');
}

/* A change was given up by a person; what others do with the Task is seen. */
async function acceptedAfterGivenUp() {
    await restart({ 'record.follow': 1 });
    const person = await new Person(bench.service, 'givenup').bothReadings();
    const before = await oneTask(person);
    for (const method of ['PATCH', 'PUT'])
        await fault({ kind: 'status', status: 422,
            match: { method, path: '/Task/*' } });
    await bench.service.post(person.reading(2080, 0));
    const line = await untilSeen(async () => (await bench.service.command('outbox',
        '--json')).out.split('\n').map(parsed).find(({ type, patient }) =>
        type === 'Task' && patient === person.mrn), Boolean, 'not listed');
    const done = await bench.service.command('outbox', 'discard',
        String(line.row), '--by', 'A. Example', '--why', 'told by telephone');
    expect(done.status === 0, done.err);
    const accepted = await http('PUT', `${bench.record.url}/Task/${before.id}`,
        { ...before, status: 'accepted' });
    expect(accepted.status === 200, `PUT ${accepted.status}`);
    const key = before.identifier[0].value;
    await untilSeen(async () => (await searchAll(`${bench.service.url}/Task`))
        .find(({ identifier }) => identifier?.[0]?.value === key)?.status,
    (status) => status === 'accepted', 'it is not seen here', 6000);
}

/* ---- what is new while the old is refused -------------------------------- */

/* A reading while the Task is read there for the one before. */
async function newerWhileRead(person, before) {
    await fault({ kind: 'delay', ms: 1200,
        match: { method: 'GET', path: `/Task/${before.id}` } });
    const since = await bench.record.end();
    await bench.service.post(person.reading(2080, 0));
    await untilSeen(() => bench.record.log(since),
        (log) => log.some(({ fault: hit }) => hit === 'delay'), 'not read');
    await bench.service.post(person.reading(2090, 0));
    await untilSeen(async () => (await of(person, 'Task'))[0],
        (task) => task.input.length > before.input.length + 1,
        'the newest reading is not in the Task', 6000);
}

async function newerWhileRefused() {
    const person = await new Person(bench.service, 'newer').bothReadings();
    const before = await oneTask(person);
    for (const method of ['PATCH', 'PUT'])
        await fault({ kind: 'status', status: 422,
            match: { method, path: '/Task*' } });
    await newerWhileRead(person, before);
}

/* Accepted there, and seen by a delivery during which something new came. */
async function newerWhileAccepted() {
    const person = await new Person(bench.service, 'meanwhile').bothReadings();
    const before = await oneTask(person);
    const url = `${bench.record.url}/Task/${before.id}`;
    const accepted = await http('PUT', url, { ...before, status: 'accepted' });
    expect(accepted.status === 200, `PUT ${accepted.status}`);
    await newerWhileRead(person, before);
}

/* ---- no conditional create ----------------------------------------------- */

/* What it says of itself: as the peer, but without conditional create. */
async function withoutCondition() {
    const says = (await http('GET', `${bench.record.url}/metadata`)).body;
    says.rest[0].resource.forEach((one) => { one.conditionalCreate = false; });
    await fault({ kind: 'text', status: 200, text: JSON.stringify(says),
        headers: { 'Content-Type': 'application/fhir+json' }, times: 3,
        match: { method: 'GET', path: '/metadata' } });
    await restart();
    await untilSeen(() => bench.record.log(),
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

/* The same, and the service is started again before it learns of it. */
async function killedWithoutCondition() {
    await withoutCondition();
    await fault({ kind: 'drop-after-commit', match: { method: 'POST' } });
    await fault({ kind: 'no-condition', times: 1000,
        match: { method: 'POST' } });
    const person = new Person(bench.service, 'killed');
    await person.bothReadings();
    await arrives(person);
    await bench.service.killAndStart();
    try {
        await oneTask(person);
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
    ['a look-up that is out of order', lookupOutOfOrder],
    ['a proposal that gets 412', () => orderRefused(412)],
    ['a proposal that gets 507', () => orderRefused(507)],
    ['a proposal that cannot be taken now is a warning',
        () => orderIsLogged(503, 'warn', 0)],
    ['a proposal that is refused is an error',
        () => orderIsLogged(422, 'error', 1)],
    ['a Task refers to what came later', refersToWhatCameLater],
    ['a Flag of a Task whose change was refused', flagOfOneAside],
    ['a create that finds the Task of another', anothersTask],
    ['a person changes it between two readings', changedTwice],
    ['a person raises the priority', raised],
    ['the twin that came later', ourOwnIsKept],
    ['accepted, where there is no ETag', acceptedWithoutEtag],
    ['a gateway that says 404', gatewayIsLost],
    ['touched while it is put aside', touchedWhileAside],
    ['accepted after a change was given up', acceptedAfterGivenUp],
    ['a newer version while the older is refused', newerWhileRefused],
    ['a newer version while an acceptance is read', newerWhileAccepted],
    ['no conditional create, and an answer is lost', lostWithoutCondition],
    ['no conditional create, and a crash', killedWithoutCondition],
    ['no conditional create, and no search', searchRefused],
];

await bench.main(async () => {
    bench.settings = { 'record.service_request': true, 'record.flag': true,
        'record.follow': 0 }; /* nothing is put right by the way */
    await bench.atRecord(bench.settings);
    bench.after = async () => {
        await bench.record.clearFaults();
        await sleep(SETTLE_MS); /* what this one left must not hit the next */
        if (bench.altered)
            await restart();
    };
    await bench.each(SCENARIOS);
});
