// SPDX-License-Identifier: Apache-2.0
// Where a level of the blade pitch may stand: in steps, within what the actuator can do, no two at one place. Pure.

export const step = 0.5;

export interface Limits {
  readonly lowest: number;
  readonly highest: number;
}
/** A handle under a finger or the mouse. */
export interface Drag {
  readonly which: number;
  readonly pointer: number;
  readonly grip: number; // px from the pointer up to the middle of the handle
  readonly at: number; // the level there
  readonly levels: readonly number[]; // those it began among: with others it is over
}

const fitting = (value: number, { lowest, highest }: Limits) => Math.min(highest, Math.max(lowest, Math.round(value / step) * step));

/** Where a level comes to stand that is wanted somewhere: there, or past the others that stand there; where the
 *  actuator's limit leaves no room for that, short of them; else where it was. */
export function placeOf(wanted: number, which: number, levels: readonly number[], limits: Limits): number {
  const from = levels[which] ?? wanted;
  const free = (at: number) => !levels.some((each, k) => k !== which && each === at);
  const there = fitting(wanted, limits);
  const way = there < from ? -step : step;
  for (const along of [way, -way]) {
    for (let at = there; ; ) {
      if (along !== way && (at - from) * way <= 0) break;
      if (free(at)) return at;
      const next = fitting(at + along, limits);
      if (next === at) break;
      at = next;
    }
  }
  return from;
}

/** Where one more finds room: in the middle of the widest gap between two; where none is wider than two steps,
 *  up to five degrees beyond the others; at last in whatever gap there is. Nothing: every step is taken. */
export function oneMore(levels: readonly number[], limits: Limits): number | null {
  const sorted = [...levels].sort((a, b) => a - b);
  const [low, high] = [sorted[0], sorted.at(-1)];
  if (low === undefined || high === undefined) return fitting(0, limits);
  const gaps = sorted
    .slice(1)
    .map((level, k) => ({ at: fitting((level + (sorted[k] ?? level)) / 2, limits), width: level - (sorted[k] ?? level) }))
    .sort((a, b) => b.width - a.width);
  const [above, below] = [Math.min(5, limits.highest - high), Math.min(5, low - limits.lowest)];
  const beyond = above >= below ? high + above : low - below;
  const wide = gaps.filter((gap) => gap.width > 2 * step);
  return [...wide.map((gap) => gap.at), fitting(beyond, limits), ...gaps.map((gap) => gap.at)].find((at) => !levels.includes(at)) ?? null;
}
