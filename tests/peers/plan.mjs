/*
 * The band plan as a person or program meets it: the JSON against its schema,
 * judged by an independent validator, and `headgate plan` as a black box.
 *
 *   node plan.mjs path/to/headgate
 *
 * The validator is ajv 6 (JSON Schema draft-07).  What the document says of
 * itself is computed anew here: digest, ranges of the card, the target, the
 * textbook figure.  Numbers of the engine are not compared with anything: that
 * is done in planner.py and circuit.py.
 */

import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, http, Service, stopChild } from './delivery_kit.mjs';
import { bare, bench, checked, code, CODES, DEMO, example, moved, plan,
    planned, schema, validate, without, written } from './plan_kit.mjs';

/* ---- the schema -------------------------------------------------------------- */

/* Every member has words, at any depth. */
function undocumented(node, way, found = []) {
    for (const [name, member] of Object.entries(node.properties ?? {})) {
        const words = way.startsWith('#/definitions') || member.description
            || member.$ref || member.const !== undefined || member.enum;
        if (!words)
            found.push(`${way}.${name}`);
        undocumented(member, `${way}.${name}`, found);
    }
    if (node.items)
        undocumented(node.items, `${way}[]`, found);
    return found;
}

const wrongs = {
    'a member is missing': (p) => delete p.ladder,
    'a member of a rung is missing': (p) => delete p.ladder[0].p_in_zone,
    'another member': (p) => { p.ladder[0].extra = 1; },
    'a number as text': (p) => { p.first_dowel_mm = '4'; },
    'a chance of more than 1': (p) => { p.ladder[0].p_in_zone = 1.2; },
    'another action': (p) => { p.card[0].action = 'wait'; },
    'another warning': (p) => { p.warnings.push({ code: 'x', text: 'x' }); },
    'a range with a hole': (p) => { p.ladder[0].flow_ml_min.p50 = null; },
    'no ladder though offered': (p) => { p.ladder = []; },
    'a reason though offered': (p) => { p.reason = 'no-flow'; },
    'refused and yet proposed': (p) => {
        p.offered = p.complete = false;
        p.reason = 'no-flow';
    },
    'no cautions': (p) => { p.cautions = []; },
};

/* ---- cases --------------------------------------------------------------------- */

const cases = {
    async 'the schema names every member, with words'() {
        expect(schema.$schema === 'http://json-schema.org/draft-07/schema#',
            schema.$schema);
        const found = undocumented(schema, 'plan');
        expect(found.length === 0, `without words: ${found}`);
        // as programs were promised
        for (const name of ['inputs', 'missing', 'warnings', 'target', 'ladder',
            'first_dowel_mm', 'readings_advised', 'card', 'outflow', 'stages',
            'model', 'cautions'])
            expect(schema.required.includes(name), name);
    },
    async 'the validator finds what is wrong'() {
        const good = planned(example('plan.json'));
        for (const [name, spoil] of Object.entries(wrongs)) {
            const bad = structuredClone(good);
            spoil(bad);
            expect(!validate(bad), `not found: ${name}`);
        }
    },

    async 'an example before the procedure'() {
        const p = planned(example('plan.json'));
        expect(p.offered && !p.complete && p.next === null, 'not a plan before');
        expect(p.missing.some((m) => m.code === 'on-table-baseline'),
            'the pair on the table is not missing');
        // 40 to 50 % of 2500
        expect(p.inputs.baseline.mean_ml_min === 2500 &&
            p.target.low_ml_min === 1000 && p.target.high_ml_min === 1250,
        JSON.stringify(p.target));
        // fourth power of dowel over access, of 2500; the access is 9 mm give
        // or take, and the mean of its guesses is not exact
        for (const r of p.ladder)
            expect(Math.abs(r.fourth_power_ml_min /
                (2500 * (r.dowel_mm / 9) ** 4) - 1) < 0.05,
            `${r.dowel_mm} mm: ${r.fourth_power_ml_min}`);
        expect(p.card_dowel_mm === p.first_dowel_mm && p.card.length > 2,
            'no card for the first size');
    },
    async 'an example of a running case'() {
        const p = planned(example('plan-case.json'));
        expect(p.complete && p.inputs.baseline.on_table, 'not complete');
        expect(p.stages.length === 1 && p.stages[0].measured_ml_min === 1730 &&
            p.stages[0].map_mmhg === 91, JSON.stringify(p.stages));
        // (2500 - 1730) / 2500, but for the mean on the log scale
        expect(Math.abs(p.stages[0].reduction_pct - 30.8) < 0.2,
            `${p.stages[0].reduction_pct}`);
        expect(p.next.action === 'tighten' && p.next.dowel_mm < 4,
            JSON.stringify(p.next));
    },
    async 'an example of a hand and an outflow'() {
        const p = planned(example('plan-hand.json'));
        expect(p.target.lead === 'hand' && p.inputs.ischaemia, 'not the hand');
        expect(p.ladder.some((r) => r.dowel_mm === 2.5), 'no 2.5 mm');
        expect(p.outflow.by_pressure && p.outflow.surge.p50 > 1 &&
            p.outflow.surge_least <= p.outflow.surge_most, 'no what-if');
        const bounds = planned(without(example('plan-hand.json'),
            'static-access-pressure')).outflow;
        expect(!bounds.by_pressure && bounds.flow_ml_min === null &&
            bounds.p_index_low === null, 'predicted without a pressure');
    },
    async 'a weak thrill stands above the flow'() {
        const bundle = example('plan-case.json');
        const flow = bundle.entry.findLast((e) =>
            code(e.resource) === 'access-flow').resource;
        const { valueQuantity, method, ...rest } = flow;
        bundle.entry.push({ resource: { ...rest, id: 'thrill',
            code: { coding: [{ system: CODES, code: 'thrill' }] },
            valueCodeableConcept: { coding: [{ system: CODES,
                code: 'weak' }] } } });
        const p = planned(bundle);
        expect(p.stages[0].weak_thrill && p.next.action === 'loosen' &&
            p.next.dowel_mm > 4, JSON.stringify(p.next));
    },

    async 'the target is where it was agreed'() {
        // 40 to 50 % of the baseline, capped at 1500 and then from 1300, never
        // below the floor of 500
        for (const [flow, low, high] of [[1500, 600, 750], [2500, 1000, 1250],
            [3500, 1300, 1500], [1100, 500, 550]]) {
            const t = planned(bare(flow)).target;
            expect(t.low_ml_min === low && t.high_ml_min === high,
                `${flow}: ${t.low_ml_min} to ${t.high_ml_min}`);
        }
        const none = planned(bare(900));
        expect(none.warnings.some((w) => w.code === 'zone-empty') &&
            none.first_dowel_mm === null && none.target.low_ml_min === null,
        'a plan below the floor');
        const wanted = planned(bare(2500), '--target', '30-40').target;
        expect(wanted.lead === 'reduction' && wanted.low_ml_min === 1500 &&
            wanted.high_ml_min === 1750, JSON.stringify(wanted));
        const flow = planned(bare(2500), '--target', 'window').target;
        expect(flow.lead === 'window' && flow.low_ml_min === 600 &&
            flow.high_ml_min === 1000, JSON.stringify(flow));
    },
    async 'sizes and beliefs that were asked for'() {
        const p = planned(bare(2500), '--dowels', '3.75,4.25', '--prior',
            'reference');
        expect(p.ladder.map((r) => r.dowel_mm).join() === '4.25,3.75' &&
            p.model.prior === 'reference', JSON.stringify(p.model));
    },

    async 'a pair on the table, said by a person'() {
        const before = planned(bare(2500)), said = planned(bare(2500),
            '--on-table');
        const provisional = (p) => p.warnings.some((w) =>
            w.code === 'provisional') || p.missing.some((m) =>
            m.code === 'on-table-baseline');
        expect(provisional(before) && !before.inputs.baseline.on_table,
            'not provisional without a word');
        expect(!provisional(said) && said.inputs.baseline.on_table,
            JSON.stringify(said.warnings));
    },
    async 'a search that was saved is as good as a collection'() {
        const bundle = example('plan-case.json');
        const search = { ...bundle, type: 'searchset', total: 3,
            entry: [...bundle.entry.map((e) => ({ ...e, search: {
                mode: e.resource.resourceType === 'Observation' ? 'match'
                    : 'include' } })),
            { search: { mode: 'outcome' }, resource: {
                resourceType: 'OperationOutcome', issue: [{
                    severity: 'warning', code: 'processing' }] } }] };
        const one = plan(['--from', written(bundle), '--json']);
        const two = plan(['--from', written(search), '--json']);
        expect(two.status === 0 && two.err === one.err && two.out === one.out,
            two.err);
        search.link = [{ relation: 'next',
            url: 'https://record.example/fhir?page=2' }];
        const page = plan(['--from', written(search), '--json']);
        expect(page.status === 2 && page.err.includes('Bundle.link'), page.err);
    },

    async 'who gets no plan, and why'() {
        const steal = planned(bare(650, [{ code: 'hand-ischaemia-grade',
            sign: '3' }]));
        expect(!steal.offered && steal.reason === 'excluded' &&
            steal.exclusions[0].code === 'low-flow-ischaemia',
        JSON.stringify(steal.exclusions));
        const distal = planned(bare(2500, [
            { code: 'digital-brachial-index-compressed', value: 0.45,
                unit: '1' }]));
        expect(distal.exclusions[0].code === 'distal-disease', 'distal');
        const cuff = planned(bare(2500, [{ code: 'band-form',
            sign: 'cuff' }]));
        expect(cuff.reason === 'other-band-form', cuff.reason);
        const catheter = bare(2500);
        catheter.entry[1].resource.morphology.coding[0].code = 'cvc';
        expect(planned(catheter).exclusions[0].code === 'catheter', 'catheter');
        for (const p of [steal, distal, cuff])
            expect(p.ladder.length === 0 && p.first_dowel_mm === null &&
                p.card.length === 0, 'something is proposed');
    },
    async 'what is missing is named, and the plan incomplete'() {
        const p = planned(bare(2500));
        expect(p.offered && !p.complete, 'complete');
        const missing = p.missing.map((m) => m.code);
        for (const one of ['inflow-imaged', 'outflow-imaged', 'indication',
            'target', 'mean-pressure', 'on-table-baseline', 'conduit-diameter',
            'flow-method'])
            expect(missing.includes(one), `${one} is not missing`);
        for (const name of ['map_mmhg', 'cvp_mmhg', 'conduit_mm', 'method'])
            expect(p.inputs[name] === null, `${name} is known`);
        const lessKnown = p.ladder[2].flow_ml_min;
        const more = planned(example('plan.json')).ladder[2].flow_ml_min;
        expect(lessKnown.p95 - lessKnown.p05 > more.p95 - more.p05,
            'what is missing does not widen the answer');
    },

    async 'the page for people'() {
        for (const name of ['plan.json', 'plan-case.json', 'plan-hand.json']) {
            const r = plan(['--from', join(DEMO, name)]);
            expect(r.status === 0, `${name}: ${r.status} ${r.err}`);
            const flat = r.out.replace(/\s+/g, ' ');
            for (const words of ['Decision support: the operator measures and '
                + 'decides, under local policy.', 'local policy decide.',
            'NOT APPROVED', 'without a direct source', 'fourth power',
            '(measured outer diameter)', 'only if thrill is present',
            'ultrasound dilution; measure by no other', 'Fictional'])
                expect(flat.includes(words), `${name}: not "${words}"`);
            const odd = /.{20}\b(nan|inf|null)\b.{20}/i.exec(flat);
            expect(odd === null, `${name}: ${odd}`);
            for (const line of r.out.split('\n'))
                expect([...line].length <= 80, `too wide: ${line}`);
        }
    },
    async 'equal files give equal bytes, in any order and on any day'() {
        const one = example('plan-case.json');
        const turned = { ...one, entry: [...one.entry].reverse() };
        const texts = [one, one, turned].map((b) =>
            plan(['--from', written(b), '--json']).out);
        expect(texts[0] === texts[1] && texts[0].length > 1000, 'not equal');
        expect(texts[0] === texts[2], 'the order of the entries counts');
        const r = plan(['--from', '-', '--json'], JSON.stringify(one));
        expect(r.status === 0 && r.out === texts[0], 'from standard input');
    },

    async 'what cannot be used ends with 2, the reason and its place'() {
        const unit = bare(2500);
        unit.entry[2].resource.valueQuantity.code = 'mm';
        const grade = bare(2500, [{ code: 'hand-ischaemia-grade',
            sign: 'terrible' }]);
        const day = bare(2500, [{ code: 'dowel-diameter', value: 4, unit: 'mm',
            at: '2026-03-02' }]);
        const banded = bare(2500, [{ code: 'access-intervention',
            sign: 'banded' }]);
        const two = bare(2500);
        two.entry.push({ resource: { ...two.entry[1].resource, id: 'acc-8' } });
        const rows = [
            ['{"resourceType":', 'json-syntax'],
            ['[]', 'not-a-resource'],
            [unit, 'entry[2] Observation.value'],
            [grade, 'entry[4] Observation.value'],
            [day, 'band: the order of what was done'],
            [banded, 'dowel-diameter: a band of this procedure'],
            [two, 'more than one access: name one with --access'],
            [without(bare(2500), 'access-flow'), 'holds no reading'],
            [bare(40), 'flow_ml_min: a flow is not within'],
        ];
        for (const [bundle, words] of rows) {
            const path = written(bundle);
            const r = plan(['--from', path, '--json']);
            expect(r.status === 2 && r.out === '',
                `${words}: ${r.status} ${r.out.slice(0, 80)}`);
            expect(r.err.startsWith(`${path}: `) && r.err.includes(words),
                `not "${words}": ${r.err}`);
        }
        const named = plan(['--from', written(two), '--json', '--access',
            'acc-9']);
        expect(named.status === 0, named.err);
    },
    async 'a command that is not understood ends with 2'() {
        const file = join(DEMO, 'plan.json');
        for (const args of [[], ['A-1', 'A-2'], ['--from', file, 'A-1'],
            ['--from', join(bench.tmp, 'none')], ['--access', 'A-1', 'A-1'],
            ['--from', file, '--prior', 'mine'],
            ['--from', file, '--prior', 'site'], // a file has none
            ['--from', file, '--target', '60-50'],
            ['--from', file, '--dowels', '4;3'],
            ['--from', file, '--dowels', '9'],
            ['--from', file, '--dowels', '4,4']]) {
            const r = plan(args);
            expect(r.status === 2 && r.out === '' && r.err !== '',
                `${args.join(' ')}: ${r.status} ${r.err}`);
        }
        const help = plan(['--help']);
        expect(help.status === 0 && /usage: headgate plan/.test(help.out) &&
            /Decision support/.test(help.out), help.err);
    },

    async 'from the store, over the socket and over HTTP'({ service, root }) {
        const bundle = moved(example('plan-case.json'));
        const loaded = await http('POST', service.url, bundle);
        expect(loaded.status === 200, loaded.text.slice(0, 300));
        const r = plan(['A-0901', '--json']);
        expect(r.status === 0, r.err);
        const p = checked(r.out);
        expect(p.offered && p.stages.length === 1, 'no case');
        for (const reading of p.inputs.readings) {
            const a = await http('GET', `${service.url}/${reading.reference}`);
            expect(a.status === 200, `${reading.reference}: ${a.status}`);
        }
        const url = `${root}/plan?access=A-0901`;
        const json = await http('GET', `${url}&json=1`);
        expect(json.status === 200 && json.text === r.out &&
            json.headers['content-type'] === 'application/json',
        `${json.status} ${json.headers['content-type']}`);
        const text = await http('GET', url);
        expect(text.status === 200 && /^text\/plain/
            .test(text.headers['content-type']) &&
            text.text === plan(['A-0901']).out, 'another page');
        const file = planned(bundle);
        for (const q of [...file.inputs.readings, ...p.inputs.readings])
            q.reference = null;
        expect(JSON.stringify({ ...file, sha256: '' }) ===
            JSON.stringify({ ...p, sha256: '' }), 'another plan from the file');
    },
    async 'wishes and names over HTTP'({ root }) {
        const rows = [
            ['?access=acc-0901', 200], ['?access=0901', 200],
            ['?access=A-0901&target=50-60&dowels=4,3&prior=reference&json', 200],
            ['', 400], ['?access=', 400], ['?access=A-0901&target=x', 400],
            ['?access=A-0901&dowels=x', 400], ['?access=A-0901&prior=x', 400],
            ['?access=A-0901&prior=site', 409],
            ['?access=A-0901&table=1', 200], ['?access=A-0901&table=x', 400],
            ['?access=A-0901&dowels=9', 422], ['?access=A-9999', 404],
            [`?access=${'x'.repeat(2000)}`, 400],
        ];
        for (const [query, status] of rows) {
            const a = await http('GET', `${root}/plan${query}`);
            expect(a.status === status, `${query}: ${a.status} ${a.text}`);
        }
        const post = await http('POST', `${root}/plan?access=A-0901`, {});
        expect(post.status === 404, `POST: ${post.status}`); // as the others
    },
    async 'exit statuses of what is in the store'() {
        for (const [args, status, words] of [
            [['A-9999'], 1, 'No access is called'],
            [['A-0901', '--dowels', '9'], 2, 'dowels_mm'],
            [['A-0901', '--prior', 'site'], 2,
                'prior: this site has none in use, see headgate technique'],
            [['A-0901', '--target', '1'], 2, 'target:']]) {
            const r = plan(args);
            expect(r.status === status && r.err.includes(words),
                `${args}: ${r.status} ${r.err}`);
        }
    },
    async 'a refusal from the store says why'({ service, root }) {
        const bundle = moved(bare(650, [{ code: 'hand-ischaemia-grade',
            sign: '3' }]));
        expect((await http('POST', service.url, bundle)).status === 200, 'load');
        const r = plan(['acc-9', '--json']);
        const p = checked(r.out);
        expect(r.status === 0 && !p.offered && p.exclusions[0].code ===
            'low-flow-ischaemia', JSON.stringify(p.exclusions));
        const page = (await http('GET', `${root}/plan?access=acc-9`)).text;
        expect(page.includes('No plan is offered') &&
            page.includes('(IS-7)') && !page.includes('First tie'), page);
    },
    async 'the log holds no name and no number of a plan'({ service }) {
        const log = readFileSync(service.log, 'utf8');
        expect(log.length > 0, 'there is no log');
        for (const word of ['Linnet', 'Twite', 'A-0901', 'acc-9', '1730'])
            expect(!log.includes(word), `the log says ${word}`);
    },
    async 'the command finds the store when no service runs'({ service }) {
        const before = plan(['A-0901', '--json']).out;
        await stopChild(service.child);
        const after = plan(['A-0901', '--json']);
        expect(after.status === 0 && after.out === before, after.err);
    },
};

await bench.main(async () => {
    bench.service = new Service(bench.binary, bench.tmp, '');
    await bench.service.start();
    bench.root = bench.service.root();
    await bench.each(cases);
});
