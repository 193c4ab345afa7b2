/* Rest-hook Subscriptions (FHIR R4, Subscription); "HAPI" as elsewhere. */

import assert from 'node:assert/strict';
import { createServer } from 'node:http';
import { after, before, describe, it } from 'node:test';
import { assertRefused, call, heartRate, until } from './server_kit.mjs';

/* Keeps what arrives; answers 500 below a path in refused, else 200. */
async function receiver() {
    const got = [];
    const refused = [];
    const http = createServer((req, res) => {
        let body = '';
        req.on('data', (chunk) => { body += chunk; });
        req.on('end', () => {
            got.push({ method: req.method, url: req.url, body,
                headers: req.headers });
            res.statusCode = refused.some((path) =>
                req.url.startsWith(path)) ? 500 : 200;
            res.end();
        });
    });
    await new Promise((resolve) => { http.listen(0, '127.0.0.1', resolve); });
    return { got, refused, url: `http://127.0.0.1:${http.address().port}`,
        close: () => { http.closeAllConnections(); http.close(); } };
}

export function hooks(server) {
    const send = (...args) => call(server(), ...args);
    let sink;
    before(async () => { sink = await receiver(); });
    after(() => sink.close());

    function subscription(path, more = {}) {
        return { resourceType: 'Subscription', status: 'requested',
            reason: 'test',
            criteria: 'Observation?code=http://loinc.org|8867-4',
            channel: { type: 'rest-hook', endpoint: `${sink.url}/${path}`,
                ...more } };
    }

    async function active(resource) {
        const made = await send('POST', '/Subscription', resource);
        assert.equal(made.status, 201);
        assert.equal(made.body.status, 'requested');
        await until('active', async () => (await send('GET',
            `/Subscription/${made.body.id}`)).body.status === 'active');
        return made.body.id;
    }

    describe('rest-hook', () => {
        it('HAPI: with a payload it is PUT endpoint/Type/id', async () => {
            await active(subscription('full', {
                payload: 'application/fhir+json',
                header: ['Authorization: Bearer t'] }));
            const made = (await send('POST', '/Observation',
                heartRate(70))).body;
            const path = `/full/Observation/${made.id}`;
            const hook = await until('the hook', () =>
                sink.got.find((g) => g.url === path));
            assert.equal(hook.method, 'PUT');
            assert.equal(hook.headers.authorization, 'Bearer t');
            assert.match(hook.headers['content-type'],
                /^application\/fhir\+json/);
            assert.equal(hook.headers['if-match'], 'W/"1"');
            assert.equal(JSON.parse(hook.body).id, made.id);
        });

        it('without a payload it is an empty POST (R4)', async () => {
            await active(subscription('ping'));
            await send('POST', '/Observation', heartRate(71));
            const hook = await until('the hook', () =>
                sink.got.find((g) => g.url === '/ping'));
            assert.equal(hook.method, 'POST');
            assert.equal(hook.body, '');
        });

        it('HAPI: a refused payload comes again', async () => {
            await active(subscription('again',
                { payload: 'application/fhir+json' }));
            sink.refused.push('/again');
            const made = (await send('POST', '/Observation',
                heartRate(72))).body;
            const path = `/again/Observation/${made.id}`;
            const tries = () => sink.got.filter((g) => g.url === path);
            await until('a second delivery', () => tries().length > 1);
            assert.equal(tries()[0].body, tries()[1].body);
            sink.refused.length = 0;
        });

        it('HAPI: a criteria nobody can follow is 422', async () => {
            assertRefused(await send('POST', '/Subscription',
                { ...subscription('x'), criteria: 'Nothing?a=b' }), 422);
            assertRefused(await send('POST', '/Subscription',
                { ...subscription('x'), criteria: 'Task?nonsense=1' }), 422);
        });

        it('goes on after the server was killed', async () => {
            const before = (await send('POST', '/Observation',
                heartRate(73))).body;
            await server().kill();
            await server().restart();
            const read = await send('GET', `/Observation/${before.id}`);
            assert.equal(read.status, 200);
            assert.equal(read.body.meta.lastUpdated, before.meta.lastUpdated);
            const made = (await send('POST', '/Observation',
                heartRate(74))).body;
            await until('the hook', () => sink.got.some((g) =>
                g.url === `/full/Observation/${made.id}`), 90_000);
        });
    });
}
