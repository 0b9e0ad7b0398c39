// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <stdexcept>
#include <string>
#include <string_view>

namespace windwright::base {

/// Ends an operation because what came in cannot be used; the program exits with 2.
/// The message is one line, `where: what is wrong: what would be right`.
class BadInput : public std::runtime_error {
 public:
  /// @param where     `file:line`, an option or an argument
  BadInput(std::string_view where, std::string_view wrong, std::string_view right);
};

/// Ends an operation because a device does not do what it must; the program exits with 3.
/// The message is `device: what happened: what to check`.
class DeviceFault : public std::runtime_error {
 public:
  DeviceFault(std::string_view device, std::string_view what, std::string_view check);
};

/// Ends an operation because a disk does not take or give what it must; the program exits with 3.
/// The message is `file: what happened: what to do`.
class DiskFault : public std::runtime_error {
 public:
  DiskFault(std::string_view file, std::string_view what, std::string_view remedy);
};

}  // namespace windwright::base
