// SPDX-License-Identifier: Apache-2.0
#include "campaign/field_adjustment.h"

#include "base/errors.h"
#include "campaign/known_input.h"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <functional>

namespace windwright::campaign {

namespace {

constexpr double reading_s = 1.0;
constexpr int readings_a_point = 3;

using Corrected = std::function<double(double reading_V)>;

// Bench, channel and device of one adjustment, and who looks on.
struct Session {
  const bench::Bench& bench;
  std::size_t channel;
  bench::Device& device;
  const metrology::Certificate& before;
  const std::function<void(const LiveReading&)>& show;
};

metrology::FieldPoint measured(const Session& session, const FieldReference& reference, int times,
                               const Corrected& corrected) {
  KnownInput input(session.device, session.bench.channels[session.channel].name, reference.value);
  double sum_V = 0.0;
  double variance = 0.0;
  for (int time = 0; time < times; ++time) {
    const MeanVoltage mean =
        mean_voltage(session.bench, session.channel, session.device, reading_s);
    sum_V += mean.reading_V;
    variance += mean.u_V * mean.u_V;
    session.show({.time = session.device.now(),
                  .reference = reference.value,
                  .reading_V = mean.reading_V,
                  .value = metrology::value_of(session.before, mean.reading_V),
                  .adjusted = corrected(mean.reading_V)});
  }
  input.remove();
  const double reading_V = sum_V / times;
  const double u_V = std::sqrt(variance) / times;
  return {.reading = reading_V,
          .reference = reference.value,
          .u = std::hypot(reference.u, metrology::sensitivity(session.before, reading_V) * u_V),
          .as_found = metrology::value_of(session.before, reading_V)};
}

metrology::Certificate certificate_of(const bench::Channel& channel) {
  metrology::Certificate certificate = metrology::certificate_from_file(channel.certificate);
  if (certificate.channel == channel.name && certificate.reference_unit == channel.unit)
    return certificate;
  throw base::BadInput(
      channel.certificate.string() + ":1",
      fmt::format("is of {} in {}", certificate.channel, certificate.reference_unit),
      fmt::format("a certificate of {} in {}", channel.name, channel.unit));
}

}  // namespace

metrology::Certificate adjust_in_field(const bench::Bench& bench, std::size_t channel,
                                       bench::Device& device,
                                       const std::array<FieldReference, 2>& references,
                                       const std::function<void(const LiveReading&)>& show) {
  const metrology::Certificate before = certificate_of(bench.channels.at(channel));
  const Session session{bench, channel, device, before, show};
  const auto certified = [&before](double reading_V) {
    return metrology::value_of(before, reading_V);
  };
  const metrology::FieldPoint first = measured(session, references[0], readings_a_point, certified);
  // One point gives the offset alone.
  const double offset = first.reference - certified(first.reading);
  const metrology::FieldPoint second =
      measured(session, references[1], readings_a_point,
               [&](double reading_V) { return certified(reading_V) + offset; });
  metrology::Certificate after = before;
  after.adjustment = metrology::FieldAdjustment{.points = {first, second}, .date = device.now()};
  metrology::require_adjustment(after, bench.channels[channel].name);
  for (std::size_t point = 0; point < references.size(); ++point) {
    const metrology::FieldPoint again =
        measured(session, references[point], 1,
                 [&after](double reading_V) { return metrology::value_of(after, reading_V); });
    after.adjustment->points[point].as_left = metrology::value_of(after, again.reading);
  }
  return after;
}

}  // namespace windwright::campaign
