// SPDX-License-Identifier: Apache-2.0
// Inside the server module: the thread that drives a bench's device.
#pragma once

#include "acquisition/live_values.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "guard/acquisition_layer.h"
#include "guard/acquisition_watch.h"
#include "guard/bench_lease.h"
#include "guard/interlocks.h"
#include "station/heard_device.h"
#include "station/live_bins.h"
#include "station/live_means.h"
#include "station/live_tail.h"
#include "station/station.h"
#include "station/trip_ring.h"

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <functional>
#include <future>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>
#include <thread>
#include <vector>

namespace windwright::station {

/// What a Station is inside. Members are either of the device's thread or behind the mutex.
class Driver final : public Hearing {
 public:
  Driver(const StationOptions& options, StationListener listener);
  ~Driver() override;

  // Any thread.
  Snapshot snapshot() const;
  std::vector<acquisition::LiveChannel> channels() const;
  std::vector<acquisition::Figures> newest() const;
  LiveMeans means() const;
  std::vector<double> tail(std::size_t channel) const;
  void look(const std::function<void(const Station::Seen&)>& look) const;
  void stop_bench(int category, std::string_view person);
  void trip_bench(const guard::Trip& trip);
  void close();
  /// Has something done between two blocks, and waits for it.
  void call(std::function<void(HeardDevice&)> work);
  void begin(Task task);
  void end_task();
  void answer(int number);

  // The device's thread, from within `call`.
  void command(HeardDevice& device, const Station::Command& command, const std::string& person);
  void reset(const std::string& reason, bool at_bench, const std::string& person);
  void make_laws();
  guard::OtherLayer guard_process();

  const StationOptions& options() const { return options_; }
  const bench::Bench& bench() const { return bench_; }

  // Hearing: the device's thread.
  bool heard(const bench::SampleBlock& block) override;
  bool whole(const bench::SampleBlock& block) override;
  void commanded(std::string_view actuator, double value) override;
  void stopped() override;
  void known_input(std::string_view channel, std::optional<double> value) override;

 private:
  struct Wish {
    std::function<void(HeardDevice&)> work;
    std::promise<void> done;
    std::shared_ptr<std::atomic<bool>> dropped;  // by whoever wished it and waited long enough
  };

  void run(const std::stop_token& over);
  void drive(const std::stop_token& over);
  void serve_wishes(HeardDevice& device);
  void run_task(HeardDevice& device);
  void after_block(HeardDevice& device, const bench::SampleBlock& block);
  void carry_out_stop(HeardDevice& device);
  void begin_watch();
  void require_no_trip_elsewhere();
  void require_proof(const HeardDevice& device, const std::string& reason,
                     const std::string& person) const;
  void latch(const guard::Trip& trip);
  void judge(const bench::SampleBlock& block);
  void make_interlocks();
  void require_rest_for(const Task& task);
  std::chrono::duration<double> longest_wait() const;  // of a task for the bench
  void lose(const std::string& why);
  void keep(std::unique_ptr<const acquisition::Ring> ring) const;
  void ask(const std::string& what);
  void tell(std::string_view event, boost::json::object members) const;
  void show();  // the state of the logic and what else is this thread's, to others

  const StationOptions options_;
  const bench::Bench bench_;        // as it is described: what interlocks and campaigns work on
  const bench::Bench short_bench_;  // what the device gives
  const StationListener listener_;

  mutable std::mutex mutex_;
  mutable std::condition_variable changed_;
  Snapshot shown_;
  std::unique_ptr<acquisition::LiveValues> live_;
  std::unique_ptr<LiveBins> bins_;
  std::unique_ptr<LiveTail> tail_;
  std::int64_t next_sample_ = -1;  // by the device's count; -1: none yet
  std::vector<float> newest_;
  std::vector<acquisition::Figures> figures_;
  std::unique_ptr<RunningMeans> running_means_;
  LiveMeans means_;
  int layout_ = 0;
  std::deque<Wish> wishes_;
  std::optional<Task> task_;
  std::chrono::steady_clock::time_point task_begun_;
  std::stop_source task_stop_;
  std::optional<int> stop_wanted_;  // category
  std::string stop_person_;
  std::optional<guard::Trip> trip_wanted_;
  int asks_ = 0;
  bool over_ = false;

  // Of the device's thread.
  std::optional<guard::BenchLease> only_one_;  // as long as this drives the bench, lost or not
  std::unique_ptr<guard::AcquisitionWatch> watch_;
  std::unique_ptr<guard::AcquisitionLayer> layer_;                   // while there is a device
  std::vector<std::optional<metrology::Certificate>> certificates_;  // that all of it works by
  std::unique_ptr<guard::Interlocks> interlocks_;  // none while a certificate is missing
  std::optional<guard::Trip> seen_;      // by the interlocks, in the block that was read last
  std::optional<guard::Trip> trip_;      // the first one out since the last reset
  std::unique_ptr<TripRing> trip_ring_;  // while there is a device
  bool known_input_ = false;             // is on a sensor
  bool in_task_ = false;
  std::map<std::string, double> told_;  // what the task has commanded, as it was told last
  bool task_drives_ = false;
  bool begun_ = false;   // the guard process knows of this one
  bool driven_ = false;  // when it was last seen
  double rotor_speed_rad_s_ = 0.0;
  double stands_for_s_ = 0.0;  // the rotor, by speed and voltage, as far as it was seen

  std::jthread thread_;  // last: begins when everything else is there
};

}  // namespace windwright::station
