/*
 * What commands say when they cannot do what was asked: what was not found, what
 * the service answered, why a port cannot be had, until when a certificate is
 * good, and whose a restored store is.
 *
 *   node says.mjs path/to/headgate [PART-OF-A-NAME]
 *
 * Checked against what is outside headgate: EADDRINUSE of bind(2), the dates
 * that `openssl x509` prints, owners as stat(2) gives them.
 */

import { execFileSync } from 'node:child_process';
import { chmodSync, chownSync, copyFileSync, mkdirSync, rmSync, statSync,
    writeFileSync } from 'node:fs';
import { get } from 'node:https';
import { createServer } from 'node:net';
import { join } from 'node:path';
import tls from 'node:tls';
import { expect, stopChild } from './delivery_kit.mjs';
import { FileSuite, lines, list, patient, read, text } from './load_kit.mjs';
import { until } from './suite.mjs';

/* What it writes to standard error comes here a little later than it was
 * written. */
const logged = (service, line) => until(`${line} in the log`,
    () => line.test(read(service.log)));

const suite = new FileSuite();

/* ---- what is not there -------------------------------------------------------- */

await suite.one('what was not found is named, and is not taken for an old service', async () => {
    suite.place();
    const service = suite.serve();
    await service.start();
    await service.post(patient('a'));
    const by = ['--by', 'A. Tester, admin', '--why', 'a test'];
    for (const [words, wants] of [
        [['outbox', 'retry', '999'], /Nothing that was put aside has the number 999$/m],
        [['outbox', 'discard', '999', ...by], /Nothing that was put aside has the number 999$/m],
        [['quarantine', 'show', '99'], /Nothing held or in quarantine has the number 99$/m],
        [['quarantine', 'release', '99', ...by], /Nothing has the number 99/],
        [['access', 'list', 'NOPE'], /No patient with an access has this number or id$/m],
        [['audit', 'list', '--patient', 'NOPE'], /No patient has this number or id$/m],
        [['patient', 'export', 'NOPE', '--to', '-'], /No patient has this number or id/],
    ]) {
        const said = await suite.run(words[0], words.slice(1));
        expect(said.status === 1 && wants.test(said.err) && said.out === ''
            && !/is headgate there|not older/.test(said.err),
        `${words.join(' ')}: ${said.status} ${said.out}${said.err}`);
    }
    /* what is not the form of a date is a wrong command line */
    for (const words of [['--from', 'garbage'], ['--to', '2026-02-30']]) {
        const said = await suite.run('audit', ['list', ...words]);
        expect(said.status === 2 && said.err === `headgate: ${words[0]} '${
            words[1]}' is no date: write it as 2026-03-31\n`,
        `audit list ${words.join(' ')}: ${said.status} ${said.err}`);
    }
    expect(await stopChild(service.child) === 0, 'it stops in good order');
});

await suite.one('who is no headgate is asked about; what it answers is no text of ours', async () => {
    suite.place();
    /* a server of another kind, with a page of its own */
    const page = '<html><body>Not here</body></html>';
    const other = createServer((socket) => socket.on('data', () => socket.end(
        `HTTP/1.1 404 Not Found\r\nContent-Type: text/html\r\nContent-Length: ${
            page.length}\r\nConnection: close\r\n\r\n${page}`)).on('error', () => {}));
    await new Promise((done) => other.listen(0, '127.0.0.1', done));
    const said = await suite.run('queue', ['--to',
        `http://127.0.0.1:${other.address().port}`]);
    other.close();
    expect(said.status === 1 && /answered 404: is headgate there/.test(said.err)
        && !/html/.test(said.err), said.err);
});

/* ---- a port that somebody has ---------------------------------------------------- */

await suite.one('a port in use is said with its reason, and nothing of an erasure', async () => {
    const taken = createServer();
    await new Promise((done) => taken.listen(0, '127.0.0.1', done));
    const { port } = taken.address();
    for (const [key, settings] of [['http', { 'http.port': port }],
        ['mllp', { 'mllp.enabled': true, 'mllp.port': port }]]) {
        suite.place(settings);
        const said = await suite.run('serve', []);
        expect(said.status === 1 && new RegExp(`^headgate: 127\\.0\\.0\\.1 port ${
            port}: cannot be listened on.*: it is in use by another program`, 'm')
            .test(said.err), `${key}: ${said.status} ${said.err}`);
        expect(!/event=patient\.erase|level=error/.test(said.err),
            `${key}: ${said.err}`);
    }
    taken.close();
});

/* ---- a command on a store that no service has open --------------------------------- */

await suite.one('without a service a command says its answer alone', async () => {
    suite.place();
    const file = join(suite.folder, 'a.ndjson');
    writeFileSync(file, text(lines('a', 3)));
    const loaded = await suite.load(file);
    expect(loaded.status === 0, loaded.err);
    for (const words of [['queue'], ['task', 'take', 'ZZ', '--by', 'A. Tester'],
        ['store', 'backup', join(suite.folder, 'copy.db')]]) {
        const said = await suite.run(words[0], words.slice(1));
        expect(!/level=(debug|info)/.test(said.err),
            `${words.join(' ')}: ${said.err}`);
    }
    /* with a service the log is the service's */
    const service = suite.serve();
    await service.start();
    await stopChild(service.child);
    await logged(service, /level=info event=service\.stop/);
});

/* ---- whose the store is --------------------------------------------------------------- */

const NOBODY = 65534;
const root = process.getuid() === 0;

/* A place of an account that is not root; as root only. */
function placeOf(account) {
    suite.place();
    chmodSync(suite.tmp, 0o711);
    chmodSync(suite.config, 0o644);
    if (root)
        chownSync(suite.folder, account, account);
    return root ? { as: account } : {};
}

function expectOwner(path, what) {
    const { uid, gid } = statSync(path);
    const wants = root ? [NOBODY, NOBODY] : [process.getuid(), process.getgid()];
    expect(uid === wants[0] && gid === wants[1], `${what}: ${uid}:${gid}`);
}

/* A service of that account works with it. */
async function expectServed(how, count) {
    const child = suite.start('serve', [], how);
    let out = '';
    child.stdout.on('data', (chunk) => { out += chunk; });
    await until('it is ready', () => /headgate ready (\S+)/.test(out)
        || child.exitCode !== null, 10000);
    expect(child.exitCode === null, 'the service of that account does not start');
    child.kill('SIGTERM');
    const { status, err } = await child.ended;
    expect(status === 0, `${status} ${err}`);
    expect(suite.readings('a') === count, `${suite.readings('a')} readings`);
}

await suite.one('a store restored by root is of the account that the old one was of', async () => {
    const how = placeOf(NOBODY);
    const file = join(suite.folder, 'a.ndjson'), copy = join(suite.folder, 'copy.db');
    writeFileSync(file, text(lines('a', 5)));
    if (root)
        chownSync(file, NOBODY, NOBODY);
    const loaded = await suite.run('load', [file], how);
    expect(loaded.status === 0, loaded.err);
    const backup = await suite.run('store', ['backup', copy], how);
    expect(backup.status === 0, backup.err);
    for (const old of ['of that account', 'gone: its folder is']) {
        const said = await suite.run('store', ['restore', copy]);
        expect(said.status === 0, `${said.out}${said.err}`);
        for (const name of list(suite.folder))
            expectOwner(join(suite.folder, name), `${old}: ${name}`);
        expect((statSync(suite.store).mode & 0o777) === 0o600, 'its mode');
        await expectServed(how, 5);
        /* gone, with what was put aside, whose name may be that of this second */
        for (const name of list(suite.folder).filter((n) => n.startsWith('hg.db')))
            rmSync(join(suite.folder, name));
    }
});

await suite.one('the first store that root makes by load is of whose folder it is', async () => {
    const how = placeOf(NOBODY);
    const file = join(suite.tmp, 'first.ndjson');
    writeFileSync(file, text(lines('a', 4)));
    const said = await suite.load(file);
    expect(said.status === 0, said.err);
    expect(/given to the account that its folder is of/.test(said.err) === root,
        said.err);
    expectOwner(suite.store, 'the store');
    await expectServed(how, 4);
    /* in a folder of root's nobody else could */
    suite.place();
    const warned = await suite.load(file);
    expect(warned.status === 0
        && /made by root, in a folder of root's/.test(warned.err) === root,
    warned.err);
});

/* ---- until when certificates are good ------------------------------------------------- */

const DAY_MS = 86400 * 1000;
const openssl = (...args) => execFileSync('openssl', args,
    { encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'] });
/* ASN.1 UTCTime, as openssl's ca(1) wants it */
const utc = (ms) => new Date(ms).toISOString().replace(/[-:T]/g, '')
    .slice(2, 14) + 'Z';

/* One that signs itself, good between two days from now; the moments that openssl
 * prints of it, to the minute. */
function certificate(name, from, to) {
    const at = (end) => join(suite.tmp, `${name}.${end}`);
    const folder = join(suite.tmp, `${name}.ca`);
    mkdirSync(folder);
    writeFileSync(join(folder, 'index.txt'), '');
    writeFileSync(join(folder, 'serial'), '1000\n');
    writeFileSync(join(folder, 'crlnumber'), '01\n');
    writeFileSync(at('cnf'), `[ca]\ndefault_ca=d\n[d]\ndatabase=${folder
    }/index.txt\nserial=${folder}/serial\nnew_certs_dir=${folder
    }\ncrlnumber=${folder}/crlnumber\ndefault_md=sha256\npolicy=p\n`
        + 'x509_extensions=x\n[p]\ncommonName=supplied\n[x]\n'
        + 'basicConstraints=CA:TRUE\nsubjectAltName=IP:127.0.0.1\n');
    openssl('req', '-new', '-newkey', 'ec', '-pkeyopt',
        'ec_paramgen_curve:P-256', '-nodes', '-subj', `/CN=${name}`, '-keyout',
        at('key'), '-out', at('csr'));
    openssl('ca', '-batch', '-selfsign', '-notext', '-config', at('cnf'), '-in',
        at('csr'), '-keyfile', at('key'), '-startdate',
        utc(Date.now() + from * DAY_MS), '-enddate', utc(Date.now()
        + to * DAY_MS), '-out', at('pem'));
    chmodSync(at('key'), 0o600);
    const dates = openssl('x509', '-in', at('pem'), '-noout', '-dates');
    const [begin, end] = ['notBefore', 'notAfter'].map((n) => new Date(
        new RegExp(`${n}=(.*)`).exec(dates)[1]).toISOString().slice(0, 16)
        .replace('T', ' '));
    return { pem: at('pem'), key: at('key'), cnf: at('cnf'), begin, end };
}

const certs = {
    good: certificate('good', -30, 60),
    soon: certificate('soon', -30, 10),
    ended: certificate('ended', -30, -3),
    early: certificate('early', 5, 60),
};
const httpWith = (c) => ({ 'http.tls_certificate': c.pem,
    'http.tls_key': c.key });

await suite.one('check says until when each certificate is good, and fails if it is not', async () => {
    const words = {
        good: [0, (c) => `is good until ${c.end} UTC\n`],
        soon: [0, (c) => `is good until ${c.end} UTC, and no longer: renew it`],
        ended: [2, (c) => `ended on ${c.end} UTC: the other side refuses it`],
        early: [2, (c) => `begins on ${c.begin} UTC: the other side refuses it`],
    };
    for (const [of, settings] of [
        ['http', httpWith],
        ['mllp', (c) => ({ 'mllp.enabled': true, 'mllp.tls_certificate': c.pem,
            'mllp.tls_key': c.key })],
        ['record', (c) => ({ 'record.url': 'https://record.example/fhir',
            'record.tls_certificate': c.pem, 'record.tls_key': c.key })],
    ])
        for (const [name, [status, line]] of Object.entries(words)) {
            suite.place(settings(certs[name]));
            const said = await suite.run('check', ['--offline']);
            const want = `tls      ${of}: ${certs[name].pem} ${line(certs[name])}`;
            expect(said.status === status && said.out.includes(want),
                `${of} ${name}: ${said.status}, not ${want}: ${said.out}${said.err}`);
        }
    /* authorities of clients: one of two, then all */
    const both = join(suite.tmp, 'both.pem');
    writeFileSync(both, read(certs.good.pem) + read(certs.ended.pem));
    for (const [file, status, want] of [
        [both, 0, 'of 2 authorities in it 1 have ended or end within 21 days'],
        [certs.ended.pem, 2, 'every authority in it has ended'],
        [certs.good.pem, 0, '']]) {
        suite.place({ ...httpWith(certs.good), 'http.tls_client': 'required',
            'http.tls_client_ca': file });
        const said = await suite.run('check', ['--offline']);
        expect(said.status === status && (want === ''
            ? !/authorities in it|every authority/.test(said.out) : said.out.includes(want)),
        `${file}: ${said.status} ${said.out}`);
    }
});

/* The certificate that a new connection is shown. */
function shown(url) {
    return new Promise((done, fail) => {
        const { hostname, port } = new URL(url);
        const socket = tls.connect({ host: hostname, port,
            rejectUnauthorized: false }, () => {
            done(socket.getPeerCertificate().subject.CN);
            socket.destroy();
        });
        socket.on('error', fail);
    });
}

async function hup(service, word) {
    const count = () => read(service.log).split(`event=${word}`).length;
    const before = count();
    service.child.kill('SIGHUP');
    await until(word, () => count() > before);
}

await suite.one('a start with one that has ended says so; no reload takes one in place of a good one', async () => {
    const pem = join(suite.tmp, 'in-use.pem'), key = join(suite.tmp, 'in-use.key');
    const put = (c) => {
        copyFileSync(c.pem, pem);
        copyFileSync(c.key, key);
    };
    put(certs.good);
    suite.place(httpWith({ pem, key }));
    let service = suite.serve();
    await service.start();
    await logged(service, /event=service\.ready/);
    expect(!/event=tls\.certificate/.test(read(service.log)), 'of a good one');
    for (const name of ['ended', 'early']) {
        put(certs[name]);
        await hup(service, 'reload.failed');
        const said = name === 'ended' ? `ended on ${certs.ended.end}`
            : `begins on ${certs.early.begin}`;
        const why = `in-use.pem: ${said} UTC; the certificate in force is good `
            + `until ${certs.good.end} UTC, and stays`;
        await until(why, () => read(service.log).includes(why));
        expect(await shown(service.url) === 'good', `${name} is in force`);
    }
    put(certs.soon);
    await hup(service, 'reload.done');
    expect(await shown(service.url) === 'soon', 'one that is good takes its place');
    await logged(service,
        /level=warn event=tls\.certificate of=http is="ends soon" days=9/);
    await stopChild(service.child);
    /* better an expired one than no service; any other is no worse */
    put(certs.ended);
    suite.place(httpWith({ pem, key }));
    service = suite.serve();
    await service.start();
    await logged(service,
        /level=warn event=tls\.certificate of=http is=ended days=-3/);
    put(certs.early);
    await hup(service, 'reload.done');
    expect(await shown(service.url) === 'early', 'it is taken');
    await stopChild(service.child);
});

await suite.one('the end of revocation lists is a metric', async () => {
    const list = join(suite.tmp, 'list.pem');
    openssl('ca', '-config', certs.good.cnf, '-keyfile', certs.good.key, '-cert',
        certs.good.pem, '-gencrl', '-crldays', '3', '-out', list);
    const end = Date.parse(/nextUpdate=(.*)/.exec(openssl('crl', '-in', list,
        '-noout', '-nextupdate'))[1]) / 1000;
    suite.place({ ...httpWith(certs.good), 'http.tls_client': 'asked',
        'http.tls_client_ca': certs.good.pem, 'http.tls_crl': list,
        'mllp.enabled': true, 'mllp.tls_certificate': certs.good.pem,
        'mllp.tls_key': certs.good.key, 'mllp.tls_client_ca': certs.good.pem,
        'mllp.tls_crl': list });
    const said = await suite.run('check', ['--offline']);
    const day = new Date(end * 1000).toISOString().slice(0, 10);
    for (const of of ['http', 'mllp'])
        expect(new RegExp(`\\[${of}\\] tls_crl: a revocation list ends on ${
            day}`).test(said.out), `${of}: ${said.out}`);
    const service = suite.serve();
    await service.start();
    const text = await new Promise((done, fail) => get(new URL('/metrics',
        service.url), { rejectUnauthorized: false }, (answer) => {
        let body = '';
        answer.on('data', (chunk) => { body += chunk; });
        answer.on('end', () => done(body));
    }).on('error', fail));
    for (const of of ['http', 'mllp'])
        expect(text.includes('headgate_revocation_list_end_timestamp_seconds'
            + `{of="${of}"} ${end}\n`), `${of}, ${end}: ${text}`);
    await stopChild(service.child);
});

await suite.finish();
