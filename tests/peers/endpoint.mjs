/*
 * A running service as a sender meets it, over HTTP.
 *
 *   node endpoint.mjs path/to/headgate
 *
 * Nothing of ours helps here: the client, the JSON scanner and the validators
 * are independent, and every body that comes back has to be valid R4.
 */

import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, killChildren, Unmet } from './delivery_kit.mjs';
import { Client, counts, Endpoint, matches, searchPages }
    from './endpoint_kit.mjs';
import { bundleCases } from './endpoint_bundle.mjs';
import { doorCases, lastCases } from './endpoint_doors.mjs';
import { identityCases } from './endpoint_identity.mjs';
import { interactionCases } from './endpoint_interactions.mjs';
import { patchCases } from './endpoint_patch.mjs';
import { refuseCases } from './endpoint_refuse.mjs';
import { requestCases } from './endpoint_requests.mjs';
import { roughCases } from './endpoint_rough.mjs';
import { searchCases } from './endpoint_search.mjs';
import { storeCases } from './endpoint_store.mjs';
import { taskCases } from './endpoint_task.mjs';

const WHOLE_MS = 600000;
/* In this order: later ones use what earlier ones have stored. */
const CASES = [...storeCases, ...refuseCases, ...requestCases, ...bundleCases,
    ...identityCases, ...searchCases, ...taskCases, ...patchCases,
    ...interactionCases, ...doorCases, ...roughCases,
    ...lastCases];

const ARRIVE_MS = 10000;

const bench = { passed: 0, failed: 0, tasksOf };

/* The Tasks of a patient, when there are at least so many. */
async function tasksOf(patient, count, isWanted = () => true) {
    const query = `/Task?patient=${encodeURIComponent(patient)}`;
    for (const end = Date.now() + ARRIVE_MS;; await sleep(30)) {
        const tasks = matches(await searchPages(bench.client, query));
        if (tasks.length >= count && isWanted(tasks))
            return tasks;
        expect(Date.now() < end, `${tasks.length} Tasks of ${count}: ${
            tasks.map((t) => `${t.status} ${t.code.coding[0].code}`)}`);
    }
}

async function run([name, scenario]) {
    const began = performance.now();
    const spent = () => ((performance.now() - began) / 1000).toFixed(1);
    try {
        await scenario(bench);
        bench.passed++;
        console.log(`ok    ${name} (${spent()} s)`);
    } catch (e) {
        bench.failed++;
        console.log(`FAIL  ${name} (${spent()} s): ${
            e instanceof Unmet ? e.message : e.stack}`);
    }
}

function finish(folder) {
    killChildren();
    rmSync(folder, { recursive: true, force: true });
    console.log(`${counts.bodies} bodies were valid, ${counts.distinct} of `
        + 'them distinct');
    console.log(`${bench.passed} passed, ${bench.failed} failed`);
    process.exit(bench.failed === 0 && bench.passed > 0 ? 0 : 1);
}

async function main(binary, only) {
    const folder = mkdtempSync(join(tmpdir(), 'headgate-endpoint-'));
    const stop = (why) => {
        console.log(`FAIL  ${why}`);
        bench.failed++;
        finish(folder);
    };
    setTimeout(stop, WHOLE_MS, 'out of time');
    process.on('SIGINT', () => stop('interrupted'));
    process.on('SIGTERM', () => stop('ended from outside'));
    try {
        Object.assign(bench, { folder, binary: resolve(binary) });
        mkdirSync(join(folder, 'open'));
        bench.service = new Endpoint(bench.binary, join(folder, 'open'),
            { 'log.level': 'debug' });
        await bench.service.start();
        bench.client = new Client(bench.service.url);
        for (const one of CASES.filter(([name]) => name.includes(only)))
            await run(one);
    } catch (e) {
        return stop(`the test could not run: ${e.stack}`);
    }
    return finish(folder);
}

if (process.argv.length < 3 || process.argv.length > 4) {
    console.error('usage: endpoint.mjs path/to/headgate [PART-OF-A-NAME]');
    process.exit(2);
}
await main(process.argv[2], process.argv[3] ?? '');
