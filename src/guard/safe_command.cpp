// SPDX-License-Identifier: Apache-2.0
#include "guard/safe_command.h"

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>

namespace windwright::guard {
namespace {

constexpr std::chrono::milliseconds again{500};

}  // namespace

std::uint64_t SafeCommand::give(Instant now) {
  given_at_ = now;
  if (exists()) given_ = command_.ask();
  return given_;
}

bool SafeCommand::is_due(Instant now) const {
  return !given_at_ || now - *given_at_ >= again;
}

std::optional<SafeCommand::News> SafeCommand::news() {
  if (!exists()) return std::nullopt;
  Outcome outcome = command_.outcome();
  if (outcome.number == heard_.number) return std::nullopt;
  const bool failed_before = has_failed();
  heard_ = std::move(outcome);
  return News{.failure = heard_.failure, .failed_before = failed_before};
}

std::string SafeCommand::doubt(std::uint64_t number) const {
  if (!exists()) return {};
  if (has_failed()) return "the safe state could not be commanded: " + *heard_.failure;
  if (!has_heard_of(number))
    return "the command to make the bench safe, which has not been answered yet";
  return {};
}

}  // namespace windwright::guard
