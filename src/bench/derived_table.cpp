// SPDX-License-Identifier: Apache-2.0
#include "bench/derived_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "base/units.h"
#include "metrology/equation.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace windwright::bench {
namespace {

using base::BadInput;
using base::Settings;

DerivedChannel read_one(const Settings& table, std::span<const std::string> channels,
                        std::span<const DerivedChannel> before) {
  DerivedChannel derived{.name = table.text("name"),
                         .long_name = table.text("long_name"),
                         .unit = {},
                         .equation = table.text("equation")};
  if (!metrology::is_equation_name(derived.name)) {
    throw BadInput(table.place("name"), fmt::format("'{}' cannot be a name", derived.name),
                   "letters, digits and _, no digit first, no function's name nor pi");
  }
  const bool taken = std::find(channels.begin(), channels.end(), derived.name) != channels.end() ||
                     std::any_of(before.begin(), before.end(), [&](const DerivedChannel& other) {
                       return other.name == derived.name;
                     });
  if (taken || derived.name == "tip_radius_m") {
    throw BadInput(table.place("name"), fmt::format("name '{}' is there twice", derived.name),
                   "a name of its own");
  }
  derived.unit = base::unit_of_name(derived.name);
  return derived;
}

}  // namespace

DerivedChannels derived_from_tables(const Settings& root, std::span<const std::string> channels,
                                    double tip_radius_m) {
  DerivedChannels derived;
  if (!root.has("derived")) return derived;
  std::vector<metrology::Equation> equations;
  for (const Settings& table : root.tables("derived")) {
    derived.list.push_back(read_one(table, channels, derived.list));
    equations.push_back({.name = derived.list.back().name,
                         .text = derived.list.back().equation,
                         .where = table.place("equation")});
  }
  derived.program =
      metrology::compiled(equations, equations.size(),
                          {.inputs = {channels.begin(), channels.end()},
                           .constants = {{.name = "tip_radius_m", .value = tip_radius_m}}});
  for (std::size_t i = 0; i < equations.size(); ++i) {
    const std::uint32_t output = derived.program.outputs[i];
    derived.of.push_back(metrology::inputs_behind(derived.program, output));
    if (std::find(derived.of.back().begin(), derived.of.back().end(), true) ==
        derived.of.back().end()) {
      throw BadInput(equations[i].where,
                     fmt::format("'{}' does not depend on any channel", equations[i].name),
                     "an equation that names one channel at least");
    }
  }
  return derived;
}

}  // namespace windwright::bench
