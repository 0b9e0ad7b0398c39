// SPDX-License-Identifier: Apache-2.0
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { oneMore, placeOf, step } from '../src/rooms/plan/pitch_levels';

const limits = { lowest: -2, highest: 30 };
const all = Array.from({ length: 65 }, (_, k) => -2 + k * step);

test('A level goes where it is wanted, in steps, and past the others that stand there', () => {
  assert.equal(placeOf(7.3, 0, [5, 10], limits), 7.5);
  assert.equal(placeOf(5.5, 0, [5, 5.5, 6], limits), 6.5);
  assert.equal(placeOf(9.5, 1, [9, 10, 9.5], limits), 8.5);
});

test('A level stays within the limits, and short of the others that stand there', () => {
  assert.equal(placeOf(Infinity, 0, [5, 10], limits), 30);
  assert.equal(placeOf(-Infinity, 1, [5, 10], limits), -2);
  assert.equal(placeOf(Infinity, 0, [5, 30, 29.5], limits), 29);
  assert.equal(placeOf(40, 0, [29.5, 30], limits), 29.5);
  assert.equal(placeOf(Infinity, 0, [5, 10], { lowest: -2, highest: 29.7 }), 29.7);
});

test('One more stands in the middle of the widest gap, or beyond where no gap is wide', () => {
  assert.equal(oneMore([5, 10], limits), 7.5);
  assert.equal(oneMore([10, 5, 20], limits), 15);
  assert.equal(oneMore([5], limits), 10);
  assert.equal(oneMore([28], limits), 23);
  assert.equal(oneMore([5, 6], limits), 11);
});

test('One more stands in a narrow gap before it stands nowhere, and nowhere only where every step is taken', () => {
  assert.equal(oneMore([0, 1, 2], { lowest: 0, highest: 2 }), 0.5);
  assert.equal(oneMore([0], { lowest: 0, highest: 3 }), 3);
  assert.equal(oneMore(all.filter((each) => each !== 12.5), limits), 12.5);
  assert.equal(oneMore(all, limits), null);
});
