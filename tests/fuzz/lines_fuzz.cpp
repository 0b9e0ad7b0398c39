// SPDX-License-Identifier: Apache-2.0
// What a microcontroller sends, in pieces: the first byte says how long they are.
#include "bench/bench.h"
#include "bench/instrument_tables.h"
#include "devices/instrument_bench.h"
#include "devices/line_format.h"
#include "refuses.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <stdexcept>
#include <string>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  return takes_or_refuses(data, size, [](std::string_view bytes) {
    static const bench::Bench bench = devices::instrument_bench();
    static const bench::LinesDevice described = devices::counted_lines();
    if (bytes.empty()) return;
    const std::size_t piece = 1 + static_cast<std::uint8_t>(bytes.front());
    devices::LineSplitter splitter(false);
    const devices::LineFormat format(bench, described);
    for (std::size_t at = 1; at < bytes.size(); at += piece) {
      splitter.take(bytes.substr(at, piece));
      while (const auto line = splitter.next()) {
        devices::LineStamp stamp;
        std::array<std::int32_t, 2> counts{};
        if (format.read(line->text, stamp, counts) != devices::LineFormat::Kind::sample) continue;
        for (const std::int32_t count : counts) {
          if (count < 0 || count > 65535) throw std::logic_error("no count of this converter");
        }
      }
    }
  });
}
