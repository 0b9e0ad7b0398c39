// SPDX-License-Identifier: Apache-2.0
import assert from 'node:assert/strict';
import { readdirSync, readFileSync } from 'node:fs';
import { test } from 'node:test';
import english from '../src/words/en.json';
import ofServer from '../src/words/server.es.json';
import spanish from '../src/words/es.json';

const fills = (text: string): string[] => [...text.matchAll(/\{(\w+)\}/g)].map((each) => each[1] ?? '').sort();

test('Both languages have every text', () => {
  assert.deepEqual(Object.keys(spanish).sort(), Object.keys(english).sort());
});

test('A text says the same things in both languages', () => {
  const other = spanish as Readonly<Record<string, string>>;
  for (const [word, text] of Object.entries(english)) {
    assert.notEqual(text, '', word);
    assert.deepEqual(fills(other[word] ?? ''), fills(text), word);
  }
});

test('Every refusal that the server gives a code is said in Spanish', () => {
  const folder = new URL('../../src/', import.meta.url);
  const codes = ['station', 'server'].flatMap((room) =>
    readdirSync(new URL(`${room}/`, folder))
      .filter((file) => file.endsWith('.cpp'))
      .flatMap((file) => [...readFileSync(new URL(`${room}/${file}`, folder), 'utf8').matchAll(/\.as\(([^;]*?)\);|\.code = ("\w+");/gs)])
      .flatMap((found) => [...(found[1] ?? found[2] ?? '').matchAll(/"(\w+)"/g)].map((each) => each[1] ?? '')),
  );
  assert.ok(codes.length > 15, `${codes}`);
  for (const code of codes) assert.ok(`refused.${code}` in ofServer, code);
});
