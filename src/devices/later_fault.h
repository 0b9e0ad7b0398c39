// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/errors.h"

#include <exception>
#include <utility>

namespace windwright::devices {

/// A device that is lost while a block is being filled has samples that nobody has seen yet, and
/// they are what shows why. The block is given with them, short; the fault ends the next reading.
class LaterFault {
 public:
  /// Before anything is read. @throws DeviceFault  the one that was kept, once
  void tell() {
    if (kept_) std::rethrow_exception(std::exchange(kept_, nullptr));
  }
  /// Before anything is commanded: nothing starts again what has been told to stop.
  /// @throws DeviceFault  the one that is kept, for a reading to come too
  void require_none() const {
    if (kept_) std::rethrow_exception(kept_);
  }
  /// @param waiting  there are samples that have not been given
  /// @return         false: `more` ended with a fault, which is kept
  /// @throws         what `more` does where nothing waits
  template <typename More>
  bool keep_from(bool waiting, More more) {
    try {
      more();
      return true;
    } catch (const base::DeviceFault&) {
      if (!waiting) throw;
      kept_ = std::current_exception();
      return false;
    }
  }

 private:
  std::exception_ptr kept_;
};

}  // namespace windwright::devices
