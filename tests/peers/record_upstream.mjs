/*
 * The record behind the peer's faults is another server: each request goes on
 * to it and its answer comes back, so that what a test does to the peer of our
 * own it can do to any FHIR server.
 *
 * The server is told the address of the peer as its own (Host), since its
 * links must lead back here.
 */

import { Agent, request } from 'node:http';

const TIMEOUT_MS = 60000;
/* Of one hop only (RFC 9110, 7.6.1), or written anew. */
const HOP = new Set(['connection', 'keep-alive', 'transfer-encoding',
    'content-length', 'date', 'server']);

export class Upstream {
    constructor(url) {
        this.url = url.replace(/\/$/, '');
        this.agent = new Agent({ keepAlive: true, maxSockets: 32 });
    }

    async handle({ method, path, headers, text }) {
        const answer = await this.pass(method, path === '/' ? '' : path,
            headers, text);
        return { ...answer, body: parsed(answer) };
    }

    pass(method, path, headers, text) {
        const { connection: _, 'content-length': __, ...kept } = headers;
        const body = method === 'GET' || method === 'DELETE' ? '' : text;
        return new Promise((resolve, reject) => {
            const req = request(this.url + path, { method, agent: this.agent,
                timeout: TIMEOUT_MS, headers: { ...kept,
                    ...(body && { 'content-length':
                        Buffer.byteLength(body) }) } }, (res) => {
                const chunks = [];
                res.on('data', (chunk) => chunks.push(chunk));
                res.on('error', reject);
                res.on('end', () => resolve({ status: res.statusCode,
                    headers: endToEnd(res.headers),
                    text: Buffer.concat(chunks).toString('utf8') }));
            });
            req.on('timeout', () => req.destroy(new Error('no answer')));
            req.on('error', reject);
            req.end(body);
        });
    }
}

function endToEnd(headers) {
    return Object.fromEntries(Object.entries(headers)
        .filter(([name]) => !HOP.has(name)));
}

/* As an object where a fault may have to change it; else the text as it is. */
function parsed({ text, headers }) {
    if (text === '' || !/json/.test(headers['content-type'] ?? ''))
        return text === '' ? undefined : text;
    try {
        return JSON.parse(text);
    } catch {
        return text;
    }
}
