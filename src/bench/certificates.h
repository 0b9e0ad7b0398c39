// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "metrology/certificate.h"

#include <optional>
#include <vector>

namespace windwright::bench {

/// The certificate of every channel, in the bench's order; nothing where the file is not there yet.
/// @throws BadInput  a file that is no certificate
std::vector<std::optional<metrology::Certificate>> certificates_there_are(const Bench& bench);

}  // namespace windwright::bench
