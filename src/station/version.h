// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::station {

/// Of this program, for logbooks.
inline constexpr const char* version = WINDWRIGHT_VERSION;

}  // namespace windwright::station
