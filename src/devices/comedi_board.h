// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/comedi_table.h"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

namespace windwright::devices {

/// What a board's driver says of one input.
struct ComediInput {
  struct Range {
    double lower_V;
    double upper_V;
  };
  std::uint32_t largest_count;
  std::vector<Range> ranges;  // in the driver's order; those that are not volts have NaN
};

/// One input as a command names it.
struct ComediScan {
  unsigned channel;
  unsigned range;
  bench::ComediDevice::Reference reference;
};

/// The little that is used of comedilib, so that what stands on it can be tried without a board.
/// Every function may throw LinkLost.
class ComediBoard {
 public:
  virtual ~ComediBoard() = default;
  /// The subdevice whose inputs can be read as a stream; nothing is wrong with another that can.
  virtual unsigned streaming_subdevice() = 0;
  virtual unsigned channels(unsigned subdevice) = 0;
  virtual ComediInput input(unsigned subdevice, unsigned channel) = 0;
  /// Bytes of one value in the stream: 2 or 4, in the order of this computer.
  virtual std::size_t value_bytes(unsigned subdevice) = 0;
  /// Begins to scan these inputs again and again.
  /// @return  the nearest period that the board can do; if it is not the wanted one it does not
  /// begin
  virtual std::uint32_t start(unsigned subdevice, std::span<const ComediScan> scans,
                              std::uint32_t period_ns) = 0;
  /// Waits for bytes of the stream, 0 where none have come in time.
  /// @throws LinkLost  the board stopped: its buffer ran over
  virtual std::size_t read(std::span<std::byte> bytes, double longest_s) = 0;
  virtual void write_analog(const bench::ComediDevice::Output& output, std::uint32_t count) = 0;
  /// Sets `lines` digital lines, which become outputs, together.
  virtual void write_digital(const bench::ComediDevice::Output& output, std::uint32_t bits) = 0;
};

/// Opens the device file. @throws LinkLost  none there, not allowed, no driver configured
std::unique_ptr<ComediBoard> open_comedi_board(const std::string& file);

}  // namespace windwright::devices
