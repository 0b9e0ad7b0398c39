// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/instrument_tables.h"
#include "devices/byte_stream.h"
#include "devices/line_format.h"
#include "devices/link.h"

#include <array>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace windwright::devices {

/// An instrument that is asked in the syntax of IEEE 488.2 and SCPI: messages of ASCII that end
/// with LF, both ways. An answer that does not come in time, or is not one, ends the connection, so
/// that no answer is ever taken for that to another query. The number that SCPI reserves for "not a
/// number" is a missed sample; those for the infinities are the ends of the converter's range.
/// Source: SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5 (numbers), volume 2, 21.8 (error queue);
/// IEEE 488.2-1992, 10.14 (*IDN?) and 10.3 (*CLS); numbers of sections from memory.
class ScpiLink final : public Link {
 public:
  /// Asks who is there and empties the error queue.
  /// @throws LinkLost; DeviceFault: another instrument answers
  ScpiLink(const bench::Bench& bench, const bench::ScpiDevice& described,
           std::unique_ptr<ByteStream> stream);

  /// @throws DeviceFault  the instrument says that it does not know a query
  void read(std::span<std::int32_t> counts) override;
  void set(std::size_t actuator, double value) override;
  void make_safe() override;
  void feed() override;

 private:
  void command(const std::string& message);
  std::string_view ask(std::string_view query);
  void send(std::string_view message);
  std::optional<std::string_view> answer();
  std::optional<std::string> first_error();
  void refuse(std::string_view message, const std::string& error) const;

  const bench::Bench& bench_;
  const bench::ScpiDevice& described_;
  std::unique_ptr<ByteStream> stream_;
  std::string name_;
  LineSplitter splitter_{false};
  std::string message_;
  std::array<char, 4096> bytes_{};
  std::chrono::steady_clock::time_point heard_;  // its identity
};

}  // namespace windwright::devices
