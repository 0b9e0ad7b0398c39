// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

namespace windwright::base {

/// This computer's name among others. Source: POSIX gethostname.
std::string host_name();

}  // namespace windwright::base
