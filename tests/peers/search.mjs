/*
 * headgate's search against an independent server, and against itself.
 *
 *   node search.mjs path/to/headgate
 *
 * The same Tasks, Patients and accesses are in headgate and in the record peer
 * (record.mjs, whose search is that of @medplum/fhir-router), and both have to
 * find the same ids for the same query.  Where they differ on purpose stands
 * in ON_PURPOSE, with the section of R4 that headgate goes by; there the
 * answer is compared with what that section says.
 */

import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http, Record } from './delivery_kit.mjs';
import { Client, Endpoint, expectSame, expectStatus, matches, searchPages }
    from './endpoint_kit.mjs';
import { buildWard } from './search_world.mjs';
import { encode, onPurpose, queries, sorts } from './search_queries.mjs';
import { pageCases } from './search_pages.mjs';
import { Suite } from './suite.mjs';

const PEOPLE = 24;
const ARRIVE_MS = 20000;
const bench = Object.assign(new Suite(), { tasksOf });

async function tasksOf(patient, count) {
    const query = `/Task?patient=${encodeURIComponent(patient)}`;
    for (const end = Date.now() + ARRIVE_MS;; await sleep(50)) {
        const tasks = matches(await searchPages(bench.client, query));
        if (tasks.length >= count)
            return tasks;
        expect(Date.now() < end, `${tasks.length} Tasks of ${count}`);
    }
}

/* The peer takes no meta but its own. */
async function copy({ client, record }, type) {
    const found = matches(await searchPages(client, `/${type}?_count=200`));
    for (const resource of found) {
        const answer = await http('PUT', `${record.url}/${type}/${resource.id}`,
            { ...resource, meta: undefined });
        expect(answer.status === 201, `PUT to the peer: ${answer.text}`);
    }
    return found;
}

async function peerIds({ record }, query) {
    const ids = [];
    for (let url = `${record.url}/${query}`; url !== undefined;) {
        const answer = await http('GET', url);
        expect(answer.status === 200, `peer: ${query}: ${answer.text}`);
        ids.push(...matches([answer.body]).map((r) => r.id));
        url = answer.body.link.find((l) => l.relation === 'next')?.url;
    }
    return ids;
}

async function ownIds({ client }, query) {
    const pages = await searchPages(client, `/${query}`);
    const ids = matches(pages).map((r) => r.id);
    for (const page of pages)
        expectSame(page.total, ids.length, `total: ${query}`);
    return ids;
}

async function same(all) {
    const list = queries(all);
    const wrong = [];
    let found = 0;
    for (const query of list) {
        const [ours, theirs] = [await ownIds(bench, encode(query)),
            await peerIds(bench, encode(query))].map((ids) => ids.sort());
        found += ours.length > 0 ? 1 : 0;
        if (JSON.stringify(ours) !== JSON.stringify(theirs))
            wrong.push(`${query}: ${ours.length} here, ${theirs.length} there`);
    }
    expectSame(wrong, [], 'queries that differ');
    console.log(`  ${list.length} queries, ${found} of which find something`);
    expect(found > list.length / 2, 'most queries find something');
}

async function differing(all) {
    for (const [query, isWanted, type = 'Task'] of onPurpose(all)) {
        const want = all[type].filter(isWanted).map((r) => r.id).sort();
        expectSame((await ownIds(bench, encode(query))).sort(), want, query);
    }
}

/* Sorted answers, by the values of the resources themselves. */
async function sorted(all) {
    for (const [query, keys] of sorts) {
        for (const count of [3, 50]) {
            const found = matches(await searchPages(bench.client,
                `/${encode(`${query}&_count=${count}`)}`));
            expectSame(found.length, all.Task.length, query);
            for (let i = 1; i < found.length; i++)
                expectOrder(keys, found[i - 1], found[i], query);
        }
    }
}

function expectOrder(keys, before, after, query) {
    for (const [value, down] of keys) {
        const [a, b] = [value(before), value(after)];
        if (a === b)
            continue;
        expect(down ? a > b : a < b, `${query}: ${a} before ${b}`);
        return;
    }
}

await bench.main(async () => {
    bench.record = await Record.start(bench.tmp);
    bench.service = new Endpoint(bench.binary, bench.tmp);
    await bench.service.start();
    bench.client = new Client(bench.service.url);
    const { ward } = await buildWard(bench, PEOPLE, 'search');
    const all = { ward };
    for (const type of ['Patient', 'BodyStructure', 'Observation', 'Task'])
        all[type] = await copy(bench, type);
    await bench.each([['the same is found as by the peer', () => same(all)],
        ['what differs on purpose', () => differing(all)],
        ['sorted', () => sorted(all)]]);
    bench.all = all;
    await bench.each(pageCases);
    expectStatus(await bench.client.ops('/readyz'), 200, 'readyz');
});
