// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/output_counts.h"

#include <optional>
#include <string>
#include <vector>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

/// A data-acquisition board that Linux drives through comedi.
struct ComediDevice {
  /// What a voltage is measured against.
  enum class Reference { ground, common, differential, other };
  struct Input {
    unsigned channel;
    std::optional<unsigned> range;  // of the board's list; nothing: the one that is range_V
    Reference reference;
  };
  struct Output {
    enum class Kind { by_hand, analog, digital } kind = Kind::by_hand;
    unsigned subdevice = 0;
    unsigned channel = 0;  // digital: the first line
    unsigned range = 0;    // analog
    Reference reference = Reference::ground;
    unsigned lines = 0;  // digital: how many, the lowest bit of the count on the first
    OutputCounts counts;
  };
  std::string file;                   // such as /dev/comedi0
  std::optional<unsigned> subdevice;  // of the inputs; nothing: the board's streaming one
  std::vector<Input> channels;        // as the bench has them
  std::vector<Output> outputs;        // as the bench has its actuators
  double timeout_s;                   // without a sample: it is started again
  double longest_outage_s;            // without a sample: a fault
  double longest_drift_s;             // between the two clocks; above, it is told
};

/// What [device], every [channel.device] and every [actuator.device] say.
/// @throws BadInput  with file and line
ComediDevice comedi_device(const base::Settings& root, const base::Settings& device);

}  // namespace windwright::bench
