// SPDX-License-Identifier: Apache-2.0
#include "bench/protection_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "bench/bench.h"

#include <optional>

namespace windwright::bench {

namespace {

using base::BadInput;
using base::Settings;

std::optional<HardWired> hard_wired_from_table(const std::optional<Settings>& table, bool battery) {
  if (!table) return std::nullopt;
  HardWired chain{.supply_V =
                      table->number_or("supply_V", 24.0, {.at_least = 5.0, .at_most = 60.0})};
  if (table->has("dump_resistor_ohm")) {
    if (battery) {
      throw BadInput(table->place("dump_resistor_ohm"),
                     "beside a battery the charge controller's dump load is the one there is",
                     "brake_torque_N_m instead");
    }
    chain.dump_resistor_ohm =
        table->number("dump_resistor_ohm", {.at_least = 0.01, .at_most = 1e4});
  }
  chain.brake_torque_N_m =
      table->number_or("brake_torque_N_m", 0.0, {.at_least = 0.0, .at_most = 1e4});
  if (!chain.dump_resistor_ohm && chain.brake_torque_N_m == 0.0) {
    throw BadInput(table->place(), "nothing holds the rotor when the chain opens",
                   battery ? "brake_torque_N_m" : "dump_resistor_ohm or brake_torque_N_m");
  }
  return chain;
}

std::optional<Tower> tower_from_table(const std::optional<Settings>& table) {
  if (!table) return std::nullopt;
  return Tower{
      .mode = {.mass_kg = table->number("mass_kg", {.at_most = 1e6, .above = 0.0}),
               .frequency_Hz = table->number("frequency_Hz", {.at_most = 1e4, .above = 0.0}),
               .damping = table->number("damping_pct", {.at_most = 100.0, .above = 0.0}) / 100.0},
      .unbalance_at_tip_kg =
          table->number_or("unbalance_at_tip_kg", 0.0, {.at_least = 0.0, .at_most = 10.0})};
}

int proof_days_from_table(const std::optional<Settings>& table) {
  if (!table) return usual_proof_days;
  return table->integer_or("valid_days", usual_proof_days, {.at_least = 1, .at_most = 366});
}

}  // namespace

void read_protection_tables(const Settings& root, Bench& bench) {
  bench.hard_wired =
      hard_wired_from_table(root.optional_table("hard_wired"), bench.chain.has_value());
  bench.tower = tower_from_table(root.optional_table("tower"));
  bench.proof_valid_days = proof_days_from_table(root.optional_table("proof"));
}

}  // namespace windwright::bench
