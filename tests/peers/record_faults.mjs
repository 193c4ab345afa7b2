/*
 * Faults that a test queues for the next matching requests of the peer.
 *
 *   status             answer "status" with "headers"; nothing is processed
 *   drop-before        close the connection; nothing is processed
 *   reset              the same with a TCP reset
 *   drop-after-commit  process, then close the connection without an answer
 *   delay              wait "ms" before processing, or, with "after": true,
 *                      between the commit and the answer
 *
 * and those of record_lies.mjs.
 *
 * A fault matches by method, by path relative to the base ("/Task", or
 * "/Task*" for what begins so) and by the resource type that the body carries,
 * alone or inside a Bundle.  What is left out matches everything.  "times"
 * (default 1) says how many requests it hits; then it is gone.
 */

import { LIES } from './record_lies.mjs';

const KINDS = new Set(['status', 'drop-before', 'reset', 'drop-after-commit',
    'delay', ...LIES]);
const FAULTS_MAX = 1000;

export class FaultQueue {
    constructor() {
        this.waiting = [];
    }

    /* Takes one fault or a list; all of them or, with an error, none. */
    add(given) {
        const faults = (Array.isArray(given) ? given : [given]).map(checked);
        if (this.waiting.length + faults.length > FAULTS_MAX)
            throw new Error('too many faults are waiting');
        this.waiting.push(...faults);
        return faults.length;
    }

    clear() {
        this.waiting = [];
    }

    /* The oldest fault that matches, used up by one, or null. */
    take(request) {
        const at = this.waiting.findIndex((f) => matches(f.match, request));
        if (at < 0)
            return null;
        const fault = this.waiting[at];
        fault.times--;
        if (fault.times === 0)
            this.waiting.splice(at, 1);
        return fault;
    }
}

function checked(given) {
    const fault = { match: {}, headers: {}, times: 1, ms: 0, after: false,
        ...given };
    if (!KINDS.has(fault.kind))
        throw new Error(`unknown kind of fault: ${fault.kind}`);
    if (!Number.isInteger(fault.times) || fault.times < 1)
        throw new Error('times must be a whole number of at least 1');
    if (fault.kind === 'status'
        && !(Number.isInteger(fault.status) && fault.status >= 200
            && fault.status <= 599))
        throw new Error('status must be between 200 and 599');
    if (!(Number.isFinite(fault.ms) && fault.ms >= 0 && fault.ms <= 120000))
        throw new Error('ms must be between 0 and 120000');
    return fault;
}

/* Also used by the control interface to look for a request in the log. */
export function matches(match, request) {
    if (match.method && match.method !== request.method)
        return false;
    if (match.path && !pathMatches(match.path, request.path))
        return false;
    return !match.carries || request.carries.includes(match.carries);
}

function pathMatches(wanted, path) {
    const plain = path.split('?', 1)[0];
    if (wanted.endsWith('*'))
        return plain.startsWith(wanted.slice(0, -1));
    return plain === wanted || plain === `${wanted}/`;
}

/* The resource types in a request body, those inside a Bundle included. */
export function carriedTypes(body) {
    const inside = Array.isArray(body?.entry)
        ? body.entry.map((entry) => entry?.resource?.resourceType) : [];
    return [...new Set([body?.resourceType, ...inside])]
        .filter((type) => typeof type === 'string');
}
