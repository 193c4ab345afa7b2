/*
 * The quarantine from outside: what is unclear goes in by HTTP, a person works
 * it off by the command line, and what that is worth is seen in the Tasks that
 * the review makes.
 *
 *   node quarantine.mjs path/to/headgate
 *
 * Facts from outside: which unit texts are UCUM is asked of @lhncbc/ucum-lhc;
 * Tasks are checked against R4 by validate.mjs; the numbers of ISO weeks come
 * from this machine's date(1).  Which reason holds what, and what a person may
 * settle, is our own rule: it is checked against the words of README.md and of
 * `headgate quarantine --help`.
 */

import { spawnSync } from 'node:child_process';
import { mkdirSync, readFileSync, readdirSync, rmSync } from 'node:fs';
import { request } from 'node:http';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import ucum from '@lhncbc/ucum-lhc';
import { Service, expect, http, searchAll, stopChild }
    from './delivery_kit.mjs';
import { Suite } from './suite.mjs';
import { checkText, printFindings } from './validate.mjs';

const BASE = 'https://headgate.example/fhir';
const OBS = `${BASE}/CodeSystem/av-observation`;
const UCUM = 'http://unitsofmeasure.org';
const MACHINE = 'urn:example:machine';
const DAY_MS = 24 * 3600 * 1000;
const ARRIVE_MS = 15000;
/* Of a patient, in everything that is sent: must be in no log, metric or
 * report. */
const SECRET = 'Zzyzx';

const bench = new Suite({ wholeMs: 300000 });
const root = () => bench.service.root();

/* ---- people and their readings ------------------------------------------ */

class Person {
    constructor(tag) {
        this.tag = tag;
        this.patient = { resourceType: 'Patient', id: `p-${tag}`,
            identifier: [{ system: 'urn:oid:2.999.1.1',
                value: `${SECRET}-${tag}` }],
            name: [{ family: SECRET, given: [`Given${tag}`] }],
            managingOrganization: { display: `Unit ${tag}` } };
        this.taken = 0;
    }

    access(name = 'a', side = 'Left') {
        return { resourceType: 'BodyStructure', id: `${this.tag}-${name}`,
            identifier: [{ system: 'https://site.example/ids/access',
                value: `A-${this.tag}-${name}` }],
            active: true,
            morphology: { coding: [{ code: 'avf',
                system: `${BASE}/CodeSystem/av-access-type` }] },
            location: { text: `${side} upper arm` },
            patient: { reference: `Patient/${this.patient.id}` } };
    }

    /* A flow, two of which above the limit of 2000 mL/min make a referral
     * (rule HF-1 of config/policy.ini). */
    flow(daysAgo, more = {}) {
        return { resourceType: 'Observation', id: `${this.tag}-${++this.taken}`,
            status: 'final',
            code: { coding: [{ system: OBS, code: 'access-flow' }] },
            subject: { reference: `Patient/${this.patient.id}` },
            effectiveDateTime: new Date(Date.now() - daysAgo * DAY_MS)
                .toISOString(),
            valueQuantity: { value: 2400, unit: 'mL/min', system: UCUM,
                code: 'mL/min' }, ...more };
    }

    /* A feed: what is unclear is held, not refused. */
    async feed(...resources) {
        const answer = await http('POST', bench.service.url, {
            resourceType: 'Bundle', type: 'collection',
            entry: resources.map((resource) => ({ resource })) });
        expect(answer.status === 200, `collection: ${answer.text}`);
        return answer.body.entry.map((entry) => entry.response.status
            .slice(0, 3));
    }

    async tasks() {
        const all = await searchAll(`${bench.service.url}/Task?_count=100`);
        return all.filter((task) => JSON.stringify(task)
            .includes(`${SECRET}-${this.tag}"`) || JSON.stringify(task)
            .includes(`Patient/p-${this.tag}"`));
    }

    async referred(code) {
        let tasks = [];
        for (const end = Date.now() + ARRIVE_MS; tasks.length === 0;
            await sleep(50)) {
            expect(Date.now() < end, `no ${code} for ${this.tag}`);
            tasks = (await this.tasks()).filter((task) => task.status
                === 'requested' && task.code.coding.some((c) => c.code
                === code));
        }
        expect(tasks.length === 1, `${tasks.length} ${code}`);
        for (const task of tasks) {
            const checked = checkText(JSON.stringify(task));
            checked.forEach(({ name, found }) => printFindings(name, found));
            expect(checked.length === 1 && checked[0].found.length === 0,
                `Task/${task.id} is not R4`);
        }
        return tasks[0];
    }
}

async function arrive(tag, ...accesses) {
    const person = new Person(tag);
    const answers = await person.feed(person.patient,
        ...(accesses.length > 0 ? accesses : [['a', 'Left']])
            .map(([name, side]) => person.access(name, side)));
    expect(answers.every((status) => status < '300'), answers.join());
    return person;
}

/* ---- a person at the command line --------------------------------------- */

const list = async (...more) => {
    const said = await bench.service.command('quarantine', '--json', ...more);
    expect(said.status === 0, said.err);
    return said.out.split('\n').filter(Boolean).map((line) => JSON.parse(line));
};

async function held(person, reason) {
    const rows = (await list()).filter((row) =>
        row.patient_number === `${SECRET}-${person.tag}`);
    if (reason !== undefined)
        expect(rows.length > 0 && rows.every((row) => row.reason === reason),
            `${reason} expected: ${JSON.stringify(rows)}`);
    return rows;
}

const act = (...words) => bench.service.command('quarantine', ...words,
    '--by', 'A Nurse', '--why', 'the unit was asked');

async function done(...words) {
    const said = await act(...words);
    expect(said.status === 0, `${words.join(' ')}: ${said.err}`);
    return said.out;
}

async function refused(pattern, ...words) {
    const said = await act(...words);
    expect(said.status === 1 && pattern.test(said.err),
        `${words.join(' ')}: ${said.status} ${said.out}${said.err}`);
    return said.err;
}

const count = (readings) => Number(/(\d+) settled/.exec(readings)?.[1]);

/* ---- the scenarios ------------------------------------------------------ */

const cases = {
    async 'unit: a word that is no UCUM is mapped once, for all and for ever'() {
        const utils = ucum.UcumLhcUtils.getInstance();
        expect(utils.validateUnitString('mL/min').status === 'valid'
            && utils.validateUnitString('mls a minute').status !== 'valid',
        'the library knows better');
        const person = await arrive('unit');
        const odd = { valueQuantity: { value: 2400, unit: 'mls a minute' } };
        await person.feed(person.flow(9, odd), person.flow(2, odd));
        const rows = await held(person, 'unit');
        expect(rows.length === 2 && rows[0].number < rows[1].number
            && rows[0].mend.includes(`map ${rows[0].number} --unit`),
        'two, the oldest first, with what mends them');
        await refused(/'mls' is no unit of UCUM/, 'map', `${rows[0].number}`, '--unit',
            'mls');
        expect(count(await done('map', `${rows[0].number}`, '--unit',
            'mL/min')) === 2, 'both are settled');
        await person.referred('refer-flow-review');
        await person.feed(person.flow(1, odd));
        expect((await held(person)).length === 0, 'the next is read by it');
    },

    async 'code: a local code is mapped; earlier and later readings count'() {
        const person = await arrive('code');
        const local = { code: { coding: [{ system: MACHINE, code: 'QB-7' }] } };
        await person.feed(person.flow(9, local), person.flow(2, local));
        expect((await held(person)).length === 0, 'unknown is not held');
        const text = (await bench.service.command('quarantine')).out;
        const number = /2 times urn:example:machine\|QB-7, such as (\d+)/
            .exec(text)?.[1];
        expect(number !== undefined, text);
        await refused(/code|target/, 'map', number, '--target', 'nonsense');
        expect(count(await done('map', number, '--target', 'access-flow'))
            === 2, 'both are settled');
        await person.referred('refer-flow-review');
        await person.feed(person.flow(1, local));
        const shown = await http('GET', `${root()}/review?access=A-code-a`);
        expect(shown.text.includes('2400'), shown.text);
    },

    async 'a wrong mapping is taken back: the Task it made goes with it'() {
        const person = await arrive('wrong');
        const pump = { code: { coding: [{ system: MACHINE, code: 'QP-1' }] } };
        await person.feed(person.flow(9, pump), person.flow(2, pump));
        const text = (await bench.service.command('quarantine')).out;
        const [, number] = /QP-1, such as (\d+)/.exec(text);
        await done('map', number, '--target', 'access-flow');
        const task = await person.referred('refer-flow-review');
        const maps = async () => (await bench.service.command('quarantine',
            'maps', '--json')).out.split('\n').filter(Boolean)
            .map((line) => JSON.parse(line));
        const mine = (await maps()).find((m) => m.code === 'QP-1');
        expect(mine?.by === 'A Nurse' && mine.taken_back === null
            && mine.target === 'access-flow', JSON.stringify(mine));
        const bare = await bench.service.command('quarantine', 'unmap',
            `${mine.number}`);
        expect(bare.status === 2 && /--by/.test(bare.err), bare.err);
        const said = await done('unmap', `${mine.number}`);
        expect(/2 less is used now/.test(said), said);
        for (const end = Date.now() + ARRIVE_MS; ; await sleep(50)) {
            const now = (await person.tasks()).find((t) => t.id === task.id);
            if (now.status === 'cancelled')
                break;
            expect(Date.now() < end, `the Task is ${now.status}`);
        }
        await refused(/taken back already/, 'unmap', `${mine.number}`);
        const gone = (await maps()).find((m) => m.code === 'QP-1');
        expect(gone.taken_back?.by === 'A Nurse' && gone.taken_back.lost === 2,
            JSON.stringify(gone));
        await stopChild(bench.service.child);
        await bench.service.start();
        await person.feed(person.flow(1, pump));
        expect(/3 times urn:example:machine\|QP-1/.test((await bench.service
            .command('quarantine')).out), 'a start knows that it is gone');
    },

    async 'implausible: only a person\'s word lets it in'() {
        const person = await arrive('value');
        const odd = { valueQuantity: { value: 8600, system: UCUM,
            code: 'mL/min' } };
        await person.feed(person.flow(9, odd), person.flow(2, odd));
        const rows = await held(person, 'implausible');
        await refused(/stays held.*\n.*--as-sent/, 'release',
            `${rows[0].number}`);
        for (const row of rows)
            await done('release', `${row.number}`, '--as-sent');
        await person.referred('refer-flow-review');
        await refused(/Nothing of|No value/, 'release', `${rows[0].number}`,
            '--as-sent');
        const shown = await bench.service.command('quarantine', 'show',
            `${rows[0].number}`);
        expect(/A Nurse released as it was sent - the unit was asked/
            .test(shown.out) && shown.out.includes('8600'), shown.out);
    },

    async 'codes that no map has: those of signs first, and none is dropped'() {
        const person = await arrive('many');
        const local = (system, code) => ({ coding: [{ system, code }] });
        await person.feed(...Array.from({ length: 60 }, (_, n) =>
            person.flow(3, { code: local('urn:example:many', `M${n >> 1}`) })));
        await person.feed({ ...person.flow(1),
            code: local(OBS, 'hand-symptom'), valueQuantity: undefined,
            valueCodeableConcept: local('urn:example:many', 'ZZWEAK') });
        const text = (await bench.service.command('quarantine')).out;
        const lines = text.split('\n').filter((l) => / times .*\|/.test(l));
        expect(lines.length === 20 && lines[0].includes('ZZWEAK')
            && lines[0].includes('A SIGN THAT NOBODY CAN READ'), text);
        const all = (await list()).filter((r) => r.kind === 'unmapped');
        const more = / and (\d+) more codes/.exec(text);
        expect(more !== null && Number(more[1]) === all.length - 20
            && all.length >= 31, `${more} of ${all.length}`);
        expect(all[0].code === 'ZZWEAK' && all[0].sign === true
            && all.filter((r) => r.system === 'urn:example:many').length === 31
            && all.find((r) => r.code === 'M7').count === 2,
        JSON.stringify(all));
    },

    async 'side: a sign on the wrong side is put right, and is urgent'() {
        const person = await arrive('side');
        const [status] = await person.feed({ ...person.flow(0.1),
            valueQuantity: undefined,
            code: { coding: [{ system: OBS, code: 'hand-symptom' }] },
            bodySite: { text: 'right hand' },
            focus: [{ reference: 'BodyStructure/side-a' }],
            valueCodeableConcept: { coding: [{ system: OBS,
                code: 'motor-weakness' }] } });
        expect(status === '201', status);
        const [row] = await held(person, 'side');
        expect(row.emergency, 'it is a sign of emergency');
        const queue = (await bench.service.command('queue')).out;
        expect(/could not be placed/.test(queue), 'at the top of the queue');
        await done('map', `${row.number}`, '--side', 'left');
        const task = await person.referred('refer-hand-review');
        expect(task.priority === 'stat', task.priority);
    },

    async 'access: of two, a person says which; a correction stays there'() {
        const person = await arrive('access', ['a', 'Left'], ['b', 'Right']);
        const first = person.flow(9), second = person.flow(2);
        await person.feed(first, second);
        const rows = await held(person, 'access');
        await refused(/no access of this name/, 'map', `${rows[0].number}`,
            '--access', 'A-unit-a');
        await done('map', `${rows[0].number}`, '--access', 'A-access-b');
        await done('map', `${rows[1].number}`, '--access', 'access-b');
        const task = await person.referred('refer-flow-review');
        expect(JSON.stringify(task).includes('access-b'), 'of the other one');
        await person.feed({ ...second, status: 'corrected',
            valueQuantity: { ...second.valueQuantity, value: 900 } });
        expect((await held(person)).length === 0, 'a correction is not held');
    },

    async 'time: what lies ahead waits for its time'() {
        const person = await arrive('time');
        await person.feed(person.flow(9), person.flow(-(3600 + 6) / 86400));
        const [row] = await held(person, 'time');
        await refused(/once that time has come/, 'release', `${row.number}`);
        await sleep(7000); /* an hour of slack is left to clocks */
        await done('release', 'all', '--reason', 'time');
        expect((await held(person)).length === 0, 'it has come');
        await person.referred('refer-flow-review');
    },

    async 'a discard is not used, and comes back only corrected'() {
        const person = await arrive('never');
        const odd = person.flow(2, { valueQuantity: { value: 9900,
            system: UCUM, code: 'mL/min' } });
        await person.feed(odd);
        const [row] = await held(person, 'implausible');
        const bare = await bench.service.command('quarantine', 'discard',
            `${row.number}`);
        expect(bare.status === 2 && /--by/.test(bare.err), bare.err);
        await done('discard', `${row.number}`);
        await person.feed(odd);
        expect((await held(person)).length === 0, 'it came back');
        await person.feed({ ...odd, status: 'corrected',
            valueQuantity: { ...odd.valueQuantity, value: 9800 } });
        await held(person, 'implausible');
        expect((await person.tasks()).length === 0, 'nothing was said of it');
        await refused(/No(thing)? .*number 999999999/, 'discard', '999999999');
    },

    async 'a message of HL7 v2 waits whole, and is released or discarded'() {
        const message = (id, code, value) => [
            `MSH|^~\\&|MACHINE|UNIT|HEADGATE||20261125080000+0000||`
            + `ORU^R01^ORU_R01|${id}|P|2.5.1|||NE|AL||UNICODE UTF-8`,
            `PID|1||${SECRET}-hl7^^^^MR||${SECRET}^Given`,
            'OBR|1||F1|S^Session^L|||20261124080000+0000|||||||||||||||'
            + '|||F',
            `OBX|1|NM|${code}^Flow^L||${value}|mL/min^^UCUM|||||F|||`
            + '20261124080000+0000', ''].join('\r');
        expect(/MSA\|AE/.test(await sendV2(message('B1', 'access-flow',
            'lots'))), 'bad content is answered AE, and kept');
        const rows = (await list()).filter((row) => row.kind
            === 'quarantined');
        expect(rows.length === 1 && rows[0].what === 'HL7 v2 message'
            && /OBX/.test(rows[0].place), JSON.stringify(rows));
        const shown = await bench.service.command('quarantine', 'show',
            `${rows[0].number}`);
        expect(shown.out.includes('OBX|1|NM|access-flow'), shown.out);
        const metrics = (await http('GET', `${root()}/metrics`)).text;
        expect(/headgate_quarantine_open\{reason="[a-z-]+"\} 1/
            .test(metrics), 'it is counted');
        await refused(/stays in quarantine.*OBX/, 'release',
            `${rows[0].number}`);
        await done('discard', `${rows[0].number}`);
        expect((await list()).every((row) => row.kind !== 'quarantined'),
            'it is done with');
        expect(/MSA\|A[AE]/.test(await sendV2(message('B1', 'access-flow',
            'lots'))), 'the same again');
        expect((await list()).every((row) => row.kind !== 'quarantined'),
            'it did not come back');
    },

    async 'a message that its sender\'s settings make readable is released'() {
        const text = Buffer.from(['MSH|^~\\&|LATIN|UNIT|HEADGATE||'
            + '20261125080000+0000||ORU^R01^ORU_R01|L1|P|2.5.1|||NE|AL',
        `PID|1||${SECRET}-latin^^^^MR||${SECRET}^R\u00e9n`,
        'OBR|1||F2|S^Session^L|||20261124080000+0000|||||||||||||||'
            + '|||F',
        'OBX|1|NM|access-flow^Flow^L||2300|mL/min^d\u00e9bit^UCUM|||||F|||'
            + '20261124080000+0000', ''].join('\r'), 'latin1');
        expect(/MSA\|AE/.test(await sendV2(text)), 'no ASCII');
        const [row] = (await list()).filter((r) => r.kind === 'quarantined');
        await refused(/stays in quarantine.*OBX/, 'release', `${row.number}`);
        const settings = bench.service.settings;
        const args = bench.service.args;
        await stopChild(bench.service.child);
        const more = ['--set', 'sender any.charset=8859/1'];
        bench.service.settings = [...settings, ...more];
        bench.service.args = [...args, ...more];
        await bench.service.start();
        await done('release', `${row.number}`);
        expect((await list()).every((r) => r.kind !== 'quarantined'),
            'it is done with');
        expect(/MSA\|AA/.test(await sendV2(text)), 'the next is read at once');
        await stopChild(bench.service.child);
        bench.service.settings = settings;
        bench.service.args = args;
        await bench.service.start();
    },

    async 'what is decided is decided on the machine of the service'() {
        const outside = await http('POST',
            `${root()}/quarantine/1/discard?by=x&why=y`);
        expect(outside.status === 405, `${outside.status}`);
        expect((await http('GET', `${root()}/quarantine/no`)).status === 404
            && (await http('GET', `${root()}/quarantine/1/2/3`)).status
            === 404, 'nothing there');
        const local = await overSocket('/quarantine/999999/release',
            { by: 'A Nurse', why: 'a look' });
        expect(local.status === 404 && local.body.done === false
            && /999999/.test(local.body.text), JSON.stringify(local));
        for (const wrong of [{ by: 'A Nurse' }, { by: ' ', why: 'y' },
            { by: 'n', why: 'y', bogus: '1' }, ['x']])
            expect((await overSocket('/quarantine/1/release', wrong)).status
                === 400, JSON.stringify(wrong));
    },

    async 'a start keeps mappings and decisions'() {
        const person = new Person('code'), never = new Person('never');
        await stopChild(bench.service.child);
        await bench.service.start();
        person.taken = 50;
        const local = { code: { coding: [{ system: MACHINE, code: 'QB-7' }] } };
        await person.feed(person.flow(0.5, local));
        const text = (await bench.service.command('quarantine')).out;
        expect(!text.includes('QB-7'), 'it is known still');
        await held(never, 'implausible');
    },

    async 'killed in the middle of a mapping, it is finished'() {
        const person = await arrive('kill');
        const local = { code: { coding: [{ system: MACHINE, code: 'K-1' }] } };
        for (let i = 0; i < 12; i++)
            await person.feed(...Array.from({ length: 100 }, () =>
                person.flow(120 - i * 10 - Math.random() / 24, local)));
        const text = (await bench.service.command('quarantine')).out;
        const number = /1200 times urn:example:machine\|K-1, such as (\d+)/
            .exec(text)?.[1];
        expect(number !== undefined, text);
        const said = act('map', number, '--target', 'access-flow');
        await sleep(Number(process.env.KILL_MS ?? 400));
        await bench.service.killAndStart();
        await said;
        for (const end = Date.now() + ARRIVE_MS; ; await sleep(100)) {
            const now = (await bench.service.command('quarantine')).out;
            const left = /(\d+) times urn:example:machine\|K-1/.exec(now)?.[1];
            if (left === undefined)
                break;
            if (left === '1200') /* it died before it had heard of it */
                await done('map', number, '--target', 'access-flow');
            expect(Date.now() < end, `${left} are left`);
        }
        await person.referred('refer-flow-review');
        expect((await held(person)).length === 0, 'nothing is held');
    },

    async 'the report says what a unit can mend, and names nobody'() {
        await http('POST', `${bench.service.url}/Observation`,
            { resourceType: 'Observation' });
        await stopChild(bench.service.child);
        await bench.service.start();
        const said = await bench.service.command('report', '--json');
        const rows = said.out.split('\n').filter(Boolean).map((l) =>
            JSON.parse(l));
        const week = spawnSync('date', ['-u', '+%G-W%V'],
            { encoding: 'utf8' }).stdout.trim();
        expect(rows.every((row) => row.week === week), week);
        const of = (unit, cls, reason) => rows.find((row) => row.unit === unit
            && row.class === cls && (reason === undefined
                || row.reason === reason));
        expect(of('Unit unit', 'held', 'unit')?.count === 2
            && of('Unit access', 'held', 'access')?.count === 2
            && of('Unit code', 'unknown-code')?.what
            === 'urn:example:machine|QB-7'
            && rows.some((row) => row.class === 'refused'
                && row.reason === 'missing-element'), said.out);
        const page = await bench.service.command('report', '--unit',
            'Unit unit');
        expect(/To mend it: send the unit/.test(page.out)
            && !page.out.includes('Unit access'), page.out);
        expect(!said.out.includes(SECRET) && !page.out.includes(SECRET),
            'a patient is named');
        const wrong = await bench.service.command('report', '--week',
            '2026-W60');
        expect(wrong.status === 2, 'there is no such week');
    },

    async 'the page of the week before is written, whole and once'() {
        const folder = join(bench.tmp, 'pages');
        mkdirSync(folder);
        await stopChild(bench.service.child);
        const { DatabaseSync } = await import('node:sqlite');
        const db = new DatabaseSync(join(bench.tmp, 'hg.db'));
        db.exec('UPDATE tally SET week = week - 7; '
            + 'DELETE FROM meta WHERE k = \'report_week\'');
        db.close();
        const args = bench.service.args;
        bench.service.args = [...args, '--set', `report.folder=${folder}`,
            '--set', 'report.weekday=1', '--set', 'report.hour=0'];
        await bench.service.start();
        let files = [];
        for (const end = Date.now() + ARRIVE_MS; files.length === 0;
            await sleep(100)) {
            expect(Date.now() < end, 'no page');
            files = readdirSync(folder).filter((f) => f.endsWith('.txt'));
        }
        await sleep(500);
        files = readdirSync(folder);
        const before = spawnSync('date', ['-u', '-d', '7 days ago',
            '+%G-W%V'], { encoding: 'utf8' }).stdout.trim();
        expect(files.every((f) => f.startsWith(`${before}-`)
            && f.endsWith('.txt')), files.join());
        expect(files.some((f) => f.includes('Unit_unit')), files.join());
        for (const f of files)
            expect(!readFileSync(join(folder, f), 'utf8').includes(SECRET), f);
        for (const f of files)
            rmSync(join(folder, f));
        await stopChild(bench.service.child);
        await bench.service.start();
        await sleep(1000);
        expect(readdirSync(folder).length === 0, 'it is written once');
        bench.service.args = args;
    },

    async 'no patient is in the log or the metrics'() {
        const metrics = (await http('GET', `${root()}/metrics`)).text;
        expect(!metrics.includes(SECRET), 'in the metrics');
        expect(/headgate_held_open\{reason="implausible"\} \d/.test(metrics)
            && /headgate_held_oldest_seconds\{reason="implausible"\} \d/
                .test(metrics), 'held ones are counted');
        expect(!readFileSync(bench.service.log, 'utf8').includes(SECRET),
            'in the log');
    },
};

/* A message of HL7 v2 by HTTP; its answer. */
function sendV2(text) {
    return new Promise((done_, fail) => {
        const req = request(`${root()}/hl7`, { method: 'POST', headers: {
            'Content-Type': 'x-application/hl7-v2+er7' } }, (res) => {
            let body = '';
            res.on('data', (chunk) => { body += chunk; });
            res.on('end', () => done_(body));
        });
        req.on('error', fail);
        req.end(text);
    });
}

/* POST of a JSON object by the service's own socket. */
function overSocket(path, body) {
    const text = JSON.stringify(body);
    return new Promise((done_, fail) => {
        const req = request({ socketPath: join(bench.tmp, 'hg.db.sock'),
            path, method: 'POST', headers: {
                'Content-Type': 'application/json',
                'Content-Length': Buffer.byteLength(text) } }, (res) => {
            let said = '';
            res.on('data', (chunk) => { said += chunk; });
            res.on('end', () => done_({ status: res.statusCode,
                body: JSON.parse(said) }));
        });
        req.on('error', fail);
        req.end(text);
    });
}

await bench.main(async () => {
    bench.service = new Service(bench.binary, bench.tmp, '',
        { 'codes.map': '' });
    await bench.service.start();
    await bench.each(cases);
});
