/*
 * What the delivery test stands on: children that always end, a small HTTP
 * client, the handle of the peer, and the service under test.
 */

import { spawn } from 'node:child_process';
import { createWriteStream, readFileSync } from 'node:fs';
import { Agent, request } from 'node:http';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';

const READY_MS = 15000;
const STOP_MS = 5000;
const REQUEST_MS = 20000, METRIC_MS = 60000;
const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const RECORD = fileURLToPath(new URL('record.mjs', import.meta.url));

/* Tokens and keys that are written here are for their owner alone: the service
 * takes no others. */
process.umask(0o077);

const agent = new Agent({ keepAlive: true, maxSockets: 64 });
const children = new Set();

/* Thrown where an expectation is not met; the text is for the reader. */
export class Unmet extends Error {}

export function expect(condition, text) {
    if (!condition)
        throw new Unmet(text);
}

/* A connection that has rested is not used again: the other side may be closing
 * it at this moment, and whoever was busy has not seen that yet. */
const REST_MS = 2000;
let under = 0, restingSince = 0;

function leaveRested() {
    if (under === 0 && performance.now() - restingSince > REST_MS)
        agent.destroy();
}

/* One exchange; body is an object or nothing. */
export async function http(method, url, body, headers = {}) {
    leaveRested();
    under++;
    try {
        return await exchange(method, url, body, headers);
    } finally {
        under--;
        restingSince = performance.now();
    }
}

function exchange(method, url, body, headers) {
    const text = body === undefined ? '' : JSON.stringify(body);
    return new Promise((resolve, reject) => {
        const req = request(url, { method, agent, timeout: REQUEST_MS,
            headers: { ...(text && { 'Content-Type': 'application/fhir+json',
                'Content-Length': Buffer.byteLength(text) }), ...headers } },
        (res) => {
            const chunks = [];
            res.on('data', (chunk) => chunks.push(chunk));
            res.on('error', reject);
            res.on('end', () => resolve(answerOf(res, chunks)));
        });
        req.on('timeout', () => req.destroy(new Error(`no answer: ${url}`)));
        req.on('error', reject);
        req.end(text);
    });
}

function answerOf(res, chunks) {
    const text = Buffer.concat(chunks).toString('utf8');
    const answer = { status: res.statusCode, headers: res.headers, text };
    try {
        answer.body = text === '' ? null : JSON.parse(text);
    } catch {
        answer.body = null;
    }
    return answer;
}

/* Starts a child and resolves with what the ready line captures. */
async function startChild(command, args, options, ready, logFile) {
    const child = spawn(command, args, { cwd: ROOT, ...options });
    children.add(child);
    child.ended = new Promise((resolve) => {
        child.once('error', (e) => resolve(e.message));
        child.once('exit', (code, signal) => resolve(signal ?? code));
    });
    child.ended.then(() => children.delete(child));
    child.stderr.pipe(createWriteStream(logFile, { flags: 'a' }));
    const url = await Promise.race([readyLine(child, ready),
        child.ended.then((how) => new Unmet(`${command} ended: ${how}`)),
        sleep(READY_MS, new Unmet(`${command} is not ready`), { ref: false })]);
    if (url instanceof Error)
        throw url;
    return { child, url };
}

function readyLine(child, ready) {
    let seen = '';
    return new Promise((resolve) => {
        child.stdout.on('data', (chunk) => {
            seen = (seen + chunk).slice(-65536);
            const found = ready.exec(seen);
            if (found !== null)
                resolve(found[1]);
        });
    });
}

/* Ends a child and resolves with its exit code or the signal that it took. */
export async function stopChild(child, signal = 'SIGTERM') {
    child.kill(signal);
    const how = await Promise.race([child.ended,
        sleep(STOP_MS, 'still running', { ref: false })]);
    if (how === 'still running')
        child.kill('SIGKILL');
    return how;
}

/* For the way out: what still runs is killed at once. */
export function killChildren() {
    children.forEach((child) => child.kill('SIGKILL'));
}

export class Record {
    /* upstream: the FHIR server that is the record; none: one in memory. */
    static async start(tmp, upstream) {
        const started = await startChild(process.execPath,
            [RECORD, '--port', '0', '--until-stdin-ends',
                ...(upstream ? ['--upstream', upstream] : [])],
            { stdio: ['pipe', 'pipe', 'pipe'] }, /peer ready (\S+)\n/,
            `${tmp}/record.log`);
        return Object.assign(new Record(), started,
            { control: started.url.replace(/\/fhir$/, '/peer') });
    }

    async fault(fault) {
        const match = { method: 'POST', carries: 'Task' };
        const answer = await http('POST', `${this.control}/faults`,
            { match, ...fault });
        expect(answer.status === 201, `fault refused: ${answer.text}`);
    }

    clearFaults() {
        return http('DELETE', `${this.control}/faults`);
    }

    async log(since = 0, bodies = false) {
        const query = `since=${since}${bodies ? '&bodies=1' : ''}`;
        return (await http('GET', `${this.control}/log?${query}`)).body;
    }

    async end() {
        return (await this.log()).length;
    }

    /* The next request with a Task in it, or null. */
    async wait(since, state = 'done', timeoutMs = 10000) {
        const query = new URLSearchParams({ since, state, method: 'POST',
            carries: 'Task', timeout: timeoutMs });
        return (await http('GET', `${this.control}/wait?${query}`)).body;
    }
}

/* All pages of a search; the next link is followed as it is given. */
export async function searchAll(url) {
    const found = [];
    const seen = new Set();
    for (let next = url; next !== undefined;) {
        expect(!seen.has(next), `the page ${next} comes again`);
        seen.add(next);
        const { status, body, text } = await http('GET', next);
        expect(status === 200, `GET ${next}: ${status} ${text}`);
        found.push(...(body.entry ?? []).map((entry) => entry.resource));
        next = body.link?.find((link) => link.relation === 'next')?.url;
    }
    return found;
}

export class Service {
    constructor(binary, tmp, recordUrl, settings = {}) {
        this.binary = binary;
        this.log = `${tmp}/service.log`;
        this.settings = Object.entries({ 'store.path': `${tmp}/hg.db`,
            'http.port': 0, 'mllp.enabled': false, 'mllp.port': 0,
            'record.url': recordUrl,
            'outbox.retry_first': 50, 'outbox.retry_last': 500, ...settings })
            .flatMap(([key, value]) => ['--set', `${key}=${value}`]);
        this.args = ['serve', '--config', 'config/demo.ini', ...this.settings];
    }

    /* Another command of the program, on the same store. */
    command(...words) {
        const child = spawn(this.binary, [words[0], '--config',
            'config/demo.ini', ...this.settings, ...words.slice(1)],
        { cwd: ROOT, stdio: ['ignore', 'pipe', 'pipe'], timeout: REQUEST_MS });
        const said = { out: '', err: '' };
        child.stdout.on('data', (chunk) => { said.out += chunk; });
        child.stderr.on('data', (chunk) => { said.err += chunk; });
        return new Promise((done) => child.on('close', (status, signal) =>
            done({ status: status ?? signal, ...said })));
    }

    async start() {
        const started = await startChild(this.binary, this.args,
            { stdio: ['ignore', 'pipe', 'pipe'] },
            this.ready ?? /headgate ready (\S+)\n/, this.log);
        Object.assign(this, started);
    }

    /* The service has no chance to put anything in order. */
    async killAndStart() {
        await stopChild(this.child, 'SIGKILL');
        await this.start();
    }

    async post(resource) {
        const path = `${this.url}/${resource.resourceType}`;
        const answer = await http('POST', path, resource);
        expect(answer.status === 200 || answer.status === 201,
            `POST ${resource.resourceType}: ${answer.status} ${answer.text}`);
        const id = answer.body?.id ?? /\/([^/]+)(?:\/_history\/[^/]+)?$/
            .exec(answer.headers.location ?? '')?.[1];
        expect(id, `POST ${resource.resourceType} gave no id`);
        return id;
    }

    root() {
        return this.url.replace(/\/fhir$/, '');
    }

    /* The value of one line of /metrics; undefined: there is none. */
    async metric(line) {
        const { text } = await http('GET', `${this.root()}/metrics`);
        const found = text.split('\n').find((l) => l.startsWith(`${line} `));
        return found === undefined ? undefined
            : Number(found.slice(line.length + 1));
    }

    async untilMetric(line, wanted) {
        let value;
        for (const end = Date.now() + METRIC_MS;
            (value = await this.metric(line)) !== wanted; await sleep(20))
            expect(Date.now() < end, `${line} is ${value}, not ${wanted}`);
    }

    /* The end of the log, for the reader of a failure. */
    lastLines(count) {
        try {
            return readFileSync(this.log, 'utf8').trimEnd().split('\n')
                .slice(-count);
        } catch {
            return [];
        }
    }
}
