// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/derived_table.h"
#include "metrology/block_program.h"
#include "metrology/certificate.h"
#include "metrology/estimate.h"
#include "metrology/program.h"
#include "recording/recording.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::analysis {

/// What a part of a window holds of a derived channel.
struct WorkedOut {
  std::int64_t values = 0;  // where the equation has one; else the rest is NaN
  double lowest;
  double highest;
  double mean;
  double deviation;  // divided by their number
};

/// A quantity that a recording's bench derives from its channels, worked out from their samples
/// through the certificates in the recording. It has a value wherever one of its channels has a
/// sample of its own; slower channels are held beside that. Where the equation is not finite, or a
/// channel is not known, there is none. The recording must outlive it.
class DerivedChannel {
 public:
  static bool is_there(const recording::Recording& recording, std::string_view name);
  /// @param file      of the recording, for messages
  /// @throws BadInput a channel in it has no certificate; an equation that cannot be read
  DerivedChannel(const recording::Recording& recording, const std::filesystem::path& file,
                 const std::string& name);

  const bench::DerivedChannel& described() const { return described_; }
  /// Samples of the device from one value to the next.
  std::int64_t every() const { return every_; }
  /// The first sample at or after this one of which every channel in it is known.
  std::int64_t known_from(std::int64_t sample) const;
  /// Values at samples first, first + every(), ...; NaN where there is none.
  void values(std::int64_t first, std::span<double> values) const;
  /// The values in each part.
  /// @param parts     following each other without a gap, all but the last a multiple of every()
  /// @throws BadInput together more than 16 777 216 values: nothing but all samples gives them
  std::vector<WorkedOut> parts(std::span<const recording::Window> parts) const;
  /// One value with the uncertainty of all certificates; what they have in common is in it once.
  metrology::Estimate estimate(std::int64_t sample) const;
  /// The same of a value such as a mean, with the sensitivities at the means of the channels.
  metrology::Estimate estimate_of_value(double value, const recording::Window& window) const;

 private:
  struct Input {
    std::size_t index;  // of the recording's channels
    std::string name;
    bench::Converter converter;
    metrology::Certificate certificate;
    std::int64_t every;
  };
  void take_input(std::size_t index);
  void forget_unknown(std::int64_t first, std::span<double> values) const;
  metrology::Estimate with_uncertainty(double value,
                                       std::span<const metrology::Estimate> inputs) const;

  const recording::Recording& recording_;
  std::filesystem::path file_;
  bench::DerivedChannel described_;
  metrology::Program program_;  // inputs: the recording's channels
  metrology::BlockProgram block_;
  std::vector<Input> inputs_;  // that the equation needs
  std::int64_t every_ = 0;
};

}  // namespace windwright::analysis
