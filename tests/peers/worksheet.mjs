/*
 * The worksheet as people get it: printed by the command, from a file and from
 * the store, and beside the Task; read back by poppler.
 *
 *   node worksheet.mjs path/to/headgate
 *
 * Every number of the plan's JSON must stand in the text that pdftotext finds, as
 * a person rounds it, but for those of a list that says why not.
 */

import { createHash } from 'node:crypto';
import { execFileSync, spawnSync } from 'node:child_process';
import { readFileSync, readdirSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { setTimeout as sleep } from 'node:timers/promises';
import { Service, expect, http, stopChild } from './delivery_kit.mjs';
import { Suite } from './suite.mjs';

const TODAY = new Date().toISOString().slice(0, 10); /* of the whole run */
const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const bench = new Suite();
const { binary, tmp: folder } = bench;

function run(args, settings = []) {
    const r = spawnSync(binary, [args[0], '--config', 'config/demo.ini', '--set',
        `store.path=${join(folder, 'none.db')}`, ...settings, ...args.slice(1)],
    { cwd: ROOT, maxBuffer: 1 << 26 });
    return { status: r.status, out: r.stdout, err: r.stderr.toString() };
}

const pdfText = (path) => execFileSync('pdftotext', ['-layout', path, '-'],
    { encoding: 'utf8' });

/* ---- what must be on the page ------------------------------------------------ */

/* How a number of the JSON is printed: one place for all of them.  Each gives
 * the words of which one must be there.  The JSON is itself rounded (31.5 may
 * have been 31.48), so that a half may have gone either way; an estimated flow
 * is printed to 10 mL/min, of the whole number that the JSON holds. */
const fixed = (digits, held = digits) => (v) => [-0.5, 0, 0.5]
    .map((half) => Math.abs(v + half * 10 ** -held).toFixed(digits));
const estimate = (v) => [String(10 * Math.floor((v + 5) / 10))];
const mm = (v) => [Math.abs(10 * v - Math.round(10 * v)) < 1e-6 ? v.toFixed(1)
    : v.toFixed(2)];
const chance = (p) => (p > 0 && p < 0.01 ? ['<1'] : p > 0.99 && p < 1 ? ['>99']
    : fixed(0, 1)(100 * p));
const share = (v) => fixed(0, 1)(100 * v);
const limit = (v) => [String(v), v.toFixed(1), v.toFixed(2)];

/* The first that fits a path counts. */
const PRINTED = [
    [/(^|_|\.)dowels?_mm(\.\d+)?$|balloon_mm$/, mm],
    [/^ladder\.\d+\.flow_ml_min\.|fourth_power_ml_min$|predicted_ml_min\./, estimate],
    [/^outflow\.(holding_)?flow_ml_min\./, estimate],
    [/^target\.(low|high)_ml_min$/, (v, plan) => (plan.target.lead === 'hand'
        ? fixed(0)(v) : estimate(v))],
    [/reduction_pct(\.p\d+)?$|^target\.\w+_pct$/, fixed(0, 1)],
    [/(^|\.)(holding_)?p_\w+$/, chance],
    [/lesion_frac$/, share],
    [/^inputs\.limits\./, limit],
    [/_mmhg(\.p\d+)?$/, fixed(0, 1)],
    [/haematocrit_frac$/, fixed(2, 3)],
    [/index(_\w+)?(\.p\d+)?$|surge(_\w+)?(\.p\d+)?$/, fixed(2)],
    [/(conduit|artery)_mm$/, fixed(2)],
    [/_ml_min(\.\d+)?$|_pct$|^readings_advised|readings_more$|_flows$/, fixed(0)],
];

/* What is not on the page, and why.  when: only then. */
const NOT_PRINTED = [
    { path: /^inputs\.readings\./, why: 'behind the values that are printed; one '
        + 'by one, with their times, they stand in the plan as text' },
    { path: /^inputs\.stenosis_after_pct$/, why: 'what the model takes to be left '
        + 'of a stenosis when opened: nobody measured it' },
    { path: /^inputs\.limits\.window_/, why: 'of another way to steer',
        when: (plan) => plan.target.lead !== 'window' },
    { path: /^inputs\.limits\.cap_low_/, why: 'of another way to steer',
        when: (plan) => plan.target.lead !== 'share' },
    { path: /^inputs\.limits\.risk_(fall|index_most|fall_most)/, why: 'of opening '
        + 'an outflow stenosis, and none is known',
        when: (plan) => plan.outflow === null },
    { path: /^target\.(index|pressure)_least/, why: 'the same number as the limit '
        + 'of this name, which is printed' },
    { path: /^inputs\.other_method_flows$/, why: 'nothing to say of none',
        when: (plan) => plan.inputs.other_method_flows === 0 },
    { path: /^card\.0\.from_ml_min$/, why: 'the lowest row has no lower end' },
    { path: /^readings_advised_baseline$/, why: 'said while there are fewer',
        when: (plan) => plan.stages.length > 0
            || plan.readings_advised_baseline <= plan.inputs.baseline.flow_ml_min.length },
    { path: /^outflow\.(holding_)?(flow|hand|index|digital|p_)/, why: 'without the '
        + 'static pressure there is no prediction', when: (plan) => !plan.outflow.by_pressure },
    { path: /^next\.readings_more$/, why: 'nothing to say of none',
        when: (plan) => plan.next.readings_more === 0 },
    { path: /^next\.dowel_mm$/, why: 'the action names no size',
        when: (plan) => !['tighten', 'loosen'].includes(plan.next.action) },
    { path: /^stages\.\d+\.tail$/, why: 'where a flow lies in its prediction: the '
        + 'warning says it when it matters' },
    { path: /^model\./, why: 'of the engine; version, beliefs and the digest of '
        + 'all of it are named' },
];

/* Every number of the plan, with its path. */
function numbersOf(value, path = '') {
    if (typeof value === 'number')
        return [[path, value]];
    if (value === null || typeof value !== 'object')
        return [];
    return Object.entries(value).flatMap(([key, child]) =>
        numbersOf(child, path === '' ? key : `${path}.${key}`));
}

/* mark: the decimal mark of the language of the page. */
function expectNumbers(plan, text, mark = '.') {
    const words = new Set(text.split(mark === '.' ? /[^0-9.<>]+/ : /[^0-9,<>]+/)
        .map((w) => w.replace(/[.,]$/, '')));
    const all = numbersOf(plan);
    const lacking = [];
    let looked = 0;
    for (const [path, value] of all) {
        const none = NOT_PRINTED.find((n) => n.path.test(path)
            && (n.when?.(plan) ?? true));
        if (none !== undefined)
            continue;
        const rule = PRINTED.find(([pattern]) => pattern.test(path));
        expect(rule !== undefined, `${path}: nobody says how it is printed`);
        const wanted = rule[1](value, plan).map((w) => w.replace('.', mark));
        looked++;
        if (!wanted.some((word) => words.has(word)))
            lacking.push(`${wanted[0]} (${path})`);
    }
    expect(looked > 60, `only ${looked} of ${all.length} numbers were looked for`);
    expect(lacking.length === 0, `not on the page: ${lacking.join(', ')}`);
}

function expectPage(path) {
    const info = execFileSync('pdfinfo', [path], { encoding: 'utf8' });
    expect(/^Pages:\s+1$/m.test(info), info);
    expect(!/Fictional|0901/.test(info), `a patient in the metadata: ${info}`);
}

for (const [name, file] of [['before the procedure', 'plan.json'],
    ['after the first tie', 'plan-case.json'],
    ['the hand leads', 'plan-hand.json']]) {
    await bench.one(`from a file, ${name}: the numbers of the plan are on one page`,
        () => {
            const from = ['--from', join(ROOT, 'config/demo', file)];
            const json = run(['plan', '--json', ...from]);
            const plan = JSON.parse(json.out);
            for (const paper of ['A4', 'letter']) {
                const path = join(folder, 'page.pdf');
                const r = run(['plan', '--pdf', path, ...from],
                    ['--set', `site.paper=${paper}`]);
                expect(r.status === 0, r.err);
                expectPage(path);
                expect((statSync(path).mode & 0o777) === 0o600, 'others may read it');
                const text = pdfText(path);
                expectNumbers(plan, text);
                expect(text.includes('Decision support'), 'it says what it is');
                expect(text.includes('NOT APPROVED'), 'who answers for the limits');
                expect(text.includes(plan.sha256.slice(0, 12)), 'the digest');
            }
            const path = join(folder, 'german.pdf');
            const german = run(['plan', '--pdf', path, ...from],
                ['--set', 'site.language=de']);
            expect(german.status === 0, german.err);
            expectPage(path);
            expectNumbers(plan, pdfText(path), ',');
        });
}

await bench.one('SVG, standard output, German, and what cannot be written', () => {
    const from = ['--from', join(ROOT, 'config/demo/plan.json')];
    const svg = run(['plan', '--svg', '-', ...from]);
    expect(svg.status === 0 && svg.out.toString().startsWith('<?xml'), svg.err);
    execFileSync('rsvg-convert', ['-o', join(folder, 'x.png')],
        { input: svg.out });
    const path = join(folder, 'de.pdf');
    const german = run(['plan', '--pdf', path, ...from],
        ['--set', 'site.language=de']);
    expect(german.status === 0, german.err);
    expect(/Entscheidungs/.test(pdfText(path)), 'it is German');
    const none = run(['plan', '--pdf', path, ...from],
        ['--set', 'site.language=xx']);
    expect(none.status === 2 && /language/.test(none.err), none.err);
    const nowhere = run(['plan', '--pdf', join(folder, 'no/where.pdf'), ...from]);
    expect(nowhere.status === 1 && /no\/where\.pdf/.test(nowhere.err), nowhere.err);
    const two = run(['plan', '--pdf', path, '--json', ...from]);
    expect(two.status === 2, `two forms: ${two.status}`);
    expect(!readdirSync(folder).some((n) => /page\.pdf\.|de\.pdf\./.test(n)),
        'something was left behind');
});

/* ---- beside a Task ------------------------------------------------------------- */

await bench.one('in the DocumentReference of the Task: a PDF of the same plan', async () => {
    const service = new Service(binary, folder, '');
    await service.start();
    const text = readFileSync(join(ROOT, 'config/demo/plan.json'), 'utf8')
        .replaceAll(/2026-0[23]-\d\dT/g, (t) => shifted(t));
    const sent = await http('POST', service.url, JSON.parse(text));
    expect(sent.status === 200, `POST: ${sent.status}`);
    const doc = await documentOf(service);
    const types = doc.content.map((c) => c.attachment.contentType);
    expect(types.includes('application/pdf'), `it has ${types}`);
    const a = doc.content.find((c) =>
        c.attachment.contentType === 'application/pdf').attachment;
    const bytes = Buffer.from(a.data, 'base64');
    expect(a.size === bytes.length, 'its size');
    expect(a.hash === createHash('sha1').update(bytes).digest('base64'), 'its hash');
    expect(!/Fictional|0901/.test(a.title ?? ''), 'a patient in the title');
    const path = join(folder, 'task.pdf');
    writeFileSync(path, bytes);
    expectPage(path);
    const plan = JSON.parse(Buffer.from(doc.content.find((c) =>
        c.attachment.contentType === 'application/json').attachment.data,
    'base64'));
    expectNumbers(plan, pdfText(path));
    expect(pdfText(path).includes('Fictional'), 'whose it is');
    await stopChild(service.child);
});

/* The days of the example, moved so that the last is yesterday. */
function shifted(text) {
    const day = Date.parse(`${text.slice(0, 10)}T00:00:00Z`);
    const last = Date.parse('2026-03-05T00:00:00Z');
    const today = Date.parse(TODAY);
    return `${new Date(day - last + today - 86400000).toISOString()
        .slice(0, 10)}T`;
}

async function documentOf(service) {
    const end = Date.now() + 20000;
    while (Date.now() < end) {
        const found = await http('GET', `${service.url}/DocumentReference?_count=5`);
        if (found.body.entry?.length > 0)
            return found.body.entry[0].resource;
        await sleep(100);
    }
    throw new Error('there is no DocumentReference');
}

await bench.finish();
