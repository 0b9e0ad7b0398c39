// SPDX-License-Identifier: Apache-2.0
#include "analysis/derived_channel.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "bench/derived_table.h"
#include "metrology/block_program.h"
#include "metrology/certificate.h"
#include "metrology/derivatives.h"
#include "metrology/equation.h"
#include "metrology/estimate.h"
#include "metrology/program.h"
#include "recording/recording.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <iterator>
#include <limits>
#include <numeric>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::analysis {
namespace {

constexpr double none = std::numeric_limits<double>::quiet_NaN();
constexpr std::int64_t most_values = std::int64_t{1} << 24;
constexpr std::int64_t read_at_once = 1 << 18;

auto named(const recording::Recording& recording, std::string_view name) {
  const std::vector<bench::DerivedChannel>& list = recording.derivation().list;
  return std::find_if(list.begin(), list.end(),
                      [&](const bench::DerivedChannel& each) { return each.name == name; });
}

// The wanted one first, then the others, which it may name.
metrology::Program program_of(const recording::Recording& recording,
                              const std::filesystem::path& file,
                              const bench::DerivedChannel& wanted) {
  std::vector<metrology::Equation> equations;
  const auto add = [&](const bench::DerivedChannel& derived) {
    equations.push_back({.name = derived.name,
                         .text = derived.equation,
                         .where = fmt::format("{}: equation of {}", file.string(), derived.name)});
  };
  add(wanted);
  for (const bench::DerivedChannel& other : recording.derivation().list) {
    if (other.name != wanted.name) add(other);
  }
  return metrology::compiled(
      equations, 1,
      {.inputs = recording.channels(),
       .constants = {{.name = "tip_radius_m", .value = recording.derivation().tip_radius_m}}});
}

// Sums about the first value lose nothing where values lie close together and far from 0.
class Sums {
 public:
  void add(double value) {
    if (!std::isfinite(value)) return;
    if (values_ == 0) lowest_ = highest_ = about_ = value;
    lowest_ = std::min(lowest_, value);
    highest_ = std::max(highest_, value);
    const double step = value - about_;
    sum_ += step;
    squares_ += step * step;
    ++values_;
  }
  WorkedOut result() const {
    if (values_ == 0)
      return {.values = 0, .lowest = none, .highest = none, .mean = none, .deviation = none};
    const auto number = static_cast<double>(values_);
    const double mean = sum_ / number;
    return {.values = values_,
            .lowest = lowest_,
            .highest = highest_,
            .mean = about_ + mean,
            .deviation = std::sqrt(std::max(0.0, squares_ / number - mean * mean))};
  }

 private:
  std::int64_t values_ = 0;
  double lowest_ = 0.0;
  double highest_ = 0.0;
  double about_ = 0.0;
  double sum_ = 0.0;
  double squares_ = 0.0;
};

}  // namespace

bool DerivedChannel::is_there(const recording::Recording& recording, std::string_view name) {
  const std::vector<std::string>& channels = recording.channels();
  return named(recording, name) != recording.derivation().list.end() &&
         std::find(channels.begin(), channels.end(), name) == channels.end();
}

DerivedChannel::DerivedChannel(const recording::Recording& recording,
                               const std::filesystem::path& file, const std::string& name)
    : recording_(recording),
      file_(file),
      described_(*named(recording, name)),
      program_(program_of(recording, file, described_)),
      block_(metrology::block_program(program_)) {
  const std::vector<bool> behind = metrology::inputs_behind(program_, program_.outputs.front());
  for (std::size_t i = 0; i < behind.size(); ++i) {
    if (behind[i]) take_input(i);
  }
  if (inputs_.empty()) {
    throw base::BadInput(fmt::format("{}: equation of {}", file.string(), name),
                         "does not depend on any channel", "one that names a channel at least");
  }
}

void DerivedChannel::take_input(std::size_t index) {
  const std::string& name = recording_.channels()[index];
  const recording::ChannelNote note = recording_.note(name);
  const std::string where = fmt::format("{}: {}", file_.string(), described_.name);
  if (note.certificate.empty()) {
    throw base::BadInput(where, fmt::format("is made of {}, recorded without a certificate", name),
                         "a channel whose inputs were calibrated before it was recorded");
  }
  inputs_.push_back({.index = index,
                     .name = name,
                     .converter = note.converter,
                     .certificate = metrology::certificate_from_text(
                         note.certificate, fmt::format("{}: certificate of {}", where, name)),
                     .every = note.every});
  every_ = std::gcd(every_, note.every);
}

std::int64_t DerivedChannel::known_from(std::int64_t sample) const {
  for (std::int64_t known = sample;; sample = known) {
    for (const Input& input : inputs_)
      known = recording_.known_from(input.name, known);
    if (known == sample) return known;
  }
}

// Behind a gap, until every slow channel has its next sample.
void DerivedChannel::forget_unknown(std::int64_t first, std::span<double> values) const {
  const auto place = [&](std::int64_t sample) {
    const std::int64_t at = (sample - first + every_ - 1) / every_;
    return std::clamp<std::int64_t>(at, 0, std::ssize(values));
  };
  for (const recording::Gap& gap : recording_.gaps()) {
    if (gap.before_sample >= first + std::ssize(values) * every_) break;
    const std::int64_t known = known_from(gap.before_sample);
    if (known <= first) continue;
    std::fill(values.begin() + place(gap.before_sample), values.begin() + place(known), none);
  }
}

void DerivedChannel::values(std::int64_t first, std::span<double> values) const {
  constexpr std::size_t length = metrology::block_trials;
  std::vector<double> rows(block_.rows * length);
  metrology::lay_constants(block_, rows.data());
  const double* result = rows.data() + block_.outputs.front() * length;
  const auto step = static_cast<std::size_t>(every_);
  const std::size_t some =
      static_cast<std::size_t>(std::max<std::int64_t>(1, read_at_once / every_));
  std::vector<std::vector<double>> columns(inputs_.size());
  for (std::size_t done = 0; done < values.size(); done += some) {
    const std::span<double> part = values.subspan(done, std::min(some, values.size() - done));
    for (std::size_t k = 0; k < inputs_.size(); ++k) {
      const auto counts =
          recording_.counts(inputs_[k].name, first + static_cast<std::int64_t>(done * step),
                            static_cast<std::int64_t>((part.size() - 1) * step) + 1);
      columns[k].resize(part.size());
      for (std::size_t i = 0; i < part.size(); ++i)
        columns[k][i] = bench::volts(inputs_[k].converter, counts[i * step]);
      metrology::values_of(inputs_[k].certificate, columns[k], columns[k]);
    }
    for (std::size_t at = 0; at < part.size(); at += length) {
      const std::size_t count = std::min(length, part.size() - at);
      for (std::size_t k = 0; k < inputs_.size(); ++k)
        std::copy_n(columns[k].begin() + static_cast<std::ptrdiff_t>(at), count,
                    rows.data() + inputs_[k].index * length);
      metrology::run_block(block_, rows.data());
      for (std::size_t i = 0; i < count; ++i)
        part[at + i] = std::isfinite(result[i]) ? result[i] : none;
    }
  }
  forget_unknown(first, values);
}

std::vector<WorkedOut> DerivedChannel::parts(std::span<const recording::Window> parts) const {
  std::vector<WorkedOut> all;
  if (parts.empty()) return all;
  const std::int64_t first = parts.front().first;
  const std::int64_t end = parts.back().first + parts.back().count;
  const std::int64_t wanted = (end - first + every_ - 1) / every_;
  if (wanted > most_values) {
    throw base::BadInput(
        file_.string() + ":1",
        fmt::format("{} is worked out from every sample, and the window has {} of them",
                    described_.name, wanted),
        fmt::format("at most {}: --from and --to within {:.6g} s of each other", most_values,
                    static_cast<double>(most_values * every_) / recording_.sample_rate_hz()));
  }
  std::vector<double> some(static_cast<std::size_t>(std::min(wanted, read_at_once)));
  Sums sums;
  for (std::int64_t done = 0; done < wanted; done += std::ssize(some)) {
    const auto now = std::span(some).first(
        static_cast<std::size_t>(std::min(wanted - done, static_cast<std::int64_t>(some.size()))));
    values(first + done * every_, now);
    for (std::size_t i = 0; i < now.size(); ++i) {
      const std::int64_t sample = first + (done + static_cast<std::int64_t>(i)) * every_;
      while (sample >= parts[all.size()].first + parts[all.size()].count) {
        all.push_back(sums.result());
        sums = {};
      }
      sums.add(now[i]);
    }
  }
  all.push_back(sums.result());
  all.resize(parts.size(), Sums().result());
  return all;
}

metrology::Estimate DerivedChannel::with_uncertainty(
    double value, std::span<const metrology::Estimate> inputs) const {
  std::vector<double> point(program_.inputs, 0.0);
  for (std::size_t k = 0; k < inputs.size(); ++k)
    point[inputs_[k].index] = inputs[k].value();
  const std::vector<double> by = metrology::sensitivities(program_, point).front();
  metrology::Estimate result(value);
  for (std::size_t k = 0; k < inputs.size(); ++k) {
    const metrology::Estimate about(inputs[k].value());
    result = result + by[inputs_[k].index] * (inputs[k] - about);
  }
  return result;
}

metrology::Estimate DerivedChannel::estimate(std::int64_t sample) const {
  std::vector<metrology::Estimate> inputs;
  for (const Input& input : inputs_) {
    const double counts = recording_.counts(input.name, sample, 1).front();
    inputs.push_back(
        metrology::estimate_of(input.certificate, bench::volts(input.converter, counts)));
  }
  double value = none;
  values(sample, {&value, 1});
  return with_uncertainty(value, inputs);
}

metrology::Estimate DerivedChannel::estimate_of_value(double value,
                                                      const recording::Window& window) const {
  std::vector<metrology::Estimate> inputs;
  for (const Input& input : inputs_) {
    const double counts = recording_.bins(input.name, window, 1).front().mean;
    inputs.push_back(
        metrology::estimate_of(input.certificate, bench::volts(input.converter, counts)));
  }
  return with_uncertainty(value, inputs);
}

}  // namespace windwright::analysis
