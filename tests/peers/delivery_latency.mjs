/*
 * Time from the POST that completes the rule to the Task's arrival at the
 * record, beside the floor: the same client POSTs such a Task straight to the
 * record.  The two alternate, so that both meet the same machine.  Reported,
 * never asserted: it is a measurement of this machine, not of the code alone.
 */

import { randomUUID } from 'node:crypto';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http } from './delivery_kit.mjs';
import { Person } from './delivery_cases.mjs';

const REPETITIONS = 200;
const AT_ONCE = 20;
const QUIET_MS = 5;       /* so that the question is there before the Task */
const KEY_SYSTEM = 'https://site.example/ids/floor';

function nowMs() {
    return Number(process.hrtime.bigint()) / 1e6;
}

async function prepare(service) {
    const people = [];
    for (let n = 0; n < REPETITIONS; n += AT_ONCE) {
        const group = Array.from({ length: AT_ONCE }, (_, at) =>
            new Person(service, `time-${String(n + at).padStart(3, '0')}`));
        await Promise.all(group.map((person) => person.firstReading()));
        people.push(...group);
    }
    return people;
}

/* Sends by the given function; resolves with the ms until a Task arrives. */
async function timed(record, since, send) {
    const arrival = record.wait(since, 'arrived');
    await sleep(QUIET_MS);
    const began = nowMs();
    const [entry] = await Promise.all([arrival, send()]);
    expect(entry !== null, 'no Task arrived within 10 s');
    expect(entry.monotonicMs >= began, 'a Task arrived before it was due');
    return { ms: entry.monotonicMs - began, next: entry.seq + 1 };
}

function floorTask(model) {
    const value = randomUUID();
    const identifier = { system: KEY_SYSTEM, value };
    return { ...model, description: 'Floor', for: { identifier },
        focus: { identifier }, identifier: [identifier] };
}

function postFloor(record, task) {
    const { system, value } = task.identifier[0];
    return http('POST', `${record.url}/Task`, task, { 'If-None-Exist':
        `identifier=${encodeURIComponent(`${system}|${value}`)}` });
}

function quantile(values, share) {
    const sorted = [...values].sort((a, b) => a - b);
    return sorted[Math.min(sorted.length - 1,
        Math.ceil(share * sorted.length) - 1)];
}

function report(service, floor) {
    const line = (name, values) => `${name} p50 ${
        quantile(values, 0.5).toFixed(2)} ms, p99 ${
        quantile(values, 0.99).toFixed(2)} ms`;
    const ratio = (share) =>
        (quantile(service, share) / quantile(floor, share)).toFixed(1);
    console.log(`time to Task over ${service.length} repetitions: `
        + `${line('service', service)}; ${line('floor', floor)}; `
        + `ratio p50 ${ratio(0.5)}, p99 ${ratio(0.99)}`);
}

/* model: a Task as the service writes it.  Resolves with the people used. */
export async function measureLatency(record, service, model) {
    const people = await prepare(service);
    const throughService = [];
    const straight = [];
    let since = await record.end();
    for (const person of people) {
        const served = await timed(record, since, () => person.secondReading());
        const task = floorTask(model);
        const floor = await timed(record, served.next,
            () => postFloor(record, task));
        throughService.push(served.ms);
        straight.push(floor.ms);
        since = floor.next;
    }
    report(throughService, straight);
    return people;
}
