// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <string>

namespace windwright::cli {

/// Enters a run or recording in the catalogue that was named, else in that of the bench's folder,
/// else nowhere; "none" is nowhere. What was measured is worth more than its entry: where the
/// catalogue cannot be used, one line says so and what enters it later.
/// A run without a test point is not entered, nor what is not there.
void enter_in_catalogue(const std::string& named, const std::filesystem::path& bench_file,
                        const std::filesystem::path& path);

}  // namespace windwright::cli
