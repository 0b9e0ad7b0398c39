// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"

#include <boost/json/fwd.hpp>

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::publishing {

/// What a bench is doing, for its state topic.
struct Doing {
  std::string state;  // "recording", "waiting for a trigger", "conducting"
  std::string into;   // file or folder
  std::string software_version;
};

/// How that ended.
struct Ended {
  std::string ending;                     // "complete", "interrupted", "tripped", "fault", ...
  std::string cause;                      // in words; empty where it is complete
  std::vector<std::string> remarks = {};  // the device's
};

/// Publishes what a bench does to the broker that [publish] of its bench.toml names, on a thread of
/// its own: docs/publishing.md has topics and payloads. Whoever measures never waits for it: what
/// the thread or the broker cannot keep up with is left out of what is published, and told.
class Publisher {
 public:
  /// Does not wait for the broker.
  /// @param bench         with publish; outlives it
  /// @param certificates  (channels)
  /// @throws BadInput     a file that [publish] names
  Publisher(const bench::Bench& bench,
            const std::vector<std::optional<metrology::Certificate>>& certificates, Doing doing);
  /// Without finish() it ends without leave: the broker says "lost".
  ~Publisher();
  Publisher(const Publisher&) = delete;
  Publisher& operator=(const Publisher&) = delete;

  /// Copies a block for the thread, or leaves it out. No lock; no allocation after the first round
  /// of blocks of a size. From one thread, as all calls below.
  void hear(const bench::SampleBlock& block);
  void commanded(const bench::Actuator& actuator, double value);
  /// Members for the progress topic; only the newest count.
  void tell_progress(boost::json::object members);
  void tell_event(std::string_view event, boost::json::object members);
  /// The last values, the end and its remarks; waits for the broker no longer than two of its
  /// timeouts, and not at all where it is away.
  void finish(const Ended& ended);

  const std::string& topic() const;
  /// After finish(): messages that the broker has acknowledged.
  std::int64_t messages() const;
  /// After finish(): what somebody should know of the publishing, one line each.
  std::vector<std::string> remarks() const;

 private:
  class Thread;
  std::unique_ptr<Thread> thread_;
};

}  // namespace windwright::publishing
