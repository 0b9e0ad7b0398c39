// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::devices {

/// A host whose name nobody answers for: while one of these lives, looking it up lasts until it
/// goes, and ten seconds at most. Stands in front of the system's getaddrinfo in this program, for
/// this one name.
class SilentNameServer {
 public:
  static constexpr const char* host = "bench.silent.invalid";
  SilentNameServer();
  ~SilentNameServer();
  SilentNameServer(const SilentNameServer&) = delete;
  SilentNameServer& operator=(const SilentNameServer&) = delete;
};

}  // namespace windwright::devices
