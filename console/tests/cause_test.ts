// SPDX-License-Identifier: Apache-2.0
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { beyondTrip, followersIn } from '../src/words/cause';

const trip = { cause: "interlock 'DC over-current': dc_current_A was 9.1, above 8: a short" };

test('What followed a trip, and why there is no report, is told besides it', () => {
  const cause = `${trip.cause}; next: check rheostat and wiring; priority high, respond at once\nfollowed by overspeed (2 times), DC over-voltage\ncannot write report.pdf`;
  assert.deepEqual(beyondTrip(cause, trip), ['followed by overspeed (2 times), DC over-voltage', 'cannot write report.pdf']);
  assert.deepEqual(beyondTrip(trip.cause, trip), []);
});

test('A cause that is not of the trip is told whole, and so is one without a trip', () => {
  assert.deepEqual(beyondTrip('the device is silent\nthe disk is full', trip), ['the device is silent', 'the disk is full']);
  assert.deepEqual(beyondTrip('the device is silent', null), ['the device is silent']);
  assert.deepEqual(beyondTrip('', trip), []);
});

test('The interlocks that followed are known by name and how often', () => {
  assert.deepEqual(followersIn('followed by overspeed (2 times), DC over-voltage'), [{ name: 'overspeed', times: 2 }, { name: 'DC over-voltage', times: 1 }]);
  assert.equal(followersIn('the disk is full'), null);
});
