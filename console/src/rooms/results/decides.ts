// SPDX-License-Identifier: Apache-2.0
// The differences that a verdict rests on, as they are shown: how much more the best gives than each other. Pure.
import { rangeOf, type Range } from '../../draw/scale';
import type { Verdict } from './run_results';

export interface Row {
  readonly other: string; // label of a curve
  readonly place: number; // of the other among what is compared, the best being the first
  readonly value: number;
  readonly expanded: number | null; // nothing: not known, and nothing is told apart by it
  readonly apart: boolean;
  readonly band: Range; // where the difference may lie; where that is not known, anywhere that is shown
}

export function rowsOf(verdict: Verdict): { readonly rows: readonly Row[]; readonly spread: Range } {
  const best = verdict.differences[0]?.a;
  const ofBest = verdict.differences.filter((each) => each.a === best);
  const isKnown = (expanded: number) => expanded > 0 && Number.isFinite(expanded);
  const ends = ofBest.flatMap(({ value, expanded }) => (isKnown(expanded) ? [value - expanded, value + expanded] : [value]));
  const spread = rangeOf([0, ...ends]);
  const rows = ofBest.map(({ b, value, expanded, significant }, k): Row => {
    const known = isKnown(expanded) && Number.isFinite(value);
    return {
      other: b,
      place: k + 1,
      value,
      expanded: known ? expanded : null,
      apart: known && significant,
      band: known ? [value - expanded, value + expanded] : spread,
    };
  });
  return { rows, spread };
}
