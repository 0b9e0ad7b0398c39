// SPDX-License-Identifier: Apache-2.0
#include "acquisition/pipeline.h"

#include "acquisition/recording_thread.h"
#include "base/errors.h"
#include "bench/device.h"
#include "recording/recording.h"

#include <fmt/format.h>

#include <cstdint>
#include <optional>
#include <stop_token>
#include <string>
#include <utility>

namespace windwright::acquisition {

Outcome record(const Stations& stations, const PipelineOptions& options,
               const std::stop_token& stop) {
  const std::int64_t before = stations.recorder.samples();
  RecordingThread recording(stations.recorder, stations.device.sample_rate_hz(), options.queue,
                            stations.look);
  std::int64_t samples = 0;
  Outcome outcome{.ending = Ending::complete, .samples = 0, .cause = {}, .most_waiting = 0};
  const auto ended = [&](Ending ending, std::string cause) {
    outcome.ending = ending;
    outcome.cause = std::move(cause);
    stations.stop ? stations.stop() : stations.device.stop();
    if (stations.tell && ending != Ending::disk_failed) stations.tell(outcome.cause);
  };
  try {
    while (samples < options.samples && outcome.ending == Ending::complete) {
      if (stop.stop_requested()) {
        ended(Ending::interrupted, "interrupted");
        break;
      }
      bench::SampleBlock& block = recording.free_block();
      stations.device.read(block);
      samples += static_cast<std::int64_t>(block.samples);
      if (stations.watch) {
        if (std::optional<std::string> cause = stations.watch(block))
          ended(Ending::tripped, std::move(*cause));
      }
      recording.hand_over(block);
    }
    if (outcome.ending == Ending::complete && stations.stop) stations.stop();
    recording.finish();
  } catch (const base::DiskFault& fault) {
    ended(recording.failed() ? Ending::disk_failed : Ending::disk_too_slow, fault.what());
  } catch (...) {
    stations.device.stop();
    recording.end();
    throw;
  }
  recording.end();
  if (outcome.ending == Ending::disk_failed) {
    outcome.cause +=
        fmt::format("; the {} samples before it are kept", stations.recorder.flushed());
  }
  outcome.samples = stations.recorder.flushed() - before;
  outcome.most_waiting = recording.most_waiting();
  return outcome;
}

}  // namespace windwright::acquisition
