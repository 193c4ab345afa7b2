/*
 * Creates, updates, patches and deletes.  The statuses are those of FHIR R4
 * (section 3.1, RESTful API) unless a test's name says "HAPI": there R4 leaves
 * it open or HAPI 8.8.0 goes its own way, and the test holds what it does.
 */

import assert from 'node:assert/strict';
import { describe, it } from 'node:test';
import { assertRefused, call, countOf, createOnce, JSON_PATCH, SYSTEM, tally,
    task, until } from './server_kit.mjs';

const AT_ONCE = 20;

export function writes(server) {
    const send = (...args) => call(server(), ...args);
    const many = (ask) => Promise.all(Array.from({ length: AT_ONCE }, ask));

    describe('create', () => {
        it('answers 201, Location, ETag and an id of its own', async () => {
            const made = await send('POST', '/Task', task('a', { id: 'mine' }));
            assert.equal(made.status, 201);
            assert.notEqual(made.body.id, 'mine');
            assert.equal(made.headers.get('etag'), 'W/"1"');
            assert.equal(made.headers.get('location'),
                `${server().base}/Task/${made.body.id}/_history/1`);
        });

        it('is conditional: 201, 200 with the same id, 412', async () => {
            const first = await createOnce(server(), 'b');
            const again = await createOnce(server(), 'b');
            assert.deepEqual([first.status, again.status], [201, 200]);
            assert.equal(again.body.id, first.body.id);
            assert.equal(again.headers.get('location'),
                first.headers.get('location'));
            await send('POST', '/Task', task('b'));
            assertRefused(await createOnce(server(), 'b'), 412,
                'matched 2 resources');
        });

        it('HAPI: of many at once one wins; others: 409, 200', async () => {
            for (const key of ['race-1', 'race-2', 'race-3']) {
                const all = await many(() => createOnce(server(), key));
                const counts = tally(all);
                assert.equal(counts[201], 1);
                assert.equal((counts[200] ?? 0) + (counts[409] ?? 0),
                    AT_ONCE - 1);
                assert.equal(await countOf(server(), key), 1);
                for (const lost of all.filter((a) => a.status === 409)) {
                    assertRefused(lost, 409, 'conditional constraint');
                }
                assert.equal((await createOnce(server(), key)).status, 200);
            }
        });

        it('forgets a match once the identifier has changed', async () => {
            const { body } = await createOnce(server(), 'c');
            await send('PUT', `/Task/${body.id}`, task('c-new',
                { id: body.id }));
            assert.equal((await createOnce(server(), 'c')).status, 201);
        });

        it('HAPI: refuses references to nothing with 400', async () => {
            assertRefused(await send('POST', '/Task', task('d',
                { for: { reference: 'Patient/absent' } })), 400,
            'Patient/absent not found');
            assertRefused(await send('POST', '/Task', task('d',
                { for: { reference: 'https://other.example/Patient/1' } })),
            400, 'external reference');
            assertRefused(await send('POST', '/Task', task('d',
                { owner: { reference: 'Observation/1' } })), 422,
            'not valid for this path');
            assert.equal((await send('POST', '/Task', task('d', { for:
                { identifier: { system: SYSTEM, value: 'p' } } }))).status,
            201);
        });

        it('refuses what it cannot read with 400', async () => {
            assertRefused(await send('POST', '/Task', '{"resourceType":'), 400);
            assertRefused(await send('POST', '/Task', task('e',
                { status: 'open' })), 400, 'Unknown TaskStatus');
            assertRefused(await send('POST', '/Task',
                { resourceType: 'Patient' }), 400, 'Incorrect resource type');
            assertRefused(await send('POST', '/Nothing', task('e')), 404);
        });

        it('honours Prefer: return=minimal and X-Request-Id', async () => {
            const made = await send('POST', '/Task', task('f'),
                { 'Prefer': 'return=minimal', 'X-Request-Id': 'ab-12' });
            assert.equal(made.status, 201);
            assert.equal(made.body, null);
            assert.equal(made.headers.get('x-request-id'), 'ab-12');
            const asked = await until('the log line', () =>
                server().requests().find((r) =>
                    r.headers['x-request-id'] === 'ab-12'));
            assert.deepEqual([asked.method, asked.path, asked.status],
                ['POST', '/fhir/Task', 201]);
        });
    });

    describe('update', () => {
        it('HAPI: a stale If-Match is 409, not 412', async () => {
            const { body } = await createOnce(server(), 'g');
            const put = (status, match) => send('PUT', `/Task/${body.id}`,
                { ...body, status }, { 'If-Match': match });
            const done = await put('accepted', 'W/"1"');
            assert.deepEqual([done.status, done.headers.get('etag')],
                [200, 'W/"2"']);
            assertRefused(await put('rejected', 'W/"1"'), 409,
                'not the current version');
        });

        it('of many at once with one If-Match one wins', async () => {
            const { body } = await createOnce(server(), 'h');
            let n = 0;
            const all = await many(() => send('PUT', `/Task/${body.id}`,
                { ...body, description: `d${n++}` }, { 'If-Match': 'W/"1"' }));
            assert.deepEqual(tally(all), { 200: 1, 409: AT_ONCE - 1 });
        });

        it('creates at a new id, with a letter in it', async () => {
            const at = (id) => send('PUT', `/Task/${id}`, task(id, { id }));
            assert.equal((await at('new-1')).status, 201);
            assert.equal((await at('new-1')).status, 200);
            assertRefused(await at('987654'), 400, 'non-numeric');
        });

        it('HAPI: equal content makes no new version', async () => {
            const first = await createOnce(server(), 'i');
            const again = await send('PUT', `/Task/${first.body.id}`,
                first.body);
            assert.equal(again.headers.get('etag'), 'W/"1"');
        });
    });

    describe('JSON Patch', () => {
        const patch = (id, operations, headers = {}) => send('PATCH',
            `/Task/${id}`, operations, { ...JSON_PATCH, ...headers });
        const to = (status) => ({ op: 'replace', path: '/status',
            value: status });
        const is = (status) => ({ op: 'test', path: '/status',
            value: status });

        it('HAPI: a failed test is 400 and changes nothing', async () => {
            const { body } = await createOnce(server(), 'j');
            const done = await patch(body.id, [is('requested'),
                to('accepted')]);
            assert.equal(done.status, 200);
            assert.equal(done.body.meta.versionId, '2');
            assertRefused(await patch(body.id, [is('requested'),
                to('rejected')]), 400, 'value differs');
            assert.equal((await send('GET', `/Task/${body.id}`)).body.status,
                'accepted');
        });

        it('HAPI: sends no ETag; a stale If-Match is 409', async () => {
            const { body } = await createOnce(server(), 'k');
            const done = await patch(body.id, [to('accepted')],
                { 'If-Match': 'W/"1"' });
            assert.equal(done.headers.get('etag'), null);
            assert.equal(done.headers.get('content-location'),
                `${server().base}/Task/${body.id}/_history/2`);
            assertRefused(await patch(body.id, [to('rejected')],
                { 'If-Match': 'W/"1"' }), 409, 'not the most recent version');
        });

        it('refuses bad operations, values and places', async () => {
            const { body } = await createOnce(server(), 'l');
            assertRefused(await patch(body.id, [{ op: 'remove',
                path: '/absent' }]), 400, 'no such path');
            assertRefused(await patch(body.id, [to('open')]), 400,
                'Unknown TaskStatus');
            assertRefused(await patch('absent', [to('accepted')]), 404);
        });
    });

    describe('delete', () => {
        it('leaves 410 and a history; a new create makes another', async () => {
            const { body } = await createOnce(server(), 'm');
            const gone = await send('DELETE', `/Task/${body.id}`);
            assert.ok([200, 204].includes(gone.status));
            assertRefused(await send('GET', `/Task/${body.id}`), 410);
            const { body: history } = await send('GET',
                `/Task/${body.id}/_history`);
            assert.deepEqual(history.entry.map((e) => e.request.method),
                ['DELETE', 'POST']);
            assert.equal(history.entry[0].resource, undefined);
            const next = await createOnce(server(), 'm');
            assert.equal(next.status, 201);
            assert.notEqual(next.body.id, body.id);
        });

        it('is refused with 409 while another refers to it', async () => {
            const patient = (await send('POST', '/Patient',
                { resourceType: 'Patient' })).body;
            await send('POST', '/Task', task('n',
                { for: { reference: `Patient/${patient.id}` } }));
            assertRefused(await send('DELETE', `/Patient/${patient.id}`), 409,
                'at least one resource has a reference');
        });
    });
}
