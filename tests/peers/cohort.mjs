/*
 * The surveillance rules on patients whose true state is known: what they
 * find, how soon, and how often they are wrong, with three ways to confirm a
 * flow and with the policy as shipped, whose targets are checked.
 *
 *     node cohort.mjs HEADGATE HEADGATE-COHORT [--patients N] [--days N]
 *         [--seed N] [--end YYYY-MM-DD] [--write FILE] [--keep FOLDER]
 *         [--misses] [--settings] [--policy FILE]
 *     node cohort.mjs --self-test
 *
 * Prints a Markdown table, which --write puts between its marks in a page.
 * Without --settings and --write only the policy as shipped is run; --policy
 * takes another in its place.
 * Exits with 1 if a target is missed.
 */
import { spawn } from 'node:child_process';
import { closeSync, mkdirSync, mkdtempSync, openSync, readFileSync, rmSync,
    writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';

import { arrivalsOf, readBacktest } from './cohort_backtest.mjs';
import { judge } from './cohort_judge.mjs';
import { changePolicy, patientNumber, readTruth, SETTINGS } from './cohort_read.mjs';
import { checkNoise } from './cohort_noise.mjs';
import { selfTest } from './cohort_selftest.mjs';
import { markdown, missesText, replaceTable } from './cohort_table.mjs';
import { expect, Unmet } from './delivery_kit.mjs';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
/* A configuration must say who may connect, even if nobody does. */
const CONFIG = ['--set', 'http.anonymous=true'];
const SHARDS = 2;
const LIMIT_MS = 1800000;
const TARGETS = { found: 0.9, false_per_year: 0.1 };
const HANDED_ON = ['patients', 'days', 'seed', 'end'];
const DEFAULTS = { patients: '600', days: '730', seed: '20250711', end: '2026-06-30' };

function readArguments(args) {
    const o = { ...DEFAULTS, programs: [] };
    for (let i = 0; i < args.length; i++) {
        const name = args[i].replace(/^--/, '');
        if (!args[i].startsWith('--'))
            o.programs.push(resolve(args[i]));
        else if (['misses', 'settings', 'self-test'].includes(name))
            o[name] = true;
        else if ([...HANDED_ON, 'write', 'keep', 'policy'].includes(name) && i + 1 < args.length)
            o[name] = args[++i];
        else
            throw new Unmet(`not understood: ${args[i]}`);
    }
    return o;
}

/* Run a program with its output in a file; resolves when it has ended well. */
function runInto(file, command, args) {
    const out = openSync(file, 'w');
    return new Promise((resolve, reject) => {
        const child = spawn(command, args, { cwd: ROOT, stdio: ['ignore', out, 'pipe'],
            timeout: LIMIT_MS });
        let said = '';
        child.stderr.on('data', (chunk) => { said += chunk; });
        child.on('error', (e) => reject(new Unmet(`${command}: ${e.message}`)));
        child.on('close', (code, signal) => {
            closeSync(out);
            if (code === 0)
                resolve();
            else
                reject(new Unmet(`${command} ended with ${signal ?? code}: ${said.slice(-2000)}`));
        });
    });
}

/* The three settings; the policy as shipped is one of them or comes last. */
function policies(folder, file) {
    const shipped = readFileSync(file, 'utf8');
    const list = SETTINGS.map((s) => ({ ...s, text: changePolicy(shipped, s) }));
    const same = list.find((p) => p.text === shipped);
    if (same !== undefined)
        Object.assign(same, { shipped: true, name: `${same.name} (shipped)` });
    else
        list.push({ name: 'as shipped', readings: 2, text: shipped, shipped: true });
    list.forEach((p, i) => {
        p.policy = join(folder, `policy-${i}.ini`);
        p.out = join(folder, `backtest-${i}.json`);
        writeFileSync(p.policy, p.text);
    });
    return list;
}

/* Patients have nothing to do with each other: every second one goes into a
 * feed of its own, so that two processors share the work evenly. */
function split(folder, readings) {
    const shards = Array.from({ length: SHARDS }, () => []);
    for (const line of readings.split('\n').filter(Boolean))
        shards[patientNumber(line) % SHARDS].push(line);
    return shards.map((lines, i) => {
        const file = join(folder, `feed-${i}.ndjson`);
        writeFileSync(file, `${lines.join('\n')}\n`);
        return file;
    });
}

async function backtestAll(headgate, feeds, runs) {
    const waiting = runs.flatMap((run) => feeds.map((feed, i) => [run, feed, i]));
    const worker = async () => {
        for (let job = waiting.shift(); job !== undefined; job = waiting.shift()) {
            const [run, feed, i] = job;
            await runInto(`${run.out}-${i}`, headgate,
                ['backtest', feed, '--json', ...CONFIG, '--policy', run.policy]);
        }
    };
    await Promise.all(feeds.map(worker));
    for (const run of runs)
        run.text = feeds.map((_, i) => readFileSync(`${run.out}-${i}`, 'utf8')).join('');
}

/* [what, met, value] of each target. */
function targets({ all }) {
    const percent = (x) => `${(100 * x).toFixed(1)} %`;
    return [
        ['falls of 35 % within four valid readings', all.falls_found >= TARGETS.found,
            `${percent(all.falls_found)} of ${all.falls}`],
        ['flows 20 % beyond a limit within four valid readings',
            all.flows_found >= TARGETS.found, `${percent(all.flows_found)} of ${all.flows}`],
        ['false suggestions that are not urgent, a patient-year',
            all.false_routine_per_year <= TARGETS.false_per_year,
            all.false_routine_per_year.toFixed(3)],
        ['immediate cases from their first reading', all.immediate_found === 1,
            `${percent(all.immediate_found)} of ${all.immediate}`],
    ];
}

/* Say each; returns how many are not met. */
function sayAll(checks) {
    for (const [what, met, value] of checks)
        console.log(`${met ? 'ok   ' : 'FAIL '} ${what}: ${value}`);
    return checks.filter(([, met]) => !met).length;
}

async function run(o, folder) {
    const [headgate, generator] = o.programs;
    const all = o.settings || o.write !== undefined;
    const options = HANDED_ON.flatMap((name) => [`--${name}`, o[name]]);
    const feed = join(folder, 'feed.ndjson'), truth = join(folder, 'truth.ndjson');
    await Promise.all([runInto(feed, generator, options),
        runInto(truth, generator, [...options, '--truth'])]);
    const runs = policies(folder, resolve(o.policy ?? join(ROOT, 'config/policy.ini')))
        .filter((p) => all || p.shipped);
    const patients = readTruth(readFileSync(truth, 'utf8'));
    const readings = readFileSync(feed, 'utf8');
    const arrivals = arrivalsOf(readings);
    await backtestAll(headgate, split(folder, readings), runs);
    for (const r of runs) {
        r.result = judge(patients,
            readBacktest(r.text, arrivals, r.readings));
        expect(r.result.unknown === 0,
            `${r.result.unknown} suggestions are of patients that are not in the cohort`);
    }
    return { runs, noise: checkNoise(readings, patients) };
}

function report(o, { runs, noise }) {
    const shipped = runs.find((r) => r.shipped).result;
    const text = markdown(runs, { ...o, years: shipped.years });
    console.log(text, '\n');
    if (o.write !== undefined)
        writeFileSync(o.write, replaceTable(readFileSync(o.write, 'utf8'), text));
    if (o.misses)
        console.log(missesText(shipped.judged), '\n');
    return sayAll([...noise, ...targets(shipped)]);
}

async function main() {
    const o = readArguments(process.argv.slice(2));
    if (o['self-test'])
        return selfTest();
    expect(o.programs.length === 2, 'two programs are needed: headgate and headgate-cohort');
    const folder = o.keep !== undefined ? resolve(o.keep)
        : mkdtempSync(join(tmpdir(), 'headgate-cohort-'));
    mkdirSync(folder, { recursive: true });
    try {
        return report(o, await run(o, folder));
    } finally {
        if (o.keep === undefined)
            rmSync(folder, { recursive: true, force: true });
    }
}

/* Not by running out of work: a child that could not start keeps its timer. */
try {
    process.exit(await main() === 0 ? 0 : 1);
} catch (e) {
    console.log(`FAIL  ${e instanceof Unmet ? e.message : e.stack}`);
    process.exit(1);
}
