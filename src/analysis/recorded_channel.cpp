// SPDX-License-Identifier: Apache-2.0
#include "analysis/recorded_channel.h"

#include "base/errors.h"
#include "base/units.h"
#include "bench/bench.h"
#include "metrology/certificate.h"
#include "recording/recording.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <ios>
#include <limits>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::analysis {

bool is_recording(const std::filesystem::path& file) {
  constexpr std::string_view mark = "\x89HDF\r\n\x1a\n";
  std::array<char, mark.size()> begin{};
  std::ifstream in(file, std::ios::binary);
  in.read(begin.data(), begin.size());
  return in && std::string_view(begin.data(), begin.size()) == mark;
}

CalibratedChannel::CalibratedChannel(const recording::Recording& recording,
                                     const std::filesystem::path& file, const std::string& name,
                                     std::string_view unit)
    : recording_(recording), name_(name), note_(recording.note(name)) {
  const std::string where = fmt::format("{}: {}", file.string(), name);
  if (!unit.empty()) base::require_unit(note_.unit, unit, where);
  if (note_.certificate.empty()) {
    throw base::BadInput(where, "was recorded without a certificate",
                         "a channel that was calibrated before it was recorded");
  }
  certificate_ = metrology::certificate_from_text(note_.certificate, where + ": certificate");
}

std::vector<double> CalibratedChannel::values(std::int64_t first, std::int64_t count) {
  const auto counts = recording_.counts(name_, first, count);
  std::vector<double> values(counts.size());
  for (std::size_t k = 0; k < counts.size(); ++k) {
    values[k] = bench::volts(note_.converter, counts[k]);
    if (!metrology::covers(certificate_, values[k])) ++beyond_;
  }
  all_ += counts.size();
  metrology::values_of(certificate_, values, values);
  return values;
}

void CalibratedChannel::remark(std::vector<std::string>& remarks) const {
  if (beyond_ == 0) return;
  remarks.push_back(fmt::format("{}: {:.3g} % of the samples lie outside what was calibrated",
                                name_,
                                100.0 * static_cast<double>(beyond_) / static_cast<double>(all_)));
}

std::int64_t samples_before(const Stretch& stretch, double time_s, std::int64_t origin,
                            double sample_rate_hz) {
  const double wanted = time_s * sample_rate_hz;
  // A time that was printed finds its sample again, after many hours too.
  const double rounding =
      std::max(1e-6, 4.0 * std::numeric_limits<double>::epsilon() * std::abs(wanted));
  const double before = std::isfinite(wanted) ? std::ceil(wanted - rounding) : wanted;
  return static_cast<std::int64_t>(
      std::clamp(before - static_cast<double>(stretch.device_first - origin), 0.0,
                 static_cast<double>(stretch.count)));
}

std::vector<Stretch> stretches_of(const recording::Recording& recording) {
  std::vector<Stretch> runs{{.first = 0, .count = recording.samples(), .device_first = 0}};
  for (const recording::Gap& gap : recording.gaps()) {
    Stretch& last = runs.back();
    if (gap.before_sample >= recording.samples()) break;
    const std::int64_t left = last.first + last.count - gap.before_sample;
    last.count -= left;
    if (last.count == 0) runs.pop_back();
    runs.push_back({.first = gap.before_sample, .count = left, .device_first = gap.device_sample});
  }
  return runs;
}

}  // namespace windwright::analysis
