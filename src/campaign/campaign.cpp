// SPDX-License-Identifier: Apache-2.0
#include "campaign/campaign.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/random.h"
#include "base/settings.h"
#include "base/text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::campaign {

namespace {

using base::BadInput;
using base::Bounds;
using base::Settings;

constexpr double most_points = 100'000;
constexpr std::size_t fewest_settings_on_a_curve = 3;
constexpr double fewest_blocks_in_window = 6.0;  // what the test for steady state needs

// Only the path is checked: the file need not be there when another bench is given.
std::filesystem::path bench_name(const Settings& root) {
  const std::filesystem::path name(root.text("bench"));
  const auto plain = name.lexically_normal();
  if (name.is_absolute() || plain.empty() || *plain.begin() == ".." || !plain.has_filename()) {
    throw BadInput(root.place("bench"),
                   fmt::format("path '{}' leads outside the campaign's folder", name.string()),
                   "a file inside that folder, relative to it");
  }
  return plain;
}

Factor read_factor(const Settings& table) {
  Factor factor{.actuator = table.text("actuator"),
                .levels = table.numbers("levels"),
                .hard_to_change = table.flag_or("hard_to_change", false)};
  std::set<double> seen;
  for (const double level : factor.levels) {
    if (!seen.insert(level).second) {
      throw BadInput(table.place("levels"),
                     fmt::format("level {} of {} is there twice", level, factor.actuator),
                     "each level once; use repeats to measure it more than once");
    }
  }
  return factor;
}

void read_factors(const Settings& root, Campaign& campaign) {
  for (const Settings& table : root.tables("factor")) {
    Factor factor = read_factor(table);
    if (!campaign.places.emplace(factor.actuator, table.place("levels")).second) {
      throw BadInput(table.place("actuator"),
                     fmt::format("factor '{}' is there twice", factor.actuator),
                     "one [[factor]] for each actuator");
    }
    campaign.factors.push_back(std::move(factor));
  }
  if (campaign.factors.empty()) {
    throw BadInput(root.place(), "the campaign has no factor",
                   "at least one [[factor]] with actuator and levels");
  }
}

void read_constants(const Settings& root, Campaign& campaign) {
  const std::optional<Settings> table = root.optional_table("constants");
  if (!table) return;
  for (const std::string& name : table->keys()) {
    if (!campaign.places.emplace(name, table->place(name)).second) {
      throw BadInput(table->place(name), fmt::format("'{}' is a factor as well", name),
                     "either a factor or a constant");
    }
    if (table->holds_text(name)) {
      campaign.constants.push_back(
          {.actuator = name,
           .value = std::numeric_limits<double>::quiet_NaN(),  // known once the bench is
           .position = table->text(name)});
    } else {
      campaign.constants.push_back({.actuator = name, .value = table->number(name)});
    }
  }
}

// A rotor may not start under the load that it can carry once it turns.
void read_run_up(const Settings& root, Campaign& campaign) {
  const std::optional<Settings> table = root.optional_table("run_up");
  if (!table) return;
  for (const std::string& name : table->keys()) {
    if (!campaign.places.contains(name)) {
      throw BadInput(table->place(name), fmt::format("'{}' is no factor and no constant", name),
                     "an actuator that this campaign sets");
    }
    campaign.run_up.push_back({.actuator = name, .value = table->number(name)});
    campaign.places["run_up " + name] = table->place(name);
  }
}

Question read_question(const Settings& table, const std::vector<Factor>& factors) {
  Question question{.text = table.text("text"),
                    .response = table.text("response"),
                    .factors = table.texts("factors"),
                    .level = table.number("level_pct", {.at_least = 50.0, .at_most = 99.9}) / 100};
  if (question.response != "maximum_cp") {
    throw BadInput(table.place("response"),
                   fmt::format("response '{}' is not known", question.response), "\"maximum_cp\"");
  }
  std::vector<std::string> comparable;
  for (const Factor& factor : factors) {
    if (factor.hard_to_change && factor.levels.size() > 1) comparable.push_back(factor.actuator);
  }
  std::set<std::string> seen;
  for (const std::string& name : question.factors) {
    const bool known = std::count(comparable.begin(), comparable.end(), name) > 0;
    if (!known || !seen.insert(name).second) {
      throw BadInput(table.place("factors"),
                     fmt::format("'{}' {}", name,
                                 known ? "is there twice"
                                       : "is not a hard-to-change factor with two levels or more"),
                     comparable.empty() ? "a [[factor]] with hard_to_change = true and two levels"
                                        : base::either_of(comparable) + ", each once");
    }
  }
  return question;
}

Pace read_pace(const Settings& table) {
  const Bounds time{.at_most = 86'400.0, .above = 0.0};
  const Bounds part{.at_most = 50.0, .above = 0.0};
  const Pace pace{.settle_window_s = table.number("settle_window_s", time),
                  .settle_drift_relative = table.number("settle_drift_pct", part) / 100.0,
                  .longest_settle_s = table.number("longest_settle_s", time),
                  .shortest_dwell_s = table.number("shortest_dwell_s", time),
                  .longest_dwell_s = table.number("longest_dwell_s", time),
                  .target_u_relative = table.number("target_u_pct", part) / 100.0};
  if (pace.longest_settle_s < pace.settle_window_s) {
    throw BadInput(table.place("longest_settle_s"),
                   fmt::format("longest_settle_s is {}", pace.longest_settle_s),
                   fmt::format("at least settle_window_s, {}", pace.settle_window_s));
  }
  if (pace.longest_dwell_s < pace.shortest_dwell_s) {
    throw BadInput(table.place("longest_dwell_s"),
                   fmt::format("longest_dwell_s is {}", pace.longest_dwell_s),
                   fmt::format("at least shortest_dwell_s, {}", pace.shortest_dwell_s));
  }
  return pace;
}

// A maximum over a curve needs points on the curve, and nobody wants to wait for ever.
void require_sensible_size(const Settings& root, const Campaign& campaign) {
  double points = campaign.repeats;
  std::size_t inside = 1;
  for (const Factor& factor : campaign.factors) {
    points *= static_cast<double>(factor.levels.size());
    if (!factor.hard_to_change) inside *= factor.levels.size();
  }
  if (points > most_points) {
    throw BadInput(root.place("factor"), fmt::format("the plan has {} test points", points),
                   fmt::format("at most {}", most_points));
  }
  if (inside < fewest_settings_on_a_curve) {
    throw BadInput(root.place("factor"),
                   fmt::format("a block has {} different settings, too few for a maximum", inside),
                   fmt::format("a factor that is not hard to change, such as rheostat_ohm, with {} "
                               "levels or more",
                               fewest_settings_on_a_curve));
  }
}

// Changes of these take effect in whole steps.
bool in_steps(const bench::Actuator& actuator) {
  return !actuator.positions.empty() || actuator.name == "blade_count";
}

void require_within(double value, const bench::Actuator& actuator, const std::string& where) {
  if (value < actuator.lowest || value > actuator.highest) {
    throw BadInput(where, fmt::format("{} is {}", actuator.name, value),
                   fmt::format("a value from {} to {}, the actuator's limits", actuator.lowest,
                               actuator.highest));
  }
  if (in_steps(actuator) && value != std::floor(value)) {
    throw BadInput(where, fmt::format("{} is {}", actuator.name, value), "a whole number");
  }
}

const bench::Actuator& actuator_at(const bench::Bench& bench, const std::string& name,
                                   const std::string& where) {
  std::vector<std::string> names;
  for (const bench::Actuator& actuator : bench.actuators) {
    if (actuator.name == name) return actuator;
    names.push_back(actuator.name);
  }
  throw BadInput(where, fmt::format("the bench has no actuator '{}'", name),
                 base::either_of(names));
}

template <typename Entry>
void shuffle(std::vector<Entry>& entries, const base::RandomStream& random) {
  for (std::size_t i = entries.size(); i > 1; --i) {
    const auto other = static_cast<std::size_t>(random.uniform(i) * static_cast<double>(i));
    std::swap(entries[i - 1], entries[other]);
  }
}

// Every combination of levels of the factors that are (or are not) hard to change; the last factor
// varies fastest.
std::vector<std::vector<Setting>> combinations(const Campaign& campaign, bool hard_to_change) {
  std::vector<std::vector<Setting>> all{{}};
  for (const Factor& factor : campaign.factors) {
    if (factor.hard_to_change != hard_to_change) continue;
    std::vector<std::vector<Setting>> longer;
    for (const std::vector<Setting>& settings : all) {
      for (const double level : factor.levels) {
        longer.push_back(settings);
        longer.back().push_back({.actuator = factor.actuator, .value = level});
      }
    }
    all = std::move(longer);
  }
  return all;
}

std::vector<Setting> in_order_of_file(const Campaign& campaign, std::vector<Setting> settings) {
  std::vector<Setting> ordered;
  for (const Factor& factor : campaign.factors) {
    ordered.push_back(*std::find_if(settings.begin(), settings.end(), [&](const Setting& setting) {
      return setting.actuator == factor.actuator;
    }));
  }
  return ordered;
}

}  // namespace

Campaign campaign_from_file(const std::filesystem::path& file,
                            const std::optional<std::filesystem::path>& bench) {
  return campaign_from_text(base::text_of_file(file), file, bench);
}

Campaign campaign_from_text(const std::string& text, const std::filesystem::path& file,
                            const std::optional<std::filesystem::path>& bench) {
  const Settings root = Settings::from_text(text, file.string());
  Campaign campaign{};
  campaign.file = std::filesystem::absolute(file);
  campaign.text = text;
  campaign.title = root.text("title");
  campaign.bench_name = bench_name(root);
  campaign.operator_name = root.text("operator");
  campaign.seed = static_cast<std::uint64_t>(root.integer("seed", Bounds::not_negative()));
  campaign.repeats = root.integer("repeats", {.at_least = 1, .at_most = 1000});
  read_factors(root, campaign);
  read_constants(root, campaign);
  read_run_up(root, campaign);
  campaign.question = read_question(root.table("question"), campaign.factors);
  campaign.pace = read_pace(root.table("pace"));
  campaign.places["pace"] = root.table("pace").place("settle_window_s");
  root.refuse_unread_keys();
  require_sensible_size(root, campaign);
  if (bench) {
    campaign.bench_file = std::filesystem::absolute(*bench);
  } else {
    const auto folder = campaign.file.parent_path();
    campaign.bench_file =
        base::named_file(folder, folder, campaign.bench_name.string(), root.place("bench"));
  }
  return campaign;
}

double commanded_value(const Setting& setting, const bench::Bench& bench) {
  if (setting.position.empty()) return setting.value;
  const bench::Actuator& actuator = actuator_at(bench, setting.actuator, setting.actuator);
  const std::optional<double> value = actuator.position(setting.position);
  if (!value) {
    throw BadInput(setting.actuator, fmt::format("has no position '{}'", setting.position),
                   actuator.positions.empty() ? "a number" : base::either_of(actuator.positions));
  }
  return *value;
}

void require_fits(const Campaign& campaign, const bench::Bench& bench) {
  for (const Factor& factor : campaign.factors) {
    const std::string& where = campaign.places.at(factor.actuator);
    const bench::Actuator& actuator = actuator_at(bench, factor.actuator, where);
    for (const double level : factor.levels)
      require_within(level, actuator, where);
    if (actuator.manual && !factor.hard_to_change) {
      throw BadInput(where, fmt::format("{} is changed by hand", factor.actuator),
                     "hard_to_change = true");
    }
  }
  for (const Setting& constant : campaign.constants) {
    const std::string& where = campaign.places.at(constant.actuator);
    const bench::Actuator& actuator = actuator_at(bench, constant.actuator, where);
    const auto& positions = actuator.positions;
    if (!constant.position.empty() && !actuator.position(constant.position)) {
      throw BadInput(where,
                     fmt::format("{} has no position '{}'", constant.actuator, constant.position),
                     positions.empty() ? "a number" : base::either_of(positions));
    }
    require_within(commanded_value(constant, bench), actuator, where);
  }
  for (const Setting& setting : campaign.run_up) {
    const std::string& where = campaign.places.at("run_up " + setting.actuator);
    const bench::Actuator& actuator = actuator_at(bench, setting.actuator, where);
    if (actuator.manual) {
      throw BadInput(where, fmt::format("{} is changed by hand", setting.actuator),
                     "an actuator that can be commanded while the rotor turns");
    }
    require_within(setting.value, actuator, where);
  }
  for (const bench::Actuator& actuator : bench.actuators) {
    if (!campaign.places.contains(actuator.name)) {
      throw BadInput(
          campaign.file.string() + ":1",
          fmt::format("nothing says where {} ({}) shall stand", actuator.name, actuator.long_name),
          fmt::format("{} as a [[factor]] or under [constants]", actuator.name));
    }
  }
  const double shortest_s = fewest_blocks_in_window * bench.block_s;
  if (campaign.pace.settle_window_s < shortest_s * (1.0 - 1e-9)) {  // 6 x 0.1 is above 0.6
    throw BadInput(campaign.places.at("pace"),
                   fmt::format("settle_window_s is {}", campaign.pace.settle_window_s),
                   fmt::format("at least {:g}, six blocks of the bench", shortest_s));
  }
}

std::vector<PlannedPoint> plan(const Campaign& campaign) {
  std::vector<std::vector<Setting>> blocks = combinations(campaign, true);
  shuffle(blocks, base::RandomStream(campaign.seed, "order of blocks"));
  std::vector<PlannedPoint> points;
  for (std::size_t b = 0; b < blocks.size(); ++b) {
    std::vector<std::vector<Setting>> inside;
    for (int repeat = 0; repeat < campaign.repeats; ++repeat) {
      for (auto& settings : combinations(campaign, false))
        inside.push_back(std::move(settings));
    }
    shuffle(inside, base::RandomStream(campaign.seed, fmt::format("order in block {}", b + 1)));
    std::map<std::vector<double>, int> repeats;
    for (const std::vector<Setting>& settings : inside) {
      std::vector<double> values;
      for (const Setting& setting : settings)
        values.push_back(setting.value);
      std::vector<Setting> all = blocks[b];
      all.insert(all.end(), settings.begin(), settings.end());
      points.push_back({.number = static_cast<int>(points.size()) + 1,
                        .block = static_cast<int>(b) + 1,
                        .repeat = ++repeats[values],
                        .settings = in_order_of_file(campaign, std::move(all))});
    }
  }
  return points;
}

}  // namespace windwright::campaign
