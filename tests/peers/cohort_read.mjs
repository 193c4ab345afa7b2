/*
 * What the cohort test reads: the truth of headgate-cohort, the output of
 * headgate backtest, and the policy with other rows.  Times become seconds.
 */
import { expect } from './delivery_kit.mjs';

export const DAY_S = 86400;

/* Rules whose confirmation the settings change. */
export const CONFIRMED_RULES = ['HF-1', 'HF-2', 'LF-1', 'LF-2', 'LF-3'];

export const SETTINGS = [
    { name: 'one reading', readings: 1, of_last: 1 },
    { name: 'two consecutive', readings: 2, of_last: 2 },
    { name: 'two of the last three', readings: 2, of_last: 3 },
];

function seconds(text) {
    return text === undefined || text === null ? null : Date.parse(text) / 1000;
}

function jsonLines(text) {
    return text.split('\n').filter(Boolean).map((line) => JSON.parse(line));
}

function newPatient(line) {
    return { id: line.patient, unit: line.unit, type: line.type,
        flow: line.flow, hand: line.hand, every_days: line.flow_every_days,
        observed_days: line.observed_days, from_s: seconds(line.from),
        to_s: seconds(line.to), duplex_s: seconds(line.duplex_from),
        states: [], signs: [], readings: {}, margins: {} };
}

const takeLine = {
    patient() {},
    state(p, l) {
        p.states.push({ rule: l.rule, quantity: l.quantity, is_case: l.case,
            value: l.value, limit: l.limit, beyond_pct: l.beyond_pct,
            from_s: seconds(l.from), to_s: seconds(l.to),
            target_s: seconds(l.target_from) });
    },
    sign(p, l) {
        p.signs.push({ rule: l.rule, sign: l.sign, immediate: l.immediate,
            at_s: seconds(l.at), arrives_s: seconds(l.arrives),
            to_s: seconds(l.to) });
    },
    reading(p, l) {
        (p.readings[l.quantity] ??= []).push({ valid: l.valid, why: l.why,
            method: l.method, at_s: seconds(l.at),
            arrives_s: seconds(l.arrives) });
    },
    margin(p, l) {
        p.margins[l.rule] = { step_s: l.step_days * DAY_S, pct: l.pct };
    },
};

/* The number of the patient that a line of the feed is about. */
export function patientNumber(line) {
    return Number(/(?:"(?:Patient\/c|id":"c|id":"acc)-|"value":")(\d{5})/.exec(line)[1]);
}

/* Patients by id, each with what is true of him and what was measured. */
export function readTruth(text) {
    const patients = new Map();
    for (const line of jsonLines(text)) {
        if (line.kind === 'patient')
            patients.set(line.patient, newPatient(line));
        takeLine[line.kind](patients.get(line.patient), line);
    }
    for (const p of patients.values())
        for (const list of Object.values(p.readings))
            list.sort((a, b) => a.arrives_s - b.arrives_s);
    return patients;
}

/*
 * The policy with the rows of a setting in the sections of the rules that
 * are confirmed by flow; everything else stays as shipped.
 */
export function changePolicy(text, setting) {
    let section = '', changed = 0;
    const lines = text.split('\n').map((line) => {
        const head = /^\[(.+)\]\s*$/.exec(line);
        if (head)
            section = head[1];
        const row = /^(readings|of_last)(\s*=\s*)\d+(.*)$/.exec(line);
        if (row === null || !CONFIRMED_RULES.includes(section))
            return line;
        changed++;
        return `${row[1]}${row[2]}${setting[row[1]]}${row[3]}`;
    });
    expect(changed === 2 * CONFIRMED_RULES.length,
        `the policy has ${changed} rows of confirmation, not ` +
        `${2 * CONFIRMED_RULES.length}`);
    return lines.join('\n');
}
