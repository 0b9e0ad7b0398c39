// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/files.h"
#include "bench/bench.h"
#include "campaign/bench_in_test.h"
#include "campaign/campaign.h"

#include <filesystem>
#include <string>

namespace windwright::campaign {

// Six points on two pitches, as short as the rules allow.
inline const std::string small_campaign = R"(schema = 1
title = "A small campaign"
bench = "bench.toml"
operator = "nobody"
seed = 11
repeats = 1
[question]
text = "Which pitch?"
response = "maximum_cp"
factors = ["pitch_deg"]
level_pct = 95
[[factor]]
actuator = "pitch_deg"
levels = [5, 10]
hard_to_change = true
[[factor]]
actuator = "rheostat_ohm"
levels = [8, 15, 30]
[constants]
fan_pct = 70
load_selector = "rheostat"
blade_count = 3
[pace]
settle_window_s = 1
settle_drift_pct = 5
longest_settle_s = 8
shortest_dwell_s = 1
longest_dwell_s = 2
target_u_pct = 2
)";

/// The demo bench with certificates and the small campaign in a fresh folder.
struct Prepared {
  std::filesystem::path folder;
  bench::Bench bench;
  Campaign campaign;
};

inline Prepared prepared(const std::string& campaign = small_campaign) {
  const auto folder = fresh_folder();
  const auto bench_file = copied_bench(folder / "bench");
  base::write_whole(folder / "bench" / "campaign.toml", campaign);
  Prepared all{.folder = folder,
               .bench = bench::bench_from_file(bench_file),
               .campaign = campaign_from_file(folder / "bench" / "campaign.toml")};
  certify(all.bench);
  return all;
}

}  // namespace windwright::campaign
