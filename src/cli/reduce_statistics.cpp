// SPDX-License-Identifier: Apache-2.0
#include "cli/reduce_statistics.h"

#include "analysis/comparison.h"
#include "analysis/recorded_channel.h"
#include "analysis/sample_record.h"
#include "base/errors.h"
#include "base/json.h"
#include "base/units.h"
#include "cli/verbs.h"
#include "metrology/estimate.h"
#include "metrology/outliers.h"
#include "metrology/quantity.h"
#include "metrology/sample_statistics.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

namespace windwright::cli {

namespace {

namespace json = boost::json;
using metrology::SampleStatistics;

metrology::Estimate mean_of(const SampleStatistics& statistics) {
  metrology::Estimate mean(statistics.mean.mean);
  if (statistics.mean.u > 0.0) {
    mean.add("random#", {.u = statistics.mean.u, .dof = statistics.mean.dof});
  }
  return mean;
}

json::value test_json(const metrology::GrubbsTest& test) {
  return json::object{{"sample", test.index + 1},
                      {"value", test.value},
                      {"g", test.g},
                      {"critical_5pct", test.critical_5pct},
                      {"critical_1pct", test.critical_1pct},
                      {"standing", metrology::text_of(test.standing)}};
}

json::value to_json(const analysis::SampledChannel& channel, const SampleStatistics& statistics,
                    double interval_s) {
  const std::string unit = base::unit_of_name(channel.name);
  json::array suspects;
  for (const metrology::GrubbsTest& each : statistics.suspects)
    suspects.push_back(test_json(each));
  const metrology::Drift& drift = statistics.drift;
  return json::object{
      {"channel", channel.name},
      {"count", statistics.count},
      {"mean", metrology::quantity(mean_of(statistics), unit)},
      {"standard_deviation", statistics.standard_deviation},
      {"least", statistics.least},
      {"largest", statistics.largest},
      {"effective_samples", statistics.mean.effective_samples},
      {"integral_steps", statistics.integral_steps},
      {"integral_time_s", statistics.integral_steps * interval_s},
      {"intensity_pct", 100.0 * statistics.intensity},
      {"drift",
       json::object{
           {"value", drift.drift}, {"u", drift.u}, {"dof", drift.dof}, {"settled", drift.settled}}},
      {"grubbs_upper", statistics.upper ? test_json(*statistics.upper) : json::value(nullptr)},
      {"grubbs_lower", statistics.lower ? test_json(*statistics.lower) : json::value(nullptr)},
      {"suspects", std::move(suspects)}};
}

void print(const analysis::SampledChannel& channel, const SampleStatistics& statistics,
           double interval_s) {
  const std::string unit = base::unit_of_name(channel.name);
  const auto mean = mean_of(statistics);
  fmt::print("{} [{}], {} samples\n", channel.name, unit, statistics.count);
  fmt::print("  mean                 {} (95 %); u {:.3g} with {:.3g} degrees of freedom\n",
             analysis::with_uncertainty(mean.value(), mean.expanded()), statistics.mean.u,
             statistics.mean.dof);
  fmt::print("  standard deviation   {:.5g}, {:.3g} % of the mean; {:.6g} to {:.6g}\n",
             statistics.standard_deviation, 100.0 * statistics.intensity, statistics.least,
             statistics.largest);
  fmt::print("  worth                {:.4g} independent samples; integral scale {:.3g} steps",
             statistics.mean.effective_samples, statistics.integral_steps);
  if (std::isfinite(interval_s)) fmt::print(", {:.3g} s", statistics.integral_steps * interval_s);
  const metrology::Drift& drift = statistics.drift;
  if (std::isfinite(drift.u)) {
    fmt::print("\n  drift, first to last {:.3g}, u {:.2g}: ", drift.drift, drift.u);
  } else {
    fmt::print("\n  drift                too few independent samples to know it: ");
  }
  fmt::print("{}\n", drift.settled ? "settled" : "not settled");
  for (const metrology::GrubbsTest& each : statistics.suspects) {
    const bool by_itself = each.g > each.critical_5pct;
    fmt::print("  {:<20} sample {}: {:.6g}, G {:.4g}; 5 % point {:.4g}, 1 % point {:.4g}{}\n",
               metrology::text_of(each.standing), each.index + 1, each.value, each.g,
               each.critical_5pct, each.critical_1pct,
               by_itself ? "" : "; hidden by the ones below, with which it counts");
  }
}

bool is_clean(const SampleStatistics& statistics) {
  return statistics.drift.settled &&
         std::none_of(statistics.suspects.begin(), statistics.suspects.end(), [](const auto& each) {
           return each.standing == metrology::Standing::outlier;
         });
}

}  // namespace

void add_statistics_options(CLI::App& verb, StatisticsRequest& request) {
  constexpr const char* group = "Statistics of samples";
  verb.add_flag("--statistics", request.wanted,
                "of a CSV of samples (a column a channel and perhaps time_s), of a recording or a "
                "run, there also of one --window: mean with type A uncertainty, integral scale, "
                "drift, outliers")
      ->group(group);
  request.options = {
      verb.add_option("--channel", request.channel, "this column only")->group(group),
      verb.add_option("--drift-pct", request.drift_pct,
                      "largest drift over the record that counts as settled, of the mean")
          ->group(group)
          ->capture_default_str()};
}

int reduce_statistics(const SamplesRequest& samples) {
  const StatisticsRequest& request = samples.request;
  if (!(request.drift_pct > 0.0) || !std::isfinite(request.drift_pct)) {
    throw base::BadInput("--drift-pct", fmt::format("is {}", request.drift_pct), "above 0");
  }
  const analysis::SampleRecord record =
      analysis::is_recording(samples.file)
          ? analysis::samples_from_recording(samples.file, request.channel, samples.window)
          : analysis::samples_from_file(samples.file, request.channel);
  json::array channels;
  bool clean = true;
  for (const analysis::SampledChannel& channel : record.channels) {
    const SampleStatistics statistics =
        metrology::sample_statistics(channel.values, {.drift_relative = 0.01 * request.drift_pct});
    clean = clean && is_clean(statistics);
    if (samples.json) {
      channels.push_back(to_json(channel, statistics, record.interval_s));
    } else {
      print(channel, statistics, record.interval_s);
    }
  }
  if (samples.json) {
    json::array remarks;
    for (const std::string& remark : record.remarks)
      remarks.emplace_back(remark);
    fmt::print("{}", base::json_text(json::object{{"interval_s", record.interval_s},
                                                  {"channels", std::move(channels)},
                                                  {"remarks", std::move(remarks)}}));
  } else {
    for (const std::string& remark : record.remarks)
      fmt::print("- {}\n", remark);
  }
  return clean ? done : negative_verdict;
}

}  // namespace windwright::cli
