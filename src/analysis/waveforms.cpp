// SPDX-License-Identifier: Apache-2.0
#include "analysis/waveforms.h"

#include "analysis/recorded_channel.h"
#include "base/errors.h"
#include "base/table.h"
#include "recording/recording.h"
#include "signal/ac_power.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace {

[[noreturn]] void refuse_stretch(const WaveformRequest& request, double first_s, double last_s) {
  throw base::BadInput(
      request.file.string() + ":1",
      fmt::format("has no samples from {:g} s to {:g} s", request.from_s, request.to_s),
      fmt::format("--from and --to between {:.6g} and {:.6g}", first_s, last_s));
}

// Steps of one size, to half of it: coarser printing of the time does no harm, a missing row shows.
double even_rate_hz(const base::Table& table, const std::vector<double>& time_s) {
  const std::size_t rows = time_s.size();
  if (rows < 2) {
    throw base::BadInput(table.place(0), "is the only row", "two rows or more");
  }
  const double step_s = (time_s.back() - time_s.front()) / static_cast<double>(rows - 1);
  for (std::size_t row = 1; row < rows; ++row) {
    const double this_s = time_s[row] - time_s[row - 1];
    const double even_s = time_s.front() + static_cast<double>(row) * step_s;
    if (this_s > 0.0 && std::abs(this_s - step_s) <= 0.5 * step_s &&
        std::abs(time_s[row] - even_s) <= 0.5 * step_s) {
      continue;
    }
    throw base::BadInput(
        table.place(row),
        fmt::format("time_s goes from {} to {}, by {:.6g} s", time_s[row - 1], time_s[row], this_s),
        fmt::format("even steps, here of {:.6g} s: a gap must not be bridged; cut the file there, "
                    "or print the time with more digits",
                    step_s));
  }
  return 1.0 / step_s;
}

Waveforms from_csv(const WaveformRequest& request) {
  const auto table = base::Table::from_file(request.file);
  const std::vector<double> time_s = table.numbers(table.required_column("time_s"));
  const std::size_t voltage = table.required_column(request.voltage);
  const std::size_t current = table.required_column(request.current);
  Waveforms result{
      .sample_rate_hz = even_rate_hz(table, time_s), .pieces = {}, .gaps = {}, .remarks = {}};
  WaveformPiece piece;
  for (std::size_t row = 0; row < time_s.size(); ++row) {
    if (time_s[row] < request.from_s || time_s[row] >= request.to_s) continue;
    piece.voltage_V.push_back(table.number(row, voltage));
    piece.current_A.push_back(table.number(row, current));
  }
  if (piece.voltage_V.empty()) refuse_stretch(request, time_s.front(), time_s.back());
  result.pieces.push_back(std::move(piece));
  return result;
}

Waveforms from_recording(const WaveformRequest& request) {
  const recording::Recording recording(request.file);
  CalibratedChannel voltage(recording, request.file, request.voltage, "V");
  CalibratedChannel current(recording, request.file, request.current, "A");
  const double rate_hz = recording.sample_rate_hz();
  Waveforms result{.sample_rate_hz = rate_hz, .pieces = {}, .gaps = {}, .remarks = {}};
  if (recording.samples() == 0) {
    throw base::BadInput(request.file.string() + ":1", "holds no samples", "a recording with some");
  }
  const std::vector<Stretch> runs = stretches_of(recording);
  const std::int64_t origin = runs.front().device_first;
  std::int64_t end = 0;  // device's count after the piece before
  for (const Stretch& run : runs) {
    const std::int64_t skip = samples_before(run, request.from_s, origin, rate_hz);
    const std::int64_t count = samples_before(run, request.to_s, origin, rate_hz) - skip;
    if (count <= 0) continue;
    const std::int64_t device_first = run.device_first + skip;
    if (!result.pieces.empty()) {
      result.gaps.push_back({.at_s = static_cast<double>(device_first - origin) / rate_hz,
                             .missing_s = static_cast<double>(device_first - end) / rate_hz});
    }
    end = device_first + count;
    result.pieces.push_back({.voltage_V = voltage.values(run.first + skip, count),
                             .current_A = current.values(run.first + skip, count)});
  }
  if (result.pieces.empty()) {
    refuse_stretch(
        request, 0.0,
        static_cast<double>(runs.back().device_first + runs.back().count - origin) / rate_hz);
  }
  voltage.remark(result.remarks);
  current.remark(result.remarks);
  return result;
}

}  // namespace

Waveforms waveforms(const WaveformRequest& request) {
  return is_recording(request.file) ? from_recording(request) : from_csv(request);
}

signal::PairPower power_of(const Waveforms& waveforms, const std::filesystem::path& file) {
  std::vector<signal::PairStretch> stretches;
  stretches.reserve(waveforms.pieces.size());
  for (const WaveformPiece& piece : waveforms.pieces)
    stretches.push_back({.voltage_V = piece.voltage_V, .current_A = piece.current_A});
  return signal::pair_power(stretches, waveforms.sample_rate_hz, {}, file.string());
}

}  // namespace windwright::analysis
