// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <vector>

namespace windwright::physics {

struct PolarRow {
  double reynolds;
  double alpha_rad;
  double cl;
  double cd;
};

struct SectionForce {
  double cl;
  double cd;
};

/// Lift and drag of a blade section against angle of attack and Reynolds number.
class Polar {
 public:
  explicit Polar(std::vector<PolarRow> rows);
  SectionForce at(double alpha_rad, double reynolds) const;
  double lowest_reynolds() const;
  double highest_reynolds() const;
};

}  // namespace windwright::physics
