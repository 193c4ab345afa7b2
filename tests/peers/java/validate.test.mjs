/*
 * That the validator refuses what FHIR R4 forbids (its own cases name R4's
 * rules), says where, and ends as its caller expects.  Run by node --test.
 */

import assert from 'node:assert/strict';
import { spawnSync } from 'node:child_process';
import { dirname, join } from 'node:path';
import { before, describe, it } from 'node:test';
import { fileURLToPath } from 'node:url';
import { build } from './server.mjs';

const HERE = dirname(fileURLToPath(import.meta.url));
const CODES = join(HERE, '../../../config/fhir/codesystems.json');

function validate(args, input = '') {
    const done = spawnSync(join(HERE, 'run.sh'), ['validate', ...args],
        { encoding: 'utf8', input });
    return { code: done.status, said: done.stderr, out: done.stdout };
}

function lines(text) {
    return text.split('\n').filter((l) => l !== '').map((l) => JSON.parse(l));
}

describe('validate', () => {
    before(() => build());

    it('passes its own cases', () => {
        const { code, out } = validate(['--self-test', '--codesystems',
            CODES]);
        assert.equal(code, 0, out);
        assert.match(out, /^38 passed, 0 failed$/m);
    });

    it('finds no error in the local code systems', () => {
        const { code, out } = validate(['--least', 'error', CODES]);
        assert.equal(out, '');
        assert.equal(code, 0);
    });

    it('names the line and place of what stdin has wrong', () => {
        const { code, out } = validate(['--codesystems', CODES], [
            '{"resourceType":"Task","status":"requested","intent":"order"}',
            '',
            '{"resourceType":"Task","status":"requested"}'].join('\n'));
        assert.equal(code, 1);
        assert.deepEqual(lines(out).map((p) => [p.file, p.line, p.severity,
            p.place]), [['-', 3, 'error', 'Task']]);
    });

    it('knows nothing of our codes without the file', () => {
        const reading = JSON.stringify({ resourceType: 'Observation',
            status: 'final', code: { coding: [{ code: 'nonsense', system:
                'https://headgate.example/fhir/CodeSystem/av-observation' }] }
        });
        const without = validate([], reading);
        assert.equal(without.code, 0);
        assert.equal(lines(without.out)[0].severity, 'warning');
        assert.equal(validate(['--codesystems', CODES], reading).code, 1);
    });

    it('ends with 2 if it cannot do its work', () => {
        assert.equal(validate([]).code, 2);
        assert.equal(validate(['/absent.ndjson']).code, 2);
        assert.equal(validate(['--nonsense']).code, 2);
        assert.equal(validate(['--codesystems', join(HERE, 'pom.xml')],
            '{}').code, 2);
    });
});
