// SPDX-License-Identifier: Apache-2.0
// The newest bins of a live stream, in columns that are allocated once.
import type { Envelope } from '../wire/envelope';

export class StripWindow {
  readonly lowest: readonly Float32Array[]; // (channels)(bins), slot of bin k: k modulo bins
  readonly highest: readonly Float32Array[];
  readonly mean: readonly Float32Array[];
  newestBin = -1; // -1: nothing yet
  oldestBin = 0;

  constructor(
    readonly channels: readonly string[],
    readonly units: readonly string[],
    readonly bins: number,
    readonly bin_s: number,
    readonly origin_s: number,
  ) {
    const columns = () => channels.map(() => new Float32Array(bins).fill(NaN));
    this.lowest = columns();
    this.highest = columns();
    this.mean = columns();
  }

  slot(bin: number): number {
    return ((bin % this.bins) + this.bins) % this.bins;
  }

  /** Seconds, POSIX, at which a bin begins. */
  start_s(bin: number): number {
    return this.origin_s + bin * this.bin_s;
  }

  take(envelope: Envelope): void {
    if (envelope.channels !== this.channels.length || envelope.bins === 0) return;
    const last = envelope.firstBin + envelope.bins - 1;
    if (envelope.fresh || this.newestBin < 0) {
      this.oldestBin = envelope.firstBin;
    } else {
      this.forget(this.newestBin + 1, envelope.firstBin - 1); // what was left out is a gap
    }
    for (let channel = 0; channel < envelope.channels; ++channel) {
      const rows = [this.lowest, this.highest, this.mean];
      rows.forEach((columns, row) => {
        const column = columns[channel];
        if (column === undefined) return;
        const from = (3 * channel + row) * envelope.bins;
        for (let k = Math.max(0, envelope.bins - this.bins); k < envelope.bins; ++k) {
          column[this.slot(envelope.firstBin + k)] = envelope.values[from + k] ?? NaN;
        }
      });
    }
    this.newestBin = envelope.fresh ? last : Math.max(last, this.newestBin);
    this.oldestBin = Math.max(this.oldestBin, this.newestBin - this.bins + 1);
  }

  private forget(first: number, last: number): void {
    for (let bin = Math.max(first, last - this.bins + 1); bin <= last; ++bin) {
      for (const columns of [this.lowest, this.highest, this.mean]) {
        for (const column of columns) column[this.slot(bin)] = NaN;
      }
    }
  }
}
