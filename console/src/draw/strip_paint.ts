// SPDX-License-Identifier: Apache-2.0
// Paints one strip of a channel over time: the band from lowest to highest of every bin, the mean
// in it, limits of interlocks. Bins without a sample are left open.
import type { Range } from './scale';
import type { StripWindow } from './strip_window';

export interface StripBox {
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
}
export interface StripInk {
  readonly band: string;
  readonly mean: string;
  readonly limit: string;
  readonly stroke: number;
}

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

/**
 * @param right_s  device time at the right edge, s of POSIX time
 * @param range    of the values, bottom to top
 * @param limits   values at which an interlock trips; drawn where they are in the range
 */
export function paintStrip(
  pen: CanvasRenderingContext2D,
  strips: StripWindow,
  channel: number,
  view: { readonly right_s: number; readonly window_s: number; readonly range: Range; readonly limits: readonly number[] },
  box: StripBox,
  ink: StripInk,
): void {
  const [lowest, highest, mean] = [strips.lowest[channel], strips.highest[channel], strips.mean[channel]];
  if (lowest === undefined || highest === undefined || mean === undefined) return;
  const perSecond = box.width / view.window_s;
  const left_s = view.right_s - view.window_s;
  const perUnit = box.height / (view.range[1] - view.range[0]);
  const y = (value: number) => box.top + (view.range[1] - value) * perUnit;
  const first = Math.max(strips.oldestBin, Math.floor((left_s - strips.origin_s) / strips.bin_s));
  const x0 = box.left + (strips.start_s(first) - left_s) * perSecond;
  const step = strips.bin_s * perSecond;
  pen.save();
  pen.beginPath();
  pen.rect(box.left, box.top, box.width, box.height);
  pen.clip();
  pen.fillStyle = ink.band;
  const line = new Path2D();
  let open = false;
  for (let bin = first, x = x0; bin <= strips.newestBin; ++bin, x += step) {
    const slot = strips.slot(bin);
    const [low, high, middle] = [lowest[slot] ?? NaN, highest[slot] ?? NaN, mean[slot] ?? NaN];
    if (Number.isNaN(middle)) {
      open = false;
      continue;
    }
    const top = y(high);
    pen.fillRect(x, top, step + 0.5, Math.max(1, y(low) - top));
    if (open) line.lineTo(x + step / 2, y(middle));
    else line.moveTo(x + step / 2, y(middle));
    open = true;
  }
  pen.strokeStyle = ink.mean;
  pen.lineWidth = ink.stroke;
  pen.lineJoin = 'round';
  pen.stroke(line);
  pen.strokeStyle = ink.limit;
  pen.setLineDash([6, 4]);
  for (const limit of view.limits) {
    if (limit <= view.range[0] || limit >= view.range[1]) continue;
    pen.beginPath();
    pen.moveTo(box.left, y(limit));
    pen.lineTo(box.left + box.width, y(limit));
    pen.stroke();
  }
  pen.restore();
}
