// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

namespace windwright::cli {

/// Shows what is to be done at the bench and waits for Enter.
/// @throws DeviceFault  nobody is at the terminal
void ask_person(const std::string& what);

}  // namespace windwright::cli
