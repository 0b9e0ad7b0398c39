// SPDX-License-Identifier: Apache-2.0
#include "analysis/generator_identification.h"
#include "base/errors.h"
#include "base/table.h"

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::analysis {
namespace {

std::optional<double> cell(const base::Table& table, std::size_t row, const std::string& name) {
  const std::optional<std::size_t> column = table.column(name);
  if (!column || table.text(row, *column).empty()) return std::nullopt;
  return table.number(row, *column);
}

std::optional<Reading> reading(const base::Table& table, std::size_t row, const std::string& name) {
  const std::optional<double> value = cell(table, row, name);
  if (!value) return std::nullopt;
  const std::optional<double> u = cell(table, row, "u_" + name);
  if (!u || !(*u > 0.0)) {
    throw base::BadInput(table.place(row), name + " has no u_" + name,
                         "a standard uncertainty above 0: identification weighs by it");
  }
  return Reading{.value = *value, .u = *u};
}

std::vector<GeneratorPoint> generator_points(const base::Table& table) {
  table.required_column("rotor_speed_rad_s");
  std::vector<GeneratorPoint> points;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const std::optional<double> speed_rad_s = cell(table, row, "rotor_speed_rad_s");
    if (!speed_rad_s || !(*speed_rad_s > 0.0)) {
      throw base::BadInput(table.place(row), "no rotor_speed_rad_s above 0", "the rotor's speed");
    }
    GeneratorPoint point{.rotor_speed_rad_s = *speed_rad_s};
    point.u_rotor_speed_rad_s = cell(table, row, "u_rotor_speed_rad_s").value_or(0.0);
    point.dc_voltage_V = reading(table, row, "dc_voltage_V");
    if (cell(table, row, "dc_current_A").value_or(0.0) != 0.0) {
      point.dc_current_A = reading(table, row, "dc_current_A");
    }
    point.torque_N_m = reading(table, row, "torque_N_m");
    if (!point.dc_current_A) point.ac_voltage_V = reading(table, row, "ac_voltage_V");
    point.magnetised = cell(table, row, "setting/magnetised").value_or(1.0) != 0.0;
    points.push_back(point);
  }
  return points;
}

}  // namespace

std::vector<GeneratorPoint> generator_points_from_file(const std::filesystem::path& file) {
  return generator_points(base::Table::from_file(file));
}

std::vector<GeneratorPoint> generator_points_from_text(std::string_view text,
                                                       const std::string& file) {
  return generator_points(base::Table::from_text(text, file));
}

std::vector<GeneratorPoint> points_of_coast_down(const CoastDown& run) {
  const std::size_t samples = run.time_s.size();
  if (samples < 2 || run.rotor_speed_rad_s.size() != samples) {
    throw base::BadInput("coast-down", "fewer than 2 times, or as many speeds as times missing",
                         "one speed at each of two or more times");
  }
  std::vector<GeneratorPoint> points;
  for (std::size_t i = 0; i + 1 < samples; i += 2) {
    const double span_s = run.time_s[i + 1] - run.time_s[i];
    if (!(span_s > 0.0))
      throw base::BadInput("coast-down", "times that do not rise", "rising times");
    const double first_rad_s = run.rotor_speed_rad_s[i];
    const double second_rad_s = run.rotor_speed_rad_s[i + 1];
    const double per_speed_N_m_s = run.inertia_kg_m2 / span_s;
    points.push_back(
        {.rotor_speed_rad_s = 0.5 * (first_rad_s + second_rad_s),
         .torque_N_m = Reading{.value = per_speed_N_m_s * (first_rad_s - second_rad_s),
                               .u = std::sqrt(2.0) * per_speed_N_m_s * run.u_rotor_speed_rad_s},
         .magnetised = run.magnetised});
  }
  return points;
}

}  // namespace windwright::analysis
