// SPDX-License-Identifier: Apache-2.0
#include "server/journal.h"

#include "base/json.h"
#include "base/text.h"

#include <boost/json.hpp>

#include <algorithm>
#include <cctype>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <mutex>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {

namespace json = boost::json;

namespace {

std::string lower_case(std::string_view text) {
  std::string lower(text);
  for (char& letter : lower) {
    if (letter >= 'A' && letter <= 'Z') letter = static_cast<char>(letter - 'A' + 'a');
  }
  return lower;
}

bool holds_all(const std::string& line, const std::vector<std::string>& words) {
  if (words.empty()) return true;
  const std::string lower = lower_case(line);
  return std::all_of(words.begin(), words.end(), [&](const std::string& word) {
    return word.empty() || lower.find(word) != std::string::npos;
  });
}

// The line with its number, which is not in the file: it follows from the place there.
std::string numbered(const std::string& line, std::size_t number) {
  json::object object = base::json_from_text(line, "logbook").as_object();
  object["number"] = number;
  return base::json_line(object);
}

}  // namespace

Journal::Journal(const std::filesystem::path& file) {
  std::filesystem::create_directories(file.parent_path());
  logbook_ = std::make_unique<campaign::Logbook>(file);
  if (!std::filesystem::exists(file) || std::filesystem::file_size(file) == 0) return;
  for (const campaign::LogbookLine& line : campaign::logbook_lines(file))
    lines_.push_back(line.text);
}

std::int64_t Journal::add(base::UtcTime time, std::string_view event, const json::object& members) {
  json::object line{{"time", base::utc_text(time)}, {"event", event}};
  for (const auto& [key, value] : members)
    line[key] = value;
  const std::scoped_lock lock(mutex_);
  logbook_->add(time, event, members);
  lines_.push_back(base::json_line(line));
  return static_cast<std::int64_t>(lines_.size());
}

Journal::Page Journal::page(std::string_view search, std::int64_t before, std::size_t limit) const {
  const std::vector<std::string> words = base::split(lower_case(search), ' ');
  const std::scoped_lock lock(mutex_);
  Page page{.lines = {}, .more = false};
  std::size_t number = lines_.size();
  if (before > 0) number = std::min(number, static_cast<std::size_t>(before - 1));
  for (; number > 0; --number) {
    if (!holds_all(lines_[number - 1], words)) continue;
    if (page.lines.size() == limit) {
      page.more = true;
      break;
    }
    page.lines.push_back(numbered(lines_[number - 1], number));
  }
  return page;
}

}  // namespace windwright::server
