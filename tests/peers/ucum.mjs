// ucum - the table of units against an independent UCUM library
//
//     tool_units | node ucum.mjs [--tool tool_units]    or: node ucum.mjs FILE
//
// Reads what tests/tool_units.c prints.  Each conversion must come out the
// same in ucum-lhc, there and back; each refusal must be one of ucum-lhc too,
// or stand in the short list of differences that are meant.  With --tool the
// library begins as well: what it makes of values in our unit is given to the
// tool, which must find the values again; and the conversions of NAMED come
// out as they are printed there, in the library and here.  Ends with the line
// "N passed, M failed" and with status 1 if anything failed.
//
// Source: UCUM as implemented by the library @lhncbc/ucum-lhc.

import { createReadStream } from 'node:fs';
import { spawnSync } from 'node:child_process';
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
const NOT_OURS = new Set(['[pH]', 'meq/L', '[iU]/L']);

// Both sides must refuse these, whatever else changes.
const INVALID = [
  '', 'mmHg', 'mm Hg', 'ML/MIN', 'MMOL/L', 'MG/DL', 'cc', 'furlong',
  'mL//min', 'mL/min/', 'mL per min', '\u00b5L/min', '\u2113/min', 'mEq/L',
  'Kg', 'KPA', 'lbs', 'minutes', 'hr', '{', '}', '{ratio', 'ratio}',
];

// Conversions with known results: value and code, in the unit given.  The first
// are arithmetic on definitions of UCUM 2.1 (1 mm[Hg] = 133.322 Pa, 1 mo =
// 30.4375 d, 1 a = 365.25 d, 1 [lb_av] = 453.59237 g); urea nitrogen 28.0134
// g/mol and urea 60.056 g/mol from standard atomic weights.
const NAMED = [
  ['access-flow', 2.15, 'L/min', 2150],
  ['access-flow', 129, 'L/h', 2150],
  ['access-flow', 2150, 'ml/min', 2150],
  ['access-flow', 35.833333, 'mL/s', 2150],
  ['access-flow', 0.00215, 'm3/min', 2150],
  ['access-flow', 2150, 'mL.min-1', 2150],
  ['access-flow', 2.15, '10*3.mL/min', 2150],
  ['access-flow', 129000, 'mL/h', 2150],
  ['systolic-pressure', 18.398436, 'kPa', 138],
  ['systolic-pressure', 18.4, 'kPa', 138.0117],
  ['systolic-pressure', 18398.436, 'Pa', 138],
  ['systolic-pressure', 183.98436, 'mbar', 138],
  ['central-venous-pressure', 13.59508, 'cm[H2O]', 10],
  ['arterial-line-pressure', -180, 'mm[Hg]', -180],
  ['bun-pre', 22.8462, 'mmol/L', 64],
  ['bun-pre', 0.64, 'g/L', 64],
  ['urea-pre', 137, 'mg/dL', 22.812],
  ['recirculation', 0.04, '1', 4],
  ['digital-brachial-index', 45, '%', 0.45],
  ['spktv', 1.4, '{Kt/V}', 1.4],
  ['spktv', 1.4, '{ratio}', 1.4],
  ['body-weight', 70000, 'g', 70],
  ['body-weight', 154.32358, '[lb_av]', 70],
  ['treatment-time', 4, 'h', 240],
  ['treatment-time', 14400, 's', 240],
  ['treatment-time', 1, 'd', 1440],
  ['treatment-time', 1, 'wk', 10080],
  ['treatment-time', 1, 'mo', 43830],
  ['treatment-time', 1, 'a', 525960],
  ['uf-volume', 2.5, 'L', 2500],
  ['uf-volume', 2.5, 'l', 2500],
];

// Good codes that do not go together: refused here and there.
const UNFIT = [
  ['uf-volume', 'kg'], ['body-weight', 'L'], ['uf-volume', 'mL/min'],
  ['access-flow', 'mL'], ['spktv', '[pH]'], ['spktv', 'meq/L'],
  ['bun-pre', '[iU]/L'], ['cardiac-output', 'L/min/m2'],
  ['qb', 'mL/kg/h'], ['treatment-time', 'Cel'], ['body-weight', '[degF]'],
];

// A file cut short would otherwise pass: what must at least be there.
const LEAST = { listed: 40, conversions: 1000, refusals: 2000 };

const library = ucum.UcumLhcUtils.getInstance();
const count = { listed: 0, unlisted: 0, conversions: 0, refusals: 0 };
const pairs = new Map(); // that convert
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
  pairs.set(`${quantity} ${code}`, { quantity, unit, code });
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

// Our result of each [quantity, code, value].
function ours(tool, rows) {
  const input = rows.map((row) => row.join('\t')).join('\n');
  const run = spawnSync(tool, ['-'],
    { input, encoding: 'utf8', maxBuffer: 1 << 26 });
  const lines = run.stdout.split('\n').filter((line) => line !== '');
  check(run.status === 0 && lines.length === rows.length,
    `${tool} - answers ${lines.length} of ${rows.length}`);
  return lines.map((line) => JSON.parse(line));
}

// The library begins: from our unit to the sender's, and we come back.
function theirsToOurs(tool) {
  const rows = [], wants = [];
  for (const [key, { quantity, unit, code }] of pairs) {
    for (const value of [1, 0, 2.15, 137, 1234.5678, 1e-3]) {
      const theirs = convert(value, unit, code, quantity);
      check(theirs !== null, `${key}: the library refuses ${unit} to ${code}`);
      rows.push([quantity, code, theirs]);
      wants.push(value);
    }
  }
  ours(tool, rows).forEach((row, i) => check(near(row.result ?? NaN, wants[i]),
    `${row.quantity}: the library's ${row.value} ${row.code} is ` +
      `${row.result} ${row.unit}, not ${wants[i]}`));
  return rows.length;
}

function named(tool) {
  const rows = ours(tool, NAMED.map(([q, value, code]) => [q, code, value]));
  NAMED.forEach(([quantity, value, code, want], i) => {
    const { result, unit } = rows[i];
    const there = convert(value, code, unit, quantity);
    const text = `${quantity}: ${value} ${code} is ${want} ${unit}`;
    check(Math.abs(result - want) <= 1e-5 * Math.abs(want),
      `${text}, ours is ${result}`);
    check(there !== null && Math.abs(there - want) <= 1e-5 * Math.abs(want),
      `${text}, the library's is ${there}`);
  });
}

function unfit(tool) {
  ours(tool, UNFIT.map(([q, code]) => [q, code, 1])).forEach((row) => {
    check('refused' in row, `${row.quantity}: ${row.code} is not refused`);
    check(convert(1, row.code, row.unit, row.quantity) === null,
      `${row.quantity}: the library takes ${row.code}`);
  });
  check(convert(1, 'mg/dL', 'mmol/L', 'no-species') === null,
    'the library converts mg/dL to mmol/L without a species');
}

const tool = process.argv[2] === '--tool' ? process.argv[3] : undefined;
const file = tool === undefined ? process.argv[2] : undefined;
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
if (tool !== undefined) {
  const began = theirsToOurs(tool);
  named(tool);
  unfit(tool);
  console.log(`${began} conversions that the library began, ` +
    `${NAMED.length} with a known result`);
}
for (const [what, least] of Object.entries(LEAST))
  check(count[what] >= least, `only ${count[what]} ${what}`);

console.log(
  `${count.listed} codes, ${count.unlisted} codes refused, ` +
    `${count.conversions} conversions both ways, ${count.refusals} refusals, ` +
    `${differed.size} deliberate differences`);
console.log(`${passed} passed, ${failed} failed`);
process.exitCode = failed === 0 ? 0 : 1;
