// SPDX-License-Identifier: Apache-2.0
#include "report/page.h"

#include "report/html.h"
#include "report/notation.h"

#include <fmt/format.h>

#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

std::string page(std::string_view title, std::string_view body) {
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<title>{}</title>\n<style>{}</style>\n</head>\n<body>\n<main>\n{}</main>\n</body>\n"
      "</html>\n",
      escaped(title), style_sheet(), body);
}

std::string page_opening(std::string_view title, std::string_view source) {
  std::string html = fmt::format("<h1>{}</h1>\n", escaped(title));
  if (!source.empty()) {
    html +=
        fmt::format("<p class=\"about\"><span class=\"bench\">{}</span></p>\n", escaped(source));
  }
  return html;
}

std::string data_section(std::string_view files, std::string_view software) {
  FactList facts;
  facts.fact("Data", files);
  facts.fact("Software", fmt::format("Windwright {}", software));
  return section("Where these figures come from", facts.html(), "short");
}

std::string sentence_list(std::string_view heading, const std::vector<std::string>& sentences) {
  if (sentences.empty()) return {};
  std::string items;
  for (const std::string& sentence : sentences)
    items += fmt::format("<li>{}</li>\n", prose(capitalised(sentence)));
  return section(heading, "<ul>\n" + items + "</ul>\n", "short");
}

}  // namespace windwright::report
