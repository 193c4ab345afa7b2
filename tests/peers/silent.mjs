/*
 * Silent mode, and its end: nothing reaches anybody while it lasts, and what
 * holds reaches the record once when it is over, whenever the service dies.
 *
 *   node silent.mjs path/to/headgate
 */

import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { Record, Service, expect, http, searchAll, stopChild }
    from './delivery_kit.mjs';
import { Suite, untilSeen } from './suite.mjs';
import { Person } from './delivery_cases.mjs';
import { checkText, printFindings } from './validate.mjs';

const ARRIVE_MS = 10000;
const SETTLE_MS = 800; /* longer than outbox.retry_last */

const bench = new Suite();

const root = () => bench.service.root();
const get = (path) => http('GET', `${root()}${path}`);

const until = (isSo, text) => untilSeen(isSo, Boolean, text, ARRIVE_MS);

/* What was decided about a person's access, as objects. */
async function decisions(person) {
    const { status, text } = await get('/decisions?json');
    expect(status === 200, `/decisions: ${status}`);
    return text.split('\n').filter((line) => line !== '').map(JSON.parse)
        .filter((row) => row.access.includes(person.access));
}

async function shown() {
    return searchAll(`${bench.service.url}/Task?_count=500`);
}

async function arrived(person) {
    const all = await searchAll(`${bench.record.url}/Task?_count=500`);
    return all.filter((task) => person.isIn(task));
}

async function startSilent(tag) {
    const folder = join(bench.tmp, tag);
    mkdirSync(folder);
    bench.service = new Service(bench.binary, folder, bench.record.url);
    bench.loud = bench.service.args;
    bench.service.args = [...bench.loud, '--set', 'service.silent=true'];
    await bench.service.start();
}

async function found(tag) {
    await startSilent(tag);
    const person = new Person(bench.service, tag);
    await person.firstReading();
    await person.secondReading();
    await until(async () => (await decisions(person)).length > 0,
        'the suggestion is not kept');
    return person;
}

async function goLive() {
    await stopChild(bench.service.child);
    bench.service.args = bench.loud;
    await bench.service.start();
}

/* ---- while it lasts ------------------------------------------------------- */

async function hidden(id) {
    const task = { resourceType: 'Task', id, status: 'accepted',
        intent: 'proposal' };
    const url = `${bench.service.url}/Task`;
    for (const [method, path, body] of [['GET', `/${id}`],
        ['GET', `/${id}/_history`], ['GET', `/${id}/_history/1`],
        ['PUT', `/${id}`, task]]) {
        const { status } = await http(method, `${url}${path}`, body);
        expect(status === 404, `${method} ${path}: ${status}`);
    }
    for (const query of ['', `?_id=${id}`, '?status=requested', '?_count=0']) {
        const { body } = await http('GET', `${url}${query}`);
        expect(body.total === 0 && !body.entry?.some(
            (entry) => entry.search?.mode === 'match'), `Task${query} is shown`);
    }
}

async function nothingIsPosted() {
    const before = await bench.record.end();
    const person = await found('quiet');
    const [row, ...others] = await decisions(person);
    expect(others.length === 0, `${others.length} decisions too many`);
    expect(row.act === 'opened' && row.silent === true
        && /^\S+ \(\d{4}-\d\d-\d\d, .+\)$/.test(row.policy),
    `decision ${JSON.stringify(row)}`);
    await hidden(row.task);
    await sleep(SETTLE_MS);
    const asked = (await bench.record.log(before)).length;
    expect(asked === 0, `${asked} requests to the record`);
}

async function whatPeopleSee() {
    const person = await found('seen');
    const { text: ready } = await get('/readyz');
    expect(/silent/.test(ready), `/readyz says ${ready}`);
    expect(/^headgate_silent 1$/m.test((await get('/metrics')).text),
        'the metrics do not say so');
    const { text: table } = await get('/queue?table');
    expect(table.indexOf('SILENT MODE') >= 0
        && table.indexOf('SILENT MODE') < table.indexOf(person.mrn),
    `the queue does not begin with it:\n${table}`);
    const { body } = await get('/queue');
    expect(body.silent === true, 'a row of the queue does not say so');
    const { status, text } = await get(`/review?access=${person.access}`);
    expect(status === 200 && /HF-1/.test(text) && /not\s+posted/.test(text),
        `review: ${status} ${text}`);
}

async function questionsThatMeanNothing() {
    await found('asked');
    for (const [path, want] of [['/review', 400], ['/review?access=', 400],
        ['/review?access=nobody', 404], ['/decisions?since=soon', 400],
        ['/decisions?since=2026-02-30', 400],
        [`/review?access=${'x'.repeat(300)}`, 400]]) {
        const { status } = await get(path);
        expect(status === want, `${path}: ${status}`);
    }
    const { text } = await get('/decisions?since=2199-01-01');
    expect(text.includes('\nheadgate decided nothing.\n'), text);
}

/* ---- its end -------------------------------------------------------------- */

async function oneArrived(person, silentId) {
    await until(async () => (await arrived(person)).length > 0,
        'nothing has come to the record');
    await sleep(SETTLE_MS);
    const tasks = await arrived(person);
    expect(tasks.length === 1 && tasks[0].status === 'requested',
        `${tasks.length} Tasks: ${tasks.map((task) => task.status)}`);
    const here = await shown();
    expect(here.length === 1, `${here.length} Tasks are shown here`);
    expect(here[0].id !== silentId, 'the one that was silent is shown');
    const checked = checkText(JSON.stringify(here[0]));
    checked.forEach(({ name, found: wrong }) => printFindings(name, wrong));
    expect(checked.length === 1 && checked[0].found.length === 0,
        'the Task is not valid');
}

async function whatHoldsIsPosted() {
    const person = await found('live');
    const [{ task }] = await decisions(person);
    await goLive();
    await oneArrived(person, task);
    const acts = (await decisions(person)).map((row) =>
        `${row.act} ${row.number} ${row.silent ? 'silent' : 'posted'}`);
    expect(acts.join() === 'opened 1 silent,ended 1 silent,opened 2 posted',
        `decisions: ${acts}`);
    expect((await http('GET', `${bench.service.url}/Task/${task}`)).status
        === 404, 'the one that was silent is served');
}

/* It dies at any moment of its first seconds without silent mode. */
async function whatHoldsIsPostedOnce() {
    const person = await found('killed');
    const [{ task }] = await decisions(person);
    await goLive();
    for (const ms of [0, 2, 5, 10, 20, 40]) {
        await sleep(ms);
        await bench.service.killAndStart();
    }
    await oneArrived(person, task);
}

const CASES = [
    ['nothing is posted while it lasts', nothingIsPosted],
    ['the site sees what is kept', whatPeopleSee],
    ['questions that mean nothing', questionsThatMeanNothing],
    ['what holds is posted when it ends', whatHoldsIsPosted],
    ['once, whenever the service dies', whatHoldsIsPostedOnce],
];

bench.after = () => stopChild(bench.service.child);
await bench.main(async () => {
    bench.record = await Record.start(bench.tmp);
    await bench.each(CASES);
});
