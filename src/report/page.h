// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

/// A whole page around its sections: one self-contained HTML document.
/// @param title  text, escaped here
/// @param body   HTML
std::string page(std::string_view title, std::string_view body);

/// Heading of a page without a run, and where its data come from; both text, escaped here.
std::string page_opening(std::string_view title, std::string_view source);

/// Where a page without a run has its figures from; text, escaped here.
std::string data_section(std::string_view files, std::string_view software);

/// A list of sentences (text) under a heading; empty without any.
std::string sentence_list(std::string_view heading, const std::vector<std::string>& sentences);

}  // namespace windwright::report
