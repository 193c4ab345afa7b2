/*
 * Starts, kills and restarts the HAPI FHIR server of this folder, for tests
 * that want a real SQL store, real locking and real subscriptions behind the
 * FHIR interface.  Builds it first if need be.
 *
 *     const fhir = await start({ data: '/tmp/site' });
 *     await fetch(`${fhir.base}/metadata`);
 *     await fhir.kill();       // as a power cut would
 *     await fhir.restart();    // same port, same data
 *     await fhir.stop();
 */

import { spawn, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, truncateSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';

const HERE = dirname(fileURLToPath(import.meta.url));
/* From a cold disk beside a full build a start took 40 s; 8 s otherwise. */
const START_MS = 180_000;
const STOP_MS = 30_000;
const KEPT_ERRORS = 200;

/* What still runs goes with this process, however it ends, but for SIGKILL. */
const running = new Set();
const scratches = new Set();
process.on('exit', () => {
    for (const child of running) { child.kill('SIGKILL'); }
    for (const folder of scratches) {
        rmSync(folder, { recursive: true, force: true });
    }
});

/* Builds the peers; at once if they are built.  Throws with Maven's words. */
export function build() {
    const made = spawnSync(join(HERE, 'build.sh'), { encoding: 'utf8' });
    if (made.status !== 0) {
        throw new Error(`build.sh: ${made.stderr}`);
    }
}

/*
 * port: 0 for any free one, which restart() then keeps; data: the folder of
 * the database, none = in memory; validate: writes pass the R4 instance
 * validator; lenient: unknown search parameters are ignored; stale: a search
 * may get the answer of the same search up to a minute ago, as HAPI ships
 * it; heap: as of java's -Xmx.
 */
export async function start({ port = 0, data = null, validate = false,
    lenient = false, stale = false, heap = '1g' } = {}) {
    build();
    const scratch = mkdtempSync(join(tmpdir(), 'fhir-peer-'));
    scratches.add(scratch);
    const server = new Server({ port, data, validate, lenient, stale,
        heap, log: join(scratch, 'requests.ndjson') });
    await server.restart();
    return server;
}

class Server {
    constructor(options) {
        this.options = options;
        this.child = null;
        this.base = null;
        this.errors = [];
    }

    get pid() { return this.child?.pid ?? null; }

    /* SIGTERM, then wait; the request log stays until this process ends. */
    async stop() { await this.#end('SIGTERM'); }

    /* SIGKILL: what was not on the disk is lost. */
    async kill() { await this.#end('SIGKILL'); }

    /* Ends it gently if it runs, and starts it on the same port and data. */
    async restart() {
        await this.#end('SIGTERM');
        const { port, data, validate, lenient, stale, heap, log } =
            this.options;
        const args = ['server', '--port', String(port), '--log', log];
        if (data !== null) { args.push('--data', data); }
        if (validate) { args.push('--validate'); }
        if (lenient) { args.push('--lenient'); }
        if (stale) { args.push('--stale'); }
        this.child = spawn(join(HERE, 'run.sh'), args, {
            env: { ...process.env, JAVA_HEAP: heap },
            stdio: ['ignore', 'pipe', 'pipe'] });
        const { child } = this;
        running.add(child);
        child.once('exit', () => running.delete(child));
        createInterface({ input: this.child.stderr })
            .on('line', (line) => this.#keep(line));
        this.base = await this.#ready();
        this.options.port = Number(new URL(this.base).port);
    }

    /*
     * What was asked so far, oldest answer first: { method, path, query,
     * headers, status, took_ms } each; no bodies.  A line may come a moment
     * after its answer: wait for the one you look for.
     */
    requests() {
        return readFileSync(this.options.log, 'utf8').split('\n')
            .filter((line) => line !== '').map((line) => JSON.parse(line));
    }

    clearRequests() { truncateSync(this.options.log); }

    /* The peak of its resident memory in MiB, by the kernel's count. */
    peakMemory() {
        const status = readFileSync(`/proc/${this.pid}/status`, 'utf8');
        return Number(/VmHWM:\s+(\d+) kB/.exec(status)[1]) / 1024;
    }

    #keep(line) {
        this.errors.push(line);
        if (this.errors.length > KEPT_ERRORS) { this.errors.shift(); }
    }

    #ready() {
        const { child } = this;
        return new Promise((resolve, reject) => {
            const timer = setTimeout(() => {
                child.kill('SIGKILL');
                reject(new Error(`no answer in ${START_MS} ms`));
            }, START_MS);
            child.once('exit', (code, signal) => {
                clearTimeout(timer);
                reject(new Error(`the server ended (${code ?? signal}): ${
                    this.errors.join('\n')}`));
            });
            createInterface({ input: child.stdout }).on('line', (line) => {
                const found = /^listening on (\S+)$/.exec(line);
                if (found) {
                    clearTimeout(timer);
                    resolve(found[1]);
                }
            });
        });
    }

    async #end(signal) {
        const { child } = this;
        if (child === null) { return; }
        this.child = null;
        if (child.exitCode !== null || child.signalCode !== null) { return; }
        const gone = new Promise((resolve) => { child.once('exit', resolve); });
        child.kill(signal);
        const timer = setTimeout(() => child.kill('SIGKILL'), STOP_MS);
        await gone;
        clearTimeout(timer);
    }
}
