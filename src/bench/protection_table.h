// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/unbalance.h"

#include <array>
#include <optional>
#include <string_view>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

/// Taps of the hard-wired chain, in its order: the supply's voltage stands behind every contact
/// that is closed, as long as those before it are.
inline constexpr std::array<std::string_view, 3> loop_channels{"emergency_stop_loop_V",
                                                               "cover_loop_V", "fuse_loop_V"};

/// Table [hard_wired]: normally closed contacts in series (emergency stop, cover switch, the DC
/// fuse's indicator) that hold the fan's contactor. Open anywhere, be it by a broken wire, it takes
/// the fan's power away and applies what brakes, whatever any program commands. It pulls in again
/// once it is closed and the fan is commanded to 0.
struct HardWired {
  double supply_V = 24.0;
  /// Across the bridge's terminals, before the fuse, while the contactor is out; on a bench without
  /// battery.
  std::optional<double> dump_resistor_ohm = {};
  /// Of a brake on the generator's shaft that power holds open; 0: none.
  double brake_torque_N_m = 0.0;
};

/// Table [tower]: what the rotor shakes.
struct Tower {
  physics::TowerMode mode;
  double unbalance_at_tip_kg = 0.0;  // that is left, as a mass at the tip
};

/// Table [proof], key `valid_days`: how long a proof of the interlocks counts.
inline constexpr int usual_proof_days = 30;
/// Where it is written, beside the bench's file.
inline constexpr std::string_view proof_file = "certificates/interlocks.json";

struct Bench;
/// Reads these tables; the bench's [battery] must be read already.
/// @throws BadInput  with file and line: outside its bounds, nothing that brakes, a dump resistor
///                   beside a battery
void read_protection_tables(const base::Settings& root, Bench& bench);

}  // namespace windwright::bench
