/*
 * Roles: each of the four of config/ENDPOINT.md against each route.
 *
 *   node roles.mjs path/to/headgate
 *
 * The scopes of the roles are read from that document, as an administrator
 * would copy them; the words of the routes from service/routes.c, so that a
 * new one without a row here fails.  What a role may do is our own rule, and
 * is written down below; how a refusal looks is RFC 6750, section 3.1.
 */

import { createHash } from 'node:crypto';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, http } from './delivery_kit.mjs';
import { BASE, Endpoint, OBS_SYSTEM, UCUM } from './endpoint_kit.mjs';
import { Suite } from './suite.mjs';

const START = new Date(Date.now() - 86400000).toISOString();
const root = new URL('../../', import.meta.url);
const sha256 = (text) => createHash('sha256').update(text).digest('hex');

const patient = { resourceType: 'Patient', id: 'p-role',
    name: [{ text: 'Fictional, Wren' }] };
const access = { resourceType: 'BodyStructure', id: 'a-role', active: true,
    morphology: { coding: [{ system: `${BASE}/CodeSystem/av-access-type`,
        code: 'avf' }] }, patient: { reference: 'Patient/p-role' } };
const reading = { resourceType: 'Observation', status: 'final',
    code: { coding: [{ system: OBS_SYSTEM, code: 'access-flow' }] },
    subject: { reference: 'Patient/p-role' },
    focus: [{ reference: 'BodyStructure/a-role' }], effectiveDateTime: START,
    valueQuantity: { value: 700, system: UCUM, code: 'mL/min' } };
/* refused whole; of a batch and a collection each entry would be */
const transaction = { resourceType: 'Bundle', type: 'transaction',
    entry: [{ resource: reading, request: { method: 'POST',
        url: 'Observation' } }] };
const task = { resourceType: 'Task', id: 'x', status: 'accepted',
    intent: 'proposal' };

/* Who may, by the first letters of the roles: s, r, c, a. */
const ROUTES = [
    ['POST', '/fhir/Observation', reading, 's'],
    ['POST', '/fhir/Patient', { ...patient, id: undefined }, 's'],
    ['PUT', '/fhir/Patient/p-role', patient, 's'],
    ['PUT', '/fhir/BodyStructure/a-role', access, 's'],
    ['POST', '/fhir', transaction, 's'],
    ['POST', '/hl7', 'MSH|^~\\&|X', 's'],
    ['GET', '/fhir/Task', , 'rc'],
    ['POST', '/fhir/Task/_search', , 'rc'],
    ['GET', '/fhir/Task/x', , 'rc'],
    ['GET', '/fhir/Task/_history', , 'rc'],
    ['GET', '/fhir/Task/x/_history', , 'rc'],
    ['GET', '/fhir/Task/x/_history/1', , 'rc'],
    ['GET', '/fhir/Task?_include=Task:patient', , 'rc'],
    ['GET', '/fhir/Task?_include=Task:focus', , ''],
    ['GET', '/fhir/Patient/p-role', , 'rc'],
    ['GET', '/fhir/Patient?_id=p-role', , ''],
    ['GET', '/fhir/Observation', , ''],
    ['GET', '/fhir/Observation/x', , ''],
    ['GET', '/fhir/BodyStructure/a-role', , ''],
    ['GET', '/fhir/Flag', , ''],
    ['GET', '/fhir/Provenance', , ''],
    ['PUT', '/fhir/Task/x', task, 'c'],
    ['PATCH', '/fhir/Task/x', [], 'c'],
    ['DELETE', '/fhir/Task/x', , ''],
    ['DELETE', '/fhir/Observation/x', , ''],
    ['POST', '/fhir/Task', task, ''],
    ['GET', '/queue', , 'rc'],
    ['GET', '/digest', , 'rc'],
    ['GET', '/held', , 'rc'],
    ['GET', '/decisions', , 'rc'],
    ['GET', '/review?access=a-role', , 'rc'],
    ['GET', '/plan?access=a-role', , 'rc'],
    ['GET', '/case?access=a-role', , 'rc'],
    ['GET', '/access?patient=p-role', , 'rc'],
    ['GET', '/technique', , 'rc'],
    ['GET', '/outbox', , 'rc'],
    ['GET', '/incoming', , 'rc'],
    ['GET', '/report', , 'rc'],
    ['GET', '/quarantine', , 'rc'],
    ['POST', '/task?act=take&task=x&by=Zz', , 'c'],
    ['POST', '/access?act=merge&from=x&into=y&by=Zz&why=x', , 'c'],
    ['POST', '/case?access=a-role&by=Zz&line=flow 1760', , 'c'],
    ['POST', '/technique?act=use&by=Zz', , ''],
    ['POST', '/outbox?act=retry&row=all', , ''],
    ['POST', '/quarantine/1/discard?by=Zz&why=x', , ''],
    ['POST', '/hook', , ''],
    ['PUT', '/hook/Task/x', task, ''],
    ['GET', '/metrics', , 'a'],
    ['GET', '/audit', , 'a'],
    ['GET', '/audit?form=fhir', , 'a'],
    ['GET', '/audit?verify', , 'a'],
    /* on the machine of the service only, whatever a token says */
    ['POST', '/store?act=backup&file=x', , ''],
    ['POST', '/patient?act=erase&patient=x&by=Zz&why=x&name=x', , ''],
    ['POST', '/bulk', , 'a'],
    ['DELETE', '/bulk', , 'a'],
    ['GET', '/healthz', , 'srca'],
    ['GET', '/readyz', , 'srca'],
    ['GET', '/fhir/metadata', , 'srca'],
    ['GET', '/nothing', , 'rc'],
    ['POST', '/nothing', , ''],
];

function roles() {
    const text = readFileSync(new URL('config/ENDPOINT.md', root), 'utf8');
    const found = [...text.matchAll(
        /^\| (sender|reader|coordinator|administrator): .*\| `([^`]+)` \|$/gm)];
    expect(found.length === 4, `${found.length} roles in config/ENDPOINT.md`);
    return found.map(([, name, scopes]) => ({ name, scopes,
        token: `t-${name}` }));
}

/* Every word of the tables of routes has a row. */
function complete() {
    const text = readFileSync(new URL('service/routes.c', root), 'utf8');
    const words = [...text.matchAll(/\{ "([a-z]+)",\s+route_/g)]
        .map(([, word]) => word);
    const known = new Set(ROUTES.map(([, path]) =>
        /^\/([a-z]*)/.exec(path)[1]));
    expect(words.length > 12, `${words.length} words in routes.c`);
    for (const word of words)
        expect(known.has(word), `/${word} has no row here`);
}

/* One request by each role, and by nobody whom the service knows. */
async function asked(service, all, [method, path, body, may]) {
    const wrong = [];
    for (const { name, token } of [...all, { name: '', token: 'x' }]) {
        const answer = await http(method, encodeURI(`${service.root()}${path}`),
            body, { Authorization: `Bearer ${token}`,
                ...(method === 'PATCH' && { 'Content-Type':
                    'application/json-patch+json' }),
                ...(path === '/hl7' && { 'Content-Type': 'text/plain' }) });
        const challenge = answer.headers['www-authenticate'] ?? '';
        const open = may.length === 4;
        const let_in = name === '' ? open : may.includes(name[0]);
        const status = name === '' ? 401 : 403;
        const refused = answer.status === 401 || answer.status === 403;
        if (let_in ? refused : answer.status !== status
            || !/error="(insufficient_scope|invalid_token)"/.test(challenge))
            wrong.push(`${name || 'nobody'} ${answer.status}`);
    }
    expect(wrong.length === 0, wrong.join(', '));
}

const bench = new Suite({ wholeMs: 120000 });
await bench.main(async () => {
    const all = roles();
    complete();
    const tokens = join(bench.tmp, 'tokens');
    writeFileSync(tokens, all.map(({ name, scopes, token }) =>
        `${name} ${sha256(token)} ${scopes}\n`).join(''));
    bench.service = new Endpoint(bench.binary, bench.tmp, { 'http.tokens':
        tokens, 'http.anonymous': false, 'http.failures_max': 0 });
    await bench.service.start();
    await bench.each(ROUTES.map((row) => [`${row[0]} ${row[1]}`,
        () => asked(bench.service, all, row)]));
});
