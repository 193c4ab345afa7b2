/*
 * That the HAPI server of this folder is the FHIR server that a client meets
 * in the field: run by node --test.  The last group kills it.
 */

import assert from 'node:assert/strict';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { after, before, describe, it } from 'node:test';
import { start } from './server.mjs';
import { bundles } from './server_bundle.mjs';
import { hooks } from './server_hook.mjs';
import { assertRefused, call, task } from './server_kit.mjs';
import { searches } from './server_search.mjs';
import { writes } from './server_write.mjs';

describe('as shipped, on disk', () => {
    const data = mkdtempSync(join(tmpdir(), 'fhir-data-'));
    let running;
    before(async () => { running = await start({ data }); });
    after(async () => {
        await running?.stop();
        rmSync(data, { recursive: true });
    });
    const server = () => running;

    it('says what it can do', async () => {
        const { body } = await call(running, 'GET', '/metadata');
        assert.equal(body.fhirVersion, '4.0.1');
        const [rest] = body.rest;
        assert.ok(body.patchFormat.includes('application/json-patch+json'));
        assert.ok(rest.interaction.some((i) => i.code === 'transaction'));
        const type = rest.resource.find((r) => r.type === 'Task');
        assert.equal(type.conditionalCreate, true);
        assert.equal(type.versioning, 'versioned-update');
    });

    writes(server);
    bundles(server);
    searches(server);
    hooks(server);
});

describe('validating, lenient and stale, in memory', () => {
    let running;
    before(async () => {
        running = await start({ validate: true, lenient: true, stale: true,
            heap: '768m' });
    });
    after(() => running?.stop());

    it('refuses with 422 what the instance validator refuses', async () => {
        const bad = task('a');
        delete bad.status;
        assertRefused(await call(running, 'POST', '/Task', bad), 422,
            'Task.status: minimum required = 1');
        assert.equal((await call(running, 'POST', '/Task', task('a'))).status,
            201);
    });

    it('ignores search parameters nobody knows', async () => {
        const found = await call(running, 'GET', '/Task?nonsense=1');
        assert.equal(found.status, 200);
        assert.equal(found.body.total, 1);
    });

    it('HAPI: repeats an old answer, but for no-cache', async () => {
        const count = async (headers) => (await call(running, 'GET',
            '/Task?status=requested', undefined, headers)).body.total;
        const old = await count();
        await call(running, 'POST', '/Task', task('b'));
        assert.equal(await count(), old);
        assert.equal(await count({ 'Cache-Control': 'no-cache' }), old + 1);
    });
});
