// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "campaign/proof.h"

#include <string>

namespace windwright::cli {

/// A line for each interlock, remarks below, and what was not proved.
std::string proof_table(const campaign::Proof& proof);

}  // namespace windwright::cli
