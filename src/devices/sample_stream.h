// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "devices/link.h"

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <vector>

namespace windwright::devices {

/// Samples that came together.
struct Chunk {
  std::vector<std::int32_t> counts;  // (samples x channels of the bench), in time
  std::vector<std::int64_t>
      time_ns;  // (samples) of the converter's own clock; empty: it tells none
};

/// One open converter that samples by a clock of its own. Its destructor closes it.
class SampleStream {
 public:
  virtual ~SampleStream() = default;
  /// Starts to sample where it does not yet, then waits for samples: at least one.
  /// @param chunk  filled anew; its memory is used again
  /// @throws LinkLost  none in time, some were lost in the converter's buffer, or it is gone
  virtual void read(Chunk& chunk) = 0;
  /// @param actuator  index in the bench
  /// @throws LinkLost; DeviceFault: refused
  virtual void set(std::size_t actuator, double value) = 0;
};

/// Opens the converter. @throws LinkLost; DeviceFault: it is not the one that is described
using OpenSamples = std::function<std::unique_ptr<SampleStream>()>;

}  // namespace windwright::devices
