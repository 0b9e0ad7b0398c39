// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/program.h"

#include <span>
#include <string>
#include <vector>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

/// A quantity that is worked out from channels sample by sample: not recorded, since it follows
/// from what is.
struct DerivedChannel {
  std::string name;       // with unit suffix: tip_speed_ratio, hub_power_W
  std::string long_name;  // in words
  std::string unit;       // UDUNITS, from the suffix
  std::string equation;   // as it stands in bench.toml
};

/// All of a bench's, and how they are computed together.
struct DerivedChannels {
  std::vector<DerivedChannel> list;
  metrology::Program program;         // inputs: the bench's channels; outputs: `list`
  std::vector<std::vector<bool>> of;  // (list) x (channels): what each is made of
};

/// What [[derived]] says, if it is there: docs/bench.md.
/// @param channels      names of the bench's channels
/// @param tip_radius_m  of the rotor: the one constant that an equation may name
/// @throws BadInput     with file and line
DerivedChannels derived_from_tables(const base::Settings& root,
                                    std::span<const std::string> channels, double tip_radius_m);

}  // namespace windwright::bench
