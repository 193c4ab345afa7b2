/*
 * A FHIR R4 record server for tests, and the handle by which a test makes it
 * misbehave.
 *
 *   node record.mjs [--port N] [--until-stdin-ends] [--upstream URL]
 *
 * With --upstream the record is the FHIR server of that base, see
 * record_upstream.mjs; else one in memory.
 *
 *   /fhir/...            the record, see record_fhir.mjs
 *   POST   /peer/faults  queue a fault or a list of them, see record_faults.mjs
 *   GET    /peer/faults  those that still wait
 *   DELETE /peer/faults  forget them
 *   GET    /peer/log     what arrived, oldest first; ?since=SEQ from there on;
 *                        ?bodies=1 with the text of each request body
 *   GET    /peer/wait    the first log entry that matches ?method, path,
 *                        carries, since, state (done, or arrived), as soon as
 *                        it is there; 204 after ?timeout ms
 *   GET    /peer/count   ?type=Task, with further search parameters if wanted
 *
 * A log entry has seq, method, path, carries (resource types in the body),
 * status (null where no answer was sent), requestId, fault, and the arrival as
 * arrivalMs (wall clock) and monotonicMs (CLOCK_MONOTONIC, which all processes
 * of one machine share, so that a client can measure across the border).
 */

import { createServer } from 'node:http';
import { randomUUID } from 'node:crypto';
import { setTimeout as sleep } from 'node:timers/promises';
import { pathToFileURL } from 'node:url';
import { FaultQueue, carriedTypes, matches } from './record_faults.mjs';
import { RecordFhir, outcome } from './record_fhir.mjs';
import { misanswer, misread } from './record_lies.mjs';
import { Upstream } from './record_upstream.mjs';

const FHIR = '/fhir';
const BODY_MAX = 16 * 1024 * 1024;
const LOG_MAX = 100000;
const KEPT_MAX = 64 * 1024 * 1024;
const WAIT_DEFAULT_MS = 10000;

export function monotonicMs() {
    return Number(process.hrtime.bigint()) / 1e6;
}

class Peer {
    constructor(base, upstream) {
        this.fhir = upstream === undefined ? new RecordFhir(base)
            : new Upstream(upstream);
        this.faults = new FaultQueue();
        this.log = [];
        this.waiters = new Set();
        this.bodies = [];
        this.kept = 0;
    }

    /*
     * Keeps a body as it came: the repository tidies what it stores, so that
     * a test of what was sent has to look here.
     */
    keep(entry, text) {
        this.kept += text.length;
        if (this.kept > KEPT_MAX)
            throw new Error('no more room for request bodies');
        this.bodies[entry.seq] = text;
    }

    logFrom(since, withBodies) {
        const entries = this.log.slice(since);
        return withBodies ? entries.map((entry) => ({ ...entry,
            body: this.bodies[entry.seq] ?? '' })) : entries;
    }

    /* Begins a log entry as soon as the head of a request is there. */
    arrived(req) {
        const entry = { seq: this.log.length, method: req.method,
            path: req.url.slice(FHIR.length) || '/', carries: [],
            status: null, requestId: req.headers['x-request-id'] ?? null,
            fault: null, state: 'arriving', arrivalMs: Date.now(),
            monotonicMs: monotonicMs() };
        if (this.log.length >= LOG_MAX)
            throw new Error('the request log is full');
        this.log.push(entry);
        return entry;
    }

    mark(entry, state, status = null) {
        entry.state = state;
        entry.status = status;
        for (const waiter of this.waiters)
            waiter(entry);
    }

    find(wanted) {
        return this.log.slice(wanted.since)
            .find((entry) => isWanted(entry, wanted));
    }

    /* Resolves with the entry, or with null when the time is over. */
    wait(wanted, timeoutMs) {
        const found = this.find(wanted);
        if (found !== undefined)
            return Promise.resolve(found);
        return new Promise((resolve) => {
            const finish = (entry) => {
                clearTimeout(timer);
                this.waiters.delete(waiter);
                resolve(entry);
            };
            const waiter = (entry) => isWanted(entry, wanted) && finish(entry);
            const timer = setTimeout(finish, timeoutMs, null);
            this.waiters.add(waiter);
        });
    }
}

function isWanted(entry, wanted) {
    const ready = entry.state === 'done'
        || (entry.state === 'arrived' && wanted.state === 'arrived');
    return ready && entry.seq >= wanted.since && matches(wanted, entry);
}

async function bodyOf(req) {
    const chunks = [];
    let size = 0;
    for await (const chunk of req) {
        size += chunk.length;
        if (size > BODY_MAX)
            return null;
        chunks.push(chunk);
    }
    return Buffer.concat(chunks).toString('utf8');
}

function send(res, status, headers, body) {
    const text = typeof body === 'string' ? body
        : body === undefined ? '' : JSON.stringify(body);
    const type = text === '' ? {}
        : { 'Content-Type': 'application/fhir+json; charset=utf-8' };
    res.writeHead(status, { ...type, ...headers });
    res.end(text);
}

function typesIn(text) {
    try {
        return carriedTypes(JSON.parse(text));
    } catch {
        return [];
    }
}

async function onFhir(peer, req, res) {
    const entry = peer.arrived(req);
    const text = await bodyOf(req);
    if (text === null) {
        send(res, 413, { Connection: 'close' },
            outcome('too-long', 'The body is too long'));
        return peer.mark(entry, 'done', 413);
    }
    peer.keep(entry, text);
    entry.carries = typesIn(text);
    const fault = peer.faults.take(entry);
    entry.fault = fault?.kind ?? null;
    peer.mark(entry, 'arrived');
    if (await faultBefore(fault, peer, entry, res))
        return undefined;
    const answer = await peer.fhir.handle(misread(fault, { method: req.method,
        path: entry.path, headers: req.headers, text }));
    return faultAfter(fault, peer, entry, res, misanswer(fault, answer));
}

/* True where the fault has used up the request before it is processed. */
async function faultBefore(fault, peer, entry, res) {
    switch (fault?.kind) {
    case 'status':
        send(res, fault.status, fault.headers,
            outcome('transient', 'A fault that was asked for'));
        peer.mark(entry, 'done', fault.status);
        return true;
    case 'drop-before':
        res.socket.destroy();
        peer.mark(entry, 'done');
        return true;
    case 'reset':
        res.socket.resetAndDestroy();
        peer.mark(entry, 'done');
        return true;
    case 'delay':
        if (!fault.after)
            await sleep(fault.ms);
        return false;
    default:
        return false;
    }
}

async function faultAfter(fault, peer, entry, res, answer) {
    if (fault?.kind === 'drop-after-commit') {
        res.socket?.destroy();
        return peer.mark(entry, 'done');
    }
    if (fault?.kind === 'delay' && fault.after)
        await sleep(fault.ms);
    const id = entry.requestId ?? randomUUID();
    send(res, answer.status, { 'X-Request-Id': id, ...answer.headers },
        answer.body);
    return peer.mark(entry, 'done', answer.status);
}

async function onFaults(peer, req, res) {
    if (req.method === 'GET')
        return send(res, 200, {}, peer.faults.waiting);
    if (req.method === 'DELETE') {
        peer.faults.clear();
        return send(res, 204, {});
    }
    try {
        const added = peer.faults.add(JSON.parse(await bodyOf(req)));
        return send(res, 201, {}, { added });
    } catch (e) {
        return send(res, 400, {}, { error: e.message });
    }
}

async function onWait(peer, params, res) {
    const wanted = { since: Number(params.get('since') ?? 0),
        method: params.get('method'), path: params.get('path'),
        carries: params.get('carries'), state: params.get('state') ?? 'done' };
    const timeoutMs = Number(params.get('timeout') ?? WAIT_DEFAULT_MS);
    const entry = await peer.wait(wanted, timeoutMs);
    return entry === null ? send(res, 204, {}) : send(res, 200, {}, entry);
}

async function onCount(peer, params, res) {
    const type = params.get('type') ?? '';
    params.delete('type');
    params.set('_summary', 'count');
    const answer = await peer.fhir.handle({ method: 'GET', headers: {},
        path: `/${type}?${params}`, text: '' });
    if (answer.status !== 200)
        return send(res, answer.status, {}, answer.body);
    return send(res, 200, {}, { type, count: answer.body.total });
}

function onPeer(peer, req, res) {
    const url = new URL(req.url, 'http://localhost');
    const params = url.searchParams;
    switch (url.pathname) {
    case '/peer/faults': return onFaults(peer, req, res);
    case '/peer/log':
        return send(res, 200, {}, peer.logFrom(
            Number(params.get('since') ?? 0), params.get('bodies') === '1'));
    case '/peer/wait': return onWait(peer, params, res);
    case '/peer/count': return onCount(peer, params, res);
    default: return send(res, 404, {}, { error: 'no such control' });
    }
}

function onRequest(peer, req, res) {
    const fhir = new RegExp(`^${FHIR}(?:[/?]|$)`).test(req.url);
    const done = fhir ? onFhir(peer, req, res) : onPeer(peer, req, res);
    Promise.resolve(done).catch((e) => {
        console.error('peer: request failed:', e);
        if (!res.headersSent && !res.destroyed)
            send(res, 500, {}, outcome('exception', 'Internal error'));
    });
}

/* Starts a peer in this process; close() ends it at once. */
export async function startRecord({ port = 0, upstream } = {}) {
    let peer = null;
    const server = createServer((req, res) => onRequest(peer, req, res));
    await new Promise((resolve, reject) => {
        server.once('error', reject);
        server.listen(port, '127.0.0.1', resolve);
    });
    const origin = `http://127.0.0.1:${server.address().port}`;
    peer = new Peer(origin + FHIR, upstream);
    const close = () => new Promise((resolve) => {
        server.close(resolve);
        server.closeAllConnections();
    });
    return { url: origin + FHIR, control: `${origin}/peer`, close };
}

async function main(args) {
    const at = args.indexOf('--port');
    const port = at < 0 ? 0 : Number(args[at + 1]);
    if (!Number.isInteger(port) || port < 0 || port > 65535) {
        console.error('usage: record.mjs [--port N] [--until-stdin-ends]');
        process.exit(2);
    }
    const via = args.indexOf('--upstream');
    const record = await startRecord({ port,
        upstream: via < 0 ? undefined : args[via + 1] });
    const stop = () => record.close().then(() => process.exit(0));
    process.on('SIGTERM', stop);
    process.on('SIGINT', stop);
    if (args.includes('--until-stdin-ends'))
        process.stdin.on('end', stop).resume();
    console.log(`peer ready ${record.url}`);
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? '').href)
    await main(process.argv.slice(2));
