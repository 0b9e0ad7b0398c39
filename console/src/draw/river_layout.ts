// SPDX-License-Identifier: Apache-2.0
// The energy chain as a river: where its reaches, falls and marks lie. `along` runs from wind to
// load, `across` from the straight bank away from it; a reach is as thick as its watts. What is lost
// at a stage falls off the far bank; branches leave in lanes of their own. Pure: no screen, no clock.

export interface RiverStage {
  readonly name: string;
  readonly lost_W: number | null;
}
export interface RiverFlow {
  readonly from: string;
  readonly to: string;
  readonly measured_W: number | null;
  readonly predicted_W: number | null;
}

/** In pixels. */
export interface RiverBed {
  readonly along: number; // from the first stage to the last
  readonly px_per_W: number;
  readonly lane_gap: number; // between a lane's far bank and the next lane
  readonly drop: number; // how far what is lost falls after the bend
  readonly upright: boolean; // wind above, loads below; else wind left, loads right
}

export interface Reach {
  readonly key: string;
  readonly flow: RiverFlow;
  readonly thickness: number;
  readonly lane: number;
  readonly leaf: boolean; // nothing flows on from its end
  readonly path: string; // closed; empty where nothing flows
  readonly bed: string; // a line where it would flow
  readonly predicted: string; // the far bank by theory; empty where theory says nothing
  readonly middle: Spot; // on the near bank
  readonly end: Spot; // the middle of its end
}
export interface Fall {
  readonly stage: string;
  readonly lost_W: number;
  readonly path: string;
  readonly end: Spot;
}
export interface Mark {
  readonly stage: string;
  readonly lane: number;
  readonly spot: Spot; // on the near bank
  readonly thickness: number; // of all that goes through
}
export interface Spot {
  readonly x: number;
  readonly y: number;
}
export interface River {
  readonly reaches: readonly Reach[];
  readonly falls: readonly Fall[];
  readonly marks: readonly Mark[];
  readonly across: number; // how far it reaches from the near bank
}

const bend = 12; // radius of a fall's inner bank

const sizeOf = (power: number | null): number => (power === null ? 0 : Math.abs(power));
const keyOf = (flow: RiverFlow): string => `${flow.from}>${flow.to}`;

/** Full width in watts, of a few steps in each power of ten; steps down only well below the next. */
export function fullWidth_W(largest_W: number, before_W: number): number {
  const steps = [10, 100, 1000, 10000, 100000].flatMap((power) => [1, 1.5, 2, 3, 4, 6, 8].map((factor) => factor * power));
  const wanted = steps.find((step) => step >= largest_W) ?? largest_W;
  if (wanted >= before_W) return wanted;
  return before_W <= 2 * largest_W ? before_W : wanted;
}

interface Plan {
  readonly depth: ReadonlyMap<string, number>;
  readonly lane: ReadonlyMap<string, number>;
  readonly columns: number;
}

/** How many flows follow each other at most from a stage on. */
function reachBelow(stage: string, flows: readonly RiverFlow[], met: ReadonlySet<string> = new Set()): number {
  if (met.has(stage)) return 0; // a ring is no river: cut it
  const seen = new Set(met).add(stage);
  return Math.max(0, ...flows.filter((f) => f.from === stage).map((f) => 1 + reachBelow(f.to, flows, seen)));
}

function planOf(stages: readonly RiverStage[], flows: readonly RiverFlow[]): Plan {
  const depth = new Map<string, number>();
  const lane = new Map<string, number>();
  let lanes = 0;
  const visit = (stage: string, at: number, inLane: number): void => {
    if ((depth.get(stage) ?? -1) >= at || at > stages.length) return;
    depth.set(stage, at);
    if (!lane.has(stage)) lane.set(stage, inLane);
    const onward = flows.filter((f) => f.from === stage);
    const longest = [...onward].sort((a, b) => reachBelow(b.to, flows) - reachBelow(a.to, flows))[0];
    if (longest !== undefined) visit(longest.to, at + 1, inLane);
    for (const flow of onward) {
      if (flow !== longest) visit(flow.to, at + 1, lane.get(flow.to) ?? ++lanes);
    }
  };
  for (const stage of stages) {
    if (!flows.some((f) => f.to === stage.name) && flows.some((f) => f.from === stage.name)) {
      visit(stage.name, 0, depth.size === 0 ? 0 : ++lanes);
    }
  }
  return { depth, lane, columns: Math.max(1, ...depth.values()) };
}

/** Where each lane's near bank lies: below the thickest that flows beside it nearer to the bank. */
function laneTops(plan: Plan, flows: readonly RiverFlow[], bed: RiverBed): number[] {
  const lanes = 1 + Math.max(0, ...plan.lane.values());
  const tops = [0];
  for (let lane = 1; lane < lanes; ++lane) {
    const first = Math.min(...flows.filter((f) => plan.lane.get(f.to) === lane).map((f) => plan.depth.get(f.from) ?? 0));
    const above = flows.filter((f) => plan.lane.get(f.to) === lane - 1 && (plan.depth.get(f.from) ?? 0) >= first);
    const thickest = Math.max(4, ...above.map((f) => sizeOf(f.measured_W) * bed.px_per_W));
    // What falls off the first lane must be over before the next begins.
    tops.push((tops[lane - 1] ?? 0) + thickest + bed.lane_gap + (lane === 1 ? bend + bed.drop : 0));
  }
  return tops;
}

class Pen {
  constructor(private readonly upright: boolean) {}
  spot(along: number, across: number): Spot {
    return this.upright ? { x: across, y: along } : { x: along, y: across };
  }
  at(along: number, across: number): string {
    const { x, y } = this.spot(along, across);
    return `${x.toFixed(1)} ${y.toFixed(1)}`;
  }
  arc(radius: number, along: number, across: number, turn: 0 | 1): string {
    const sweep = this.upright ? 1 - turn : turn;
    return `A${radius.toFixed(1)} ${radius.toFixed(1)} 0 0 ${sweep} ${this.at(along, across)}`;
  }
}

function ribbon(pen: Pen, from: readonly [number, number], to: readonly [number, number], thick: number): string {
  const [a0, c0] = from;
  const [a1, c1] = to;
  const m = a0 + (a1 - a0) * 0.45;
  return `M${pen.at(a0, c0)} C${pen.at(m, c0)} ${pen.at(m, c1)} ${pen.at(a1, c1)} L${pen.at(a1, c1 + thick)} C${pen.at(m, c1 + thick)} ${pen.at(m, c0 + thick)} ${pen.at(a0, c0 + thick)}Z`;
}

function fallOf(pen: Pen, stage: RiverStage, [along, bank]: readonly [number, number], thick: number, drop: number): Fall {
  const outer = bend + thick;
  const foot = bank + thick + bend + drop;
  const path =
    `M${pen.at(along, bank)} ${pen.arc(outer, along + outer, bank + outer, 1)} L${pen.at(along + outer, foot)} ` +
    `L${pen.at(along + bend, foot)} L${pen.at(along + bend, bank + outer)} ${pen.arc(bend, along, bank + thick, 0)}Z`;
  return { stage: stage.name, lost_W: stage.lost_W ?? 0, path, end: pen.spot(along + bend + thick / 2, foot) };
}

export function riverLayout(stages: readonly RiverStage[], flows: readonly RiverFlow[], bed: RiverBed): River {
  const plan = planOf(stages, flows);
  const tops = laneTops(plan, flows, bed);
  const pen = new Pen(bed.upright);
  const step = bed.along / plan.columns;
  const alongOf = (stage: string): number => (plan.depth.get(stage) ?? 0) * step;
  const topOf = (stage: string): number => tops[plan.lane.get(stage) ?? 0] ?? 0;
  const thicknessOf = (flow: RiverFlow): number => sizeOf(flow.measured_W) * bed.px_per_W;
  const reaches: Reach[] = [];
  const falls: Fall[] = [];
  const marks: Mark[] = [];
  let across = 0;
  for (const stage of stages) {
    if (!plan.depth.has(stage.name)) continue;
    const along = alongOf(stage.name);
    let bank = topOf(stage.name);
    const lane = plan.lane.get(stage.name) ?? 0;
    const onward = flows.filter((f) => f.from === stage.name);
    onward.sort((a, b) => (plan.lane.get(a.to) ?? 0) - (plan.lane.get(b.to) ?? 0));
    for (const flow of onward) {
      const thick = thicknessOf(flow);
      const far = topOf(flow.to);
      const end = alongOf(flow.to);
      const predicted = flow.predicted_W === null ? null : Math.abs(flow.predicted_W) * bed.px_per_W;
      reaches.push({
        key: keyOf(flow),
        flow,
        thickness: thick,
        lane: plan.lane.get(flow.to) ?? 0,
        leaf: !flows.some((f) => f.from === flow.to),
        path: thick > 0 ? ribbon(pen, [along, bank], [end, far], Math.max(thick, 1)) : '',
        bed: `M${pen.at(along, bank)} C${pen.at(along + (end - along) * 0.45, bank)} ${pen.at(along + (end - along) * 0.45, far)} ${pen.at(end, far)}`,
        predicted: predicted === null ? '' : `M${pen.at(along + 3, bank + predicted)} L${pen.at(end - 3, far + predicted)}`,
        middle: pen.spot((along + end) / 2, (bank + far) / 2),
        end: pen.spot(end, far + thick / 2),
      });
      across = Math.max(across, far + Math.max(thick, predicted ?? 0));
      bank += thick;
    }
    const lost = onward.length > 0 && stage.lost_W !== null ? stage.lost_W * bed.px_per_W : 0;
    if (lost > 0.3) {
      falls.push(fallOf(pen, stage, [along, bank], lost, bed.drop));
      across = Math.max(across, bank + lost + bend + bed.drop);
    }
    const through = flows.filter((f) => f.to === stage.name).reduce((sum, f) => sum + thicknessOf(f), 0);
    marks.push({ stage: stage.name, lane, spot: pen.spot(along, topOf(stage.name)), thickness: Math.max(through, bank - topOf(stage.name)) });
  }
  return { reaches, falls, marks, across };
}
