// SPDX-License-Identifier: Apache-2.0
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { rangeOf, tickPlaces, ticks } from '../src/draw/scale';
import { rowsOf } from '../src/rooms/results/decides';
import { leadAndRest, resultsFrom, verbOf, windowFrom } from '../src/rooms/results/run_results';

const q = (value: number, u: number) => ({ value, u, dof: 12, unit: '1' });

test('Points, curves and verdict are taken as results.json has them', () => {
  const results = resultsFrom({
    points: [{ number: 3, settled: false, tip_speed_ratio: q(4.5, 0.03), cp_electrical: q(0.28, 0.005) }, { number: 4 }],
    curves: [{ label: '3 blades, 5 deg', points: [3], maximum_cp: q(0.32, 0.006), theory: { tip_speed_ratio: [3, 4], cp_electrical: [0.2, 0.3] } }],
    verdict: {
      question: 'Which?',
      answer: 'Three.',
      differences: [{ a: 'three', b: 'two', difference: q(0.01, 0.002), expanded: 0.004, significant: true }],
    },
    budget: [{ input: 'a', meaning: 'air speed', u: 0.004, share_pct: 46 }],
  });
  assert.equal(results.points.length, 1);
  assert.equal(results.points[0]?.settled, false);
  assert.equal(results.points[0]?.measured.cp_electrical?.u, 0.005);
  assert.equal(results.points[0]?.measured.ct, undefined);
  assert.deepEqual(results.curves[0]?.theory['cp_electrical'], [0.2, 0.3]);
  assert.deepEqual(results.verdict.differences, [{ a: 'three', b: 'two', value: 0.01, expanded: 0.004, significant: true }]);
});

test('Every difference of the best is shown, and none without a known uncertainty is told apart or drawn clear of none', () => {
  const difference = (b: string, value: number | null, expanded: number | null, significant: boolean) => ({ a: 'three', b, difference: { ...q(0, 0.001), value }, expanded, significant });
  const { verdict } = resultsFrom({
    verdict: {
      differences: [
        difference('two', 0.03, 0.01, true),
        difference('four', 0.02, null, true),
        difference('five', 0.04, 0, false),
        difference('six', 0.05, 0, true),
        difference('seven', null, 0.01, true),
        difference('eight', 0.01, 0.02, false),
        { ...difference('four', 0.5, 0.01, true), a: 'two' },
      ],
    },
  });
  const { rows, spread } = rowsOf(verdict);
  assert.deepEqual(rows.map((row) => row.other), ['two', 'four', 'five', 'six', 'seven', 'eight']);
  assert.deepEqual(rows.map((row) => row.expanded), [0.01, null, null, null, null, 0.02]);
  assert.deepEqual(rows.map((row) => row.apart), [true, false, false, false, false, false]);
  for (const { band, apart } of rows) assert.equal(band[0] > 0 || band[1] < 0, apart);
  assert.ok(spread[0] < -0.01 && spread[1] > 0.05 && spread[1] < 0.1);
});

test('Blades give, one blade or a pitch gives', () => {
  assert.equal(verbOf({ blade_count: 3, pitch_deg: 5 }), 'give');
  assert.equal(verbOf({ blade_count: 1, pitch_deg: 5 }), 'gives');
  assert.equal(verbOf({ pitch_deg: 5 }), 'gives');
});

test('The answer comes first, and what more there is to it behind', () => {
  assert.deepEqual(leadAndRest('Three give 0.323 ± 0.011 at 5.02: that is more. So is 3.'), ['Three give 0.323\u00a0±\u00a00.011 at 5.02.', 'That is more. So is 3.']);
  assert.deepEqual(leadAndRest('5 deg gives 0.3 (largest point: too few to fit): that is more.'), ['5 deg gives 0.3 (largest point: too few to fit).', 'That is more.']);
  assert.deepEqual(leadAndRest('Nothing is decided.'), ['Nothing is decided.', '']);
});

test('Results of another shape are nothing, not an exception', () => {
  for (const odd of [null, 4, 'x', [], { points: 'none', curves: [7], verdict: [] }]) assert.equal(resultsFrom(odd).answer, '');
});

test('A bin without samples is a gap in the columns', () => {
  const columns = windowFrom({ unit: 'V', from_s: 0, to_s: 2, bins: [{ t_s: 0, min: 1, max: 3, mean: 2, count: 5 }, { t_s: 1, min: null, max: null, mean: null, count: 0 }] });
  assert.deepEqual(columns.mean, [2, NaN]);
  assert.equal(columns.samples, 5);
});

test('Ticks lie at 1, 2 or 5 in the range, and their labels tell them apart', () => {
  assert.deepEqual(ticks([0, 10], 5), [0, 2, 4, 6, 8, 10]);
  const fine = ticks([0.1, 0.35], 5);
  assert.equal(new Set(fine.map((at) => at.toFixed(tickPlaces(fine)))).size, fine.length);
  assert.ok(fine.every((at) => at >= 0.1 - 1e-9 && at <= 0.35 + 1e-9));
});

test('A flat line has a range that it lies in the middle of', () => {
  const [from, to] = rangeOf([5, 5, NaN]);
  assert.ok(from < 5 && to > 5 && Math.abs((from + to) / 2 - 5) < 1e-9);
});
