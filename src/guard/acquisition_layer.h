// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "guard/interlocks.h"
#include "guard/other_layer.h"
#include "guard/stop_logic.h"
#include "guard/stop_sequence.h"

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::guard {

/// The acquisition's layer of the guard: starts and stops a bench on the stop logic's table, and
/// is the only way by which the program that owns the device drives it. Fed with every block, it
/// does by itself, and at once, what the table asks for. One thread, the one that drives the
/// device. What a stop commands it commands again ten times a second, or with every block where
/// that is longer: a controlled stop's load and fan until it is over, the safe state until the
/// rotor stands and a minute has passed. The guard process watches it through OtherLayer.
class AcquisitionLayer {
 public:
  struct Options {
    OtherLayer other = {};
    /// Cause of a trip that an earlier life of this layer left and nobody has reset; empty: none.
    std::string tripped = {};
    double longest_stop_s = guard::longest_stop_s;
  };
  /// @param bench   outlives it, as the device does
  AcquisitionLayer(const bench::Bench& bench, bench::Device& device, const Options& options);

  /// Asks for a start: nothing judged stands, no trip is latched, the guard process runs.
  /// @param standing  interlocks whose condition holds now
  /// @return  why the fan may not be commanded
  std::optional<std::string> start(const std::vector<std::string>& standing);
  /// Commands an actuator; the fan above nought only while running (logic_error otherwise). The
  /// same value twice is told the device once. While running a heartbeat follows each command.
  void set(const std::string& actuator, double value);
  /// As it was commanded last, where that is known.
  std::optional<double> commanded(const std::string& actuator) const;
  /// A device that was brought back to where it was has these settings.
  void take_over(const std::map<std::string, double>& commanded) { commanded_ = commanded; }
  /// The run is over, or somebody asks for a stop: begins a controlled stop.
  void ask_end();
  /// Anything else that stops a bench, such as an operator who is lost.
  void take(Event event, const Trip& cause);
  /// The device is gone: a violation of category 0.
  void lose_device(const std::string& what);

  struct Step {
    std::optional<Trip> trip;  // the first cause, or a later one that asks for a harder stop
    bool over;                 // no stop is under way
  };
  /// After every block, be the bench driven or not.
  /// @param trip  what the interlocks say of it
  Step look(const bench::SampleBlock& block, const std::optional<Trip>& trip,
            double rotor_speed_rad_s);

  /// A person takes a trip back.
  /// @param standing  interlocks whose condition holds now
  /// @return  why that is refused, with what still stands
  std::optional<std::string> reset(const std::vector<std::string>& standing, bool person_at_bench);

  State state() const { return logic_.state(); }
  bool is_tripped() const { return is_latched(logic_.state()); }
  bool is_stopping() const { return is_under_way(logic_.state()); }
  /// The first cause since the last reset; empty: not tripped.
  const std::string& cause() const { return cause_; }
  /// Whether power was left on: after a stop of category 2, the fan at nought.
  bool power_stays_on() const { return is_tripped() && !power_removed_; }

 private:
  void act(Event event);
  void begin_controlled_stop(bool after_trip);
  void command_again(double block_s, double rotor_speed_rad_s);
  Words words() const;

  const bench::Bench& bench_;
  bench::Device& device_;
  Options options_;
  StopLogic logic_;
  std::string cause_;
  std::map<std::string, double> commanded_;
  std::optional<StopSequence> sequence_;
  bool wants_ = false;  // a drive is wanted or on
  bool power_removed_ = false;
  double removed_for_s_ = 0.0;  // power
  double unsaid_s_ = 0.0;       // since the stop was commanded last
};

}  // namespace windwright::guard
