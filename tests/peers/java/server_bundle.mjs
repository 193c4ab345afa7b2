/* Transactions and batches (FHIR R4, 3.1.0.11); "HAPI" as in server_write. */

import assert from 'node:assert/strict';
import { describe, it } from 'node:test';
import { assertRefused, call, countOf, createOnce, SYSTEM, task }
    from './server_kit.mjs';

const A = 'urn:uuid:5d4b1f6e-3b1b-4a4c-9b61-8c5e53f8b3aa';
const B = 'urn:uuid:6d4b1f6e-3b1b-4a4c-9b61-8c5e53f8b3aa';

function post(resource, fullUrl, ifNoneExist) {
    return { fullUrl, resource, request: { method: 'POST',
        url: resource.resourceType, ifNoneExist } };
}

function key(value) { return `identifier=${SYSTEM}|${value}`; }

export function bundles(server) {
    const send = (...args) => call(server(), ...args);
    const bundle = (type, entry) => send('POST', '/',
        { resourceType: 'Bundle', type, entry });
    const statuses = (answer) => answer.body.entry.map((e) =>
        e.response.status.slice(0, 3));
    const patientAndTask = (name) => bundle('transaction', [
        post(task(`task-${name}`, { for: { reference: B } }), A,
            key(`task-${name}`)),
        post({ resourceType: 'Patient', identifier: [{ system: SYSTEM,
            value: `patient-${name}` }] }, B, key(`patient-${name}`))]);

    describe('transaction', () => {
        it('rewrites urn:uuid references and is conditional', async () => {
            const first = await patientAndTask('a');
            assert.equal(first.body.type, 'transaction-response');
            assert.deepEqual(statuses(first), ['201', '201']);
            const at = first.body.entry.map((e) => e.response.location);
            const made = await send('GET', `/${at[0]}`);
            assert.equal(`${made.body.for.reference}/_history/1`, at[1]);
            const again = await patientAndTask('a');
            assert.deepEqual(statuses(again), ['200', '200']);
            assert.deepEqual(again.body.entry.map((e) => e.response.location),
                at);
        });

        it('HAPI: entry.response.etag is bare, location relative', async () => {
            const { response } = (await patientAndTask('b')).body.entry[0];
            assert.equal(response.etag, '1');
            assert.match(response.location, /^Task\/\d+\/_history\/1$/);
        });

        it('takes back all if one fails', async () => {
            assertRefused(await bundle('transaction', [
                post(task('rolled-back')),
                post(task('bad', { for: { reference: 'Patient/absent' } }))]),
            400, 'Patient/absent not found');
            assert.equal(await countOf(server(), 'rolled-back'), 0);
        });

        it('fails as a whole on two matches (412), on If-Match', async () => {
            await send('POST', '/Task', task('two'));
            await send('POST', '/Task', task('two'));
            assertRefused(await bundle('transaction',
                [post(task('two'), A, key('two'))]), 412);
            const { body } = await createOnce(server(), 'old');
            assertRefused(await bundle('transaction', [{ resource: { ...body,
                description: 'd' }, request: { method: 'PUT',
                url: `Task/${body.id}`, ifMatch: 'W/"7"' } }]), 409);
        });

        it('HAPI: folds equal ifNoneExist into one answer entry', async () => {
            const answer = await bundle('transaction', [
                post(task('same'), A, key('same')),
                post(task('same'), B, key('same'))]);
            assert.equal(answer.body.entry.length, 1);
            assert.equal(await countOf(server(), 'same'), 1);
        });

        it('HAPI: many at once are 200 or 409 as a whole', async () => {
            const all = await Promise.all(Array.from({ length: 10 },
                () => patientAndTask('race')));
            for (const answer of all) {
                assert.ok([200, 409].includes(answer.status));
            }
            assert.equal(all.filter((a) => a.status === 200
                && statuses(a)[0] === '201').length, 1);
            assert.equal(await countOf(server(), 'task-race'), 1);
            assert.equal(await countOf(server(), 'patient-race', 'Patient'),
                1);
        });
    });

    describe('batch', () => {
        it('is 200 with failures inside, in the order asked', async () => {
            await send('POST', '/Task', task('double'));
            await send('POST', '/Task', task('double'));
            const { body } = await createOnce(server(), 'in-batch');
            const answer = await bundle('batch', [
                post(task('fresh'), A, key('fresh')),
                post(task('in-batch'), B, key('in-batch')),
                post(task('bad', { for: { reference: 'Patient/absent' } })),
                { request: { method: 'GET', url: 'Task/absent' } },
                { resource: { ...body, description: 'd' }, request: {
                    method: 'PUT', url: `Task/${body.id}`,
                    ifMatch: 'W/"7"' } },
                post(task('double'), undefined, key('double')),
                { request: { method: 'GET', url: `Task?${key('double')}` } }]);
            assert.equal(answer.status, 200);
            assert.equal(answer.body.type, 'batch-response');
            assert.deepEqual(statuses(answer),
                ['201', '200', '400', '404', '409', '412', '200']);
            const { outcome } = answer.body.entry[2].response;
            assert.equal(outcome.issue[0].severity, 'error');
            assert.equal(answer.body.entry[6].resource.total, 2);
        });

        it('refuses a Bundle that is neither with 400', async () => {
            assertRefused(await bundle('collection', []), 400);
        });
    });
}
