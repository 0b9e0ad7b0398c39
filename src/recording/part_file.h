// SPDX-License-Identifier: Apache-2.0
// Inside the recording module only.
#pragma once

#include <fcntl.h>
#include <unistd.h>

#include <filesystem>
#include <system_error>

namespace windwright::recording {

/// Made beside its place and put there when it can be read; gone where it never comes to that.
class PartFile {
 public:
  explicit PartFile(const std::filesystem::path& file)
      : file_(file), part_(file.string() + ".part") {
    std::filesystem::remove(part_);
  }
  PartFile(const PartFile&) = delete;
  PartFile& operator=(const PartFile&) = delete;
  ~PartFile() {
    std::error_code ignored;
    if (!part_.empty()) std::filesystem::remove(part_, ignored);
  }
  const std::filesystem::path& path() const { return part_; }
  void become() {
    std::filesystem::rename(part_, file_);
    part_.clear();
    // The name has to survive a cut of the power as the samples do.
    const std::filesystem::path folder = file_.parent_path();
    const int handle = open(folder.empty() ? "." : folder.c_str(), O_RDONLY | O_CLOEXEC);
    if (handle < 0) return;
    fsync(handle);
    close(handle);
  }

 private:
  std::filesystem::path file_;
  std::filesystem::path part_;
};

}  // namespace windwright::recording
