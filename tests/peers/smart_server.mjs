/*
 * A record that demands tokens, and the authorisation server that gives them:
 * the FHIR server of record_fhir.mjs behind `jose`, and `oidc-provider`, two
 * programs that we did not write, at one address.
 *
 *   /fhir/.well-known/smart-configuration   where tokens are had
 *   /fhir/...                               the record; 401 without a token
 *   /token, /jwks, ...                      oidc-provider
 */

import { createServer } from 'node:http';
import Provider from 'oidc-provider';
import { createLocalJWKSet, exportJWK, generateKeyPair, jwtVerify }
    from 'jose';
import { RecordFhir, outcome } from './record_fhir.mjs';

const BODY_MAX = 1024 * 1024;

async function bodyOf(req) {
    const chunks = [];
    let size = 0;
    for await (const chunk of req) {
        size += chunk.length;
        if (size > BODY_MAX)
            throw new Error('a body that is too long');
        chunks.push(chunk);
    }
    return Buffer.concat(chunks).toString('utf8');
}

function sendJson(res, status, body, headers = {}) {
    res.writeHead(status, { 'Content-Type': 'application/json', ...headers });
    res.end(body === undefined ? '' : JSON.stringify(body));
}

async function makeKey(alg) {
    const { privateKey } = await generateKeyPair(alg, { extractable: true });
    return { ...await exportJWK(privateKey), alg, use: 'sig', kid: `as-${alg}` };
}

/* What oidc-provider is told; scopes and audience may change while it runs. */
function providerSettings(guard, key, clients) {
    return {
        clients, jwks: { keys: [key] },
        ttl: { ClientCredentials: () => guard.life_s },
        scopes: ['openid', ...guard.scopes],
        clientDefaults: { id_token_signed_response_alg: 'ES384' },
        enabledJWA: { idTokenSigningAlgValues: ['ES384'],
            clientAuthSigningAlgValues: ['RS384', 'ES384'] },
        fetch: (url, options) => { /* also from this machine itself */
            guard.fetched.push(String(url));
            return fetch(url, { headers: options?.headers });
        },
        features: { devInteractions: { enabled: false },
            clientCredentials: { enabled: true },
            resourceIndicators: { enabled: true,
                defaultResource: () => 'urn:example:record',
                getResourceServerInfo: () => ({
                    scope: guard.granted.join(' '),
                    audience: guard.audience, accessTokenTTL: guard.life_s,
                    accessTokenFormat: 'jwt',
                    jwt: { sign: { alg: 'ES384' } } }) } },
    };
}

export class Guard {
    constructor() {
        this.asked = [];    /* token requests: form, and how they ended */
        this.requests = []; /* to the record: method, path, status, token */
        this.fetched = [];  /* addresses that oidc-provider has read */
        this.faults = [];   /* { status, headers, body } for /token, in turn */
        this.dead = new Set(); /* tokens that are no longer taken */
        this.life_s = 300;
    }

    /* clients: metadata of oidc-provider (RFC 7591). */
    static async start(scopes, clients) {
        const guard = new Guard();
        guard.scopes = guard.granted = scopes;
        guard.server = createServer((req, res) =>
            guard.onRequest(req, res).catch((e) => {
                console.error('guard:', e);
                res.destroy();
            }));
        await new Promise((go) => guard.server.listen(0, '127.0.0.1', go));
        guard.origin = `http://127.0.0.1:${guard.server.address().port}`;
        guard.url = guard.audience = `${guard.origin}/fhir`;
        guard.fhir = new RecordFhir(guard.url);
        const key = await makeKey('ES384');
        const { d, ...open } = key;
        guard.keys = { keys: [open] };
        guard.provider = new Provider(guard.origin,
            providerSettings(guard, key, clients(guard)));
        guard.provider.on('server_error', (ctx, e) =>
            console.error('oidc-provider:', e));
        guard.callback = guard.provider.callback();
        guard.configuration = {
            token_endpoint: `${guard.origin}/token`,
            token_endpoint_auth_methods_supported: ['private_key_jwt'],
            token_endpoint_auth_signing_alg_values_supported:
                ['RS384', 'ES384'],
            grant_types_supported: ['client_credentials'],
            scopes_supported: scopes,
            capabilities: ['client-confidential-asymmetric'] };
        return guard;
    }

    stop() {
        return new Promise((resolve) => {
            this.server.close(resolve);
            this.server.closeAllConnections();
        });
    }

    async onRequest(req, res) {
        const path = new URL(req.url, this.origin).pathname;
        if (path === '/fhir/.well-known/smart-configuration')
            return sendJson(res, this.configurationStatus ?? 200,
                this.configuration);
        if (path === '/fhir' || path.startsWith('/fhir/'))
            return this.onFhir(req, res);
        if (path === '/token')
            return this.onToken(req, res);
        return this.callback(req, res);
    }

    async onToken(req, res) {
        const text = await bodyOf(req);
        const entry = { form: Object.fromEntries(new URLSearchParams(text)),
            atMs: Date.now(), headers: req.headers };
        this.asked.push(entry);
        res.on('finish', () => { entry.status = res.statusCode; });
        const fault = this.faults.shift();
        if (fault !== undefined)
            return sendJson(res, fault.status, fault.body, fault.headers);
        req.body = text; /* it has been read */
        return this.callback(req, res);
    }

    async mayCome(token) {
        if (this.dead.has(token))
            return false;
        try {
            await jwtVerify(token, createLocalJWKSet(this.keys),
                { issuer: this.origin, audience: this.audience });
            return true;
        } catch {
            return false;
        }
    }

    async onFhir(req, res) {
        const text = await bodyOf(req);
        const token = /^Bearer (.+)$/.exec(req.headers.authorization ?? '')?.[1];
        const path = req.url.slice('/fhir'.length) || '/';
        const entry = { method: req.method, path, token };
        this.requests.push(entry);
        const answer = path === '/metadata' || await this.mayCome(token)
            ? await this.fhir.handle({ method: req.method, path,
                headers: req.headers, text })
            : { status: 401, headers: { 'WWW-Authenticate': 'Bearer' },
                body: outcome('login', 'A token is needed') };
        entry.status = answer.status;
        res.writeHead(answer.status, { ...answer.headers,
            'Content-Type': 'application/fhir+json' });
        res.end(answer.body === undefined ? '' : JSON.stringify(answer.body));
    }

    /* How many of a type the record has. */
    async count(type) {
        const { body } = await this.fhir.handle({ method: 'GET', headers: {},
            path: `/${type}?_summary=count`, text: '' });
        return body.total;
    }
}
