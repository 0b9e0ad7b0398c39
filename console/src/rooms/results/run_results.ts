// SPDX-License-Identifier: Apache-2.0
// What a room shows of results.json (docs/points.md), read with care: a member may be missing.
import type { Quantity } from '../../wire/api';

export const measures = ['cp_electrical', 'cp_shaft', 'ct'] as const;
export type Measure = (typeof measures)[number];

export interface ResultPoint {
  readonly number: number;
  readonly settled: boolean;
  readonly tip_speed_ratio: Quantity;
  readonly measured: Readonly<Partial<Record<Measure, Quantity>>>;
}
export interface ResultCurve {
  readonly label: string;
  readonly blade_count: number;
  readonly pitch_deg: number;
  readonly optimum_tip_speed_ratio: Quantity | null;
  readonly maximum_cp: Quantity | null;
  readonly stage: string;
  readonly points: readonly number[];
  readonly theory: Readonly<Record<string, readonly number[]>>;
}
export interface BudgetLine {
  readonly input: string;
  readonly meaning: string;
  readonly u: number;
  readonly share_pct: number;
}
export interface Compared {
  readonly levels: Readonly<Record<string, number>>;
  readonly maximum_cp: number;
  readonly expanded: number;
  readonly optimum: number | null;
  readonly optimum_expanded: number | null;
  readonly may_be_best: boolean;
}
/** How much more one gives than another. */
export interface Difference {
  readonly a: string; // label of a curve
  readonly b: string;
  readonly value: number;
  readonly expanded: number;
  readonly significant: boolean;
}
/** What a verdict says, as codes and values; the code is empty in results of an older program. */
export interface Verdict {
  readonly code: string;
  readonly response: string;
  readonly level: number;
  readonly difference: number;
  readonly expanded: number;
  readonly differences: readonly Difference[]; // those of the best first
  readonly compared: readonly Compared[];
  readonly winners: readonly { readonly factor: string; readonly level: number; readonly others: readonly number[] }[];
}
export interface RunResults {
  readonly points: readonly ResultPoint[];
  readonly curves: readonly ResultCurve[];
  readonly question: string;
  readonly answer: string; // in English
  readonly verdict: Verdict;
  readonly budget_of: string;
  readonly budget: readonly BudgetLine[];
  readonly remarks: readonly string[];
}

type Json = { readonly [name: string]: unknown };
const isObject = (value: unknown): value is Json => typeof value === 'object' && value !== null && !Array.isArray(value);
const object = (value: unknown): Json => (isObject(value) ? value : {});
const list = (value: unknown): readonly unknown[] => (Array.isArray(value) ? value : []);
const text = (value: unknown): string => (typeof value === 'string' ? value : '');
const number = (value: unknown): number => (typeof value === 'number' ? value : NaN);
const numbers = (value: unknown): number[] => list(value).map(number);

function quantity(value: unknown): Quantity | null {
  if (!isObject(value) || typeof value['value'] !== 'number') return null;
  const { u, dof } = value;
  return {
    value: value['value'],
    u: typeof u === 'number' ? u : null,
    dof: typeof dof === 'number' ? dof : null,
    unit: text(value['unit']),
  };
}

function pointFrom(value: unknown): ResultPoint | null {
  const json = object(value);
  const ratio = quantity(json['tip_speed_ratio']);
  if (ratio === null) return null;
  const measured: Partial<Record<Measure, Quantity>> = {};
  for (const name of measures) {
    const there = quantity(json[name]);
    if (there !== null) measured[name] = there;
  }
  return { number: number(json['number']), settled: json['settled'] !== false, tip_speed_ratio: ratio, measured };
}

function curveFrom(value: unknown): ResultCurve {
  const json = object(value);
  const theory = Object.entries(object(json['theory'])).map(([name, column]) => [name, numbers(column)] as const);
  return {
    label: text(json['label']),
    blade_count: number(json['blade_count']),
    pitch_deg: number(json['pitch_deg']),
    optimum_tip_speed_ratio: quantity(json['optimum_tip_speed_ratio']),
    maximum_cp: quantity(json['maximum_cp']),
    stage: text(json['stage']),
    points: numbers(json['points']),
    theory: Object.fromEntries(theory),
  };
}

function verdictFrom(json: Json): Verdict {
  return {
    code: text(json['code']),
    response: text(json['response']),
    level: number(json['level']),
    difference: number(object(json['difference'])['value']),
    expanded: number(json['expanded']),
    differences: list(json['differences']).map((each) => {
      const one = object(each);
      return {
        a: text(one['a']),
        b: text(one['b']),
        value: number(object(one['difference'])['value']),
        expanded: number(one['expanded']),
        significant: one['significant'] === true,
      };
    }),
    compared: list(json['compared']).map((each) => {
      const one = object(each);
      const levels = Object.entries(object(one['levels'])).map(([name, level]) => [name, number(level)] as const);
      const optimum = quantity(one['optimum_tip_speed_ratio']);
      const { optimum_expanded } = one;
      return {
        levels: Object.fromEntries(levels),
        maximum_cp: number(object(one['maximum_cp'])['value']),
        expanded: number(one['expanded']),
        optimum: optimum?.value ?? null,
        optimum_expanded: typeof optimum_expanded === 'number' ? optimum_expanded : null,
        may_be_best: one['may_be_best'] === true,
      };
    }),
    winners: list(json['winners']).map((each) => {
      const one = object(each);
      return { factor: text(one['factor']), level: number(one['level']), others: numbers(one['others']) };
    }),
  };
}

export function resultsFrom(value: unknown): RunResults {
  const json = object(value);
  const verdict = object(json['verdict']);
  return {
    points: list(json['points']).map(pointFrom).filter((point) => point !== null),
    curves: list(json['curves']).map(curveFrom),
    question: text(verdict['question']),
    answer: text(verdict['answer']),
    verdict: verdictFrom(verdict),
    budget_of: text(json['budget_of']),
    budget: list(json['budget']).map((each) => {
      const line = object(each);
      return { input: text(line['input']), meaning: text(line['meaning']), u: number(line['u']), share_pct: number(line['share_pct']) };
    }),
    remarks: list(json['remarks']).map(text),
  };
}

/** "3 blades give", "5 deg gives": the number of the verb by what comes first. */
export function verbOf(levels: Compared['levels']): 'give' | 'gives' {
  return (levels['blade_count'] ?? 1) === 1 ? 'gives' : 'give';
}

/** The answer itself, and what more there is to it. */
export function leadAndRest(verdict: string): readonly [string, string] {
  verdict = verdict.replaceAll(' ± ', '\u00a0±\u00a0');
  const ends = [...verdict.matchAll(/[.:] (?=[\p{L}\d¿])/gu)].map((found) => found.index);
  const isInBrackets = (at: number) => verdict.slice(0, at).split('(').length > verdict.slice(0, at).split(')').length;
  const end = ends.find((at) => !isInBrackets(at)) ?? verdict.length;
  const rest = verdict.slice(end + 2);
  return [`${verdict.slice(0, end).replace(/\.$/, '')}.`, rest.slice(0, 1).toUpperCase() + rest.slice(1)];
}

/** What /window answers (docs/recording.md), in columns. */
export interface WindowColumns {
  readonly unit: string;
  readonly from_s: number;
  readonly to_s: number;
  readonly t_s: readonly number[];
  readonly min: readonly number[];
  readonly max: readonly number[];
  readonly mean: readonly number[];
  readonly samples: number;
}

export function windowFrom(value: unknown): WindowColumns {
  const json = object(value);
  const bins = list(json['bins']).map(object);
  const column = (name: string) => bins.map((bin) => number(bin[name]));
  return {
    unit: text(json['unit']) || '1',
    from_s: number(json['from_s']),
    to_s: number(json['to_s']),
    t_s: column('t_s'),
    min: column('min'),
    max: column('max'),
    mean: column('mean'),
    samples: column('count').reduce((sum, count) => sum + (Number.isFinite(count) ? count : 0), 0),
  };
}
