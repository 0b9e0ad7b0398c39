// SPDX-License-Identifier: Apache-2.0
#include "bench/device.h"

#include "base/errors.h"

#include <string>
#include <string_view>

namespace windwright::bench {

std::string_view in_words(HandAction action) {
  switch (action) {
    case HandAction::press_emergency_stop:
      return "Press the emergency stop";
    case HandAction::release_emergency_stop:
      return "Release the emergency stop";
    case HandAction::open_cover:
      return "See that nothing turns, then open the cover of the rotor";
    case HandAction::close_cover:
      return "See that nobody reaches in, then close the cover of the rotor";
    case HandAction::open_fuse:
      return "As a qualified person and with nothing turning, open the holder of the DC fuse";
    case HandAction::close_fuse:
      return "Close the holder of the DC fuse";
  }
  return {};
}

void Device::ask_for(HandAction action) {
  throw base::DeviceFault(name(), "cannot ask anybody to: " + std::string(in_words(action)),
                          "a device with somebody at the bench");
}

}  // namespace windwright::bench
