// SPDX-License-Identifier: Apache-2.0
#include "physics/element_scan.h"

#include <cmath>
#include <cstddef>
#include <initializer_list>
#include <numbers>

namespace windwright::physics {

namespace {

constexpr double degree = std::numbers::pi / 180.0;

struct Stretch {
  double step_deg;
  double until_deg;
};

double at_deg(std::initializer_list<Stretch> stretches, std::size_t node) {
  double angle_deg = 0.0;
  for (const Stretch& stretch : stretches) {
    for (; node > 0 && angle_deg < stretch.until_deg; --node)
      angle_deg += stretch.step_deg;
  }
  return angle_deg;
}

ElementScan made() {
  ElementScan scan{};
  constexpr std::size_t start = ElementScan::start;
  for (std::size_t node = 0; node < ElementScan::nodes; ++node) {
    const double x_deg =
        node < start ? -at_deg({{1.5, 15.0}, {3.0, 45.0}, {5.0, 90.0}}, start - node)
                     : at_deg({{0.75, 15.0}, {1.5, 45.0}, {3.0, 90.0}, {6.0, 180.0}}, node - start);
    scan.x_rad[node] = x_deg * degree;
    scan.sine[node] = x_deg == 180.0 ? 0.0 : std::sin(scan.x_rad[node]);
    scan.cosine[node] = std::cos(scan.x_rad[node]);
  }
  for (std::size_t node = ElementScan::nodes; node < ElementScan::padded; ++node) {
    scan.x_rad[node] = scan.x_rad[ElementScan::nodes - 1];
    scan.sine[node] = scan.sine[ElementScan::nodes - 1];
    scan.cosine[node] = scan.cosine[ElementScan::nodes - 1];
  }
  for (std::size_t node = 0; node + 1 < ElementScan::nodes; ++node) {
    const double middle_rad = 0.5 * (scan.x_rad[node] + scan.x_rad[node + 1]);
    scan.middle_rad[node] = middle_rad;
    scan.middle_sine[node] = std::sin(middle_rad);
    scan.middle_cosine[node] = std::cos(middle_rad);
  }
  return scan;
}

}  // namespace

const ElementScan& element_scan() {
  static const ElementScan scan = made();
  return scan;
}

}  // namespace windwright::physics
