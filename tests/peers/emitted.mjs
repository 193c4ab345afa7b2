/*
 * Every resource that headgate emits in the demo, in the opinion of HL7's own
 * validator: what it posts to a record, with documents, proposals, flags and
 * Provenance; what it serves itself; what it says when it refuses.
 *
 *   node emitted.mjs HEADGATE HEADGATE-DEMO [FILE]
 *
 * The validator is the Java library org.hl7.fhir.validation with the R4
 * definitions (tests/peers/java); the codes of our own CodeSystems are known
 * to it.  FILE keeps the resources, one a line.
 */

import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { Record, Service, expect, http, killChildren, searchAll }
    from './delivery_kit.mjs';

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const WHOLE_MS = 300000;
const SERVED = ['Task', 'DocumentReference', 'ServiceRequest', 'Flag',
    'Provenance'];

const seen = new Map(); /* text of a resource, and where it came from */

function keep(where, resource) {
    if (resource?.resourceType !== undefined)
        seen.set(JSON.stringify(resource), where);
}

/* All that was sent to the record so far, as it was sent. */
async function sent(record) {
    const log = await record.log(0, true);
    for (const { method, path, body } of log)
        if (/^(POST|PUT)$/.test(method) && body.startsWith('{'))
            keep(`${method} ${path}`, JSON.parse(body));
    return log.length;
}

async function settled(record) {
    for (let before = -1, now = 0; before !== now;) {
        before = now;
        await sleep(3000);
        now = (await record.log()).length;
    }
}

async function served(service) {
    const get = async (path) => {
        const { body } = await http('GET', `${service.url}/${path}`);
        keep(`GET ${path}`, body);
        return body;
    };
    for (const type of SERVED) {
        const all = await searchAll(`${service.url}/${type}?_count=50`);
        all.forEach((resource) => keep(`search ${type}`, resource));
        await get(`${type}?_count=5`);
        if (all.length > 0)
            await get(`${type}/${all[0].id}/_history`);
    }
    for (const path of ['metadata', 'Task?_summary=count', 'Task/nobody',
        'Task?_sort=due&_include=Task:patient&_include=Task:focus'
            + '&_revinclude=Provenance:target', 'Nothing', 'Task?nonsense=1',
        'Task?_lastUpdated=yesterday', 'Observation?_count=3'])
        await get(path);
    const { body } = await http('GET', `${service.url}/metadata`);
    for (const { definition } of body.rest[0].resource.flatMap(
        ({ searchParam }) => searchParam ?? []))
        if (definition?.includes('/SearchParameter/'))
            await get(definition.slice(definition.indexOf('SearchParameter/')));
}

/* Refusals, and answers to Bundles. */
async function refused(service) {
    const bodies = [{}, { resourceType: 'Observation' },
        { resourceType: 'Observation', status: 'final', code: { text: 'x' },
            subject: { reference: 'Patient/p' }, valueString: 'x' },
        { resourceType: 'Bundle', type: 'batch', entry: [
            { request: { method: 'POST', url: 'Observation' },
                resource: { resourceType: 'Observation' } },
            { request: { method: 'GET', url: 'Task?_count=2' } }] }];
    for (const body of bodies)
        for (const path of ['', '/Observation', '/Task'])
            keep(`POST ${path}`, (await http('POST', service.url + path, body))
                .body);
}

/* The audit trail of all that, as AuditEvents. */
async function audited(service, tmp) {
    const file = join(tmp, 'audit.ndjson');
    const said = await service.command('audit', 'export', '--fhir', file);
    expect(said.status === 0, said.err);
    for (const line of readFileSync(file, 'utf8').split('\n').filter(Boolean))
        keep('audit export', JSON.parse(line));
}

function codesystems(binary) {
    const ran = spawnSync(binary, ['check', 'codesystems'],
        { encoding: 'utf8', cwd: ROOT, maxBuffer: 1 << 26 });
    const bundle = JSON.parse(ran.stdout);
    keep('check codesystems', bundle);
}

function judged(file) {
    const ran = spawnSync('sh', ['tests/peers/java/run.sh', 'validate',
        '--codesystems', 'config/fhir/codesystems.json', file],
    { encoding: 'utf8', cwd: ROOT, maxBuffer: 1 << 28 });
    const found = ran.stdout.split('\n').filter((line) => line.startsWith('{'))
        .map((line) => JSON.parse(line));
    console.log(`  ${ran.stderr.trim().split('\n').at(-1)}`);
    return { status: ran.status, found };
}

async function main(binary, generator, kept) {
    const tmp = mkdtempSync(join(tmpdir(), 'headgate-emitted-'));
    setTimeout(() => {
        console.log('FAIL  out of time');
        killChildren();
        process.exit(1);
    }, WHOLE_MS);
    execFileSync('sh', ['tests/peers/java/build.sh'], { cwd: ROOT,
        stdio: 'inherit' });
    const record = await Record.start(tmp);
    const service = new Service(resolve(binary), tmp, record.url,
        { 'record.service_request': true, 'record.flag': true });
    await service.start();
    const year = join(tmp, 'year.ndjson');
    writeFileSync(year, execFileSync(generator, { maxBuffer: 1 << 26 }));
    const loaded = await service.command('load', '--to', service.url, year);
    expect(loaded.status === 0, loaded.err);
    await settled(record);
    await sent(record);
    await served(service);
    await refused(service);
    await audited(service, tmp);
    codesystems(binary);
    const file = kept ?? join(tmp, 'emitted.ndjson');
    const lines = [...seen.keys()];
    writeFileSync(file, `${lines.join('\n')}\n`);
    const counts = {};
    for (const line of lines) {
        const { resourceType } = JSON.parse(line);
        counts[resourceType] = (counts[resourceType] ?? 0) + 1;
    }
    console.log(`  ${JSON.stringify(counts)}`);
    for (const type of [...SERVED, 'AuditEvent', 'Bundle', 'OperationOutcome',
        'CapabilityStatement'])
        expect((counts[type] ?? 0) > 0, `no ${type} was emitted`);
    const { status, found: all } = judged(file);
    /* that a Provenance is of an older version of the Task is what is meant */
    const found = all.filter(({ severity, message }) => severity !== 'warning'
        || !/_history\/\d+ by type and id but its fullUrl/.test(message));
    for (const { line, severity, place, message } of found.slice(0, 20))
        console.log(`  ${severity} ${seen.get(lines[line - 1])} ${place}: ${
            message}`);
    killChildren();
    rmSync(tmp, { recursive: true, force: true });
    const good = status === 0 && found.length === 0;
    console.log(`${good ? 1 : 0} passed, ${good ? 0 : 1} failed`);
    process.exit(good ? 0 : 1);
}

if (process.argv.length < 4) {
    console.error('usage: emitted.mjs HEADGATE HEADGATE-DEMO [FILE]');
    process.exit(2);
}
await main(...process.argv.slice(2)).catch((e) => {
    console.log(`FAIL  ${e.stack}`);
    killChildren();
    process.exit(1);
});
