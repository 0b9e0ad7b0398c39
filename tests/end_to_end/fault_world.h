// SPDX-License-Identifier: Apache-2.0
// A bench with all its layers of protection in one process, by a clock that the test turns: the
// simulated bench with its hard-wired chain, the served device with its watchdog, acquisition with
// the limits in front of its driver, and guard process, with a link each. What each layer runs is
// the program's own code; what is simulated is time, the links and the end of a process.
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "devices/served_bench.h"
#include "guard/acquisition_layer.h"
#include "guard/acquisition_watch.h"
#include "guard/guard_watch.h"
#include "guard/interlocks.h"
#include "guard/tap.h"
#include "metrology/certificate.h"
#include "physics/gust.h"
#include "twin/fault.h"
#include "twin/simulated_bench.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::end_to_end {

/// What all histories have in common: the bench's files, and the simulated bench, whose torque
/// table takes longer to work out than a history. It begins each anew.
struct FaultBench {
  /// Where the rotor is driven to before anything goes wrong.
  struct Drive {
    double fan_pct;
    double rheostat_ohm;
    bool operator==(const Drive&) const = default;
  };
  /// @param folder  of a bench whose channels have their certificates
  explicit FaultBench(const std::filesystem::path& folder);
  std::filesystem::path folder;
  bench::Bench bench;
  std::vector<metrology::Certificate> certificates;
  twin::SimulatedBench plant;
  std::string fresh;  // bookmark
  // The last history's, for another one that begins there as well.
  std::optional<Drive> driven_to;
  std::string driven;  // bookmark
};

class FaultWorld {
 public:
  static constexpr double step_s = 0.01;
  static constexpr double usual_watchdog_s = 0.3;
  /// What the rotor may do; its interlock has to trip below it (docs/safety.md says how far).
  static constexpr double rotor_limit_rad_s = 250.0;

  using Drive = FaultBench::Drive;
  /// @param of          one history at a time
  /// @param watchdog_s  of the device; very long where its watchdog is dead
  FaultWorld(FaultBench& of, const Drive& drive, double watchdog_s = usual_watchdog_s);
  ~FaultWorld();
  FaultWorld(const FaultWorld&) = delete;
  FaultWorld& operator=(const FaultWorld&) = delete;

  /// A block's time goes by.
  void step();

  // What goes wrong.
  void kill_acquisition();
  void freeze_acquisition() { acquisition_frozen_ = true; }
  void blind_acquisition() { acquisition_blind_ = true; }
  void cut_acquisition() { acquisition_cut_ = true; }
  void kill_guard() { guard_.reset(); }
  void freeze_guard() { guard_frozen_ = true; }
  void blind_guard() { guard_blind_ = true; }
  void cut_guard() { guard_cut_ = true; }
  void fill_disk();
  void step_clock(double seconds) { device_->clock_step_s = seconds; }
  void start_fault(const twin::Fault& fault) { device_->plant.start_fault(fault); }
  /// Opens the DC circuit with it.
  void blow_fuse();
  /// Of the driver, of the device and of what it moves.
  void kill_limits();
  /// Both processes, the limits; the watchdog has to be dead already. The hard-wired chain is left.
  void kill_all_software();

  // Dangers. False: there is none, as nobody is there to bring it about or nothing obeys.
  /// A load that falls off a bench that is driven: nobody told a program.
  bool lose_load();
  /// By hand, past all programs, on a bench that runs: full wind and no load.
  bool drive_on_without_load(double fan_pct);
  /// The program that drives wants a setting that it must not have; where all software is dead, the
  /// device gets it from elsewhere.
  bool ask_for(const std::string& actuator, double value);
  /// One gust, on top of what the fan gives now.
  void blow(double peak_m_s, double duration_s);
  /// As after minutes without cooling.
  void heat_winding(double winding_K);

  /// What is true, seen by no sensor.
  struct Truth {
    double of_speed_limit;
    bool fan_power;
    bool loaded;    // by the bench's loads or the brake of the hard-wired chain
    bool stands;    // the rotor
    bool violates;  // speed, voltage, current, air speed or winding are beyond their interlocks
  };
  Truth truth() const;
  /// Whether an acquisition that goes on has a controlled stop under way: it ends by itself.
  bool is_stopping() const;
  /// The first layer's words about what it did; empty: none has tripped.
  const std::string& first_cause() const { return first_cause_; }

 private:
  /// Of a tap, in this process.
  struct Held {
    std::set<int> descriptors;
    std::map<std::uintptr_t, std::size_t> mappings;  // bytes
  };
  static Held held_of(const std::string& tap);
  /// The plant, remembering the last block; its clock may be set.
  struct Plant final : bench::Device {
    explicit Plant(FaultBench& of) : plant(of.plant) { plant.return_to(of.fresh); }
    const std::string& name() const override { return plant.name(); }
    double sample_rate_hz() const override { return plant.sample_rate_hz(); }
    base::UtcTime now() const override { return plant.now(); }
    void set(std::string_view actuator, double value) override { plant.set(actuator, value); }
    std::optional<double> setting(std::string_view actuator) override {
      return plant.setting(actuator);
    }
    void apply_known_input(std::string_view, double) override {}
    void remove_known_input() override {}
    void read(bench::SampleBlock& block) override;
    void stop() noexcept override { plant.stop(); }
    twin::SimulatedBench& plant;
    bench::SampleBlock last;
    double clock_step_s = 0.0;
  };
  /// The acquisition's own link: registers, and a block at a time.
  struct Link final : bench::Device {
    Link(const bench::Bench& bench, FaultWorld& world) : bench_(bench), world_(world) {}
    const std::string& name() const override { return bench_.name; }
    double sample_rate_hz() const override { return bench_.sample_rate_hz; }
    base::UtcTime now() const override { return world_.device_->now(); }
    void set(std::string_view actuator, double value) override;
    void apply_known_input(std::string_view, double) override {}
    void remove_known_input() override {}
    void read(bench::SampleBlock&) override {}
    void stop() noexcept override { world_.command_safe_state(world_.acquisition_cut_); }
    const bench::Bench& bench_;
    FaultWorld& world_;
  };

  void start(FaultBench& of, const Drive& drive);
  void notice(const std::string& who, const std::string& cause);
  void run_acquisition();
  void run_guard();
  /// @return  why not
  std::optional<std::string> command_safe_state(bool cut);
  void write(std::size_t actuator, double value);
  guard::Judge guard_judge();

  bench::Bench bench_;            // the device's
  bench::Bench acquisition_own_;  // each process has read its own
  bench::Bench guard_own_;
  std::vector<metrology::Certificate> certificates_;
  std::unique_ptr<Plant> device_;
  std::unique_ptr<devices::ServedBench> served_;
  std::unique_ptr<bench::Device> driver_;  // the acquisition's: limits, slew, and its link
  bench::SampleBlock unread_;
  std::unique_ptr<guard::Interlocks> acquisition_interlocks_;
  std::unique_ptr<guard::AcquisitionWatch> watch_;
  Held watch_holds_;  // what the kernel takes back when the process ends
  std::unique_ptr<guard::AcquisitionLayer> layer_;
  std::unique_ptr<guard::GuardWatch> guard_;
  std::unique_ptr<guard::Interlocks> guard_interlocks_;
  guard::Instant now_{};
  std::uint16_t beat_ = 0;
  bool acquisition_dead_ = false;
  bool acquisition_frozen_ = false;
  bool acquisition_blind_ = false;
  bool acquisition_cut_ = false;
  bool guard_frozen_ = false;
  bool guard_blind_ = false;
  bool guard_cut_ = false;
  bool all_dead_ = false;
  bool fuse_blown_ = false;
  std::string first_cause_;
};

}  // namespace windwright::end_to_end
