/*
 * The peer's own test: that it answers as FHIR R4 says a server does (3.1,
 * RESTful API), and that each fault does what it says.  Run by node --test.
 */

import assert from 'node:assert/strict';
import { after, before, describe, it } from 'node:test';
import { startRecord } from './record.mjs';

const SYSTEM = 'https://site.example/ids/task';
const FHIR_JSON = 'application/fhir+json';
let record;

before(async () => { record = await startRecord(); });
after(() => record.close());

function task(key, extra = {}) {
    return { resourceType: 'Task', status: 'requested', intent: 'proposal',
        identifier: [{ system: SYSTEM, value: key }], ...extra };
}

async function call(method, path, body, headers = {}) {
    const res = await fetch(record.url + path, { method,
        body: typeof body === 'object' ? JSON.stringify(body) : body,
        headers: { 'Content-Type': FHIR_JSON, ...headers } });
    const text = await res.text();
    return { status: res.status, headers: res.headers,
        body: text === '' ? null : JSON.parse(text) };
}

async function control(method, path, body) {
    const res = await fetch(record.control + path, { method,
        body: body && JSON.stringify(body) });
    const text = await res.text();
    return { status: res.status, body: text === '' ? null : JSON.parse(text) };
}

async function countOf(key) {
    const query = new URLSearchParams({ type: 'Task',
        identifier: `${SYSTEM}|${key}` });
    return (await control('GET', `/count?${query}`)).body.count;
}

function conditional(key) {
    return { 'If-None-Exist': `identifier=${encodeURIComponent(
        `${SYSTEM}|${key}`)}` };
}

function assertOutcome(answer, status) {
    assert.equal(answer.status, status);
    assert.equal(answer.body.resourceType, 'OperationOutcome');
    assert.equal(answer.body.issue[0].severity, 'error');
}

describe('create', () => {
    it('answers 201, Location and ETag and ignores a given id', async () => {
        const a = await call('POST', '/Task', task('c1', { id: 'mine' }));
        assert.equal(a.status, 201);
        assert.notEqual(a.body.id, 'mine');
        assert.equal(a.headers.get('etag'), 'W/"1"');
        assert.equal(a.headers.get('location'),
            `${record.url}/Task/${a.body.id}/_history/1`);
        assert.equal(a.body.meta.versionId, '1');
    });

    it('is conditional: 201, then 200 with the same id, then 412', async () => {
        const create = () => call('POST', '/Task', task('c2'),
            conditional('c2'));
        const first = await create();
        const again = await create();
        assert.deepEqual([first.status, again.status], [201, 200]);
        assert.equal(again.body.id, first.body.id);
        assert.equal(again.headers.get('etag'), 'W/"1"');
        assert.equal(await countOf('c2'), 1);
        await call('POST', '/Task', task('c2'));
        assertOutcome(await create(), 412);
    });

    it('makes one of 30 conditional creates at once', async () => {
        const all = await Promise.all(Array.from({ length: 30 },
            () => call('POST', '/Task', task('c3'), conditional('c3'))));
        assert.equal(all.filter((a) => a.status === 201).length, 1);
        assert.equal(all.filter((a) => a.status === 200).length, 29);
        assert.equal(await countOf('c3'), 1);
    });

    it('refuses a condition that would match everything', async () => {
        assertOutcome(await call('POST', '/Task', task('c4'),
            { 'If-None-Exist': 'nonsense=1' }), 400);
        assertOutcome(await call('POST', '/Task', task('c4'),
            { 'If-None-Exist': '' }), 400);
        assert.equal(await countOf('c4'), 0);
    });

    it('honours Prefer: return=minimal', async () => {
        const a = await call('POST', '/Task', task('c5'),
            { Prefer: 'return=minimal' });
        assert.equal(a.status, 201);
        assert.equal(a.body, null);
        assert.match(a.headers.get('location'), /\/Task\/[^/]+\/_history\/1$/);
    });
});

describe('refusals', () => {
    const cases = [
        ['missing element', 'POST', '/Task',
            { resourceType: 'Task', status: 'requested' }, {}, 400],
        ['unknown element', 'POST', '/Task', task('r1', { bogus: 1 }), {}, 400],
        ['wrong type', 'POST', '/Task', { resourceType: 'Patient' }, {}, 400],
        ['not JSON', 'POST', '/Task', '{"resourceType":', {}, 400],
        ['no object', 'POST', '/Task', '3', {}, 400],
        ['bad id', 'PUT', '/Task/a_b', task('r1', { id: 'a_b' }), {}, 400],
        ['id of another', 'PUT', '/Task/a', task('r1', { id: 'b' }), {}, 400],
        ['media type', 'POST', '/Task', task('r1'),
            { 'Content-Type': 'text/plain' }, 415],
        ['no such type', 'GET', '/Tsk', undefined, {}, 404],
        ['no such id', 'GET', '/Task/none', undefined, {}, 404],
        ['strict search', 'GET', '/Task?nonsense=1', undefined,
            { Prefer: 'handling=strict' }, 400],
    ];
    for (const [name, method, path, body, headers, status] of cases) {
        it(`${name}: ${status}`, async () => {
            assertOutcome(await call(method, path, body, headers), status);
            assert.equal(await countOf('r1'), 0);
        });
    }
});

describe('update', () => {
    it('creates with 201, then updates with 200 and a version', async () => {
        const body = task('u1', { id: 'u1' });
        const made = await call('PUT', '/Task/u1', body);
        const next = await call('PUT', '/Task/u1', body);
        assert.deepEqual([made.status, next.status], [201, 200]);
        assert.equal(next.headers.get('etag'), 'W/"2"');
    });

    it('checks If-Match in each of its spellings', async () => {
        const body = task('u2', { id: 'u2' });
        await call('PUT', '/Task/u2', body);
        let version = 1;
        for (const form of [(v) => `W/"${v}"`, (v) => `"${v}"`, (v) => v]) {
            const stale = await call('PUT', '/Task/u2', body,
                { 'If-Match': form(String(version + 7)) });
            assertOutcome(stale, 412);
            const good = await call('PUT', '/Task/u2', body,
                { 'If-Match': form(String(version)) });
            assert.equal(good.status, 200);
            version++;
        }
    });

    it('patches with a test, and refuses where the test fails', async () => {
        await call('PUT', '/Task/u3', task('u3', { id: 'u3' }));
        const patch = [{ op: 'test', path: '/status', value: 'requested' },
            { op: 'replace', path: '/status', value: 'cancelled' }];
        const type = { 'Content-Type': 'application/json-patch+json' };
        const stale = await call('PATCH', '/Task/u3', patch,
            { ...type, 'If-Match': 'W/"9"' });
        assertOutcome(stale, 412);
        const done = await call('PATCH', '/Task/u3', patch,
            { ...type, 'If-Match': 'W/"1"' });
        assert.equal(done.status, 200);
        assert.equal(done.body.status, 'cancelled');
        assert.equal(done.body.meta.versionId, '2');
        assertOutcome(await call('PATCH', '/Task/u3', patch, type), 400);
    });
});

describe('read', () => {
    it('answers 304 to the known version', async () => {
        await call('PUT', '/Task/v1', task('v1', { id: 'v1' }));
        const same = await call('GET', '/Task/v1', undefined,
            { 'If-None-Match': 'W/"1"' });
        assert.equal(same.status, 304);
        const other = await call('GET', '/Task/v1', undefined,
            { 'If-None-Match': 'W/"0"' });
        assert.equal(other.status, 200);
    });

    it('answers 410 after a deletion and keeps the history', async () => {
        await call('PUT', '/Task/v2', task('v2', { id: 'v2' }));
        assert.equal((await call('DELETE', '/Task/v2')).status, 204);
        assert.equal((await call('DELETE', '/Task/v2')).status, 204);
        assertOutcome(await call('GET', '/Task/v2'), 410);
        assert.equal((await call('GET', '/Task/v2/_history/1')).status, 200);
        const again = await call('PUT', '/Task/v2', task('v2', { id: 'v2' }));
        assert.equal(again.status, 201);
        assert.equal(again.headers.get('etag'), 'W/"3"');
        for (let reading = 0; reading < 2; reading++) {
            const history = await call('GET', '/Task/v2/_history');
            assert.deepEqual(history.body.entry.map((e) => e.response.etag),
                ['W/"3"', 'W/"2"', 'W/"1"']);
        }
    });
});

describe('search', () => {
    before(async () => {
        for (let n = 0; n < 5; n++)
            await call('POST', '/Task', task(`s${n}`, { priority: 'stat' }));
    });

    it('pages by opaque links and yields each match once', async () => {
        const seen = [];
        let next = `${record.url}/Task?priority=stat&_count=2`;
        for (let pages = 0; next !== undefined; pages++) {
            assert.ok(pages < 3, 'three pages are enough');
            assert.ok(pages === 0 || !/_offset|priority/.test(next));
            const page = next.slice(record.url.length);
            const bundle = (await call('GET', page)).body;
            assert.equal(bundle.total, 5);
            seen.push(...bundle.entry.map((e) => e.fullUrl));
            next = bundle.link.find((l) => l.relation === 'next')?.url;
        }
        assert.equal(new Set(seen).size, 5);
    });

    it('answers 410 to a page that it does not know', async () => {
        assertOutcome(await call('GET', '?_page=none'), 410);
    });

    it('searches by form, ignores what is unknown, counts', async () => {
        const form = await call('POST', '/Task/_search', 'identifier='
            + encodeURIComponent(`${SYSTEM}|s3`),
        { 'Content-Type': 'application/x-www-form-urlencoded' });
        assert.equal(form.body.total, 1);
        const loose = await call('GET', '/Task?priority=stat&nonsense=1');
        assert.equal(loose.body.total, 5);
        const count = await call('GET', '/Task?priority=stat&_summary=count');
        assert.deepEqual([count.body.total, count.body.entry], [5, undefined]);
    });

    it('says what it can do', async () => {
        const { status, body } = await call('GET', '/metadata');
        assert.equal(status, 200);
        assert.equal(body.fhirVersion, '4.0.1');
        assert.ok(body.rest[0].resource.some((r) => r.type === 'Task'));
    });
});

describe('bundles', () => {
    const uuid = 'urn:uuid:11111111-2222-4333-8444-555555555555';
    const put = (resource) => ({ resource,
        request: { method: 'PUT', url: `Task/${resource.id}` } });
    const bundle = (type, entry) => ({ resourceType: 'Bundle', type, entry });

    it('runs a transaction and resolves references in it', async () => {
        const { status, body } = await call('POST', '', bundle('transaction', [
            { fullUrl: uuid, resource: task('b1'),
                request: { method: 'POST', url: 'Task' } },
            put(task('b2', { id: 'b2', partOf: [{ reference: uuid }] }))]));
        assert.equal(status, 200);
        assert.deepEqual(body.entry.map((e) => e.response.status),
            ['201', '201']);
        assert.equal(body.entry[0].response.etag, 'W/"1"');
        const id = /Task\/([^/]+)\/_history\/1$/.exec(
            body.entry[0].response.location)[1];
        const child = await call('GET', '/Task/b2');
        assert.equal(child.body.partOf[0].reference, `Task/${id}`);
    });

    it('undoes a transaction of which one entry fails', async () => {
        await call('PUT', '/Task/b3', task('b3', { id: 'b3' }));
        assertOutcome(await call('POST', '/', bundle('transaction', [
            put(task('b3', { id: 'b3', status: 'cancelled' })),
            put(task('b4', { id: 'b4' })),
            put(task('b5', { id: 'b5', bogus: 1 }))])), 400);
        assert.equal((await call('GET', '/Task/b3')).body.status, 'requested');
        assert.equal((await call('GET', '/Task/b3')).body.meta.versionId, '1');
        assert.equal((await call('GET', '/Task/b4')).status, 404);
    });

    it('answers each entry of a batch by itself', async () => {
        const { status, body } = await call('POST', '', bundle('batch', [
            put(task('b6', { id: 'b6' })),
            put(task('b7', { id: 'b7', bogus: 1 })),
            { request: { method: 'GET', url: 'Task/none' } }]));
        assert.equal(status, 200);
        assert.equal(body.type, 'batch-response');
        assert.deepEqual(body.entry.map((e) => e.response.status),
            ['201', '400', '404']);
        assert.equal(await countOf('b6'), 1);
        assert.equal(await countOf('b7'), 0);
    });

    it('creates on condition inside a transaction', async () => {
        const entry = { resource: task('b8'), request: { method: 'POST',
            url: 'Task', ifNoneExist: `identifier=${SYSTEM}|b8` } };
        for (const want of ['201', '200']) {
            const a = await call('POST', '', bundle('transaction', [entry]));
            assert.equal(a.body.entry[0].response.status, want);
        }
        assert.equal(await countOf('b8'), 1);
    });
});

describe('faults', () => {
    const toTask = { method: 'POST', path: '/Task' };
    const post = (key) => call('POST', '/Task', task(key), conditional(key));
    const lost = { name: 'TypeError' };     /* fetch's word for no answer */
    const queue = (fault) => control('POST', '/faults',
        { match: toTask, ...fault });
    const last = async () => (await control('GET', '/log')).body.at(-1);

    it('answers a status with headers, as often as asked', async () => {
        await queue({ kind: 'status', status: 429, times: 2,
            headers: { 'Retry-After': '1' } });
        const first = await post('f1');
        assertOutcome(first, 429);
        assert.equal(first.headers.get('retry-after'), '1');
        assert.equal((await last()).fault, 'status');
        assertOutcome(await post('f1'), 429);
        assert.equal(await countOf('f1'), 0);
        assert.equal((await post('f1')).status, 201);
    });

    for (const kind of ['drop-before', 'reset']) {
        it(`${kind}: no answer, nothing stored`, async () => {
            await queue({ kind });
            await assert.rejects(post(kind), lost);
            assert.equal((await last()).status, null);
            assert.equal(await countOf(kind), 0);
            assert.equal((await post(kind)).status, 201);
        });
    }

    it('drop-after-commit: no answer, but stored', async () => {
        await queue({ kind: 'drop-after-commit' });
        await assert.rejects(post('f2'), lost);
        assert.equal(await countOf('f2'), 1);
        assert.equal((await post('f2')).status, 200);
    });

    it('delay: before the commit, or between commit and answer', async () => {
        for (const [after, stored] of [[false, 0], [true, 1]]) {
            await queue({ kind: 'delay', ms: 300, after });
            const began = performance.now();
            const answer = post(`f3-${after}`);
            await new Promise((resolve) => { setTimeout(resolve, 150); });
            assert.equal(await countOf(`f3-${after}`), stored);
            assert.equal((await answer).status, 201);
            assert.ok(performance.now() - began >= 290);
        }
    });

    it('matches by method, path and what is carried', async () => {
        const match = { method: 'POST', carries: 'Provenance' };
        await queue({ match, kind: 'status', status: 500 });
        assert.equal((await post('f4')).status, 201);
        const waiting = await control('GET', '/faults');
        assert.equal(waiting.body.length, 1);
        const inside = { resourceType: 'Bundle', type: 'batch', entry: [
            { resource: { resourceType: 'Provenance' } }] };
        assertOutcome(await call('POST', '', inside), 500);
        await queue({ match, kind: 'reset' });
        assert.equal((await control('DELETE', '/faults')).status, 204);
        assert.deepEqual((await control('GET', '/faults')).body, []);
    });

    it('refuses a fault that it does not know', async () => {
        for (const bad of [{ kind: 'fire' }, { kind: 'status' },
            { kind: 'reset', times: 0 }, { kind: 'delay', ms: -1 }])
            assert.equal((await queue(bad)).status, 400);
        assert.deepEqual((await control('GET', '/faults')).body, []);
    });
});

describe('log', () => {
    it('keeps method, path, status, arrival and request id', async () => {
        const since = (await control('GET', '/log')).body.length;
        const a = await call('POST', '/Task', task('l1'),
            { 'X-Request-Id': 'req-7' });
        assert.equal(a.headers.get('x-request-id'), 'req-7');
        const { body } = await control('GET', `/log?since=${since}`);
        assert.equal(body.length, 1);
        const { method, path, status, requestId, carries, arrivalMs } = body[0];
        assert.deepEqual({ method, path, status, requestId, carries },
            { method: 'POST', path: '/Task', status: 201, requestId: 'req-7',
                carries: ['Task'] });
        assert.ok(Math.abs(Date.now() - arrivalMs) < 5000);
        assert.equal(body[0].body, undefined);
    });

    it('gives bodies as they came, on request', async () => {
        const since = (await control('GET', '/log')).body.length;
        const text = '{ "resourceType": "Task", "note": [] }';
        await call('POST', '/Task', text);
        const { body } = await control('GET', `/log?since=${since}&bodies=1`);
        assert.deepEqual(body.map((entry) => entry.body), [text]);
    });

    it('lets a test wait for a request, with an end', async () => {
        const since = (await control('GET', '/log')).body.length;
        const waiting = control('GET',
            `/wait?since=${since}&method=POST&carries=Task&timeout=5000`);
        await call('GET', '/Task/none');
        await call('POST', '/Task', task('l2'));
        const found = await waiting;
        assert.equal(found.status, 200);
        assert.deepEqual([found.body.method, found.body.seq],
            ['POST', since + 1]);
        const none = await control('GET',
            `/wait?since=${since + 2}&timeout=50`);
        assert.equal(none.status, 204);
    });
});
