/*
 * The record calls: every form of a rest-hook and of a notification is taken,
 * answered when it is stored, and makes the poll begin.
 *
 *   node hook.mjs path/to/headgate [URL]
 *
 * The notifications are the examples of HL7's Subscriptions R5 Backport guide
 * (HL7/fhir-subscription-backport-ig, input/fsh/BackportNotificationR4.fsh and
 * BackportNotificationR4B.fsh: rule sets AddParameterStatus and
 * AddSubscriptionStatus, the instances for handshake, heartbeat, empty,
 * id-only, full-resource), about an Observation instead of an Encounter.
 */

import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http, searchAll } from './delivery_kit.mjs';
import { PollSuite } from './poll_kit.mjs';
import { freePort, untilSeen } from './suite.mjs';
import { checkText, printFindings } from './validate.mjs';

const suite = new PollSuite();
const SUBSCRIPTION = 'https://example.org/fhir/r4/Subscription/admission';
const TOPIC = 'http://example.org/FHIR/SubscriptionTopic/measured';

/* Nothing is polled but after a call. */
const scene = (count, settings = {}) => suite.scene(count,
    { 'record.poll': 0, ...settings });

async function call(service, method, path, body, headers = {}) {
    return http(method, `${service.root()}/hook${path}`, body, headers);
}

async function taken(service, method, path, body) {
    const answer = await call(service, method, path, body);
    expect(answer.status === 200, `${method} /hook${path}: ${answer.status} ${
        answer.text}`);
    return answer;
}

/* As in R4: Parameters first, counters as strings. */
function r4(type, events, list = [], resources = []) {
    const event = ([number, focus]) => ({ name: 'notification-event', part: [
        { name: 'event-number', valueString: String(number) },
        { name: 'timestamp', valueInstant: '2020-05-29T11:44:13.188-05:00' },
        ...(focus ? [{ name: 'focus',
            valueReference: { reference: focus } }] : [])] });
    return { resourceType: 'Bundle', type: 'history',
        timestamp: '2020-05-29T11:44:13.188-05:00', entry: [{
            fullUrl: 'urn:uuid:63c28e8a-f402-43e4-beb2-75b1c0f6833f',
            resource: { resourceType: 'Parameters',
                id: '63c28e8a-f402-43e4-beb2-75b1c0f6833f', parameter: [
                    { name: 'subscription', valueReference:
                        { reference: SUBSCRIPTION } },
                    { name: 'topic', valueCanonical: TOPIC },
                    { name: 'status', valueCode: type === 'handshake'
                        ? 'requested' : 'active' },
                    { name: 'type', valueCode: type },
                    { name: 'events-since-subscription-start',
                        valueString: String(events) },
                    ...list.map(event)] },
            request: { method: 'GET', url: `${SUBSCRIPTION}/$status` },
            response: { status: '200' } }, ...resources.map(asEntry)] };
}

/* As in R4B and R5: SubscriptionStatus first. */
function status(bundleType, counter) {
    return (type, events, list = [], resources = []) => ({
        resourceType: 'Bundle', type: bundleType, entry: [{
            resource: { resourceType: 'SubscriptionStatus', status: 'active',
                type, subscription: { reference: SUBSCRIPTION },
                topic: TOPIC,
                eventsSinceSubscriptionStart: counter(events),
                notificationEvent: list.map(([number, focus]) => ({
                    eventNumber: counter(number),
                    ...(focus && { focus: { reference: focus } }) })) } },
        ...resources.map(asEntry)] });
}

function asEntry(resource) {
    return { resource, request: { method: 'POST',
        url: resource.resourceType }, response: { status: '201' } };
}

async function empty() {
    const { tag, who, service } = await scene(5);
    await service.start();
    await sleep(1500);
    expect(!await service.has('Observation', who.ids[0]),
        'it was polled without a call');
    await taken(service, 'POST', '');
    await service.until(who.ids, 'after a call');
    await who.measure(2);
    await taken(service, 'POST', '');
    await service.until(who.ids, 'after another');
    await service.exactly(tag, who.ids);
}

/* What a call brings is there when it is answered. */
async function withResource(method, pathOf) {
    const { tag, who, service } = await scene(3);
    await service.start();
    await taken(service, 'POST', '');
    await service.until(who.ids, 'after a call');
    const stored = await who.put(who.reading(7, 1234));
    who.ids.push(stored.id);
    await taken(service, method, pathOf(stored), stored);
    expect(await service.has('Observation', stored.id),
        'it was answered before it was stored');
    await taken(service, method, pathOf(stored), stored);
    await service.rounds('Observation', 1);
    await service.exactly(tag, who.ids);
}

/* A call that comes late does not bring an old version back. */
async function late() {
    const { tag, who, service } = await scene(1);
    await service.start();
    const old = await who.put(who.reading(3, 1111));
    who.ids.push(old.id);
    await sleep(20);
    await who.put({ ...who.reading(3, 555), status: 'corrected' });
    await taken(service, 'POST', '');
    await service.until(who.ids, 'after a call');
    await taken(service, 'PUT', `/Observation/${old.id}`, old);
    await service.stop();
    const values = service.look((db) => db.prepare('SELECT g.value FROM '
        + 'reading g JOIN resource r ON r.id = g.resource WHERE r.fid = ?')
        .all(old.id).map((row) => row.value).join());
    expect(values === '555', `the value is ${values}`);
    expect(tag !== '', 'no tag');
}

async function notified(make) {
    const { tag, who, service } = await scene(2);
    await service.start();
    await taken(service, 'POST', '', make('handshake', 0));
    await taken(service, 'POST', '', make('heartbeat', 0));
    await taken(service, 'POST', '', make('event-notification', 1, [[1]]));
    await service.until(who.ids, 'after an empty notification');
    const byId = await who.put(who.reading(5, 1200));
    const whole = await who.put(who.reading(6, 1250));
    who.ids.push(byId.id, whole.id);
    await taken(service, 'POST', '', make('event-notification', 2,
        [[2, `Observation/${byId.id}`]]));
    await taken(service, 'POST', '', make('event-notification', 3,
        [[3, `${suite.peer.url}/Observation/${whole.id}`]], [whole]));
    expect(await service.has('Observation', whole.id),
        'the whole resource was not taken');
    await service.until(who.ids, 'after notifications with ids');
    expect(await service.metric('headgate_hook_gaps_total') === 0,
        'a gap was seen where there is none');
    await taken(service, 'POST', '', make('event-notification', 6, [[6]]));
    expect(await service.metric('headgate_hook_gaps_total') === 1,
        'a gap was not seen');
    await taken(service, 'POST', '', make('heartbeat', 9));
    expect(await service.metric('headgate_hook_gaps_total') === 2,
        'a gap was not seen in a heartbeat');
    await service.exactly(tag, who.ids);
}

/* What is told by its id is read by its id, also where no type is polled. */
async function idOnly() {
    const { tag, who, service } = await scene(0,
        { 'record.poll_types': 'Patient' });
    await service.start();
    const stored = await who.put(who.reading(2, 1300));
    await taken(service, 'POST', '', r4('event-notification', 1,
        [[1, `Observation/${stored.id}`]]));
    await service.until([stored.id], 'after a notification');
    await service.exactly(tag, [stored.id]);
}

/* What was missed is asked for with $events, where the record offers it. */
async function missed() {
    const { tag, who, service } = await scene(0,
        { 'record.poll_types': 'Patient' });
    const asked = [];
    const lost = await who.put(who.reading(3, 1300));
    const told = await who.put(who.reading(4, 1310));
    suite.peer.request = (r) => {
        if (r.path !== '/Subscription/s1/$events')
            return undefined;
        asked.push(r.params.toString());
        return { status: 200, headers: {}, body: r4('query-event', 3,
            [[2, `Observation/${lost.id}`]]) };
    };
    const about = (body) => JSON.parse(JSON.stringify(body)
        .replaceAll(SUBSCRIPTION, `${suite.peer.url}/Subscription/s1`));
    await service.start();
    await taken(service, 'POST', '', about(r4('event-notification', 1, [[1]])));
    await taken(service, 'POST', '', about(r4('event-notification', 3,
        [[3, `Observation/${told.id}`]])));
    await service.until([lost.id, told.id], 'after a gap');
    expect(asked.join() === 'eventsSinceNumber=2&eventsUntilNumber=3',
        `asked: ${asked}`);
    await service.exactly(tag, [lost.id, told.id]);
}

async function refused() {
    const { service, who } = await scene(1);
    await service.start();
    const cases = [
        ['POST', '', '{"resourceType":', 400],
        ['POST', '', '[]', 400],
        ['POST', '', '{"a":1}', 400],
        ['PUT', '/Observation/other', JSON.stringify(who.reading(0, 800)), 400],
        ['PUT', '', '', 404],
        ['GET', '', undefined, 404],
        ['POST', '/Observation', '{}', 404],
    ];
    for (const [method, path, text, wanted] of cases) {
        const answer = await fetch(`${service.root()}/hook${path}`, { method,
            body: text, headers: text === undefined ? {}
                : { 'Content-Type': 'application/fhir+json' } });
        expect(answer.status === wanted,
            `${method} /hook${path} ${text}: ${answer.status}`);
        expect((await answer.json()).resourceType === 'OperationOutcome',
            'no OperationOutcome');
    }
    const xml = await fetch(`${service.root()}/hook`, { method: 'POST',
        body: '<Observation/>',
        headers: { 'Content-Type': 'application/fhir+xml' } });
    expect(xml.status === 415, `XML: ${xml.status}`);
    await service.stop();
    const kept = service.look((db) =>
        db.prepare('SELECT count(*) AS n FROM resource').get().n);
    expect(kept === 0, `${kept} resources were kept`);
}

/* Many calls at once make few rounds. */
async function flood() {
    const { tag, who, service } = await scene(4);
    await service.start();
    await Promise.all(Array.from({ length: 200 }, () =>
        taken(service, 'POST', '')));
    await service.until(who.ids, 'after calls');
    await sleep(500);
    const pages = await service.metric(
        'headgate_poll_pages_total{feed="Patient"}');
    expect(pages <= 10, `${pages} rounds`);
    await service.exactly(tag, who.ids);
}

/* A port that nobody has, for an address that is told beforehand. */
/* With Subscriptions that the record is asked to take. */
async function subscribing(settings = {}) {
    const port = await freePort();
    const url = `http://127.0.0.1:${port}/hook`;
    const s = await scene(2, { 'http.port': port, 'record.subscribe': true,
        'record.hook_url': url, 'record.hook_token_file':
            suite.file('hook-secret'), ...settings });
    s.list = async () => (await searchAll(
        `${suite.record}/Subscription?_count=100`))
        .filter((x) => x.channel.endpoint === url);
    s.url = url;
    return s;
}

const until = (look, text) => untilSeen(look, Boolean, text);

function judged(list) {
    const checked = checkText(list.map((x) => JSON.stringify(x)).join('\n'));
    checked.forEach(({ name, found }) => printFindings(name, found));
    expect(checked.length === 2 && checked.every(({ found }) =>
        found.length === 0), `${checked.length} Subscriptions, or one that is `
        + 'not valid R4');
}

/* Two are made; after a restart, and a lost answer, there are still two. */
async function armed() {
    const s = await subscribing();
    let lose = 1;
    suite.peer.answer = (r) => (r.method === 'POST'
        && r.path === '/Subscription' && lose-- > 0 ? 'drop' : undefined);
    await s.service.start();
    const list = await until(async () => {
        const found = await s.list();
        return found.length >= 2 ? found : undefined;
    }, 'no Subscriptions were made');
    judged(list);
    const [observation, task] = ['Observation?', 'Task?identifier='
        + 'https://headgate.example/fhir/NamingSystem/task-key|']
        .map((criteria) => list.find((x) => x.criteria === criteria));
    expect(observation !== undefined && task !== undefined,
        JSON.stringify(list.map((x) => x.criteria)));
    expect(observation.channel.type === 'rest-hook'
        && observation.channel.payload === undefined
        && /^Bearer hook-secret$/.test((observation.channel.header?.[0] ?? '')
            .replace('Authorization: ', '')), JSON.stringify(observation));
    const days = (Date.parse(observation.end) - Date.now()) / 86400000;
    expect(days > 29 && days < 31, `it ends in ${days} days`);
    await s.service.stop();
    await s.service.start();
    await sleep(2500);
    expect((await s.list()).length === 2, 'more were made');
    const log = s.service.lastLines(100000).join('\n');
    expect(!log.includes('hook-secret'), 'the token is in the log');
    await s.service.stop();
}

/* The record gives one up, another is deleted, one has little time left. */
async function rearmed() {
    const s = await subscribing();
    await s.service.start();
    const list = await until(async () => {
        const found = await s.list();
        return found.length === 2 ? found : undefined;
    }, 'no Subscriptions were made');
    await s.service.stop();
    const [first, second] = list;
    await http('PUT', `${suite.record}/Subscription/${first.id}`,
        { ...first, status: 'off', end: new Date(Date.now() + 86400000)
            .toISOString() });
    await http('DELETE', `${suite.record}/Subscription/${second.id}`);
    await s.service.start();
    await until(async () => /calls for \w+: the record has given them up/.test(
        await s.service.text('/readyz')), '/readyz does not say it');
    const again = await until(async () => {
        const found = (await s.list()).filter((x) => x.status !== 'off');
        return found.length === 2 ? found : undefined;
    }, 'they were not asked for again');
    expect(again.some((x) => x.id === first.id),
        'the one that was given up was made twice');
    await s.service.stop();
}

async function armRefused() {
    const s = await subscribing();
    suite.peer.request = (r) => (r.path.startsWith('/Subscription')
        ? { status: 403, headers: {}, text: '' } : undefined);
    await s.service.start();
    await until(async () => /does not take the Subscription \(HTTP 403\)/.test(
        await s.service.text('/readyz')), '/readyz does not say it');
    await taken(s.service, 'POST', '');
    await s.service.until(s.who.ids, 'a poll goes on');
    await s.service.exactly(s.tag, s.who.ids);
}

/* A record that calls: new readings come without a poll of ours. */
async function called() {
    const s = await subscribing({ 'record.hook_payload': true });
    await s.service.start();
    await until(async () => await s.service.metric(
        'headgate_subscription_active{of="Observation"}') === 1,
    'the record did not take it up');
    await s.who.measure(3);
    await s.service.until(s.who.ids.slice(-3), 'after a call');
    expect(await s.service.metric('headgate_hook_calls_total') > 0,
        'the record did not call');
    await s.service.stop();
}

suite.run([
    ['Subscriptions are made, once', armed],
    ['Subscriptions are asked for again', rearmed],
    ['Subscriptions are refused', armRefused],
    /* the record of record.mjs does not call */
    ...(suite.other ? [['the record calls', called]] : []),
    ['an empty call', empty],
    ['PUT with the resource', () => withResource('PUT',
        (o) => `/Observation/${o.id}`)],
    ['POST with the resource', () => withResource('POST', () => '')],
    ['a call that comes late', late],
    ['notifications of R4', () => notified(r4)],
    ['notifications of R4B', () => notified(status('history', String))],
    ['notifications of R5', () => notified(status('subscription-notification',
        String))],
    ['notifications with numbers for counters', () => notified(
        status('subscription-notification', Number))],
    ['told by the id alone', idOnly],
    ['what was missed is asked for', missed],
    ['what is refused', refused],
    ['many calls at once', flood],
]);
