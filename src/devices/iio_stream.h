// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/iio_table.h"
#include "devices/sample_stream.h"

#include <cstddef>
#include <memory>

namespace windwright::devices {

/// A converter of Linux's Industrial I/O, read through libiio's buffers: at sample_rate_hz, by the
/// trigger that is named, raw counts after the format that its scan channels state (bits, shift,
/// sign, byte order). A signed count is counted from the bottom of its range. Attributes go by the
/// units of the kernel's ABI (volts are (raw + offset) x scale / 1000).
/// Source: Linux kernel, Documentation/ABI/testing/sysfs-bus-iio.
class IioStream final : public SampleStream {
 public:
  /// Connects, checks format and range of every channel against the bench's converters, and sets
  /// rate and trigger. Over a network libiio itself waits up to 5 s for each answer while
  /// connecting, whatever timeout_s says.
  /// @throws LinkLost     not reached, or no sense in what it answers
  /// @throws DeviceFault  no such converter, channel or trigger; another format, range or rate
  IioStream(const bench::Bench& bench, const bench::IioDevice& described);
  ~IioStream() override;
  IioStream(const IioStream&) = delete;
  IioStream& operator=(const IioStream&) = delete;

  /// Takes no longer than timeout_s, however slowly bytes come.
  void read(Chunk& chunk) override;
  void set(std::size_t actuator, double value) override;

 private:
  struct Converter;
  std::unique_ptr<Converter> converter_;
};

}  // namespace windwright::devices
