// SPDX-License-Identifier: Apache-2.0
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { boundsOf, partOf, staffRange } from '../src/draw/staff';
import { chosenOf, most } from '../src/rooms/measure/chosen';

const bound = (channel: string, lowest: number | null, highest: number | null, further = {}) => ({ kind: 'bound', channel, lowest, highest, ...further });

test('Of several interlocks the innermost bounds count, and only of those that judge the channel alone', () => {
  const interlocks = [
    bound('dc_voltage_V', null, 75),
    bound('dc_voltage_V', null, 60),
    bound('dc_voltage_V', 3, null),
    bound('dc_voltage_V', null, 4, { with: 'rotor_speed_rad_s' }),
    { kind: 'stuck', channel: 'dc_voltage_V', highest: 1 },
    bound('dc_current_A', null, 8),
  ];
  assert.deepEqual(boundsOf(interlocks, 'dc_voltage_V'), { below: 3, above: 60 });
  assert.deepEqual(boundsOf(interlocks, 'air_speed_m_s'), { below: null, above: null });
});

test('A staff goes from rest to beyond the bound that trips', () => {
  const range = staffRange({ below: null, above: 420 }, [0, 500], [180, 200]);
  assert.equal(range[0], 0);
  assert.ok(range[1] > 420 && range[1] < 500);
  assert.ok(Math.abs(partOf(range, 190) - 190 / range[1]) < 1e-12);
});

test('A bound below is on the staff too, and what is beyond either is never cut off', () => {
  const loop = staffRange({ below: 12, above: null }, null, [23.9, 24.1]);
  assert.ok(loop[0] < 12 && loop[1] > 24.1);
  const beyond = staffRange({ below: null, above: 8 }, null, [-0.1, 9.5]);
  assert.ok(beyond[0] <= -0.1 && beyond[1] > 9.5);
});

test('Without a bound it is what the sensor can show; without that, what was seen, from nought', () => {
  assert.deepEqual(staffRange({ below: null, above: null }, [-10, 50], [20, 21]), [-10, 50]);
  assert.deepEqual(staffRange({ below: null, above: null }, null, [40, 80]), [0, 100]);
  assert.deepEqual(staffRange({ below: null, above: null }, null, null), [0, 1]);
});

test('Levels over time are those that were asked for, of those that are there, at most nine', () => {
  const there = Array.from({ length: 12 }, (_, k) => `c${k}`);
  assert.deepEqual(chosenOf(['c3', 'gone'], there), ['c3']);
  assert.equal(chosenOf(there, there).length, most);
  assert.deepEqual(chosenOf([], ['air_speed_m_s', 'x', 'dc_power_W']), ['air_speed_m_s', 'dc_power_W']);
  assert.deepEqual(chosenOf([], ['a', 'b', 'c', 'd']), ['a', 'b', 'c']);
});
