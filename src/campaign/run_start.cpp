// SPDX-License-Identifier: Apache-2.0
#include "campaign/run_start.h"

#include "acquisition/ring.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "campaign/campaign.h"
#include "campaign/conductor.h"
#include "campaign/logbook.h"
#include "campaign/readiness.h"
#include "campaign/run_folder.h"
#include "guard/acquisition_layer.h"
#include "guard/fresh_look.h"
#include "recording/recording.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <system_error>
#include <vector>

namespace windwright::campaign {

std::optional<Outcome> refusal(const Readiness& readiness, const std::string& reason) {
  if (readiness.ready()) return std::nullopt;
  const bool certified =
      std::all_of(readiness.channels.begin(), readiness.channels.end(),
                  [](const ChannelCheck& check) { return check.certificate_found; });
  if (certified && !reason.empty()) return std::nullopt;
  return Outcome{.ending = Ending::not_ready,
                 .points = 0,
                 .cause = fmt::format(
                     "the bench is not ready:\n{}\n{}", readiness.what_is_wrong(),
                     certified ? "put it right, or give a --reason to go on, which the report shows"
                               : "a missing certificate cannot be replaced by a reason")};
}

void begin(const Campaign& campaign, const bench::Bench& bench, bench::Device& device,
           const ConductOptions& options, const Readiness& readiness) {
  const std::filesystem::path& folder = options.into;
  copy_inputs(folder, campaign, bench);
  for (const std::string_view file : {logbook_file, recording_file})
    std::filesystem::remove(folder / file);
  recording::Recorder::create(folder / recording_file, bench,
                              {.device = device.name(), .start = device.now()});
  Logbook logbook(folder / logbook_file);
  logbook.add(readiness.time, "begin",
              {{"software_version", options.software_version},
               {"campaign", campaign.title},
               {"operator", campaign.operator_name},
               {"bench", bench.name},
               {"device", device.name()},
               {"seed", campaign.seed},
               {"points", plan(campaign).size()}});
  logbook.add(device.now(), "readiness", to_json(readiness).as_object());
  if (!readiness.ready()) logbook.add(device.now(), "reason", {{"text", options.reason}});
  write_bookmark(folder, {.points_done = 0, .samples = 0, .device = device.bookmark()});
}

namespace {

// By the stop logic: a person at the bench, with the cause gone as far as fresh samples tell.
std::optional<std::string> reset(const bench::Bench& bench, bench::Device& device,
                                 const ConductOptions& options, const std::string& trip) {
  device.stop();
  const std::vector<std::string> standing =
      guard::standing_now(bench, certificates_of(bench), device, options.into);
  guard::AcquisitionLayer layer(bench, device, {.tripped = trip});
  return layer.reset(standing, options.at_bench);
}

// A run that goes on cuts its recording back to the last test point: what led to the trip stays
// in a file of its own. The same bytes under a second name, where the file system can.
void keep_what_was_recorded(const std::filesystem::path& folder) {
  const std::filesystem::path recording = folder / recording_file;
  if (!std::filesystem::exists(recording)) return;
  const std::filesystem::path kept = acquisition::next_trip_recording(folder);
  std::error_code error;
  std::filesystem::create_hard_link(recording, kept, error);
  if (error) std::filesystem::copy_file(recording, kept);
}

}  // namespace

std::optional<Outcome> take_up(const bench::Bench& bench, bench::Device& device,
                               const ConductOptions& options, const Bookmark& bookmark,
                               const std::string& person) {
  Logbook logbook(options.into / logbook_file);
  const std::optional<std::string> trip = latched_trip(options.into);
  const auto still_tripped = [&](const std::string& why) {
    return Outcome{.ending = Ending::tripped,
                   .points = bookmark.points_done,
                   .cause = fmt::format("{}\n{}", *trip, why)};
  };
  if (trip && options.reason.empty()) {
    return still_tripped(
        "the trip is latched: find and remove its cause, then resume with a "
        "--reason, which the report shows");
  }
  if (bookmark.device.empty()) {
    const Readiness readiness = check_readiness(bench, device);
    if (std::optional<Outcome> refused = refusal(readiness, options.reason)) {
      refused->points = bookmark.points_done;
      return refused;
    }
    logbook.add(device.now(), "readiness", to_json(readiness).as_object());
    if (!readiness.ready()) logbook.add(device.now(), "reason", {{"text", options.reason}});
  } else {
    device.return_to(bookmark.device);
  }
  if (trip) {
    if (const std::optional<std::string> why = reset(bench, device, options, *trip)) {
      logbook.add(device.now(), "refused reset", {{"text", *why}, {"by", person}});
      return still_tripped("not reset: " + *why);
    }
    if (!bookmark.device.empty()) device.return_to(bookmark.device);
    keep_what_was_recorded(options.into);
    logbook.add(device.now(), "reset", {{"text", options.reason}, {"by", person}});
  }
  logbook.add(device.now(), "resume", {{"points_done", bookmark.points_done}});
  return std::nullopt;
}

}  // namespace windwright::campaign
