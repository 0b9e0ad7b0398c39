// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"

#include <fmt/format.h>

#include <string>
#include <string_view>

namespace windwright::base {

namespace {

// A message stays one printable line of bearable length, whatever the input contained.
std::string one_line(std::string text) {
  constexpr std::size_t longest = 600;
  for (char& c : text) {
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) c = ' ';
  }
  if (text.size() > longest) text = text.substr(0, longest) + "...";
  return text;
}

// The place is always whole, however long a path is.
std::string message(std::string_view where, std::string_view wrong, std::string_view right) {
  return one_line(std::string(where)) + ": " + one_line(fmt::format("{}: {}", wrong, right));
}

}  // namespace

BadInput::BadInput(std::string_view where, std::string_view wrong, std::string_view right)
    : std::runtime_error(message(where, wrong, right)) {}

DeviceFault::DeviceFault(std::string_view device, std::string_view what, std::string_view check)
    : std::runtime_error(message(device, what, check)) {}

DiskFault::DiskFault(std::string_view file, std::string_view what, std::string_view remedy)
    : std::runtime_error(message(file, what, remedy)) {}

}  // namespace windwright::base
