// SPDX-License-Identifier: Apache-2.0
#include "physics/battery.h"

#include "base/errors.h"
#include "base/random.h"
#include "physics/battery_in_test.h"

#include <gtest/gtest.h>

#include <cmath>
#include <string>

namespace windwright::physics {
namespace {

Battery flooded() {
  return typical_battery(BatteryKind::flooded, 6, 100.0 * hour_s);
}

TEST(Battery, CapacityIsWhatTheReferenceRateTakesOut) {
  const Battery battery = flooded();
  const KineticTanks all = tanks(battery);
  const TankCharge full{.available_A_s = 0.4 * all.charge_A_s, .bound_A_s = 0.6 * all.charge_A_s};
  EXPECT_NEAR(time_to_empty_s(all, full, 5.0).value(), 20.0 * hour_s, 1e-6);
}

TEST(Battery, RatesFollowTheKineticModelInClosedForm) {
  Battery battery = flooded();
  battery.self_discharge_s1 = 0.0;
  battery.heat_capacity_J_K = 1e15;
  BatteryRun run{.state = rested_state(battery, 0.8, room_K), .sums = {}};
  const TankCharge begin{run.state.available_A_s, run.state.bound_A_s};
  // The current that leaves the tank is held, by the terminal voltage that carries it.
  for (int step = 0; step < 3600; ++step) {
    run = after_step(battery, run, 1.0, [&](const BatteryState& state) {
      const double reaction_A = 10.0;
      double low_V = 5.0;
      double high_V = 13.0;
      for (int i = 0; i < 60; ++i) {
        const double middle_V = 0.5 * (low_V + high_V);
        const bool more = battery_flow(battery, state, middle_V).reaction_current_A > reaction_A;
        (more ? low_V : high_V) = middle_V;
      }
      return low_V;
    });
  }
  const TankCharge closed = after_constant_current(tanks(battery), begin, 10.0, hour_s);
  EXPECT_NEAR(run.state.available_A_s / closed.available_A_s, 1.0, 1e-9);
  EXPECT_NEAR(run.state.bound_A_s / closed.bound_A_s, 1.0, 1e-9);
}

TEST(Battery, RelaxesAtRestToTheVoltageOfItsStateOfCharge) {
  const Battery battery = flooded();
  double time_s = 0.0;
  BatteryRun run = discharged(battery, {.state = rested_state(battery, 1.0, room_K), .sums = {}},
                              30.0, 11.0, &time_s);
  const double just_after_V = terminal_voltage_V(battery, run.state, 0.0).value();
  for (int step = 0; step < 24 * 120; ++step) {
    run = after_step(battery, run, 30.0, [&](const BatteryState& state) {
      return terminal_voltage_V(battery, state, 0.0).value();
    });
  }
  const double rested_V = terminal_voltage_V(battery, run.state, 0.0).value();
  EXPECT_GT(rested_V, just_after_V + 0.2);
  const double curve_V = open_circuit_V(
      battery, rested_state(battery, state_of_charge(battery, run.state), run.state.temperature_K));
  EXPECT_NEAR(rested_V, curve_V, 0.002);
}

/// Fall of the stored energy less the integrated chemical power, over the energy of a full battery.
double energy_error(BatteryKind kind, double step_s) {
  const Battery battery = typical_battery(kind, 6, 100.0 * hour_s);
  const base::RandomStream random(5, "drive cycle");
  BatteryRun run{.state = rested_state(battery, 0.8, room_K), .sums = {}};
  const double begin_J = stored_energy_J(battery, run.state);
  for (unsigned minute = 0; minute < 120; ++minute) {
    const double voltage_V =
        open_circuit_V(battery, run.state) + 2.4 * (random.uniform(minute) - 0.5);
    for (int step = 0; step < std::lround(60.0 / step_s); ++step) {
      run = after_step(battery, run, step_s, [&](const BatteryState&) { return voltage_V; });
    }
  }
  return std::abs(begin_J - stored_energy_J(battery, run.state) - run.sums.chemical_J) /
         stored_energy_J(battery, rested_state(battery, 1.0, room_K));
}

// What is left is the steps' own error, which falls with their fourth power.
TEST(Battery, StoredEnergyIsTheIntegralOfTheChemicalPower) {
  EXPECT_LT(energy_error(BatteryKind::flooded, 0.25), 1e-10);
  EXPECT_LT(energy_error(BatteryKind::lithium_iron_phosphate, 0.5), 1e-8);
  const double coarse = energy_error(BatteryKind::lithium_iron_phosphate, 1.0);
  EXPECT_GT(coarse, 10.0 * energy_error(BatteryKind::lithium_iron_phosphate, 0.5));
}

TEST(Battery, ShortCircuitCarriesAHundredTimesTheRatedCurrentAndMakesNoGas) {
  const Battery battery = flooded();
  const BatteryState full = rested_state(battery, 1.0, room_K);
  const BatteryFlow shorted = battery_flow(battery, full, 0.0);
  EXPECT_NEAR(shorted.current_A, open_circuit_V(battery, full) / (6.0 * 0.08 / 100.0), 1e-6);
  EXPECT_GT(shorted.current_A, 100.0 * 5.0);
  EXPECT_EQ(shorted.gassing_current_A, 0.0);
  EXPECT_EQ(shorted.terminal_power_W, 0.0);
}

TEST(Battery, TemperatureMovesEveryThingTheWayItDoes) {
  const Battery battery = flooded();
  const BatteryState warm = rested_state(battery, 0.7, room_K + 15.0);
  const BatteryState cold = rested_state(battery, 0.7, room_K - 15.0);
  EXPECT_NEAR(open_circuit_V(battery, warm) - open_circuit_V(battery, cold), 6.0 * 30.0 * 2e-4,
              1e-12);
  EXPECT_LT(battery_flow(battery, cold, 11.5).current_A,
            battery_flow(battery, warm, 11.5).current_A);
  Battery all_stored = battery;
  all_stored.charge_efficiency = 1.0;  // leaves the gassing above the charge
  EXPECT_NEAR(battery_flow(all_stored, warm, 14.4).gassing_current_A /
                  battery_flow(all_stored, cold, 14.4).gassing_current_A,
              std::exp(0.06 * 30.0), 1e-9);
  EXPECT_NEAR(battery_flow(battery, warm, 14.4).self_discharge_loss_W /
                  battery_flow(battery, cold, 14.4).self_discharge_loss_W,
              std::exp(0.06 * 30.0), 1e-9);
}

TEST(Battery, LithiumIronPhosphateHoldsItsVoltageOverMostOfItsCharge) {
  const Battery battery = typical_battery(BatteryKind::lithium_iron_phosphate, 4, 100.0 * hour_s);
  const auto rest_V = [&](double charge) {
    return open_circuit_V(battery, rested_state(battery, charge, room_K));
  };
  EXPECT_LT(rest_V(0.9) - rest_V(0.2), 0.25);
  EXPECT_GT(rest_V(0.9) - rest_V(0.2), 0.0);
  EXPECT_LT(rest_V(0.0), 12.0);
  EXPECT_GT(rest_V(1.0), 13.6);
}

TEST(Battery, ASulphatedCellCostsVoltageAndCapacity) {
  const Battery battery = flooded();
  const BatteryFault fault{.sulphated_cells = 1, .resistance_factor = 13.0, .lost_capacity = 0.3};
  const Battery faulty = with_fault(battery, fault);
  EXPECT_NEAR(faulty.cells * faulty.cell_resistance_ohm, (5.0 + 13.0) * battery.cell_resistance_ohm,
              1e-12);
  double sound_s = 0.0;
  double faulty_s = 0.0;
  const BatteryState full = rested_state(battery, 1.0, room_K);
  discharged(battery, {.state = full, .sums = {}}, 10.0, 10.5, &sound_s);
  discharged(faulty, {.state = state_with_fault(battery, fault, full), .sums = {}}, 10.0, 10.5,
             &faulty_s);
  EXPECT_LT(faulty_s, 0.7 * sound_s);
  EXPECT_NEAR(state_of_charge(faulty, state_with_fault(battery, fault, full)), 1.0, 1e-12);
}

TEST(Battery, AShortedCellTakesItsVoltageAwayAndTheRestGasesHard) {
  const Battery battery = flooded();
  const BatteryFault fault{.shorted_cells = 1};
  const Battery faulty = with_fault(battery, fault);
  const BatteryState full = rested_state(battery, 1.0, room_K);
  EXPECT_NEAR(open_circuit_V(faulty, state_with_fault(battery, fault, full)),
              5.0 / 6.0 * open_circuit_V(battery, full), 1e-12);
  EXPECT_GT(battery_flow(faulty, full, 14.4).gassing_current_A,
            50.0 * battery_flow(battery, full, 14.4).gassing_current_A);
  EXPECT_EQ(with_fault(battery, {}).cells, 6);
}

template <typename Act>
std::string complaint(const Act& act) {
  try {
    act();
  } catch (const base::BadInput& error) {
    return error.what();
  }
  return "";
}

TEST(Battery, SaysWhatIsWrong) {
  const Battery battery = flooded();
  const BatteryState state = rested_state(battery, 0.5, room_K);
  EXPECT_EQ(complaint([&] { rested_state(battery, 1.5, room_K); }),
            "battery: the state of charge is 1.5: in [0, 1]");
  EXPECT_EQ(complaint([&] { battery_flow(battery, state, NAN); }),
            "battery: the terminal voltage is nan: within 1e6 V");
  EXPECT_EQ(complaint([&] { with_fault(battery, {.shorted_cells = 6}); }),
            "battery: the shorted cells is 6: at least 0 and fewer than the cells");
  EXPECT_EQ(complaint([&] { typical_battery(BatteryKind::gel, 6, -1.0); }),
            "battery: the capacity is -1: above 0");
  EXPECT_FALSE(terminal_voltage_V(battery, state, 1e6).has_value());
}

}  // namespace
}  // namespace windwright::physics
