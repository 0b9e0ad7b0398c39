// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/instrument_tables.h"

#include <chrono>
#include <utility>

namespace windwright::devices {

/// Owns an open file or socket; a negative number is none.
class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  ~Descriptor();
  Descriptor(Descriptor&& other) noexcept : number_(other.release()) {}
  Descriptor& operator=(Descriptor&&) = delete;
  int number() const { return number_; }
  /// Whoever asks closes it.
  int release() { return std::exchange(number_, -1); }

 private:
  int number_;
};

std::chrono::steady_clock::time_point deadline_in(double seconds);
/// @param events  as of poll
/// @return        false: the deadline passed
/// @throws LinkLost
bool wait_for(int descriptor, short events, std::chrono::steady_clock::time_point deadline);

/// A socket that does not block nor gather small writes. Of several addresses behind a name the
/// first that answers.
/// @param longest_s  for looking up the host's name and the connection together
/// @throws LinkLost  not in this time
Descriptor connected_by_tcp(const bench::TcpAddress& address, double longest_s);

/// Before a library is let look a host's name up for as long as the system likes.
/// @throws LinkLost  there is none of this name, or it was not found in this time
void require_known_host(const bench::TcpAddress& address, double longest_s);

}  // namespace windwright::devices
