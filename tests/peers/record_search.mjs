/*
 * Search as a client meets it: which parameters are understood, and pages.
 *
 * A next link is a random token.  A client that builds its own page addresses
 * instead of following the link gets nowhere here, and an address that is no
 * longer known is answered 410, as servers do that let pages expire.
 */

import { randomUUID } from 'node:crypto';
import { globalSchema } from '@medplum/core';

const CONTROLS = new Set(['_count', '_sort', '_include', '_include:iterate',
    '_revinclude', '_revinclude:iterate', '_summary', '_elements', '_total',
    '_format', '_pretty']);
const PAGES_MAX = 1000;
const COUNT_DEFAULT = 20;
const COUNT_MAX = 1000;

/* The parameters of a query that this server does not understand. */
export function unknownParameters(resourceType, params) {
    const known = globalSchema.types[resourceType]?.searchParams ?? {};
    return [...new Set(params.keys())].filter((key) => {
        const name = key.split(/[:.]/, 1)[0];
        return !CONTROLS.has(key) && name !== '_has' && !(name in known);
    });
}

export class Pages {
    constructor() {
        this.byToken = new Map();
    }

    /* Remembers where a page starts; the oldest are forgotten. */
    put(page) {
        const token = randomUUID();
        this.byToken.set(token, page);
        if (this.byToken.size > PAGES_MAX)
            this.byToken.delete(this.byToken.keys().next().value);
        return token;
    }

    get(token) {
        return this.byToken.get(token);
    }
}

/* A first page from what was asked, or null where _count is no number. */
export function firstPage(resourceType, params) {
    const asked = params.get('_count');
    if (asked !== null && !/^\d+$/.test(asked))
        return null;
    const kept = new URLSearchParams(params);
    kept.delete('_count');
    kept.delete('_summary');
    const countOnly = params.get('_summary') === 'count' || asked === '0';
    const count = Math.min(Number(asked ?? COUNT_DEFAULT), COUNT_MAX);
    return { resourceType, params: kept, countOnly, offset: 0,
        count: countOnly ? 1 : count };
}

export function pageUrl(page) {
    const params = new URLSearchParams(page.params);
    params.set('_count', String(page.count));
    params.set('_offset', String(page.offset));
    return `${page.resourceType}?${params}`;
}

/* Puts addresses and links into the library's bare searchset. */
export function dressBundle(bundle, page, base, selfUrl, pages) {
    const end = page.offset + page.count;
    bundle.link = [{ relation: 'self', url: selfUrl }];
    if (page.countOnly) {
        delete bundle.entry;
        return;
    }
    if (bundle.total > end) {
        const token = pages.put({ ...page, offset: end });
        bundle.link.push({ relation: 'next', url: `${base}?_page=${token}` });
    }
    for (const entry of bundle.entry ?? [])
        entry.fullUrl = `${base}/${entry.resource.resourceType}/`
            + entry.resource.id;
}
