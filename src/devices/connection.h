// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "devices/link.h"

#include <chrono>
#include <cstddef>
#include <functional>
#include <map>
#include <optional>
#include <stop_token>
#include <string>
#include <string_view>
#include <thread>

namespace windwright::devices {

/// This computer's steady clock, or a test's.
struct SteadyClock {
  using Time = std::chrono::steady_clock::time_point;
  std::function<Time()> now = [] { return std::chrono::steady_clock::now(); };
  std::function<void(Time)> sleep_until = [](Time time) { std::this_thread::sleep_until(time); };
};

/// What a Connection opens and drives.
struct Instrument {
  std::string name;  // for messages and the recording
  /// Closes what there is and connects. @throws LinkLost; DeviceFault: it is the wrong instrument
  std::function<void()> open;
  /// @throws LinkLost  also where nothing is open; DeviceFault: the instrument refused
  std::function<void(std::size_t actuator, double value)> send;
  /// Has it make the bench safe by its own means; empty: it cannot. Throws what `send` does.
  std::function<void()> make_safe = {};
  Ask ask;                  // for what is done by hand
  double longest_outage_s;  // without a sample, then it is a fault
  SteadyClock clock = {};
  std::stop_token stop = {};  // nobody waits for the connection any longer
};

/// The part of a device that is the same however its samples come: a lost connection is made anew,
/// ever more slowly, until samples come again, have been away too long, or for more than a second
/// and somebody asks to stop; commands are checked
/// against their limits, and manual ones asked of a person. A bench that was driven, and out of
/// sight for more than a second, is told to stop, and that is a fault: nothing starts again by
/// itself.
class Connection {
 public:
  /// Opens. @throws DeviceFault  no connection
  Connection(const bench::Bench& bench, Instrument instrument);

  const std::string& name() const { return instrument_.name; }
  const SteadyClock& clock() const { return instrument_.clock; }

  /// A sample has come.
  void seen();
  /// A sample that was due has not come, though the connection holds.
  /// @throws DeviceFault  away for too long, or stopped meanwhile
  void missed(const std::string& cause);
  /// Makes the lost connection anew. @throws DeviceFault  away for too long, or stopped meanwhile
  void renew(const std::string& cause);

  /// As bench::Device has them.
  void set(std::string_view actuator, double value);
  void apply_known_input(std::string_view channel, double value);
  void remove_known_input();
  void ask_for(bench::HandAction action);
  /// A person worked at the bench (a manual actuator, a known input), so that what came meanwhile
  /// is no sample; until it has been thrown away.
  bool disturbed() const { return disturbed_; }
  void settled() { disturbed_ = false; }
  /// Has the instrument make the bench safe by its own means, where it can; then fan off, inverter
  /// and mains charger off, a load connected. Tries once to connect where the
  /// connection is away; the instrument's own watchdog is the layer behind this one.
  void stop() noexcept;

 private:
  double blind_s() const;
  void require_watched(const std::string& cause);
  void require_wanted(const std::string& cause);
  void command(std::size_t actuator, double value);
  void ask(const std::string& what);
  void make_safe_by_itself();

  const bench::Bench& bench_;
  Instrument instrument_;
  std::optional<SteadyClock::Time> blind_since_;  // the first sample missed after the last seen
  std::chrono::milliseconds pause_{0};            // before the next try
  std::map<std::size_t, double> commanded_;
  std::string known_input_;
  bool disturbed_ = false;
};

}  // namespace windwright::devices
