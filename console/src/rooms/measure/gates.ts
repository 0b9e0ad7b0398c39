// SPDX-License-Identifier: Apache-2.0
// Where commands act: the actuators of a bench by their place along the river.
import type { Actuator, Bench } from '../../wire/api';

export interface Gate {
  readonly stage: string; // empty: its place is not known
  readonly actuators: readonly Actuator[];
}

/** From wind to load; what has no place comes last. */
export function gatesOf(bench: Bench): Gate[] {
  const known = bench.stages.map((stage) => stage.name);
  const places = [...known, ''];
  const placeOf = (actuator: Actuator) => (known.includes(actuator.acts_at) ? actuator.acts_at : '');
  return places
    .map((stage) => ({ stage, actuators: bench.actuators.filter((each) => placeOf(each) === stage) }))
    .filter((gate) => gate.actuators.length > 0);
}

/** What an actuator stands at before anybody has commanded it: as the bench's description has it. */
export function describedSetting(bench: Bench, actuator: string): number | undefined {
  if (actuator === 'blade_count') return bench.rotor.blade_count;
  return actuator === 'pitch_deg' ? bench.rotor.pitch_deg : undefined;
}
