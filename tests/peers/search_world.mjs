/*
 * A ward whose Tasks differ in everything that a search can ask for.
 *
 * headgate makes the Tasks from readings; then people change them, each in
 * another way.  Whatever headgate serves afterwards is the truth that both
 * sides of the comparison are asked about.
 */

import { Person } from './delivery_cases.mjs';
import { BASE, daysAgo, expectStatus, matches, OBS_SYSTEM, searchPages }
    from './endpoint_kit.mjs';

const WAYS = [['accepted'], ['rejected'], ['received', 'accepted',
    'in-progress'], ['accepted', 'completed'], ['cancelled'], [],
['received'], ['accepted', 'on-hold'], []];

export const OWNERS = ['Organization/ward-1', 'Practitioner/nurse-7',
    'https://staff.example/fhir/Practitioner/nurse-7', undefined];
const PRIORITIES = ['routine', 'urgent', 'asap', 'stat'];
const WARD = 'https://ward.example/status';

/* What a person writes into the i-th Task, besides its status. */
function remarks(task, i, all) {
    const start = new Date(Date.UTC(2026, i % 12, 1 + i % 28, 8));
    const end = new Date(start.getTime() + (1 + i % 5) * 86400000);
    return {
        lastModified: new Date(Date.now() + i * 60000).toISOString(),
        ...(i % 3 !== 0 && { priority: PRIORITIES[i % 4] }),
        ...(OWNERS[i % 4] && { owner: { reference: OWNERS[i % 4] } }),
        ...(i % 5 === 0 && { owner: { identifier: {
            system: 'https://staff.example/ids', value: `n-${i % 2}` } } }),
        ...(i % 2 === 0 && { businessStatus: { coding: [
            { system: WARD, code: `step-${i % 3}` },
            ...(i % 4 === 0 ? [{ code: 'local' }] : [])] } }),
        ...(i % 3 === 1 && { executionPeriod: {
            ...(i % 4 !== 3 && { start: start.toISOString() }),
            ...(i % 4 !== 1 && { end: end.toISOString() }) } }),
        ...(i % 7 === 0 && { restriction: undefined }),
        ...(i % 7 === 1 && { restriction: { repetitions: 1, period: {
            end: ['2026-12-24', '2027-01', '2027'][i % 3] } } }),
        ...(i > 3 && i % 6 === 0 && { partOf: [
            { reference: `Task/${all[0].id}` },
            { reference: `Task/${all[i - 1].id}` }] }),
        ...(i % 8 === 3 && { groupIdentifier: {
            system: 'https://ward.example/groups', value: `g-${i % 2}` } }),
    };
}

async function put(client, task, more) {
    const answer = await client.put('Task', { ...task, ...more });
    expectStatus(answer, 200, 'PUT of a Task');
    return answer.body;
}

/* Patients with a Task each, some with two. */
export async function buildWard({ client, tasksOf }, people, tag) {
    const ward = await Promise.all(Array.from({ length: people }, async (_, i) => {
        const person = new Person(client, `${tag}-${i}`);
        await person.firstReading(20 + i % 3);
        await person.secondReading(1);
        if (i % 4 === 0)
            await client.post(person.reading(0, 0, { valueQuantity: undefined,
                valueBoolean: true, code: { coding: [
                    { system: OBS_SYSTEM, code: 'hand-ulcer' }] } }));
        await tasksOf(person.patientId, i % 4 === 0 ? 2 : 1);
        return person;
    }));
    const tasks = matches(await searchPages(client, '/Task?_count=50'));
    for (const [i, task] of tasks.entries()) {
        let now = await put(client, task, remarks(task, i, tasks));
        for (const status of WAYS[i % WAYS.length])
            now = await put(client, now, { status });
    }
    return { ward, tasks: matches(await searchPages(client, '/Task')) };
}

export { BASE, daysAgo, WARD };
