// SPDX-License-Identifier: Apache-2.0
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { decimals, plusMinus, reading, stretch, styleOf, unitText, withUnit } from '../src/words/numbers';

const english = styleOf('en');
const spanish = styleOf('es');

// Bureau International des Poids et Mesures, The International System of Units, 9th edition (2019),
// 5.4.4: the decimal marker is a point or a comma; digits in groups of three with a thin space, no
// points or commas between them, and four digits may stay together.
test('A number has the decimal sign of the language and thin spaces between thousands', () => {
  assert.equal(decimals(43279.16829, 5, english).replaceAll('\u2009', ' '), '43 279.16829');
  assert.equal(decimals(43279.16829, 5, spanish).replaceAll('\u2009', ' '), '43 279,16829');
  assert.equal(decimals(3279, 0, english), '3279');
});

test('A number that no column holds is written in powers of ten', () => {
  assert.equal(decimals(1.958e75, 2, spanish), '1,96 × 10⁷⁵');
});

test('A negative number has a minus sign, and rounds to zero without one', () => {
  assert.equal(decimals(-12.3, 1, english), '−12.3');
  assert.equal(decimals(-0.04, 1, english), '0.0');
});

test('What is not there is a dash, never a zero', () => {
  for (const absent of [null, undefined, NaN, Infinity]) {
    assert.equal(decimals(absent, 2, english), '–');
    assert.equal(reading(absent, english), '–');
  }
});

// 5.4.3: a space between number and unit also before °C and %, none before the degree of an angle.
test('A unit stands behind a no-break space, the degree of an angle close', () => {
  assert.equal(withUnit('30.2', 'degC'), '30.2\u00a0°C');
  assert.equal(withUnit('48', 'percent'), '48\u00a0%');
  assert.equal(withUnit('5', 'degree'), '5°');
  assert.equal(withUnit('0.35', '1'), '0.35');
});

test('A unit of UDUNITS is written as people write it', () => {
  assert.equal(unitText('m s-1'), 'm/s');
  assert.equal(unitText('kg m-3'), 'kg/m³');
  assert.equal(unitText('W m-2 K-1'), 'W·m⁻²·K⁻¹');
});

// JCGM 100:2008, 7.2.6: an uncertainty with at most two significant digits, the value to the same place.
test('An uncertainty has two significant digits and the value as many decimals', () => {
  assert.equal(plusMinus(100.02147, 0.00035, english), '100.02147 ± 0.00035');
  assert.equal(plusMinus(0.3233, 0.0058, spanish), '0,3233 ± 0,0058');
  assert.equal(plusMinus(1234.4, 118, english), '1234 ± 118');
});

test('A stretch of time is told in the units that people use', () => {
  assert.equal(stretch(4.24, english).replaceAll('\u00a0', ' '), '4.2 s');
  assert.equal(stretch(60, english).replaceAll('\u00a0', ' '), '1 min');
  assert.equal(stretch(1024, english).replaceAll('\u00a0', ' '), '17 min 04 s');
  assert.equal(stretch(3900, english).replaceAll('\u00a0', ' '), '1 h 05 min');
});
