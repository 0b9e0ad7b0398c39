// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "campaign/readiness.h"

#include <string>

namespace windwright::cli {

/// One line a channel, and under it what to do where it did not pass.
std::string readiness_table(const campaign::Readiness& readiness);

}  // namespace windwright::cli
