// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright {

/// Sums and products a second that this core does in its widest vectors while nothing waits for
/// anything else: the ideal machine beside which a benchmark stands. Not fused, as in our code.
double peak_rate_per_s();

}  // namespace windwright
