/*
 * Proof that the validator can fail, from tests/corpus/validator/:
 *
 *   good/     resources in which nothing may be found
 *   bad.json  a good one each, changed by a JSON Patch; each of the named rules
 *             has to find it, and one of them at the given path
 *   bad/      texts that are refused before they are resources
 *
 * Every opinion in the union has to have found something, else it is not
 * plugged in.
 */

import { readFileSync, readdirSync } from 'node:fs';
import { applyPatch } from '@medplum/core';
import { checkText, findings, printFindings, withEntries }
    from './validate.mjs';

const CORPUS = new URL('../corpus/validator/', import.meta.url);
const OPINIONS = ['medplum', 'fhir', 'schema', 'json', 'inv-1', 'obs-7',
    'narrative', 'attachment', 'dom-3'];

function textOf(name) {
    return readFileSync(new URL(name, CORPUS), 'utf8');
}

function goodCases() {
    return readdirSync(new URL('good/', CORPUS)).sort().map((file) => {
        const checked = checkText(textOf(`good/${file}`));
        checked.forEach(({ name, found }) => printFindings(name, found));
        return { name: `good/${file}`, fault: checked.length === 0
            ? 'nothing was checked'
            : checked.some(({ found }) => found.length > 0)
                ? 'something was found in it' : null };
    });
}

function badCase({ name, base, patch, rules, path }, seen) {
    const resource = JSON.parse(textOf(`good/${base}`));
    const failure = applyPatch(resource, patch).find(Boolean);
    if (failure !== undefined)
        return { name, fault: `the patch does not apply: ${failure.message}` };
    const found = withEntries(resource).flatMap(findings);
    found.forEach(({ rule }) => seen.add(rule));
    const silent = rules.filter((rule) => !found.some((f) => f.rule === rule));
    if (silent.length > 0)
        return { name, fault: `not found by ${silent.join(', ')}; found: `
            + found.map((f) => `${f.rule} ${f.path}`).join('; ') };
    const placed = found.some((f) => rules.includes(f.rule)
        && f.path.startsWith(path));
    return { name, fault: placed ? null : `not found at ${path}: `
        + found.map((f) => f.path).join('; ') };
}

function badTexts() {
    return readdirSync(new URL('bad/', CORPUS)).sort().map((file) => {
        const caught = checkText(textOf(`bad/${file}`))
            .some(({ found }) => found.length > 0);
        return { name: `bad/${file}`, fault: caught ? null : 'not found' };
    });
}

function emptyCases() {
    return ['', '\n\n', '[]'].map((text) => ({
        name: `nothing in ${JSON.stringify(text)}`,
        fault: checkText(text).length === 0 ? null : 'it was counted' }));
}

/* Prints what is wrong with the validator and returns an exit status. */
export function selfTest() {
    const seen = new Set();
    const cases = [...goodCases(),
        ...JSON.parse(textOf('bad.json')).map((row) => badCase(row, seen)),
        ...badTexts(), ...emptyCases(),
        ...OPINIONS.map((rule) => ({ name: `opinion ${rule}`,
            fault: seen.has(rule) ? null : 'has found nothing' }))];
    const failed = cases.filter(({ fault }) => fault !== null);
    failed.forEach(({ name, fault }) => console.log(`${name}: ${fault}`));
    console.log(`${cases.length - failed.length} passed, `
        + `${failed.length} failed`);
    return failed.length === 0 ? 0 : 1;
}
