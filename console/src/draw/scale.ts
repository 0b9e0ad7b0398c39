// SPDX-License-Identifier: Apache-2.0
// From values to pixels, and where ticks stand. Pure.

export type Range = readonly [number, number];

/** Ticks at 1, 2 or 5 times a power of ten within a range, about so many. */
export function ticks([from, to]: Range, about: number): number[] {
  const span = to - from;
  if (!(span > 0) || !Number.isFinite(span)) return [from];
  const raw = span / Math.max(1, about);
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((factor) => factor * power).find((each) => each >= raw * 0.999) ?? 10 * power;
  const first = Math.ceil(from / step - 1e-9);
  const count = Math.floor(to / step + 1e-9) - first;
  return Array.from({ length: count + 1 }, (_, k) => (first + k) * step);
}

/** Every whole number within a range. */
export function wholeSteps([from, to]: Range): number[] {
  const first = Math.ceil(from);
  return Array.from({ length: Math.max(0, Math.floor(to) - first + 1) }, (_, k) => first + k);
}

/** Decimals that tell such ticks apart. */
export function tickPlaces(at: readonly number[]): number {
  const step = Math.abs((at[1] ?? 1) - (at[0] ?? 0));
  return step > 0 ? Math.max(0, Math.min(9, -Math.floor(Math.log10(step) + 1e-9))) : 0;
}

/** Lowest and highest of what is finite, with room around; a flat line gets a range too. */
export function rangeOf(values: Iterable<number>, room = 0.06): Range {
  let [low, high] = [Infinity, -Infinity];
  for (const value of values) {
    if (!Number.isFinite(value)) continue;
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  if (low > high) return [0, 1];
  const span = Math.max(high - low, 1e-3 * Math.max(Math.abs(high), Math.abs(low)), 1e-9);
  const middle = (low + high) / 2;
  return [middle - span * (0.5 + room), middle + span * (0.5 + room)];
}

export function linear([from, to]: Range, [a, b]: Range): (value: number) => number {
  return (value) => a + ((value - from) / (to - from)) * (b - a);
}

/** A line through points, broken where one is missing. */
export function pathThrough(x: readonly number[], y: readonly number[]): string {
  let pen = 'M';
  let path = '';
  for (let k = 0; k < x.length; ++k) {
    const [px, py] = [x[k] ?? NaN, y[k] ?? NaN];
    if (!Number.isFinite(px) || !Number.isFinite(py)) {
      pen = 'M';
      continue;
    }
    path += `${pen}${px.toFixed(1)} ${py.toFixed(1)}`;
    pen = 'L';
  }
  return path;
}
