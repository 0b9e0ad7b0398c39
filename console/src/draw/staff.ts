// SPDX-License-Identifier: Apache-2.0
// A channel as a level on a staff: from rest to the bounds of its interlocks, so that its height
// says how much of what it may be it is. Pure.
import type { Range } from './scale';

export interface Bounds {
  readonly below: number | null; // trips below
  readonly above: number | null; // trips above
}
interface Judging {
  readonly kind: string;
  readonly channel?: string;
  readonly with?: string;
  readonly lowest?: number | null;
  readonly highest?: number | null;
}

const room = 0.08; // beyond a bound, of the staff

/** The innermost bounds of the interlocks that judge this channel alone. */
export function boundsOf(interlocks: readonly Judging[], channel: string): Bounds {
  const judging = interlocks.filter((each) => each.kind === 'bound' && each.channel === channel && !each.with);
  const finite = (values: readonly (number | null | undefined)[]) => values.filter((value): value is number => typeof value === 'number' && Number.isFinite(value));
  const [lows, highs] = [finite(judging.map((each) => each.lowest)), finite(judging.map((each) => each.highest))];
  return { below: lows.length > 0 ? Math.max(...lows) : null, above: highs.length > 0 ? Math.min(...highs) : null };
}

/** From where to where a channel's staff goes.
 *  @param shows   what its sensor can show, where that is known
 *  @param extent  what it has shown of late */
export function staffRange(bounds: Bounds, shows: Range | null, extent: Range | null): Range {
  const seen = extent === null ? [] : [...extent];
  if (bounds.above !== null || bounds.below !== null) {
    const low = Math.min(0, ...seen);
    const from = bounds.below === null ? low : Math.min(low < 0 ? low : bounds.below, bounds.below);
    const to = Math.max(...seen, ...(bounds.above === null ? [] : [bounds.above]), ...(bounds.below === null ? [] : [bounds.below]));
    const span = Math.max(to - from, 1e-9);
    return [bounds.below === null ? from : from - 2 * room * span, to + room * span];
  }
  if (shows !== null && shows[1] > shows[0]) {
    return [Math.min(shows[0], ...seen), Math.max(shows[1], ...seen)];
  }
  const [low, high] = [Math.min(0, ...seen), Math.max(0, ...seen)];
  return high - low > 0 ? [low * 1.25, high * 1.25] : [0, 1];
}

/** How far up the staff a value is, 0 to 1. */
export function partOf([from, to]: Range, value: number): number {
  return Math.min(1, Math.max(0, (value - from) / (to - from)));
}
