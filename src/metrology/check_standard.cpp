// SPDX-License-Identifier: Apache-2.0
#include "metrology/check_standard.h"

#include <cmath>

namespace windwright::metrology {

double en(double difference, double expanded_a, double expanded_b) {
  return difference == 0.0 ? 0.0 : difference / std::hypot(expanded_a, expanded_b);
}

}  // namespace windwright::metrology
