/*
 * What the rules found, against what is true.  Pure: truth and suggestions
 * in, numbers out.
 */
import { DAY_S } from './cohort_read.mjs';

/* A finding may be said by a rule that says more. */
const SAID_BY = {
    'HF-1': ['HF-1', 'PB-3', 'PB-4'],
    'HF-2': ['HF-2', 'HF-1', 'PB-3', 'PB-4'],
    'HF-4': ['HF-4'],
    'IS-3': ['IS-3', 'IS-2', 'IS-1'],
    'IS-4': ['IS-4', 'IS-3', 'IS-2', 'IS-1'],
    'LF-1': ['LF-1', 'PB-2'],
    'LF-2': ['LF-2', 'PB-2'],
    'LF-3': ['LF-3', 'LF-1', 'LF-2'],
    'AD-2': ['AD-2', 'AD-1'],
    'PB-2': ['PB-2', 'LF-1', 'LF-2'],
};

/* What was measured so long ago may still raise something. */
const RECENT_S = 30 * DAY_S;
/* A review may come a little after the reading. */
const REVIEW_S = 36 * 3600;
const AT_ONCE_S = 3600;
const TARGET_READINGS = 4;
const NEAR_PCT = 10;
const FLOW_TARGETS = ['HF-1', 'HF-2', 'LF-1', 'LF-2', 'PB-2', 'PB-4'];
const FALL_TARGETS = ['LF-3'];

const URGENT = ['urgent', 'asap', 'immediate'];

export function saidBy(rule) {
    return SAID_BY[rule] ?? [rule];
}

/* Is a rule true of a patient at a time, or was it a moment ago? */
export function isTrue(patient, rule, at_s) {
    const within = (from_s, to_s) => from_s <= at_s &&
        (to_s === null || at_s <= to_s + RECENT_S);
    return patient.states.some((s) => s.rule === rule && within(s.from_s, s.to_s)) ||
        patient.signs.some((s) => s.rule === rule && within(s.at_s, s.to_s));
}

/* How far the truth was inside the limit, in per cent of it; null: not a
 * matter of distance, or far away. */
export function distance(patient, rule, at_s) {
    const margin = patient.margins[rule];
    if (margin === undefined)
        return null;
    const i = Math.floor((at_s - patient.start_s) / margin.step_s);
    return margin.pct[Math.max(0, Math.min(i, margin.pct.length - 1))];
}

/* When a suggestion that speaks of these rules stood first, from a time on;
 * null if never. */
function foundAt(suggestions, rules, from_s, to_s) {
    let best_s = null;
    for (const s of suggestions) {
        const step = s.steps.find((t) => t.rules.some((r) => rules.includes(r)));
        if (step === undefined || (s.ended_s !== null && s.ended_s < from_s) ||
            (to_s !== null && step.at_s > to_s + RECENT_S))
            continue;
        const at_s = Math.max(step.at_s, from_s);
        if (best_s === null || at_s < best_s)
            best_s = at_s;
    }
    return best_s;
}

/* A fall is seen only by a method that has measured before it: two valid
 * readings in the half year before it began. */
const BASELINE = { readings: 2, within_s: 183 * DAY_S };

function hasBaseline(reading, all, state) {
    return all.filter((b) => b.valid && b.method === reading.method &&
        b.at_s < state.from_s && state.from_s - b.at_s <= BASELINE.within_s)
        .length >= BASELINE.readings;
}

/* Valid readings measured since, in the order in which they arrived. */
function readingsSince(patient, state, from_s) {
    const all = patient.readings[state.quantity] ?? [];
    return all.filter((r) => r.valid && r.at_s >= from_s &&
        (state.to_s === null || r.at_s <= state.to_s) &&
        (state.rule !== 'LF-3' || hasBaseline(r, all, state)));
}

function judgeCase(patient, suggestions, state, from_s) {
    const readings = readingsSince(patient, state, from_s);
    const found_s = foundAt(suggestions, saidBy(state.rule), from_s, state.to_s);
    const fourth = readings[TARGET_READINGS - 1];
    return {
        rule: state.rule, patient: patient.id, unit: patient.unit,
        every_days: patient.every_days, duplex_s: patient.duplex_s,
        from_s, to_s: state.to_s, beyond_pct: state.beyond_pct,
        readings: readings.length, found: found_s !== null,
        has_four: fourth !== undefined,
        within_four: fourth !== undefined && found_s !== null &&
            found_s <= fourth.arrives_s + REVIEW_S,
        delay_days: found_s === null ? null : (found_s - from_s) / DAY_S,
        delay_readings: found_s === null ? null
            : readings.filter((r) => r.arrives_s <= found_s + 1).length,
    };
}

/* A case that was measured once or not at all cannot be found. */
function casesOf(patients, byPatient) {
    const cases = [], targets = [];
    let left_out = 0;
    for (const p of patients.values()) {
        const suggestions = byPatient.get(p.id) ?? [];
        for (const s of p.states.filter((state) => state.is_case)) {
            const found = judgeCase(p, suggestions, s, s.from_s);
            if (found.readings >= 2)
                cases.push(found);
            if (s.target_s === null)
                continue;
            const target = judgeCase(p, suggestions, s, s.target_s);
            if (target.has_four)
                targets.push(target);
            else
                left_out++;
        }
    }
    return { cases, targets, left_out };
}

/* The sign itself is among what a suggestion rests on, since when? */
function judgeSign(patient, suggestions, sign) {
    const rules = saidBy(sign.rule);
    const found = suggestions.filter((s) =>
        s.steps.some((t) => t.rules.some((r) => rules.includes(r))) &&
        (!sign.immediate || s.urgency === 'immediate'))
        .flatMap((s) => s.evidence).filter((e) => e.time_s === sign.at_s);
    const at_s = found.length === 0 ? null : Math.min(...found.map((e) => e.counted_s));
    return { rule: sign.rule, sign: sign.sign, immediate: sign.immediate,
        patient: patient.id, at_s: sign.at_s, arrives_s: sign.arrives_s,
        found: at_s !== null,
        at_once: at_s !== null && at_s <= sign.arrives_s + AT_ONCE_S,
        delay_days: at_s === null ? null : (at_s - sign.at_s) / DAY_S };
}

/* HF-4 is true of an admission only where the flow is high: a state says so. */
function signsOf(patients, byPatient) {
    return [...patients.values()].flatMap((p) => p.signs
        .filter((s) => s.rule !== 'HF-4')
        .map((s) => judgeSign(p, byPatient.get(p.id) ?? [], s)));
}

function judgeSuggestion(patient, s) {
    const rules = s.steps[0].rules;
    const isFalse = !rules.some((r) => isTrue(patient, r, s.opened_s));
    const near = rules.map((r) => distance(patient, r, s.opened_s))
        .filter((d) => d !== null && d < 0);
    return { patient: s.patient, rules, group: s.group,
        opened_s: s.opened_s, urgency: s.urgency_first,
        urgent: URGENT.includes(s.urgency_first), false: isFalse,
        flow: patient.flow, unit: patient.unit,
        by_duplex: patient.duplex_s !== null && s.opened_s > patient.duplex_s,
        distance_pct: near.length === 0 ? null : Math.max(...near) };
}

function quantile(sorted, share) {
    if (sorted.length === 0)
        return null;
    return sorted[Math.min(sorted.length - 1, Math.ceil(share * sorted.length) - 1)];
}

export function spread(list) {
    const sorted = list.filter((x) => x !== null).sort((a, b) => a - b);
    return { median: quantile(sorted, 0.5), p90: quantile(sorted, 0.9) };
}

function share(list, predicate) {
    return list.length === 0 ? null : list.filter(predicate).length / list.length;
}

function judgeRule(rule, judged, years) {
    const cases = judged.cases.filter((c) => c.rule === rule);
    const signs = judged.signs.filter((s) => s.rule === rule);
    const targets = judged.targets.filter((t) => t.rule === rule);
    const wrong = judged.suggestions.filter((s) => s.false && s.rules.includes(rule));
    return { rule, cases: cases.length + signs.length,
        found: share([...cases, ...signs], (c) => c.found),
        within_four: share(cases.filter((c) => c.has_four), (c) => c.within_four),
        targets: targets.length, target_share: share(targets, (t) => t.within_four),
        days: spread([...cases, ...signs].map((c) => c.delay_days)),
        readings: spread(cases.map((c) => c.delay_readings)),
        false_per_year: wrong.length / years,
        near: share(wrong.filter((s) => s.distance_pct !== null),
            (s) => s.distance_pct >= -NEAR_PCT) };
}

/* Overall numbers of one setting. */
function judgeAll(judged, years) {
    const wrong = judged.suggestions.filter((s) => s.false);
    const falls = judged.targets.filter((t) => FALL_TARGETS.includes(t.rule));
    const flows = judged.targets.filter((t) => FLOW_TARGETS.includes(t.rule));
    const immediate = judged.signs.filter((s) => s.immediate);
    return {
        suggestions_per_year: judged.suggestions.length / years,
        false_routine_per_year: wrong.filter((s) => !s.urgent).length / years,
        false_urgent_per_year: wrong.filter((s) => s.urgent).length / years,
        near: share(wrong.filter((s) => s.distance_pct !== null),
            (s) => s.distance_pct >= -NEAR_PCT),
        falls: falls.length, falls_found: share(falls, (t) => t.within_four),
        flows: flows.length, flows_found: share(flows, (t) => t.within_four),
        left_out: judged.left_out, immediate: immediate.length,
        immediate_found: share(immediate, (s) => s.at_once),
    };
}

/*
 * Everything about one run.
 *
 * patients     as readTruth() gives them
 * suggestions  as readBacktest() gives them; the first step opens one
 */
export function judge(patients, suggestions) {
    const byPatient = new Map();
    const years = [...patients.values()].reduce((n, p) => n + p.observed_days, 0) / 365.25;
    const known = suggestions.filter((s) => patients.has(s.patient));
    const start_s = Math.min(...[...patients.values()].map((p) => p.from_s));
    for (const p of patients.values())
        p.start_s = start_s;
    for (const s of known)
        byPatient.set(s.patient, [...byPatient.get(s.patient) ?? [], s]);
    const judged = { ...casesOf(patients, byPatient), signs: signsOf(patients, byPatient),
        suggestions: known.map((s) => judgeSuggestion(patients.get(s.patient), s)) };
    const rules = new Set([...judged.cases, ...judged.signs].map((c) => c.rule));
    judged.suggestions.filter((s) => s.false).forEach((s) => s.rules.forEach((r) => rules.add(r)));
    return { years, unknown: suggestions.length - known.length, judged,
        all: judgeAll(judged, years),
        rules: [...rules].sort().map((r) => judgeRule(r, judged, years)) };
}
