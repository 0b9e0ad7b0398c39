// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cmath>
#include <cstddef>
#include <functional>
#include <vector>

namespace windwright::signal {

/// Samples of a function of time in cycles, `offset` of a sample off the first instant.
inline std::vector<double> sampled(const std::function<double(double)>& of_cycles, double rate_hz,
                                   double frequency_Hz, double seconds, double offset = 0.5) {
  std::vector<double> samples(static_cast<std::size_t>(std::lround(rate_hz * seconds)));
  for (std::size_t n = 0; n < samples.size(); ++n)
    samples[n] = of_cycles((static_cast<double>(n) + offset) * frequency_Hz / rate_hz);
  return samples;
}

}  // namespace windwright::signal
