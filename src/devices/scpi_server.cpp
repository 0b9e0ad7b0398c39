// SPDX-License-Identifier: Apache-2.0
#include "devices/scpi_server.h"

#include "base/text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstddef>
#include <functional>
#include <iterator>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

constexpr std::size_t longest_message = 2048;
constexpr std::size_t most_errors = 20;

std::string_view words_of(int number) {
  switch (number) {
    case scpi_error::syntax:
      return "Syntax error";
    case scpi_error::data_type:
      return "Data type error";
    case scpi_error::parameter_not_allowed:
      return "Parameter not allowed";
    case scpi_error::missing_parameter:
      return "Missing parameter";
    case scpi_error::undefined_header:
      return "Undefined header";
    case scpi_error::suffix_out_of_range:
      return "Header suffix out of range";
    case scpi_error::settings_conflict:
      return "Settings conflict";
    case scpi_error::data_out_of_range:
      return "Data out of range";
    case scpi_error::illegal_parameter:
      return "Illegal parameter value";
    case scpi_error::queue_overflow:
      return "Queue overflow";
    default:
      return "Error";
  }
}

std::string upper(std::string_view text) {
  std::string found(text);
  for (char& letter : found)
    letter = static_cast<char>(std::toupper(static_cast<unsigned char>(letter)));
  return found;
}

// At separators outside quotes and parentheses.
std::vector<std::string> split_outside(std::string_view text, char separator) {
  std::vector<std::string> parts{""};
  int depth = 0;
  char quote = '\0';
  for (const char letter : text) {
    if (quote != '\0') {
      if (letter == quote) quote = '\0';
    } else if (letter == '"' || letter == '\'') {
      quote = letter;
    } else if (letter == '(') {
      ++depth;
    } else if (letter == ')') {
      --depth;
    } else if (letter == separator && depth == 0) {
      parts.emplace_back();
      continue;
    }
    parts.back() += letter;
  }
  return parts;
}

// In the standard event status register: which bit an error of this class sets.
unsigned event_of(int number) {
  if (number > -200) return 0x20;
  if (number > -300) return 0x10;
  if (number > -400) return 0x08;
  return 0x04;
}

// Neither a query nor a common command.
bool drives(std::string_view unit) {
  const std::string_view bare = base::trimmed(unit);
  const std::string_view header = bare.substr(0, bare.find_first_of(" \t("));
  return !header.ends_with('?') && !header.starts_with('*');
}

unsigned register_value(const ScpiCommand& command) {
  const double value = scpi_number(only_parameter(command));
  if (value < 0.0 || value > 255.0) throw ScpiError{scpi_error::data_out_of_range, "0 to 255"};
  return static_cast<unsigned>(std::lround(value));
}

}  // namespace

void require_no_parameter(const ScpiCommand& command) {
  if (!command.parameters.empty()) throw ScpiError{scpi_error::parameter_not_allowed, ""};
}

const std::string& only_parameter(const ScpiCommand& command) {
  if (command.parameters.empty()) throw ScpiError{scpi_error::missing_parameter, ""};
  if (command.parameters.size() > 1) throw ScpiError{scpi_error::parameter_not_allowed, ""};
  return command.parameters[0];
}

double scpi_number(std::string_view text) {
  const auto number = base::number_from_text(text);
  if (!number) throw ScpiError{scpi_error::data_type, "a decimal number"};
  return *number;
}

std::vector<int> channel_list(std::string_view text, int highest) {
  const std::string_view bare = base::trimmed(text);
  if (!bare.starts_with("(@") || !bare.ends_with(')'))
    throw ScpiError{scpi_error::data_type, "a channel list, such as (@1,3:5)"};
  std::vector<int> channels;
  for (const std::string& part : base::split(bare.substr(2, bare.size() - 3), ',')) {
    const std::vector<std::string> ends = base::split(part, ':');
    if (ends.size() > 2) throw ScpiError{scpi_error::data_type, "a channel list, such as (@1,3:5)"};
    const double first = scpi_number(ends.front());
    const double last = scpi_number(ends.back());
    for (const double end : {first, last}) {
      if (!(end >= 1.0 && end <= highest && end == std::floor(end)))
        throw ScpiError{scpi_error::data_out_of_range, fmt::format("channels 1 to {}", highest)};
    }
    const int step = first <= last ? 1 : -1;
    for (int channel = static_cast<int>(first); channel != static_cast<int>(last) + step;
         channel += step)
      channels.push_back(channel);
    if (channels.size() > 1000) throw ScpiError{scpi_error::data_out_of_range, "fewer channels"};
  }
  return channels;
}

ScpiSession::ScpiSession(std::vector<std::string> identity, std::function<void()> reset)
    : reset_(std::move(reset)) {
  for (std::string& field : identity) {
    std::replace(field.begin(), field.end(), ',', ' ');
    identity_ += (identity_.empty() ? "" : ",") + field;
  }
  const auto next = [this](const ScpiCommand& command) -> std::optional<std::string> {
    require_no_parameter(command);
    if (errors_.empty()) return "0,\"No error\"";
    const ScpiError error = errors_.front();
    errors_.pop_front();
    return fmt::format("{},\"{}{}{}\"", error.number, words_of(error.number),
                       error.text.empty() ? "" : ";", error.text);
  };
  add("SYSTem:ERRor[:NEXT]?", next);
  add("SYSTem:ERRor:COUNt?", [this](const ScpiCommand& command) {
    require_no_parameter(command);
    return std::optional(fmt::format("{}", errors_.size()));
  });
  add("SYSTem:VERSion?", [](const ScpiCommand& command) {
    require_no_parameter(command);
    return std::optional<std::string>("1999.0");
  });
}

void ScpiSession::add(std::string_view pattern, Handler handler) {
  Entry entry{.nodes = {}, .query = pattern.ends_with('?'), .handler = std::move(handler)};
  for (std::string part : base::split(pattern, ':')) {
    const bool optional = part.ends_with(']') || part.ends_with("]?");
    std::erase_if(part, [](char letter) { return letter == ']' || letter == '?'; });
    const bool opens = part.ends_with('[');
    if (opens) part.pop_back();
    const bool numbered = part.ends_with('#');
    if (numbered) part.pop_back();
    std::string short_form;
    std::copy_if(part.begin(), part.end(), std::back_inserter(short_form),
                 [](unsigned char letter) { return std::islower(letter) == 0; });
    entry.nodes.push_back({.short_form = short_form,
                           .long_form = upper(part),
                           .optional = optional,
                           .numbered = numbered});
  }
  entries_.push_back(std::move(entry));
}

const ScpiSession::Entry* ScpiSession::find(const std::vector<std::string>& words, bool query,
                                            int& suffix) const {
  const auto fits = [&suffix](const Node& node, const std::string& word) {
    const std::size_t end = node.numbered ? word.find_last_not_of("0123456789") + 1 : word.size();
    const std::string name = word.substr(0, end);
    if (name != node.short_form && name != node.long_form) return false;
    if (end < word.size()) {
      if (word.size() - end > 4) throw ScpiError{scpi_error::suffix_out_of_range, ""};
      suffix = std::stoi(word.substr(end));
    }
    return true;
  };
  for (const Entry& entry : entries_) {
    if (entry.query != query) continue;
    std::size_t word = 0;
    bool found = true;
    suffix = 1;
    for (const Node& node : entry.nodes) {
      if (word < words.size() && fits(node, words[word])) {
        ++word;
      } else if (!node.optional) {
        found = false;
        break;
      }
    }
    if (found && word == words.size()) return &entry;
  }
  return nullptr;
}

std::optional<std::string> ScpiSession::common(const std::string& header,
                                               const ScpiCommand& command) {
  if (header == "*ESE") {
    event_enable_ = register_value(command);
    return {};
  }
  if (header == "*SRE") {
    request_enable_ = register_value(command) & ~0x40U;
    return {};
  }
  require_no_parameter(command);
  if (header == "*IDN?") return identity_;
  if (header == "*CLS") {
    errors_.clear();
    events_ = 0;
  } else if (header == "*RST") {
    reset_();
  } else if (header == "*ESE?") {
    return fmt::format("{}", event_enable_);
  } else if (header == "*ESR?") {
    return fmt::format("{}", std::exchange(events_, 0U));
  } else if (header == "*OPC") {
    events_ |= 0x01U;
  } else if (header == "*OPC?") {
    return "1";
  } else if (header == "*SRE?") {
    return fmt::format("{}", request_enable_);
  } else if (header == "*STB?") {
    unsigned status = errors_.empty() ? 0U : 0x04U;
    if ((events_ & event_enable_) != 0) status |= 0x20U;
    if ((status & request_enable_) != 0) status |= 0x40U;
    return fmt::format("{}", status);
  } else if (header == "*TST?") {
    return "0";
  } else if (header != "*WAI") {
    throw ScpiError{scpi_error::undefined_header, header};
  }
  return {};
}

std::optional<std::string> ScpiSession::execute(std::string_view unit, std::string& path) {
  const std::string_view bare = base::trimmed(unit);
  if (bare.empty()) return {};
  const std::size_t end = std::min(bare.find_first_of(" \t("), bare.size());
  std::string header = upper(bare.substr(0, end));
  ScpiCommand command;
  if (const std::string_view rest = base::trimmed(bare.substr(end)); !rest.empty()) {
    for (const std::string& parameter : split_outside(rest, ','))
      command.parameters.emplace_back(base::trimmed(parameter));
  }
  if (header.starts_with('*')) return common(header, command);
  const bool query = header.ends_with('?');
  if (query) header.pop_back();
  if (header.starts_with(':')) {
    header.erase(0, 1);
  } else if (!path.empty()) {
    header = path + ":" + header;
  }
  const Entry* entry = find(base::split(header, ':'), query, command.suffix);
  if (entry == nullptr) throw ScpiError{scpi_error::undefined_header, header + (query ? "?" : "")};
  path = header.substr(0, std::min(header.rfind(':'), header.size()));
  if (header.find(':') == std::string::npos) path.clear();
  return entry->handler(command);
}

void ScpiSession::complain(const ScpiError& error) {
  events_ |= event_of(error.number);
  std::string text = error.text.substr(0, 200);
  std::erase_if(text, [](char letter) {
    return letter == '"' || static_cast<unsigned char>(letter) < ' ' ||
           static_cast<unsigned char>(letter) > '~';
  });
  if (errors_.size() < most_errors) {
    errors_.push_back({error.number, text});
  } else {
    errors_.back() = {scpi_error::queue_overflow, ""};
  }
}

std::string ScpiSession::answer(std::string_view message) {
  std::string answers;
  std::string path;
  bool failed = false;
  for (const std::string& unit : split_outside(message, ';')) {
    try {
      // A fan must not start because the load before it was misspelt.
      if (failed && drives(unit)) continue;
      if (const auto answered = execute(unit, path))
        answers += (answers.empty() ? "" : ";") + *answered;
    } catch (const ScpiError& error) {
      complain(error);
      failed = true;
    }
  }
  return answers.empty() ? answers : answers + '\n';
}

std::optional<std::size_t> ScpiSession::converse(std::string_view received, std::string& out) {
  const std::size_t end = received.find('\n');
  if (end == std::string_view::npos) {
    if (received.size() > longest_message) return std::nullopt;
    return 0;
  }
  out += answer(received.substr(0, end));
  return end + 1;
}

}  // namespace windwright::devices
