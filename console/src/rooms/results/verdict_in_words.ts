// SPDX-License-Identifier: Apache-2.0
// The verdict in the reader's language, from its codes and values; in English, and of results that
// have none, as the report says it.
import { names } from '../../words/names';
import { words } from '../../words/words.svelte';
import { desk } from '../../state/console.svelte';
import { verbOf, type Compared, type ResultCurve, type RunResults } from './run_results';

function level(factor: string, value: number): string {
  if (factor === 'blade_count') return words.ofServer(value === 1 ? 'verdict.blade' : 'verdict.blades', '', { count: value });
  if (factor === 'pitch_deg') return words.ofServer('verdict.pitch', '', { pitch: words.setting(value, 'degree') });
  const actuator = desk.bench?.actuators.find((each) => each.name === factor);
  return `${names.actuator(factor)} ${names.setting(actuator, value)}`;
}

export const phrase = (compared: Compared) => Object.entries(compared.levels).map(([factor, value]) => level(factor, value)).join(', ');
const capital = (text: string) => text.slice(0, 1).toUpperCase() + text.slice(1);

export function verdictInWords(results: RunResults): string {
  const { verdict } = results;
  const [best, next] = verdict.compared;
  if (words.language === 'en' || verdict.code === '') return results.answer;
  if (best === undefined || next === undefined) return words.ofServer(`verdict.${verdict.code}`, results.answer);
  const or = words.ofServer('verdict.or', ' or ');
  const pairs = verdict.differences.length;
  const percent = words.setting(100 * verdict.level);
  const said = words.ofServer(`verdict.${verdict.code}`, results.answer, {
    best: verdict.code === 'not_decided' ? phrase(best) : capital(phrase(best)),
    gives: words.ofServer(`verdict.${verbOf(best.levels)}`, ''),
    next: phrase(next),
    response: words.ofServer(`verdict.response.${verdict.response}`, verdict.response),
    cp: words.plusMinus(best.maximum_cp, best.expanded),
    optimum: best.optimum === null ? '' : words.ofServer('verdict.optimum', '', { value: words.plusMinus(best.optimum, best.optimum_expanded) }),
    difference: words.plusMinus(verdict.difference, verdict.expanded),
    level: words.ofServer(pairs > 1 ? 'verdict.level_of_pairs' : 'verdict.level', '', { level: percent, pairs }),
    candidates: verdict.compared.filter((each) => each.may_be_best).map(phrase).join(or),
  });
  const winners = verdict.winners.map((each) =>
    words.ofServer('verdict.winner', '', { level: capital(level(each.factor, each.level)), gives: words.ofServer(`verdict.${verbOf({ [each.factor]: each.level })}`, ''), others: each.others.map((other) => level(each.factor, other)).join(or) }),
  );
  return [said, ...winners].join(' ');
}

/** "3 blades, 5 deg" of the results; elsewhere the same in the reader's language. */
export function labelOf(curve: ResultCurve): string {
  if (words.language === 'en' || !Number.isFinite(curve.blade_count) || !Number.isFinite(curve.pitch_deg)) return curve.label;
  const plain = /^\d+ blades?, [\d.]+ deg$/.test(curve.label);
  return plain ? `${level('blade_count', curve.blade_count)}, ${level('pitch_deg', curve.pitch_deg)}` : curve.label;
}
