// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace windwright::end_to_end {

struct Ended {
  int exit_code;  // minus the signal number where a signal ended it
  std::string out;
  std::string err;
};

/// Runs the built program in a folder and waits for its end.
Ended windwright(const std::vector<std::string>& arguments, const std::filesystem::path& folder);

/// An empty folder of its own under the build tree.
std::filesystem::path scratch_folder(const std::string& name);
/// A copy of an example's folder in a scratch folder.
std::filesystem::path bench_folder(const std::string& name,
                                   const std::string& example = "saltmarsh-college");

std::string text_of(const std::filesystem::path& file);
void write_text(const std::filesystem::path& file, const std::string& text);

}  // namespace windwright::end_to_end
