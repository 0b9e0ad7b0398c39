// SPDX-License-Identifier: Apache-2.0
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import { envelopeFrom } from '../src/wire/envelope';
import { StripWindow } from '../src/draw/strip_window';

interface Member {
  readonly at: number | string;
  readonly type: string;
  readonly name: string;
}
// Built from the layout in the API description, not from the reader.
const layout = (JSON.parse(readFileSync('../docs/openapi.json', 'utf8')) as { 'x-live': { envelope: { layout: Member[] } } })['x-live'].envelope.layout;

interface Written {
  readonly flags?: number;
  readonly firstBin: number;
  readonly newest: readonly number[];
  readonly values: readonly number[]; // (channels)(lowest, highest, mean)(bins)
}

function written({ flags = 0, firstBin, newest, values }: Written): ArrayBuffer {
  const channels = newest.length;
  const bins = values.length / 3 / channels;
  const bytes = new ArrayBuffer(40 + 4 * (newest.length + values.length));
  const view = new DataView(bytes);
  const of: Readonly<Record<string, number>> = {
    version: 1, flags, stream: 3, channels, bins, number: 7, first_bin: firstBin, device_time_ns: 1.7e18, host_time_ns: 1.7e18 + 5e7,
  };
  for (const { at, type, name } of layout) {
    const value = of[name];
    if (typeof at !== 'number' || value === undefined) continue;
    if (type === 'uint8') view.setUint8(at, value);
    if (type === 'uint16') view.setUint16(at, value, true);
    if (type === 'uint32') view.setUint32(at, value, true);
    if (type === 'int64') view.setBigInt64(at, BigInt(value), true);
  }
  [...newest, ...values].forEach((value, k) => view.setFloat32(40 + 4 * k, value, true));
  return bytes;
}

const twoBins = written({ firstBin: 100, newest: [5, 50], values: [1, 2, 3, 4, 2, 3, 10, 20, 30, 40, 20, 30] });

test('An envelope is read as the API description lays it out', () => {
  const envelope = envelopeFrom(twoBins);
  assert.ok(envelope);
  assert.equal(envelope.stream, 3);
  assert.equal(envelope.firstBin, 100);
  assert.equal(envelope.number, 7);
  assert.equal(envelope.hostTime_s - envelope.deviceTime_s > 0.04, true);
  assert.deepEqual([...envelope.newest], [5, 50]);
  assert.equal(envelope.values[6 + 3], 40);
});

test('What is no envelope is refused', () => {
  assert.equal(envelopeFrom(new ArrayBuffer(39)), null);
  assert.equal(envelopeFrom(twoBins.slice(0, twoBins.byteLength - 4)), null);
  const otherVersion = twoBins.slice(0);
  new DataView(otherVersion).setUint8(0, 2);
  assert.equal(envelopeFrom(otherVersion), null);
  assert.equal(envelopeFrom(written({ firstBin: 1.7e18, newest: [1], values: [1, 1, 1] })), null);
});

function windowOf(...messages: readonly ArrayBuffer[]): StripWindow {
  const strips = new StripWindow(['a', 'b'], ['V', 'A'], 4, 0.1, 1000);
  for (const message of messages) {
    const envelope = envelopeFrom(message);
    assert.ok(envelope);
    strips.take(envelope);
  }
  return strips;
}
const meanOf = (strips: StripWindow, bin: number) => strips.mean[0]?.[strips.slot(bin)];

test('A bin that is sent again replaces the one before', () => {
  const again = written({ firstBin: 101, newest: [0, 0], values: [1, 9, 7, 1, 9, 7] });
  const strips = windowOf(twoBins, again);
  assert.equal(strips.newestBin, 101);
  assert.equal(meanOf(strips, 100), 2);
  assert.equal(meanOf(strips, 101), 7);
});

test('Bins that were never sent are a gap, not the values of a round before', () => {
  const later = written({ firstBin: 104, newest: [0, 0], values: [1, 9, 7, 1, 9, 7] });
  const before = written({ firstBin: 98, newest: [0, 0], values: [1, 1, 9, 9, 6, 6, 1, 1, 9, 9, 6, 6] });
  const strips = windowOf(before, twoBins, later);
  assert.equal(strips.oldestBin, 101);
  assert.equal(meanOf(strips, 101), 3);
  assert.ok(Number.isNaN(meanOf(strips, 102)));
  assert.ok(Number.isNaN(meanOf(strips, 103)));
});

test('A fresh envelope forgets what was before, also when its bins are older', () => {
  const fresh = written({ flags: 1, firstBin: 2, newest: [0, 0], values: [1, 9, 7, 1, 9, 7] });
  const strips = windowOf(twoBins, fresh);
  assert.equal(strips.newestBin, 2);
  assert.equal(strips.oldestBin, 2);
});
