// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "bench/forwarding_device.h"

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::station {

/// Who listens to what a device gives and is told, on the thread that drives it.
class Hearing {
 public:
  virtual ~Hearing() = default;
  /// A short block, as soon as it is there. @return  true: stop the bench now
  virtual bool heard(const bench::SampleBlock& block) = 0;
  /// A whole block, before whoever reads it has it. @return  true: stop the bench now
  virtual bool whole(const bench::SampleBlock& block) = 0;
  virtual void commanded(std::string_view actuator, double value) = 0;
  virtual void stopped() = 0;
  /// Nothing: it was taken off.
  virtual void known_input(std::string_view channel, std::optional<double> value) = 0;
};

/// A device that gives short blocks, for whoever drives it a device with the bench's own blocks:
/// viewers see samples early, interlocks and steadiness are judged on the blocks that the bench
/// describes.
class HeardDevice final : public bench::ForwardingDevice {
 public:
  /// All three outlive it. @param device  opened with short blocks
  HeardDevice(const bench::Bench& bench, bench::Device& device, Hearing& hearing);

  void set(std::string_view actuator, double value) override;
  void apply_known_input(std::string_view channel, double value) override;
  void remove_known_input() override;
  /// A whole block; less only where a gap follows.
  void read(bench::SampleBlock& block) override;
  void stop() noexcept override;
  void return_to(std::string_view bookmark) override;

 private:
  void next_part(bench::SampleBlock& part);
  void join(std::size_t parts, bench::SampleBlock& block) const;

  Hearing& hearing_;
  std::size_t wanted_;                      // samples of a whole block
  std::string channel_;                     // with a known input
  std::vector<bench::SampleBlock> parts_;   // kept between blocks, so that nothing is allocated
  std::optional<bench::SampleBlock> left_;  // read already, belongs to the next block
};

/// The bench with blocks short enough for viewers, at most 0.05 s and a whole part of its own.
bench::Bench with_short_blocks(bench::Bench bench);

}  // namespace windwright::station
