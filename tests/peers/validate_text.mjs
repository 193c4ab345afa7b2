/*
 * Rules on single values and on the text itself: the part of R4 that says how
 * JSON is written.  Sources: R4 2.1.2 (json), 2.24.0 (data types), 2.4 and
 * txt-1 (narrative), 2.24.0.6 (attachment).
 */

import { createHash } from 'node:crypto';

const TOKEN = /"(?:[^"\\]|\\.)*"|[{}[\]:,]/gs;

/*
 * Keys that an object has twice.  JSON.parse keeps the last one silently, so
 * this has to look at the text, which must be known to be JSON.
 */
export function duplicateKeys(text) {
    const found = [];
    const open = [];
    let previous = '';
    for (const [token] of text.matchAll(TOKEN)) {
        if (token === '{' || token === '[')
            open.push(new Set());
        else if (token === '}' || token === ']')
            open.pop();
        else if (token === ':')
            noteKey(open.at(-1), JSON.parse(previous), found);
        previous = token;
    }
    return found;
}

function noteKey(seen, key, found) {
    if (seen.has(key))
        found.push(key);
    seen.add(key);
}

const NUMBERS = {
    integer: [-(2 ** 31), 2 ** 31 - 1],
    unsignedInt: [0, 2 ** 31 - 1],
    positiveInt: [1, 2 ** 31 - 1],
};

/* What is wrong with a primitive value, or null. */
export function primitiveFault(type, value, regex) {
    const want = type === 'boolean' ? 'boolean'
        : type === 'decimal' || type in NUMBERS ? 'number' : 'string';
    if (typeof value !== want)
        return `${want} expected for ${type}`;
    if (type in NUMBERS)
        return wholeNumberFault(value, ...NUMBERS[type]);
    if (want !== 'string')
        return null;
    if (value.trim() === '')
        return 'empty string';
    if (type === 'base64Binary')
        return base64Fault(value);
    if (regex !== undefined && !regex.test(value))
        return `not in the form of ${type}`;
    return /^(date|dateTime|instant)$/.test(type) ? dayFault(value) : null;
}

function wholeNumberFault(value, least, most) {
    const good = Number.isInteger(value) && value >= least && value <= most;
    return good ? null : `not a whole number between ${least} and ${most}`;
}

/* The form in the definition takes quadratic time on a long wrong value. */
function base64Fault(value) {
    const dense = value.replace(/\s+/g, '');
    const good = dense.length % 4 === 0 && /^[0-9a-zA-Z+/]+={0,2}$/.test(dense);
    return good ? null : 'not base64';
}

/* The forms allow 30 February. */
function dayFault(value) {
    const [, year, month, day] = /^(\d{4})-(\d\d)-(\d\d)/.exec(value) ?? [];
    if (day === undefined)
        return null;
    const last = new Date(Date.UTC(Number(year), Number(month), 0));
    return Number(day) <= last.getUTCDate() ? null : 'no such day';
}

const NARRATIVE_TAGS = new Set(('a abbr acronym b big blockquote br caption '
    + 'cite code col colgroup dd dfn div dl dt em h1 h2 h3 h4 h5 h6 hr i img '
    + 'li ol p pre q samp small span strong sub sup table tbody td tfoot th '
    + 'thead tr tt ul var').split(' '));

/* What is wrong with the XHTML of a narrative (txt-1, txt-2), or null. */
export function narrativeFault(div) {
    if (!/^<div[\s>]/.test(div) || !div.trimEnd().endsWith('</div>'))
        return 'txt-1: the narrative is not a div';
    for (const [, name, rest] of div.matchAll(/<\/?([^\s>/]+)([^>]*)>/g)) {
        if (!NARRATIVE_TAGS.has(name) && !name.startsWith('!--'))
            return `txt-1: <${name}> in a narrative`;
        if (/\son[a-z]+\s*=|javascript:/i.test(rest))
            return 'txt-1: active content in a narrative';
    }
    const seen = div.replace(/<(?!img\b)[^>]*>/g, '').trim();
    return seen === '' ? 'txt-2: the narrative is empty' : null;
}

/* Whether size and hash of an attachment are those of its data. */
export function attachmentFault({ data, size, hash }) {
    if (typeof data !== 'string')
        return null;
    const bytes = Buffer.from(data, 'base64');
    if (size !== undefined && size !== bytes.length)
        return `size is ${size}, but the data has ${bytes.length} bytes`;
    const sha1 = createHash('sha1').update(bytes).digest('base64');
    return hash === undefined || hash === sha1 ? null
        : 'hash is not the SHA-1 of the data';
}
