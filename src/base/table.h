// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::base {

/// A CSV file with one header line and `#` comment lines anywhere, every row as long as the header.
/// Fields are separated by commas and carry no quotes: all our tables hold names and numbers.
class Table {
 public:
  /// @throws BadInput  with the line: unreadable file, no header, no rows, a row of another length,
  ///                   a header name twice or empty
  static Table from_file(const std::filesystem::path& file);
  static Table from_text(std::string_view text, std::string file);

  const std::string& file() const { return file_; }
  const std::vector<std::string>& header() const { return header_; }
  /// Comment lines without the leading `#` and blanks.
  const std::vector<std::string>& comments() const { return comments_; }
  std::size_t rows() const { return lines_.size(); }

  std::optional<std::size_t> column(std::string_view name) const;
  /// @throws BadInput  says which names the header has
  std::size_t required_column(std::string_view name) const;
  const std::string& text(std::size_t row, std::size_t column) const;
  /// @throws BadInput  not a number of at most 1e60 in size, as no quantity of ours is
  double number(std::size_t row, std::size_t column) const;
  /// Every value of a column, in row order.
  std::vector<double> numbers(std::size_t column) const;

  /// `file:line` of a row, or of the header.
  std::string place(std::size_t row) const;
  std::string header_place() const;
  std::string comment_place(std::size_t index) const;

 private:
  std::string file_;
  std::vector<std::string> header_;
  std::vector<std::string> comments_;
  std::vector<std::size_t> comment_lines_;  // (comments)
  std::vector<std::string> cells_;          // rows x columns, row by row
  std::vector<std::size_t> lines_;          // (rows)
  std::size_t header_line_ = 0;
};

}  // namespace windwright::base
