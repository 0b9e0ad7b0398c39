// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "guard/own_way.h"

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>

namespace windwright::guard {

/// Does one thing, again and again, on a thread of its own: a command to a device may wait for
/// seconds for an answer that is lost, in which whoever judges goes on judging.
class Beside {
 public:
  /// @param action  on the thread; throws nothing. @return  why that was not possible
  explicit Beside(std::function<std::optional<std::string>()> action);
  /// When everything that was asked for is done.
  ~Beside();
  Beside(const Beside&) = delete;
  Beside& operator=(const Beside&) = delete;

  /// Has it done, after this call once more at least, and does not wait for it.
  std::uint64_t ask();
  /// As far as it can be known without waiting.
  Outcome outcome();
  /// By one thread.
  Command command();

 private:
  struct Shared;
  std::unique_ptr<Shared> shared_;
};

}  // namespace windwright::guard
