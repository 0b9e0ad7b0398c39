// SPDX-License-Identifier: Apache-2.0
// Strips of channels over time: of each the band from lowest to highest of every bin and the mean in
// it; bins without a sample are left open. New bins are painted once, on a sheet longer than what is
// seen, and each frame shows another piece of the sheet: nine strips cost one copy a frame.
import type { Range } from './scale';
import type { Bounds } from './staff';
import type { StripWindow } from './strip_window';

export interface StripInk {
  readonly band: string;
  readonly mean: string;
  readonly limit: string;
  readonly flood: string; // what lies beyond
  readonly line: string;
  readonly stroke: number;
}
export interface StripRow {
  readonly channel: number;
  readonly bounds: Bounds; // beyond which an interlock trips
  readonly ground: ((extent: Range) => Range) | null; // from where to where it is shown; null: as near as its values allow
  range: Range | null; // of the values, bottom to top; nothing before the first sample
}

const longer = 1.5; // the sheet, than what is seen
const room = 0.12; // above and below the values

/** Lowest and highest of a channel in the window; nothing before the first sample. */
export function extentOf(strips: StripWindow, channel: number): Range | null {
  const [lowest, highest] = [strips.lowest[channel], strips.highest[channel]];
  if (lowest === undefined || highest === undefined) return null;
  let [from, to] = [Infinity, -Infinity];
  for (let bin = strips.oldestBin; bin <= strips.newestBin; ++bin) {
    const slot = strips.slot(bin);
    const [low, high] = [lowest[slot] ?? NaN, highest[slot] ?? NaN];
    if (low < from) from = low;
    if (high > to) to = high;
  }
  return from <= to ? [from, to] : null;
}

/** The range to show values in: kept while they fit and fill more than half of it. */
export function rangeFor(extent: Range, before: Range | null): Range {
  const span = Math.max(extent[1] - extent[0], 2e-3 * Math.abs(extent[1]), 1e-6);
  if (before !== null && extent[0] >= before[0] && extent[1] <= before[1] && span > 0.45 * (before[1] - before[0])) return before;
  const middle = (extent[0] + extent[1]) / 2;
  return [middle - span * (0.5 + room), middle + span * (0.5 + room)];
}

/** The same ground again where nothing has changed. */
function kept(ground: Range, before: Range | null): Range {
  return before !== null && before[0] === ground[0] && before[1] === ground[1] ? before : ground;
}

export class StripBoard {
  private readonly sheet = document.createElement('canvas');
  private first = 0; // bin at the sheet's left edge
  private painted = -1; // newest bin on the sheet
  private shownAt = NaN; // the piece that was shown last, px of the sheet
  private width = 0; // of what is seen, px
  private height = 0;

  constructor(
    private readonly strips: StripWindow,
    readonly rows: StripRow[],
    private readonly ink: StripInk,
    private readonly window_s: number,
  ) {}

  /** @param right_s  device time at the right edge, s of POSIX time */
  show(canvas: HTMLCanvasElement, right_s: number): void {
    const pen = canvas.getContext('2d');
    if (pen === null || this.strips.newestBin < 0) return;
    const [width, height] = [Math.round(canvas.clientWidth * devicePixelRatio), Math.round(canvas.clientHeight * devicePixelRatio)];
    if (width < 2 || height < 2) return;
    const fresh = this.fit(canvas, width, height);
    const news = this.paintNew(fresh);
    const left_s = right_s - this.window_s;
    const at = Math.round(((left_s - this.strips.start_s(this.first)) / this.window_s) * width);
    if (!fresh && !news && at === this.shownAt) return;
    this.shownAt = at;
    pen.clearRect(0, 0, width, height);
    const from = Math.max(0, at);
    const wide = Math.min(this.sheet.width - from, width - (from - at));
    if (wide > 0) pen.drawImage(this.sheet, from, 0, wide, height, from - at, 0, wide, height);
    this.rule(pen);
  }

  private fit(canvas: HTMLCanvasElement, width: number, height: number): boolean {
    if (canvas.width === width && canvas.height === height && this.width === width && this.height === height) return false;
    canvas.width = this.width = width;
    canvas.height = this.height = height;
    this.sheet.width = Math.ceil(width * longer);
    this.sheet.height = height;
    return true;
  }

  private x(bin: number): number {
    return ((bin - this.first) * this.strips.bin_s * this.width) / this.window_s;
  }

  private paintNew(all: boolean): boolean {
    const pen = this.sheet.getContext('2d');
    const newest = this.strips.newestBin;
    if (pen === null) return false;
    // The newest bin is sent again while it grows: it is painted again too.
    let from = this.painted;
    if (all || from < this.strips.oldestBin || newest < from || this.x(newest + 1) > this.sheet.width) {
      this.first = Math.max(this.strips.oldestBin, newest - Math.ceil(this.window_s / this.strips.bin_s) - 1);
      from = this.first;
      all = true;
    }
    if (!all && newest === this.painted && !this.grown(newest)) return false;
    for (const row of this.rows) {
      const extent = extentOf(this.strips, row.channel);
      if (extent === null) continue;
      const before = row.range;
      row.range = row.ground === null ? rangeFor(extent, before) : kept(row.ground(extent), before);
      this.paintRow(pen, row, before === row.range ? from : this.first);
    }
    this.painted = newest;
    return true;
  }

  private seen = NaN;
  private grown(bin: number): boolean {
    const now = this.strips.mean[this.rows[0]?.channel ?? 0]?.[this.strips.slot(bin)] ?? NaN;
    if (Object.is(now, this.seen)) return false;
    this.seen = now;
    return true;
  }

  private paintRow(pen: CanvasRenderingContext2D, row: StripRow, from: number): void {
    const [lowest, highest, mean] = [this.strips.lowest[row.channel], this.strips.highest[row.channel], this.strips.mean[row.channel]];
    if (lowest === undefined || highest === undefined || mean === undefined || row.range === null) return;
    const tall = this.height / this.rows.length;
    const top = this.rows.indexOf(row) * tall;
    const perUnit = (tall - 8) / (row.range[1] - row.range[0]);
    const [, high] = row.range;
    const y = (value: number) => top + 4 + (high - value) * perUnit;
    const step = this.x(this.first + 1);
    const left = this.x(from);
    pen.clearRect(left, top, this.sheet.width - left, tall);
    pen.fillStyle = this.ink.band;
    pen.strokeStyle = this.ink.mean;
    pen.lineWidth = this.ink.stroke * devicePixelRatio;
    const line = new Path2D();
    let open = false;
    for (let bin = Math.max(this.first, from - 1); bin <= this.strips.newestBin; ++bin) {
      const slot = this.strips.slot(bin);
      const middle = mean[slot] ?? NaN;
      if (Number.isNaN(middle)) {
        open = false;
        continue;
      }
      const x = this.x(bin);
      const crest = y(highest[slot] ?? middle);
      if (bin >= from) pen.fillRect(x, crest, step + 0.3, Math.max(1, y(lowest[slot] ?? middle) - crest));
      if (open) line.lineTo(x + step / 2, y(middle));
      else line.moveTo(x + step / 2, y(middle));
      open = true;
    }
    pen.stroke(line);
  }

  /** Lines between the strips, the limits that lie in them, and what is beyond those. */
  private rule(pen: CanvasRenderingContext2D): void {
    const tall = this.height / this.rows.length;
    pen.fillStyle = this.ink.line;
    this.rows.forEach((_, k) => pen.fillRect(0, Math.round((k + 1) * tall) - 1, this.width, 1));
    this.rows.forEach((row, k) => {
      const range = row.range;
      if (range === null) return;
      const top = k * tall + 4;
      const y = (value: number) => Math.round(top + ((range[1] - value) * (tall - 8)) / (range[1] - range[0]));
      const { above, below } = row.bounds;
      if (above !== null && above < range[1]) this.flood(pen, top, y(Math.max(above, range[0])), y(above), above > range[0]);
      if (below !== null && below > range[0]) this.flood(pen, y(Math.min(below, range[1])), top + tall - 8, y(below), below < range[1]);
    });
  }

  private flood(pen: CanvasRenderingContext2D, from: number, to: number, limit: number, seen: boolean): void {
    pen.fillStyle = this.ink.flood;
    pen.fillRect(0, from, this.width, to - from);
    pen.fillStyle = this.ink.limit;
    if (seen) pen.fillRect(0, limit - 1, this.width, 2);
  }
}
