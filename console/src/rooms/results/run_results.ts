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
export interface RunResults {
  readonly points: readonly ResultPoint[];
  readonly curves: readonly ResultCurve[];
  readonly question: string;
  readonly answer: string;
  readonly significant: boolean | null;
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
    optimum_tip_speed_ratio: quantity(json['optimum_tip_speed_ratio']),
    maximum_cp: quantity(json['maximum_cp']),
    stage: text(json['stage']),
    points: numbers(json['points']),
    theory: Object.fromEntries(theory),
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
    significant: typeof verdict['significant'] === 'boolean' ? verdict['significant'] : null,
    budget_of: text(json['budget_of']),
    budget: list(json['budget']).map((each) => {
      const line = object(each);
      return { input: text(line['input']), meaning: text(line['meaning']), u: number(line['u']), share_pct: number(line['share_pct']) };
    }),
    remarks: list(json['remarks']).map(text),
  };
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
