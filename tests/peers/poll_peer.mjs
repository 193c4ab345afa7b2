/*
 * A record that lies: it stands before a real FHIR server, passes everything
 * on, and spoils what a test asks it to.
 *
 * Addresses of the server behind are replaced by ours in what it sends, so
 * that its links lead through here.  A test gives hooks:
 *
 *   request(r)   r: { method, path, params, headers, page }, may be changed;
 *                what it returns is the answer, if it returns one
 *   answer(r, a) a: { status, headers, body } with a parsed body, may be
 *                changed; "drop" closes the connection instead
 *
 * page counts the requests of a search from 0, next links included; pages that
 * the peer itself invents are kept with keep(body), which gives their address.
 */

import { createServer, request as httpRequest } from 'node:http';

const KEEP = '_kept';

export class LyingRecord {
    static async start(upstream) {
        const peer = new LyingRecord();
        peer.upstream = upstream;
        peer.server = createServer((req, res) =>
            peer.handle(req, res).catch((e) => {
                peer.errors.push(e);
                res.destroy();
            }));
        await new Promise((resolve) =>
            peer.server.listen(0, '127.0.0.1', resolve));
        peer.origin = `http://127.0.0.1:${peer.server.address().port}`;
        peer.url = `${peer.origin}/fhir`;
        return peer;
    }

    constructor() {
        this.kept = new Map();
        this.errors = [];
        this.honest();
    }

    /* Forget all hooks and what was seen. */
    honest() {
        this.request = () => undefined;
        this.answer = () => undefined;
        this.log = [];
        this.page = 0;
    }

    keep(body) {
        const key = String(this.kept.size + 1);
        this.kept.set(key, body);
        return `${this.url}?${KEEP}=${key}`;
    }

    close() {
        this.server.closeAllConnections();
        return new Promise((resolve) => this.server.close(resolve));
    }

    async handle(req, res) {
        const url = new URL(req.url, this.origin);
        const r = { method: req.method, path: url.pathname.slice(5),
            params: url.searchParams, headers: { ...req.headers },
            page: 0, atMs: Date.now() };
        r.text = await textOf(req);
        if (url.searchParams.has('_lastUpdated')
            || url.searchParams.has('_since'))
            this.page = 0;
        r.page = this.page;
        if (req.method === 'GET' && (r.path === '' || /^\/[A-Z]\w+$/
            .test(r.path)))
            this.page++;
        this.log.push(r);
        let a = await this.request(r);
        if (a === undefined && url.searchParams.has(KEEP))
            a = { status: 200, headers: {},
                body: this.kept.get(url.searchParams.get(KEEP)) };
        a ??= await this.pass(r);
        r.status = a.status;
        if (await this.answer(r, a) === 'drop' || a.drop)
            return res.socket.resetAndDestroy();
        return send(res, a);
    }

    async pass(r) {
        const query = r.params.toString();
        const answer = await forward(r.method, this.upstream + r.path
            + (query ? `?${query}` : ''), r.headers, r.text);
        answer.text = answer.text.split(this.upstream).join(this.url);
        for (const name of ['location', 'content-location']) {
            if (answer.headers[name] !== undefined)
                answer.headers[name] = answer.headers[name]
                    .replace(this.upstream, this.url);
        }
        try {
            answer.body = JSON.parse(answer.text);
        } catch {
            answer.body = undefined;
        }
        return answer;
    }
}

async function textOf(stream) {
    const chunks = [];
    for await (const chunk of stream)
        chunks.push(chunk);
    return Buffer.concat(chunks).toString('utf8');
}

function forward(method, url, headers, text) {
    const kept = { ...headers };
    for (const name of ['host', 'connection', 'content-length',
        'accept-encoding'])
        delete kept[name];
    if (text !== '')
        kept['content-length'] = Buffer.byteLength(text);
    return new Promise((resolve, reject) => {
        const req = httpRequest(url, { method, headers: kept },
            async (res) => resolve({ status: res.statusCode,
                headers: res.headers, text: await textOf(res) }));
        req.on('error', reject);
        req.end(text);
    });
}

function send(res, a) {
    const text = a.body === undefined ? a.text ?? '' : JSON.stringify(a.body);
    const headers = { ...a.headers };
    for (const name of ['content-length', 'transfer-encoding', 'connection',
        'content-encoding', 'keep-alive'])
        delete headers[name];
    if (text !== '' && headers['content-type'] === undefined)
        headers['content-type'] = 'application/fhir+json';
    if (headers.date !== undefined)
        res.sendDate = false;
    res.writeHead(a.status, headers);
    res.end(text);
}
