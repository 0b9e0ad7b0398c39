// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/blade_file.h"
#include "bench/chain_tables.h"
#include "bench/derived_table.h"
#include "bench/device_table.h"
#include "bench/guard_table.h"
#include "bench/interlock.h"
#include "bench/protection_table.h"
#include "bench/publish_table.h"
#include "bench/recording_table.h"
#include "physics/air.h"
#include "physics/generator.h"
#include "physics/generator_heat.h"
#include "physics/loads.h"
#include "physics/rotor.h"
#include "physics/tunnel.h"

#include <cstdint>
#include <filesystem>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::bench {

/// The converter in front of a channel: volts = lower + (counts + 1/2) (upper - lower) / 2^bits.
struct Converter {
  double lower_V;
  double upper_V;
  int bits;  // 8 to 24
};
/// The voltage in the middle of a count's step.
/// @param counts  0 to 2^bits - 1, or a mean of such
double volts(const Converter& converter, double counts);

/// How a channel is calibrated: which known inputs, how often, with which standard.
struct CalibrationPlan {
  std::string model;               // "line", "polynomial:N"
  std::vector<double> references;  // in the channel's unit
  int repeats;
  std::string standard;        // name of the reference standard
  double u_standard;           // absolute, channel's unit
  double u_standard_relative;  // relative (key u_standard_pct)
  int valid_days;
};

/// A known input that shows before a session whether the sensor still agrees with its certificate.
/// Lies inside the calibrated range and is none of its references.
struct CheckStandard {
  double value;
  double u;
};

/// What the simulated bench's sensor is like. Its true sensitivity, offset, curvature and drift are
/// drawn once per seed from these spreads; nobody but the simulation knows them.
struct SimulatedSensor {
  double offset_V;
  double sensitivity_V;  // volts per unit of the channel
  double u_offset_V;
  double u_sensitivity_relative;  // key u_sensitivity_pct
  double nonlinearity_relative;   // standard deviation of the bow at mid-range over the range (key
                                  // nonlinearity_pct)
  double noise_V;                 // standard deviation of white noise
  double bandwidth_Hz;            // first-order; infinity where the key is left out
};

struct Channel {
  std::string name;       // with unit suffix: air_speed_m_s
  std::string long_name;  // in words
  std::string unit;       // UDUNITS, from the suffix
  Converter converter;
  std::int64_t every = 1;             // samples of the bench that one of its recording stands for
  std::filesystem::path certificate;  // where it is or will be; absolute
  double u_drift;                     // standard uncertainty of drift until the certificate ends
  CalibrationPlan calibration;
  std::optional<CheckStandard> check_standard;
  std::optional<SimulatedSensor> simulated;
};

struct Actuator {
  std::string name;  // from the closed list of docs/bench.md
  std::string long_name;
  double lowest;
  double highest;
  bool manual;                         // changed by a person
  std::vector<std::string> positions;  // of a selector; the value is the index, 0 to highest
  double u_setting;  // standard uncertainty of a setting (how well a person sets the pitch)
  double full_travel_s = 0.0;  // from lowest to highest, no faster; 0: at once

  /// The value of a selector's position; nothing where it has no such position.
  std::optional<double> position(std::string_view name_of_position) const;
};

/// What is only known for the simulated bench.
struct Simulation {
  std::uint64_t seed;
  base::UtcTime start;
  physics::Air air;  // mean state of the room
  double air_temperature_drift_K_h;
  double u_loss_relative;  // spread of the true losses about the described ones
};

/// Wind power of the disc beyond that of its mean speed: factors on the mean of the sensor's cube.
struct DiscCube {
  double profile = 1.0;  // area mean of the cube over the cube of the area mean
  double u_profile = 0.0;
  /// Turbulence that the sensor does not follow; what it follows is in the mean of the cube of its
  /// samples already.
  double unresolved_turbulence = 1.0;
  double u_unresolved_turbulence = 0.0;
};

struct Bench {
  std::filesystem::path file;
  std::string text;  // as read, for the run folder
  std::string name;
  double sample_rate_hz;
  double block_s;
  physics::Rotor rotor;  // blades and pitch as in its file; campaigns change both
  std::filesystem::path rotor_file;
  std::string rotor_text;                 // as read
  std::optional<BladeDescription> blade;  // where the rotor's file says what the blades are made of
  double u_tip_radius_m;
  double blade_inertia_kg_m2;  // one blade about the axis
  double hub_inertia_kg_m2;    // hub, shaft and generator rotor
  physics::Tunnel tunnel;
  double position_factor;  // air speed at the disc, its area mean, over that at the sensor
  double u_position_factor;
  DiscCube disc_cube;
  physics::Generator generator;  // where nothing else is said, at any heat
  std::optional<physics::GeneratorHeat>
      generator_heat;      // left out: its temperature changes nothing
  double u_loss_relative;  // standard uncertainty of every modelled generator loss
  /// Of the choke between bridge and load; infinity: the direct current is smooth.
  double smoothing_inductance_H = std::numeric_limits<double>::infinity();
  physics::Loads loads;             // at the bridge's terminals; none where there is a battery
  std::optional<BenchChain> chain;  // battery and what hangs on it; its generator is the bench's
  std::vector<Channel> channels;
  DerivedChannels derived;
  std::vector<Actuator> actuators;
  std::vector<Interlock> interlocks;
  std::optional<Simulation> simulation;
  DeviceDescription device;
  std::optional<PublishDescription> publish;
  GuardSettings guard;
  RecordingSettings recording;
  std::optional<HardWired> hard_wired;  // as far as it is described: no program needs it
  std::optional<Tower> tower;
  int proof_valid_days = usual_proof_days;  // of a proof of the interlocks

  /// Index of a channel. @throws BadInput  no such channel, with the names there are
  std::size_t channel_index(std::string_view name) const;
  /// @throws BadInput  no such actuator, with the names there are
  const Actuator& actuator(std::string_view name) const;
};

/// Whether a channel shows a waveform about 0, whose mean says nothing: voltages and currents of
/// the generator and of the inverter's output. Their power is none: it is the mean of their
/// product.
bool is_alternating(std::string_view channel);

/// Reads and checks a whole bench description with its rotor and polars: docs/files.md. Names of
/// channels and actuators are from a closed list (air_temperature_C, air_pressure_hPa,
/// air_humidity_pct, air_speed_m_s, rotor_speed_rad_s, dc_voltage_V and dc_current_A must be there;
/// ac_voltage_V and ac_current_A of phase a, the same of phases b and c, and the line voltages may;
/// of actuators fan_pct must, load_selector, rheostat_ohm, blade_count and pitch_deg may); a bench
/// with a battery has channels and actuators of its own. Rotor and certificates lie inside the
/// bench's folder; the certificates need not exist yet.
/// @throws BadInput  with file and line
Bench bench_from_file(const std::filesystem::path& file);

}  // namespace windwright::bench
