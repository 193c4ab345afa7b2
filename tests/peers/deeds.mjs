/*
 * A coordinator's deeds: suggestions taken, handed over, put off, declined and
 * done, by the command line and by HTTP, as they are read here and at a
 * clinical record; and two accesses that are one.
 *
 *   node deeds.mjs path/to/headgate [PART-OF-A-NAME]
 *
 * The Tasks are read by an independent client (fhir-kit-client) and checked
 * against R4 by validate.mjs.  The record is the server in memory of
 * record.mjs, behind its faults.  What a deed does to a Task is our own rule:
 * it is checked against the words of `headgate task --help`; that requested
 * does not become completed at once is R4's state machine of Task.
 */

import { createHash } from 'node:crypto';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { Client } from 'fhir-kit-client';
import { Service, expect, http, searchAll } from './delivery_kit.mjs';
import { Suite, untilSeen as until } from './suite.mjs';
import { Person } from './delivery_cases.mjs';
import { checkText, printFindings } from './validate.mjs';

const BASE = 'https://headgate.example/fhir';
const SETTLE_MS = 1200; /* longer than a retry, and than a turn of follow */
const DAY_MS = 24 * 3600 * 1000;
/* Who acts; must be in no log. */
const NURSE = 'Zz Nurse', DOCTOR = 'Zz Doctor', OTHER = 'Zz Other';

const bench = new Suite({ wholeMs: 300000 });
const root = () => bench.service.root();
const START_MS = Date.now(); /* one day for a whole run */
const inDays = (n) => new Date(START_MS + n * DAY_MS).toISOString()
    .slice(0, 10);

/* ---- Tasks, here and there ------------------------------------------------------ */

function valid(task) {
    for (const { name, found } of checkText(JSON.stringify(task))) {
        printFindings(name, found);
        expect(found.length === 0, `Task/${task.id} is not R4`);
    }
    return task;
}

/* Found by the client's own search, which writes the query. */
async function here(person, status) {
    const bundle = await new Client({ baseUrl: bench.service.url }).search({
        resourceType: 'Task', searchParams: { _count: 200,
            ...(status && { status }) } });
    const own = (bundle.entry ?? []).map((entry) => entry.resource)
        .filter((task) => person.isIn(task));
    return own.map(valid);
}

async function there(person) {
    const all = await searchAll(`${bench.record.url}/Task?_count=500`);
    return all.filter((task) => person.isIn(task));
}

async function thereIs(person, isWanted, text) {
    const [task] = await until(() => there(person),
        (tasks) => tasks.length === 1 && isWanted(tasks[0]), text);
    return valid(task);
}

async function oneHere(person) {
    const tasks = await here(person);
    expect(tasks.length === 1, `${tasks.length} Tasks here`);
    return tasks[0];
}

const notes = (task) => (task.note ?? []).map((note) => note.text);
const business = (task) => task.businessStatus?.coding?.[0]?.code;
const says = (task, text) => notes(task).filter((n) => n === text).length;

async function suggested(tag) {
    const person = await new Person(bench.service, tag).bothReadings();
    await thereIs(person, (task) => task.status === 'requested', 'a Task there');
    return person;
}

async function queue(person) {
    const said = await bench.service.command('queue', '--json');
    return said.out.split('\n').filter(Boolean).map((line) => JSON.parse(line))
        .filter((row) => row.patient_number === person.mrn);
}

/* ---- by hand -------------------------------------------------------------------- */

const task = (...words) => bench.service.command('task', ...words);

async function done(...words) {
    const said = await task(...words);
    expect(said.status === 0, `${words.join(' ')}: ${said.status} ${said.err}`);
    return said.out;
}

async function refused(status, pattern, ...words) {
    const said = await task(...words);
    expect(said.status === status && pattern.test(said.err),
        `${words.join(' ')}: ${said.status} ${said.out}${said.err}`);
}

/* Somebody at the record. */
async function atTheRecord(person, change) {
    const [now] = await there(person);
    const url = `${bench.record.url}/Task/${now.id}`;
    const answer = await http('PUT', url, { ...now, ...change(now) },
        { 'If-Match': `W/"${now.meta.versionId}"` });
    expect(answer.status === 200, `PUT ${url}: ${answer.status}`);
}

/* Something is done here, and changed there while headgate reads the Task at
 * the record: before that is answered from what was there, or after. */
async function meanwhile(person, after, deed, change) {
    const [{ id }] = await there(person);
    await sleep(SETTLE_MS); /* it has been looked at there since it was made */
    const since = await bench.record.end();
    await bench.record.fault({ match: { method: 'GET', path: `/Task/${id}` },
        kind: 'delay', ms: 1500, after });
    await deed();
    await sleep(500);
    await atTheRecord(person, change);
    /* what was read first is outdated: If-Match, or the status that the patch
     * tests, is not met, once */
    await until(() => bench.record.log(since), (log) => log.some((e) =>
        e.method === 'PATCH' && e.path.startsWith(`/Task/${id}`)
        && (e.status !== 200) === after), 'it was sent');
}

const cases = {
    async 'taken: accepted with an owner and a note, here and at the record'() {
        const person = await suggested('take');
        await done('take', person.access, '--by', NURSE, '--why', 'on my round');
        const own = await oneHere(person);
        expect(own.status === 'accepted' && own.owner.display === NURSE
            && business(own) === undefined, JSON.stringify(own.owner));
        const note = own.note.at(-1);
        expect(note.authorString === NURSE && note.text
            === 'Taken in hand: on my round' && Math.abs(Date.parse(note.time)
            - Date.now()) < 60000, JSON.stringify(note));
        const [row] = await queue(person);
        expect(row.state === 'taken' && row.owner === NURSE,
            JSON.stringify(row));
        const far = await thereIs(person, (t) => t.status === 'accepted',
            'accepted there');
        expect(far.owner?.display === NURSE && says(far, note.text) === 1,
            JSON.stringify(far.owner));
        expect((await here(person, 'accepted')).length === 1
            && (await here(person, 'requested')).length === 0, 'found by status');
        const history = await http('GET',
            `${bench.service.url}/Task/${own.id}/_history`);
        expect(history.body.entry.length === Number(own.meta.versionId),
            'a version that is not in its history');
        await refused(1, /Zz Nurse has it in hand/, 'take', own.id, '--by',
            DOCTOR);
        for (const words of [['done'], ['hand', '--whom', OTHER]])
            await refused(1, /Zz Nurse has it in hand: say why/, words[0],
                own.id, '--by', DOCTOR, ...words.slice(1));
        for (const named of [[], ['--over', OTHER]])
            await refused(1, named.length === 0 ? /name whom you overrule/
                : /Zz Nurse has it in hand, and --over names Zz Other/,
            'decline', own.id, '--by', DOCTOR, '--why', 'examined anew',
            ...named);
        await refused(2, /--over goes with/, 'take', own.id, '--by', DOCTOR,
            '--over', NURSE);
        const over = await done('decline', own.id, '--by', DOCTOR, '--why',
            'examined anew', '--over', NURSE.toLowerCase());
        expect(over.includes(`${NURSE} had it in hand.`)
            && over.includes(person.mrn), over);
        await thereIs(person, (t) => t.status === 'rejected' && says(t,
            `Declined: examined anew  ${NURSE} had it in hand.`) === 1,
        'declined there');
    },

    async 'taken, handed on: it waits again, here and at the record'() {
        const person = await suggested('waits');
        await done('take', person.access, '--by', NURSE);
        await thereIs(person, (t) => t.status === 'accepted', 'accepted there');
        await done('hand', person.access, '--by', NURSE, '--whom', DOCTOR);
        const far = await thereIs(person, (t) => t.owner?.display === DOCTOR,
            'handed on there');
        expect(far.status === 'accepted' && business(far) === 'awaiting-review',
            JSON.stringify(far.businessStatus));
        const [row] = await queue(person);
        expect(row.state === 'open' && row.owner === DOCTOR,
            JSON.stringify(row));
        const seen = await bench.service.command('queue', '--access',
            person.access);
        expect(seen.out.includes(`Handed to: ${DOCTOR}, not yet taken`),
            seen.out);
        await done('take', person.access, '--by', DOCTOR);
        const [taken] = await queue(person);
        expect(taken.state === 'taken' && taken.owner === DOCTOR,
            JSON.stringify(taken));
        await thereIs(person, (t) => business(t) === undefined
            && t.status === 'accepted', 'taken there');
        await sleep(SETTLE_MS);
        /* handed over there: the owner alone is changed */
        await atTheRecord(person, () => ({ owner: { display: OTHER } }));
        await until(() => queue(person), ([r]) => r?.state === 'open'
            && r.owner === OTHER, 'handed over at the record');
        /* and seen to there */
        await atTheRecord(person, () => ({ status: 'in-progress' }));
        await until(() => queue(person), ([r]) => r?.state === 'taken'
            && r.owner === OTHER, 'begun at the record');
    },

    async 'two take it at the same moment: one has it, the others are told who'() {
        const names = [NURSE, DOCTOR, OTHER, 'Zz Fourth', 'Zz Fifth'];
        const person = await suggested('race');
        const said = await Promise.all(names.map((name) =>
            task('take', person.access, '--by', name)));
        const won = said.filter((s) => s.status === 0);
        expect(won.length === 1, said.map((s) => s.out + s.err).join('; '));
        const winner = names[said.indexOf(won[0])];
        for (const lost of said.filter((s) => s.status !== 0))
            expect(lost.status === 1
                && lost.err.includes(`${winner} has it in hand`), lost.err);
        const own = await oneHere(person);
        expect(own.owner.display === winner && says(own, 'Taken in hand.') === 1,
            notes(own).join('; '));
        const far = await thereIs(person, (t) => t.status === 'accepted',
            'accepted there');
        expect(far.owner.display === winner, far.owner.display);
    },

    async 'taken here and at the record at the same moment: one has it'() {
        for (const after of [false, true]) {
            const person = await suggested(`rivals-${after}`);
            await meanwhile(person, after,
                () => done('take', person.access, '--by', NURSE),
                () => ({ status: 'accepted', owner: { display: DOCTOR } }));
            /* the record's word stands; it was taken there, not handed over */
            const [row] = await until(() => queue(person),
                ([r]) => r?.owner === DOCTOR, 'followed');
            expect(row.state === 'taken', JSON.stringify(row));
            const far = await thereIs(person, (t) => t.owner?.display === DOCTOR
                && says(t, 'Taken in hand.') === 1, 'their word, and our note');
            expect(far.status === 'accepted', far.status);
            await refused(1, /Zz Doctor has it in hand/, 'take', person.access,
                '--by', NURSE);
            const seen = await bench.service.command('queue', '--access',
                person.access);
            expect(seen.out.includes(`In hand: ${DOCTOR}`), seen.out);
        }
    },

    async 'names that cannot be read, or turn what follows, get no further'() {
        const person = await suggested('names');
        const post = (by, more = '') => http('POST', `${root()}/task?act=take`
            + `&task=${person.access}&by=${by}${more}`);
        for (const by of ['X%FF%FE', 'X%C0%AF', '%ED%A0%80']) {
            const answer = await post(by);
            expect(answer.status === 400 && /not UTF-8/.test(answer.text),
                `${answer.status} ${answer.text}`);
        }
        /* and the command says why, too */
        await refused(1, /answered 400: by names who decides/, 'take',
            person.access, '--by', '');
        /* U+202E, U+2066, U+200B, ESC and a line feed */
        const answer = await post(
            'Zz%20%E2%80%AENu%E2%81%A6r%E2%80%8Bse%1B%0A', '&why=a%0Ab%E2%80%AE');
        expect(answer.status === 200
            && answer.text.startsWith(`${NURSE} has it in hand.\n`)
            && !/[\u202e\u2066\u200b\u001b]/u.test(answer.text), answer.text);
        expect(says(await oneHere(person), 'Taken in hand: a b') === 1,
            notes(await oneHere(person)).join('; '));
    },

    async 'taken, then done: the record follows each step'() {
        const person = await suggested('done');
        await done('take', person.access, '--by', NURSE);
        await thereIs(person, (t) => t.status === 'accepted', 'accepted there');
        await done('done', person.access, '--by', NURSE, '--why', 'scan booked');
        const far = await thereIs(person, (t) => t.status === 'completed',
            'completed there');
        expect(says(far, 'Done: scan booked') === 1, 'its note');
        await sleep(SETTLE_MS);
        expect((await oneHere(person)).status === 'completed', 'it stays so');
        expect((await queue(person)).length === 0, 'it left the queue');
    },

    async 'done at once: by way of accepted'() {
        const person = await suggested('atonce');
        await done('done', person.access, '--by', NURSE);
        const own = await oneHere(person);
        const history = await http('GET',
            `${bench.service.url}/Task/${own.id}/_history`);
        const steps = history.body.entry.map((e) => e.resource.status);
        expect(steps[0] === 'completed' && steps[1] === 'accepted',
            steps.join());
        await thereIs(person, (t) => t.status === 'completed', 'there');
    },

    async 'handed on twice: the last owner is at the record, and stays'() {
        const person = await suggested('hand');
        await done('hand', person.access, '--by', NURSE, '--whom', DOCTOR);
        await thereIs(person, (t) => t.owner?.display === DOCTOR, 'first');
        await done('hand', person.access, '--by', DOCTOR, '--whom', OTHER,
            '--why', 'on leave');
        const far = await thereIs(person, (t) => t.owner?.display === OTHER,
            'second');
        expect(far.status === 'requested' && business(far) === 'awaiting-review',
            far.status);
        const before = (await oneHere(person)).meta.versionId;
        await bench.service.post(person.reading(2080, 0));
        await until(() => oneHere(person), (t) => t.meta.versionId !== before,
            'the reading is added');
        await sleep(SETTLE_MS);
        for (const t of [await oneHere(person), ...await there(person)])
            expect(t.owner?.display === OTHER && says(t,
                `Handed to ${OTHER}: on leave`) === 1, JSON.stringify(t.owner));
        const [row] = await queue(person);
        expect(row.state === 'open' && row.owner === OTHER, JSON.stringify(row));
    },

    async 'handed over, and its ground goes away: withdrawn'() {
        const person = await suggested('ground');
        await done('hand', person.access, '--by', NURSE, '--whom', DOCTOR);
        await bench.service.post({ ...person.second,
            status: 'entered-in-error' });
        const far = await thereIs(person, (t) => t.status === 'cancelled',
            'withdrawn there');
        expect(says(far, `Handed to ${DOCTOR}.`) === 1, notes(far).join());
    },

    async 'put off: shown so everywhere, kept by a new reading, taken at last'() {
        const person = await suggested('putoff');
        const day = inDays(20);
        await done('put-off', person.access, '--by', NURSE, '--until', day,
            '--why', 'away');
        const [row] = await queue(person);
        expect(row.state === 'put-off' && row.put_off_until === day
            && row.put_off_by === NURSE, JSON.stringify(row));
        await thereIs(person, (t) => business(t) === 'put-off', 'put off there');
        const before = (await oneHere(person)).meta.versionId;
        await bench.service.post(person.reading(2080, 0));
        await until(() => oneHere(person), (t) => t.meta.versionId !== before,
            'the reading is added');
        await sleep(SETTLE_MS);
        for (const t of [await oneHere(person), ...await there(person)])
            expect(business(t) === 'put-off' && t.status === 'requested'
                && says(t, `Put off until ${day}: away`) === 1,
            JSON.stringify(t.businessStatus));
        await atTheRecord(person, () => ({ status: 'accepted',
            owner: { display: DOCTOR }, businessStatus: undefined }));
        await until(() => queue(person), ([r]) => r?.state === 'taken'
            && r.owner === DOCTOR, 'taken by the record\'s person');
        const own = await oneHere(person);
        expect(own.status === 'accepted' && own.owner?.display === DOCTOR,
            JSON.stringify(own.owner));
        /* and handed on from here: newer than what the record had */
        await refused(1, /Zz Doctor has it in hand: say why/, 'hand', own.id,
            '--by', NURSE, '--whom', OTHER);
        await done('hand', own.id, '--by', NURSE, '--whom', OTHER, '--why',
            'rang, is away', '--over', DOCTOR);
        await thereIs(person, (t) => t.owner?.display === OTHER
            && t.status === 'accepted', 'handed on there');
    },

    async 'declined: the reason is read here, there and in the digest'() {
        const person = await suggested('decline');
        await refused(2, /--why/, 'decline', person.access, '--by', NURSE);
        await done('decline', person.access, '--by', NURSE, '--why',
            'measured through a catheter');
        const far = await thereIs(person, (t) => t.status === 'rejected',
            'rejected there');
        expect(far.statusReason?.text === 'measured through a catheter'
            && business(far) === undefined, JSON.stringify(far.statusReason));
        await bench.service.post(person.reading(2090, 0));
        await sleep(SETTLE_MS);
        expect((await here(person)).length === 1, 'it is quiet');
        const digest = await bench.service.command('queue', '--digest');
        expect(digest.out.includes('measured through a catheter'), digest.out);
    },

    async 'answers get lost: nothing is done twice, nothing is undone'() {
        const person = await suggested('lost');
        for (const method of ['PATCH', 'PUT'])
            await bench.record.fault({ match: { method, path: '/Task*' },
                kind: 'drop-after-commit', times: 1 });
        await done('take', person.access, '--by', NURSE);
        await done('done', person.access, '--by', NURSE, '--why', 'seen');
        await thereIs(person, (t) => t.status === 'completed', 'completed');
        await bench.record.clearFaults();
        await sleep(SETTLE_MS);
        const far = await thereIs(person, (t) => t.status === 'completed', 'it');
        expect(says(far, 'Done: seen') === 1 && says(far, 'Taken in hand.') === 1,
            notes(far).join('; '));
        expect((await oneHere(person)).status === 'completed', 'here too');
    },

    async 'at the same time: other things are changed, and both are kept'() {
        for (const after of [false, true]) {
            const person = await suggested(`both-${after}`);
            await meanwhile(person, after,
                () => done('take', person.access, '--by', NURSE),
                (now) => ({ note: [...now.note, { authorString: DOCTOR,
                    text: 'I rang the unit' }] }));
            const far = await thereIs(person, (t) => t.status === 'accepted',
                'accepted');
            expect(says(far, 'I rang the unit') === 1
                && says(far, 'Taken in hand.') === 1
                && far.owner.display === NURSE, notes(far).join('; '));
        }
    },

    async 'at the same time: the same is changed, and the record\'s word stands'() {
        for (const after of [false, true]) {
            const person = await suggested(`clash-${after}`);
            await meanwhile(person, after, () => done('decline', person.access,
                '--by', NURSE, '--why', 'known'),
            () => ({ status: 'accepted', owner: { display: DOCTOR } }));
            const far = await thereIs(person, (t) => says(t, 'Declined: known')
                === 1, 'the note of what was declined');
            const own = await until(() => oneHere(person),
                (t) => t.status === 'accepted', 'followed');
            expect(far.status === 'accepted' && own.owner.display === DOCTOR
                && far.owner.display === DOCTOR
                && says(own, 'Declined: known') === 1, notes(far).join('; '));
            const [row] = await queue(person);
            expect(row.state === 'taken' && row.owner === DOCTOR,
                JSON.stringify(row));
        }
    },

    async 'kill -9 after each answer: each deed is there, once'() {
        const person = await suggested('kill');
        await done('put-off', person.access, '--by', NURSE, '--until', inDays(9));
        await bench.service.killAndStart();
        expect(business(await oneHere(person)) === 'put-off', 'put off');
        await done('take', person.access, '--by', NURSE);
        await bench.service.killAndStart();
        const own = await oneHere(person);
        expect(own.status === 'accepted' && business(own) === undefined,
            own.status);
        const far = await thereIs(person, (t) => t.status === 'accepted',
            'accepted there');
        await sleep(SETTLE_MS);
        expect(says(far, 'Taken in hand.') === 1
            && says(far, `Put off until ${inDays(9)}.`) === 1
            && business(far) === undefined, notes(far).join('; '));
    },

    async 'what is to be seen at once cannot be put off; what is wrong is said'() {
        const person = await new Person(bench.service, 'stat').arrive();
        await bench.service.post({ ...person.reading(1, 0),
            valueQuantity: undefined,
            code: { coding: [{ system: `${BASE}/CodeSystem/av-observation`,
                code: 'hand-symptom' }] },
            valueCodeableConcept: { coding: [{
                system: `${BASE}/CodeSystem/av-observation`,
                code: 'hand-ulcer' }] }, method: undefined });
        const [stat] = await until(() => here(person), (t) => t.length === 1,
            'a Task');
        expect(stat.priority === 'stat', stat.priority);
        await refused(1, /seen at once.*Phone/, 'put-off', stat.id, '--by', NURSE,
            '--until', inDays(3));
        await refused(1, /not a day to come/, 'put-off', (await suggested('day'))
            .access, '--by', NURSE, '--until', '2020-01-01');
        await refused(1, /no access has this name/, 'take', 'nobody', '--by',
            NURSE);
        await refused(1, /say what was done/, 'done', stat.id, '--by', NURSE);
        await refused(1, /too far away/, 'put-off', (await suggested('far'))
            .access, '--by', NURSE, '--until', inDays(200), '--why', 'x');
        await refused(2, /--by/, 'take', stat.id);
        await refused(2, /--whom/, 'hand', stat.id, '--by', NURSE);
        await refused(2, /--until goes with/, 'take', stat.id, '--by', NURSE,
            '--until', inDays(3));
        await refused(2, /the word is/, 'keep', stat.id, '--by', NURSE);
        expect((await oneHere(person)).meta.versionId === stat.meta.versionId,
            'nothing was changed by what was refused');
        /* two are open: they are listed */
        await bench.service.post(person.reading(2100, 28));
        await bench.service.post(person.reading(2050, 0));
        await until(() => here(person), (t) => t.length === 2, 'two Tasks');
        await refused(1, new RegExp(`name one by its id(.|\n)*${stat.id}`),
            'take', person.access, '--by', NURSE);
        const json = JSON.parse(await done('take', stat.id, '--by', NURSE,
            '--json'));
        expect(json.done === true && json.task === stat.id && json.text
            && json.about.includes(person.mrn), JSON.stringify(json));
    },

    async 'by HTTP, with a token that may'() {
        const person = await suggested('http');
        const [{ id }] = await here(person);
        const words = new URLSearchParams({ act: 'take', task: id, by: NURSE });
        const answers = await withTokens(async (url) => [
            await http('POST', `${url}/task?${words}`),
            await http('POST', `${url}/task?${words}`, undefined,
                { Authorization: 'Bearer looks' }),
            await http('POST', `${url}/task?${words}`, undefined,
                { Authorization: 'Bearer coordinates' }),
            await http('POST', `${url}/task`, { act: 'done', task: id, by: NURSE,
                why: 'seen' }, { Authorization: 'Bearer coordinates',
                'Content-Type': 'application/json' }),
            await http('POST', `${url}/task?act=take&task=${id}`, undefined,
                { Authorization: 'Bearer coordinates' }),
            await http('POST', `${url}/access?act=merge`, undefined,
                { Authorization: 'Bearer coordinates' }),
        ]);
        expect(answers.map((a) => a.status).join() === '401,403,200,200,400,403',
            answers.map((a) => `${a.status} ${a.text}`).join('\n'));
        expect(/headgate\/task\.u/.test(answers[1].text), answers[1].text);
        expect(answers[3].body.done === true, answers[3].text);
        expect((await oneHere(person)).status === 'completed', 'done');
    },

    async 'two accesses that are one: a run over both confirms'() {
        const person = await new Person(bench.service, 'merge').arrive();
        await bench.service.post(person.reading(2100, 28, { focus: [{
            reference: `BodyStructure/misspelt-${person.tag}` }] }));
        await bench.service.post(person.reading(2050, 0));
        await sleep(SETTLE_MS);
        expect((await here(person)).length === 0, 'neither confirms alone');
        const listed = await bench.service.command('access', 'list', person.mrn,
            '--json');
        const rows = listed.out.split('\n').filter(Boolean)
            .map((line) => JSON.parse(line));
        const named = rows.find((r) => r.kind === 'named');
        const real = rows.find((r) => r.kind === 'body-structure');
        expect(rows.length === 2 && named.readings === 1 && real.readings === 1,
            listed.out);
        const access = (...words) => bench.service.command('access', ...words);
        const bare = await access('merge', `${named.number}`, person.access);
        expect(bare.status === 2 && /cannot be undone/.test(bare.err), bare.err);
        const back = await access('merge', person.access, `${named.number}`,
            '--by', NURSE, '--why', 'x');
        expect(back.status === 1 && /Less is known/.test(back.err), back.err);
        const merged = await access('merge', `${named.number}`, person.access,
            '--by', NURSE, '--why', 'a slip of the unit');
        expect(merged.status === 0 && /1 reading/.test(merged.out),
            merged.out + merged.err);
        await thereIs(person, (t) => t.status === 'requested'
            && JSON.stringify(t).includes('2100'), 'suggested over both');
        await bench.service.killAndStart();
        const again = await access('merge', `${named.number}`, person.access,
            '--by', NURSE, '--why', 'x');
        expect(again.status === 1 && /merged/.test(again.err), again.err);
        const left = await access('list', person.mrn);
        expect(/2 readings/.test(left.out) && !/misspelt/.test(left.out),
            left.out);
        const nobody = await access('list', 'nobody');
        expect(nobody.status === 1, `${nobody.status}`);
    },

    async 'in silent mode there is nothing to act on'() {
        const folder = join(bench.tmp, 'silent');
        mkdirSync(folder);
        const loud = bench.service;
        const silent = new Service(bench.binary, folder, bench.record.url,
            { 'service.silent': true });
        await silent.start();
        bench.service = silent;
        try {
            const person = await new Person(silent, 'silent').bothReadings();
            const [row] = await until(() => queue(person), (r) => r.length === 1,
                'a row');
            for (const name of [row.task, person.access].filter(Boolean))
                await refused(1, /silent mode|Nothing is open/, 'take', name,
                    '--by', NURSE);
            expect((await there(person)).length === 0, 'nothing was posted');
        } finally {
            bench.service = loud;
        }
    },

    async 'no name of who acted is in the log'() {
        const log = readFileSync(bench.service.log, 'utf8');
        expect(log.includes('task.person') && !log.includes('Zz '),
            'a name is in the log');
    },
};

/* The service again, on the same store, for those with a token. */
async function withTokens(use) {
    const file = join(bench.tmp, 'tokens');
    const line = (name, scope) => `${name} ${createHash('sha256').update(name)
        .digest('hex')} ${scope}\n`;
    writeFileSync(file, line('looks', 'system/Task.rs')
        + line('coordinates', 'system/Task.rs headgate/task.u'));
    const open = bench.service.args;
    bench.service.args = [...open, '--set', `http.tokens=${file}`,
        '--set', 'http.anonymous=false'];
    await bench.service.killAndStart();
    try {
        return await use(root());
    } finally {
        bench.service.args = open;
        await bench.service.killAndStart();
    }
}

await bench.main(async () => {
    await bench.atRecord({ 'record.follow': 1, 'site.zone': 'UTC' });
    await bench.each(cases);
});
