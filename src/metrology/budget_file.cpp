// SPDX-License-Identifier: Apache-2.0
#include "metrology/budget_file.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/settings.h"
#include "base/text.h"
#include "metrology/budget_data.h"
#include "metrology/equation.h"
#include "metrology/measurement_model.h"
#include "metrology/units.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

using base::BadInput;
using base::Bounds;
using base::Settings;

struct Word {
  std::string_view name;
  Distribution distribution;
};
constexpr std::array<Word, 7> words{{{"normal", Distribution::normal},
                                     {"rectangular", Distribution::rectangular},
                                     {"triangular", Distribution::triangular},
                                     {"trapezoidal", Distribution::trapezoidal},
                                     {"arcsine", Distribution::arcsine},
                                     {"curvilinear_trapezoid", Distribution::curvilinear_trapezoid},
                                     {"student", Distribution::normal}}};

std::vector<std::string> names_of(std::span<const Word> list) {
  std::vector<std::string> names;
  for (const Word& word : list)
    names.emplace_back(word.name);
  return names;
}

const std::string above_zero = "a number above 0; what is known exactly belongs into [constant]";

double width(const Settings& table, std::string_view key) {
  const double number = table.number(key);
  if (!(number > 0.0))
    throw BadInput(table.place(key), fmt::format("{} is {}", key, number), above_zero);
  return number;
}

// What an input may be known by: exactly one of these.
constexpr std::array<std::string_view, 5> ways{"standard_uncertainty", "expanded_uncertainty",
                                               "half_width", "limits", "data"};

std::string way_of(const Settings& table, const std::string& name) {
  std::string found;
  for (const std::string_view way : ways) {
    if (!table.has(way)) continue;
    if (!found.empty())
      throw BadInput(table.place(way),
                     fmt::format("input '{}' has both {} and {}", name, found, way), "one of them");
    found = way;
  }
  if (found.empty())
    throw BadInput(table.place(), fmt::format("input '{}' has no uncertainty", name),
                   "standard_uncertainty, expanded_uncertainty with coverage_factor, half_width or "
                   "limits with distribution, or data; what is known exactly belongs into "
                   "[constant]");
  return found;
}

class InputReader {
 public:
  InputReader(const Settings& table, std::string name)
      : table_(table), name_(std::move(name)), way_(way_of(table, name_)) {}

  UncertainInput input() {
    input_.name = name_;
    if (way_ == "data") return from_data();
    read_distribution();
    if (way_ == "limits") {
      read_limits();
    } else {
      input_.value = table_.number("value");
    }
    if (table_.has("degrees_of_freedom"))
      input_.degrees_of_freedom = table_.number("degrees_of_freedom", Bounds::positive());
    if (student_ && std::isinf(input_.degrees_of_freedom))
      throw BadInput(table_.place("distribution"),
                     fmt::format("input '{}' is student without degrees_of_freedom", name_),
                     "degrees_of_freedom = a number above 0");
    if (way_ == "standard_uncertainty" || way_ == "expanded_uncertainty") {
      read_uncertainty();
    } else {
      read_half_width();
    }
    return input_;
  }

  std::string knowledge() const {
    if (way_ == "data") return data_words_;
    for (const Word& word : words) {
      if (word.distribution == input_.distribution &&
          (word.name != "normal" || std::isinf(input_.degrees_of_freedom)))
        return std::string(word.name);
    }
    return "normal";
  }
  const std::optional<BudgetColumn>& column() const { return column_; }

 private:
  void refuse_key(std::string_view key, std::string_view why) const {
    if (table_.has(key))
      throw BadInput(table_.place(key), fmt::format("input '{}' has {} {}", name_, key, why),
                     fmt::format("leave {} out", key));
  }

  UncertainInput from_data() {
    for (const char* key : {"value", "distribution", "degrees_of_freedom"})
      refuse_key(key, "besides data, which say it");
    column_ = budget_column(table_, name_);
    input_.value = column_->mean;
    input_.standard_uncertainty = column_->standard_uncertainty;
    input_.degrees_of_freedom = column_->degrees_of_freedom;
    data_words_ = fmt::format("{} readings", column_->readings.size());
    return input_;
  }

  void read_distribution() {
    const std::string word = table_.text_or("distribution", "normal");
    const auto found = std::ranges::find(words, word, &Word::name);
    if (found == words.end())
      throw BadInput(table_.place("distribution"), fmt::format("distribution is '{}'", word),
                     base::either_of(names_of(words)));
    input_.distribution = found->distribution;
    student_ = found->name == "student";
    const bool limited = way_ == "half_width" || way_ == "limits";
    if (limited && input_.distribution == Distribution::normal)
      throw BadInput(table_.has("distribution") ? table_.place("distribution") : table_.place(way_),
                     fmt::format("input '{}' has {} but is {}", name_, way_, word),
                     "distribution = " + base::either_of(names_of(std::span(words).subspan(1, 5))) +
                         ", or standard_uncertainty");
    if (input_.distribution != Distribution::trapezoidal)
      refuse_key("top_half_width", "but is not trapezoidal");
    if (input_.distribution != Distribution::curvilinear_trapezoid)
      refuse_key("half_width_inexactness", "but is not curvilinear_trapezoid");
  }

  void read_limits() {
    const std::vector<double> limits = table_.numbers("limits");
    if (limits.size() != 2 || !(limits[0] < limits[1]))
      throw BadInput(table_.place("limits"),
                     fmt::format("limits are [{}]", fmt::join(limits, ", ")), "[lower, higher]");
    refuse_key("value", "besides limits, whose middle it is");
    input_.value = 0.5 * (limits[0] + limits[1]);
    input_.half_width = 0.5 * (limits[1] - limits[0]);
  }

  void read_uncertainty() {
    const bool expanded = way_ == "expanded_uncertainty";
    if (expanded) {
      if (input_.distribution != Distribution::normal)
        throw BadInput(table_.place("distribution"),
                       fmt::format("input '{}' has expanded_uncertainty but is not normal", name_),
                       "distribution = normal or student, or half_width");
      input_.standard_uncertainty =
          width(table_, "expanded_uncertainty") / width(table_, "coverage_factor");
      return;
    }
    refuse_key("coverage_factor", "without expanded_uncertainty");
    const double u = table_.number("standard_uncertainty");
    if (!(u >= 0.0))
      throw BadInput(table_.place("standard_uncertainty"),
                     fmt::format("standard_uncertainty is {}", u), "a number of at least 0");
    input_.standard_uncertainty = u;
    if (input_.distribution == Distribution::normal) return;
    if (input_.distribution == Distribution::trapezoidal ||
        input_.distribution == Distribution::curvilinear_trapezoid)
      throw BadInput(table_.place("standard_uncertainty"),
                     fmt::format("input '{}' is a trapezoid but has no half_width", name_),
                     "half_width and what makes it a trapezoid");
    input_.half_width = half_width_of(input_.distribution, u);
  }

  void read_half_width() {
    if (way_ == "half_width") input_.half_width = width(table_, "half_width");
    if (input_.distribution == Distribution::trapezoidal)
      input_.top_half_width =
          table_.number("top_half_width", {.at_least = 0.0, .at_most = input_.half_width});
    if (input_.distribution == Distribution::curvilinear_trapezoid)
      input_.half_width_inexactness =
          table_.number("half_width_inexactness", {.at_least = 0.0, .at_most = input_.half_width});
    input_ = with_limits(input_);
  }

  const Settings& table_;
  std::string name_;
  std::string way_;
  UncertainInput input_{.name = {}, .value = 0.0};
  bool student_ = false;
  std::optional<BudgetColumn> column_;
  std::string data_words_;
};

std::string checked_unit(const Settings& table, std::string_view key) {
  if (!table.has(key)) return {};
  const std::string unit = table.text(key);
  require_unit_syntax(unit, table.place(key));
  return unit;
}

void check_name(const std::string& name, const std::string& where) {
  if (!is_equation_name(name))
    throw BadInput(where, fmt::format("'{}' cannot stand in an equation as a name", name),
                   "letters, digits and _, no digit first, no function's name nor pi");
}

class BudgetReader {
 public:
  explicit BudgetReader(const std::filesystem::path& file) : root_(Settings::from_file(file)) {}

  BudgetFile budget() {
    budget_.title = root_.text_or("title", "");
    read_constants();
    read_inputs();
    read_equations();
    budget_.model.groups = groups_of(budget_.model.inputs, correlations());
    for (InputGroup& group : data_groups(columns_))
      budget_.model.groups.push_back(std::move(group));
    root_.refuse_unread_keys();
    budget_.model.program = compiled(equations_, budget_.model.outputs.size(), names_);
    remark_on_unused();
    return std::move(budget_);
  }

 private:
  void remark(const std::string& text) {
    if (!text.empty()) budget_.remarks.push_back(text);
  }

  void remark_on_unused() {
    std::vector<bool> used(names_.inputs.size(), false);
    for (const std::uint32_t output : budget_.model.program.outputs) {
      const std::vector<bool> behind = inputs_behind(budget_.model.program, output);
      for (std::size_t i = 0; i < used.size(); ++i)
        used[i] = used[i] || behind[i];
    }
    for (std::size_t i = 0; i < used.size(); ++i) {
      if (!used[i]) remark(fmt::format("No equation depends on {}.", names_.inputs[i]));
    }
  }

  void take_name(const std::string& name, const std::string& where) {
    check_name(name, where);
    if (!taken_.insert(name).second)
      throw BadInput(where, fmt::format("the name '{}' is given twice", name),
                     "a name of its own for each input, constant and equation");
  }

  void read_constants() {
    const std::optional<Settings> table = root_.optional_table("constant");
    if (!table) return;
    for (const std::string& name : table->keys()) {
      take_name(name, table->place(name));
      names_.constants.push_back({name, table->number(name)});
    }
  }

  void read_inputs() {
    const Settings table = root_.table("input");
    for (const std::string& name : table.keys()) {
      const Settings one = table.table(name);
      take_name(name, one.place());
      InputReader reader(one, name);
      budget_.model.inputs.push_back(reader.input());
      budget_.knowledge.push_back(reader.knowledge());
      budget_.input_units.push_back(checked_unit(one, "unit"));
      columns_.push_back(reader.column());
      if (reader.column()) remark(independence_remark(*reader.column(), name));
      names_.inputs.push_back(name);
    }
    if (names_.inputs.empty())
      throw BadInput(table.place(), "there is no input", "[input.NAME] with value and uncertainty");
  }

  void read_equations() {
    const Settings outputs = root_.table("output");
    const std::optional<Settings> units = root_.optional_table("unit");
    for (const std::string& name : outputs.keys()) {
      take_name(name, outputs.place(name));
      const std::string text = outputs.text(name);
      budget_.model.outputs.push_back(name);
      budget_.model.equations.push_back(text);
      budget_.model.places.push_back(outputs.place(name));
      budget_.output_units.push_back(units ? checked_unit(*units, name) : "");
      equations_.push_back({.name = name, .text = text, .where = outputs.place(name)});
    }
    if (equations_.empty())
      throw BadInput(outputs.place(), "there is no output", "NAME = \"equation\"");
    const std::optional<Settings> steps = root_.optional_table("intermediate");
    if (!steps) return;
    for (const std::string& name : steps->keys()) {
      take_name(name, steps->place(name));
      equations_.push_back({.name = name, .text = steps->text(name), .where = steps->place(name)});
    }
  }

  std::vector<StatedCorrelation> correlations() const {
    std::vector<StatedCorrelation> list;
    std::set<std::pair<std::size_t, std::size_t>> pairs;
    for (const Settings& one : root_.tables("correlation")) {
      const std::vector<std::string> between = one.texts("between");
      if (between.size() != 2 || between[0] == between[1])
        throw BadInput(one.place("between"),
                       fmt::format("between is [{}]", fmt::join(between, ", ")),
                       "the names of two different inputs");
      const std::size_t first = input_named(between[0], one);
      const std::size_t second = input_named(between[1], one);
      if (!pairs.insert(std::minmax(first, second)).second)
        throw BadInput(one.place("between"),
                       fmt::format("'{}' and '{}' are correlated twice", between[0], between[1]),
                       "one coefficient for a pair");
      list.push_back({.first = first,
                      .second = second,
                      .coefficient = one.number("coefficient", {.at_least = -1.0, .at_most = 1.0}),
                      .where = one.place("coefficient")});
    }
    return list;
  }

  std::size_t input_named(const std::string& name, const Settings& correlation) const {
    const auto found = std::ranges::find(names_.inputs, name);
    if (found == names_.inputs.end())
      throw BadInput(correlation.place("between"), fmt::format("'{}' is no input", name),
                     base::either_of(names_.inputs));
    const auto index = static_cast<std::size_t>(found - names_.inputs.begin());
    if (columns_[index] && shares_file(columns_, index))
      throw BadInput(correlation.place("between"),
                     fmt::format("'{}' is correlated by the rows of its data file", name),
                     "no coefficient for inputs of a common data file");
    return index;
  }

  Settings root_;
  BudgetFile budget_;
  EquationNames names_;
  std::vector<Equation> equations_;
  std::vector<std::optional<BudgetColumn>> columns_;  // (inputs)
  std::set<std::string> taken_;
};

}  // namespace

BudgetFile budget_from_file(const std::filesystem::path& file) {
  return BudgetReader(file).budget();
}

}  // namespace windwright::metrology
