// SPDX-License-Identifier: Apache-2.0
#include "campaign/known_input.h"

#include "base/errors.h"
#include "signal/statistics.h"

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace windwright::campaign {

namespace {

constexpr double rest_s = 0.2;  // for the sensor, after the device says it is laid on

}  // namespace

KnownInput::KnownInput(bench::Device& device, const std::string& channel, double value)
    : device_(device) {
  device_.apply_known_input(channel, value);
}

void KnownInput::remove() {
  removed_ = true;
  device_.remove_known_input();
}

KnownInput::~KnownInput() {
  if (removed_) return;
  try {
    device_.remove_known_input();
  } catch (const base::DeviceFault&) {
    // The fault that brought us here is already on its way up.
  }
}

MeanVoltage mean_voltage(const bench::Bench& bench, std::size_t channel, bench::Device& device,
                         double seconds) {
  const bench::Converter& converter = bench.channels[channel].converter;
  bench::SampleBlock block;
  const auto wanted = static_cast<std::size_t>(std::ceil(seconds * device.sample_rate_hz()));
  const auto rest = static_cast<std::size_t>(std::ceil(rest_s * device.sample_rate_hz()));
  for (std::size_t passed = 0; passed < rest; passed += block.samples)
    device.read(block);
  std::vector<double> reading_V;
  while (reading_V.size() < wanted) {
    device.read(block);
    if (block.gap_before) reading_V.clear();
    for (const std::int32_t count : block.channel(channel))
      reading_V.push_back(bench::volts(converter, count));
  }
  const signal::CorrelatedMean mean = signal::mean_of_correlated(reading_V);
  // Where the noise does not reach from one count to the next, averaging does not help either: the
  // value lies anywhere within the step (rectangular distribution, JCGM 100:2008 F.2.2.1).
  const double step_V = (converter.upper_V - converter.lower_V) / std::exp2(converter.bits);
  const bool coarse = signal::variance(reading_V) < step_V * step_V;
  const double u_step_V = coarse ? step_V / std::sqrt(12.0) : 0.0;
  return {.reading_V = mean.mean, .u_V = std::hypot(mean.u, u_step_V), .dof = mean.dof};
}

MeanVoltage voltage_under(const bench::Bench& bench, std::size_t channel, bench::Device& device,
                          double value, double seconds) {
  KnownInput input(device, bench.channels[channel].name, value);
  const MeanVoltage mean = mean_voltage(bench, channel, device, seconds);
  input.remove();
  return mean;
}

}  // namespace windwright::campaign
