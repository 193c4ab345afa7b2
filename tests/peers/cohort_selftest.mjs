/*
 * The judge of the cohort test, judged: a handful of patients and suggestions
 * whose numbers are counted by hand.  Every part must be able to fail.
 */
import { expect } from './delivery_kit.mjs';
import { arrivalsOf, readBacktest } from './cohort_backtest.mjs';
import { changePolicy, CONFIRMED_RULES, DAY_S, readTruth } from './cohort_read.mjs';
import { judge } from './cohort_judge.mjs';
import { replaceTable } from './cohort_table.mjs';

const day = (n) => new Date(Date.UTC(2026, 0, 1) + n * DAY_S * 1000).toISOString();
const at = (n) => Date.parse(day(n)) / 1000;

function patientLines(id, lines) {
    return [{ kind: 'patient', type: 'avf', unit: 'U', flow: 'steady', hand: 'well',
        flow_every_days: 30, observed_days: 365.25, from: day(0), to: day(365) }, ...lines]
        .map((l) => JSON.stringify({ patient: id, ...l }));
}

function flows(first, count) {
    return Array.from({ length: count }, (_, i) => ({ kind: 'reading', quantity: 'access-flow',
        valid: true, at: day(first + 30 * i), arrives: day(first + 30 * i + 1) }));
}

const state = (rule, from, more = {}) => ({ kind: 'state', rule, quantity: 'access-flow',
    case: true, value: 1, limit: 1, beyond_pct: 30, from: day(from), ...more });

const TRUTH = [
    /* high from day 100, far beyond from day 120 on */
    ...patientLines('c-1', [state('HF-1', 100, { target_from: day(120) }), ...flows(125, 6)]),
    /* fell on day 100, to be found from then */
    ...patientLines('c-2', [state('LF-3', 100, { target_from: day(100) }), ...flows(20, 3), ...flows(110, 6)]),
    /* nothing true; 5 % inside the limit of HF-2 */
    ...patientLines('c-3', [{ kind: 'margin', rule: 'HF-2', step_days: 14,
        pct: Array(27).fill(-5) }]),
    /* an ulcer on day 50, told on day 51 */
    ...patientLines('c-4', [{ kind: 'sign', rule: 'IS-2', sign: 'hand-ulcer', immediate: true,
        at: day(50), arrives: day(51), to: day(110) }]),
].join('\n');

function suggestion(patient, opened, rules, urgency = 'routine', ended = null) {
    return { patient, group: 'flow', urgency, urgency_first: urgency, opened_s: at(opened),
        ended_s: ended === null ? null : at(ended), evidence: [],
        steps: [{ at_s: at(opened), rules }] };
}

/* One that rests on something of a day, since another. */
function resting(patient, opened, rules, urgency, on, since) {
    return { ...suggestion(patient, opened, rules, urgency),
        evidence: [{ code: 'hand-symptom', time_s: at(on), counted_s: at(since) }] };
}

function run(suggestions) {
    return judge(readTruth(TRUTH), suggestions);
}

const cases = {
    'found at the second of four readings'() {
        const { all, rules } = run([suggestion('c-1', 156, ['HF-1'])]);
        const hf1 = rules.find((r) => r.rule === 'HF-1');
        expect(all.flows === 1 && all.flows_found === 1, 'a target is not found');
        expect(hf1.found === 1 && hf1.within_four === 1, 'a case is not found');
        expect(hf1.days.median === 56 && hf1.readings.median === 2, 'delay is wrong');
    },
    'found after the fourth reading is late'() {
        const { all, rules } = run([suggestion('c-2', 260, ['LF-3'])]);
        expect(all.falls === 1 && all.falls_found === 0, 'a late find passes');
        expect(rules.find((r) => r.rule === 'LF-3').found === 1, 'a late find is none');
    },
    'a fall that no method could compare is left out'() {
        const before = flows(20, 3).map((l) => JSON.stringify({ patient: 'c-2', ...l }));
        const without = TRUTH.split('\n').filter((l) => !before.includes(l)).join('\n');
        expect(judge(readTruth(without), []).all.falls === 0, 'without a baseline');
    },
    'a stronger rule is as good, a weaker is not'() {
        expect(run([suggestion('c-2', 141, ['LF-2'])]).all.falls_found === 1, 'LF-2');
        expect(run([suggestion('c-1', 156, ['HF-2'])]).all.flows_found === 0, 'HF-2');
    },
    'one that ended before it became true found nothing'() {
        expect(run([suggestion('c-1', 60, ['HF-1'], 'routine', 90)]).all.flows_found === 0, 'ended');
        expect(run([suggestion('c-1', 60, ['HF-1'])]).all.flows_found === 1, 'still open');
    },
    'a false suggestion is counted once, and near the limit'() {
        const { all, rules } = run([suggestion('c-3', 70, ['HF-2', 'HF-1'])]);
        expect(Math.abs(all.false_routine_per_year - 0.25) < 1e-9, 'rate');
        expect(all.false_urgent_per_year === 0 && all.near === 1, 'urgent, near');
        expect(rules.find((r) => r.rule === 'HF-2').false_per_year === 0.25, 'by rule');
    },
    'a true one is not false, nor is one of a moment ago'() {
        const suggestions = [suggestion('c-1', 156, ['HF-1']),
            suggestion('c-4', 139, ['IS-2'], 'immediate')];
        const { all } = run(suggestions);
        expect(all.false_routine_per_year === 0 && all.false_urgent_per_year === 0, 'false');
        expect(run([suggestion('c-4', 141, ['IS-2'], 'immediate')])
            .all.false_urgent_per_year === 0.25, 'long ago');
    },
    'an immediate sign wants an immediate word at once'() {
        const of = (...args) => run([resting('c-4', ...args)]).all.immediate_found;
        expect(of(51, ['IS-2'], 'immediate', 50, 51) === 1, 'at once');
        expect(of(20, ['IS-2'], 'immediate', 50, 51) === 1, 'joined at once');
        expect(of(51, ['IS-2'], 'asap', 50, 51) === 0, 'asap');
        expect(of(51, ['IS-2'], 'immediate', 50, 55) === 0, 'late');
        expect(of(51, ['IS-2'], 'immediate', 49, 51) === 0, 'of another sign');
        expect(of(51, ['LF-6'], 'immediate', 50, 51) === 0, 'by another rule');
    },
    'a rule that joined later did so when its reading arrived'() {
        const reading = (n, value) => ({ n, value });
        const feed = [reading(1, 1600), reading(2, 1700), reading(3, 2100), reading(4, 2200)]
            .map(({ n }) => JSON.stringify({ resourceType: 'Observation', status: 'final',
                issued: day(30 * n), meta: { lastUpdated: day(30 * n + 1) },
                identifier: [{ value: `00001-${n}` }] })).join('\n');
        const line = JSON.stringify({ patient: '1', group: 'flow', rules: ['HF-1', 'HF-2'],
            rules_later: ['HF-1'], urgency: 'routine', raised_at: day(61), ended_at: null,
            end_reason: null, evidence: [[1, 1600], [2, 1700], [3, 2100], [4, 2200]]
                .map(([n, value]) => ({ identifier: `00001-${n}`, version: 1, value,
                    code: 'access-flow', time: day(30 * n), later: n > 2 })) });
        const of = (readings) => readBacktest(line, arrivalsOf(feed), readings)[0].steps;
        expect(of(2)[0].rules.join() === 'HF-2' && of(2)[0].at_s === at(61), 'first');
        expect(of(2)[1].rules.join() === 'HF-1' && of(2)[1].at_s === at(121), 'two readings');
        expect(of(1)[1].at_s === at(91), 'one reading');
    },
    'the policy is changed where it should be, and nowhere else'() {
        const rows = CONFIRMED_RULES.map((r) => `[${r}]\nreadings = 2 | P |\nof_last = 2 | P |`);
        const text = changePolicy([...rows, '[LF-4]\nreadings = 3 | F |'].join('\n'),
            { readings: 1, of_last: 3 });
        expect(text.match(/^readings = 1 \| P \|$/gm).length === 5 &&
            text.match(/^of_last = 3 \| P \|$/gm).length === 5 &&
            text.includes('readings = 3 | F |'), text);
    },
    'the table goes between its marks'() {
        const page = 'a\n<!-- table: written by tests/peers/cohort.mjs --write -->\nold\n' +
            '<!-- end of table -->\nb\n';
        const text = replaceTable(page, 'new');
        expect(text.includes('new') && !text.includes('old') && text.endsWith('\nb\n'), text);
    },
};

/* Returns how many failed. */
export function selfTest() {
    let failed = 0;
    for (const [name, test] of Object.entries(cases)) {
        try {
            test();
            console.log(`ok    ${name}`);
        } catch (e) {
            console.log(`FAIL  ${name}: ${e.message}`);
            failed++;
        }
    }
    return failed;
}
