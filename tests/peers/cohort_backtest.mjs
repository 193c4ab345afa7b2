/*
 * The output of headgate backtest as suggestions that the judge knows: when
 * each was raised and ended, when which rule was part of it, and when each of
 * its readings counted.
 *
 * A line says which rules joined later, and not when.  A rule is taken to
 * have joined when the reading arrived that made it hold: of a limit on the
 * flow, the last of as many readings beyond it as the setting asks for; of
 * the others, the first later reading of what the rule looks at.
 */
import { expect } from './delivery_kit.mjs';

const FLOW = ['access-flow'];
const HAND = ['hand-symptom', 'hand-ischaemia-grade'];
const FINGER = ['digital-pressure', 'digital-brachial-index'];

/* What a rule looks at; beyond says whether a value is one of its grounds. */
const GROUNDS = {
    'HF-1': { codes: FLOW, beyond: (v) => v >= 2000 },
    'HF-2': { codes: FLOW, beyond: (v) => v >= 1500 },
    'HF-3': { codes: ['cardiac-output', ...FLOW] },
    'HF-4': { codes: ['heart-failure-sign', ...FLOW] },
    'LF-1': { codes: FLOW, beyond: (v) => v < 600 },
    'LF-2': { codes: FLOW, beyond: (v) => v < 500 },
    'LF-3': { codes: FLOW },
    'LF-4': { codes: ['static-access-pressure', 'static-pressure-ratio'] },
    'LF-5': { codes: ['recirculation'] },
    'LF-6': { codes: ['thrill', 'bleeding-prolonged', 'access-sign', 'qb'] },
    'IS-1': { codes: HAND }, 'IS-2': { codes: HAND }, 'IS-3': { codes: HAND },
    'IS-4': { codes: HAND }, 'IS-5': { codes: FINGER },
    'IS-6': { codes: FLOW }, 'IS-7': { codes: FLOW },
    'AD-1': { codes: ['spktv'] }, 'AD-2': { codes: ['spktv'] },
};

const seconds = (text) => text === null ? null : Date.parse(text) / 1000;

/* Identifier value to the arrivals of its versions; sent again is no version. */
export function arrivalsOf(feed) {
    const arrivals = new Map();
    for (const line of feed.split('\n')) {
        if (!line.startsWith('{"resourceType":"Observation"'))
            continue;
        const o = JSON.parse(line);
        const key = o.identifier[0].value;
        const versions = arrivals.get(key) ?? [];
        if (versions.at(-1)?.said !== `${o.status} ${o.issued}`)
            versions.push({ said: `${o.status} ${o.issued}`,
                at_s: seconds(o.meta.lastUpdated) });
        arrivals.set(key, versions);
    }
    return arrivals;
}

function readEvidence(line, arrivals) {
    const raised_s = seconds(line.raised_at);
    return line.evidence.map((e) => {
        const versions = arrivals.get(e.identifier) ?? [];
        const at = versions[Math.min(e.version, versions.length) - 1];
        return { code: e.code, value: e.value, time_s: seconds(e.time),
            /* when it became part of the suggestion */
            counted_s: e.later && at !== undefined ? Math.max(at.at_s, raised_s) : raised_s,
            later: e.later };
    });
}

/* Readings of one session count once. */
function sessionsOf(evidence) {
    const sorted = [...evidence].sort((a, b) => a.time_s - b.time_s);
    return sorted.filter((e, i) => i === 0 || e.time_s - sorted[i - 1].time_s > 4 * 3600);
}

function joinedAt(rule, evidence, readings) {
    const ground = GROUNDS[rule];
    const own = evidence.filter((e) => ground === undefined || ground.codes.includes(e.code));
    if (ground?.beyond !== undefined) {
        const beyond = sessionsOf(own.filter((e) => ground.beyond(e.value)));
        const last = beyond[readings - 1];
        const later = beyond.find((e) => e.later);
        if (last !== undefined && later !== undefined)
            return Math.max(last.counted_s, later.counted_s);
    }
    const later = own.filter((e) => e.later);
    const of = later.length > 0 ? later : evidence.filter((e) => e.later);
    return of.length === 0 ? null : Math.min(...of.map((e) => e.counted_s));
}

function stepsOf(line, evidence, readings) {
    const later = line.rules_later.map((rule) => ({ rules: [rule],
        at_s: joinedAt(rule, evidence, readings) ?? seconds(line.raised_at) }));
    return [{ at_s: seconds(line.raised_at),
        rules: line.rules.filter((r) => !line.rules_later.includes(r)) }, ...later]
        .sort((a, b) => a.at_s - b.at_s);
}

/*
 * text      NDJSON of headgate backtest --json
 * arrivals  as arrivalsOf() gives them
 * readings  how many readings confirm a flow in this run
 */
export function readBacktest(text, arrivals, readings) {
    return text.split('\n').filter(Boolean).map((json) => {
        const line = JSON.parse(json);
        expect(Array.isArray(line.rules) && Array.isArray(line.evidence) &&
            typeof line.raised_at === 'string', `not of a back test: ${json.slice(0, 200)}`);
        const evidence = readEvidence(line, arrivals);
        return { patient: `c-${line.patient}`, group: line.group,
            /* the highest reached, where the line does not say the first */
            urgency: line.urgency, urgency_first: line.urgency_first ?? line.urgency,
            opened_s: seconds(line.raised_at), ended_s: seconds(line.ended_at),
            end_reason: line.end_reason, evidence,
            steps: stepsOf(line, evidence, readings) };
    });
}
