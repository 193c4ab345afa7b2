/*
 * What people do with a Task at the record is seen and respected: accepted,
 * rejected, completed, deleted; also where the record does not search for it.
 *
 *   node poll_follow.mjs path/to/headgate [URL]
 *
 * The readings appear at the record and nowhere else; the service fetches
 * them, and puts the Task there.  URL as in poll.mjs.
 */

import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http, searchAll } from './delivery_kit.mjs';
import { PollSuite } from './poll_kit.mjs';
import { untilSeen } from './suite.mjs';

/* enum episode_state of planner/triage.h */
const STATE = { open: 1, taken: 2, declined: 3, done: 4, ended: 5, gone: 6 };
const END_MS = 15000;

const suite = new PollSuite();

async function scene(settings = {}) {
    const { tag, who, service } = await suite.scene(0, {
        'record.follow': 1, 'record.poll_overlap': 3, ...settings });
    await who.put(who.reading(28, 2100));
    await who.put(who.reading(1, 2050));
    await service.start();
    return { tag, who, service, task: await theTask(tag) };
}

async function tasksOf(tag) {
    const all = await searchAll(`${suite.record}/Task?_count=200`);
    return all.filter((t) => JSON.stringify(t).includes(`"A-${tag}"`)
        || JSON.stringify(t).includes(`BodyStructure/${tag}-a`));
}

const until = (look, text) => untilSeen(look, Boolean, text, END_MS);

function theTask(tag) {
    return until(async () => (await tasksOf(tag))[0], 'no Task arrived');
}

/* A person changes the Task at the record. */
async function change(task, changes) {
    const now = await http('GET', `${suite.record}/Task/${task.id}`);
    const answer = await http('PUT', `${suite.record}/Task/${task.id}`,
        { ...now.body, ...changes, lastModified: new Date().toISOString() },
        { 'If-Match': `W/"${now.body.meta.versionId}"` });
    expect(answer.status === 200, `PUT Task: ${answer.status} ${answer.text}`);
}

/* The service is stopped for a look at the state of what it put to people. */
async function stateOf({ service, tag }) {
    await service.stop();
    return service.look((db) => db.prepare('SELECT e.state FROM episode e '
        + 'JOIN access a ON a.id = e.access WHERE a.anchor LIKE ?')
        .all(`%${tag}%`).map((row) => row.state).join());
}

/* It is seen in so many seconds, and no second Task appears. */
async function becomes(s, state, seconds = 5) {
    await sleep(seconds * 1000);
    const tasks = await tasksOf(s.tag);
    expect(tasks.length <= 1, `${tasks.length} Tasks`);
    const found = await stateOf(s);
    expect(found === String(state), `state ${found}, not ${state}`);
    return tasks[0];
}

async function accepted() {
    const s = await scene();
    await change(s.task, { status: 'accepted' });
    const task = await becomes(s, STATE.taken);
    expect(task.status === 'accepted', `status ${task.status}`);
}

async function rejected() {
    const s = await scene();
    await change(s.task, { status: 'rejected',
        statusReason: { text: 'Seen in clinic last week' } });
    const task = await becomes(s, STATE.declined);
    expect(task.statusReason.text === 'Seen in clinic last week',
        'their reason was changed');
}

/* With output, which is theirs and stays. */
async function completed() {
    const s = await scene();
    const output = [{ type: { text: 'result' },
        valueString: 'Banded to 3.5 mm' }];
    await change(s.task, { status: 'completed', output });
    const task = await becomes(s, STATE.done);
    expect(JSON.stringify(task.output) === JSON.stringify(output),
        `output ${JSON.stringify(task.output)}`);
}

/* A correction at the record withdraws the Task there. */
async function corrected() {
    const s = await scene();
    await s.who.put({ ...s.who.reading(1, 1100), status: 'corrected' });
    await until(async () => (await tasksOf(s.tag))[0].status === 'cancelled',
        'the Task was not withdrawn');
    expect((await tasksOf(s.tag)).length === 1, 'more than one Task');
    expect(await stateOf(s) === String(STATE.ended), 'not ended');
}

/* What refers to a Task may keep it from being deleted. */
async function forget(type, query) {
    for (const found of await searchAll(`${suite.record}/${type}?${query}`))
        await http('DELETE', `${suite.record}/${type}/${found.id}`);
}

/* A search does not show it; the recheck does. */
async function deleted() {
    const s = await scene({ 'record.recheck': 60 });
    /* headgate has heard that it is there, and nothing is on its way */
    await until(async () => {
        const metrics = await s.service.text('/metrics');
        return /resources\{state="waiting"\} 0\n/.test(metrics)
            && /resources\{state="after-task"\} 0\n/.test(metrics);
    }, 'something is still to be sent');
    await forget('Provenance', `target=Task/${s.task.id}`);
    const gone = await http('DELETE', `${suite.record}/Task/${s.task.id}`);
    expect(gone.status < 300, `DELETE: ${gone.status}`);
    await s.service.stop();
    /* as if an hour had passed since it was last looked at */
    const old = Date.now() - 3600000;
    s.service.change((db) => {
        db.prepare('UPDATE followed SET looked_ms = ?').run(old);
        db.prepare('UPDATE resource SET updated_ms = ? WHERE kind = 4')
            .run(old);
    });
    await s.service.start();
    await becomes(s, STATE.gone);
}

/* The record refuses the search: each is read by its id. */
async function oneByOne() {
    const s = await scene();
    suite.peer.request = (r) => (r.path === '/Task' && r.method === 'GET'
        && r.params.has('_lastUpdated') ? { status: 400, headers: {},
            body: { resourceType: 'OperationOutcome', issue: [{
                severity: 'error', code: 'not-supported' }] } } : undefined);
    await until(async () => /read by its id/.test(
        await s.service.text('/readyz')), '/readyz does not say it');
    await change(s.task, { status: 'accepted' });
    await becomes(s, STATE.taken);
}

/* The record answers the search, and finds nothing of what is there. */
async function blind() {
    const s = await scene();
    suite.peer.answer = (r, a) => {
        if (r.path === '/Task' && r.params.has('_lastUpdated') && a.body)
            delete a.body.entry;
    };
    /* what was written five seconds ago is to be found */
    const end = Date.now() + 30000;
    await s.who.put(s.who.reading(0, 2075));
    while (!/read by its id/.test(await s.service.text('/readyz'))) {
        expect(Date.now() < end, 'it does not notice');
        await sleep(200);
    }
    await change(s.task, { status: 'accepted' });
    await becomes(s, STATE.taken);
}

suite.run([
    ['accepted', accepted],
    ['rejected with a reason', rejected],
    ['completed with output', completed],
    ['corrected', corrected],
    ['deleted', deleted],
    ['the search is refused', oneByOne],
    ['the search finds nothing', blind],
]);
