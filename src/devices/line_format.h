// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/instrument_tables.h"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace windwright::devices {

/// Bytes as they come, parted into lines at LF; a CR before it is no part of the line.
class LineSplitter {
 public:
  static constexpr std::size_t longest = 4096;
  struct Line {
    std::string_view text;  // until the next call
    bool whole;             // false: longer than `longest`, and thrown away
  };

  /// @param begins_inside  the first bytes may be the end of a line, which is passed over
  explicit LineSplitter(bool begins_inside) : skipping_(begins_inside) {}

  void take(std::string_view bytes);
  /// Nothing: more bytes are needed. Memory stays within `longest` and one piece of bytes.
  std::optional<Line> next();

 private:
  std::string bytes_;
  std::size_t begin_ = 0;
  bool skipping_;          // to the end of this line
  bool told_long_ = true;  // of the line being skipped
};

/// What a line says about when its sample was taken.
struct LineStamp {
  std::uint64_t counter = 0;
  double time = 0.0;  // in the unit of its column
};

/// The lines of one microcontroller.
class LineFormat {
 public:
  /// What a line is; `bad`: another number of columns, a wanted column that is no finite number or
  /// no count of its converter, a counter that is not whole or beyond its bits, a wrong checksum.
  enum class Kind { sample, names, bad };

  LineFormat(const bench::Bench& bench, const bench::LinesDevice& described)
      : bench_(bench), described_(described) {}
  /// @param counts  (channels of the bench) filled where it is a sample
  Kind read(std::string_view line, LineStamp& stamp, std::span<std::int32_t> counts) const;

 private:
  bool take_columns(std::string_view line, std::span<std::string_view> columns) const;
  bool read_stamp(std::span<const std::string_view> columns, LineStamp& stamp) const;

  const bench::Bench& bench_;
  const bench::LinesDevice& described_;
};

}  // namespace windwright::devices
