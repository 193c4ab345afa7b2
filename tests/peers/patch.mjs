// patch - the JSON Patches that go to a record against an independent library
//
//     node patch.mjs TOOL [SEED]        TOOL: tests/tool_patch
//
// What a record has, and what it should have, are made from the Tasks and the
// other resources in tests/golden by changes drawn at random.  Applied by the
// library to the one, each patch must give the other; but for resourceType, id
// and meta, which are the server's.  Applied to a resource whose status has
// changed in between, it must be refused by its test.  Ends with the line
// "N passed, M failed" and with status 1 if anything failed.
//
// Source: RFC 6902 as implemented by the library rfc6902.

import { execFileSync } from 'node:child_process';
import { readFileSync, readdirSync } from 'node:fs';
import { dirname, join } from 'node:path';
import process from 'node:process';
import { fileURLToPath } from 'node:url';
import { isDeepStrictEqual } from 'node:util';
import { applyPatch } from 'rfc6902';

const PAIRS = 3000;
const SERVERS = ['resourceType', 'id', 'meta'];
const NAMES = ['priority', 'description', 'owner', 'text', 'restriction',
  'output', 'a/b', 'c~d', '~1', 'period', 'extension', 'é'];
const VALUES = ['urgent', 'words "quoted"\n', 2.5, 1e3, true, false, [1, 2],
  [], {}, { reference: 'Practitioner/dr-9' }, [{ text: 'a' }, { text: 'b' }]];

const [tool, seedText] = process.argv.slice(2);
let seed = Number(seedText ?? Date.now() % 1e9) >>> 0;
const first = seed;

// Mulberry32: small, and the same everywhere.
function random(below) {
  seed = (seed + 0x6d2b79f5) >>> 0;
  let t = Math.imul(seed ^ (seed >>> 15), 1 | seed);
  t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
  return ((t ^ (t >>> 14)) >>> 0) % below;
}

const pick = (list) => list[random(list.length)];

function grow(list) {
  for (let n = random(3); n >= 0; n--) {
    list.push(pick([{ text: 'Seen.' }, { text: 'Seen again.', time: '2026' },
      { type: { text: 'x' }, valueString: 'y' }]));
  }
}

// One change, in place.
function change(r) {
  const name = pick([...NAMES, ...NAMES, 'note', 'input', 'status', ...SERVERS]);
  if (name === 'resourceType') return;
  if (name === 'note' || name === 'input') {
    r[name] ??= [];
    if (random(4) === 0) r[name].splice(random(r[name].length + 1), 1);
    if (random(6) === 0) delete r[name];
    else grow(r[name]);
  } else if (name === 'status') {
    r.status = pick(['requested', 'accepted', 'cancelled', 'draft']);
  } else if (random(3) === 0) {
    delete r[name];
  } else {
    r[name] = structuredClone(pick(VALUES));
  }
}

function golden() {
  const folder = join(dirname(fileURLToPath(import.meta.url)), '../golden');
  return readdirSync(folder)
    .filter((name) => /^(task|companion)-.*\.json$/.test(name))
    .map((name) => JSON.parse(readFileSync(join(folder, name), 'utf8')));
}

function pairOf(from) {
  const theirs = structuredClone(from);
  for (let n = random(4); n > 0; n--) change(theirs);
  const merged = structuredClone(theirs);
  for (let n = random(6); n > 0; n--) change(merged);
  return { theirs, merged };
}

// As the record will have it: what is the server's is as it was.
function wanted({ theirs, merged }) {
  const want = structuredClone(merged);
  for (const name of SERVERS) {
    delete want[name];
    if (name in theirs) want[name] = theirs[name];
  }
  return want;
}

let passed = 0;
let failed = 0;
const seen = { add: 0, remove: 0, replace: 0, test: 0, end: 0, none: 0 };

function check(good, text) {
  if (good) {
    passed++;
  } else {
    failed++;
    if (failed < 10) console.log(`FAILED: ${text}`);
  }
}

function judge(pair, patch) {
  const got = structuredClone(pair.theirs);
  const errors = applyPatch(got, patch).filter((e) => e !== null);
  check(errors.length === 0, `not applied: ${JSON.stringify(patch)}`);
  check(isDeepStrictEqual(got, wanted(pair)),
    `${JSON.stringify(pair)} by ${JSON.stringify(patch)}`);
  for (const step of patch) {
    seen[step.op]++;
    if (step.path.endsWith('/-')) seen.end++;
  }
  if (patch.length === 0) {
    seen.none++;
    check(isDeepStrictEqual(pair.theirs, wanted(pair)), 'no patch');
  } else if (typeof pair.theirs.status === 'string') {
    const later = { ...structuredClone(pair.theirs), status: 'on-hold' };
    const first = applyPatch(later, patch)[0];
    check(first !== null && first.name === 'TestError',
      `the status is not tested: ${JSON.stringify(patch)}`);
  }
}

const sources = golden();
check(sources.length >= 10, 'there are golden resources to begin with');
const pairs = Array.from({ length: PAIRS }, () => pairOf(pick(sources)));
const lines = pairs.flatMap((p) => [p.theirs, p.merged])
  .map((r) => JSON.stringify(r)).join('\n');
const patches = execFileSync(tool, { input: lines, maxBuffer: 1 << 28 })
  .toString().trimEnd().split('\n').map((line) => JSON.parse(line));
check(patches.length === PAIRS, `${patches.length} patches of ${PAIRS} pairs`);
pairs.forEach((pair, i) => judge(pair, patches[i] ?? []));
for (const [what, count] of Object.entries(seen)) {
  check(count > 50, `too few to judge by: ${what} ${count}`);
}
console.log(`seed ${first}; ${JSON.stringify(seen)}`);
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed > 0 ? 1 : 0);
