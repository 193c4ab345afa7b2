/*
 * One FHIR request in, one answer out: the library's router with the HTTP side
 * of R4 around it, which the router leaves to others (versions as ETag,
 * Location, conditional headers, Prefer, media types, pages, transactions).
 *
 * Requests are processed one after another, so a conditional create cannot
 * lose a race here and a transaction is not seen half done.
 */

import { loadDefinitions, PeerRepository } from './record_repo.mjs';
import { created, getStatus, isOk, parseSearchRequest } from '@medplum/core';
import { FhirRouter } from '@medplum/fhir-router';
import { capabilities } from './record_metadata.mjs';
import { Pages, dressBundle, firstPage, pageUrl, unknownParameters }
    from './record_search.mjs';

const JSON_TYPES = ['application/fhir+json', 'application/json'];
const PATCH_TYPES = ['application/json-patch+json', ...JSON_TYPES];
const FORM_TYPE = 'application/x-www-form-urlencoded';

export function outcome(code, text) {
    return { resourceType: 'OperationOutcome',
        issue: [{ severity: 'error', code, diagnostics: text }] };
}

/* An answer that is not the router's: thrown from anywhere inside. */
class Refusal extends Error {
    constructor(status, code, text) {
        super(text);
        this.answer = { status, headers: {}, body: outcome(code, text) };
    }
}

export class RecordFhir {
    constructor(base) {
        this.base = base;
        this.types = loadDefinitions();
        this.repo = new PeerRepository();
        this.pages = new Pages();
        this.router = this.makeRouter();
        this.last = Promise.resolve();
    }

    /* An update that creates answers 201, inside Bundles too. */
    makeRouter() {
        const router = new FhirRouter();
        const put = router.router.routes.find((route) =>
            route.method === 'PUT' && route.path.length === 2);
        const update = put.handler;
        put.handler = async (req, repo, ...rest) => {
            const { resourceType, id } = req.params;
            const existed = repo.has(resourceType, id);
            const [result, resource] = await update(req, repo, ...rest);
            return [isOk(result) && !existed ? created : result, resource];
        };
        return router;
    }

    /* request: method, path below the base with query, headers, text. */
    handle(request) {
        const turn = this.last.then(() => this.answer(request));
        this.last = turn.catch(() => undefined);
        return turn;
    }

    async answer(request) {
        try {
            const body = parsedBody(request);
            return await this.dispatch({ ...request, body });
        } catch (e) {
            if (e instanceof Refusal)
                return e.answer;
            throw e;
        }
    }

    async dispatch(request) {
        const [path, query = ''] = split(request.path);
        const params = new URLSearchParams(query);
        const parts = path.split('/').filter(Boolean);
        if (request.method === 'GET' && parts[0] === 'metadata')
            return plain(200, capabilities(this.base, this.types));
        if (request.method === 'GET' && parts.length === 0
            && params.has('_page'))
            return this.nextPage(params.get('_page'));
        if (parts.length > 0 && !this.types.includes(parts[0]))
            throw new Refusal(404, 'not-supported', 'No such resource type');
        if (request.method === 'GET' && parts.length === 1)
            return this.search(request, parts[0], params);
        if (request.method === 'POST' && parts[1] === '_search') {
            request.body.forEach((value, key) => params.append(key, value));
            return this.search(request, parts[0], params);
        }
        return this.route(request, parts, query);
    }

    async search(request, resourceType, params) {
        const unknown = unknownParameters(resourceType, params);
        if (unknown.length > 0 && prefers(request, 'handling') === 'strict')
            throw new Refusal(400, 'not-supported',
                `Unknown search parameter: ${unknown.join(', ')}`);
        unknown.forEach((key) => params.delete(key));
        const page = firstPage(resourceType, params);
        if (page === null)
            throw new Refusal(400, 'value', '_count must be a whole number');
        return this.page(page, `${this.base}/${resourceType}?${params}`);
    }

    async nextPage(token) {
        const page = this.pages.get(token);
        if (page === undefined)
            throw new Refusal(410, 'not-found', 'This page has expired');
        return this.page(page, `${this.base}?_page=${token}`);
    }

    async page(page, selfUrl) {
        const [result, bundle] = await this.run('GET', pageUrl(page), {});
        if (!isOk(result))
            return plain(getStatus(result), result);
        dressBundle(bundle, page, this.base, selfUrl, this.pages);
        return plain(200, bundle);
    }

    run(method, url, headers, body) {
        return this.router.handleRequest({ method, url, pathname: '', body,
            headers, query: {}, params: {}, config: { transactions: true } },
        this.repo);
    }

    async route(request, parts, query) {
        const { method } = request;
        const headers = conditions(request, parts[0]);
        if (method === 'POST' && parts.length === 1 && request.body)
            delete request.body.id;     /* a create assigns its own id */
        const url = parts.join('/') + (query ? `?${query}` : '');
        const [result, resource] = await this.run(method, url, headers,
            request.body);
        if (!isOk(result))
            return plain(getStatus(result), result);
        if (resource === undefined)
            return plain(method === 'DELETE' ? 204 : getStatus(result));
        if (resource.resourceType === 'Bundle' && parts.length === 0)
            return plain(200, this.dressResponses(resource));
        return this.dressed(request, getStatus(result), resource);
    }

    versionUrl(resource) {
        return `${this.base}/${resource.resourceType}/${resource.id}`
            + `/_history/${resource.meta.versionId}`;
    }

    /* Versions and addresses of a resource go into the headers. */
    dressed(request, status, resource) {
        const etag = `W/"${resource.meta?.versionId}"`;
        const headers = {};
        if (resource.meta?.versionId !== undefined) {
            headers.ETag = etag;
            headers['Last-Modified'] =
                new Date(resource.meta.lastUpdated).toUTCString();
        }
        const known = request.headers['if-none-match'];
        if (request.method === 'GET' && known === etag)
            return { status: 304, headers };
        if (status === 201 || request.method === 'POST')
            headers.Location = this.versionUrl(resource);
        const wanted = prefers(request, 'return');
        if (wanted === 'minimal' && request.method !== 'GET')
            return { status, headers };
        return { status, headers, body: resource };
    }

    dressResponses(bundle) {
        for (const { response, resource } of bundle.entry) {
            if (resource?.meta?.versionId === undefined)
                continue;
            response.etag = `W/"${resource.meta.versionId}"`;
            response.lastModified = resource.meta.lastUpdated;
            response.location = this.versionUrl(resource);
        }
        return bundle;
    }
}

function plain(status, body) {
    return { status, headers: {}, body };
}

function split(path) {
    const at = path.indexOf('?');
    return at < 0 ? [path] : [path.slice(0, at), path.slice(at + 1)];
}

/* The value of one preference, as in "Prefer: return=minimal". */
function prefers(request, name) {
    const wanted = new RegExp(`(?:^|[;,\\s])${name}=([A-Za-z]+)`);
    return wanted.exec(request.headers.prefer ?? '')?.[1];
}

function parsedBody(request) {
    const type = (request.headers['content-type'] ?? '').split(';', 1)[0]
        .trim().toLowerCase();
    if (!['POST', 'PUT', 'PATCH'].includes(request.method))
        return undefined;
    if (/\/_search(\?|$)/.test(request.path)) {
        if (type !== FORM_TYPE)
            throw new Refusal(415, 'not-supported', 'Expected a form');
        return new URLSearchParams(request.text);
    }
    const allowed = request.method === 'PATCH' ? PATCH_TYPES : JSON_TYPES;
    if (!allowed.includes(type))
        throw new Refusal(415, 'not-supported', 'Unsupported media type');
    return parsedJson(request.text);
}

function parsedJson(text) {
    try {
        const body = JSON.parse(text);
        if (body !== null && typeof body === 'object')
            return body;
    } catch {
        /* Answered below, together with JSON that is no object. */
    }
    throw new Refusal(400, 'structure', 'The body is not a JSON object');
}

/*
 * The conditional headers in the one form that the router reads.  A version
 * may come weak, strong or bare.  A condition without any parameter that is
 * understood would match everything, so it is refused.
 */
function conditions(request, resourceType) {
    const headers = {};
    const match = request.headers['if-match'];
    if (match !== undefined) {
        const version = /^\s*(?:W\/)?"?([^"\s]+)"?\s*$/.exec(match)?.[1];
        if (version === undefined)
            throw new Refusal(412, 'conflict', 'If-Match is not a version');
        headers['if-match'] = `W/"${version}"`;
    }
    const absent = request.headers['if-none-exist'];
    if (absent === undefined)
        return headers;
    const params = new URLSearchParams(absent.replace(/^\?/, ''));
    const filters = parseSearchRequest(`${resourceType}?${params}`).filters;
    if (!filters?.length || unknownParameters(resourceType, params).length > 0)
        throw new Refusal(400, 'not-supported',
            'If-None-Exist names no parameter that is understood');
    headers['if-none-exist'] = params.toString();
    return headers;
}
