// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/output_counts.h"

#include <string>
#include <vector>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

/// A converter of Linux's Industrial I/O subsystem, in this computer or behind iiod in another.
/// Source of names, formats and units: Linux kernel, Documentation/ABI/testing/sysfs-bus-iio.
struct IioDevice {
  struct Output {
    std::string device;   // empty: the actuator is changed by hand
    std::string channel;  // an output with an attribute `raw`
    OutputCounts counts;
  };
  std::string uri;                    // "local:" or "ip:HOST[:PORT]"
  std::string name;                   // of the converter, or its id
  std::string trigger;                // that it samples at; empty: as it is
  bool gaps_by_time;                  // its time stamps tell what was lost within the stream
  std::vector<std::string> channels;  // ids of scan channels, as the bench has its channels
  std::vector<Output> outputs;        // as the bench has its actuators
  double timeout_s;                   // for the samples of one reading, and for a command
  double longest_outage_s;            // without a sample: a fault
  double longest_drift_s;             // between the two clocks; above, it is told
};

/// What [device], every [channel.device] and every [actuator.device] say.
/// @throws BadInput  with file and line
IioDevice iio_device(const base::Settings& root, const base::Settings& device);

}  // namespace windwright::bench
