/*
 * headgate check at a record: what it says before going live, of servers that
 * work, that do not, and that lie.
 *
 *   node check.mjs path/to/headgate [--java]
 *
 * Sources: HL7 FHIR R4, http.html (metadata) and capabilitystatement.html; RFC
 * 9110 for what the status codes mean.
 */

import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { Record, Service, expect, http } from './delivery_kit.mjs';
import { Suite, freePort } from './suite.mjs';

const bench = new Suite({ more: '[--java]' });

function check(...settings) {
    const sets = settings.flatMap((setting) => ['--set', setting]);
    return bench.service.command('check', ...sets);
}

function says(result, status, ...texts) {
    for (const text of texts)
        expect(result.out.replace(/\s+/g, ' ').includes(text),
            `it does not say "${text}": ${result.out}${result.err}`);
    expect(result.status === status, `status ${result.status}: ${result.out}`);
}

function metadata(fault) {
    return bench.record.fault({ match: { path: '/metadata' }, ...fault });
}

async function works() {
    const since = await bench.record.end();
    says(await check(), 0, 'It speaks FHIR R4 (4.0), as headgate does.',
        'yes Suggestions and reminders can be posted as Tasks.',
        'yes Asked: Task by identifier is understood.',
        'yes Asked: Patient by identifier is understood.');
    const log = await bench.record.log(since);
    expect(log.length === 4 && log.every(({ method }) => method === 'GET'),
        `it did more than look: ${log.map(({ method, path }) =>
            `${method} ${path}`)}`);
}

async function offline() {
    const since = await bench.record.end();
    says(await bench.service.command('check', '--offline'), 0, 'record');
    expect((await bench.record.log(since)).length === 0, 'it was asked');
}

async function refuses() {
    const cases = [[401, 'it does not take the token (401)'],
        [403, 'the token does not allow this (403)'],
        [302, 'it answers with a redirect, which is not followed'],
        [404, 'it does not answer as a FHIR server does'],
        [500, 'it does not answer as a FHIR server does']];
    for (const [status, text] of cases) {
        await metadata({ kind: 'status', status,
            headers: { Location: 'https://elsewhere.example/' } });
        says(await check(), 2, text, `HTTP status ${status}`);
    }
}

async function isNoRecord() {
    await metadata({ kind: 'text', status: 200, headers: {},
        text: '<html>log in</html>' });
    says(await check(), 2, 'is no CapabilityStatement of a server: is record.url');
    await metadata({ kind: 'text', status: 200, headers: {},
        text: 'x', times: 1, repeat: 17 * 1024 * 1024 });
    says(await check(), 2, 'its answer is larger than is taken');
    await metadata({ kind: 'text', status: 200, headers: {},
        text: JSON.stringify({ resourceType: 'CapabilityStatement',
            fhirVersion: '5.0.0', format: ['json'],
            rest: [{ mode: 'server' }] }) });
    says(await check(), 2, 'no It speaks another version of FHIR than R4');
}

async function cannot() {
    const { body } = await http('GET', `${bench.record.url}/metadata`);
    const server = body.rest[0];
    server.interaction = [{ code: 'batch' }];
    for (const resource of server.resource)
        if (resource.type === 'Task')
            resource.interaction = [{ code: 'read' }, { code: 'search-type' }];
    await metadata({ kind: 'text', status: 200, headers: {},
        text: JSON.stringify(body) });
    says(await check(), 2, 'no Tasks cannot be created: no suggestion or reminder',
        'no Posted Tasks cannot be changed', 'no JSON Patch is not offered',
        'no Transactions are not offered');
}

async function lies() {
    const made = await http('POST', `${bench.record.url}/Patient`,
        { resourceType: 'Patient', active: true });
    await bench.record.fault({ kind: 'lenient',
        match: { method: 'GET', path: '/Patient' } });
    says(await check(), 2, 'It passes over the search parameter identifier of '
        + 'Patient');
    await http('DELETE', `${bench.record.url}/Patient/${made.body.id}`);
}

async function isNotThere() {
    says(await check(`record.url=http://127.0.0.1:${await freePort()}/fhir`), 2,
        'it cannot be reached (name, address, port or TLS)');
    await metadata({ kind: 'delay', ms: 3000 });
    says(await check('record.timeout=300'), 2, 'no answer within the time of');
}

async function keepsItsToken({ tmp }) {
    const path = join(tmp, 'token');
    writeFileSync(path, 'a-secret-token\n');
    const result = await check(`record.token_file=${path}`);
    says(result, 0, 'yes Asked');
    expect(!(result.out + result.err).includes('a-secret'), 'it is printed');
    says(await check('record.token_file=/nowhere/token'), 2, '/nowhere/token');
}

async function java() {
    const { base } = await bench.startJava();
    const result = await check(`record.url=${base}`);
    says(result, 0, 'says it is HAPI FHIR', 'yes It speaks FHIR R4',
        'yes Suggestions and reminders can be posted as Tasks.',
        'yes A Task and its document are posted in one transaction.',
        'yes Asked: Task by identifier is understood.');
}

const SCENARIOS = [
    ['a record that works, and is only looked at', works],
    ['without asking', offline],
    ['a record that refuses', refuses],
    ['something that is no record of R4', isNoRecord],
    ['a record that cannot do what is needed', cannot],
    ['a record that lies about its searches', lies],
    ['a record that is not there', isNotThere],
    ['the token stays where it is', keepsItsToken],
];

await bench.main(async () => {
    bench.record = await Record.start(bench.tmp);
    bench.after = () => bench.record.clearFaults();
    bench.service = new Service(bench.binary, bench.tmp, bench.record.url);
    await bench.each(bench.words.includes('--java')
        ? [['an HAPI FHIR server', java]] : SCENARIOS);
});
