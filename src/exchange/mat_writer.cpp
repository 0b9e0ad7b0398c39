// SPDX-License-Identifier: Apache-2.0
#include "base/clock.h"
#include "base/errors.h"
#include "exchange/output_file.h"
#include "exchange/value_table.h"

#include <fmt/format.h>

#include <cstddef>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::exchange {

namespace {

// Types of data and classes of arrays, by the numbers of the format's tables.
constexpr std::uint32_t mi_int8 = 1;
constexpr std::uint32_t mi_uint16 = 4;
constexpr std::uint32_t mi_int32 = 5;
constexpr std::uint32_t mi_uint32 = 6;
constexpr std::uint32_t mi_double = 9;
constexpr std::uint32_t mi_matrix = 14;
constexpr std::uint32_t struct_class = 2;
constexpr std::uint32_t char_class = 4;
constexpr std::uint32_t double_class = 6;
constexpr std::size_t unit_bytes = 8;  // every element begins at a multiple
constexpr std::int64_t largest_array = (std::int64_t{1} << 31) - 1024;
constexpr std::size_t longest_name = 63;

template <typename Number>
void put(std::string& to, Number value) {
  to.append(reinterpret_cast<const char*>(&value), sizeof value);  // little-endian, as told by "IM"
}

std::string element(std::uint32_t type, std::string_view bytes) {
  std::string made;
  put(made, type);
  put(made, static_cast<std::uint32_t>(bytes.size()));
  made += bytes;
  made.resize((made.size() + unit_bytes - 1) / unit_bytes * unit_bytes, '\0');
  return made;
}

std::string int32s(std::initializer_list<std::int64_t> values) {
  std::string bytes;
  for (const std::int64_t value : values)
    put(bytes, static_cast<std::int32_t>(value));
  return element(mi_int32, bytes);
}

// What an array says before its data: class, dimensions, name.
std::string array_head(std::uint32_t kind, std::int64_t rows, std::int64_t columns,
                       const std::string& name) {
  std::string flags;
  put(flags, kind);
  put(flags, std::uint32_t{0});
  return element(mi_uint32, flags) + int32s({rows, columns}) + element(mi_int8, name);
}

std::string doubles(const std::string& name, std::span<const double> values) {
  const std::string_view bytes(reinterpret_cast<const char*>(values.data()), values.size_bytes());
  return element(mi_matrix,
                 array_head(double_class, static_cast<std::int64_t>(values.size()), 1, name) +
                     element(mi_double, bytes));
}

// UTF-8 to code units of UTF-16; what is no UTF-8 becomes U+FFFD.
std::u16string utf16(std::string_view text) {
  std::u16string units;
  for (std::size_t i = 0; i < text.size();) {
    const auto lead = static_cast<unsigned char>(text[i++]);
    const int more = lead < 0x80 ? 0 : lead >= 0xf0 ? 3 : lead >= 0xe0 ? 2 : lead >= 0xc0 ? 1 : -1;
    char32_t code = more <= 0 ? lead : lead & (0x3fU >> more);
    bool whole = more >= 0;
    for (int k = 0; k < more; ++k) {
      whole = whole && i < text.size() && (static_cast<unsigned char>(text[i]) & 0xc0U) == 0x80U;
      if (whole) code = (code << 6U) | (static_cast<unsigned char>(text[i++]) & 0x3fU);
    }
    if (!whole) code = 0xfffd;
    if (code < 0x10000) {
      units += static_cast<char16_t>(code);
    } else {
      units += static_cast<char16_t>(0xd800 + ((code - 0x10000) >> 10U));
      units += static_cast<char16_t>(0xdc00 + ((code - 0x10000) & 0x3ffU));
    }
  }
  return units;
}

std::string characters(const std::string& name, std::string_view text) {
  const std::u16string units = utf16(text);
  const std::string_view bytes(reinterpret_cast<const char*>(units.data()), 2 * units.size());
  return element(mi_matrix, array_head(char_class, units.empty() ? 0 : 1,
                                       static_cast<std::int64_t>(units.size()), name) +
                                element(mi_uint16, bytes));
}

// A structure of texts, by field.
std::string structure(const std::string& name,
                      const std::vector<std::pair<std::string, std::string>>& fields) {
  constexpr std::size_t name_bytes = longest_name + 1;  // with a zero behind
  std::string names;
  std::string values;
  for (const auto& [field, text] : fields) {
    std::string padded = field;
    padded.resize(name_bytes, '\0');
    names += padded;
    values += characters("", text);
  }
  // Four bytes of data go into the second half of the tag.
  std::string length;
  put(length, mi_int32 | (4U << 16U));
  put(length, static_cast<std::uint32_t>(name_bytes));
  return element(mi_matrix,
                 array_head(struct_class, 1, 1, name) + length + element(mi_int8, names) + values);
}

std::string file_head(const TableHead& head) {
  constexpr std::size_t text_bytes = 124;
  constexpr std::size_t word_bytes = 116;
  std::string text = "MATLAB 5.0 MAT-file, written by windwright export: " + head.title;
  text.resize(word_bytes, ' ');
  text.resize(text_bytes, '\0');
  put(text, std::uint16_t{0x0100});
  return text + "IM";
}

class MatWriter final : public TableWriter {
 public:
  MatWriter(const std::filesystem::path& file, const TableHead& head) : file_(file) {
    const std::int64_t bytes = head.rows * static_cast<std::int64_t>(sizeof(double));
    if (bytes > largest_array) {
      throw base::BadInput("--into",
                           fmt::format("{} rows are more than a MAT-file of level 5 holds in one "
                                       "array ({})",
                                       head.rows, largest_array / 8),
                           "a shorter --from --to, --bins, or a .nc file");
    }
    for (const Column& column : head.columns) {
      if (column.name.size() <= longest_name) continue;
      throw base::BadInput(column.name,
                           fmt::format("a name of {} characters, a MAT-file takes {}",
                                       column.name.size(), longest_name),
                           "a shorter name in the bench's file, or a .nc or .csv file");
    }
    std::vector<std::pair<std::string, std::string>> units;
    std::vector<std::pair<std::string, std::string>> long_names;
    for (const Column& column : head.columns) {
      units.emplace_back(column.name, column.unit);
      long_names.emplace_back(column.name, column.long_name);
    }
    std::vector<double> gap_at_s;
    std::vector<double> gap_samples;
    for (const MissedSamples& gap : head.gaps) {
      gap_at_s.push_back(gap.at_s);
      gap_samples.push_back(static_cast<double>(gap.samples));
    }
    put_text(file_head(head) + characters("title", head.title) +
             characters("start_utc", base::utc_text(head.start)) +
             doubles("sample_rate_hz", std::span(&head.sample_rate_hz, 1)) +
             structure("units", units) + structure("long_names", long_names) +
             doubles("gap_at_s", gap_at_s) + doubles("gap_missed_samples", gap_samples));
    for (const Column& column : head.columns) {
      std::string array = array_head(double_class, head.rows, 1, column.name);
      put_tag(array, mi_double, bytes);
      std::string whole;
      put_tag(whole, mi_matrix, static_cast<std::int64_t>(array.size()) + bytes);
      put_text(whole + array);
      places_.push_back(end_);
      end_ += bytes;
    }
  }

  void write(std::span<const std::vector<double>> columns) override {
    for (std::size_t i = 0; i < columns.size(); ++i) {
      const std::string_view bytes(reinterpret_cast<const char*>(columns[i].data()),
                                   columns[i].size() * sizeof(double));
      file_.write_at(places_[i], bytes);
      places_[i] += static_cast<std::int64_t>(bytes.size());
    }
  }

  void finish() override { file_.finish(); }

 private:
  static void put_tag(std::string& to, std::uint32_t type, std::int64_t bytes) {
    put(to, type);
    put(to, static_cast<std::uint32_t>(bytes));
  }
  void put_text(const std::string& bytes) {
    file_.write_at(end_, bytes);
    end_ += static_cast<std::int64_t>(bytes.size());
  }

  OutputFile file_;
  std::int64_t end_ = 0;
  std::vector<std::int64_t> places_;  // (columns) where the next row's value goes
};

}  // namespace

std::unique_ptr<TableWriter> mat_writer(const std::filesystem::path& file, const TableHead& head) {
  return std::make_unique<MatWriter>(file, head);
}

}  // namespace windwright::exchange
