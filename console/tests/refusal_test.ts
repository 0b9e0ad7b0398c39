// SPDX-License-Identifier: Apache-2.0
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { longestIn, namedIn, taskIn, whyIn } from '../src/words/named';

const said = (code: string, what: string, where = '') => ({ code, what, where });
const known = ['dc_current_A', 'dc_voltage_V', 'fan_pct'];

test('The interlocks and channels that a refusal names are found in its sentence', () => {
  assert.deepEqual(namedIn(said('uncalibrated', "'dc_current_A' has no certificate"), known), ['dc_current_A']);
  assert.deepEqual(namedIn(said('not_driven', 'the bench may not be driven: not started while it stands: emergency stop, cover open'), known), ['emergency stop', 'cover open']);
  assert.deepEqual(namedIn(said('not_reset', 'the trip is not reset: the cause is not gone: rotor overspeed'), known), ['rotor overspeed']);
  const tripped = "the bench may not be driven: tripped, and not reset yet: interlock 'DC over-voltage': dc_voltage_V is 21.1 V, above 20";
  assert.deepEqual(namedIn(said('not_driven', tripped), known), ['DC over-voltage', 'dc_voltage_V']);
  assert.deepEqual(namedIn(said('unproved', "the interlocks are not proved: 'air speed' was never proved; 'vibration' is gone since the proof", 'reason'), known), ['air speed', 'vibration']);
  assert.deepEqual(namedIn(said('', 'above its highest value', 'fan_pct'), known), ['fan_pct']);
  assert.deepEqual(namedIn(said('no_device', "the bench's link to the guard's end is lost"), known), []);
  assert.deepEqual(namedIn(said('uncalibrated', 'a channel has no certificate, so no interlock can judge'), known), []);
});

test('What keeps the bench busy is known, and only where it is that', () => {
  assert.equal(taskIn(said('busy', 'the bench is conducting')), 'conducting');
  assert.equal(taskIn(said('tripped', 'the bench is tripped')), null);
});

test('Why something is not done is behind what is not done', () => {
  assert.equal(whyIn(said('not_reset', 'the trip is not reset: the stop is not over yet')), 'the stop is not over yet');
  assert.equal(whyIn(said('not_driven', 'the bench may not be driven: it is being stopped: wait until it stands')), 'it is being stopped: wait until it stands');
  assert.equal(whyIn(said('busy', 'the bench is conducting: wait')), null);
});

test('How long a consent may be is a number of seconds', () => {
  assert.equal(longestIn(said('bad_time', 'a consent has an end: above 0, up to 3600 s')), 3600);
  assert.equal(longestIn(said('no_consent', 'up to 3600 s')), null);
});
