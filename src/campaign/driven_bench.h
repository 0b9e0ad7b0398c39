// SPDX-License-Identifier: Apache-2.0
// Inside the campaign module: the bench of a run, driven through the acquisition's layer of the
// guard. Every block is read, judged and recorded here, and every end of a session comes about
// here.
#pragma once

#include "acquisition/recording_thread.h"
#include "base/writing_thread.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "campaign/campaign.h"
#include "campaign/conductor.h"
#include "campaign/logbook.h"
#include "campaign/run_folder.h"
#include "campaign/steering.h"
#include "guard/acquisition_layer.h"
#include "recording/recording.h"

#include <boost/json.hpp>

#include <cstdint>
#include <exception>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::campaign {

class DrivenBench {
 public:
  /// Of the block that was read last: the block itself is on its way into the file.
  struct BlockHead {
    std::int64_t first;  // of its samples in the recording
    std::int64_t samples;
    bool gap_before;
    base::UtcTime start;
  };
  /// @param tell  shows the phase that the run is in
  DrivenBench(const bench::Bench& bench, bench::Device& device, const ConductOptions& options,
              const Bookmark& bookmark, std::function<void(std::string_view)> tell);

  /// The next block. False where the session has ended: the bench is at rest then, its way down
  /// recorded.
  bool go_on();
  /// Permits the fan, where it is not permitted yet; what starts has been judged before, by one
  /// block at least. False where the session has ended.
  /// @throws DeviceFault  the guard process does not run
  bool start();
  void set(const std::string& actuator, double value) { layer_.set(actuator, value); }
  std::optional<double> commanded(const std::string& actuator) const {
    return layer_.commanded(actuator);
  }
  /// A device that was brought back to where it was has these settings, and runs on where its fan
  /// did. False where the session has ended. @throws DeviceFault  as `start`
  bool take_over(const std::map<std::string, double>& commanded);
  bool fan_stands() const;
  /// Fan off, no stop under way, and for a second neither speed nor voltage: two witnesses, for a
  /// dead speed sensor alone must not send a hand to the blades. False where the session has ended.
  bool come_to_standstill();
  /// Controlled stop at the end of everything. False where something has tripped on the way.
  bool come_down();

  /// The exception that ends the session: power is removed first, then it is noted.
  void fail(const std::exception& fault, bool device_lost);

  const BlockHead& block() const { return block_; }
  const Steering& steering() const { return steering_; }
  /// Puts a line into the run's logbook, and whatever else is to be written behind that, without
  /// waiting for the disk.
  void note_down(base::UtcTime time, std::string event, boost::json::object members,
                 std::function<void()> behind = {});
  /// Nothing is left to write. Whoever drives the bench does not wait for it; an earlier failure to
  /// write is told in both cases. @throws filesystem_error
  bool is_written() { return writing_.is_idle(); }
  void wait_until_written() { writing_.wait(); }
  acquisition::RecordingThread& recording() { return recording_; }
  /// Of what was flushed last, before anything else is read.
  std::vector<recording::SlowSum> slow_sums() const { return recorder_.slow_sums(); }
  std::int64_t recorded() const { return recorded_; }          // of the whole recording
  std::int64_t samples_read() const { return samples_read_; }  // in this session
  double seconds(std::int64_t samples) const;
  /// Where the session has ended before its time.
  const std::optional<Outcome>& ended() const { return ended_; }
  /// For the words about an end.
  void count(int points_done, int points) {
    done_ = points_done;
    points_ = points;
  }

 private:
  guard::AcquisitionLayer::Step read_block();
  void note(const guard::Trip& trip);
  bool stop_after(const guard::Trip& trip);
  bool interrupt();
  void go_on_running();
  bool end(Ending ending, const std::string& cause);

  const bench::Bench& bench_;
  bench::Device& device_;
  const ConductOptions& options_;
  std::function<void(std::string_view)> tell_;
  Steering steering_;
  Logbook logbook_;  // on the thread that writes
  recording::Recorder recorder_;
  acquisition::RecordingThread recording_;
  base::WritingThread writing_;
  guard::AcquisitionLayer layer_;
  std::int64_t recorded_;
  std::int64_t samples_read_ = 0;
  BlockHead block_ = {};
  std::optional<Outcome> ended_;
  int done_ = 0;
  int points_ = 0;
};

}  // namespace windwright::campaign
