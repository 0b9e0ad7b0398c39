// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/waveforms.h"
#include "signal/ac_power.h"

#include <string>

namespace windwright::cli {

/// What `windwright power` found, and in what.
struct ShownPower {
  std::string voltage;  // names as they were asked for
  std::string current;
  const analysis::Waveforms& waveforms;
  const signal::PairPower& power;
};

/// One document: docs/power.md has the names. Null: there is no such value.
std::string power_json(const ShownPower& shown);
/// The same for people, harmonics of less than a thousandth left out.
std::string power_text(const ShownPower& shown);

}  // namespace windwright::cli
