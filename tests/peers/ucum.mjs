// ucum - the table of units against an independent UCUM library
//
//     tool_units | node ucum.mjs          or: node ucum.mjs FILE
//
// Reads what tests/tool_units.c prints.  Each conversion must come out the
// same in ucum-lhc, there and back; each refusal must be one of ucum-lhc too,
// or stand in the short list of differences that are meant.  Ends with the
// line "N passed, M failed" and with status 1 if anything failed.
//
// Source: UCUM as implemented by the library @lhncbc/ucum-lhc.

import { createReadStream } from 'node:fs';
import process from 'node:process';
import { createInterface } from 'node:readline';
import ucum from '@lhncbc/ucum-lhc';

const RELATIVE = 1e-9;

// Grams per mole of what each quantity measures; the library cannot know.
const SPECIES = new Map([
  ['bun-pre', 28.0134],
  ['bun-post', 28.0134],
  ['urea-pre', 60.056],
  ['urea-post', 60.056],
]);

// Refused here, accepted there, on purpose.
const DELIBERATE = new Map([
  ['mL/min/{1.73_m2}', 'an annotation with a digit may hide a factor'],
  ['{1.73_m2}', 'an annotation with a digit may hide a factor'],
  ['{}', 'an annotation that says nothing'],
  ['{a}{b}', 'one word is enough; the library takes any number'],
  ['mL/min ', 'FHIR codes end without blank; the library trims'],
  [' mL/min', 'FHIR codes begin without blank; the library trims'],
  ['mL/min\u00a0', 'the library trims this blank too'],
]);

// Good UCUM, but nothing we know is measured in it.
const NOT_OURS = new Set(['[pH]', 'meq/L', '[iU]/L', 'Cel']);

// Both sides must refuse these, whatever else changes.
const INVALID = [
  '', 'mmHg', 'mm Hg', 'ML/MIN', 'MMOL/L', 'MG/DL', 'cc', 'furlong',
  'mL//min', 'mL/min/', 'mL per min', '\u00b5L/min', '\u2113/min', 'mEq/L',
  'Kg', 'KPA', 'lbs', 'minutes', 'hr', '{', '}', '{ratio', 'ratio}',
];

// A file cut short would otherwise pass: what must at least be there.
const LEAST = { listed: 40, conversions: 1000, refusals: 2000 };

const library = ucum.UcumLhcUtils.getInstance();
const count = { listed: 0, unlisted: 0, conversions: 0, refusals: 0 };
const differed = new Set();
const refused = new Set();
let passed = 0;
let failed = 0;

function check(good, text) {
  if (good) {
    passed++;
  } else {
    failed++;
    console.error(`FAILED: ${text}`);
  }
}

// The library talks about what it cannot parse.
function quietly(work) {
  const log = console.log;
  console.log = () => {};
  try {
    return work();
  } finally {
    console.log = log;
  }
}

// The library's answer, or null if it refuses.
function convert(value, from, to, quantity) {
  const molecularWeight = SPECIES.get(quantity) ?? null;
  const answer = quietly(() =>
    library.convertUnitTo(from, value, to, { molecularWeight }));
  return answer.status === 'succeeded' ? answer.toVal : null;
}

function isValid(code) {
  const answer = quietly(() => library.validateUnitString(code));
  return answer.status === 'valid' && answer.ucumCode === code;
}

function near(got, want) {
  return got !== null && Math.abs(got - want) <= RELATIVE * Math.abs(want);
}

function onCode({ code, listed }) {
  const name = JSON.stringify(code);
  if (listed) {
    count.listed++;
    check(isValid(code), `${name} is in the table and no UCUM code`);
    return;
  }
  count.unlisted++;
  refused.add(code);
  check(
    DELIBERATE.has(code) || NOT_OURS.has(code) || !isValid(code),
    `${name} is a UCUM code and refused without a reason`);
}

function onConversion({ quantity, unit, code, value, result }) {
  count.conversions++;
  const there = convert(value, code, unit, quantity);
  check(
    near(result, there ?? NaN),
    `${quantity}: ${value} ${code} is ${result} ${unit}, library ${there}`);
  const back = convert(result, unit, code, quantity);
  check(
    near(back, value),
    `${quantity}: ${result} ${unit} back is ${back} ${code}, not ${value}`);
}

function onRefusal({ quantity, unit, code, refused: why }) {
  count.refusals++;
  const there = convert(1, code, unit, quantity);
  if (there !== null && why === 'unknown' && DELIBERATE.has(code)) {
    differed.add(code);
    passed++;
    return;
  }
  check(
    there === null,
    `${quantity}: ${JSON.stringify(code)} refused as ${why}, ` +
      `library gives ${there} ${unit}`);
}

function onLine(line) {
  const row = JSON.parse(line);
  if ('listed' in row) onCode(row);
  else if ('result' in row) onConversion(row);
  else onRefusal(row);
}

const file = process.argv[2];
const input = file === undefined ? process.stdin : createReadStream(file);
for await (const line of createInterface({ input }))
  if (line !== '') onLine(line);

for (const code of INVALID) {
  const name = JSON.stringify(code);
  check(refused.has(code), `${name} is not among the codes refused here`);
  check(!isValid(code), `${name} is valid for the library`);
}
for (const [code, why] of DELIBERATE) {
  const name = JSON.stringify(code);
  check(differed.has(code), `${name} no longer differs (${why})`);
}
for (const [what, least] of Object.entries(LEAST))
  check(count[what] >= least, `only ${count[what]} ${what}`);

console.log(
  `${count.listed} codes, ${count.unlisted} codes refused, ` +
    `${count.conversions} conversions both ways, ${count.refusals} refusals, ` +
    `${differed.size} deliberate differences`);
console.log(`${passed} passed, ${failed} failed`);
process.exitCode = failed === 0 ? 0 : 1;
