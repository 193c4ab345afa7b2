/*
 * A record that costs little: takes Tasks and what goes with them, gives them
 * back by id, keeps when each Task arrived, finds nothing else.  GET /arrivals gives patient and moment
 * (ms of the monotonic clock, the same for all processes) and forgets them.
 *
 *   node tests/bench/sink.mjs UNUSED      prints its URL
 */

import { createServer } from 'node:http';
import { nowMs } from './load_client.mjs';

const INTERACTIONS = ['create', 'read', 'vread', 'update', 'patch',
    'search-type'].map((code) => ({ code }));
const TYPES = ['Patient', 'BodyStructure', 'Observation', 'Task', 'Provenance',
    'DocumentReference', 'ServiceRequest', 'Flag', 'List'];
const capabilities = { resourceType: 'CapabilityStatement', status: 'active',
    date: '2024-01-01', kind: 'instance', fhirVersion: '4.0.1',
    format: ['json'], patchFormat: ['application/json-patch+json'],
    rest: [{ mode: 'server', interaction: [{ code: 'transaction' },
        { code: 'batch' }], resource: TYPES.map((type) => ({ type,
        interaction: INTERACTIONS, versioning: 'versioned-update',
        updateCreate: true, conditionalCreate: true })) }] };

const kept = new Map();
let arrivals = [], made = 0;

function create(resource, at) {
    const id = `s${++made}`;
    if (resource.resourceType === 'Task')
        arrivals.push([resource.for?.identifier?.value
            ?? resource.for?.reference, at]);
    const stored = { ...resource, id, meta: { versionId: '1',
        lastUpdated: new Date().toISOString() } };
    kept.set(`${resource.resourceType}/${id}`, stored);
    return stored;
}

const place = (r) => `${r.resourceType}/${r.id}/_history/1`;

/* Status, body. */
function post(body, at) {
    if (body.resourceType !== 'Bundle') return [201, create(body, at)];
    return [200, { resourceType: 'Bundle', type: `${body.type}-response`,
        entry: body.entry.map((e) => {
            if (e.request.method !== 'POST')
                return { response: { status: '404' } };
            const resource = create(e.resource, at);
            return { resource, response: { status: '201', etag: 'W/"1"',
                location: place(resource) } };
        }) }];
}

function answer(request, body, at) {
    if (request.url.endsWith('/metadata')) return [200, capabilities];
    if (request.url.endsWith('/arrivals')) return [200, arrivals.splice(0)];
    const read = kept.get(request.url.replace('/fhir/', ''));
    if (read !== undefined && request.method === 'GET') return [200, read];
    if (request.method === 'GET')
        return [200, { resourceType: 'Bundle', type: 'searchset', total: 0,
            entry: [] }];
    return request.method === 'POST' ? post(JSON.parse(body), at) : [404, {}];
}

const server = createServer((request, response) => {
    const parts = [];
    request.on('data', (part) => parts.push(part));
    request.on('end', () => {
        const at = nowMs();
        const [status, body] = answer(request, Buffer.concat(parts), at);
        response.writeHead(status, { 'Content-Type': 'application/fhir+json',
            ...(status === 201 && { ETag: 'W/"1"', Location:
                `http://${request.headers.host}/fhir/${place(body)}` }) });
        response.end(JSON.stringify(body));
    });
});
server.keepAliveTimeout = 0;
server.listen(0, '127.0.0.1', () =>
    console.log(`ready http://127.0.0.1:${server.address().port}/fhir`));
