// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/ac_supply.h"
#include "physics/lamp.h"
#include "physics/led_lamp.h"
#include "physics/load_flow.h"
#include "physics/motor.h"
#include "physics/rheostat.h"

#include <cstdint>
#include <span>
#include <variant>
#include <vector>

namespace windwright::physics {

/// One kind of load. DC terminals carry all but the AC fan, AC terminals all but the DC motor.
using Load = std::variant<Rheostat, Lamp, LedLamp, DcMotor, AcFan>;

/// @throws BadInput  a parameter that has no meaning
void check(const Load& load);

/// One load at a DC voltage of either polarity. docs/theory/loads.md. The split closes to rounding.
/// @throws BadInput  an AC fan (only its winding's resistance would hold the current), or a voltage
///                   that is not finite
DcFlow dc_flow(const Load& load, const LoadState& state, double voltage_V,
               double room_temperature_K);

/// One load at AC terminals, mean over a period.
/// @throws BadInput  a DC motor (it would only shake), or a supply without meaning
AcFlow ac_flow(const Load& load, const LoadState& state, const AcSupply& supply,
               double room_temperature_K);

/// Switched off: no current, no electrical power; what is stored goes on being given off.
DcFlow off_flow(const Load& load, const LoadState& state, double room_temperature_K);

/// What the load holds, in joules above rest at room temperature (heat, motion, charge): the
/// integral of stored_W.
double stored_J(const Load& load, const LoadState& state, double room_temperature_K);

/// Equal loads in parallel behind one switch. Their state stays with them, on or off, so that
/// switching neither makes nor loses energy.
struct SwitchedLoad {
  Load load;
  LoadState state{};
  double count = 1.0;  // 0 or more
  bool on = true;
};

/// Sums over all loads of a bus, those switched off included (their stored energy, no current).
struct DcTotal {
  double current_A = 0.0;
  double slope_S = 0.0;
  PowerSplit power;
};
DcTotal dc_total(std::span<const SwitchedLoad> loads, double voltage_V, double room_temperature_K);

struct AcTotal {
  double active_power_W = 0.0;
  double reactive_power_var = 0.0;
  double apparent_power_VA = 0.0;  // RMS voltage times RMS current
  double rms_current_A = 0.0;      // of the sum; resistances and linear loads exactly, LED lamps by
                                   // their harmonics up to 39 and the rest as if in step
  double active_slope_A = 0.0;
  PowerSplit power;
};
AcTotal ac_total(std::span<const SwitchedLoad> loads, const AcSupply& supply,
                 double room_temperature_K);
/// The same from flows worked out before.
/// @param flows  (loads), of off_flow's powers where a load is off
AcTotal ac_total(std::span<const SwitchedLoad> loads, std::span<const AcFlow> flows,
                 const AcSupply& supply);

/// Which loads a selector's position connects, one bit a load, the lowest the first load.
using Connection = std::uint32_t;

/// break_before_make: on the way every load is open. make_before_break: on the way the loads of
/// both positions are on.
enum class Contact { break_before_make, make_before_break };

/// Rotary selector of a bench's loads. Turned again on the way, it starts from what it connects.
struct Selector {
  std::vector<Connection> positions;  // at least one; 0 is no load
  Contact contact;
  double transfer_s;  // time on the way, 0 or more
};
struct SelectorState {
  Connection leaving = 0;
  std::size_t position = 0;  // where it stands, or goes to
  double left_s = 0.0;       // of the way
};

/// @throws BadInput  a position that the selector does not have
SelectorState turned_to(const Selector& selector, const SelectorState& state, std::size_t position);
SelectorState later(const SelectorState& state, double step_s);
Connection connection(const Selector& selector, const SelectorState& state);

/// Sets `on` of every load by its bit.
void connect(Connection connection, std::span<SwitchedLoad> loads);

}  // namespace windwright::physics
