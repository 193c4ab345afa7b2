/*
 * What the test of the band plan stands on: running the command, invented
 * Bundles, and what a document can be checked for by itself.
 */

import Ajv from 'ajv';
import { createHash } from 'node:crypto';
import { spawnSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { expect } from './delivery_kit.mjs';
import { Suite } from './suite.mjs';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
export const DEMO = join(ROOT, 'config/demo');
const BASE = 'https://headgate.example/fhir';
export const CODES = `${BASE}/CodeSystem/av-observation`;
export const bench = new Suite({ wholeMs: 240000 });
const { binary, tmp: folder } = bench;
const store = join(folder, 'hg.db');

export const schema = JSON.parse(readFileSync(join(ROOT, 'config/plan.schema.json')));
export const validate = new Ajv({ allErrors: true }).compile(schema);

/* ---- running it ------------------------------------------------------------ */

export function plan(args, input) {
    const r = spawnSync(binary, ['plan', '--config', 'config/demo.ini',
        '--set', `store.path=${store}`, ...args],
    { encoding: 'utf8', cwd: ROOT, input, maxBuffer: 1 << 26 });
    return { status: r.status, out: r.stdout, err: r.stderr };
}

let files = 0;
export function written(bundle) {
    const path = join(folder, `bundle-${files++}.json`);
    writeFileSync(path, typeof bundle === 'string' ? bundle
        : JSON.stringify(bundle));
    return path;
}

export const example = (name) => JSON.parse(readFileSync(join(DEMO, name)));

function expectValid(document, what) {
    expect(validate(document), `${what} is not as the schema says: ${
        JSON.stringify(validate.errors?.slice(0, 3))}`);
}

/* The document of a file, checked as far as it can be by itself. */
export function planned(bundle, ...options) {
    const r = plan(['--from', written(bundle), '--json', ...options]);
    expect(r.status === 0, `ended with ${r.status}: ${r.err}`);
    return checked(r.out);
}

export function checked(text) {
    expect(text.endsWith('}\n') && text.indexOf('\n') === text.length - 1,
        'not one object on one line');
    const document = JSON.parse(text);
    expectValid(document, 'the plan');
    expectDigest(text.trimEnd());
    if (document.offered)
        expectSense(document);
    return document;
}

/* Of the bytes before the comma of the last member, and a closing brace. */
function expectDigest(text) {
    const at = text.lastIndexOf(',"sha256":"');
    const digest = createHash('sha256').update(`${text.slice(0, at)}}`)
        .digest('hex');
    expect(text.slice(at) === `,"sha256":"${digest}"}`, 'another digest');
}

const inOrder = ({ p05, p50, p95 }) => p05 <= p50 && p50 <= p95;

function expectSense(p) {
    p.ladder.forEach((rung, i) => {
        const before = p.ladder[i - 1];
        expect([rung.flow_ml_min, rung.reduction_pct, rung.hand_pressure_mmhg,
            rung.digital_brachial_index].every(inOrder), 'a range is reversed');
        if (before === undefined)
            return;
        expect(rung.dowel_mm < before.dowel_mm, 'not loosest first');
        expect(rung.flow_ml_min.p50 <= before.flow_ml_min.p50,
            'a smaller dowel lets more flow through');
        expect(rung.p_too_tight >= before.p_too_tight - 0.001,
            'a smaller dowel is less tight');
        expect(rung.hand_pressure_mmhg.p50 >= before.hand_pressure_mmhg.p50,
            'a smaller dowel takes from the hand');
    });
    expectCard(p);
    const named = p.ladder.find((r) => r.dowel_mm === p.first_dowel_mm);
    expect(p.first_dowel_mm === null || p.stages.length > 0 || named?.allowed,
        'the first size is not one that keeps to the limits');
}

/* Contiguous and half-open, the lowest row first and without a lower end. */
function expectCard(p) {
    p.card.forEach((row, i) => {
        expect(row.from_ml_min === (i === 0 ? 0 : p.card[i - 1].to_ml_min),
            'the card has a gap');
        expect(row.emergency === (i === 0), 'not the lowest row alone');
        expect(!row.emergency || row.action === 'loosen', 'lowest: not loosen');
        expect(row.action !== 'tighten' || row.dowel_mm !== null,
            'tie over what?');
        expect(row.to_ml_min === null || row.to_ml_min > row.from_ml_min,
            'an empty row');
    });
    expect(p.card.length === 0 || p.card.at(-1).to_ml_min === null,
        'the card ends');
    expect(p.card.length === 0 || p.card[0].to_ml_min >= p.target.floor_ml_min,
        'below the floor is not the lowest row');
}

/* ---- changing examples ------------------------------------------------------ */

const resources = (bundle) => bundle.entry.map((e) => e.resource);
export const code = (o) => o.code?.coding?.[0].code;

export function without(bundle, ...codes) {
    const entry = bundle.entry.filter((e) => !codes.includes(code(e.resource)));
    return { ...bundle, entry };
}

/* Newest reading ten minutes ago; days stay days. */
export function moved(bundle) {
    const whens = resources(bundle).map((r) => r.effectiveDateTime)
        .filter(Boolean);
    const newest = Math.max(...whens.map((t) => Date.parse(t)));
    const by = Date.now() - 600000 - newest;
    const copy = structuredClone(bundle);
    for (const r of resources(copy)) {
        if (!r.effectiveDateTime)
            continue;
        const t = new Date(Date.parse(r.effectiveDateTime) + by).toISOString();
        r.effectiveDateTime = r.effectiveDateTime.length === 10
            ? t.slice(0, 10) : `${t.slice(0, 19)}Z`;
    }
    return copy;
}

/* An invented fistula with two flows of one session, nothing else. */
export function bare(flow, more = []) {
    const subject = { reference: 'Patient/p-9' };
    const focus = [{ reference: 'BodyStructure/acc-9' }];
    const coded = (system, code) => ({ coding: [{ system, code }] });
    const observation = (o, i) => ({ resource: { resourceType: 'Observation',
        id: `o-${i}`, status: 'final', code: coded(CODES, o.code), subject,
        focus, effectiveDateTime: o.at ?? `2026-03-02T09:0${i}:00Z`,
        ...(o.unit ? { valueQuantity: { value: o.value, code: o.unit,
            system: 'http://unitsofmeasure.org' } } : {}),
        ...(o.sign ? { valueCodeableConcept: coded(CODES, o.sign) } : {}) } });
    return { resourceType: 'Bundle', type: 'collection', entry: [
        { resource: { resourceType: 'Patient', id: 'p-9',
            name: [{ family: 'Fictional', given: ['Twite'] }] } },
        { resource: { resourceType: 'BodyStructure', id: 'acc-9',
            morphology: coded(`${BASE}/CodeSystem/av-access-type`, 'avf'),
            location: { text: 'Left upper arm' }, patient: subject } },
        ...[{ code: 'access-flow', value: flow, unit: 'mL/min' },
            { code: 'access-flow', value: flow, unit: 'mL/min' }, ...more]
            .map(observation)] };
}
