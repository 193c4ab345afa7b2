/*
 * The frame of a test of a running program: a temporary folder, scenarios one
 * after another, how long all of them may take, and "N passed, M failed".
 *
 *   const bench = new Suite();
 *   await bench.main(async () => {
 *       await bench.atRecord({ 'record.flag': true });
 *       await bench.each(CASES);
 *   });
 *
 * A scenario is given the suite, so that what is stored in it reaches all; text
 * that it returns is printed.  With a word behind the files that it needs, or
 * with ONLY in the environment, only those whose name has it are run.
 */

import { mkdtempSync, rmSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { basename, join, resolve } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { Record, Service, Unmet, expect, killChildren, stopChild }
    from './delivery_kit.mjs';

const SCRIPT = basename(process.argv[1] ?? '');

/* The files that are named on the command line, made absolute; or how it is
 * to be called, and the end. */
function filesNamed(needs, more) {
    const files = process.argv.slice(2, 2 + needs.length);
    if (files.length < needs.length) {
        console.error(`usage: ${[SCRIPT, ...needs, more].join(' ')}`);
        process.exit(2);
    }
    return files.map((file) => resolve(file));
}

export class Suite {
    /*
     * needs: what has to be named on the command line, headgate first; more:
     * what may follow.  logLines: so much of the log is shown for a failure.
     */
    constructor({ needs = ['path/to/headgate'], more = '[PART-OF-A-NAME]',
        wholeMs = 900000, logLines = 6 } = {}) {
        this.files = filesNamed(needs, more);
        this.binary = this.files[0];
        this.words = process.argv.slice(2 + needs.length);
        this.only = this.words.find((word) => !word.startsWith('--'))
            ?? process.env.ONLY ?? '';
        this.logLines = logLines;
        this.tmp = mkdtempSync(join(tmpdir(),
            `headgate-${SCRIPT.replace(/\.mjs$/, '')}-`));
        this.passed = this.failed = 0;
        this.service = this.record = this.java = null;
        this.timer = setTimeout(() => this.stop('out of time'), wholeMs);
        process.once('SIGINT', () => this.stop('interrupted'));
        process.once('SIGTERM', () => this.stop('ended from outside'));
    }

    /* What a script may put in their place: after each scenario, whatever came
     * of it; and before the folder is removed. */
    async after() {}
    async close() {}

    /* A record whose faults end with each scenario, and a service that delivers
     * to it.  With --java a server on a database is behind the record. */
    async atRecord(settings = {}) {
        if (this.words.includes('--java'))
            await this.startJava();
        this.record = await Record.start(this.tmp, this.java?.base);
        this.after = () => this.record.clearFaults();
        this.service = new Service(this.binary, this.tmp, this.record.url,
            settings);
        await this.service.start();
    }

    /* A service that still runs is given no time. */
    async killService() {
        if (this.service?.child?.exitCode === null)
            await stopChild(this.service.child, 'SIGKILL');
    }

    async startJava() {
        const { start } = await import('./java/server.mjs');
        this.java = await start({ data: join(this.tmp, 'java') });
        return this.java;
    }

    /* What of an error is for the reader. */
    why(e) {
        return e instanceof Unmet ? e.message : e?.stack ?? `${e}`;
    }

    fail(what) {
        this.failed++;
        console.log(`FAIL  ${what}`);
        for (const line of this.service?.lastLines(this.logLines) ?? [])
            console.log(`      ${line}`);
    }

    async one(name, scenario) {
        if (this.ending || !name.includes(this.only))
            return;
        const began = performance.now();
        const took = () => ((performance.now() - began) / 1000).toFixed(1);
        try {
            const note = await scenario(this);
            this.passed++;
            console.log(`ok    ${name} (${took()} s)${
                typeof note === 'string' ? `: ${note}` : ''}`);
        } catch (e) {
            this.fail(`${name} (${took()} s): ${this.why(e)}`);
        }
        await this.after();
    }

    /* [[name, scenario], ...] or { name: scenario }. */
    async each(scenarios) {
        for (const [name, scenario] of Array.isArray(scenarios) ? scenarios
            : Object.entries(scenarios))
            await this.one(name, scenario);
    }

    /* All of the test, and its end. */
    async main(whole) {
        try {
            await whole(this);
        } catch (e) {
            this.fail(`the test could not run: ${this.why(e)}`);
        }
        await this.finish();
    }

    stop(why) {
        this.fail(why);
        this.finish();
    }

    async finish() {
        this.ending = true;
        clearTimeout(this.timer);
        killChildren();
        await this.java?.stop();
        await this.close();
        rmSync(this.tmp, { recursive: true, force: true });
        console.log(`${this.passed} passed, ${this.failed} failed`);
        process.exit(this.failed === 0 && this.passed > 0 ? 0 : 1);
    }
}

/* A port that was free a moment ago. */
export async function freePort() {
    const server = createServer();
    await new Promise((done) => server.listen(0, '127.0.0.1', done));
    const { port } = server.address();
    await new Promise((done) => server.close(done));
    return port;
}

/* Asks until it is so; what was found. */
export async function until(what, look, ms = 20000) {
    for (const end = Date.now() + ms;; await sleep(20)) {
        const found = await look();
        if (found)
            return found;
        expect(Date.now() < end, `not within ${ms} ms: ${what}`);
    }
}

/* Looks until what is seen is as wanted; otherwise it is in the error. */
export async function untilSeen(look, isWanted, text, ms = 20000) {
    for (const end = Date.now() + ms;; await sleep(50)) {
        const seen = await look();
        if (isWanted(seen))
            return seen;
        expect(Date.now() < end, `${text}: ${JSON.stringify(seen)
            ?.slice(0, 1500)}`);
    }
}
