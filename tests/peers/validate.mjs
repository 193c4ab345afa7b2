/*
 * Is this FHIR R4?  The union of five independent opinions, none of them ours
 * alone: what any of them refuses is a failure.
 *
 *   node validate.mjs [FILE...]      NDJSON, JSON, Bundles; stdin without FILE
 *   node validate.mjs --self-test    proves that it can fail
 *
 *   medplum  validateResource of @medplum/core: types, cardinality, slices
 *   fhir     the "fhir" package: required bindings, reference targets
 *   schema   the published JSON Schema
 *   a key    R4 invariants (obs-7, inv-1, ...) run by fhirpath
 *   json     the JSON rules of R4: see validate_text.mjs, validate_rules.mjs
 *
 * Each resource in a Bundle is checked by itself too.  The exit status is 0
 * only where there was something to check and nothing was found.
 */

import './shim.mjs';
import { readFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';
import SchemaValidator from '@asymmetrik/fhir-json-schema-validator';
import { validateResource } from '@medplum/core';
import fhirPackage from 'fhir';
import { loadDefinitions } from './record_repo.mjs';
import { duplicateKeys } from './validate_text.mjs';
import { ruleFindings } from './validate_rules.mjs';

/*
 * Findings that are wrong, each with the reason.  A row matches by rule and by
 * all of path and text; nothing else is ever forgiven.
 */
const KNOWN_FALSE = [
    { rule: 'schema', path: /^CapabilityStatement\.fhirVersion$/,
        text: /^should be equal to one of the allowed values$/,
        only: (r) => r.resourceType === 'CapabilityStatement'
            && r.fhirVersion === '4.0.1',
        why: 'the schema is of 4.0.0 and does not know 4.0.1, its own '
            + 'technical correction' },
];

let engines = null;

function load() {
    if (engines === null) {
        loadDefinitions();
        engines = { fhir: new fhirPackage.Fhir(),
            schema: new SchemaValidator() };
    }
    return engines;
}

function byMedplum(resource) {
    try {
        validateResource(resource);
        return [];
    } catch (e) {
        const issues = e.outcome?.issue
            ?? [{ details: { text: `stopped: ${e.message}` } }];
        return issues.map((issue) => ({ rule: 'medplum',
            path: issue.expression?.[0] ?? resource.resourceType,
            text: issue.details?.text ?? issue.diagnostics }));
    }
}

/* Its warnings are about code systems that it does not have. */
function byFhir(resource) {
    try {
        const { messages } = load().fhir.validate(resource,
            { errorOnUnexpected: true });
        return messages.filter((m) => /^(error|fatal)$/.test(m.severity))
            .map((m) => ({ rule: 'fhir', path: m.location, text: m.message }));
    } catch (e) {
        return [{ rule: 'fhir', path: resource.resourceType,
            text: `stopped: ${e.message}` }];
    }
}

/*
 * The schema is one choice of all resource types, so it reports each failure
 * once more as "no choice matched".  That line is left out where there is a
 * real one.
 */
function bySchema(resource) {
    const errors = load().schema.validate(resource).map((e) => ({
        rule: 'schema', path: resource.resourceType + e.dataPath,
        text: e.message, isSum: e.keyword === 'oneOf' }));
    const real = errors.filter((e) => !e.isSum);
    return real.length > 0 ? real : errors;
}

function isKnownFalse(finding, resource) {
    return KNOWN_FALSE.some((row) => row.rule === finding.rule
        && row.path.test(finding.path) && row.text.test(finding.text)
        && row.only(resource));
}

const judged = new Map(); /* equal text, equal findings */

/* Everything that is wrong with one resource: [{ path, rule, text }]. */
export function findings(resource) {
    const text = JSON.stringify(resource);
    if (!judged.has(text))
        judged.set(text, judge(resource));
    return judged.get(text);
}

function judge(resource) {
    load();
    if (resource === null || typeof resource !== 'object'
        || Array.isArray(resource))
        return [{ path: '', rule: 'json', text: 'not a JSON object' }];
    return [byMedplum, byFhir, bySchema, ruleFindings]
        .flatMap((opinion) => opinion(resource))
        .filter((finding) => !isKnownFalse(finding, resource));
}

function nameOf(resource) {
    return `${resource?.resourceType ?? '(no type)'}/`
        + `${resource?.id ?? '(no id)'}`;
}

/* The resource itself and, where it is a Bundle, what is in it. */
export function withEntries(resource) {
    if (resource?.resourceType !== 'Bundle' || !Array.isArray(resource.entry))
        return [resource];
    return [resource, ...resource.entry.flatMap((entry) =>
        entry?.resource === undefined ? [] : withEntries(entry.resource))];
}

/* A document: one JSON value (a list counts as its items), or NDJSON. */
function documents(text) {
    try {
        const value = JSON.parse(text);
        return [{ text, values: Array.isArray(value) ? value : [value] }];
    } catch (e) {
        const lines = text.split(/\r?\n/).filter((line) => line.trim() !== '');
        if (lines.length < 2)
            return [{ text, error: e.message }];
        return lines.map(lineDocument);
    }
}

function lineDocument(text) {
    try {
        return { text, values: [JSON.parse(text)] };
    } catch (e) {
        return { text, error: e.message };
    }
}

function documentFindings({ text, values, error }) {
    if (error !== undefined)
        return [{ name: '(not JSON)', found: [{ path: '', rule: 'json',
            text: error }] }];
    const twice = duplicateKeys(text).map((key) => ({ path: key,
        rule: 'json', text: 'key twice in one object' }));
    const checked = values.flatMap(withEntries).map((resource) => ({
        name: nameOf(resource), found: findings(resource) }));
    if (twice.length > 0)
        checked.push({ name: '(text)', found: twice });
    return checked;
}

/* Checks the text of a file: [{ name, found }], one for each resource. */
export function checkText(text) {
    if (text.charCodeAt(0) === 0xfeff)
        return [{ name: '(text)', found: [{ path: '', rule: 'json',
            text: 'begins with a byte order mark' }] }];
    return documents(text).filter((d) => d.text.trim() !== '')
        .flatMap(documentFindings);
}

export function printFindings(name, found) {
    for (const { path, rule, text } of found)
        console.log(`${name}: ${path}: [${rule}] ${text}`);
}

function main(files) {
    const texts = files.length === 0 ? [readFileSync(0, 'utf8')]
        : files.map((file) => readFileSync(file, 'utf8'));
    const checked = texts.flatMap(checkText);
    checked.forEach(({ name, found }) => printFindings(name, found));
    const failed = checked.filter(({ found }) => found.length > 0).length;
    console.log(`${checked.length - failed} passed, ${failed} failed`);
    return failed === 0 && checked.length > 0 ? 0 : 1;
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? '').href) {
    const args = process.argv.slice(2);
    /* Not awaited here: the self-test imports this file and needs it whole. */
    if (args.includes('--self-test'))
        import('./validate_selftest.mjs').then(({ selfTest }) => {
            process.exitCode = selfTest();
        });
    else
        process.exitCode = main(args);
}
