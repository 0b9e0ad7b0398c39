// SPDX-License-Identifier: Apache-2.0
// What made a run's systematic errors: the certificates, the bench and the rotor behind them.
#include "analysis/points.h"
#include "analysis/results.h"
#include "analysis/run_comparison.h"
#include "base/json.h"
#include "campaign/conductor.h"
#include "metrology/certificate.h"
#include "metrology/estimate.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <chrono>
#include <cstddef>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace {

constexpr std::string_view density_equation = "air-density:equation";

std::set<std::string> systematic_inputs(const Results& results) {
  std::set<std::string> inputs;
  const auto take = [&](const metrology::Estimate& estimate) {
    for (const auto& [input, contribution] : estimate.contributions()) {
      if (!metrology::is_random(input)) inputs.insert(input);
    }
  };
  for (const auto* curves : {&results.curves, &results.open_air_curves}) {
    for (const Curve& curve : *curves) {
      take(curve.maximum_cp);
      if (curve.optimum_tip_speed_ratio) take(*curve.optimum_tip_speed_ratio);
    }
  }
  return inputs;
}

// Nothing where nobody can say.
std::optional<std::string> origin_of(const std::string& input, const campaign::Run& run) {
  if (input == density_equation) return "equation";
  if (input == "rotor:tip-radius") {
    return fmt::format("{}\n{}", run.bench.u_tip_radius_m, run.bench.rotor_text);
  }
  const auto colon = input.find(':');
  const std::string_view owner = std::string_view(input).substr(0, colon);
  const std::string_view part =
      colon == std::string::npos ? std::string_view() : std::string_view(input).substr(colon + 1);
  for (std::size_t i = 0; i < run.bench.channels.size(); ++i) {
    if (run.bench.channels[i].name != owner) continue;
    const metrology::Certificate& certificate = run.certificates[i];
    if (part.starts_with("standard")) {
      return fmt::format("{} {} {}", certificate.standard.name, certificate.standard.u,
                         certificate.standard.u_relative);
    }
    return base::json_text(metrology::to_json(certificate));
  }
  for (const char* of_bench : {"air_speed", "generator", "tunnel"}) {
    if (owner == of_bench) return run.bench.text + run.bench.rotor_text;
  }
  return std::nullopt;
}

std::optional<CertificateAge> age_of(const std::string& input, const campaign::Run& run) {
  constexpr std::string_view drift = ":drift";
  if (!input.ends_with(drift)) return std::nullopt;
  for (std::size_t i = 0; i < run.bench.channels.size(); ++i) {
    if (run.bench.channels[i].name != input.substr(0, input.size() - drift.size())) continue;
    const metrology::Certificate& certificate = run.certificates[i];
    const base::UtcTime first = run.points.front().start;
    const base::UtcTime last = run.points.back().start;
    return CertificateAge{
        .used = first + (last - first) / 2,
        .validity_s =
            std::chrono::duration<double>(certificate.valid_until - certificate.date).count()};
  }
  return std::nullopt;
}

}  // namespace

RunToCompare run_to_compare(const campaign::Run& run, std::string name) {
  RunToCompare result{.name = std::move(name),
                      .results = reduce({.points = points_of_run(run),
                                         .rotor = run.bench.rotor,
                                         .u_tip_radius_m = run.bench.u_tip_radius_m,
                                         .bench = &run.bench,
                                         .with_theory = false}),
                      .origins = {},
                      .ages = {}};
  for (const std::string& input : systematic_inputs(result.results)) {
    if (auto origin = origin_of(input, run)) result.origins[input] = *std::move(origin);
    if (const auto age = age_of(input, run)) result.ages[input] = *age;
  }
  return result;
}

RunToCompare points_to_compare(const ReductionInput& input, std::string name, bool same_sensors) {
  RunToCompare result{.name = std::move(name), .results = reduce(input), .origins = {}, .ages = {}};
  for (const std::string& each : systematic_inputs(result.results)) {
    if (each == density_equation) {
      result.origins[each] = "equation";
    } else if (same_sensors) {
      result.origins[each] = "the caller says so";
    }
  }
  return result;
}

}  // namespace windwright::analysis
