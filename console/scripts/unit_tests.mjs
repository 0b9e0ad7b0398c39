// SPDX-License-Identifier: Apache-2.0
// Bundles every tests/*_test.ts for Node and runs them with its test runner.
import { spawnSync } from 'node:child_process';
import { readdirSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { build } from 'esbuild';

const tests = fileURLToPath(new URL('../tests/', import.meta.url));
const out = fileURLToPath(new URL('../../build/console_tests/', import.meta.url));
const names = readdirSync(tests).filter((name) => name.endsWith('_test.ts'));

await build({
  entryPoints: names.map((name) => tests + name),
  outdir: out,
  bundle: true,
  format: 'esm',
  platform: 'node',
  target: 'node18',
  outExtension: { '.js': '.mjs' },
});
const run = spawnSync(process.execPath, ['--test', ...names.map((name) => out + name.replace(/\.ts$/, '.mjs'))], { stdio: 'inherit' });
process.exit(run.status ?? 1);
