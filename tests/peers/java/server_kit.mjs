/* What the server's tests share: requests, resources and waiting. */

import assert from 'node:assert/strict';

export const SYSTEM = 'https://site.example/ids';
export const FHIR_JSON = 'application/fhir+json';
export const JSON_PATCH = { 'Content-Type': 'application/json-patch+json' };

/* Sends to a path below the base, or to a full URL. */
export async function call(server, method, path, body, headers = {}) {
    const url = path.startsWith('http') ? path : server.base + path;
    const res = await fetch(url, { method,
        body: body === undefined || typeof body === 'string' ? body
            : JSON.stringify(body),
        headers: { 'Content-Type': FHIR_JSON, Accept: FHIR_JSON,
            ...headers } });
    const text = await res.text();
    return { status: res.status, headers: res.headers,
        body: text === '' ? null : JSON.parse(text) };
}

export function token(key) {
    return `identifier=${encodeURIComponent(`${SYSTEM}|${key}`)}`;
}

export function task(key, extra = {}) {
    return { resourceType: 'Task', status: 'requested', intent: 'proposal',
        identifier: [{ system: SYSTEM, value: key }], ...extra };
}

export function heartRate(value, extra = {}) {
    return { resourceType: 'Observation', status: 'final',
        code: { coding: [{ system: 'http://loinc.org', code: '8867-4' }] },
        valueQuantity: { value, unit: '/min',
            system: 'http://unitsofmeasure.org', code: '/min' }, ...extra };
}

export function createOnce(server, key, extra) {
    return call(server, 'POST', '/Task', task(key, extra),
        { 'If-None-Exist': token(key) });
}

export async function countOf(server, key, type = 'Task') {
    const found = await call(server, 'GET',
        `/${type}?${token(key)}&_summary=count`);
    return found.body.total;
}

/* A refusal: the status, an OperationOutcome, and words of its text. */
export function assertRefused(answer, status, words = '') {
    assert.equal(answer.status, status);
    assert.equal(answer.body.resourceType, 'OperationOutcome');
    assert.equal(answer.body.issue[0].severity, 'error');
    assert.ok(answer.body.issue[0].diagnostics.includes(words),
        `${answer.body.issue[0].diagnostics} lacks "${words}"`);
}

/* How often each status came, as { 200: n, ... }. */
export function tally(answers) {
    const counts = {};
    for (const { status } of answers) {
        counts[status] = (counts[status] ?? 0) + 1;
    }
    return counts;
}

/* Asks every 100 ms until the answer is truthy; fails after that time. */
export async function until(what, ask, limit_ms = 30_000) {
    const end = Date.now() + limit_ms;
    for (;;) {
        const got = await ask();
        if (got) { return got; }
        assert.ok(Date.now() < end, `${what}: not within ${limit_ms} ms`);
        await new Promise((resolve) => { setTimeout(resolve, 100); });
    }
}
