/* Searching, paging, history and export; "HAPI" as in server_write.mjs. */

import assert from 'node:assert/strict';
import { describe, it } from 'node:test';
import { assertRefused, call, createOnce, heartRate, SYSTEM, task, token,
    until } from './server_kit.mjs';

function next(answer) {
    return answer.body.link?.find((l) => l.relation === 'next')?.url;
}

/* Follows the next links; a list of [resource, ...] per page. */
async function pages(server, path) {
    const found = [];
    for (let url = path; url !== undefined;) {
        const page = await call(server, 'GET', url);
        assert.equal(page.status, 200);
        found.push((page.body.entry ?? []).map((e) => e.resource));
        url = next(page);
        assert.ok(url === undefined || url.startsWith(server.base));
    }
    return found;
}

export function searches(server) {
    const send = (...args) => call(server(), ...args);

    describe('search', () => {
        it('pages by _lastUpdated without loss or repeat', async () => {
            const made = [];
            for (let i = 0; i < 7; i++) {
                made.push((await send('POST', '/Observation', heartRate(60 + i,
                    { identifier: [{ system: SYSTEM, value: `page-${i}` }] })
                )).body);
            }
            const since = encodeURIComponent(made[0].meta.lastUpdated);
            const got = await pages(server(), `/Observation?_lastUpdated=ge${
                since}&_sort=_lastUpdated&_count=3`);
            assert.deepEqual(got.map((page) => page.length), [3, 3, 1]);
            assert.deepEqual(got.flat().map((r) => r.id),
                made.map((r) => r.id));
        });

        it('HAPI: a page under way does not see what is new', async () => {
            const path = `/Task?code=https://site.example/c|p&_count=2`;
            const code = { coding: [{ system: 'https://site.example/c',
                code: 'p' }] };
            for (const key of ['p1', 'p2', 'p3']) {
                await send('POST', '/Task', task(key, { code }));
            }
            const first = await send('GET', path);
            assert.equal(first.body.total, 3);
            await send('POST', '/Task', task('p4', { code }));
            const second = await send('GET', next(first));
            assert.equal(second.body.entry.length, 1);
            assert.equal(next(second), undefined);
            assert.equal((await send('GET', path)).body.total, 4);
        });

        it('HAPI: an unknown page is 410', async () => {
            assertRefused(await send('GET', '?_getpages=5d4b1f6e-3b1b-4a4c-'
                + '9b61-8c5e53f8b3aa&_getpagesoffset=3&_count=3'), 410);
        });

        it('includes what a Task is for, and its Provenance', async () => {
            const patient = (await send('POST', '/Patient',
                { resourceType: 'Patient' })).body;
            const made = (await send('POST', '/Task', task('with-patient',
                { for: { reference: `Patient/${patient.id}` } }))).body;
            await send('POST', '/Provenance', { resourceType: 'Provenance',
                target: [{ reference: `Task/${made.id}` }],
                recorded: '2026-01-01T00:00:00Z',
                agent: [{ who: { display: 'a device' } }] });
            const found = await send('GET', `/Task?_id=${made.id
            }&_include=Task:patient&_revinclude=Provenance:target`);
            assert.equal(found.body.total, 1);
            assert.deepEqual(found.body.entry.map((e) =>
                [e.resource.resourceType, e.search.mode]).sort(),
            [['Patient', 'include'], ['Provenance', 'include'],
                ['Task', 'match']]);
        });

        it('is by GET or POST, with :not, commas and dates', async () => {
            const at = (day) => ({ authoredOn: `2026-03-0${day}T08:00:00Z`,
                code: { text: 'dated' }, groupIdentifier:
                    { system: SYSTEM, value: 'dated' } });
            await send('POST', '/Task', task('d1', at(1)));
            await send('POST', '/Task', task('d2', { ...at(2),
                status: 'accepted' }));
            const group = `group-identifier=${encodeURIComponent(
                `${SYSTEM}|dated`)}`;
            const keys = async (query) => (await send('GET',
                `/Task?${group}&${query}`)).body.entry?.map((e) =>
                e.resource.identifier[0].value).sort() ?? [];
            assert.deepEqual(await keys('status:not=accepted'), ['d1']);
            assert.deepEqual(await keys('status=accepted,requested'),
                ['d1', 'd2']);
            assert.deepEqual(await keys('authored-on=gt2026-03-01'), ['d2']);
            assert.deepEqual(await keys(
                'authored-on=lt2026-03-01T10:00:01%2B02:00'), ['d1']);
            const posted = await send('POST', '/Task/_search', token('d1'),
                { 'Content-Type': 'application/x-www-form-urlencoded' });
            assert.equal(posted.body.total, 1);
        });

        it('HAPI: unknown parameters are 400 unless lenient', async () => {
            const ask = (handling) => send('GET', '/Task?nonsense=1',
                undefined, handling && { Prefer: `handling=${handling}` });
            assertRefused(await ask(), 400, 'Unknown search parameter');
            assertRefused(await ask('strict'), 400, '"nonsense"');
            const lenient = await ask('lenient');
            assert.equal(lenient.status, 200);
            const self = lenient.body.link.find((l) => l.relation === 'self');
            assert.ok(!self.url.includes('nonsense'));
            assertRefused(await send('GET', '/Task?_lastUpdated=gesoon'), 400);
        });
    });

    describe('history', () => {
        it('lists versions newest first and serves each', async () => {
            const { body } = await createOnce(server(), 'versions');
            await send('PUT', `/Task/${body.id}`, { ...body,
                status: 'accepted' });
            const all = await send('GET', `/Task/${body.id}/_history`);
            assert.equal(all.body.type, 'history');
            assert.deepEqual(all.body.entry.map((e) =>
                [e.resource.meta.versionId, e.response.etag]),
            [['2', 'W/"2"'], ['1', 'W/"1"']]);
            const first = await send('GET', `/Task/${body.id}/_history/1`);
            assert.equal(first.body.status, 'requested');
            const same = await send('GET', `/Task/${body.id}`, undefined,
                { 'If-None-Match': 'W/"2"' });
            assert.equal(same.status, 304);
        });

        it('of a type shows deletions since a time', async () => {
            const { body } = await createOnce(server(), 'short-lived');
            await send('DELETE', `/Task/${body.id}`);
            const since = encodeURIComponent(body.meta.lastUpdated);
            const { body: history } = await send('GET',
                `/Task/_history?_since=${since}`);
            assert.deepEqual(history.entry.map((e) => e.request.method),
                ['DELETE', 'POST']);
        });
    });

    describe('$export', () => {
        it('is asynchronous and ends in NDJSON (Bulk Data)', async () => {
            await createOnce(server(), 'exported');
            assertRefused(await send('GET', '/$export'), 400, 'async');
            const begun = await send('GET', '/$export?_type=Task', undefined,
                { Prefer: 'respond-async' });
            assert.equal(begun.status, 202);
            const poll = begun.headers.get('content-location');
            const done = await until('$export', async () => {
                const answer = await send('GET', poll);
                assert.ok([200, 202].includes(answer.status));
                return answer.status === 200 && answer;
            }, 90_000);
            const [file] = done.body.output;
            assert.equal(file.type, 'Task');
            const res = await fetch(file.url,
                { headers: { Accept: 'application/fhir+ndjson' } });
            const lines = (await res.text()).trim().split('\n').map(JSON.parse);
            assert.ok(lines.every((r) => r.resourceType === 'Task'));
            assert.ok(lines.some((r) =>
                r.identifier?.[0].value === 'exported'));
        });
    });
}
