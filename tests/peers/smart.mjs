/*
 * SMART Backend Services on both sides, and signed statements, against
 * software that we did not write: jose, jsonwebtoken, oidc-provider.
 *
 *   node smart.mjs path/to/headgate path/to/tool_jose
 */

import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { Unmet, killChildren } from './delivery_kit.mjs';
import * as doors from './smart_doors.mjs';
import * as statements from './smart_jose.mjs';
import * as record from './smart_record.mjs';

const WHOLE_MS = 240000;
const bench = { passed: 0, failed: 0 };

async function run([name, scenario]) {
    try {
        await scenario(bench);
        bench.passed++;
        console.log(`ok    ${name}`);
    } catch (e) {
        bench.failed++;
        console.log(`FAIL  ${name}: ${e instanceof Unmet ? e.message
            : e.stack}`);
    }
}

function finish() {
    killChildren();
    rmSync(bench.folder, { recursive: true, force: true });
    console.log(`${bench.passed} passed, ${bench.failed} failed`);
    process.exit(bench.failed === 0 && bench.passed > 0 ? 0 : 1);
}

if (process.argv.length < 4) {
    console.error('usage: smart.mjs path/to/headgate path/to/tool_jose');
    process.exit(2);
}
bench.binary = resolve(process.argv[2]);
bench.tool = resolve(process.argv[3]);
bench.folder = mkdtempSync(join(tmpdir(), 'headgate-smart-'));
setTimeout(() => {
    console.log('FAIL  out of time');
    bench.failed++;
    finish();
}, WHOLE_MS);
const only = process.argv[4];
try {
    bench.keys = {};
    for (const alg of statements.ALGS)
        bench.keys[alg] = await statements.makeKey(alg, bench.folder, alg);
    if (only === undefined || only === 'jose')
        for (const one of statements.cases)
            await run(one);
    if (only === undefined || only === 'doors') {
        await doors.open(bench);
        for (const one of doors.cases)
            await run(one);
        await doors.close(bench);
    }
    if (only === undefined || only === 'record')
        for (const one of record.cases)
            await run(one);
} catch (e) {
    console.log(`FAIL  the test could not run: ${e.stack}`);
    bench.failed++;
}
finish();
