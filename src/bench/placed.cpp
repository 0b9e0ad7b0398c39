// SPDX-License-Identifier: Apache-2.0
#include "bench/placed.h"

#include "base/errors.h"

#include <cstddef>
#include <string>

namespace windwright::bench {

base::BadInput placed(const base::BadInput& refused, const std::string& place) {
  const std::string text = refused.what();
  const std::size_t first = text.find(": ");
  const std::size_t last = text.rfind(": ");
  if (first == last) return refused;
  return {place, text.substr(0, first) + ", " + text.substr(first + 2, last - first - 2),
          text.substr(last + 2)};
}

}  // namespace windwright::bench
