// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "acquisition/live_values.h"
#include "acquisition/ring.h"
#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "guard/interlocks.h"
#include "guard/other_layer.h"
#include "guard/stop_logic.h"
#include "station/live_bins.h"
#include "station/live_means.h"
#include "twin/simulated_bench.h"

#include <boost/json/fwd.hpp>

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <stop_token>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::station {

class Driver;

/// What a bench tells whoever shows it. Called on its own thread: be quick.
struct StationListener {
  std::function<void()> on_block;  // a short block has come
  /// Something has happened. @param event  as in docs/openapi.json, x-live
  std::function<void(std::string_view event, boost::json::object members)> on_event;
  /// The last minute around a trip outside of a run, to be saved by another thread. It refers to
  /// the station's bench.
  std::function<void(std::shared_ptr<const acquisition::Ring>)> on_trip_ring = {};
};

struct StationOptions {
  std::string id;
  std::filesystem::path bench_file;
  std::filesystem::path folder;  // of its runs: whose disk interlocks look at
  twin::Pace pace = twin::Pace::real_time;
  /// Cause of a trip of an earlier life that nobody has reset; the bench's own files are asked too.
  std::string tripped = {};
};

struct PersonAsked {
  int number;
  std::string what;
};

/// What is going on at a bench.
struct Snapshot {
  guard::State state = guard::State::safe;
  bool driven = false;            // or about to be: a task that drives waits for its turn
  bool attended = false;          // its operator has to be there: driven, or a task asks for it
  bool stopping = false;          // that has been asked to stop
  std::string activity = "lost";  // watching, checking, calibrating, proving, conducting
  std::string device;
  std::optional<base::UtcTime> device_time = {};  // just after the newest sample
  base::UtcTime host_time{};                      // when that came
  double age_s = 0.0;
  bool stale = true;
  std::optional<guard::Trip> tripped = {};
  std::vector<std::string> standing = {};  // interlocks whose condition holds
  std::string fault = "the device was not opened yet";
  std::map<std::string, double> commanded = {};
  std::optional<PersonAsked> ask = {};
  std::int64_t samples = 0;
  std::int64_t gaps = 0;
};

/// Something that takes the device for a while: calibration, check standards, a campaign.
struct Task {
  std::string activity;
  bool drives;            // commands the fan, by a layer of the guard of its own
  bool attended = false;  // needs its operator there although it does not drive
  /// Why it cannot begin after all: the device is lost, the bench not at rest, the guard process.
  std::function<void(const std::string& why)> refused = {};
  /// On the thread that drives the device. `stop` asks it to end; whatever it throws but a
  /// DeviceFault is its own to catch.
  std::function<void(bench::Device&, const std::stop_token& stop)> run;
};

/// One bench of a server: a thread of its own drives the device, judges every block, keeps what
/// viewers look at, carries out commands and tasks. A device that is lost is tried again; a bench
/// in trouble troubles no other. Any thread may call.
class Station {
 public:
  /// @throws BadInput  the bench's description or a certificate
  Station(const StationOptions& options, StationListener listener);
  ~Station();
  /// Brings the bench to its safe state and ends the thread; nothing is called any more after it.
  void close();
  Station(const Station&) = delete;
  Station& operator=(const Station&) = delete;

  const std::string& id() const;
  const bench::Bench& bench() const;
  Snapshot snapshot() const;
  /// Channels and powers, as certificates are now.
  std::vector<acquisition::LiveChannel> channels() const;
  /// Of the newest short block. (channels and powers)
  std::vector<acquisition::Figures> newest() const;
  LiveMeans means() const;
  /// Newest single samples of a channel or power, oldest first, without a gap. (server/live_tail.h)
  std::vector<double> tail(std::size_t channel) const;
  /// With the bins held still. @param look  gets bins, newest means (channels and powers), and when
  ///                                        the newest sample was taken and came
  struct Seen {
    const LiveBins& bins;
    std::span<const float> newest;
    base::UtcTime device_time;
    base::UtcTime host_time;
    std::int64_t gaps;
    int layout;  // counts up where channels or their units have changed
  };
  void look(const std::function<void(const Seen&)>& look) const;

  /// Never refused. Category 0 takes the power away with the next short block, 1 stops under
  /// control; a task is asked to end.
  void stop(int category, std::string_view person);
  /// Trips the bench for a reason that no channel shows.
  void trip(const guard::Trip& trip);
  struct Command {
    std::string actuator;
    double value;
    std::string reason;  // to drive though the interlocks are not proved; it is noted
  };
  /// Returns when it is done.
  /// @throws Refusal      409: tripped, busy, no device; BadInput: no such actuator; DeviceFault
  /// @param may  asked once more on the device's thread, just before; throws what forbids it
  void command(const Command& command, std::string_view person, const std::function<void()>& may);
  /// By the guard process too, where one runs.
  /// @throws Refusal  409: not tripped, or the cause remains
  void reset(const std::string& reason, bool at_bench, std::string_view person);
  /// Begins a task. @throws Refusal  409: another one is at it, tripped, no device
  void begin(Task task);
  void end_task();
  /// The guard process as this bench's acquisition sees it: for a task, on its thread.
  guard::OtherLayer guard_process();
  /// A person has done what the device asked for. @throws Refusal  409: not asked
  void answer(int number);
  /// Certificates were written: work by the new ones.
  void certificates_changed();

 private:
  std::unique_ptr<Driver> driver_;
};

}  // namespace windwright::station
