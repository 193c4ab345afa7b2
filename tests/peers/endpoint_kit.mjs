/*
 * What the endpoint test stands on: a client that believes nothing, JSON as
 * text, and the words of an OperationOutcome.
 *
 * Every answer is judged when it comes: its headers, that its bytes are UTF-8,
 * and that its body is valid R4 in the opinion of validate.mjs.
 */

import { Agent, request } from 'node:http';
import { connect } from 'node:net';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, Service } from './delivery_kit.mjs';
import { checkText } from './validate.mjs';

export const BASE = 'https://headgate.example/fhir';
export const OBS_SYSTEM = `${BASE}/CodeSystem/av-observation`;
export const UCUM = 'http://unitsofmeasure.org';
export const SNOMED = 'http://snomed.info/sct';
export const FHIR_JSON = 'application/fhir+json';
export const DAY_MS = 24 * 3600 * 1000;

/* Stands in every name, id, identifier, value, token and URL that is invented
 * here, and must stand in no line of the log. */
export const MARK = 'ZqvMark';

const CORPUS = new URL('../corpus/fhir/', import.meta.url);
const ANSWER_MS = 20000;

/* ---- JSON as text --------------------------------------------------------- */

/* Where the value that begins at a place ends. */
function valueEnd(text, from) {
    let depth = 0;
    for (let at = from; at < text.length; at++) {
        if (text[at] === '"') {
            for (at++; text[at] !== '"'; at++)
                at += text[at] === '\\' ? 1 : 0;
        } else if ('{['.includes(text[at])) {
            depth++;
        } else if ('}]'.includes(text[at])) {
            if (depth === 0)
                return at;
            depth--;
        } else if (text[at] === ',' && depth === 0) {
            return at;
        }
    }
    return text.length;
}

/*
 * The members of an object as they are spelled: [[key, text], ...].  JSON.parse
 * would not tell 2150.0 from 2150.
 */
export function members(text) {
    const found = [];
    for (let at = text.indexOf('{') + 1; at < text.length;) {
        const end = valueEnd(text, at);
        const member = text.slice(at, end).trim();
        if (member !== '')
            found.push([JSON.parse(/^"(?:[^"\\]|\\.)*"/.exec(member)[0]),
                member]);
        at = end + 1;
    }
    return found;
}

/* What of a resource has to come back as it was sent. */
export function content(text) {
    return members(text).filter(([key]) =>
        !['resourceType', 'id', 'meta'].includes(key)).map(([, m]) => m);
}

/* Without the blanks between tokens, which a Bundle need not keep. */
export function compact(text) {
    return text.replace(/"(?:[^"\\]|\\.)*"|\s+/g,
        (token) => token[0] === '"' ? token : '');
}

/* ---- fixtures ------------------------------------------------------------- */

export function fixture(name) {
    return readFileSync(new URL(name, CORPUS), 'utf8');
}

/* The newest date in the fixtures becomes yesterday; distances stay. */
const NEWEST = Date.parse('2026-05-08');
const START_MS = Date.now(); /* one moment for a whole run */
const MOVE_MS = Math.floor((START_MS - NEWEST) / DAY_MS - 1) * DAY_MS;

export function moveDates(text) {
    return text.replace(/"(\d{4}-\d\d(?:-\d\d)?)(?=["T])/g, (_, date) => {
        const moved = new Date(Date.parse(date) + MOVE_MS).toISOString();
        return `"${moved.slice(0, date.length)}`;
    });
}

/* A time so many days ago, to the second; the same one in all of the run. */
export function daysAgo(days) {
    const when = new Date(START_MS - days * DAY_MS - 60000);
    return `${when.toISOString().slice(0, 19)}Z`;
}

/* ---- answers -------------------------------------------------------------- */

const judged = new Map(); /* equal text, equal findings */
export const counts = { bodies: 0, distinct: 0 };

export function expectValid(text, what) {
    counts.bodies++;
    if (judged.has(text))
        return;
    const checked = checkText(text);
    expect(checked.length > 0, `${what}: there was nothing to check`);
    for (const { name, found } of checked)
        expect(found.length === 0, `${what}: ${name} is not valid: ${
            JSON.stringify(found.slice(0, 3))}`);
    judged.set(text, true);
    counts.distinct++;
}

function issuesOf(outcome) {
    return (outcome?.issue ?? []).map((issue) => ({
        severity: issue.severity, code: issue.code,
        system: issue.details?.coding?.[0]?.system,
        word: issue.details?.coding?.[0]?.code,
        text: issue.details?.text ?? '', place: issue.expression?.[0] ?? '' }));
}

/* The issues of an answer, of an entry's response, or of an outcome. */
export function issues(of) {
    if (of?.resourceType === 'OperationOutcome')
        return issuesOf(of);
    return issuesOf(of?.body?.resourceType === 'OperationOutcome'
        ? of.body : of?.response?.outcome);
}

export function words(of) {
    return issues(of).map((issue) => issue.word).filter(Boolean);
}

export function expectStatus(answer, status, what = '') {
    expect(answer.status === status, `${what} status ${answer.status
    } instead of ${status}: ${answer.text.slice(0, 400)}`);
}

/* An error with this word at this place; what a sender can act on. */
export function expectRefused(of, status, word, place, what = '') {
    const got = of.status ?? Number(of.response?.status);
    const all = issues(of);
    expect(got === status, `${what} status ${got} instead of ${status}: ${
        JSON.stringify(all)}`);
    const error = all.find((issue) => /^(error|fatal)$/.test(issue.severity)
        && issue.word === word && (place === undefined || issue.place === place));
    expect(error !== undefined, `no error "${word}" at "${place}": ${
        JSON.stringify(all)}`);
    expect(error.system === `${BASE}/CodeSystem/av-error`,
        `the word is of ${error.system}`);
}

export function expectSame(got, want, what) {
    const [a, b] = [got, want].map((value) => JSON.stringify(value));
    expect(a === b, `${what}: ${a} instead of ${b}`);
}

/* Nothing that a record says may come back in what is said about it. */
function expectDiscreet(outcome, what) {
    for (const { text } of issuesOf(outcome))
        expect(!text.includes(MARK), `${what}: a text repeats what was sent: ${
            text}`);
}

function outcomesIn(body) {
    const entries = body?.resourceType === 'Bundle' ? body.entry ?? [] : [];
    return [body, ...entries.map((e) => e.response?.outcome ?? e.resource)]
        .filter((r) => r?.resourceType === 'OperationOutcome');
}

/* Judges an answer and parses it. */
export function judge(answer, { method, what, plain = false }) {
    const bytes = answer.bytes;
    answer.text = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true })
        .decode(bytes);
    if (method === 'HEAD' || answer.status === 304)
        expect(bytes.length === 0, `${what}: a body`);
    if (bytes.length === 0 || plain)
        return answer;
    expect(/^application\/fhir\+json(;|$)/.test(
        answer.headers['content-type'] ?? ''),
    `${what}: Content-Type ${answer.headers['content-type']}: ${answer.text}`);
    expectValid(answer.text, what);
    answer.body = JSON.parse(answer.text);
    outcomesIn(answer.body).forEach((o) => expectDiscreet(o, what));
    if (answer.status >= 400)
        expect(answer.body.resourceType === 'OperationOutcome',
            `${what}: ${answer.status} without an OperationOutcome`);
    return answer;
}

/* ---- the client ----------------------------------------------------------- */

export class Client {
    static requests = 0;

    constructor(url, options = {}) {
        this.url = url;
        this.origin = new URL(url).origin;
        this.options = options; /* of each request: socketPath, ... */
        this.agent = new Agent({ keepAlive: true, maxSockets: 16 });
    }

    /*
     * One exchange.  path is below the base, or begins with a scheme; body is
     * an object, text or bytes.  headers: undefined leaves one out.
     */
    async send(method, path, body, headers = {}, rest = {}) {
        const id = `rq-${MARK}-${++Client.requests}`;
        const data = body === undefined ? undefined : Buffer.from(
            typeof body === 'object' && !Buffer.isBuffer(body)
                ? JSON.stringify(body) : body);
        const all = { 'X-Request-Id': id, ...(data !== undefined && {
            'Content-Type': FHIR_JSON, 'Content-Length': data.length }),
        ...headers };
        const what = `${method} ${path}`;
        const answer = await this.exchange(method, path, data,
            Object.fromEntries(Object.entries(all).filter(
                ([, value]) => value !== undefined)));
        expect(answer.headers['x-request-id'] === all['X-Request-Id'],
            `${what}: X-Request-Id is ${answer.headers['x-request-id']}`);
        return judge(answer, { method, what, ...rest });
    }

    exchange(method, path, data, headers) {
        const url = /^https?:/.test(path) ? path : `${this.url}${path}`;
        return new Promise((resolve, reject) => {
            const req = request(url, { method, headers, agent: this.agent,
                timeout: ANSWER_MS, ...this.options }, (res) => {
                const chunks = [];
                res.on('data', (chunk) => chunks.push(chunk));
                res.on('error', reject);
                res.on('end', () => resolve({ status: res.statusCode,
                    headers: res.headers, bytes: Buffer.concat(chunks) }));
            });
            req.on('timeout', () => req.destroy(new Error(
                `no answer: ${method} ${path}`)));
            req.on('error', reject);
            req.end(data);
        });
    }

    get(path, headers, rest) {
        return this.send('GET', path, undefined, headers, rest);
    }

    put(type, resource, headers) {
        const text = typeof resource === 'string' ? resource
            : JSON.stringify(resource);
        return this.send('PUT', `/${type}/${JSON.parse(text).id}`, text,
            headers);
    }

    /* Posts what must be taken, and gives its id. */
    async post(resource) {
        const answer = await this.send('POST', `/${resource.resourceType}`,
            resource);
        expect(answer.status === 201 || answer.status === 200,
            `POST ${resource.resourceType}: ${answer.status} ${answer.text}`);
        return placeOf(answer).id;
    }

    /* Outside of /fhir: text, not FHIR. */
    async ops(path, headers) {
        return this.send('GET', `${this.origin}${path}`, undefined, headers,
            { plain: true });
    }

    async gauge(name) {
        const { text } = await this.ops('/metrics');
        const line = text.split('\n').find((l) => l.startsWith(`${name} `));
        expect(line !== undefined, `no ${name} in the metrics`);
        return Number(line.split(' ')[1]);
    }

    /* What would tell that something was kept. */
    async footprint() {
        return [await this.gauge('headgate_accesses'),
            await this.gauge('headgate_held_readings')].join(' accesses, ');
    }
}

/* Type, id and version that the Location of an answer names. */
export function placeOf(answer) {
    const found = /\/fhir\/([A-Za-z]+)\/([A-Za-z0-9.-]+)\/_history\/(\d+)$/
        .exec(answer.headers?.location ?? '');
    expect(found !== null, `Location: ${answer.headers?.location}`);
    return { type: found[1], id: found[2], version: found[3] };
}

/* All pages of a search. */
export async function searchPages(client, path, onPage = async () => {}) {
    const pages = [];
    const seen = new Set();
    for (let next = path; next !== undefined;) {
        expect(!seen.has(next), `the page ${next} comes again`);
        seen.add(next);
        const answer = await client.get(next);
        expectStatus(answer, 200, next);
        pages.push(answer.body);
        await onPage(pages.length);
        next = answer.body.link?.find((l) => l.relation === 'next')?.url;
    }
    return pages;
}

export function matches(pages) {
    return pages.flatMap((page) => page.entry ?? [])
        .filter((entry) => entry.search?.mode === 'match')
        .map((entry) => entry.resource);
}

/* ---- the service ---------------------------------------------------------- */

/* The service of the delivery test without a record, with more settings. */
export class Endpoint extends Service {
    constructor(binary, folder, settings = {}) {
        super(binary, folder, '');
        this.socket = join(folder, 'hg.db.sock');
        for (const [key, value] of Object.entries(settings))
            this.args.push('--set', `${key}=${value}`);
    }
}

/* ---- bytes on a connection ------------------------------------------------ */

/*
 * Writes pieces, with a pause between them, and resolves with all that comes
 * back.  The connection is half closed after the last piece unless the other
 * end is to close it.
 */
export function rawExchange(port, pieces, { pauseMs = 0, end = true } = {}) {
    return new Promise((resolve, reject) => {
        const chunks = [];
        const socket = connect({ port, host: '127.0.0.1' });
        socket.setTimeout(ANSWER_MS, () => socket.destroy(
            new Error('the connection was left open without an answer')));
        socket.on('data', (chunk) => chunks.push(chunk));
        socket.on('error', (e) => /ECONNRESET|EPIPE/.test(e.code)
            ? resolve(Buffer.concat(chunks)) : reject(e));
        socket.on('close', () => resolve(Buffer.concat(chunks)));
        socket.on('connect', async () => {
            for (const piece of pieces) {
                if (socket.destroyed)
                    return;
                socket.write(piece);
                if (pauseMs > 0)
                    await new Promise((go) => setTimeout(go, pauseMs));
            }
            if (end)
                socket.end();
        });
    });
}

/* The answers in a stream of bytes, each with a Content-Length. */
export function parseAnswers(bytes) {
    const answers = [];
    for (let rest = bytes; rest.length > 0;) {
        const split = rest.indexOf('\r\n\r\n');
        expect(split > 0, `no head: ${rest.toString('latin1').slice(0, 80)}`);
        const [first, ...lines] = rest.toString('latin1', 0, split)
            .split('\r\n');
        const headers = Object.fromEntries(lines.map((line) => {
            const colon = line.indexOf(':');
            return [line.slice(0, colon).toLowerCase(),
                line.slice(colon + 1).trim()];
        }));
        const status = Number(/^HTTP\/1\.1 (\d{3}) /.exec(first)?.[1]);
        expect(status >= 100, `status line: ${first}`);
        const length = Number(headers['content-length'] ?? 0);
        const from = split + 4;
        answers.push({ status, headers,
            bytes: rest.subarray(from, from + length) });
        rest = rest.subarray(from + length);
    }
    return answers;
}
