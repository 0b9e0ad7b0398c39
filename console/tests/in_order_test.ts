// SPDX-License-Identifier: Apache-2.0
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { strongest } from '../src/draw/peaks';
import { InOrder } from '../src/state/in_order';

test('An answer that was asked for before another one does not replace it', async () => {
  const order = new InOrder();
  const taken: string[] = [];
  const later: ((value: string) => void)[] = [];
  const ask = () => order.take(new Promise<string>((done) => later.push(done)), (answer) => taken.push(answer));
  const all = [ask(), ask(), ask()];
  later[1]?.('second');
  await all[1];
  later[0]?.('first');
  await all[0];
  later[2]?.('third');
  await all[2];
  assert.deepEqual(taken, ['second', 'third']);
});

test('The strongest lines are told, none beside a larger one and not what is constant', () => {
  const amplitude = new Array<number>(64).fill(0.01);
  amplitude[0] = 9;
  [amplitude[20], amplitude[21], amplitude[22]] = [0.5, 1, 0.5];
  amplitude[24] = 0.4; // still of the same line's taper
  amplitude[40] = 2;
  assert.deepEqual(strongest(amplitude, 2), [40, 21]);
});
