// SPDX-License-Identifier: Apache-2.0
// A binary message of the live stream, laid out as docs/openapi.json, x-live, says.

export interface Envelope {
  readonly fresh: boolean; // forget the bins before
  readonly gap: boolean; // a gap lies in it or before it
  readonly stream: number;
  readonly number: number;
  readonly channels: number;
  readonly bins: number;
  readonly firstBin: number;
  readonly deviceTime_s: number; // POSIX, just after the newest sample
  readonly hostTime_s: number;
  readonly newest: Float32Array; // (channels)
  readonly values: Float32Array; // (channels x [lowest, highest, mean] x bins); NaN: no sample
}

const head = 40;

/** Nothing where it is no envelope of version 1, not as long as it says, or of bins that no number holds. */
export function envelopeFrom(bytes: ArrayBuffer): Envelope | null {
  if (bytes.byteLength < head) return null;
  const view = new DataView(bytes);
  const channels = view.getUint32(4, true);
  const bins = view.getUint32(8, true);
  if (view.getUint8(0) !== 1 || bytes.byteLength !== head + 4 * channels * (1 + 3 * bins)) return null;
  const firstBin = Number(view.getBigInt64(16, true));
  if (!Number.isSafeInteger(firstBin)) return null;
  const flags = view.getUint8(1);
  return {
    fresh: (flags & 1) !== 0,
    gap: (flags & 2) !== 0,
    stream: view.getUint16(2, true),
    number: view.getUint32(12, true),
    channels,
    bins,
    firstBin,
    deviceTime_s: Number(view.getBigInt64(24, true)) / 1e9,
    hostTime_s: Number(view.getBigInt64(32, true)) / 1e9,
    // The format is little-endian, as is every machine that a browser runs on today.
    newest: new Float32Array(bytes, head, channels),
    values: new Float32Array(bytes, head + 4 * channels, 3 * channels * bins),
  };
}
