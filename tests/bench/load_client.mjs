/*
 * A client that costs little beside what it measures: requests made before the
 * clock starts, sent over kept connections by plain sockets, answers counted by
 * their Content-Length.
 */

import { connect } from 'node:net';

const END = Buffer.from('\r\n\r\n');

/* Of headgate's client; the peers look at none. */
export const TOKEN = 'of-the-benchmark';

export function request(url, path, body) {
    const { host, pathname } = new URL(url);
    const bytes = Buffer.from(body);
    return Buffer.concat([Buffer.from(`POST ${pathname}${path} HTTP/1.1\r\n`
        + `Host: ${host}\r\nAuthorization: Bearer ${TOKEN}\r\n`
        + 'Content-Type: application/fhir+json\r\n'
        + `Content-Length: ${bytes.length}\r\n\r\n`), bytes]);
}

/* MLLP (HL7, Transport Specification: MLLP, Release 1). */
export const frame = (message) => Buffer.concat([Buffer.from([0x0b]),
    Buffer.from(message), Buffer.from([0x1c, 0x0d])]);

/* One kept connection, one request under way at a time. */
class Line {
    constructor(port, host = '127.0.0.1') {
        this.rest = Buffer.alloc(0);
        this.socket = connect(port, host);
        this.socket.setNoDelay(true);
        this.socket.on('data', (bytes) => this.read(bytes));
        this.socket.on('error', (error) => this.fail?.(error));
        this.socket.on('close', () => this.fail?.(new Error('closed')));
        this.open = new Promise((done) => this.socket.on('connect', done));
    }

    read(bytes) {
        this.rest = this.rest.length > 0
            ? Buffer.concat([this.rest, bytes]) : bytes;
        const answer = this.whole();
        if (answer === undefined) return;
        this.rest = Buffer.alloc(0);
        const done = this.done;
        this.done = undefined;
        done(answer);
    }

    /* What it resolves with: what whole() makes of the answer. */
    send(bytes) {
        return new Promise((done, fail) => {
            this.done = done;
            this.fail = fail;
            this.socket.write(bytes);
        });
    }

    close() {
        this.fail = undefined;
        this.socket.destroy();
    }
}

class Connection extends Line {
    constructor(url) {
        const { hostname, port } = new URL(url);
        super(Number(port), hostname);
    }

    whole() {
        const head = this.rest.indexOf(END);
        if (head < 0) return undefined;
        const text = this.rest.toString('latin1', 0, head);
        const length = /content-length: (\d+)/i.exec(text)?.[1];
        const chunked = /transfer-encoding: chunked/i.test(text);
        if (chunked && this.rest.indexOf('\r\n0\r\n\r\n', head) < 0)
            return undefined;
        if (!chunked && this.rest.length < head + 4 + Number(length ?? 0))
            return undefined;
        return Number(text.slice(9, 12));
    }
}

/* 200 for AA. */
class Mllp extends Line {
    whole() {
        if (this.rest.at(-2) !== 0x1c || this.rest.at(-1) !== 0x0d)
            return undefined;
        return this.rest.includes('MSA|AA|') ? 200 : 500;
    }
}

export async function connections(url, count) {
    const all = Array.from({ length: count }, () => new Connection(url));
    await Promise.all(all.map((c) => c.open));
    return all;
}

export const nowMs = () => Number(process.hrtime.bigint()) / 1e6;

/* All requests as fast as they are answered: how many a second. */
async function askAll(lines, requests) {
    let next = 0, bad = 0;
    const began = nowMs();
    await Promise.all(lines.map(async (line) => {
        while (next < requests.length) {
            const status = await line.send(requests[next++]);
            if (status !== 200 && status !== 201) bad++;
        }
    }));
    const ms = nowMs() - began;
    lines.forEach((line) => line.close());
    if (bad > 0) throw new Error(`${bad} of ${requests.length} refused`);
    return requests.length * 1000 / ms;
}

export const closedLoop = async (url, requests, atOnce) =>
    askAll(await connections(url, atOnce), requests);

export async function mllpLoop(port, frames, atOnce) {
    const lines = Array.from({ length: atOnce }, () => new Mllp(port));
    await Promise.all(lines.map((line) => line.open));
    return askAll(lines, frames);
}

export function quantile(values, share) {
    const sorted = Float64Array.from(values).sort();
    return sorted[Math.min(sorted.length - 1, Math.floor(share * sorted.length))];
}

/*
 * Requests at fixed times, whether or not earlier ones have been answered; how
 * long each took is counted from the time at which it was due (no coordinated
 * omission).
 */
export async function openLoop(url, requests, perSecond, atMost = 256) {
    const free = await connections(url, atMost);
    const all = [...free], queue = [], took = [];
    let bad = 0, answered = 0, finish;
    const finished = new Promise((done) => { finish = done; });
    const began = nowMs() + 20;
    const drain = () => {
        while (free.length > 0 && queue.length > 0) {
            const line = free.pop(), n = queue.shift();
            line.send(requests[n]).then((status) => {
                if (status !== 200 && status !== 201) bad++;
                took.push(nowMs() - (began + n * 1000 / perSecond));
                free.push(line);
                if (++answered === requests.length) finish();
                drain();
            }, () => { bad++; if (++answered === requests.length) finish(); });
        }
    };
    let due = 0;
    const tick = () => {
        const until = Math.min(requests.length,
            Math.floor((nowMs() - began) * perSecond / 1000) + 1);
        while (due < until) queue.push(due++);
        drain();
        if (due < requests.length) setImmediate(tick);
    };
    tick();
    await finished;
    all.forEach((line) => line.close());
    if (bad > 0) throw new Error(`${bad} of ${requests.length} refused`);
    return { began, p50: quantile(took, 0.5), p99: quantile(took, 0.99),
        max: quantile(took, 1) };
}
