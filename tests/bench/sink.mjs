/*
 * A record that costs little: takes Tasks and what goes with them, gives them
 * back by id, keeps when each Task arrived, finds nothing else.  GET /arrivals
 * gives patient and moment of each (ms of the monotonic clock, which is the same
 * for all processes) and forgets them.
 *
 *   node tests/bench/sink.mjs UNUSED      prints its URL
 */

import { createServer } from 'node:http';
import { nowMs } from './load_client.mjs';

const INTERACTIONS = ['create', 'read', 'vread', 'update', 'search-type']
    .map((code) => ({ code }));
const TYPES = ['Patient', 'BodyStructure', 'Observation', 'Task', 'Provenance',
    'DocumentReference', 'ServiceRequest', 'Flag', 'List'];
const capabilities = { resourceType: 'CapabilityStatement', status: 'active',
    date: '2024-01-01', kind: 'instance', fhirVersion: '4.0.1',
    format: ['json'], rest: [{ mode: 'server',
        interaction: [{ code: 'transaction' }],
        resource: TYPES.map((type) => ({ type, interaction: INTERACTIONS,
            versioning: 'versioned-update', updateCreate: true,
            conditionalCreate: true })) }] };

const kept = new Map();
let arrivals = [], made = 0;

const place = (r) => `${r.resourceType}/${r.id}/_history/${r.meta.versionId}`;

function keep(resource, id, version) {
    const stored = { ...resource, id, meta: { versionId: String(version),
        lastUpdated: new Date().toISOString() } };
    kept.set(`${resource.resourceType}/${id}`, stored);
    return stored;
}

function create(resource, at, id = `s${++made}`) {
    if (resource.resourceType === 'Task')
        arrivals.push([resource.for?.identifier?.value
            ?? resource.for?.reference, at]);
    return keep(resource, id, 1);
}

/* As R4 wants it: references to what the Bundle brings become those to what was
 * made of it. */
function transaction(text, at) {
    const ids = new Map();
    for (const e of JSON.parse(text).entry)
        ids.set(e.fullUrl, `${e.resource.resourceType}/s${++made}`);
    for (const [fullUrl, reference] of ids)
        text = text.replaceAll(`"reference":"${fullUrl}"`,
            `"reference":"${reference}"`);
    return JSON.parse(text).entry.map((e) => {
        const resource = create(e.resource, at,
            ids.get(e.fullUrl).split('/')[1]);
        return { resource, response: { status: '201', etag: 'W/"1"',
            location: place(resource) } };
    });
}

function post(text, at) {
    const body = JSON.parse(text);
    if (body.resourceType !== 'Bundle') return [201, create(body, at)];
    return [200, { resourceType: 'Bundle', type: 'transaction-response',
        entry: transaction(text, at) }];
}

/* Status, body. */
function answer({ method, url }, text, at) {
    const name = url.replace('/fhir/', ''), is = kept.get(name);
    if (name === 'metadata') return [200, capabilities];
    if (name === 'arrivals') return [200, arrivals.splice(0)];
    if (method === 'POST') return post(text, at);
    if (method === 'PUT' && is !== undefined)
        return [200, keep(JSON.parse(text), is.id,
            Number(is.meta.versionId) + 1)];
    if (method !== 'GET') return [404, {}];
    return [200, is ?? { resourceType: 'Bundle', type: 'searchset', total: 0,
        entry: [] }];
}

const server = createServer((request, response) => {
    const parts = [];
    request.on('data', (part) => parts.push(part));
    request.on('end', () => {
        const at = nowMs();
        const [status, body] = answer(request,
            Buffer.concat(parts).toString(), at);
        response.writeHead(status, { 'Content-Type': 'application/fhir+json',
            ...(body.meta && { ETag: `W/"${body.meta.versionId}"` }),
            ...(status === 201 && { Location:
                `http://${request.headers.host}/fhir/${place(body)}` }) });
        response.end(JSON.stringify(body));
    });
});
server.keepAliveTimeout = 0;
server.listen(0, '127.0.0.1', () =>
    console.log(`ready http://127.0.0.1:${server.address().port}/fhir`));
