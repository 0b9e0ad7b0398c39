// SPDX-License-Identifier: Apache-2.0
#include "devices/scpi_link.h"

#include "base/errors.h"
#include "base/text.h"
#include "devices/counts.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::devices {
namespace {

constexpr double scpi_not_a_number = 9.91e37;

/// The number of an answer `-113,"Undefined header"`; nothing: it is not of this form.
std::optional<int> error_number(std::string_view answer) {
  answer = base::trimmed(answer);
  if (answer.starts_with('+')) answer.remove_prefix(1);
  int number = 0;
  const char* end = answer.data() + answer.size();
  const auto [stopped, error] = std::from_chars(answer.data(), end, number);
  if (error != std::errc{} || end - stopped < 2) return std::nullopt;
  if (base::trimmed(std::string_view(stopped, 1)) != ",") return std::nullopt;
  const std::string_view text =
      base::trimmed(std::string_view(stopped + 1, static_cast<std::size_t>(end - stopped - 1)));
  return text.starts_with('"') ? std::optional(number) : std::nullopt;
}

/// One item of a comma-separated list; nothing: the list is shorter.
std::optional<std::string_view> item_of(std::string_view answer, std::size_t index) {
  for (; index > 0; --index) {
    const std::size_t comma = answer.find(',');
    if (comma == std::string_view::npos) return std::nullopt;
    answer.remove_prefix(comma + 1);
  }
  return answer.substr(0, answer.find(','));
}

std::string shown(std::string_view answer) {
  std::string text;
  for (const char letter : answer.substr(0, 60))
    text += letter >= 0x20 && letter < 0x7f ? letter : '?';
  return text;
}

}  // namespace

ScpiLink::ScpiLink(const bench::Bench& bench, const bench::ScpiDevice& described,
                   std::unique_ptr<ByteStream> stream)
    : bench_(bench),
      described_(described),
      stream_(std::move(stream)),
      name_("instrument at " + endpoint_text(described.endpoint)) {
  constexpr int most_reads = 16;  // of a greeting, or of what was meant for somebody else
  for (int i = 0; i < most_reads && stream_->read(bytes_, 0.0) > 0; ++i) {
  }
  const std::string identity(ask("*IDN?"));
  // IEEE 488.2 has an identity in ASCII: anything else is the line's doing, not another instrument.
  const bool is_text =
      std::all_of(identity.begin(), identity.end(), [](char c) { return c >= 0x20 && c < 0x7f; });
  if (!is_text) throw LinkLost("no identity in plain text");
  if (identity.find(described_.identity) == std::string::npos) {
    throw base::DeviceFault(
        name_, fmt::format("says that it is '{}'", shown(identity)),
        fmt::format("the address, and identity = \"{}\" in [device]", described_.identity));
  }
  send("*CLS");
  heard_ = std::chrono::steady_clock::now();
}

void ScpiLink::send(std::string_view message) {
  // Whatever came unasked would be taken for the answer to what is asked next.
  if (stream_->read(bytes_, 0.0) > 0 || splitter_.next())
    throw LinkLost("the instrument sent what it was not asked for");
  message_ = message;
  message_ += '\n';
  stream_->write(message_, described_.timeout_s);
}

// Nothing: none came in time.
std::optional<std::string_view> ScpiLink::answer() {
  using Clock = std::chrono::steady_clock;
  const auto begun = Clock::now();
  while (true) {
    if (const auto line = splitter_.next()) {
      if (!line->whole) throw LinkLost("an answer is longer than this program reads");
      return line->text;
    }
    const std::chrono::duration<double> passed = Clock::now() - begun;
    const double left_s = described_.timeout_s - passed.count();
    const std::size_t count = left_s > 0.0 ? stream_->read(bytes_, left_s) : 0;
    if (count == 0) return std::nullopt;
    splitter_.take(std::string_view(bytes_.data(), count));
  }
}

void ScpiLink::refuse(std::string_view message, const std::string& error) const {
  throw base::DeviceFault(name_, fmt::format("refused '{}': {}", message, shown(error)),
                          "this message in the bench's file, and the instrument's manual");
}

// An instrument does not answer what it does not know, but says so when asked.
std::string_view ScpiLink::ask(std::string_view query) {
  send(query);
  if (const auto found = answer()) return *found;
  if (!described_.error_query.empty()) {
    send(described_.error_query);
    const auto error = answer();
    if (error && error_number(*error).value_or(0) != 0) refuse(query, std::string(*error));
  }
  throw LinkLost(fmt::format("no answer to '{}' within {:g} s", query, described_.timeout_s));
}

void ScpiLink::read(std::span<std::int32_t> counts) {
  for (const auto& query : described_.queries) {
    const std::string_view found = ask(query.text);
    const auto refused = [&](const char* wrong) {
      throw LinkLost(fmt::format("the answer to '{}' {}: '{}'", query.text, wrong, shown(found)));
    };
    for (const auto& [channel, index, meaning] : query.items) {
      const auto item = item_of(found, index);
      if (!item) refused("has too few items");
      const auto number = base::number_from_text(*item);
      if (!number) refused("is not a number");
      if (*number == scpi_not_a_number)
        throw SampleMissed(fmt::format("'{}' answers that it is not a number", query.text));
      const auto count = count_of(bench_.channels[channel].converter, meaning, *number);
      if (!count) refused("is no count of the channel's converter");
      counts[channel] = *count;
    }
  }
}

// The first error of the queue, which is empty then.
std::optional<std::string> ScpiLink::first_error() {
  constexpr int most_errors = 50;
  std::optional<std::string> first;
  for (int i = 0; i < most_errors; ++i) {
    const std::string error(ask(described_.error_query));
    const auto number = error_number(error);
    if (!number) {
      throw LinkLost(fmt::format("the answer to '{}' is not an error's number and text: '{}'",
                                 described_.error_query, shown(error)));
    }
    if (*number == 0) break;
    if (!first) first = error;
  }
  return first;
}

void ScpiLink::set(std::size_t actuator, double value) {
  command(command_for(described_.commands[actuator], value));
}

void ScpiLink::make_safe() {
  if (!described_.stop_command.empty()) command(described_.stop_command);
}

// Once a second: an instrument may need its time for that, and gives it to nobody else.
void ScpiLink::feed() {
  const auto now = std::chrono::steady_clock::now();
  if (now - heard_ < std::chrono::seconds(1)) return;
  ask("*IDN?");
  heard_ = now;
}

void ScpiLink::command(const std::string& message) {
  send(message);
  if (described_.error_query.empty()) return;
  if (const auto error = first_error()) refuse(message, *error);
}

}  // namespace windwright::devices
