// SPDX-License-Identifier: Apache-2.0
// Between two states of the energy chain, so that the river swells instead of jumping.
import type { RiverFlow, RiverStage } from '../../draw/river_layout';

export interface Shown {
  readonly stages: readonly RiverStage[];
  readonly flows: readonly RiverFlow[];
  readonly full_W: number;
}

function between(a: number | null | undefined, b: number | null, part: number): number | null {
  return a === null || a === undefined || b === null ? b : a + (b - a) * part;
}

/** `part` of the way from one to the other, 0 to 1; what was unknown before is there at once. */
export function blend(from: Shown, to: Shown, part: number): Shown {
  return {
    stages: to.stages.map((stage) => {
      const before = from.stages.find((each) => each.name === stage.name);
      return { ...stage, lost_W: between(before?.lost_W, stage.lost_W, part) };
    }),
    flows: to.flows.map((flow) => {
      const before = from.flows.find((each) => each.from === flow.from && each.to === flow.to);
      return {
        ...flow,
        measured_W: between(before?.measured_W, flow.measured_W, part),
        predicted_W: between(before?.predicted_W, flow.predicted_W, part),
      };
    }),
    full_W: from.full_W + (to.full_W - from.full_W) * part,
  };
}
