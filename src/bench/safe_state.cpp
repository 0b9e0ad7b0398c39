// SPDX-License-Identifier: Apache-2.0
#include "bench/safe_state.h"

#include "bench/bench.h"
#include "bench/device.h"

namespace windwright::bench {

double loaded_position(const Actuator& selector) {
  return selector.position("rheostat").value_or(1.0);
}

void SafeAtTheEnd::end() {
  if (device_ != nullptr) device_->stop();
  device_ = nullptr;
}

}  // namespace windwright::bench
