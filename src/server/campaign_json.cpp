// SPDX-License-Identifier: Apache-2.0
#include "server/campaign_json.h"

#include "base/errors.h"
#include "base/files.h"
#include "campaign/campaign_text.h"
#include "server/body.h"
#include "server/exchange.h"
#include "server/foreseen.h"
#include "station/campaigns.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::server {

namespace json = boost::json;
namespace fs = std::filesystem;

namespace {

json::array settings_json(const std::vector<campaign::Setting>& settings) {
  json::array list;
  for (const campaign::Setting& setting : settings) {
    json::object entry{{"actuator", setting.actuator}};
    if (setting.position.empty()) {
      entry["value"] = setting.value;
    } else {
      entry["position"] = setting.position;
    }
    list.push_back(std::move(entry));
  }
  return list;
}

json::object settings_json(const campaign::Campaign& campaign) {
  json::array factors;
  for (const campaign::Factor& factor : campaign.factors) {
    factors.push_back(json::object{{"actuator", factor.actuator},
                                   {"levels", json::value_from(factor.levels)},
                                   {"hard_to_change", factor.hard_to_change}});
  }
  const campaign::Pace& pace = campaign.pace;
  return {{"title", campaign.title},
          {"operator", campaign.operator_name},
          {"seed", campaign.seed},
          {"repeats", campaign.repeats},
          {"question", json::object{{"text", campaign.question.text},
                                    {"response", campaign.question.response},
                                    {"factors", json::value_from(campaign.question.factors)},
                                    {"level_pct", 100.0 * campaign.question.level}}},
          {"factors", std::move(factors)},
          {"constants", settings_json(campaign.constants)},
          {"run_up", settings_json(campaign.run_up)},
          {"pace", json::object{{"settle_window_s", pace.settle_window_s},
                                {"settle_drift_pct", 100.0 * pace.settle_drift_relative},
                                {"longest_settle_s", pace.longest_settle_s},
                                {"shortest_dwell_s", pace.shortest_dwell_s},
                                {"longest_dwell_s", pace.longest_dwell_s},
                                {"target_u_pct", 100.0 * pace.target_u_relative}}}};
}

// `file:line: what is wrong: what would be right` in its parts.
json::object problem_json(std::string_view message) {
  const std::size_t first = message.find(": ");
  const std::size_t last = message.rfind(": ");
  if (first == std::string_view::npos || first == last) {
    return {{"where", ""}, {"what", message}, {"right", ""}};
  }
  std::string_view where = message.substr(0, first);
  where.remove_prefix(std::min(where.size(), where.rfind('/') + 1));
  return {{"where", where},
          {"what", message.substr(first + 2, last - first - 2)},
          {"right", message.substr(last + 2)}};
}

double seconds_of(const campaign::Campaign& campaign, std::size_t points) {
  const campaign::Pace& pace = campaign.pace;
  return static_cast<double>(points) * (2.0 * pace.settle_window_s + pace.shortest_dwell_s);
}

const json::object& object_member(const json::object& body, std::string_view name) {
  const json::value* found = body.if_contains(name);
  if (found == nullptr || !found->is_object()) {
    throw station::Refusal(422, fmt::format("{} is missing, or not an object", name), "an object");
  }
  return found->get_object();
}

std::vector<const json::object*> objects_member(const json::object& body, std::string_view name) {
  std::vector<const json::object*> objects;
  const json::value* found = body.if_contains(name);
  if (found == nullptr) return objects;
  if (!found->is_array())
    throw station::Refusal(422, fmt::format("{} is not a list", name), "a list");
  for (const json::value& each : found->get_array()) {
    if (!each.is_object()) {
      throw station::Refusal(422, fmt::format("{} holds what is not an object", name), "objects");
    }
    objects.push_back(&each.get_object());
  }
  return objects;
}

std::vector<double> numbers_member(const json::object& body, std::string_view name) {
  std::vector<double> numbers;
  const json::value* found = body.if_contains(name);
  if (found == nullptr || !found->is_array()) {
    throw station::Refusal(422, fmt::format("{} is not a list", name), "a list of numbers");
  }
  for (const json::value& each : found->get_array()) {
    if (!each.is_number()) {
      throw station::Refusal(422, fmt::format("{} holds what is not a number", name), "numbers");
    }
    numbers.push_back(each.to_number<double>());
  }
  return numbers;
}

std::vector<campaign::Setting> settings_from(const json::object& body, std::string_view name) {
  std::vector<campaign::Setting> settings;
  for (const json::object* each : objects_member(body, name)) {
    campaign::Setting setting{
        .actuator = text_member(*each, "actuator"), .value = 0.0, .position = {}};
    if (each->contains("position")) {
      setting.position = text_member(*each, "position");
    } else {
      setting.value = number_member(*each, "value");
    }
    settings.push_back(std::move(setting));
  }
  return settings;
}

// A name becomes a bare key of TOML: what is not one is refused, for it would be another line.
void require_plain_names(const campaign::Campaign& campaign) {
  const auto check = [](const std::string& name) {
    const bool plain = !name.empty() && std::all_of(name.begin(), name.end(), [](char letter) {
      return std::isalnum(static_cast<unsigned char>(letter)) != 0 || letter == '_';
    });
    if (!plain)
      throw station::Refusal(422, fmt::format("'{}' names no actuator", name), "its name");
  };
  for (const campaign::Setting& setting : campaign.constants)
    check(setting.actuator);
  for (const campaign::Setting& setting : campaign.run_up)
    check(setting.actuator);
}

int whole(const json::object& body, std::string_view name) {
  const double value = number_member(body, name);
  if (value != std::floor(value) || std::abs(value) > 1e9) {
    throw station::Refusal(422, fmt::format("{} is {}", name, value), "a whole number");
  }
  return static_cast<int>(value);
}

campaign::Campaign campaign_from(const json::object& settings, const bench::Bench& bench) {
  campaign::Campaign campaign{};
  campaign.title = text_member(settings, "title");
  campaign.bench_name = bench.file.filename();
  campaign.operator_name = text_member(settings, "operator");
  campaign.seed = static_cast<std::uint64_t>(std::max(0, whole(settings, "seed")));
  campaign.repeats = whole(settings, "repeats");
  const json::object& question = object_member(settings, "question");
  campaign.question = {.text = text_member(question, "text"),
                       .response = text_member(question, "response"),
                       .factors = texts_member(question, "factors"),
                       .level = number_member(question, "level_pct") / 100.0};
  for (const json::object* factor : objects_member(settings, "factors")) {
    campaign.factors.push_back({.actuator = text_member(*factor, "actuator"),
                                .levels = numbers_member(*factor, "levels"),
                                .hard_to_change = factor->contains("hard_to_change") &&
                                                  flag_member(*factor, "hard_to_change")});
  }
  campaign.constants = settings_from(settings, "constants");
  campaign.run_up = settings_from(settings, "run_up");
  const json::object& pace = object_member(settings, "pace");
  campaign.pace = {.settle_window_s = number_member(pace, "settle_window_s"),
                   .settle_drift_relative = number_member(pace, "settle_drift_pct") / 100.0,
                   .longest_settle_s = number_member(pace, "longest_settle_s"),
                   .shortest_dwell_s = number_member(pace, "shortest_dwell_s"),
                   .longest_dwell_s = number_member(pace, "longest_dwell_s"),
                   .target_u_relative = number_member(pace, "target_u_pct") / 100.0};
  require_plain_names(campaign);
  return campaign;
}

}  // namespace

json::object campaign_document(const bench::Bench& bench, const std::string& name,
                               const std::string& text) {
  json::object document{{"name", name},          {"text", text},   {"settings", nullptr},
                        {"plan", json::array()}, {"seconds", 0.0}, {"problems", json::array()}};
  try {
    const campaign::Campaign campaign =
        campaign::campaign_from_text(text, bench.file.parent_path() / name, bench.file);
    document["settings"] = settings_json(campaign);
    const std::vector<campaign::PlannedPoint> plan = campaign::plan(campaign);
    document["seconds"] = seconds_of(campaign, plan.size());
    campaign::require_fits(campaign, bench);
    Foresight foresight(bench, campaign);
    json::array points;
    for (const campaign::PlannedPoint& point : plan) {
      json::object entry = station::point_json(point);
      entry["foreseen"] = foresight.at(point);
      points.push_back(std::move(entry));
    }
    document["plan"] = std::move(points);
  } catch (const base::BadInput& refused) {
    document["problems"].as_array().push_back(problem_json(refused.what()));
  }
  return document;
}

std::string campaign_body_text(const bench::Bench& bench, const json::object& body) {
  const bool has_text = body.contains("text");
  if (has_text == body.contains("settings")) {
    throw station::Refusal(422, "text and settings are both there, or neither", "one of the two");
  }
  if (has_text) return text_member(body, "text");
  return campaign::campaign_text(campaign_from(object_member(body, "settings"), bench));
}

json::array campaign_list(const bench::Bench& bench) {
  std::vector<std::string> names;
  for (const auto& entry : fs::directory_iterator(bench.file.parent_path())) {
    if (!entry.is_regular_file() || entry.path().extension() != ".toml") continue;
    names.push_back(entry.path().filename().string());
  }
  std::sort(names.begin(), names.end());
  json::array list;
  for (const std::string& name : names) {
    try {
      const fs::path file = station::campaign_file(bench, name);
      const std::string text = base::text_of_file(file);
      // What else lies there as TOML (a rotor, a scenario) has no question to ask.
      if (text.find("[question]") == std::string::npos) continue;
      list.push_back(json::object{
          {"name", name}, {"title", campaign::campaign_from_text(text, file, bench.file).title}});
    } catch (const base::BadInput& refused) {
      list.push_back(json::object{{"name", name}, {"title", name}, {"problem", refused.what()}});
    } catch (const station::Refusal&) {
      continue;  // no campaign by its name
    }
  }
  return list;
}

}  // namespace windwright::server
