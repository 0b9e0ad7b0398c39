// SPDX-License-Identifier: Apache-2.0
#include "devices/line_format.h"

#include "base/text.h"
#include "devices/counts.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

namespace windwright::devices {
namespace {

constexpr std::size_t most_columns = 256;  // instrument_tables.cpp allows no more

std::string_view without_blanks(std::string_view text, char delimiter) {
  const auto is_blank = [&](char letter) {
    return letter == ' ' || (letter == '\t' && delimiter != '\t');
  };
  while (!text.empty() && is_blank(text.front()))
    text.remove_prefix(1);
  while (!text.empty() && is_blank(text.back()))
    text.remove_suffix(1);
  return text;
}

// Takes *HH off. False: it is not there or does not fit.
bool take_checksum(std::string_view& line) {
  const std::size_t star = line.rfind('*');
  if (star == std::string_view::npos || line.size() - star != 3) return false;
  unsigned told = 0;
  const auto [end, error] =
      std::from_chars(line.data() + star + 1, line.data() + line.size(), told, 16);
  if (error != std::errc{} || end != line.data() + line.size()) return false;
  unsigned found = 0;
  for (const char letter : line.substr(0, star))
    found ^= static_cast<unsigned char>(letter);
  line = line.substr(0, star);
  return found == told;
}

}  // namespace

void LineSplitter::take(std::string_view bytes) {
  bytes_.erase(0, begin_);
  begin_ = 0;
  bytes_.append(bytes);
}

std::optional<LineSplitter::Line> LineSplitter::next() {
  while (true) {
    const std::size_t end = bytes_.find('\n', begin_);
    if (end == std::string::npos) {
      if (!skipping_ && bytes_.size() - begin_ <= longest) return std::nullopt;
      if (!skipping_) told_long_ = false;
      skipping_ = true;
      bytes_.clear();
      begin_ = 0;
      return std::nullopt;
    }
    std::string_view text(bytes_.data() + begin_, end - begin_);
    begin_ = end + 1;
    if (skipping_) {
      skipping_ = false;
      if (told_long_) continue;
      told_long_ = true;
      return Line{.text = {}, .whole = false};
    }
    if (text.ends_with('\r')) text.remove_suffix(1);
    return Line{.text = text, .whole = text.size() <= longest};
  }
}

// False: not as many as there should be.
bool LineFormat::take_columns(std::string_view line, std::span<std::string_view> columns) const {
  const char delimiter = described_.delimiter;
  std::size_t count = 0;
  line = without_blanks(line, delimiter);
  while (count < columns.size()) {
    const std::size_t end = delimiter == ' ' ? line.find_first_of(" \t") : line.find(delimiter);
    columns[count++] = without_blanks(line.substr(0, end), delimiter);
    if (end == std::string_view::npos) return count == columns.size();
    line.remove_prefix(end + 1);
    if (delimiter == ' ') line = without_blanks(line, delimiter);
  }
  return false;
}

bool LineFormat::read_stamp(std::span<const std::string_view> columns, LineStamp& stamp) const {
  if (described_.counter) {
    const std::string_view text = columns[*described_.counter];
    const auto [end, error] =
        std::from_chars(text.data(), text.data() + text.size(), stamp.counter);
    if (error != std::errc{} || end != text.data() + text.size() || text.empty()) return false;
    if (stamp.counter >> described_.counter_bits != 0) return false;
  }
  if (described_.time) {
    const auto time = base::number_from_text(columns[*described_.time]);
    if (!time || *time < 0.0 || *time >= std::ldexp(1.0, described_.time_bits)) return false;
    stamp.time = *time;
  }
  return true;
}

LineFormat::Kind LineFormat::read(std::string_view line, LineStamp& stamp,
                                  std::span<std::int32_t> counts) const {
  if (described_.checksum && !take_checksum(line)) return Kind::bad;
  std::array<std::string_view, most_columns> all;
  const std::span<std::string_view> columns(all.data(), described_.columns);
  if (!take_columns(line, columns)) return Kind::bad;
  if (std::ranges::equal(columns, described_.names)) return Kind::names;
  if (!read_stamp(columns, stamp)) return Kind::bad;
  for (std::size_t i = 0; i < described_.channels.size(); ++i) {
    const auto& [index, meaning] = described_.channels[i];
    const auto number = base::number_from_text(columns[index]);
    if (!number) return Kind::bad;
    const auto count = count_of(bench_.channels[i].converter, meaning, *number);
    if (!count) return Kind::bad;
    counts[i] = *count;
  }
  return Kind::sample;
}

}  // namespace windwright::devices
