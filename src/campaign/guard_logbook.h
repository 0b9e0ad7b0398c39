// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"

#include <filesystem>
#include <functional>
#include <string>

namespace windwright::campaign {

/// The guard's logbook of a bench, guard.jsonl beside its file: where a trip outlives the program
/// that saw it, and every program that drives the bench looks before it does. A bench that lives in
/// the program itself (simulated, or played again) has none.
std::filesystem::path guard_logbook(const bench::Bench& bench);

/// The cause of the last trip that nobody has reset; empty: none.
/// @throws BadInput  a line that is not one of a logbook
std::string unreset_trip(const bench::Bench& bench);

/// Notes a trip, where no guard process does so itself.
void keep_trip(const bench::Bench& bench, const std::string& cause);

/// Takes a trip back: by the guard process that runs, which judges it, else in the logbook, where
/// the next one finds it. Waits for the guard process for 5 s at most.
/// @param meanwhile  again and again while it waits: reads on, so that what is judged is fresh
/// @return  why that is refused; empty: done
std::string reset_trip(const bench::Bench& bench, const std::string& reason,
                       const std::string& person, const std::function<void()>& meanwhile = {});

}  // namespace windwright::campaign
