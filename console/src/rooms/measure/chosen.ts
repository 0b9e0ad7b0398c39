// SPDX-License-Identifier: Apache-2.0
// Which channels are looked at over time: what the address says, else what the river hangs on.

export const most = 9;
const usual = ['air_speed_m_s', 'rotor_speed_rad_s', 'dc_power_W', 'battery_power_W'];

export function chosenOf(asked: readonly string[], there: readonly string[]): string[] {
  const wanted = asked.length > 0 ? asked : usual;
  const chosen = there.filter((name) => wanted.includes(name)).slice(0, most);
  return chosen.length > 0 || asked.length > 0 ? chosen : there.slice(0, 3);
}
