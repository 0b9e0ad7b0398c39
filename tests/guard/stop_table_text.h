// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "guard/stop_logic.h"

#include <string>

namespace windwright::guard {

/// The table as what the model includes: names of states, events and actions, and look_up().
std::string promela_text(const StopTable& table);

/// The table as docs/guard.md shows it: a row an event, a column a state.
std::string markdown_text(const StopTable& table);

}  // namespace windwright::guard
