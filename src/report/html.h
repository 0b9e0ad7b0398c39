// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

/// The report's style sheet: screen, phone and A4.
std::string_view style_sheet();

struct Column {
  std::string heading;  // HTML
  bool numeric = false;
};

/// A table with a heading row that repeats on every page. Cells are HTML: whoever fills them
/// escapes what comes from outside.
class HtmlTable {
 public:
  /// @param kind  class of the style sheet, may be empty
  explicit HtmlTable(std::vector<Column> columns, std::string kind = "");
  /// @param emphasis  the row is set bold
  void row(const std::vector<std::string>& cells, bool emphasis = false);
  std::size_t rows() const { return rows_; }
  std::string html() const;

 private:
  std::vector<Column> columns_;
  std::string kind_;
  std::string body_;
  std::size_t rows_ = 0;
};

/// Names and what belongs to them, for facts that are no series.
class FactList {
 public:
  /// @param name   text, escaped here
  /// @param value  text, escaped here
  void fact(std::string_view name, std::string_view value);
  std::string html() const;

 private:
  std::string body_;
};

/// A picture with its caption (HTML); nothing without a picture.
std::string figure(std::string_view pictures, std::string_view caption);
/// A section with its heading (HTML); nothing without content.
/// @param kind  class of the style sheet; `page` begins a new one in print, `short` stays on one
std::string section(std::string_view heading, std::string_view content, std::string_view kind = "");
std::string paragraph(std::string_view html, std::string_view kind = "");

}  // namespace windwright::report
