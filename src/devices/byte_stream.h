// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/instrument_tables.h"

#include <cstddef>
#include <memory>
#include <span>
#include <string_view>

namespace windwright::devices {

/// Bytes to and from one peer.
class ByteStream {
 public:
  virtual ~ByteStream() = default;
  /// Waits until something has come.
  /// @param longest_s  0 or more
  /// @return  how many bytes of the buffer were filled; 0: nothing came in this time
  /// @throws LinkLost  closed by the peer, unplugged
  virtual std::size_t read(std::span<char> buffer, double longest_s) = 0;
  /// Hands all of it to the system.
  /// @throws LinkLost  closed, or not taken within longest_s
  virtual void write(std::string_view bytes, double longest_s) = 0;
};

/// Opens a serial port (raw, eight data bits, its driver's old bytes thrown away) or connects by
/// TCP.
/// @param longest_s  for the connection, and for looking up the host's name
/// @throws LinkLost  there is none
std::unique_ptr<ByteStream> open_stream(const bench::Endpoint& endpoint, double longest_s);

/// For messages: `port /dev/ttyACM0` or `10.0.0.7:5025`.
std::string endpoint_text(const bench::Endpoint& endpoint);

}  // namespace windwright::devices
