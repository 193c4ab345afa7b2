/*
 * SMART Backend Services on both sides, and signed statements, against
 * software that we did not write: jose, jsonwebtoken, oidc-provider.
 *
 *   node smart.mjs path/to/headgate path/to/tool_jose [jose|doors|record]
 */

import * as doors from './smart_doors.mjs';
import * as statements from './smart_jose.mjs';
import * as record from './smart_record.mjs';
import { Suite } from './suite.mjs';

const bench = new Suite({ needs: ['path/to/headgate', 'path/to/tool_jose'],
    more: '[jose|doors|record]', wholeMs: 240000 });
const parts = { jose: async () => {
    await bench.each(statements.cases);
}, doors: async () => {
    await doors.open(bench);
    await bench.each(doors.cases);
    await doors.close(bench);
}, record: async () => {
    await bench.each(record.cases);
} };

bench.tool = bench.files[1];
bench.only = '';
await bench.main(async () => {
    bench.keys = {};
    for (const alg of statements.ALGS)
        bench.keys[alg] = await statements.makeKey(alg, bench.tmp, alg);
    for (const [name, part] of Object.entries(parts))
        if (name === (bench.words[0] ?? name))
            await part();
});
