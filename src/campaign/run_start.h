// SPDX-License-Identifier: Apache-2.0
// Inside the campaign module: what comes before the first test point of a session.
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "campaign/campaign.h"
#include "campaign/conductor.h"
#include "campaign/readiness.h"
#include "campaign/run_folder.h"

#include <optional>
#include <string>

namespace windwright::campaign {

/// Why the run may not begin; nothing where it may.
std::optional<Outcome> refusal(const Readiness& readiness, const std::string& reason);

/// Makes the run folder of a new run; the bookmark comes last and makes it count.
void begin(const Campaign& campaign, const bench::Bench& bench, bench::Device& device,
           const ConductOptions& options, const Readiness& readiness);

/// Brings the device of an earlier run back to its bookmark; an outcome where it may not go on. A
/// trip that is latched is reset here, where a reason is given and its cause is gone.
/// @param person  who resets it
std::optional<Outcome> take_up(const bench::Bench& bench, bench::Device& device,
                               const ConductOptions& options, const Bookmark& bookmark,
                               const std::string& person);

}  // namespace windwright::campaign
