/*
 * The service fetches readings from a FHIR record that lies and fails:
 * whatever the record does, the readings here are those there, each once.
 *
 *   node poll.mjs path/to/headgate [URL]
 *
 * URL: the base of another FHIR server that is the record; else the one of
 * record.mjs.  What is there is what was put there, so that the counts are
 * exact.
 */

import { createServer } from 'node:http';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect, http } from './delivery_kit.mjs';
import { Somebody, PollSuite, put } from './poll_kit.mjs';

const bench = new PollSuite();
const scene = (count, settings) => bench.scene(count, settings);

const isSearch = (r) => r.method === 'GET' && (r.path === '/Observation'
    || r.path === '');
const nextOf = (body) => body?.link?.find((l) => l.relation === 'next');

/* The hook spoils the answers of searches; what comes must be exact. */
async function spoilt(count, answer, settings, then = async () => undefined) {
    const { tag, who, service } = await scene(count, settings);
    bench.peer.answer = (r, a) => (isSearch(r) ? answer(r, a, who) : undefined);
    await service.start();
    await service.until(who.ids, 'first readings');
    await then(service, who);
    await who.measure(3);
    await service.until(who.ids, 'later readings');
    await service.exactly(tag, who.ids);
}

const plain = () => spoilt(23, () => undefined);

/* What is committed late carries an earlier time. */
async function lateCommit() {
    const { tag, who, service } = await scene(10,
        { 'record.poll_overlap': 5 });
    const hidden = new Set([`${tag}-o-4`, `${tag}-o-5`]);
    bench.peer.answer = (r, a) => {
        if (a.body?.entry)
            a.body.entry = a.body.entry.filter((e) =>
                !hidden.has(e.resource.id));
    };
    await service.start();
    await service.until(who.ids.filter((id) => !hidden.has(id)), 'the others');
    await service.rounds('Observation');
    hidden.clear();
    await service.until(who.ids, 'the late ones');
    await service.exactly(tag, who.ids);
}

/* A page shows rows of the page before once more. */
const doubled = () => {
    let before = [];
    return spoilt(23, (r, a) => {
        const rows = a.body?.entry ?? [];
        if (a.body)
            a.body.entry = [...before, ...rows];
        before = nextOf(a.body) ? rows : [];
        if (a.body?.entry?.length === 0)
            delete a.body.entry;
    });
};

const expired = () => {
    let left = 2;
    return spoilt(23, (r, a) => {
        if (r.page === 2 && left-- > 0) {
            a.status = 410;
            a.body = { resourceType: 'OperationOutcome', issue: [{
                severity: 'error', code: 'expired' }] };
        }
    });
};

const emptyPages = () => spoilt(23, (r, a) => {
    if (a.status !== 200 || !a.body.entry || r.params.has('_kept'))
        return;
    const next = bench.peer.keep(structuredClone(a.body));
    delete a.body.entry;
    a.body.link = [{ relation: 'next', url: next }];
});

const totals = () => spoilt(23, (r, a) => {
    if (a.body)
        a.body.total = r.page % 2 ? 0 : 4000000;
});

const noTotals = () => spoilt(23, (r, a) => delete a.body?.total);

/* The record does not sort, and sends the newest somewhere in between. */
async function unsorted() {
    const { tag, who, service } = await scene(23);
    bench.peer.request = (r) => {
        if (isSearch(r) && r.params.get('_sort'))
            r.params.set('_sort', '-_lastUpdated');
    };
    await service.start();
    await service.until(who.ids, 'readings');
    await who.measure(4);
    await service.until(who.ids, 'later readings');
    await service.exactly(tag, who.ids);
}

/* The same, and the service dies in the middle of a window. */
async function unsortedKilled() {
    const { tag, who, service } = await scene(23);
    let hang = true;
    bench.peer.request = async (r) => {
        if (isSearch(r) && r.params.get('_sort'))
            r.params.set('_sort', '-_lastUpdated');
        if (hang && isSearch(r) && r.path === '' && r.page >= 3)
            await new Promise(() => undefined);
    };
    await service.start();
    await service.until(who.ids.slice(-5), 'the newest');
    await service.kill();
    hang = false;
    await service.start();
    await service.until(who.ids, 'readings');
    await service.exactly(tag, who.ids);
}

async function killed() {
    const { tag, who, service } = await scene(40);
    for (const page of [1, 3, 5]) {
        let reached;
        const there = new Promise((done) => { reached = done; });
        bench.peer.request = async (r) => {
            if (isSearch(r) && r.path === '' && r.page >= page) {
                reached();
                await new Promise(() => undefined);
            }
        };
        await service.start();
        await there;
        await service.kill();
    }
    bench.peer.honest();
    await service.start();
    await service.until(who.ids, 'readings');
    await service.exactly(tag, who.ids);
}

/* 429, 503, 500, resets and lost answers, on any page. */
async function passing(fault) {
    const { tag, who, service } = await scene(23);
    const left = { 0: 1, 1: 2, 3: 1 };
    bench.peer.answer = (r, a) => {
        if (!isSearch(r) || !(left[r.page]-- > 0))
            return undefined;
        return fault(a);
    };
    await service.start();
    await service.until(who.ids, 'readings');
    await service.exactly(tag, who.ids);
}

const status = (code, headers = {}) => (a) => {
    a.status = code;
    a.headers = headers;
    delete a.body;
    a.text = '';
};

/* The record's clock is far ahead, or behind. */
async function skewed(skewMs) {
    const { tag, who, service } = await scene(12, { 'record.poll_from': '',
        'record.poll_overlap': 4 });
    bench.peer.request = (r) => {
        const asked = r.params.get('_lastUpdated');
        if (asked)
            r.params.set('_lastUpdated', `ge${new Date(Date.parse(
                asked.slice(2)) - skewMs).toISOString()}`);
    };
    bench.peer.answer = (r, a) => {
        a.headers = { ...a.headers,
            date: new Date(Date.now() + skewMs).toUTCString() };
        for (const { resource } of a.body?.entry ?? [])
            resource.meta.lastUpdated = new Date(Date.parse(
                resource.meta.lastUpdated) + skewMs).toISOString();
    };
    const known = who.ids.length;
    await service.start();
    await service.rounds('Observation');
    await who.put(who.patient({ active: true }));
    await who.put(who.access({ description: 'again' }));
    await who.measure(6);
    await service.until(who.ids.slice(known), 'readings since');
    const cursorMs = await service.metric(
        'headgate_poll_lag_seconds{feed="Observation"}');
    expect(cursorMs >= 0 && cursorMs < 60, `a lag of ${cursorMs} s`);
    await service.rounds('Observation');
    await service.stop();
    const late = service.look((db) => db.prepare('SELECT cursor_ms FROM feed '
        + "WHERE name = 'Observation'").get().cursor_ms);
    expect(Math.abs(late - skewMs - Date.now()) < 30000,
        `the cursor is ${late - Date.now()} ms from our clock`);
    expect(tag !== '', 'no tag');
}

/* The record's clock is set back while it runs: what it writes is old. */
async function setBack() {
    const { tag, who, service } = await scene(8, { 'record.poll_overlap': 2 });
    let skewMs = 3600000;
    const starts = Date.now();
    bench.peer.request = (r) => {
        const asked = r.params.get('_lastUpdated');
        if (asked && skewMs > 0)
            r.params.set('_lastUpdated', `ge${new Date(Date.parse(
                asked.slice(2)) - skewMs).toISOString()}`);
    };
    bench.peer.answer = (r, a) => {
        a.headers = { ...a.headers,
            date: new Date(Date.now() + skewMs).toUTCString() };
        for (const { resource } of a.body?.entry ?? []) {
            if (skewMs > 0)
                resource.meta.lastUpdated = new Date(Date.parse(
                    resource.meta.lastUpdated) + skewMs).toISOString();
        }
    };
    await service.start();
    await service.until(who.ids, 'before');
    skewMs = 0;
    await service.rounds('Observation');
    await who.measure(3);
    await service.until(who.ids, 'after the clock was set back');
    await service.exactly(tag, who.ids);
    const cursor = service.look((db) => db.prepare('SELECT cursor_ms FROM feed '
        + "WHERE name = 'Observation'").get().cursor_ms);
    expect(cursor > starts + 3000000, 'the cursor went back');
}

/* No versions, no ETag; the times alone. */
const unversioned = () => spoilt(12, (r, a) => {
    delete a.headers.etag;
    (a.body?.entry ?? []).forEach((e) => delete e.resource.meta.versionId);
});

/* Neither versions nor times: the content alone. */
const undated = () => spoilt(12, (r, a) => {
    (a.body?.entry ?? []).forEach((e) => delete e.resource.meta);
});

/* A page that is too large, until less is asked for. */
const oversized = () => spoilt(12, (r, a) => {
    if (r.path !== '/Observation' || Number(r.params.get('_count')) <= 2)
        return;
    a.body.extension = [{ url: 'https://site.example/pad',
        valueString: 'x'.repeat(9 * 1024 * 1024) }];
});

/* What is wrong stops the feed with an alert; mended, nothing is missing. */
async function stops(trouble, request, answer) {
    const { tag, who, service } = await scene(23);
    const gauge =
        `headgate_poll_stopped{feed="Observation",trouble="${trouble}"}`;
    bench.peer.request = request;
    bench.peer.answer = (r, a) => (isSearch(r) ? answer(r, a) : undefined);
    await service.start();
    await service.untilMetric(gauge, 1);
    const ready = await service.text('/readyz');
    expect(/poll of Observation stopped: \S+/.test(ready),
        `/readyz does not say it: ${ready}`);
    bench.peer.honest();
    await who.measure(2);
    await service.until(who.ids, 'after it was mended');
    await service.exactly(tag, who.ids);
}

async function foreign() {
    const calls = [];
    const other = createServer((req, res) => {
        calls.push(req.url);
        res.end();
    });
    await new Promise((done) => other.listen(0, '127.0.0.1', done));
    const elsewhere = `http://127.0.0.1:${other.address().port}`;
    try {
        for (const link of [`${elsewhere}/fhir?page=2`,
            bench.peer.url.replace('http://127.0.0.1',
                'http://user@127.0.0.1'),
            `${bench.peer.origin}@${elsewhere.slice(7)}/x`])
            await stops('foreign-link', () => undefined, (r, a) => {
                if (nextOf(a.body))
                    nextOf(a.body).url = link;
            });
        expect(calls.length === 0, `the other host was asked: ${calls}`);
    } finally {
        other.close();
    }
}

const loop = () => stops('loop', () => undefined, (r, a) => {
    if (r.page === 2)
        nextOf(a.body).url = bench.loop;
    else if (r.page === 0)
        bench.loop = nextOf(a.body).url;
});

/* It takes the parameter and does not heed it. */
const lenient = () => stops('lenient', (r) => {
    r.params.delete('_lastUpdated');
    delete r.headers.prefer;
}, () => undefined);

const noBundle = () => stops('no-page', () => undefined, (r, a) => {
    a.body = { resourceType: 'OperationOutcome', issue: [] };
});

const notJson = () => stops('no-page', () => undefined, (r, a) => {
    delete a.body;
    a.text = '<html>Please sign in</html>';
});

const refused = () => stops('refused', () => undefined,
    (r, a) => status(403)(a));

const redirected = () => stops('refused', () => undefined,
    (r, a) => status(302, { location: 'http://127.0.0.1:1/elsewhere' })(a));

/* It does not know strict handling, nor how to sort. */
async function lessAsked() {
    const { tag, who, service } = await scene(13);
    bench.peer.request = (r) => (isSearch(r) && (r.headers.prefer
        || r.params.has('_sort'))
        ? { status: 400, headers: {}, body: { resourceType: 'OperationOutcome',
            issue: [{ severity: 'error', code: 'not-supported' }] } }
        : undefined);
    await service.start();
    await service.until(who.ids, 'readings');
    await service.exactly(tag, who.ids);
}

async function ends() {
    const { service } = await scene(30);
    let asked;
    const there = new Promise((done) => { asked = done; });
    bench.peer.request = async (r) => {
        if (isSearch(r) && r.page === 1) {
            asked();
            await sleep(30000);
        }
    };
    await service.start();
    await there;
    const began = Date.now();
    await service.stop();
    expect(Date.now() - began < 3000, 'it took long to end');
}

/* Older than every window; a record that is not asked properly shows it. */
async function older() {
    await put(bench.record, { resourceType: 'Patient', id: 'older-p' });
    await put(bench.record, { ...new Somebody('', 'older').reading(1, 500),
        focus: undefined });
    expect((await http('GET', `${bench.record}/Observation/older-o-1`)).status
        === 200, 'it is not there');
}

const SCENARIOS = [
    ['no fault', plain],
    ['late commits', lateCommit],
    ['rows twice', doubled],
    ['expired pages', expired],
    ['empty pages with a next one', emptyPages],
    ['wrong totals', totals],
    ['no totals', noTotals],
    ['not sorted', unsorted],
    ['not sorted, and killed in the middle', unsortedKilled],
    ['killed in the middle, three times', killed],
    ['429 with Retry-After', () => passing(status(429,
        { 'retry-after': '1' }))],
    ['503', () => passing(status(503))],
    ['500', () => passing(status(500))],
    ['reset', () => passing(() => 'drop')],
    ['the record is an hour ahead', () => skewed(3600000)],
    ['the record is an hour behind', () => skewed(-3600000)],
    ['the record\'s clock is set back', setBack],
    ['no versions', unversioned],
    ['no versions and no times', undated],
    ['a page that is too large', oversized],
    ['a next link to another host', foreign],
    ['pages in a circle', loop],
    ['_lastUpdated is not heeded', lenient],
    ['no Bundle', noBundle],
    ['no JSON', notJson],
    ['403', refused],
    ['a redirect', redirected],
    ['neither strict nor sorted', lessAsked],
    ['it ends at once', ends],
];

await bench.run([['what is older is there', older], ...SCENARIOS]);
