/*
 * The worksheet as people get it: printed by the command, from a file and from
 * the store, and beside the Task; read back by poppler.
 *
 *   node worksheet.mjs path/to/headgate
 *
 * Every flow, size, pressure, index and chance of the plan's JSON must stand in
 * the text that pdftotext finds, as a person rounds it.
 */

import { createHash } from 'node:crypto';
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, readdirSync, rmSync, statSync,
    writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { setTimeout as sleep } from 'node:timers/promises';
import { Service, expect, http, killChildren, stopChild } from './delivery_kit.mjs';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const binary = resolve(process.argv[2] ?? 'build/headgate');
const folder = mkdtempSync(join(tmpdir(), 'headgate-sheet-'));
const bench = { passed: 0, failed: 0 };

function run(args, settings = []) {
    const r = spawnSync(binary, [args[0], '--config', 'config/demo.ini', '--set',
        `store.path=${join(folder, 'none.db')}`, ...settings, ...args.slice(1)],
    { cwd: ROOT, maxBuffer: 1 << 26 });
    return { status: r.status, out: r.stdout, err: r.stderr.toString() };
}

const pdfText = (path) => execFileSync('pdftotext', ['-layout', path, '-'],
    { encoding: 'utf8' });

async function check(name, test) {
    try {
        await test();
        bench.passed++;
        console.log(`ok    ${name}`);
    } catch (error) {
        bench.failed++;
        console.log(`FAIL  ${name}: ${error.stack ?? error}`);
    }
}

/* ---- what must be on the page ------------------------------------------------ */

const percent = (p) => (p > 0 && p < 0.01 ? '<1' : p > 0.99 && p < 1 ? '>99'
    : p.toFixed(9) && String(Math.round(100 * p)));
const mm = (d) => (Number.isInteger(2 * d) ? d.toFixed(1) : String(d));

/* Numbers of the JSON, each as the words that a person reads. */
function numbersOf(plan) {
    const list = [];
    const range = (r, what, digits = 0) => {
        if (r?.p50 != null)
            for (const key of ['p05', 'p50', 'p95'])
                list.push([r[key].toFixed(digits), `${what} ${key}`]);
    };
    for (const rung of plan.ladder) {
        list.push([mm(rung.dowel_mm), 'a dowel']);
        range(rung.flow_ml_min, `flow over ${rung.dowel_mm}`);
        range(rung.hand_pressure_mmhg, `hand over ${rung.dowel_mm}`);
        range(rung.index, `index over ${rung.dowel_mm}`, 2);
    }
    for (const row of plan.card.rows ?? plan.card)
        for (const end of [row.from_ml_min, row.to_ml_min])
            if (end != null && end > 0)
                list.push([String(end), 'a border of the card']);
    for (const key of ['low_ml_min', 'high_ml_min', 'floor_ml_min'])
        list.push([String(Math.round(plan.target[key])), `target ${key}`]);
    return list;
}

function expectNumbers(plan, text) {
    const words = new Set(text.split(/[^0-9.<>]+/).map((w) => w.replace(/\.$/, '')));
    const lacking = numbersOf(plan).filter(([word]) => !words.has(word));
    expect(lacking.length === 0, `not on the page: ${
        lacking.slice(0, 12).map(([w, what]) => `${w} (${what})`).join(', ')}`);
}

function expectPage(path) {
    const info = execFileSync('pdfinfo', [path], { encoding: 'utf8' });
    expect(/^Pages:\s+1$/m.test(info), info);
    expect(!/Fictional|0901/.test(info), `a patient in the metadata: ${info}`);
}

for (const [name, file] of [['before the procedure', 'plan.json'],
    ['after the first tie', 'plan-case.json'],
    ['the hand leads', 'plan-hand.json']]) {
    await check(`from a file, ${name}: the numbers of the plan are on one page`,
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
        });
}

await check('SVG, standard output, German, and what cannot be written', () => {
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

await check('in the DocumentReference of the Task: a PDF of the same plan', async () => {
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
    const today = Date.parse(new Date().toISOString().slice(0, 10));
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

rmSync(folder, { recursive: true, force: true });
killChildren();
console.log(`${bench.passed} passed, ${bench.failed} failed`);
process.exit(bench.failed > 0 ? 1 : 0);
