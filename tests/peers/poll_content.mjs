/*
 * What a poll brings: who is measured, what changes, what is taken back, what
 * was known here before.
 *
 *   node poll_content.mjs path/to/headgate [URL]
 *
 * URL as in poll.mjs.
 */

import { createServer } from 'node:http';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http } from './delivery_kit.mjs';
import { PollSuite } from './poll_kit.mjs';

const bench = new PollSuite();
const scene = (count, settings) => bench.scene(count, settings);

/* Who is measured was not changed lately: read by the id. */
async function byId() {
    const now = Date.now();
    const { tag, who, service } = await scene(0, { 'record.poll_from':
        new Date(now + 3000 - now % 1000).toISOString() });
    await sleep(4000);
    await who.measure(4);
    await service.start();
    await service.until(who.ids, 'readings');
    const end = Date.now() + 10000;
    while (!(await service.has('Patient', `${tag}-p`)
        && await service.has('BodyStructure', `${tag}-a`))) {
        expect(Date.now() < end, 'whom they speak of was not read');
        await sleep(50);
    }
    await service.exactly(tag, who.ids);
    const held = service.look((db) =>
        db.prepare('SELECT count(*) AS n FROM held').get().n);
    expect(held === 0, `${held} are held`);
}

/* A reference elsewhere is not followed. */
async function elsewhere() {
    const { who, service, tag } = await scene(0);
    const calls = [];
    const other = createServer((req, res) => {
        calls.push(req.url);
        res.end();
    });
    await new Promise((done) => other.listen(0, '127.0.0.1', done));
    await who.put(who.reading(0, 800, { subject: { reference:
        `http://127.0.0.1:${other.address().port}/fhir/Patient/p9` } }));
    await service.start();
    await service.until([`${tag}-o-0`], 'the reading');
    await service.rounds('Observation');
    other.close();
    expect(calls.length === 0, `it was asked: ${calls}`);
    await service.stop();
}

/* A history of deletions, for a record that has none of a whole type. */
function withHistory(gone) {
    bench.peer.answer = (r, a) => {
        if (r.path !== '/metadata')
            return;
        const type = a.body.rest[0].resource.find((t) =>
            t.type === 'Observation');
        type.interaction.push({ code: 'history-type' });
    };
    bench.peer.request = (r) => (r.path !== '/Observation/_history' ? undefined
        : { status: 200, headers: {}, body: { resourceType: 'Bundle',
            type: 'history', entry: gone.map(([id, at]) => ({
                request: { method: 'DELETE', url: `Observation/${id}` },
                response: { status: '204', lastModified: at } })) } });
}

/* What changes there changes here; what is taken back is withdrawn. */
async function changes() {
    const { tag, who, service } = await scene(6, { 'record.poll_deletes': 1 });
    const readings = (id) => service.look((db) => db.prepare('SELECT g.value, '
        + 'g.status FROM reading g JOIN resource r ON r.id = g.resource '
        + 'WHERE r.fid = ?').all(id));
    const deleted = [];
    if (!bench.other)
        withHistory(deleted);
    await service.start();
    await service.until(who.ids, 'readings');
    await who.put({ ...who.reading(1, 777), status: 'corrected' });
    await who.put({ ...who.reading(2, 902), status: 'entered-in-error' });
    const gone = await http('DELETE', `${bench.record}/Observation/${tag}-o-3`);
    expect(gone.status < 300, `DELETE: ${gone.status}`);
    deleted.push([`${tag}-o-3`, new Date().toISOString()]);
    /* taken back, and put right again */
    await who.put({ ...who.reading(4, 904), status: 'entered-in-error' });
    await service.untilMetric('headgate_poll_rows_total{feed='
        + '"Observation/_history",fate="taken"}', 1);
    await service.rounds('Observation');
    await who.put({ ...who.reading(4, 654), status: 'final' });
    await service.rounds('Observation', 3);
    await service.stop();
    const value = (id) => readings(id).filter((r) => r.status < 3)
        .map((r) => r.value).join();
    expect(value(`${tag}-o-1`) === '777', `corrected: ${value(`${tag}-o-1`)}`);
    expect(value(`${tag}-o-2`) === '', 'entered-in-error still counts');
    expect(value(`${tag}-o-3`) === '', 'deleted still counts');
    expect(value(`${tag}-o-4`) === '654', `again: ${value(`${tag}-o-4`)}`);
    expect(value(`${tag}-o-5`) === '905', 'another one changed');
}

/* Known here before, under another id: both names mean one person. */
async function knownBefore() {
    const { tag, who, service } = await scene(0, { 'record.poll': 0 });
    await service.start();
    const patient = who.patient();
    delete patient.id;
    const mine = await service.post(patient);
    await service.post({ ...who.reading(9, 950, {
        subject: { reference: `Patient/${mine}` } }), focus: undefined,
    id: undefined });
    await who.measure(2);
    expect((await http('POST', `${service.root()}/hook`)).status === 200,
        'the call was not taken');
    await service.until(who.ids, 'readings');
    await service.rounds('Patient', 0);
    await service.stop();
    const people = service.look((db) => db.prepare('SELECT count(*) AS n FROM '
        + 'patient').get().n);
    expect(people === 1, `${people} people instead of one`);
    const origin = service.look((db) => db.prepare('SELECT o.remote, r.fid '
        + 'FROM origin o JOIN resource r ON r.id = o.resource '
        + 'WHERE o.kind = 3').all());
    expect(origin.length === 1 && origin[0].remote === `${tag}-p`
        && origin[0].fid === mine, JSON.stringify(origin));
}

/* One that cannot be read does not stop the others, and is noted. */
async function oneBad() {
    const { tag, who, service } = await scene(7);
    bench.peer.answer = (r, a) => {
        for (const e of a.body?.entry ?? []) {
            if (e.resource.id === `${tag}-o-3`)
                e.resource.effectiveDateTime = '30 February';
        }
    };
    await service.start();
    const good = who.ids.filter((id) => id !== `${tag}-o-3`);
    await service.until(good, 'the others');
    await service.rounds('Observation', 3);
    await service.exactly(tag, good, { refused: 1 });
}

/* A poll that finds nothing new asks little and writes nothing. */
async function quiet() {
    const { tag, who, service } = await scene(12,
        { 'record.poll_overlap': 600 });
    await service.start();
    await service.until(who.ids, 'readings');
    await service.rounds('Observation');
    const fate = (word) => service.metric('headgate_poll_rows_total{'
        + `feed="Observation",fate="${word}"}`);
    const [came, taken] = [await fate('came'), await fate('taken')];
    await service.rounds('Observation', 8);
    expect(await fate('came') >= came + 12, 'nothing came again');
    expect(await fate('taken') === taken, 'what was known was taken again');
    await service.exactly(tag, who.ids);
}

/* The record is away in the middle of a window, as while it is restarted: it
 * takes no connection, and has forgotten its pages when it is back. */
async function away() {
    const { tag, who, service } = await scene(23);
    let back = 0;
    bench.peer.request = (r) => {
        if (r.path === '' && r.page === 2 && back === 0)
            back = Date.now() + 2500;
        if (Date.now() < back)
            return { status: 0, drop: true };
        return r.path === '' && r.atMs < back + 1000 && back > 0
            ? { status: 410, headers: {}, text: '' } : undefined;
    };
    await service.start();
    await service.until(who.ids, 'readings');
    expect(back > 0, 'it was not away');
    await service.exactly(tag, who.ids);
}

const SCENARIOS = [
    ['the record is restarted in the middle', away],
    ['an overlap costs no writes', quiet],
    ['who is measured is read by the id', byId],
    ['corrected, withdrawn, deleted, put right', changes],
    ['known here before', knownBefore],
    ['one that cannot be read', oneBad],
];

/* Another server may refuse a reference to another host itself. */
const HERE = [['a reference elsewhere is not followed', elsewhere]];

await bench.run([...SCENARIOS, ...(bench.other ? [] : HERE)]);
