/*
 * A running service as a sender meets it, over HTTP.
 *
 *   node endpoint.mjs path/to/headgate [PART-OF-A-NAME]
 *
 * Nothing of ours helps here: the client, the JSON scanner and the validators
 * are independent, and every body that comes back has to be valid R4.
 */

import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from './delivery_kit.mjs';
import { Client, counts, Endpoint, matches, searchPages }
    from './endpoint_kit.mjs';
import { Suite } from './suite.mjs';
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

/* In this order: later ones use what earlier ones have stored. */
const CASES = [...storeCases, ...refuseCases, ...requestCases, ...bundleCases,
    ...identityCases, ...searchCases, ...taskCases, ...patchCases,
    ...interactionCases, ...doorCases, ...roughCases,
    ...lastCases];

const ARRIVE_MS = 10000;

const bench = Object.assign(new Suite(), { tasksOf });

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

bench.close = () => console.log(`${counts.bodies} bodies were valid, ${
    counts.distinct} of them distinct`);
await bench.main(async () => {
    const folder = join(bench.tmp, 'open');
    mkdirSync(folder);
    bench.service = new Endpoint(bench.binary, folder,
        { 'log.level': 'debug' });
    await bench.service.start();
    bench.client = new Client(bench.service.url);
    await bench.each(CASES);
});
