// SPDX-License-Identifier: Apache-2.0
// Reads points CSV (docs/points.md): text becomes points once, here.
#include "analysis/columns.h"
#include "analysis/points.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/table.h"
#include "base/text.h"
#include "base/units.h"
#include "metrology/estimate.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace {

using base::BadInput;

constexpr double infinity = std::numeric_limits<double>::infinity();

// What the comment lines say that the rows depend on.
struct Comments {
  std::map<std::string, double> dof;  // systematic inputs
  std::set<std::string> described;    // columns with a line `# NAME [unit]: meaning`
  std::vector<std::string> sources;
};

// `# NAME [unit]: meaning`; anything else in brackets is prose.
void take_description(std::string_view body, std::string_view where, Comments& comments) {
  const auto open = body.find(" [");
  const auto close = body.find("]:");
  if (open == std::string_view::npos || close == std::string_view::npos || close < open) return;
  const std::string_view name = base::trimmed(body.substr(0, open));
  if (name.empty() || name.find_first_of(" \t,") != std::string_view::npos) return;
  base::require_unit(body.substr(open + 2, close - open - 2), base::unit_of_name(name), where);
  comments.described.emplace(name);
}

void take_dof(std::string_view body, std::string_view where, Comments& comments) {
  const auto equals = body.rfind('=');
  const auto value = equals == std::string_view::npos
                         ? std::nullopt
                         : base::number_from_text(body.substr(equals + 1));
  if (!value || *value <= 0.0) {
    throw BadInput(where, "the degrees of freedom are not a number above 0", "# dof INPUT = 9");
  }
  comments.dof[std::string(base::trimmed(body.substr(4, equals - 4)))] = *value;
}

Comments comments_of(std::string_view text, const std::string& file) {
  Comments comments;
  for (std::size_t line = 1; !text.empty(); ++line) {
    const auto end = text.find('\n');
    const std::string_view body = base::trimmed(text.substr(0, end));
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    if (!body.starts_with('#')) continue;
    const std::string where = fmt::format("{}:{}", file, line);
    const std::string_view said = base::trimmed(body.substr(1));
    if (said.starts_with("source:") || said.starts_with("Source:")) {
      comments.sources.emplace_back(base::trimmed(said.substr(7)));
    } else if (said.starts_with("dof ")) {
      take_dof(said, where, comments);
    } else {
      take_description(said, where, comments);
    }
  }
  return comments;
}

std::string nearest_column(std::string_view name) {
  std::vector<std::string> names{"point", "settled", "blade_count", "pitch_deg"};
  for (const Column& column : known_columns())
    names.emplace_back(column.name);
  return *std::min_element(names.begin(), names.end(), [&](const auto& a, const auto& b) {
    return base::edit_distance(name, a) < base::edit_distance(name, b);
  });
}

// What a column is for, from its name alone.
enum class Role {
  point,
  settled,
  beyond,
  blade_count,
  pitch,
  block,
  setting,
  quantity,
  u,
  part,
  dof
};

struct ColumnRole {
  Role role;
  std::string name;   // of the quantity, setting, or input
  std::string input;  // of a part
};

ColumnRole role_of(const std::string& header, const Comments& comments, const std::string& where) {
  if (header == "point") return {Role::point, "", ""};
  if (header == "settled") return {Role::settled, "", ""};
  if (header == "beyond_certificate") return {Role::beyond, "", ""};
  if (header == "blade_count") return {Role::blade_count, "", ""};
  if (header == "pitch_deg") return {Role::pitch, "", ""};
  const auto slash = header.find('/');
  if (slash != std::string::npos) {
    const std::string before = header.substr(0, slash);
    const std::string after = header.substr(slash + 1);
    if (before == "block" && !after.empty()) return {Role::block, after, ""};
    if (before == "setting" && !after.empty()) return {Role::setting, after, ""};
    if (before == "dof" && !after.empty()) return {Role::dof, after, ""};
  }
  const bool is_u = header.starts_with("u_");
  const std::string name =
      is_u ? header.substr(2, slash == std::string::npos ? slash : slash - 2) : header;
  if (known_column(name) == nullptr && !comments.described.contains(name)) {
    throw BadInput(where, fmt::format("column '{}' is not known", header),
                   fmt::format("'{}{}', or a comment line '# {} [unit]: meaning'", is_u ? "u_" : "",
                               nearest_column(name), name));
  }
  if (!is_u) return {Role::quantity, name, ""};
  if (slash == std::string::npos) return {Role::u, name, ""};
  return {Role::part, name, header.substr(slash + 1)};
}

class Reader {
 public:
  Reader(std::string_view text, const std::string& file, PointsFor use)
      : use_(use), comments_(comments_of(text, file)), table_(base::Table::from_text(text, file)) {
    for (const std::string& name : table_.header())
      roles_.push_back(role_of(name, comments_, table_.header_place()));
    require_columns();
  }

  std::vector<Point> points() const {
    std::vector<Point> points;
    std::set<int> numbers;
    for (std::size_t row = 0; row < table_.rows(); ++row) {
      points.push_back(point(row));
      if (!numbers.insert(points.back().number).second) {
        throw BadInput(table_.place(row),
                       fmt::format("point {} stands twice", points.back().number),
                       "a number of its own for every point");
      }
    }
    return points;
  }

 private:
  std::vector<const char*> needed() const {
    if (use_ == PointsFor::power_curve) return {"air_speed_m_s"};
    return {"air_speed_m_s", "rotor_speed_rad_s"};
  }

  bool has(std::string_view name) const { return table_.column(name).has_value(); }

  void require_columns() const {
    for (const ColumnRole& role : roles_) {
      if ((role.role == Role::u || role.role == Role::part) && !has(role.name)) {
        throw BadInput(
            table_.header_place(),
            fmt::format("there is an uncertainty of '{}', but not the column itself", role.name),
            fmt::format("a column '{}'", role.name));
      }
    }
    for (const char* name : needed())
      static_cast<void>(table_.required_column(name));
    if (!has("air_density_kg_m3") &&
        !(has("air_temperature_C") && has("air_pressure_hPa") && has("air_humidity_pct"))) {
      throw BadInput(table_.header_place(), "the air density cannot be known",
                     "a column air_density_kg_m3, or air_temperature_C, air_pressure_hPa and "
                     "air_humidity_pct together");
    }
    if (use_ == PointsFor::power_curve) return;  // which column is its power, the caller knows
    const std::vector<std::string> wanted{"dc_power_W", "torque_N_m", "shaft_power_W", "thrust_N"};
    if (std::none_of(wanted.begin(), wanted.end(), [&](const auto& name) { return has(name); })) {
      throw BadInput(table_.header_place(), "there is no power, torque or thrust to reduce",
                     "a column " + base::either_of(wanted));
    }
  }

  // Nothing where the cell is empty: not measured at this point.
  std::optional<double> number(std::size_t row, std::size_t column) const {
    if (table_.text(row, column).empty()) return std::nullopt;
    return table_.number(row, column);
  }

  double number_or(std::size_t row, std::string_view name, double fallback) const {
    const auto column = table_.column(name);
    return column ? number(row, *column).value_or(fallback) : fallback;
  }

  int whole_number(std::size_t row, std::string_view name, int fallback, double at_most) const {
    const double value = number_or(row, name, fallback);
    if (value == fallback) return fallback;
    if (value != std::floor(value) || value < 1.0 || value > at_most) {
      throw BadInput(table_.place(row), fmt::format("{} is {}", name, value),
                     fmt::format("a whole number from 1 to {}", at_most));
    }
    return static_cast<int>(value);
  }

  Point point(std::size_t row) const {
    Point point;
    point.number = whole_number(row, "point", static_cast<int>(row) + 1, 1e9);
    point.blade_count = whole_number(row, "blade_count", 0, 12.0);
    point.pitch_deg = number_or(row, "pitch_deg", point.pitch_deg);
    point.settled = number_or(row, "settled", 1.0) != 0.0;
    for (std::size_t column = 0; column < roles_.size(); ++column) {
      const ColumnRole& role = roles_[column];
      if (role.role == Role::beyond) {
        for (const std::string& name : base::split(table_.text(row, column), ' ')) {
          if (!name.empty()) point.beyond_certificate.insert(name);
        }
        continue;
      }
      const auto value = number(row, column);
      if (!value) continue;
      if (role.role == Role::block) point.block_settings[role.name] = *value;
      if (role.role == Role::setting) point.settings[role.name] = *value;
      if (role.role == Role::quantity) {
        require_plausible(row, role.name, *value);
        point.quantities.emplace(role.name, metrology::Estimate(*value));
      }
    }
    for (auto& [name, estimate] : point.quantities)
      add_uncertainty(row, point.number, name, estimate);
    require_quantities(row, point);
    return point;
  }

  void require_plausible(std::size_t row, const std::string& name, double value) const {
    const Column* column = known_column(name);
    const bool calm = use_ == PointsFor::power_curve && name == "air_speed_m_s" && value >= 0.0;
    if (column == nullptr || (calm && value <= column->at_most) ||
        (value >= column->at_least && value <= column->at_most))
      return;
    throw BadInput(table_.place(row), fmt::format("{} is {}", name, value),
                   fmt::format("{} in {}, from {} to {}", column->meaning, base::unit_of_name(name),
                               column->at_least, column->at_most));
  }

  void require_quantities(std::size_t row, const Point& point) const {
    const auto& q = point.quantities;
    for (const char* name : needed()) {
      if (!q.contains(name)) {
        throw BadInput(table_.place(row), fmt::format("{} is empty", name), "a number");
      }
    }
    if (!q.contains("air_density_kg_m3") &&
        !(q.contains("air_temperature_C") && q.contains("air_pressure_hPa") &&
          q.contains("air_humidity_pct"))) {
      throw BadInput(table_.place(row), "the air density of this point cannot be known",
                     "a number for air_density_kg_m3, or for air_temperature_C, air_pressure_hPa "
                     "and air_humidity_pct");
    }
    const double mean = q.at("air_speed_m_s").value();
    const auto cube = q.find("air_speed_cubed_m3_s3");
    if (cube != q.end() && cube->second.value() < 0.98 * mean * mean * mean) {
      throw BadInput(table_.place(row),
                     "air_speed_cubed_m3_s3 is less than the cube of air_speed_m_s",
                     "the mean of the cube, which no wind makes smaller than the cube of the mean");
    }
  }

  void add_uncertainty(std::size_t row, int number_of_point, const std::string& name,
                       metrology::Estimate& estimate) const {
    std::optional<double> stated;
    bool in_parts = false;
    for (std::size_t column = 0; column < roles_.size(); ++column) {
      const ColumnRole& role = roles_[column];
      if (role.name != name || (role.role != Role::u && role.role != Role::part)) continue;
      const auto value = number(row, column);
      if (!value) continue;
      if (role.role == Role::u) {
        stated = value;
        if (*value < 0.0) {
          throw BadInput(table_.place(row), fmt::format("u_{} is {}", name, *value),
                         "a standard uncertainty, 0 or above");
        }
        continue;
      }
      in_parts = true;
      const bool random = role.input.starts_with("random");
      const auto known = comments_.dof.find(role.input);
      const double dof = random ? number_or(row, "dof/" + role.input, infinity)
                                : (known == comments_.dof.end() ? infinity : known->second);
      estimate.add(random ? fmt::format("{}#{}", role.input, number_of_point) : role.input,
                   {.u = *value, .dof = dof});
    }
    if (!stated) return;
    if (in_parts && std::abs(estimate.u() - *stated) > 1e-6 * *stated) {
      throw BadInput(table_.place(row),
                     fmt::format("u_{} is {}, but its parts make {}", name, *stated, estimate.u()),
                     "the root sum of squares of its u_NAME/INPUT columns, or no such columns");
    }
    if (!in_parts && *stated > 0.0) {
      const std::string input = "random-" + name;
      estimate.add(fmt::format("{}#{}", input, number_of_point),
                   {.u = *stated, .dof = number_or(row, "dof/" + input, infinity)});
    }
  }

  PointsFor use_;
  Comments comments_;
  base::Table table_;
  std::vector<ColumnRole> roles_;
};

}  // namespace

std::vector<Point> points_from_text(std::string_view text, const std::string& file, PointsFor use) {
  return Reader(text, file, use).points();
}

std::vector<Point> points_from_file(const std::filesystem::path& file, PointsFor use) {
  return points_from_text(base::text_of_file(file), file.string(), use);
}

std::vector<std::string> sources_of_points(const std::filesystem::path& file) {
  return comments_of(base::text_of_file(file), file.string()).sources;
}

}  // namespace windwright::analysis
