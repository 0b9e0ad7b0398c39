// SPDX-License-Identifier: Apache-2.0
#include "cli/verbs.h"

#include <CLI/CLI.hpp>

namespace windwright::cli {

void add_report(CLI::App& /*program*/, int& /*exit_code*/) {}

}  // namespace windwright::cli
