// SPDX-License-Identifier: Apache-2.0
// Inside the campaign module: what the conductor keeps on disk so that it can go on after any end.
#pragma once

#include "bench/bench.h"
#include "campaign/campaign.h"
#include "campaign/conductor.h"
#include "recording/recording.h"

#include <boost/json/fwd.hpp>

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::campaign {

inline constexpr std::string_view recording_file = "recording.h5";
inline constexpr std::string_view logbook_file = "logbook.jsonl";
inline constexpr std::string_view bookmark_file = "bookmark.json";

/// How far a run has come; written as a whole after every test point.
struct Bookmark {
  int points_done;
  std::int64_t samples;  // of the recording
  std::string device;    // what the device needs to go on from there
  /// (channels) what slow ones had gathered; empty where the device does not go on from there
  std::vector<recording::SlowSum> slow_sums = {};
};

/// What is found at the place of a run: nothing, a run whose first bookmark was never written
/// (nothing of it counts), or a run that can be taken up.
enum class Found { nothing, beginnings, run };

/// @throws BadInput  something else is there, or a run of another campaign or bench
Found look_for_run(const std::filesystem::path& folder, const Campaign& campaign,
                   const bench::Bench& bench);

/// Puts copies of everything the run depends on into the folder: campaign, bench, rotor, polars,
/// certificates, each at the place where the copied bench looks for it.
void copy_inputs(const std::filesystem::path& folder, const Campaign& campaign,
                 const bench::Bench& bench);
/// Puts a copy of the proof of the bench's interlocks there, where there is one: at every start of
/// the run, for it may have been made anew.
void copy_proof(const std::filesystem::path& folder, const Campaign& campaign,
                const bench::Bench& bench);
/// The certificates of a bench, (channels).
/// @throws BadInput  one is missing or not readable
std::vector<metrology::Certificate> certificates_of(const bench::Bench& bench);
/// The copied bench.
bench::Bench bench_in(const std::filesystem::path& folder, const Campaign& campaign);

void write_bookmark(const std::filesystem::path& folder, const Bookmark& bookmark);
/// @throws BadInput
Bookmark bookmark_in(const std::filesystem::path& folder);

/// The cause of a trip that nobody has reset yet, from the logbook.
std::optional<std::string> latched_trip(const std::filesystem::path& folder);

boost::json::object to_json(const TestPoint& point);

}  // namespace windwright::campaign
