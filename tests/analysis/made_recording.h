// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/files.h"
#include "base/json.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "fresh_folder.h"
#include "metrology/certificate.h"
#include "recording/recording.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <array>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <numbers>
#include <string>

namespace windwright::analysis {

namespace fs = std::filesystem;

inline constexpr double rate_hz = 10000.0;
inline constexpr double frequency_Hz = 51.3;
inline constexpr int bits = 16;
// volts = 0.1 + 0.02 V and volts = -0.2 + 0.5 A
inline constexpr std::array<double, 2> offset_V{0.1, -0.2};
inline constexpr std::array<double, 2> sensitivity{0.02, 0.5};

inline bench::Bench bench_in(const fs::path& folder, bool certified) {
  bench::Bench bench{};
  bench.sample_rate_hz = rate_hz;
  const std::array<std::string, 3> names{"ac_voltage_V", "ac_current_A", "air_speed_m_s"};
  const std::array<std::string, 3> units{"V", "A", "m s-1"};
  for (std::size_t k = 0; k < names.size(); ++k) {
    bench::Channel channel{};
    channel.name = names[k];
    channel.long_name = names[k];
    channel.unit = units[k];
    channel.converter = {.lower_V = -10.0, .upper_V = 10.0, .bits = bits};
    channel.certificate = folder / (names[k] + ".json");
    if (certified && k < 2) {
      metrology::Readings readings;
      for (const double value : {-400.0, -200.0, 0.0, 200.0, 400.0}) {
        const double reference = k == 0 ? value : value / 40.0;
        readings.reference.push_back(reference);
        readings.reading.push_back(offset_V[k] + sensitivity[k] * reference);
      }
      metrology::Certificate empty{};
      empty.channel = names[k];
      empty.model = "line";
      empty.reference_unit = units[k];
      empty.reading_unit = "V";
      const auto certificate = metrology::calibrate(empty, readings, names[k]);
      base::write_whole(channel.certificate, base::json_text(metrology::to_json(certificate)));
    }
    bench.channels.push_back(channel);
  }
  return bench;
}

inline std::int32_t count_of(double volts) {
  return static_cast<std::int32_t>(std::lround((volts + 10.0) / 20.0 * (1 << bits) - 0.5));
}

// 230 V and 3 A, the current 60 degrees late.
inline bench::SampleBlock block_from(std::int64_t first, std::size_t samples, bool gap_before) {
  bench::SampleBlock block;
  block.first_sample = first;
  block.gap_before = gap_before;
  block.channels = 3;
  block.samples = samples;
  const std::array<double, 2> rms{230.0, 3.0};
  const std::array<double, 2> late_rad{0.0, std::numbers::pi / 3.0};
  for (std::size_t c = 0; c < 3; ++c) {
    for (std::size_t n = 0; n < samples; ++n) {
      const double t_s = static_cast<double>(first + static_cast<std::int64_t>(n)) / rate_hz;
      const double value =
          c == 2 ? 0.0
                 : std::numbers::sqrt2 * rms[c] *
                       std::sin(2.0 * std::numbers::pi * frequency_Hz * t_s - late_rad[c]);
      block.counts.push_back(count_of(c == 2 ? 1.0 : offset_V[c] + sensitivity[c] * value));
    }
  }
  return block;
}

inline fs::path recording_in(const fs::path& folder, bool certified = true) {
  const fs::path file = folder / "recording.h5";
  const base::UtcTime start{std::chrono::hours(24 * 365 * 50)};
  recording::Recorder recorder =
      recording::Recorder::create(file, bench_in(folder, certified), {"made-up", start});
  recorder.append(block_from(0, 6000, false));
  recorder.append(block_from(9000, 7000, true));  // 0.3 s missing
  return file;
}

}  // namespace windwright::analysis
