// SPDX-License-Identifier: Apache-2.0
#include "analysis/points.h"

#include "analysis/columns.h"
#include "base/text.h"
#include "base/units.h"
#include "metrology/estimate.h"

#include <fmt/format.h>

#include <cmath>
#include <map>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::analysis {

namespace {

using metrology::Estimate;

std::string without_point(const std::string& input) {
  return input.substr(0, input.find('#'));
}

// Which columns a set of points needs.
struct Layout {
  std::set<std::string> block_settings;
  std::set<std::string> settings;
  std::vector<std::string> quantities;                  // in the order of the file
  std::map<std::string, std::set<std::string>> inputs;  // by quantity, without point
  std::set<std::string> random;                         // random inputs, without point
  std::map<std::string, double> systematic_dof;         // where it is finite
};

Layout layout_of(const std::vector<Point>& points) {
  Layout layout;
  std::set<std::string> names;
  for (const Point& point : points) {
    for (const auto& [name, value] : point.block_settings)
      layout.block_settings.insert(name);
    for (const auto& [name, value] : point.settings)
      layout.settings.insert(name);
    for (const auto& [name, estimate] : point.quantities) {
      names.insert(name);
      for (const auto& [input, contribution] : estimate.contributions()) {
        layout.inputs[name].insert(without_point(input));
        if (metrology::is_random(input)) {
          layout.random.insert(without_point(input));
        } else if (std::isfinite(contribution.dof)) {
          layout.systematic_dof[input] = contribution.dof;
        }
      }
    }
  }
  for (const Column& column : known_columns()) {
    if (names.erase(std::string(column.name)) > 0) layout.quantities.emplace_back(column.name);
  }
  layout.quantities.insert(layout.quantities.end(), names.begin(), names.end());
  return layout;
}

std::string comments(const Layout& layout, std::string_view source) {
  std::string text;
  if (!source.empty()) text += fmt::format("# source: {}\n", source);
  text += "# One row a test point; means over its dwell. How to read and write: docs/points.md.\n";
  for (const std::string& name : layout.quantities) {
    const Column* column = known_column(name);
    text += fmt::format("# {} [{}]: {}\n", name, base::unit_of_name(name),
                        column != nullptr ? column->meaning : "mean over the dwell");
  }
  if (layout.inputs.empty()) return text;
  text +=
      "# u_NAME: standard uncertainty. u_NAME/INPUT: what INPUT adds to it, with its sign; the\n";
  text +=
      "# same INPUT in two columns or rows is one and the same error, but for random ones, which\n";
  text += "# belong to their row. dof/INPUT: degrees of freedom.\n";
  for (const auto& [input, dof] : layout.systematic_dof)
    text += fmt::format("# dof {} = {}\n", input, base::number_text(dof));
  return text;
}

std::string header(const Layout& layout) {
  std::vector<std::string> names{"point", "settled", "beyond_certificate", "blade_count",
                                 "pitch_deg"};
  for (const std::string& name : layout.block_settings)
    names.push_back("block/" + name);
  for (const std::string& name : layout.settings)
    names.push_back("setting/" + name);
  for (const std::string& name : layout.quantities)
    names.push_back(name);
  for (const auto& [name, inputs] : layout.inputs)
    names.push_back("u_" + name);
  for (const std::string& input : layout.random)
    names.push_back("dof/" + input);
  for (const auto& [name, inputs] : layout.inputs) {
    for (const std::string& input : inputs)
      names.push_back(fmt::format("u_{}/{}", name, input));
  }
  return fmt::format("{}\n", fmt::join(names, ","));
}

std::string cell(const std::map<std::string, double>& values, const std::string& name) {
  const auto found = values.find(name);
  return found == values.end() ? std::string() : base::number_text(found->second);
}

// What one row holds of an input; a random one is only in its own row.
const metrology::Contribution* contribution(const Estimate& estimate, const std::string& input,
                                            int point) {
  const auto& all = estimate.contributions();
  auto found = all.find(input);
  if (found == all.end()) found = all.find(fmt::format("{}#{}", input, point));
  return found == all.end() ? nullptr : &found->second;
}

double random_dof(const Point& point, const std::string& input) {
  for (const auto& [name, estimate] : point.quantities) {
    if (const auto* found = contribution(estimate, input, point.number)) return found->dof;
  }
  return INFINITY;
}

std::string row(const Layout& layout, const Point& point) {
  std::vector<std::string> cells{
      std::to_string(point.number), point.settled ? "1" : "0",
      fmt::format("{}", fmt::join(point.beyond_certificate, " ")),
      point.blade_count == 0 ? std::string() : std::to_string(point.blade_count),
      std::isnan(point.pitch_deg) ? std::string() : base::number_text(point.pitch_deg)};
  for (const std::string& name : layout.block_settings)
    cells.push_back(cell(point.block_settings, name));
  for (const std::string& name : layout.settings)
    cells.push_back(cell(point.settings, name));
  for (const std::string& name : layout.quantities) {
    const auto found = point.quantities.find(name);
    cells.push_back(found == point.quantities.end() ? std::string()
                                                    : base::number_text(found->second.value()));
  }
  for (const auto& [name, inputs] : layout.inputs) {
    const auto found = point.quantities.find(name);
    const bool stated = found != point.quantities.end() && !found->second.contributions().empty();
    cells.push_back(stated ? base::number_text(found->second.u()) : std::string());
  }
  for (const std::string& input : layout.random) {
    const double dof = random_dof(point, input);
    cells.push_back(std::isfinite(dof) ? base::number_text(dof) : std::string());
  }
  for (const auto& [name, inputs] : layout.inputs) {
    const auto quantity = point.quantities.find(name);
    for (const std::string& input : inputs) {
      const auto* found = quantity == point.quantities.end()
                              ? nullptr
                              : contribution(quantity->second, input, point.number);
      cells.push_back(found == nullptr ? std::string() : base::number_text(found->u));
    }
  }
  return fmt::format("{}\n", fmt::join(cells, ","));
}

}  // namespace

std::string points_csv(const std::vector<Point>& points, std::string_view source) {
  const Layout layout = layout_of(points);
  std::string text = comments(layout, source) + header(layout);
  for (const Point& point : points)
    text += row(layout, point);
  return text;
}

}  // namespace windwright::analysis
