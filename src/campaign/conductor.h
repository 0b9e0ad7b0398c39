// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "campaign/campaign.h"
#include "campaign/readiness.h"
#include "guard/interlocks.h"
#include "guard/other_layer.h"
#include "metrology/certificate.h"

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <stop_token>
#include <string>
#include <vector>

namespace windwright::campaign {

/// A test point as it was conducted. Its samples are `first_sample .. first_sample + samples` of
/// the recording and hold the dwell only; the way there is recorded before it.
struct TestPoint {
  int number;
  int block;
  int repeat;
  std::vector<Setting> settings;
  base::UtcTime start;  // of the dwell
  double settle_s;
  bool settled;    // false: longest_settle_s went by first
  bool on_target;  // false: longest_dwell_s went by before the target uncertainty was met
  std::int64_t first_sample;
  std::int64_t samples;
};

struct Progress {
  int done;
  int total;
  double seconds_left;  // device time, from the mean of the points done
  std::string phase;    // "settling", "dwelling", ...
};

struct ConductOptions {
  std::filesystem::path into;  // run folder; must not exist or be empty unless `resume`
  bool resume = false;  // go on where this campaign's run in `into` has ended, if there is one
  std::string reason;   // why to go on though the bench is not ready or has tripped; empty: refuse
  std::string software_version;  // for the logbook
  std::function<void(const Progress&)> progress;
  std::stop_token stop;     // asks to end after the current block
  std::string person = {};  // who resets a trip; empty: the campaign's operator
  bool at_bench = true;     // that person is there, and not somewhere else
  /// Where there is one: guard/acquisition_watch.h.
  guard::OtherLayer guard_process = {};
};

enum class Ending { complete, interrupted, tripped, not_ready };

struct Outcome {
  Ending ending;
  int points;         // conducted in all
  std::string cause;  // of a trip, a refusal or an interruption, and what to do next
  std::optional<guard::Trip> trip = {};  // where it is one of this session
  bool power_stays_on = false;  // after a stop of category 2: the bench was not switched off
};

/// The whole run: checks readiness, then for every planned point commands, waits for steady state,
/// dwells and records. Everything goes into the run folder (docs/files.md); after each point the
/// folder is complete up to that point, whatever ends the program, and a resumed run makes the same
/// calls to the device as one that was never interrupted. The bench is left in its safe state.
///
/// - A manual change waits until the fan is off and the rotor stands still.
/// - The bench is started and stopped on the table of guard/stop_logic.h. Every block is judged by
///   the interlocks (block means through the certificates; a channel at the upper end of its
///   converter counts as beyond its bound). A trip stops the bench and latches, and so does a
///   device that is lost while it is driven: the run can be resumed only with a reason, which is
///   noted with who gave it, and only once no interlock's condition stands any more.
/// - An end, asked for or reached, comes down under control before power is removed.
/// - Steady: rotor speed and DC power, tested by metrology::drift_over on the last settle_window_s,
///   and again, at the same rate of drift, over the whole dwell.
/// - A dwell ends when the random standard uncertainty of the mean DC power (its samples are not
///   independent: signal::mean_of_correlated) meets the target, between the shortest and the
///   longest dwell. Missing samples start it again.
/// - A missing certificate cannot be replaced by a reason.
/// @throws BadInput     campaign and bench do not fit; `into` is not what it must be
/// @throws DeviceFault  noted in the logbook; the run can be resumed
Outcome conduct(const Campaign& campaign, const bench::Bench& bench, bench::Device& device,
                const ConductOptions& options);

/// What went otherwise than planned, from the logbook: trip, reset, fault, interruption, gap.
struct Incident {
  base::UtcTime time;
  std::string event;
  std::string text;
};

/// What a run folder holds, read back.
struct Run {
  std::filesystem::path folder;
  Campaign campaign;
  bench::Bench bench;
  std::vector<metrology::Certificate> certificates;  // (channels), in force at the start
  Readiness readiness;
  std::string reason;  // given to go on though not ready
  std::string software_version;
  std::vector<TestPoint> points;    // conducted so far, in order
  std::vector<Incident> incidents;  // in order
  std::filesystem::path recording;
};
/// @throws BadInput  not a run folder, or changed since
Run run_from_folder(const std::filesystem::path& folder);

}  // namespace windwright::campaign
