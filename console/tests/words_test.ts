// SPDX-License-Identifier: Apache-2.0
import assert from 'node:assert/strict';
import { test } from 'node:test';
import english from '../src/words/en.json';
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
