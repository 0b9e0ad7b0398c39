// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/comedi_table.h"
#include "devices/comedi_board.h"
#include "devices/sample_stream.h"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <vector>

namespace windwright::devices {

/// The inputs of a board as a stream of whole samples at sample_rate_hz, raw counts from 0 at the
/// bottom of the range. comedi puts count 0 at the lower and the last count at the upper end of a
/// range; here counts have steps, so that both differ by at most half a step, which certificates
/// take in.
class ComediStream final : public SampleStream {
 public:
  /// Checks every channel's counts and range against the bench's converters.
  /// @param board  open
  /// @throws DeviceFault  no such subdevice or channel; other bits, range or rate
  ComediStream(const bench::Bench& bench, const bench::ComediDevice& described,
               std::unique_ptr<ComediBoard> board);

  void read(Chunk& chunk) override;
  void set(std::size_t actuator, double value) override;

 private:
  void find_inputs();
  unsigned range_index(std::size_t channel, const ComediInput& input) const;
  void start();
  std::size_t take(Chunk& chunk);

  const bench::Bench& bench_;
  const bench::ComediDevice& described_;
  std::unique_ptr<ComediBoard> board_;
  unsigned subdevice_ = 0;
  std::size_t value_bytes_ = 0;
  std::vector<ComediScan> scans_;       // as the bench has its channels
  std::vector<std::uint32_t> largest_;  // count, the same
  bool started_ = false;
  std::vector<std::byte> bytes_;
  std::size_t held_ = 0;  // bytes of a sample that is not whole yet
};

}  // namespace windwright::devices
