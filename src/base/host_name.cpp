// SPDX-License-Identifier: Apache-2.0
#include "base/host_name.h"

#include <unistd.h>

#include <array>
#include <string>

namespace windwright::base {

std::string host_name() {
  std::array<char, 256> name{};
  ::gethostname(name.data(), name.size() - 1);
  return name.data();
}

}  // namespace windwright::base
