// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/dynamic_inflow.h"
#include "physics/rotor.h"
#include "twin/torque_table.h"

namespace windwright::twin {

struct DiscLoad {
  double torque_N_m;
  double quasi_steady_m_s;  // what this load would induce in the long run
};

/// A rotor in a flow that its wake has not caught up with. Its loads are those of the steady wind
/// that sends as much air through the disc (physics::equivalent_air); once the induced flow has
/// settled, that wind is the one that blows, and they are what the table says for it.
class Disc {
 public:
  explicit Disc(TorqueTable table);

  /// The next search begins at the wind itself; from there on each begins where the last one ended.
  /// Loads are the same to 1e-11, but the same to the last bit only after the same calls since
  /// this.
  void forget();
  /// @param flow         speeds at the disc, not negative
  /// @param induced_m_s  mean over the disc
  DiscLoad load(const physics::RotorFlow& flow, double induced_m_s);

 private:
  TorqueTable table_;
  bool near_known_ = false;
  physics::EquivalentAir near_{};
};

}  // namespace windwright::twin
