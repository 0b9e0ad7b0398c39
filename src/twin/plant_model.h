// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/random.h"
#include "bench/bench.h"
#include "physics/air.h"
#include "physics/generator.h"
#include "physics/gust.h"
#include "physics/rotor.h"
#include "twin/chain_energy.h"
#include "twin/disc.h"
#include "twin/integrator.h"
#include "twin/piece.h"
#include "twin/plant.h"
#include "twin/plant_chain.h"
#include "twin/truth.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>

namespace windwright::twin {

/// Inside of Plant, for plant.cpp and plant_model.cpp alone.
struct Plant::Model {
  static constexpr std::size_t most_cuts = 6;
  /// What is integrated: the motion (twin/piece.h), and what starts from 0 after every event. On a
  /// bench with a battery the states of its chain and its ChainPart follow.
  enum Sum : std::size_t {
    air_path = moving,
    wind,
    rotor,
    bearing,
    iron,
    winding,
    rectifier,
    load,
    equations
  };
  static constexpr std::size_t most_values = equations + PlantChain::most_states + chain_parts;
  using Values = std::array<double, most_values>;

  explicit Model(const bench::Bench& described);

  void refresh_air();
  void refresh_rotor();
  void refresh_generator();
  void settle_hard_wired();
  void connect_chain() const;
  double fan_pct() const;  // that has power
  double inertia_kg_m2() const;
  double kinetic_J() const;
  double air_speed_m_s(double mean_m_s, double t) const;
  physics::GeneratorLoad generator_load(double speed_rad_s, double lamp_K) const;
  double load_ohm(double lamp_K) const;
  DiscLoad disc_load(double air_m_s, double speed_rad_s, double induced_m_s) const;
  void rates(double t, const double* y, double* dy) const;
  double event(double t, const double* y) const;
  double turbulence_at(std::int64_t grid_point) const;
  void integrate(double length_s);
  [[noreturn]] void refuse_to_go_on(double t) const;
  Integrator::Ending note_piece(double from, double until, bool goes_on, Values& y);
  void refresh_gust();
  void add(const Values& y, double angle_before);
  void warm_generator();
  std::size_t piece_at(double offset_s) const;
  Motion motion_in(const Piece& piece, double offset_s) const;
  std::int64_t advance(std::int64_t ticks);
  void load_rates(double torque_N_m, double speed_rad_s, const double* y, double* dy) const;
  void chain_rates(double torque_N_m, double speed_rad_s, const double* y, double* dy) const;
  physics::ChainFlow chain_flow(double speed_rad_s, const double* y) const;
  void sample_chain();
  void note_chain(std::size_t piece, bool end, const Values& y, const Values& dy);
  const std::array<ChainReading, 3>& chain_readings(std::size_t piece);
  physics::ChainFlow chain_flow_in(std::size_t piece, std::size_t part);

  const bench::Bench& bench;
  Truth truth;
  base::RandomStream turbulence;
  std::int64_t ticks_per_sample = 1;
  std::int64_t ticks_per_grid = 1;
  double tick_s = 0.0;

  PlantState state;
  bool held = false;  // by a person, while blades are changed

  // Follow from the state; renewed when it changes.
  physics::Air air{};
  double density_kg_m3 = 0.0;
  double viscosity_Pa_s = 0.0;
  physics::Rotor mounted;
  physics::Generator generator{};           // with its faults, at its temperature
  mutable std::optional<Disc> disc;         // of the mounted rotor; its table fills as it is asked
  mutable std::optional<PlantChain> chain;  // keeps the flow that it was asked for last
  std::size_t values = equations;           // of Values that are integrated

  // The stretch being integrated, or the last one.
  double from_turbulence = 0.0;
  double turbulence_slope_s = 0.0;
  physics::Gust gust{};
  double from_gust_s = 0.0;  // time since the gust's start
  std::array<Piece, most_cuts + 2> pieces{};
  std::array<DirectCurrent, most_cuts + 2> direct_current{};  // filled when samples are taken
  /// Of the chain at both ends of a piece: states, and rates behind them; filled where there is
  /// one.
  struct ChainEnds {
    std::array<std::array<double, 2 * PlantChain::most_states>, 2> at;
    bool known;  // whether the readings are
    std::array<ChainReading, 3> reading;
  };
  std::array<ChainEnds, most_cuts + 2> chain_ends{};
  std::size_t piece_count = 0;
  bool may_break_away = false;
  std::unique_ptr<Integrator> integrator;
};

}  // namespace windwright::twin
