// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "publishing/overheard_device.h"
#include "publishing/publisher.h"

#include <boost/json/fwd.hpp>

#include <memory>
#include <optional>
#include <string>

namespace CLI {
class App;
}

namespace windwright::cli {

/// Adds `--publish none`.
void add_publish_option(CLI::App& verb, std::string& publish);

/// A verb's device, published where the bench has [publish] and nobody said `none`.
class Published {
 public:
  /// @throws BadInput  a file that [publish] names
  Published(const bench::Bench& bench, const std::string& option, publishing::Doing doing);

  /// From now on the publisher hears what this device gives and is told. Call it once.
  /// @return  the device to drive
  bench::Device& overhear(bench::Device& device);
  /// Nothing where nothing is published.
  publishing::Publisher* publisher() { return publisher_.get(); }
  /// Tells the end, and on stderr what somebody should know of the publishing. Once; nothing where
  /// nothing is published.
  void finish(const publishing::Ended& ended);
  /// topic, messages, remarks; null where nothing is published. After finish().
  boost::json::value summary() const;

 private:
  const bench::Bench& bench_;
  std::unique_ptr<publishing::Publisher> publisher_;
  std::optional<publishing::OverheardDevice> overheard_;
  bool finished_ = false;
};

}  // namespace windwright::cli
