/*
 * How many messages of HL7 v2 a second: headgate, which stores each before it
 * answers and reviews the access afterwards, and beside it a listener by
 * @medplum/hl7 (Node.js, a process of its own) that answers AA to anything and
 * keeps nothing: the floor of this client.  The ratio counts, not the rate.
 *
 *   node tests/bench/hl7_rate.mjs build/headgate [MESSAGES]
 *
 * Each connection has one message under way at a time, as MLLP wants it.
 */

import { spawn } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { killChildren } from '../peers/delivery_kit.mjs';
import { Line, Listener, flow } from '../peers/mllp_kit.mjs';

const CONNECTIONS = [1, 16, 128];
const PATIENTS = 200;

const ECHO = `
globalThis.WebSocket ??= class {};
const { Hl7Server } = (await import(process.argv[2])).default;
const server = new Hl7Server((connection) => {
    connection.addEventListener('message', ({ message }) =>
        connection.send(message.buildAck()));
});
await server.start(0, 'utf-8');
console.log(server.server.address().port);
`;

async function startEcho(folder) {
    const script = join(folder, 'echo.mjs');
    writeFileSync(script, ECHO);
    const hl7 = createRequire(new URL('../peers/', import.meta.url))
        .resolve('@medplum/hl7');
    const child = spawn(process.execPath, [script, hl7],
        { stdio: ['ignore', 'pipe', 'inherit'] });
    const port = await new Promise((done) => child.stdout.once('data', (text) =>
        done(Number(text))));
    return { child, port };
}

async function rate(port, connections, messages) {
    const lines = await Promise.all(Array.from({ length: connections },
        () => Line.open(port)));
    const began = performance.now();
    let next = 0;
    await Promise.all(lines.map(async (line) => {
        while (next < messages.length) {
            const answer = await line.ask(messages[next++]);
            if (answer.code !== 'AA')
                throw new Error(answer.text);
        }
    }));
    lines.forEach((line) => line.close());
    return messages.length / (performance.now() - began) * 1000;
}

async function main(binary, count) {
    const folder = mkdtempSync(join(tmpdir(), 'headgate-rate-'));
    const echo = await startEcho(folder);
    const service = await new Listener(resolve(binary), folder, {}).start();
    const make = (run) => Array.from({ length: count }, (_, i) => flow({
        who: `p${i % PATIENTS}`, filler: `F${run}-${i}`,
        value: String(1000 + i % 400), minutes: 600 + i }));
    console.log('connections   kept by headgate   answered only   ratio');
    for (const [run, connections] of CONNECTIONS.entries()) {
        const kept = await rate(service.port, connections, make(run));
        const floor = await rate(echo.port, connections, make(run));
        console.log(`${String(connections).padStart(11)}   ${
            kept.toFixed(0).padStart(14)}/s   ${floor.toFixed(0).padStart(11)
        }/s   ${(kept / floor).toFixed(2)}`);
    }
    echo.child.kill();
    killChildren();
    rmSync(folder, { recursive: true, force: true });
    process.exit(0);
}

await main(process.argv[2], Number(process.argv[3] ?? 3000));
