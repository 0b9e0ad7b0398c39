// SPDX-License-Identifier: Apache-2.0
#include "publishing/interval_values.h"

#include "base/clock.h"
#include "metrology/estimate.h"
#include "metrology/quantity.h"

#include <boost/json.hpp>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::publishing {

namespace json = boost::json;

IntervalValues::IntervalValues(
    const bench::Bench& bench,
    const std::vector<std::optional<metrology::Certificate>>& certificates)
    : certificates_(certificates),
      live_(bench, certificates),
      power_(bench, certificates),
      sums_(live_.channels().size()),
      sample_rate_hz_(bench.sample_rate_hz) {}

void IntervalValues::begin_anew() {
  samples_ = 0;
}

// Two sets of samples become one: Chan, Golub and LeVeque, The American Statistician 37 (1983) 242.
void IntervalValues::take(const bench::SampleBlock& block) {
  live_.take(block);
  power_.take(block);
  const auto before = static_cast<double>(samples_);
  const auto more = static_cast<double>(block.samples);
  const double all = before + more;
  for (std::size_t i = 0; i < sums_.size(); ++i) {
    const acquisition::Figures& figures = live_.figures(i);
    Sums& sums = sums_[i];
    if (samples_ == 0) sums = {.lowest = figures.lowest, .highest = figures.highest};
    const double step = figures.mean - sums.mean;
    sums.mean += step * more / all;
    sums.squares +=
        more * figures.deviation * figures.deviation + step * step * before * more / all;
    sums.lowest = std::min(sums.lowest, figures.lowest);
    sums.highest = std::max(sums.highest, figures.highest);
  }
  samples_ += static_cast<std::int64_t>(block.samples);
  before_ = block.start + std::chrono::nanoseconds(std::llround(more / sample_rate_hz_ * 1e9));
}

std::optional<metrology::Estimate> IntervalValues::estimate(std::size_t channel) const {
  const auto& certificate = certificates_.at(channel);
  if (!certificate || !std::isfinite(sums_[channel].mean)) return std::nullopt;
  return metrology::estimate_of(*certificate,
                                metrology::reading_of(*certificate, sums_[channel].mean));
}

json::object IntervalValues::channel_payload(std::size_t index) const {
  const acquisition::LiveChannel& channel = live_.channels()[index];
  const Sums& sums = sums_[index];
  const double deviation = std::sqrt(sums.squares / static_cast<double>(samples_));
  const bool alternating = bench::is_alternating(channel.name);
  std::optional<metrology::Estimate> known;
  if (const auto& pair = channel.pair) {
    const auto voltage = estimate(pair->voltage);
    const auto current = estimate(pair->current);
    if (voltage && current) known = *voltage * *current;
  } else if (!alternating && index < certificates_.size()) {
    known = estimate(index);
  }
  json::object payload{{"value", alternating ? std::hypot(sums.mean, deviation) : sums.mean},
                       {"u", nullptr},
                       {"dof", nullptr},
                       {"unit", channel.unit},
                       {"of", alternating ? "rms" : "mean"},
                       {"calibrated", channel.calibrated},
                       {"deviation", deviation},
                       {"lowest", sums.lowest},
                       {"highest", sums.highest},
                       {"samples", samples_}};
  if (known) {
    payload["u"] = known->u();
    if (std::isfinite(known->dof())) payload["dof"] = known->dof();
  }
  return payload;
}

std::vector<std::pair<std::string, json::object>> IntervalValues::payloads(double age_s) const {
  std::vector<std::pair<std::string, json::object>> all;
  const auto add = [&](std::string topic, json::object payload) {
    payload["time"] = base::utc_text(before_);
    payload["age_s"] = age_s;
    all.emplace_back(std::move(topic), std::move(payload));
  };
  for (std::size_t i = 0; i < sums_.size(); ++i) {
    const acquisition::LiveChannel& channel = live_.channels()[i];
    // An alternating pair's power is told over whole cycles, below.
    if (channel.pair && bench::is_alternating(live_.channels()[channel.pair->voltage].name))
      continue;
    add("channel/" + channel.name, channel_payload(i));
  }
  for (std::size_t i = 0; i < power_.pairs().size(); ++i) {
    json::object payload{{"active_power_W", nullptr}, {"apparent_power_VA", nullptr},
                         {"power_factor", nullptr},   {"voltage_rms_V", nullptr},
                         {"current_rms_A", nullptr},  {"frequency_Hz", nullptr},
                         {"cycles", nullptr}};
    if (const std::optional<acquisition::AcFigures> figures = power_.newest(i)) {
      payload = {{"active_power_W", figures->active_power_W},
                 {"apparent_power_VA", figures->apparent_power_VA},
                 {"power_factor", figures->power_factor},
                 {"voltage_rms_V", figures->voltage_rms_V},
                 {"current_rms_A", figures->current_rms_A},
                 {"frequency_Hz", figures->frequency_Hz},
                 {"cycles", figures->cycles}};
    }
    add("power/" + power_.pairs()[i].name, std::move(payload));
  }
  return all;
}

}  // namespace windwright::publishing
